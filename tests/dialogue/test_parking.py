"""Parking: what stands behind the word, at any prompt, on any clock.

Times of day: the 12-hour and 24-hour forms of ISO 8601 and of common US practice (no source).
"""

from __future__ import annotations

from datetime import UTC, datetime, timedelta, timezone
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.conversation import say, shipped_engine, up_to
from tests.dialogue.test_engine_turns import KINDS, at
from tests.strategies import FIXED, typed_lines
from triage.dialogue.case import Case, fold
from triage.dialogue.events import Identified, NotUnderstood, Parked, Resumed, Said, Started
from triage.dialogue.parking import (
    LEAST_WAIT,
    LONGEST_WAIT,
    TimeOfDay,
    due_at,
    no_time_in,
    read_wait,
)
from triage.dialogue.steering import serial_number_in
from triage.dialogue.view import CaseSoFar, HelpWanted, NotClear, ParkedHere, SerialKept

WEST = timezone(timedelta(hours=-6))
NOW = datetime(2026, 11, 25, 13, 50, 20, tzinfo=WEST)


def minutes(count: float) -> timedelta:
    return timedelta(minutes=count)


# What was said.


@pytest.mark.parametrize(
    ("text", "when", "reason"),
    [
        ("20 min freeze is running", minutes(20), "freeze is running"),
        ("20", minutes(20), ""),
        ("20 freeze is running", minutes(20), "freeze is running"),
        ("it 20 min freeze is running", minutes(20), "freeze is running"),
        ("the call for 20 minutes: freeze is running", minutes(20), "freeze is running"),
        ("freeze is running, 20 min", minutes(20), "freeze is running"),
        ("freeze is running for twenty minutes", minutes(20), "freeze is running"),
        ("half an hour caller drives there", minutes(30), "caller drives there"),
        ("in an hour because caller drives", minutes(60), "caller drives"),
        ("1 h 30 defrost", minutes(90), "defrost"),
        ("1.5 hours - second freeze", minutes(90), "second freeze"),
        ("read line at minute 6 in 10 min", minutes(10), "read line at minute 6"),
        ("20 min read line at minute six", minutes(20), "read line at minute six"),
        ("until 14:30 read line at minute six", TimeOfDay(14, 30), "read line at minute six"),
        ("until 2:30 pm", TimeOfDay(14, 30), ""),
        ("till 2.30 p.m. second freeze", TimeOfDay(14, 30), "second freeze"),
        ("second freeze until 12 am", TimeOfDay(0, 0), "second freeze"),
        ("until 12 pm lunch", TimeOfDay(12, 0), "lunch"),
        ("until noon lunch", TimeOfDay(12, 0), "lunch"),
        ("until 2:30 lunch", TimeOfDay(2, 30, is_either_half=True), "lunch"),
        ("until 02:30 night shift", TimeOfDay(2, 30), "night shift"),
        ("9 o'clock shop opens", TimeOfDay(9, 0, is_either_half=True), "shop opens"),
        ("until tomorrow 8:00 closed", TimeOfDay(8, 0, is_tomorrow=True), "closed"),
        ("closed until 8 am tomorrow", TimeOfDay(8, 0, is_tomorrow=True), "closed"),
    ],
)  # fmt: skip
def test_time_stands_first_or_last_and_the_rest_is_the_reason(
    text: str, when: timedelta | TimeOfDay, reason: str
) -> None:
    wait = read_wait(text)
    assert (wait.when, wait.reason) == (when, reason)


@pytest.mark.parametrize(
    "text",
    [
        "", "it", "the call", "freeze is running", "read the line at 6 min", "look at minute 6",
        "6:20 read the line", "3 days shop is closed", "90 seconds", "until 25:00 x",
        "until 13 pm x", "until 2:75 x", "read gauge 2",
    ],
)  # fmt: skip
def test_no_time_is_made_up_where_none_was_said(text: str) -> None:
    assert read_wait(text).when is None


@given(typed_lines())
@settings(FIXED)
def test_anything_can_stand_behind_the_word(text: str) -> None:
    wait = read_wait(text)
    if wait.when is not None:
        due = due_at(wait.when, NOW)
        assert isinstance(due, str) or LEAST_WAIT <= due - NOW <= LONGEST_WAIT


# When that is.


@given(st.integers(1, 24 * 60), st.datetimes(datetime(2000, 1, 1), datetime(2100, 1, 1)))
@settings(FIXED)
def test_length_of_time_counts_from_now(count: int, now: datetime) -> None:
    aware = now.replace(tzinfo=UTC)
    assert due_at(minutes(count), aware) == aware + minutes(count)


@given(st.integers(0, 23), st.integers(0, 59), st.integers(-12, 14))
@settings(FIXED)
def test_time_of_day_is_the_next_one_on_the_clock_of_the_desk(
    hour: int, minute: int, offset: int
) -> None:
    now = NOW.astimezone(timezone(timedelta(hours=offset)))
    due = due_at(TimeOfDay(hour, minute), now)
    if isinstance(due, str):
        assert f"it is {now:%H:%M} here" in due
        return
    local = due.astimezone(now.tzinfo)
    assert (local.hour, local.minute, local.second) == (hour, minute, 0)
    assert now < local <= now + timedelta(days=1)


@pytest.mark.parametrize(
    ("text", "due"),
    [
        ("until 14:30", "2026-11-25T20:30:00+00:00"),
        ("until 2:30", "2026-11-25T20:30:00+00:00"),
        ("until 0:10", "2026-11-26T06:10:00+00:00"),
        ("until 8:00", "2026-11-26T02:00:00+00:00"),
        ("until 08:00", "2026-11-26T14:00:00+00:00"),
        ("until tomorrow 13:00", "2026-11-26T19:00:00+00:00"),
    ],
)
def test_due_times_on_a_clock_six_hours_behind(text: str, due: str) -> None:
    when = read_wait(text).when
    assert when is not None
    assert due_at(when, NOW) == datetime.fromisoformat(due)


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("until 13:40", "has just gone by; it is 13:50 here"),
        ("until 1:40", "has just gone by; it is 13:50 here"),
        ("until 13:50", "has just gone by; it is 13:50 here"),
        ("until 13:51", "is less than a minute away; it is 13:50 here"),
        ("until tomorrow 15:00", "is more than 24 hours away; it is 13:50 here"),
        ("25 hours", "1 minute to 24 hours"),
        ("0.5 min", "1 minute to 24 hours"),
        ("0", "1 minute to 24 hours"),
    ],
)
def test_what_is_past_or_too_far_is_told(text: str, said: str) -> None:
    when = read_wait(text).when
    assert when is not None
    refused = due_at(when, NOW)
    assert isinstance(refused, str)
    assert said in refused


def test_spring_change_of_the_clock_moves_the_length_of_the_wait_and_not_the_time_of_day() -> None:
    # Chicago lost the hour from 2 to 3 on 2026-03-08 (IANA time zone database).
    now = datetime(2026, 3, 7, 22, 0, tzinfo=ZoneInfo("America/Chicago"))
    assert due_at(TimeOfDay(8, 0), now) == datetime(2026, 3, 8, 13, 0, tzinfo=UTC)
    assert due_at(timedelta(hours=10), now) == datetime(2026, 3, 8, 14, 0, tzinfo=UTC)


# At the prompts of a call.


@pytest.mark.parametrize("kind", KINDS)
def test_call_can_be_parked_at_any_prompt_and_stays_where_it_is(kind: str) -> None:
    engine, case = shipped_engine(), at(kind)
    turn = engine.turn(case, "park 20 min freeze is running", NOW)
    due = "2026-11-25T20:10:20.000000+00:00"
    event = Parked("freeze is running", due, "park 20 min freeze is running")
    assert turn.events == (Said(event.typed), event)
    assert turn.remarks == (ParkedHere("freeze is running", due, 1200.0),)
    after = fold(turn.events, case)
    assert after.is_stopped
    assert after.parked == event
    resumed = fold([Resumed("v")], after)
    assert resumed.parked is None
    assert engine.prompt(resumed) == engine.prompt(case)
    again = engine.turn(resumed, "park 10 min second freeze", NOW)
    assert fold(again.events, resumed).parked is not None


def test_open_escalation_can_be_parked_and_a_closed_one_cannot() -> None:
    engine = shipped_engine()
    case, _ = say(fold([Started(engine.tree.id, "v", "agent", "us")]), "yes both", "something else")
    assert engine.prompt(case).__class__.__name__ == "Escalated"
    turn = engine.turn(case, "park 30 min caller asks the owner", NOW)
    assert isinstance(turn.events[-1], Parked)
    closed, _ = say(case, "done")
    assert closed.concluded is not None
    assert isinstance(engine.turn(closed, "park 30 min x", NOW).events[-1], NotUnderstood)


@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize("line", ["park", "park it", "park 20", "park until 13:40 x", "park x"])
def test_park_that_lacks_something_keeps_the_call_open_and_says_what_to_type(
    kind: str, line: str
) -> None:
    case = at(kind)
    turn = shipped_engine().turn(case, line, NOW)
    _, event = turn.events
    assert isinstance(event, NotUnderstood)
    assert turn.remarks == (NotClear(event.message),)
    assert not fold(turn.events, case).is_stopped


@pytest.mark.parametrize(
    ("line", "said"),
    [
        ("park until 25:70 freeze is running", "25:70 is not a time. Say how long it waits"),
        ("park 13:05 pm x", "13:05 pm is not a time. "),
        ("park until 26 x", "26 is not a time. "),
        ("park freeze is running", "Say how long it waits"),
        ("park 20", "Type the whole line again, such as: park 20 min freeze is running"),
        ("park until 3 pm", "such as: park until 3 pm freeze is running"),
        ("park until 13:40 caller asks", "Type the whole line again: park 20 min caller asks"),
    ],
)
def test_line_that_cannot_be_used_is_answered_with_one_to_type(line: str, said: str) -> None:
    (remark,) = shipped_engine().turn(at("question"), line, NOW).remarks
    assert isinstance(remark, NotClear)
    assert said in remark.message


@given(hour=st.integers(0, 23), minute=st.integers(0, 59))
@FIXED
def test_every_time_of_the_day_is_one(hour: int, minute: int) -> None:
    assert no_time_in(f"until {hour}:{minute:02d} freeze is running") == ""
    assert no_time_in(f"until {hour % 12 + 1}:{minute:02d} pm x") == ""
    assert no_time_in(f"until {hour + 24}:{minute:02d} x") == f"{hour + 24}:{minute:02d}"
    if minute < 40:
        assert no_time_in(f"until {hour}:{minute + 60} x") == f"{hour}:{minute + 60}"


def test_help_proposes_to_wait_for_the_minute_the_reading_is_taken_at() -> None:
    case = up_to("discharge_line_temperature")
    _, (remark,) = say(case, "help")
    assert isinstance(remark, HelpWanted)
    assert remark.wait == "park 6 min discharge line temperature in the freeze"
    turn = shipped_engine().turn(case, remark.wait, NOW)
    assert isinstance(turn.events[-1], Parked)
    _, (other,) = say(up_to("ice_pattern"), "help")
    assert isinstance(other, HelpWanted)
    assert other.wait == ""


def test_lines_said_again_without_a_clock_lead_to_the_same_but_for_the_time() -> None:
    engine, case = shipped_engine(), at("question")
    first = engine.turn(case, "park until 13:40 freeze is running")
    assert first == engine.turn(case, "park until 13:40 freeze is running")
    assert first.events[-1] == Parked("freeze is running", "", "park until 13:40 freeze is running")


# Which very machine it is.


@pytest.mark.parametrize("kind", KINDS)
def test_serial_number_is_kept_at_any_prompt_and_the_last_one_counts(kind: str) -> None:
    case = at(kind)
    turn = shipped_engine().turn(case, "serial number is 0451-77b")
    assert turn.events[1:] == (Identified("0451-77B", "serial number is 0451-77b"),)
    assert turn.remarks == (SerialKept("0451-77B"),)
    after, _ = say(case, "serial 1", "the serial #0451-77b")
    assert after.serial_number == "0451-77B"
    assert shipped_engine().prompt(after) == shipped_engine().prompt(case)
    _, (so_far,) = say(after, "case")
    assert isinstance(so_far, CaseSoFar)
    assert so_far.serial_number == "0451-77B"


@pytest.mark.parametrize("line", ["serial", "serial number", "serial is off", f"serial {10**41}"])
def test_what_is_no_serial_number_is_asked_for_again(line: str) -> None:
    turn = shipped_engine().turn(at("question"), line)
    assert isinstance(turn.events[-1], NotUnderstood)
    assert "data plate" in turn.events[-1].message


@given(typed_lines())
@settings(FIXED)
def test_serial_number_is_short_printable_and_has_a_digit(text: str) -> None:
    number = serial_number_in(text)
    if number is not None:
        assert serial_number_in(number) == number
        assert number.isascii()
        assert number.isprintable()
        assert any(map(str.isdigit, number))


def test_number_known_from_the_start_is_the_case_s_own() -> None:
    assert fold([Identified("7")], Case()).serial_number == "7"
