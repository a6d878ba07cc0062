"""What the record knows beside the call at hand: earlier calls, who has it now, what came of it."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from io import StringIO
from pathlib import Path

import pytest

from tests.console import sample
from tests.console.desks import Lines, RowDesk
from tests.conversation import TREE, shipped_engine
from triage.console.called_before import RecordBeside, before_words
from triage.console.chat import Chat, ChatEnd
from triage.console.desk import Desk
from triage.console.look import ChatConsole, Look
from triage.console.when import on_day
from triage.dialogue.events import (
    FOUND_OTHER,
    Concluded,
    Event,
    Identified,
    Parked,
    RepairReported,
    Resumed,
    Started,
)
from triage.store import open_store
from triage.store.errors import LinesSetAside, SessionMoved, StoreUnreachable
from triage.store.listing import SessionSummary
from triage.store.record import utc_text

NOW = datetime(2026, 11, 25, 18, 40, tzinfo=UTC)
CONTENT = shipped_engine().content
FEED = "receiver_vapor_feed_failed"
SESSION = "20261125-1840-k7qm"


def test_the_cause_of_these_tests_is_one_of_the_content() -> None:
    assert FEED in CONTENT.causes


# The sentence.


def call(**details: object) -> SessionSummary:
    told = {"session_id": "20261125-1813-abcd", "started_at": utc_text(NOW - timedelta(minutes=27))}
    return SessionSummary(**{**told, **details})  # type: ignore[arg-type]


NAME = CONTENT.causes[FEED].name


@pytest.mark.parametrize(
    ("details", "words"),
    [
        (
            {"result": "recommended", "cause": FEED, "outcome": FEED, "had_two_good_cycles": False},
            f": {NAME}; the repair did not hold.",
        ),
        (
            {"result": "recommended", "cause": FEED, "outcome": FEED, "had_two_good_cycles": True},
            f": {NAME}; the repair held.",
        ),
        (
            {"result": "recommended", "cause": FEED, "outcome": "harvest_coil_open"},
            f": {NAME}; the repair found {CONTENT.causes['harvest_coil_open'].name}; whether it "
            "held is not known.",
        ),
        (
            {"result": "withheld", "cause": FEED},
            f": {NAME}, the repair withheld; what the repair found is not reported.",
        ),
        (
            {"result": "escalated", "outcome": FOUND_OTHER, "had_two_good_cycles": True},
            ": it was escalated, no cause told; the repair found another fault; the repair held.",
        ),
        ({}, ", and that call has not ended: triage resume 20261125-1813-abcd."),
    ],
)
def test_when_what_was_concluded_and_what_came_of_it(
    details: dict[str, object], words: str
) -> None:
    when = f"This machine called {on_day(call().started_at, NOW)}"
    assert before_words(call(**details), CONTENT, NOW) == f"{when}{words}"


def test_day_is_told_with_the_time() -> None:
    local = NOW.astimezone()
    assert on_day(utc_text(local), local) == f"at {local:%H:%M} today"
    earlier = local - timedelta(days=3)
    assert on_day(utc_text(earlier), local) == f"on {earlier:%b} {earlier.day} at {earlier:%H:%M}"
    assert " 2024 at " in on_day(utc_text(local - timedelta(days=700)), local)


# Out of a real store, in a call.


def keep(store: Path, session_id: str, *events: Event, ago: timedelta = timedelta(hours=1)) -> None:
    begun = Started(TREE, CONTENT.version, "agent", "us", 0.0, "Ana")
    spoken = [("program", event) for event in (begun, *events)]
    with open_store(store) as opened:
        opened.append(session_id, spoken, CONTENT.version, NOW - ago, 0)


def beside(store: Path) -> RecordBeside:
    return RecordBeside(lambda: open_store(store), SESSION, CONTENT, lambda: NOW)


def ended(*causes: str) -> tuple[Event, Event]:
    return (
        Concluded("feed", "recommended", causes),
        RepairReported(causes, had_two_good_cycles=False),
    )


def desk_on(store: Path, serial_number: str = "") -> Desk:
    return Desk.start(
        shipped_engine(), lambda: open_store(store), lambda: NOW, SESSION, "agent",
        Started(TREE, CONTENT.version, "agent", "us"), serial_number=serial_number,
    )  # fmt: skip


def held(store: Path, desk: Desk, *lines: str | type[BaseException]) -> str:
    stream = StringIO()
    conversation = Chat(desk, ChatConsole(Look(), stream, 200), lambda: NOW, None, beside(store))
    conversation.open()
    conversation.look_up_machine()
    conversation.converse(Lines(*lines))
    return flat(stream)


def flat(stream: StringIO) -> str:
    """What is on the screen as running text, a turn begins with its word and a bar."""
    lines = (line.strip().removeprefix("│").strip() for line in stream.getvalue().splitlines())
    return " ".join(lines)


@pytest.fixture
def store(tmp_path: Path) -> Path:
    path = tmp_path / "calls.sqlite3"
    keep(path, "20261125-1640-aaaa", Identified("0451 77"), *ended("harvest_coil_open"),
         ago=timedelta(hours=2))  # fmt: skip
    keep(path, "20261125-1740-bbbb", Identified("0451-77"), *ended(FEED))
    return path


def test_machine_that_called_before_is_told_at_the_serial_line_and_in_the_case(
    store: Path,
) -> None:
    text = held(store, desk_on(store), "serial 0451-77", "case", "serial 9", EOFError)
    told = f"{NAME}; the repair did not hold."
    assert text.count("before │ This machine called ") == 2
    assert text.count(told) == 2
    assert text.index("Serial number 0451-77.") < text.index(told) < text.index("case │")


def test_machine_named_on_the_command_line_is_told_with_the_first_answer(store: Path) -> None:
    text = held(store, desk_on(store, "0451 77"), "yes both", "why", EOFError)
    assert text.count("before │ This machine called ") == 1
    first_question = text.index("Read out:")
    assert first_question < text.index("before │") < text.index("do wrong?")


def test_the_call_at_hand_is_no_earlier_one(store: Path) -> None:
    desk = desk_on(store, "77")
    desk.warm_up()
    assert beside(store).called_before("77") == ""
    assert beside(store).called_before("045177").endswith("did not hold.")


def test_resumed_call_repeats_it_behind_where_it_stood(store: Path) -> None:
    stream = StringIO()
    desk = desk_on(store, "0451-77")
    conversation = Chat(desk, ChatConsole(Look(), stream, 200), lambda: NOW, None, beside(store))
    conversation.open(is_resumed=True, standing=("one.", "two.", "three."))
    text = flat(stream)
    assert text.index("three.") < text.index("This machine called") < text.index("Read out:")


def test_record_out_of_reach_tells_nothing_and_holds_nobody_up() -> None:
    def gone() -> None:
        raise StoreUnreachable("no way to it")

    record = RecordBeside(gone, SESSION, CONTENT, lambda: NOW)  # type: ignore[arg-type]
    assert record.called_before("0451-77") == record.desk_at() == ""


# A desk that lost its call.


class Others:
    def called_before(self, serial_number: str) -> str:
        return ""

    def desk_at(self) -> str:
        return "Bo\x07"


def test_desk_that_lost_the_call_is_told_whose_it_is_now() -> None:
    desk = RowDesk(sample.ASK_PATTERN)
    desk.failures.append(SessionMoved("another desk has added to this call"))
    stream = StringIO()
    chat = Chat(desk, ChatConsole(Look(), stream, 200), lambda: NOW, None, Others())
    assert chat.converse(Lines("patchy")) is ChatEnd.MOVED
    assert "Another desk (Bo) has gone on with this call" in stream.getvalue()


def test_name_of_the_desk_at_a_call_is_that_of_the_last_to_take_it(store: Path) -> None:
    keep(store, SESSION, Parked("x", ""), Resumed("v", "Bo"))
    assert beside(store).desk_at() == "Bo"


class Away:
    """A record that is out of reach."""

    waiting = 1
    has_moved = is_back = False

    def news(self) -> list[str]:
        return []

    def settle(self) -> None:
        """Nothing to try."""


def test_lines_that_could_not_be_added_are_shown_to_be_typed_again() -> None:
    desk = RowDesk(sample.ASK_PATTERN, sample.ASK_AIR, sample.ASK_AIR)
    stream = StringIO()
    chat = Chat(desk, ChatConsole(Look(), stream, 200), lambda: NOW, Away(), Others())

    class LosingLines(Lines):
        def read(self) -> str:
            line = super().read()
            if line == "70 F":
                desk.failures.append(LinesSetAside("2 lines are kept in a file"))
            return line

    assert chat.converse(LosingLines("even", "70 F")) is ChatEnd.MOVED
    text = stream.getvalue()
    for words in ("2 lines are kept in a file", "Bo has the call now.", "- even\n", "- 70 F\n"):
        assert words in text


# At the end.


def test_end_with_a_repair_says_how_to_record_what_came_of_it() -> None:
    hint = "triage outcome k7 records what the repair found."
    for end, is_told in ((sample.RECOMMENDED, True), (sample.WITHHELD, False)):
        stream = StringIO()
        desk = RowDesk(sample.ASK_PATTERN, end)
        Chat(desk, ChatConsole(Look(), stream, 80), lambda: NOW).converse(Lines("even"))
        assert (hint in stream.getvalue()) is is_told
