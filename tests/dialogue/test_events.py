"""The record's plain data: every kind of event comes back as it went, whatever a person typed."""

from __future__ import annotations

import json
import math
from dataclasses import asdict, fields
from typing import Any

import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from tests.dialogue.event_lists import EVENT_KINDS, events
from tests.strategies import FIXED
from triage.dialogue.events import (
    OPEN_CIRCUIT,
    Answered,
    Concluded,
    Event,
    EventError,
    Noted,
    Offered,
    Said,
    Started,
    event_from_data,
    event_to_data,
)

OPEN_COIL = Answered("coil_resistance", "OL", math.inf)


def through_json(event: Event) -> Event:
    """Return `event` after a way through JSON text as strict as the store's."""
    text = json.dumps(event_to_data(event), allow_nan=False)
    return event_from_data(event.kind, json.loads(text))


@given(event=events())
@example(event=OPEN_COIL)
@example(event=Offered((asdict(OPEN_COIL), asdict(Answered("coil_voltage", "24", 24.0))), "Sure?"))
@example(event=Said(OPEN_CIRCUIT))
@example(event=Noted(OPEN_CIRCUIT))
@example(event=Answered("coil_resistance", OPEN_CIRCUIT, None, OPEN_CIRCUIT))
@example(event=Concluded("end", "escalated", (OPEN_CIRCUIT,), "why"))
@FIXED
def test_every_event_comes_back_from_json_as_it_went(event: Event) -> None:
    assert through_json(event) == event


def test_the_strategy_knows_every_kind_of_event() -> None:
    assert {cls.__name__ for cls in EVENT_KINDS} == {
        cls.__name__
        for cls in Event.__args__  # type: ignore[attr-defined]
    }


def test_an_open_circuit_is_stored_by_name_and_comes_back_infinite() -> None:
    assert event_to_data(OPEN_COIL)["value"] == OPEN_CIRCUIT
    back = through_json(OPEN_COIL)
    assert isinstance(back, Answered)
    assert back.value == math.inf


@given(kind=st.text(max_size=12))
@FIXED
def test_a_kind_nobody_knows_is_refused(kind: str) -> None:
    known = {cls.kind for cls in EVENT_KINDS}
    if kind not in known:
        with pytest.raises(EventError, match="not known to this version"):
            event_from_data(kind, {})


@pytest.mark.parametrize("cls", EVENT_KINDS, ids=lambda cls: cls.kind)
def test_an_event_with_a_strange_or_a_missing_field_is_refused(cls: Any) -> None:
    with pytest.raises(EventError, match='unknown field "colour"'):
        event_from_data(cls.kind, {"colour": "red"})
    if any(item.default is not item.default_factory for item in fields(cls) if item.init):
        return
    with pytest.raises(EventError, match="incomplete"):
        event_from_data(cls.kind, {})


def test_a_field_that_was_added_later_takes_its_default() -> None:
    old = {"tree": "t", "content_version": "c", "voice": "agent", "units": "us"}
    assert event_from_data("started", old) == Started("t", "c", "agent", "us", 0.0, "")
