"""Where a call stood, in three lines a person reads out on the phone."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime, timedelta
from io import StringIO

import pytest

from tests.conversation import opened, say, shipped_engine, up_to
from tests.dialogue.calls import Caller
from tests.dialogue.test_engine_turns import KINDS, at
from triage.console.cards import case_so_far
from triage.console.look import ChatConsole, Look
from triage.console.telling import Telling
from triage.dialogue.case import Case, fold
from triage.dialogue.events import Answered, Parked, Stopped
from triage.dialogue.standing import Times, ago, standing_of
from triage.dialogue.view import ODD, AskCaution, AskQuestion, CaseSoFar

NOW = datetime(2026, 11, 25, 14, 30, tzinfo=UTC)
TIMES = Times(NOW - timedelta(minutes=42), NOW - timedelta(minutes=22), NOW)


def parked(case: Case, reason: str = "freeze is running") -> Case:
    return fold([Parked(reason, "2026-11-25T14:28:00.000000+00:00")], case)


def lines(case: Case) -> tuple[str, str, str]:
    return standing_of(shipped_engine(), case, TIMES)


def test_freeze_that_is_sound_so_far() -> None:
    case = replace(up_to("discharge_line_temperature"), serial_number="0451-77")
    assert lines(parked(case)) == (
        "We are on your Gletsch R500 (invented), R-410A, serial number 0451-77; the complaint: "
        "makes ice, but the ice will not drop. We began 42 minutes ago and parked the call "
        "22 minutes ago: freeze is running.",
        "Freeze looks healthy so far (7 readings).",
        "What I need from you now: discharge line temperature in the freeze, at minute 6.",
    )


def test_technician_alone_is_spoken_to_as_one() -> None:
    case = replace(up_to("discharge_line_temperature"), voice="technician")
    first, _, third = lines(parked(case))
    assert first.startswith("You are on the Gletsch R500 (invented), R-410A; the complaint: makes")
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
        "Freeze is proven sound (10 readings). Harvest has 3 odd readings: suction pressure in the "
        "harvest 85 psig is below its band; discharge pressure in the harvest 125 psig is below "
        "its band; and 1 more."
    )


def test_refrigerant_that_nobody_read_off_the_plate_is_never_named() -> None:
    # The machine's file says R-410A: what is in this very one may be another.
    case, _ = say(opened(), "yes both", "will not drop", "gletsch r500", "dunno")
    for one in (case, up_to("refrigerant")):
        first = lines(parked(one))[0]
        assert first.startswith(
            "We are on your Gletsch R500 (invented), refrigerant not read off the plate yet;"
        )
        assert "R-4" not in first


def test_refused_cautions_are_said_with_what_was_found_and_in_the_case() -> None:
    asked = at("caution")
    prompt = shipped_engine().prompt(asked)
    assert isinstance(prompt, AskCaution)
    case, _ = say(asked, "no")
    said = f"Refused: {prompt.caution.title}."
    assert lines(parked(case))[1].endswith(said)
    assert "Refused" not in lines(parked(asked))[1]
    _, (remark,) = say(case, "case")
    assert isinstance(remark, CaseSoFar)
    assert remark.refused == (prompt.caution,)
    stream = StringIO()
    telling = Telling(shipped_engine().content, case)
    ChatConsole(Look(), stream, 80).print(case_so_far(remark, telling))
    assert said in " ".join(stream.getvalue().split())


@pytest.mark.parametrize("complaint", ["something else", "low production", "will not drop"])
def test_complaint_is_told_whatever_words_its_label_has(complaint: str) -> None:
    case, _ = say(opened(), "yes both", complaint)
    reading = shipped_engine().content.readings["complaint"]
    (label,) = (
        each.label for each in reading.choices if each.id == case.answers["complaint"].value
    )
    assert f"; the complaint: {label}. We began" in lines(case)[0]


def test_reason_that_is_something_to_do_is_told_as_such() -> None:
    case = up_to("discharge_line_temperature")
    assert lines(parked(case, "read the line at minute six"))[0].endswith(
        "parked the call 22 minutes ago; you were going to: read the line at minute six."
    )


def test_reading_farthest_from_its_band_is_told_first_and_choices_last() -> None:
    case = up_to("coil_voltage")
    answers = dict(case.answers)
    for pressure in ("harvest_suction_pressure", "harvest_discharge_pressure"):
        lowest = replace(answers[pressure], value=110_000.0)  # next to no pressure at all
        one = replace(case, answers={**answers, pressure: lowest})
        odd = [item for item in shipped_engine().findings(one) if item.verdict in ODD]
        measured = sorted(
            (item for item in odd if item.residual is not None),
            key=lambda item: -abs(item.residual or 0.0),
        )
        assert (len(odd), len(measured)) == (3, 2)
        told = lines(one)[1].split("odd readings: ")[1].split("; ")
        assert told[0].startswith(measured[0].reading.name)
        assert told[1].startswith(measured[1].reading.name)
        assert measured[0].reading.id == pressure


def test_call_of_which_nothing_is_known_yet() -> None:
    first, second, third = lines(parked(opened()))
    assert first.startswith(
        "We are on your ice machine, refrigerant not read off the plate yet; what is wrong with it "
        "is not said yet."
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
