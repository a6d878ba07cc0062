"""What could name a person is left out of every form, and kept in whole only when asked for."""

from __future__ import annotations

from dataclasses import fields
from typing import get_args

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.review.exports import ESCALATED, FORMS, FULL, exported, spoken, told_all
from tests.strategies import FIXED
from triage.dialogue.events import Answered, Event, event_to_data
from triage.review.export.redaction import (
    LEFT_OUT,
    masked,
    part_names,
    role_of,
    without_personal_data,
)

TOKENS = st.lists(
    st.from_regex(r"[A-Z][a-z]{3}[0-9]{4}[a-z]{4}", fullmatch=True),
    min_size=4, max_size=4, unique=True,
)  # fmt: skip
"""Words that occur nowhere else: a note, a name, a serial number, a line as typed."""

KEPT = {
    "jsonl": ("note", "agent", "serial", "typed"),
    "csv": ("note", "agent", "serial"),
    "markdown": ("note", "agent", "serial"),
    "html": ("note", "agent", "serial", "typed"),
}
"""What each form shows of it on request: a row and a ticket have no place for lines as typed."""


@given(TOKENS, st.sampled_from([FULL, ESCALATED]))
@settings(FIXED, max_examples=8)
def test_no_form_holds_anything_personal_unless_asked_for(tokens: list[str], name: str) -> None:
    note, agent, serial, typed = tokens
    lines = told_all(name, note, agent, serial, typed)
    without, kept = exported(lines), exported(lines, with_personal_data=True)
    words = dict(zip(("note", "agent", "serial", "typed"), tokens, strict=True))
    for form, text_of in FORMS.items():
        text = text_of(without)
        assert [word for word in tokens if word.casefold() in text.casefold()] == [], form
        assert LEFT_OUT in text, form
        full = text_of(kept)
        assert [key for key in KEPT[form] if words[key] not in full] == [], form


def test_what_a_line_was_understood_to_mean_stays() -> None:
    for _, _, event in spoken(FULL):
        left = without_personal_data(event)
        if isinstance(event, Answered):
            assert isinstance(left, Answered)
            assert (left.value, left.minute_s) == (event.value, event.minute_s)
            assert left.typed == LEFT_OUT


def test_every_field_a_person_can_fill_is_known_to_the_redaction() -> None:
    """An event that gets a new text field fails here until somebody decides about it."""
    person = {
        "started": {"agent"}, "resumed": {"agent"}, "said": {"text"}, "noted": {"text"},
        "answered": {"typed", "reason"}, "offered": {"items", "doubt"},
        "not_understood": {"typed", "message"}, "declined": {"typed"}, "taken_back": {"typed"},
        "looked": {"typed"}, "acknowledged": {"typed"}, "refused": {"typed"},
        "stopped": {"typed"}, "identified": {"serial_number", "typed"},
        "parked": {"reason", "typed"},
        "repair_reported": {"parts", "readings", "note", "reported_by"},
    }  # fmt: skip
    program = {
        "tree", "content_version", "voice", "units", "altitude_m", "node", "reading", "value",
        "minute_s", "is_minute_assumed", "topic", "caution", "seal", "due_at", "ending", "result",
        "causes", "agreement", "ranked", "machine", "refrigerant", "found", "had_two_good_cycles",
    }  # fmt: skip
    for cls in get_args(Event):
        kind = cls.kind
        names = {item.name for item in fields(cls)}
        left = names - person.get(kind, set()) - program
        assert left == ({"reason"} if kind == "concluded" else set()), kind


def test_a_reason_of_our_own_and_a_part_of_the_content_stay() -> None:
    ours = Answered("coil_voltage", "dunno", None, "the caller does not know")
    theirs = Answered("coil_voltage", "x", None, "Bea left her meter in the van")
    assert event_to_data(without_personal_data(ours))["reason"] == "the caller does not know"
    assert event_to_data(without_personal_data(theirs))["reason"] == LEFT_OUT
    lines = told_all(FULL, "Note", "Agent", "GL-0042-771", "Typed")
    call = exported(lines)
    assert call.case.repair is not None
    assert call.case.repair.parts == ("filter drier", LEFT_OUT)
    assert "filter drier" in part_names(call.engine.content)


def test_speakers_are_told_by_their_role() -> None:
    lines = told_all(FULL, "Note", "Ana Berg", "GL-0042-771", "Typed")
    assert {line.speaker for line in exported(lines).lines} == {"program", "agent", "reporter"}
    said = spoken(FULL)[3][2]
    assert role_of("Ana Berg", said, "technician") == "technician"


@pytest.mark.parametrize("number", ["GL-0042-771", "1234567", "AB12CD34"])
def test_most_of_a_serial_number_cannot_be_read(number: str) -> None:
    signs = "".join(sign for sign in number if sign.isalnum())
    assert len(masked(number).strip("*")) <= len(signs) / 2


def test_redaction_moves_no_verdict_and_no_conclusion() -> None:
    lines = told_all(FULL, "Note", "Ana Berg", "GL-0042-771", "Typed")
    left, kept = exported(lines), exported(lines, with_personal_data=True)
    assert left.result == kept.result == "recommended"
    assert type(left.end) is type(kept.end)
    assert [(item.reading.id, item.verdict) for item in left.engine.findings(left.case)] == [
        (item.reading.id, item.verdict) for item in kept.engine.findings(kept.case)
    ]
