"""The fold: any list of events gives a case, and where it was cut makes no difference."""

from __future__ import annotations

import json
from dataclasses import dataclass
from functools import cache

from hypothesis import given
from hypothesis import strategies as st

from tests.conversation import FEED_FAILED, opened, say, shipped_engine
from tests.dialogue.event_lists import event_lists
from tests.strategies import FIXED
from triage.dialogue.case import Case, fold
from triage.dialogue.events import (
    Acknowledged,
    Answered,
    Declined,
    Event,
    Offered,
    Refused,
    Resumed,
    Started,
    Stopped,
    TakenBack,
    event_from_data,
    event_to_data,
)
from triage.dialogue.view import (
    END_PROMPTS,
    AskConfirmation,
    AskQuestion,
    Prompt,
    Recommended,
)

ROOM = Answered("ambient_air_temperature", "70 F", 294.26)
WATER = Answered("water_inlet_temperature", "55 F", 285.93)


def stored(events: list[Event]) -> list[Event]:
    """Return `events` as a store gives them back: through JSON."""
    return [
        event_from_data(event.kind, json.loads(json.dumps(event_to_data(event))))
        for event in events
    ]


@given(events=event_lists())
@FIXED
def test_any_list_of_events_folds(events: list[Event]) -> None:
    assert isinstance(fold(events), Case)


@given(events=event_lists(), cut=st.integers(0, 25))
@FIXED
def test_a_beginning_and_its_rest_fold_to_the_whole(events: list[Event], cut: int) -> None:
    assert fold(events[cut:], fold(events[:cut])) == fold(events)


@given(events=event_lists())
@FIXED
def test_a_fold_of_what_the_store_gives_back_is_the_same(events: list[Event]) -> None:
    assert fold(stored(events)) == fold(events)


@given(events=event_lists(), more=event_lists())
@FIXED
def test_a_call_held_unlicensed_stays_so_whatever_follows(
    events: list[Event], more: list[Event]
) -> None:
    case = fold(events)
    if case.is_held_unlicensed:
        after = fold(more, case)
        assert after.is_held_unlicensed
        assert not after.is_licensed


@given(events=event_lists())
@FIXED
def test_no_caution_is_both_acknowledged_and_refused(events: list[Event]) -> None:
    case = fold(events)
    assert not case.acknowledged & case.refused


def test_the_last_answer_to_a_reading_counts_and_stands_last() -> None:
    again = Answered("ambient_air_temperature", "90 F", 305.4)
    case = fold([ROOM, WATER, again])
    assert list(case.answers.values()) == [WATER, again]


def test_an_answer_taken_back_is_open_again_and_nothing_waits_any_more() -> None:
    waiting = Offered(({"reading": "freeze_time", "typed": "14:20", "value": 860.0},), "Sure?")
    case = fold([ROOM, WATER, waiting, TakenBack(ROOM.reading)])
    assert list(case.answers) == [WATER.reading]
    assert case.offered == ()
    assert case.doubt == ""


def test_an_answer_to_the_reading_that_waits_takes_it_off_the_list() -> None:
    items = tuple({"reading": item.reading, "typed": item.typed, "value": item.value}
                  for item in (ROOM, WATER))  # fmt: skip
    case = fold([Offered(items, "Sure?"), ROOM])
    assert [item.reading for item in case.offered] == [WATER.reading]
    assert case.doubt == ""
    assert fold([Declined(WATER.reading, WATER.typed)], case).offered == ()


def test_a_caution_refused_after_all_is_not_acknowledged_and_the_other_way_round() -> None:
    yes, no = Acknowledged("falling_ice", "yes", "s"), Refused("falling_ice", "no", "s")
    assert fold([yes, no]).acknowledged == frozenset()
    assert fold([no, yes]).refused == frozenset()


def test_a_stopped_call_goes_on_when_it_is_resumed() -> None:
    begun = Started("t", "c", "technician", "si", 1600.0, "Ada")
    case = fold([begun, ROOM, Stopped("stop")])
    assert case.is_stopped
    resumed = fold([Resumed("c", "Ben")], case)
    assert not resumed.is_stopped
    assert resumed.answers == case.answers
    assert (resumed.voice, resumed.units, resumed.altitude_m) == ("technician", "si", 1600.0)


ODD_LINES = (
    "no idea what you mean",
    "why",
    "note it rattles",
    "back",
    "suction 73 psi, head 312 psi",
    "case",
)
"""Thrown in along the way, one at every fourth turn."""


@dataclass(frozen=True)
class Turned:
    """Where a call stood after a turn: its events so far, and what it waited for."""

    events: tuple[Event, ...]
    prompt: Prompt


def next_line(prompt: Prompt) -> str:
    """Return what the failed-feed caller says at `prompt`."""
    if isinstance(prompt, AskQuestion):
        return FEED_FAILED[prompt.reading.id]
    return "no" if isinstance(prompt, AskConfirmation) and prompt.doubt else "yes"


@cache
def played() -> tuple[Turned, ...]:
    """Return the failed-feed call with odd lines in between, turn by turn."""
    engine, case = shipped_engine(), opened()
    odd = list(ODD_LINES)
    events: list[Event] = [Started(case.tree, case.content_version, case.voice, case.units)]
    standing = [Turned(tuple(events), engine.prompt(case))]
    while not isinstance(standing[-1].prompt, END_PROMPTS):
        is_odd = bool(odd) and len(standing) % 4 == 0
        line = odd.pop(0) if is_odd else next_line(standing[-1].prompt)
        turn = engine.turn(case, line)
        events.extend(turn.events)
        case = fold(turn.events, case)
        standing.append(Turned(tuple(events), engine.prompt(case)))
    assert not odd
    return tuple(standing)


def test_a_call_resumed_from_its_events_waits_for_the_same_at_every_cut() -> None:
    for turned in played():
        assert shipped_engine().prompt(fold(stored(list(turned.events)))) == turned.prompt


def test_a_call_resumed_at_any_cut_ends_as_the_uninterrupted_one() -> None:
    engine = shipped_engine()
    end = played()[-1].prompt
    assert isinstance(end, Recommended)
    for turned in played()[::5]:
        case = fold([*stored(list(turned.events)), Stopped(), Resumed(engine.content.version)])
        while not isinstance(prompt := engine.prompt(case), END_PROMPTS):
            case, _ = say(case, next_line(prompt))
        assert isinstance(prompt, Recommended)
        assert prompt.conclusion.causes == end.conclusion.causes
        assert prompt.recommendation == end.recommendation
