"""`triage parked`: the calls that wait for their machine, the longest overdue first."""

from __future__ import annotations

import argparse
import json
import sys
from collections.abc import Iterable, Sequence
from datetime import UTC, datetime
from typing import Any

from rich.console import RenderableType
from rich.table import Table
from rich.text import Text

from triage.console.call import content_of
from triage.console.cards import Item
from triage.console.look import look_of, stack
from triage.console.overdue import broken_off, by_due, is_due
from triage.console.resuming import in_short, is_warm, machine_of
from triage.console.screen import screen_of
from triage.console.when import clock_time_near, due_words
from triage.dialogue.words import plain_text
from triage.exits import DONE
from triage.store import open_store
from triage.store.errors import StoreMissing
from triage.store.listing import SessionSummary
from triage.store.record import SESSION_ID_LENGTH
from triage.tree.content import Content

_MOST_BROKEN_OFF = 5

_TABLE_WIDTH = 100
"""Columns from which the list is a table; below, two or three lines a call."""


def list_parked(options: argparse.Namespace) -> int:
    """Print the parked calls with when each is due and where it stands; return the exit code."""
    now = datetime.now(UTC)
    calls: list[SessionSummary] = []
    left: list[SessionSummary] = []
    try:
        with open_store(options.store, must_exist=True) as store:
            calls = store.parked(options.agent)
            left = [] if options.due else broken_off(store, now, options.agent)
    except StoreMissing:
        if options.store is not None:  # a slip of the hand, more likely than an empty record
            raise
    content = content_of(options) if calls or left else None
    ordered = [call for call in by_due(calls) if not options.due or is_due(call, now)]
    if options.json:
        told = {
            "now": now.isoformat(timespec="seconds"),
            "parked": [_as_data(call, now, content) for call in ordered],
            "broken_off": [_left_as_data(call, content) for call in left],
        }
        sys.stdout.write(json.dumps(told, indent=2, ensure_ascii=False) + "\n")
        return DONE
    console = screen_of(options)
    if not ordered:
        whose = f" by {plain_text(options.agent, 40)}" if options.agent else ""
        waits = f"No call parked{whose} is due." if options.due else f"No call is parked{whose}."
        console.print(Text(waits))
    else:
        is_table = console.width >= _TABLE_WIDTH and not look_of(console).is_plain
        console.print(_table(ordered, now, content) if is_table else _blocks(ordered, now, content))
    if left:
        console.print(_broken_off(left, now, content))
    if not (ordered or left):
        return DONE
    console.print(Text("To go on with one: triage resume and its id.", style="triage.hint"))
    return DONE


def stands_at(call: SessionSummary, content: Content | None) -> tuple[str, str]:
    """Return stage and reading a parked call stands at, by the content of today."""
    tree = content.trees.get(call.tree) if content else None
    question = tree.questions.get(call.node) if tree else None
    if question is not None and content is not None:
        return question.stage.value, content.readings[question.reading].name
    if call.node.startswith("caution:") and content is not None:
        caution = content.cautions.get(call.node.split(":", 1)[1].split("@", 1)[0])
        return "caution", caution.title if caution else ""
    return "", call.node


def _who(call: SessionSummary) -> str:
    return call.desk or call.agent


def _cells(
    call: SessionSummary, now: datetime, content: Content | None
) -> tuple[Text, str, str, str, str]:
    stage, reading = stands_at(call, content)
    due = "no time named"
    if call.due_at:
        due = f"{due_words(call.due_at, now)}, {clock_time_near(call.due_at, now)}"
    style = "triage.outside" if is_due(call, now) else "none"
    return (
        Text(due, style=style),
        plain_text(_who(call) or "-", 40),
        plain_text(machine_of(call, content), 80),
        plain_text(call.park_reason, 200),
        plain_text(f"{stage}: {reading}" if stage else reading, 100),
    )


def _table(
    calls: Sequence[SessionSummary], now: datetime, content: Content | None
) -> RenderableType:
    table = Table(box=None, pad_edge=False, collapse_padding=True, header_style="triage.heading")
    table.add_column("due", min_width=12, overflow="fold")
    table.add_column("session", no_wrap=True, overflow="ignore", min_width=SESSION_ID_LENGTH)
    for heading in ("agent", "machine", "waits for", "stands at"):
        table.add_column(heading, overflow="fold")
    for call in calls:
        due, *others = _cells(call, now, content)
        who, machine, reason, place = (Text(cell) for cell in others)
        table.add_row(due, Text(call.session_id), who, machine, reason, place)
    return table


def _blocks(
    calls: Iterable[SessionSummary], now: datetime, content: Content | None
) -> RenderableType:
    parts: list[RenderableType] = []
    for call in calls:
        due, who, machine, reason, place = _cells(call, now, content)
        parts.append(Text.assemble(f"{call.session_id}  ", due, f"  {who}" if who != "-" else ""))
        parts.append(Item(f"waits for: {reason}", "  "))
        parts.append(Item(f"{machine}; stands at {place}", "  "))
    return stack(*parts)


def _broken_off(
    calls: Sequence[SessionSummary], now: datetime, content: Content | None
) -> RenderableType:
    """Return the calls nobody parked, as short as can be: they may be on at their desk."""
    lines = (
        f"{call.session_id}  {in_short(call, content, now)}"
        + (", may still be on" if is_warm(call, now) else "")
        for call in calls[:_MOST_BROKEN_OFF]
    )
    more = len(calls) - _MOST_BROKEN_OFF
    return stack(
        Text("Broken off in the last 24 hours, not parked:", style="triage.heading"),
        *(Item(line, "  ") for line in lines),
        Text(f"  and {more} more: triage log list --result open") if more > 0 else None,
    )


def _left_as_data(call: SessionSummary, content: Content | None) -> dict[str, Any]:
    stage, reading = stands_at(call, content)
    return {
        "session_id": call.session_id,
        "state": call.state,
        "agent": call.agent,
        "desk": _who(call),
        "machine": call.machine or None,
        "refrigerant": call.refrigerant or None,
        "serial_number": call.serial_number or None,
        "stage": stage or None,
        "node": call.node or None,
        "stands_at": reading or None,
        "started_at": call.started_at,
        "last_at": call.last_at,
    }


def _as_data(call: SessionSummary, now: datetime, content: Content | None) -> dict[str, Any]:
    stage, reading = stands_at(call, content)
    overdue_s = None
    if call.due_at:
        overdue_s = round((now - datetime.fromisoformat(call.due_at)).total_seconds())
    return {
        "session_id": call.session_id,
        "due_at": call.due_at or None,
        "overdue_s": overdue_s,
        "reason": call.park_reason,
        "agent": call.agent,
        "parked_by": _who(call),
        "machine": call.machine or None,
        "refrigerant": call.refrigerant or None,
        "serial_number": call.serial_number or None,
        "stage": stage or None,
        "node": call.node or None,
        "stands_at": reading or None,
        "started_at": call.started_at,
    }
