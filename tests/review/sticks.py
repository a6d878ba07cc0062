"""The miniature content on disk and recorded calls with it, for commands that look at trees."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import UTC, datetime
from pathlib import Path

from tests.tree.miniature import Draft, sound_draft
from triage.dialogue.events import (
    Acknowledged,
    Answered,
    Asked,
    Concluded,
    Event,
    Refused,
    Started,
)
from triage.store import open_store

TREE = "sticks"
LICENSED = {"caller_qualification": "licensed"}
LOOKED_AT = {
    "caller_qualification": "unlicensed",
    "ambient_air_temperature": 294.15,
    "machine": None,
    "ice_bridge_thickness": None,
    "freeze_time": None,
}
"""What somebody answers who measures nothing, up to the look of the ice."""

THIN = {**LOOKED_AT, "ice_pattern": "thin_at_outlet"}
"""Ends in `charge`."""

EVEN = {
    **LOOKED_AT,
    "ice_pattern": "even",
    "water_flow_over_plate": "full",
    "water_leaking_into_sump": "tight",
}
"""Handed over: nobody not licensed is asked for gauges."""


def folder_of(draft: Draft, path: Path) -> Path:
    """Write a content folder and return it."""
    for name, data in draft.bytes().items():
        (path / name).parent.mkdir(parents=True, exist_ok=True)
        (path / name).write_bytes(data)
    return path


def call(answers: dict[str, str | float | None], *rest: Event, tree: str = TREE) -> list[Event]:
    """Return the events of a call in which these readings were answered in order."""
    questions = sound_draft().content().trees[TREE].questions.values()
    node = {question.reading: question.id for question in questions}
    events: list[Event] = [Started(tree, "0ld", "agent", "us")]
    for reading, value in answers.items():
        events += [Asked(node[reading]), Answered(reading, str(value), value)]
    return [*events, *rest]


def cautioned(caution: str, where: str, *, is_kept: bool = True) -> list[Event]:
    """Return the events of a caution that was put before a question, or at the gate."""
    seal = "a seal" if where == "gate" else ""
    said: Event = (Acknowledged if is_kept else Refused)(caution, "yes", seal)
    return [Asked(f"caution:{caution}@{where}"), said]


CHARGE = Concluded("charge", "withheld", ("thin_charge",), "not licensed")


def keep(store: Path, *calls: Sequence[Event]) -> Path:
    """Put calls on record and return where."""
    begun = datetime(2026, 3, 2, 9, 0, tzinfo=UTC)
    with open_store(str(store)) as opened:
        for number, events in enumerate(calls):
            spoken = [("agent", event) for event in events]
            opened.append(f"20260302-090{number}-aaaa", spoken, "0ld", begun, 0)
    return store
