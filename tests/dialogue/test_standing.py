"""Where a call stood, in three lines a person reads out on the phone."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime, timedelta

import pytest

from tests.conversation import opened, say, shipped_engine, up_to
from tests.dialogue.calls import Caller
from tests.dialogue.test_engine_turns import KINDS, at
from triage.dialogue.case import Case, fold
from triage.dialogue.events import Answered, Parked, Stopped
from triage.dialogue.standing import Times, ago, standing_of
from triage.dialogue.view import AskQuestion

NOW = datetime(2026, 11, 25, 14, 30, tzinfo=UTC)
TIMES = Times(NOW - timedelta(minutes=42), NOW - timedelta(minutes=22), NOW)


def parked(case: Case, reason: str = "freeze is running") -> Case:
    return fold([Parked(reason, "2026-11-25T14:28:00.000000+00:00")], case)


def lines(case: Case) -> tuple[str, str, str]:
    return standing_of(shipped_engine(), case, TIMES)


def test_freeze_that_is_sound_so_far() -> None:
    case = replace(up_to("discharge_line_temperature"), serial_number="0451-77")
    assert lines(parked(case)) == (
        "We are on your Gletsch R500 (invented), R-410A, serial number 0451-77; it makes ice, but "
        "the ice will not drop. We began 42 minutes ago and parked the call 22 minutes ago: "
        "freeze is running.",
        "Freeze looks healthy so far (7 readings).",
        "What I need from you now: discharge line temperature in the freeze, at minute 6.",
    )


def test_technician_alone_is_spoken_to_as_one() -> None:
    case = replace(up_to("discharge_line_temperature"), voice="technician")
    first, _, third = lines(parked(case))
    assert first.startswith("You are on the Gletsch R500 (invented), R-410A; it makes ice")
    assert "You began 42 minutes ago and parked the call 22 minutes ago" in first
    assert third == "Next: discharge line temperature in the freeze, at minute 6."


def test_freeze_with_a_reading_below_its_band() -> None:
    case, _ = say(up_to("freeze_suction_pressure_late"), "12 psi")
    assert lines(case)[1] == (
        "Freeze has 1 odd reading of 10: suction pressure late in the freeze 12 psig is below its "
        "band."
    )


def test_harvest_with_more_odd_readings_than_are_read_out() -> None:
    assert lines(up_to("coil_voltage"))[1] == (
        "Freeze is proven sound (10 readings). Harvest has 3 odd readings: ice released in the "
        'harvest "no, nothing dropped"; suction pressure in the harvest 85 psig is below its '
        "band; and 1 more."
    )


def test_call_of_which_nothing_is_known_yet() -> None:
    first, second, third = lines(parked(opened()))
    assert first.startswith(
        "We are on your ice machine, refrigerant not known yet; what is wrong with it is not said "
        "yet."
    )
    assert second == "Nothing of the freeze or the harvest has been judged yet."
    assert third.startswith("Two things, so I only ask for what you may do.")


def test_calls_that_were_stopped_or_broke_off_say_so() -> None:
    case = up_to("ice_pattern")
    assert lines(fold([Stopped()], case))[0].endswith("and stopped 22 minutes ago.")
    assert lines(case)[0].endswith("and broke off 22 minutes ago.")


def test_reading_in_doubt_and_caution_are_what_is_asked_now() -> None:
    doubted, _ = say(up_to("freeze_time"), "5 s")
    assert lines(doubted)[2].startswith("One answer is still to be checked: ")
    assert lines(at("caution"))[2].startswith("Before we go on there is a caution to answer: ")


def test_escalation_that_is_open_is_told_as_such() -> None:
    case, _ = say(opened(), "yes both", "something else")
    assert lines(case)[2].startswith("It cannot be told from here: ")
    assert lines(case)[2].endswith("Nothing is closed yet.")


@pytest.mark.parametrize("kind", KINDS)
def test_there_are_three_lines_at_every_prompt_each_a_closed_sentence(kind: str) -> None:
    told = lines(parked(at(kind)))
    assert len(told) == 3
    assert all(line[-1] in ".?" and "\n" not in line for line in told)


def test_three_lines_hold_at_every_question_of_a_call_and_its_name_is_in_them() -> None:
    engine = shipped_engine()
    case, caller = opened(), Caller({})
    for _ in range(60):
        prompt = engine.prompt(case)
        if not isinstance(prompt, AskQuestion):
            break
        told = standing_of(engine, parked(case), TIMES)
        if prompt.stage.value != "caller":
            assert prompt.reading.name in told[2]
        case = fold([caller.answer(case, prompt.reading, prompt.minute)], case)
    assert case.answers


def test_reason_and_answers_of_a_record_bring_no_control_characters() -> None:
    case = parked(up_to("ice_pattern"), "\x1b[31mred\x07\nline")
    case = replace(case, serial_number="1\x1b]0;t")
    told = "".join(lines(case))
    assert told.isprintable()
    odd = fold([Answered("complaint", "x", "\x1b[2J")], case)
    assert "".join(lines(odd)).isprintable()


@pytest.mark.parametrize(
    ("span", "words"),
    [
        (timedelta(seconds=-5), "just now"),
        (timedelta(seconds=59), "just now"),
        (timedelta(minutes=1), "1 minute ago"),
        (timedelta(hours=1), "1 hour ago"),
        (timedelta(hours=26, minutes=2), "26 hours 2 minutes ago"),
        (timedelta(days=3), "3 days ago"),
    ],
)
def test_times_gone_by_are_told_in_words(span: timedelta, words: str) -> None:
    assert ago(span) == words
