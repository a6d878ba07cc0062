"""A desk stores before it moves: what is on it is what is on record, whatever the store does."""

from __future__ import annotations

import threading
from collections.abc import Callable, Sequence
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.conversation import FEED_FAILED, TREE, shipped_engine
from tests.strategies import FIXED, typed_lines
from triage.console.desk import PROGRAM, Desk
from triage.dialogue.case import fold
from triage.dialogue.events import (
    Answered,
    Asked,
    Concluded,
    Event,
    Resumed,
    Said,
    Started,
    Stopped,
)
from triage.dialogue.view import END_PROMPTS, AskCaution, AskQuestion
from triage.store import open_store
from triage.store.errors import SessionMoved, StoreError, StoreFull, StoreUnreachable
from triage.tree.content import Stage

SESSION = "20261125-0931-k7qm"
VERSION = shipped_engine().content.version
STARTED = Started(TREE, VERSION, "agent", "us", 0.0, "Ada")
NOON = datetime(2026, 11, 25, 12, tzinfo=UTC)

Spoken = tuple[str, Event]


class Paper:
    """A record in memory that counts as a store does, and can be told to fail."""

    def __init__(self) -> None:
        self.spoken: list[Spoken] = []
        self.batches: list[list[Spoken]] = []
        self.times: list[datetime] = []
        self.failure: Exception | None = None
        self.opened = 0

    def open(self) -> Paper:
        self.opened += 1
        return self

    def append(
        self,
        session_id: str,
        events: Sequence[Spoken],
        content_version: str,
        now: datetime,
        expected_length: int,
    ) -> None:
        if self.failure is not None:
            raise self.failure
        assert session_id == SESSION
        assert content_version == VERSION
        if expected_length != len(self.spoken):
            raise SessionMoved("another desk was here")
        self.batches.append(list(events))
        self.spoken.extend(events)
        self.times.append(now)

    @property
    def events(self) -> list[Event]:
        return [event for _, event in self.spoken]


def ticking() -> Callable[[], datetime]:
    ticks = iter(range(10_000))
    return lambda: NOON + timedelta(seconds=next(ticks))


def new_desk(paper: Paper) -> Desk:
    return Desk.start(shipped_engine(), paper.open, ticking(), SESSION, "caller", STARTED)


def resumed_desk(paper: Paper, speaker: str = "caller") -> Desk:
    return Desk.resume(
        shipped_engine(), paper.open, ticking(), SESSION, speaker, paper.events, "Ben"
    )


def play(desk: Desk, turns: int = 1000) -> int:
    """Say what the failed-feed caller says; return how many lines that took."""
    for turn in range(turns):
        prompt = desk.prompt
        if isinstance(prompt, END_PROMPTS):
            return turn
        desk.say(FEED_FAILED[prompt.reading.id] if isinstance(prompt, AskQuestion) else "yes")
    return turns


# The opening.


def test_a_new_desk_stands_at_the_first_question_and_has_opened_no_store() -> None:
    paper = Paper()
    desk = new_desk(paper)
    assert isinstance(desk.prompt, AskQuestion)
    assert desk.prompt.node == "opening.caller_qualification"
    assert desk.questions_asked == 1
    assert desk.stage is Stage.CALLER
    assert paper.opened == 0


def test_the_opening_goes_on_record_with_the_first_answer() -> None:
    paper = Paper()
    new_desk(paper).say("yes both")
    (batch,) = paper.batches
    assert batch[:3] == [
        (PROGRAM, STARTED),
        (PROGRAM, Asked("opening.caller_qualification")),
        ("caller", Said("yes both")),
    ]
    assert isinstance(batch[3][1], Answered)
    assert batch[4] == (PROGRAM, Asked("opening.complaint"))


def test_warming_up_puts_the_opening_on_record_once() -> None:
    paper = Paper()
    desk = new_desk(paper)
    desk.warm_up()
    desk.warm_up()
    assert paper.batches == [[(PROGRAM, STARTED), (PROGRAM, Asked("opening.caller_qualification"))]]
    desk.say("yes both")
    assert paper.opened == 1
    assert paper.spoken[2] == ("caller", Said("yes both"))


def test_warming_up_in_a_thread_beside_the_first_answer_loses_and_doubles_nothing() -> None:
    for _ in range(20):
        paper = Paper()
        desk = new_desk(paper)
        thread = threading.Thread(target=desk.warm_up)
        thread.start()
        desk.say("yes both")
        thread.join()
        kinds = [event.kind for event in paper.events]
        assert kinds == ["started", "asked", "said", "answered", "asked"]
        assert desk.case == fold(paper.events)


# Stored before moved.


def test_the_desk_is_the_fold_of_its_record_after_every_line() -> None:
    paper = Paper()
    desk = new_desk(paper)
    for line in ("yes both", "will not drop", "why", "Gletsch R500, R-410A", "yes", "back"):
        desk.say(line)
        assert desk.case == fold(paper.events)


@pytest.mark.parametrize("failure", [StoreFull("full"), StoreUnreachable("gone")])
def test_a_line_that_could_not_be_stored_changes_nothing_and_can_be_said_again(
    failure: StoreError,
) -> None:
    paper = Paper()
    desk = new_desk(paper)
    desk.say("yes both")
    before, prompt = desk.case, desk.prompt
    paper.failure = failure
    with pytest.raises(type(failure)):
        desk.say("will not drop")
    assert desk.case is before
    assert desk.prompt == prompt
    paper.failure = None
    desk.say("will not drop")
    assert "complaint" in desk.case.answers
    assert [event.kind for event in paper.events].count("started") == 1
    assert desk.case == fold(paper.events)


def test_a_store_that_cannot_be_opened_leaves_the_opening_held_back() -> None:
    paper = Paper()
    doors = iter([StoreUnreachable("no way"), paper])

    def door() -> Paper:
        found = next(doors)
        if isinstance(found, Exception):
            raise found
        return found

    desk = Desk.start(shipped_engine(), door, ticking(), SESSION, "caller", STARTED)
    with pytest.raises(StoreUnreachable):
        desk.say("yes both")
    assert desk.case.answers == {}
    desk.say("yes both")
    assert [event.kind for event in paper.events][:3] == ["started", "asked", "said"]


def test_a_failed_stop_leaves_the_call_open() -> None:
    paper = Paper()
    desk = new_desk(paper)
    desk.say("yes both")
    paper.failure = StoreFull("full")
    with pytest.raises(StoreFull):
        desk.stop()
    assert not desk.is_over


@given(lines=st.lists(typed_lines(), max_size=5), failing=st.integers(0, 4))
@settings(FIXED, max_examples=50)
def test_whatever_is_said_and_whenever_the_store_fails_desk_and_record_agree(
    lines: list[str], failing: int
) -> None:
    paper = Paper()
    desk = new_desk(paper)
    desk.warm_up()
    for number, line in enumerate(lines):
        paper.failure = StoreFull("full") if number == failing else None
        try:
            desk.say(line)
        except StoreFull:
            assert number == failing
        assert desk.case == fold(paper.events)


# What the program says.


def test_a_question_is_put_on_record_once_however_often_it_was_not_understood() -> None:
    paper = Paper()
    desk = new_desk(paper)
    for line in ("what", "hm", "why", "yes both"):
        desk.say(line)
    assert paper.events.count(Asked("opening.caller_qualification")) == 1
    assert desk.questions_asked == 2


def test_a_call_that_ends_is_closed_on_record_with_its_result() -> None:
    paper = Paper()
    desk = new_desk(paper)
    play(desk)
    assert desk.is_over
    assert desk.stage is None
    closing = paper.events[-1]
    assert isinstance(closing, Concluded)
    assert (closing.result, closing.causes) == ("recommended", ("receiver_vapor_feed_failed",))
    asked = [event.node for event in paper.events if isinstance(event, Asked)]
    assert any(node.endswith("@gate") for node in asked)


def test_stopping_keeps_the_call_and_says_nothing_after_it() -> None:
    paper = Paper()
    desk = new_desk(paper)
    desk.say("yes both")
    desk.say("stop")
    assert desk.is_over
    assert paper.spoken[-1] == ("caller", Stopped("stop"))
    count = len(paper.spoken)
    desk.stop()
    assert len(paper.spoken) == count


# Going on.


def test_a_resumed_desk_asks_what_was_asked_and_puts_the_resumption_on_record() -> None:
    paper = Paper()
    desk = new_desk(paper)
    play(desk, 12)
    desk.stop()
    again = resumed_desk(paper)
    assert not again.is_over
    assert again.prompt == desk.prompt
    count = len(paper.spoken)
    again.say("note going on")
    assert paper.spoken[count] == (PROGRAM, Resumed(VERSION, "Ben"))


@pytest.mark.parametrize("turns", range(0, 40, 4))
def test_a_call_killed_after_any_turn_goes_on_at_the_same_prompt_to_the_same_end(
    turns: int,
) -> None:
    paper = Paper()
    desk = new_desk(paper)
    desk.warm_up()
    play(desk, turns)
    again = resumed_desk(paper)
    assert again.prompt == desk.prompt
    play(again)
    assert isinstance(paper.events[-1], Concluded)
    assert paper.events[-1].result == "recommended"
    assert again.case == fold(paper.events)


def test_an_ended_call_taken_up_again_adds_nothing() -> None:
    paper = Paper()
    play(new_desk(paper))
    count = len(paper.spoken)
    again = resumed_desk(paper)
    again.warm_up()
    again.stop()
    assert again.is_over
    assert len(paper.spoken) == count


def test_two_desks_on_one_call_do_not_both_go_on() -> None:
    paper = Paper()
    desk = new_desk(paper)
    play(desk, 6)
    first, second = resumed_desk(paper), resumed_desk(paper)
    first.say("note first")
    before = second.case
    with pytest.raises(SessionMoved):
        second.say("note second")
    assert second.case is before
    assert [event for event in paper.events if event == Said("note second")] == []


def test_two_desks_on_one_call_in_a_real_store_do_not_both_go_on(tmp_path: Path) -> None:
    with open_store(tmp_path / "sessions.sqlite3") as store:
        desk = Desk.start(shipped_engine(), lambda: store, ticking(), SESSION, "caller", STARTED)
        play(desk, 6)
        events = [item.event for item in store.events(SESSION)]
        desks = [
            Desk.resume(shipped_engine(), lambda: store, ticking(), SESSION, "agent", events)
            for _ in range(2)
        ]
        desks[0].say("note first")
        with pytest.raises(SessionMoved, match=SESSION):
            desks[1].say("note second")
        kept = [item.event for item in store.events(SESSION)]
        assert Said("note first") in kept
        assert Said("note second") not in kept


def test_the_gate_of_a_resumed_call_counts_what_was_acknowledged_before() -> None:
    paper = Paper()
    desk = new_desk(paper)
    while not (isinstance(desk.prompt, AskCaution) and desk.prompt.seal):
        play(desk, 1)
    play(desk, 2)
    again = resumed_desk(paper)
    assert isinstance(again.prompt, AskCaution)
    assert again.prompt.number == 3
