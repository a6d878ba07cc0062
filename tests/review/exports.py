"""Calls for the tests of the export: invented ones, played and chained as a store keeps them."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import replace
from datetime import datetime, timedelta
from functools import cache

from tests.conversation import shipped_engine
from triage.console.answers_file import load_answers
from triage.console.demo import demo_folder, run_call
from triage.dialogue.engine import Engine
from triage.dialogue.events import Event, Identified, Noted, Parked, RepairReported, Resumed
from triage.physics.quantity import UnitSystem
from triage.review.export.call import ExportedCall, exported_call
from triage.review.export.csv_table import csv_lines
from triage.review.export.jsonl import json_line
from triage.review.export.markdown import markdown_of
from triage.review.export.page import page_of
from triage.store.record import FIRST_PREVIOUS_HASH, StoredEvent, chain
from triage.store.summary import summarized

FULL, LONG_FULL = "01_receiver_vapor_feed_agent_us", "02_receiver_vapor_feed_technician_si"
REFUSED, ESCALATED = "10_caution_refused_technician_us", "11_no_discharge_line_agent_us"
UNLICENSED = "08_owner_not_licensed_agent_us"
FLAMMABLE, NOT_ON_FILE = "12_flammable_leaking_valve_technician_si", "13_not_on_file_agent_us"

Spoken = tuple[datetime, str, Event]


@cache
def spoken(name: str) -> tuple[Spoken, ...]:
    """Return the events of a demo call."""
    content = shipped_engine().content
    answers = load_answers(demo_folder() / f"{name}.yaml", content)
    return tuple(run_call(content, answers, name)[1])


def stored(lines: Iterable[Spoken], version: str = "") -> list[StoredEvent]:
    """Return events as a store keeps them."""
    kept: list[StoredEvent] = []
    version = version or shipped_engine().content.version
    for at, speaker, event in lines:
        before = kept[-1].hash if kept else FIRST_PREVIOUS_HASH
        session_id = "20260105-0900-cdfg"
        kept += chain(session_id, [(speaker, event)], version, at, len(kept), before)
    return kept


def exported(
    lines: Iterable[Spoken], *, engine: Engine | None = None, units: str | None = None,
    with_personal_data: bool = False,
) -> ExportedCall:  # fmt: skip
    """Return a call as the forms of the export get it."""
    kept = stored(lines)
    return exported_call(
        engine or shipped_engine(), summarized(kept)[0], kept,
        units=units, with_personal_data=with_personal_data,
    )  # fmt: skip


def with_events(
    lines: Sequence[Spoken], *events: tuple[str, Event], before_end: bool = True
) -> list[Spoken]:
    """Return a call with `events` put in before it was closed, or behind its end."""
    place = len(lines) - 1 if before_end else len(lines)
    at = lines[place - 1][0]
    added = [(at + timedelta(seconds=1), speaker, event) for speaker, event in events]
    return [*lines[:place], *added, *lines[place:]]


def told_all(name: str, note: str, agent: str, serial_number: str, typed: str) -> list[Spoken]:
    """Return a demo call in which a person left these texts wherever a person can."""
    lines = [(at, who, _told(event, agent, typed)) for at, who, event in spoken(name)]
    version = shipped_engine().content.version
    lines = with_events(
        lines,
        ("agent", Noted(note)),
        ("agent", Identified(serial_number, typed)),
        ("agent", Parked(note, "2026-01-05T10:00:00.000000+00:00", typed)),
        (agent, Resumed(version, agent)),
    )
    report = RepairReported(
        ("receiver_vapor_feed_failed", "other_fault"),
        ("filter drier", f"{note} bracket"),
        had_two_good_cycles=True,
        readings=(
            {"reading": "harvest_suction_pressure", "typed": typed, "value": 930_000.0,
             "minute_s": 60.0, "verdict": "within", "low": 900_000.0, "high": 1_060_000.0},
        ),
        note=note,
        reported_by=agent,
    )  # fmt: skip
    return with_events(lines, (agent, report), before_end=False)


def _told(event: Event, agent: str, typed: str) -> Event:
    """Return `event` with what was typed and who spoke replaced."""
    texts = {"typed": typed, "agent": agent, "text": typed, "message": f'"{typed}" is no answer'}
    fields = {name: text for name, text in texts.items() if getattr(event, name, None)}
    if event.kind == "started":
        fields["agent"] = agent
    if event.kind == "answered" and getattr(event, "reason", ""):
        fields["reason"] = typed
    if event.kind == "offered":
        items = getattr(event, "items", ())
        fields["items"] = tuple({**item, "typed": typed} for item in items)  # type: ignore[assignment]
        if getattr(event, "doubt", ""):
            fields["doubt"] = f'I take "{typed}" as that. Is it right?'
    return replace(event, **fields)  # type: ignore[arg-type]


def as_csv(call: ExportedCall) -> str:
    """Return the table of one call."""
    return "".join(csv_lines([call], call.engine.content, UnitSystem.US))


FORMS: dict[str, Callable[[ExportedCall], str]] = {
    "jsonl": json_line,
    "csv": as_csv,
    "markdown": markdown_of,
    "html": page_of,
}
"""Every form an export has."""
