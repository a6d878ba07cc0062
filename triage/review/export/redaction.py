"""A call without what could name a person: who spoke, what was typed, notes, serial numbers.

Everything an export shows is folded from the events that come out of here, so that what is left out
cannot come back by another way. What a typed line was understood to mean stays: values with their
moment, choices, machine and refrigerant ids. None of it has a say in judging or in the gate.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import replace
from typing import Any

from triage.dialogue.events import (
    Acknowledged,
    Answered,
    Declined,
    Event,
    Identified,
    Looked,
    Noted,
    NotUnderstood,
    Offered,
    Parked,
    Refused,
    RepairReported,
    Resumed,
    Said,
    Started,
    Stopped,
    TakenBack,
)
from triage.dialogue.words import OUR_REASONS, plain_text
from triage.tree.content import Content

LEFT_OUT = "[left out: personal data]"
"""Stands where something was."""

PROGRAM, AGENT, TECHNICIAN, REPORTER = "program", "agent", "technician", "reporter"
"""Roles that stand for names."""

_SHOWN_OF_A_SERIAL_NUMBER = 3
_LEAST_SERIAL_NUMBER = 8
"""Signs that stay readable, and the least length of a number they do not give away; judged."""


def without_personal_data(event: Event, parts: Collection[str] = ()) -> Event:
    """Return `event` with LEFT_OUT in place of names and of whatever a person wrote.

    `parts` are the part names of the content: a part reported by one of them stays.
    """
    match event:
        case Started() | Resumed():
            return replace(event, agent=left_out(event.agent))
        case Said() | Noted():
            return replace(event, text=left_out(event.text))
        case Answered():
            return replace(event, typed=left_out(event.typed), reason=_reason(event.reason))
        case Offered():
            items = tuple(_without_typed(item) for item in event.items)
            return replace(event, items=items, doubt=left_out(event.doubt))
        case NotUnderstood():
            return replace(event, typed=left_out(event.typed), message=left_out(event.message))
        case Declined() | TakenBack() | Looked() | Acknowledged() | Refused() | Stopped():
            return replace(event, typed=left_out(event.typed))
        case Identified():
            return replace(
                event,
                serial_number=masked(event.serial_number),
                typed=left_out(event.typed),
            )
        case Parked():
            return replace(event, reason=left_out(event.reason), typed=left_out(event.typed))
        case RepairReported():
            known = {part.casefold() for part in parts}
            return replace(
                event,
                parts=tuple(
                    part if plain_text(part).casefold() in known else LEFT_OUT
                    for part in event.parts
                ),
                readings=tuple(_without_typed(item) for item in event.readings),
                note=left_out(event.note),
                reported_by=left_out(event.reported_by),
            )
        case _:  # Asked, Concluded: words of the program and of the content alone
            return event


def role_of(speaker: str, event: Event, voice: str) -> str:
    """Return the role that `event` was spoken in; `voice` is that of the call."""
    if speaker == PROGRAM:
        return PROGRAM
    if isinstance(event, RepairReported):
        return REPORTER
    return TECHNICIAN if voice == TECHNICIAN else AGENT


def left_out(text: str) -> str:
    """Return LEFT_OUT for any text, "" where there was none.

    >>> left_out("Mira"), left_out("")
    ('[left out: personal data]', '')
    """
    return LEFT_OUT if text else ""


def masked(serial_number: str) -> str:
    """Return a serial number of which only the end can be read, so that two can be told apart.

    >>> masked("GL-0042-771"), masked("12345"), masked("")
    ('***771', '***', '')
    """
    if not serial_number:
        return ""
    signs = [sign for sign in plain_text(serial_number) if sign.isalnum()]
    if len(signs) < _LEAST_SERIAL_NUMBER:
        return "***"
    return f"***{''.join(signs[-_SHOWN_OF_A_SERIAL_NUMBER:])}"


def part_names(content: Content) -> frozenset[str]:
    """Return the parts that the content's repairs replace."""
    return frozenset(
        plain_text(part) for cause in content.causes.values() for part in cause.replace_together
    )


def _reason(reason: str) -> str:
    """Return why a reading is missing: a reason in our own words stays."""
    return reason if reason in OUR_REASONS else left_out(reason)


def _without_typed(item: Mapping[str, Any]) -> dict[str, Any]:
    """Return a reading kept as plain data without what was typed for it."""
    without = {
        key: value
        for key, value in item.items()
        if key in ("reading", "value", "minute_s", "is_minute_assumed", "verdict", "low", "high")
    }
    if "typed" in item:
        without["typed"] = left_out(str(item["typed"]))
    if "reason" in item:
        without["reason"] = _reason(str(item["reason"]))
    return without
