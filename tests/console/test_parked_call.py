"""A parked call on a real store: kept with its time, gone on with by one desk, shown as it was."""

from __future__ import annotations

import time
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from io import StringIO
from pathlib import Path

import pytest

from tests.console.conftest import Shown
from tests.console.desks import Lines
from tests.conversation import SOUND_FREEZE, TREE, shipped_engine
from triage.console.chat import Chat, ChatEnd
from triage.console.desk import Desk
from triage.console.look import ChatConsole, Look
from triage.console.overdue import overdue_line
from triage.console.transcript import Spoken, transcript
from triage.console.when import LOCAL, clock_time, clock_time_near, due_words
from triage.dialogue.events import Identified, Parked, RepairReported, Resumed, Started
from triage.store import open_store
from triage.store.listing import SessionSummary

SESSION = "20261125-0931-k7qm"
NOON = datetime(2026, 11, 25, 12, tzinfo=UTC)
OPENING = (
    "yes both", "will not drop", "Gletsch R500", "R-410A", "70 F", "70 F", "55 F",
)  # fmt: skip


@pytest.fixture
def chicago(monkeypatch: pytest.MonkeyPatch) -> Iterator[None]:
    """Put this computer into the zone of Chicago: UTC-6, from 2026-03-08 UTC-5."""
    monkeypatch.setenv("TZ", "America/Chicago")
    time.tzset()
    yield
    monkeypatch.undo()
    time.tzset()


def started(store: Path, serial_number: str = "") -> Desk:
    return Desk.start(
        shipped_engine(),
        lambda: open_store(store),
        lambda: NOON,
        SESSION,
        "agent",
        Started(TREE, shipped_engine().content.version, "agent", "us", 0.0, "Ana"),
        serial_number=serial_number,
        can_mend_end=True,
    )


def resumed(store: Path, agent: str) -> Desk:
    with open_store(store) as opened:
        events = [item.event for item in opened.events(SESSION)]
    return Desk.resume(
        shipped_engine(), lambda: open_store(store), lambda: NOON, SESSION, "agent", events, agent
    )


def spoken(store: Path) -> list[Spoken]:
    with open_store(store) as opened:
        return [
            (datetime.fromisoformat(item.recorded_at), item.speaker, item.event)
            for item in opened.events(SESSION)
        ]


def parked(store: Path) -> list[SessionSummary]:
    with open_store(store) as opened:
        return opened.parked()


def conversation(desk: Desk, *lines: str | type[BaseException]) -> tuple[ChatEnd, str]:
    stream = StringIO()
    chat = Chat(desk, ChatConsole(Look(), stream, 80), lambda: NOON)
    chat.open()
    return chat.converse(Lines(*lines)), stream.getvalue()


@pytest.mark.usefixtures("chicago")
def test_time_of_day_is_that_of_the_desk_and_is_kept_in_utc(tmp_path: Path) -> None:
    store = tmp_path / "calls.sqlite3"
    end, text = conversation(started(store), *OPENING, "park until 6:30 freeze is running")
    assert end is ChatEnd.STOPPED
    assert "Parked for 30 min, until 06:30: freeze is running" in text
    assert spoken(store)[-1][2] == Parked(
        "freeze is running",
        "2026-11-25T12:30:00.000000+00:00",
        "park until 6:30 freeze is running",
    )
    (call,) = parked(store)
    assert (call.due_at, call.park_reason) == (
        "2026-11-25T12:30:00.000000+00:00", "freeze is running",
    )  # fmt: skip


@pytest.mark.usefixtures("chicago")
def test_wait_that_ends_tomorrow_says_so(tmp_path: Path) -> None:
    # It is 06:00 here.
    line = "park until 3:30 am the shop opens"
    assert (
        "Parked for 21 h 30 min, until tomorrow 03:30: the shop opens"
        in conversation(started(tmp_path / "calls.sqlite3"), *OPENING, line)[1]
    )


@pytest.mark.usefixtures("chicago")
def test_clock_of_this_computer_is_put_forward_over_night() -> None:
    # Chicago lost the hour from 2 to 3 on 2026-03-08 (IANA time zone database).
    evening = datetime(2026, 3, 8, 4, 0, tzinfo=UTC).astimezone(LOCAL)
    assert f"{evening:%d %H:%M %Z}" == "07 22:00 CST"
    turn = shipped_engine().turn(started(Path("x")).case, "park until 8 am shop opens", evening)
    assert turn.events[-1] == Parked(
        "shop opens", "2026-03-08T13:00:00.000000+00:00", "park until 8 am shop opens"
    )
    assert clock_time("2026-03-08T13:00:00+00:00") == "08:00"
    assert clock_time_near("2026-03-08T13:00:00+00:00", evening) == "Mar 8 08:00"


def test_parked_call_goes_on_where_it_was_and_may_be_parked_again(tmp_path: Path) -> None:
    store = tmp_path / "calls.sqlite3"
    first = started(store)
    conversation(first, *OPENING, "park 20 min freeze is running")
    second = resumed(store, "Bo")
    assert second.prompt == first.prompt
    second.warm_up()
    assert parked(store) == []
    conversation(second, SOUND_FREEZE["ice_pattern"], "park 5 min next slab")
    (call,) = parked(store)
    assert (call.park_reason, call.desk) == ("next slab", "Bo")
    kinds = [event.kind for _, _, event in spoken(store)]
    assert (kinds.count("parked"), kinds.count("resumed")) == (2, 1)


def test_second_desk_of_two_on_one_call_is_told_and_loses_nothing_silently(
    tmp_path: Path,
) -> None:
    store = tmp_path / "calls.sqlite3"
    conversation(started(store), *OPENING, "park 20 min freeze is running")
    ana, bo = resumed(store, "Ana"), resumed(store, "Bo")
    assert conversation(ana, "even", EOFError)[0] is ChatEnd.STOPPED
    end, text = conversation(bo, "patchy", "1/8 in")
    told = " ".join(text.replace("│", " ").split())
    assert end is ChatEnd.MOVED
    assert "Another desk has gone on with this call, so it has ended at this one." in told
    assert 'Your line "patchy" was not kept; say it again there.' in told
    assert f"triage resume {SESSION}" in told
    record = spoken(store)
    assert [event.agent for _, _, event in record if isinstance(event, Resumed)] == ["Ana"]
    assert not any(getattr(event, "typed", "") == "patchy" for _, _, event in record)


def test_transcript_shows_serial_number_parking_and_the_repair_as_they_were_on_the_screen(
    tmp_path: Path, shown: Shown
) -> None:
    store = tmp_path / "calls.sqlite3"
    lines = ("yes both", "serial 0451-78", "park", "park 20", "park 20 min freeze is running")
    _, screen = conversation(started(store, "0451-77"), *lines)
    report = RepairReported(
        ("harvest_coil_open",), ("coil",), True,
        ({"reading": "harvest_time", "typed": "1:40", "value": 100.0, "minute_s": None,
          "verdict": "within", "low": 60.0, "high": 120.0},),
    )  # fmt: skip
    with open_store(store) as opened:
        record = opened.events(SESSION)
        opened.append(SESSION, [("repair report", report)], "v", NOON, len(record))
    text = shown(transcript(shipped_engine(), spoken(store)))
    assert text.startswith("Call started by Ana: agent voice, US units, serial number 0451-77.\n")
    told = [line for line in text.splitlines() if not line.startswith("caller >")]
    on_screen = screen.splitlines()
    card = next(number for number, line in enumerate(told) if "REPAIR REPORTED" in line)
    # The opening and the last words differ: they speak of going on, a transcript of the record.
    assert told[1:card] == on_screen[3:-2]
    assert told[card - 1].startswith("  park │ Parked for 20 min, until ")
    assert told[card] == "┏━ REPAIR REPORTED: it held"
    assert "┃  Parts replaced: coil." in told
    assert any("┣" in line and "WITHIN 1:00 to 2:00" in line for line in told[card:])


def test_record_of_a_repair_that_holds_anything_is_shown_all_the_same(shown: Shown) -> None:
    odd = RepairReported(
        ("a_cause_of_old", "\x1b[31m"), ("[bold]x\x1b]0;t\x07",), None,
        ({"reading": "gone", "typed": "\x07x"}, {"reading": "harvest_time", "value": "purple"},
         {"reading": "harvest_time", "value": 100.0, "verdict": "?", "low": True, "high": "x"}, {}),
        note="[red]\x1b[2J",
    )  # fmt: skip
    begun = Started(TREE, shipped_engine().content.version, "agent", "us")
    parked_oddly = Parked("\x1b[31mwhy", "no time at all")
    events = [(NOON, "program", event) for event in (begun, parked_oddly, odd, Identified("\x07"))]
    text = shown(transcript(shipped_engine(), events))
    assert "\x1b" not in text
    assert "\x07" not in text
    assert "[bold]x" in text
    assert "a_cause_of_old" in text


# Calls that should have been gone on with.


def waiting(session_id: str, due: timedelta) -> SessionSummary:
    at = (NOON + due).isoformat(timespec="microseconds")
    return SessionSummary(session_id, state="parked", due_at=at)


def test_calls_that_are_due_are_told_in_one_line_with_the_first_of_them() -> None:
    calls = [
        waiting("a", -timedelta(minutes=12)),
        waiting("here", -timedelta(minutes=9)),
        waiting("b", timedelta(0)),
        waiting("c", timedelta(minutes=8)),
    ]
    line = overdue_line(calls, NOON, "Ana O", "here")
    assert line.startswith("2 parked calls are due; first a at ")
    assert line.endswith("(overdue 12 min). See: triage parked --agent 'Ana O'")
    assert overdue_line(calls[2:3], NOON, "", "here").startswith("1 parked call is due; first b")
    assert overdue_line(calls[1:2], NOON, "", "here") == ""
    assert overdue_line(calls[3:], NOON, "", "here") == ""


@pytest.mark.parametrize(
    ("ahead", "words"),
    [
        (-720.0, "overdue 12 min"), (-59.0, "due now"), (0.0, "due now"), (480.0, "in 8 min"),
        (1.0, "in under 1 min"), (5400.0, "in 1 h 30 min"), (-7200.0, "overdue 2 h"),
        (259_200.0, "in 3 days"),
    ],
)  # fmt: skip
def test_times_due_are_told_from_now(ahead: float, words: str) -> None:
    due = (NOON + timedelta(seconds=ahead)).isoformat()
    assert due_words(due, NOON) == words
