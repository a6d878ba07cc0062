"""What a typed line does at every kind of prompt; nothing typed is lost, nothing is assumed."""

from __future__ import annotations

from dataclasses import asdict
from functools import cache

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests.conversation import FEED_FAILED, opened, say, shipped_engine, up_to
from tests.strategies import FIXED, typed_lines
from triage.dialogue.case import Case, fold
from triage.dialogue.events import (
    Answered,
    Declined,
    Event,
    Looked,
    Noted,
    NotUnderstood,
    Offered,
    Said,
    Stopped,
    TakenBack,
)
from triage.dialogue.judge import ALTITUDE
from triage.dialogue.view import (
    END_PROMPTS,
    AskCaution,
    AskConfirmation,
    AskQuestion,
    CaseSoFar,
    Echo,
    Escalated,
    Explained,
    HelpWanted,
    NotClear,
    NoteKept,
    NotTaken,
    StoppedHere,
    TookBack,
)
from triage.dialogue.words import plain_text

SUCTION = "harvest_suction_pressure"
HEAD = "harvest_discharge_pressure"
KINDS = ("question", "confirmation", "caution", "gate")


@cache
def at(kind: str) -> Case:
    """Return a call that waits at a prompt of this kind."""
    match kind:
        case "question":
            return up_to(SUCTION)
        case "confirmation":
            return say(up_to(SUCTION), "2700 psi")[0]
        case "caution":
            case = up_to("freeze_time")
            return say(case, FEED_FAILED["freeze_time"])[0]
        case _:
            return say(up_to("manifold_test_result"), FEED_FAILED["manifold_test_result"])[0]


def events_of(case: Case, line: str) -> tuple[Event, ...]:
    """Return what `line` leads to at `case`, without the line itself."""
    said, *events = shipped_engine().turn(case, line).events
    assert said == Said(plain_text(line))
    return tuple(events)


def prompt_of(case: Case) -> object:
    return shipped_engine().prompt(case)


def test_the_four_kinds_of_prompt_are_what_they_are_called() -> None:
    assert isinstance(prompt_of(at("question")), AskQuestion)
    assert isinstance(prompt_of(at("confirmation")), AskConfirmation)
    caution, gate = prompt_of(at("caution")), prompt_of(at("gate"))
    assert isinstance(caution, AskCaution)
    assert not caution.seal
    assert isinstance(gate, AskCaution)
    assert gate.seal


# Words that do something at every prompt.


@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize("word", ["why", "how", "how do I measure that?", "case", "help"])
def test_looking_is_on_record_and_changes_nothing(kind: str, word: str) -> None:
    case = at(kind)
    after, remarks = say(case, word)
    (event,) = events_of(case, word)
    assert isinstance(event, Looked)
    assert event.typed == word.rstrip("?") or event.typed == word
    assert prompt_of(after) == prompt_of(case)
    assert after.answers == case.answers
    assert len(remarks) == 1
    assert isinstance(remarks[0], Explained | CaseSoFar | HelpWanted)
    if isinstance(remarks[0], Explained):
        assert remarks[0].text


@pytest.mark.parametrize("kind", KINDS)
def test_the_case_so_far_tells_every_answer_and_note(kind: str) -> None:
    case, _ = say(at(kind), "note the fan rattles")
    _, (remark,) = say(case, "case")
    assert isinstance(remark, CaseSoFar)
    assert set(case.answers) <= {finding.reading.id for finding in remark.findings}
    assert remark.notes == ("the fan rattles",)


@pytest.mark.parametrize("kind", KINDS)
def test_a_note_is_kept_and_the_prompt_stays(kind: str) -> None:
    case = at(kind)
    assert events_of(case, "note it rattles") == (Noted("it rattles"),)
    after, remarks = say(case, "note it rattles")
    assert remarks == (NoteKept("it rattles"),)
    assert prompt_of(after) == prompt_of(case)


@pytest.mark.parametrize("kind", KINDS)
def test_a_note_without_words_is_asked_for(kind: str) -> None:
    (event,) = events_of(at(kind), "note")
    assert isinstance(event, NotUnderstood)
    assert "note" in event.message


@pytest.mark.parametrize("kind", KINDS)
def test_stopping_keeps_the_call_where_it_is(kind: str) -> None:
    after, remarks = say(at(kind), "stop")
    assert remarks == (StoppedHere(),)
    assert after.is_stopped
    assert prompt_of(after) == prompt_of(at(kind))
    assert events_of(at(kind), "stop") == (Stopped("stop"),)


@pytest.mark.parametrize("kind", ["question", "caution", "gate"])
def test_back_opens_the_last_answer_again(kind: str) -> None:
    case = at(kind)
    last = list(case.answers)[-1]
    assert events_of(case, "back") == (TakenBack(last, "back"),)
    after, (remark,) = say(case, "back")
    assert isinstance(remark, TookBack)
    assert remark.reading.id == last
    prompt = prompt_of(after)
    assert isinstance(prompt, AskQuestion)
    assert prompt.reading.id == last


def test_back_at_a_confirmation_drops_what_waits_and_asks_again() -> None:
    case = at("confirmation")
    assert events_of(case, "back") == (Declined(SUCTION, "2700 psi"),)
    after, _ = say(case, "back")
    assert prompt_of(after) == prompt_of(at("question"))


def test_back_before_the_first_answer_says_there_is_none() -> None:
    (event,) = events_of(opened(), "back")
    assert isinstance(event, NotUnderstood)


def test_back_again_and_again_reaches_the_first_question() -> None:
    case = at("gate")
    for _ in range(len(case.answers)):
        case, _ = say(case, "back")
    assert prompt_of(case) == prompt_of(opened())


@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize(
    "words", ["change room", "change the inlet water temperature", "go back to the discharge line"]
)
def test_any_answer_can_be_changed_from_anywhere(kind: str, words: str) -> None:
    case = at(kind)
    wanted = {
        "change room": "ambient_air_temperature",
        "change the inlet water temperature": "water_inlet_temperature",
        "go back to the discharge line": "discharge_line_temperature",
    }[words]
    after, (*dropped, remark) = say(case, words)
    assert [item.reading.id for item in dropped] == [
        item.reading for item in case.offered if wanted in case.answers
    ], "readings still waiting are said to be dropped"
    if wanted not in case.answers:
        assert isinstance(remark, NotClear)
        assert after == fold(events_of(case, words), case)
        return
    assert isinstance(remark, TookBack)
    prompt = prompt_of(after)
    assert isinstance(prompt, AskQuestion)
    assert prompt.reading.id == wanted


@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize("words", ["change", "change the flux capacitor", "change pressure"])
def test_a_change_that_names_no_single_answer_is_asked_about(kind: str, words: str) -> None:
    case = at(kind)
    (event,) = events_of(case, words)
    assert isinstance(event, NotUnderstood)
    assert event.message.startswith(("Which one", "No answer so far"))


def test_the_end_of_a_word_does_not_name_an_answer() -> None:
    # "late" stands at the end of "plate".
    (event,) = events_of(at("question"), "change late")
    assert event == TakenBack("freeze_suction_pressure_late", "change late")


def test_the_old_and_the_new_answer_both_stay_in_the_record() -> None:
    events: list[Event] = []
    case = at("question")
    for line in ("change room", "90 F"):
        events.extend(shipped_engine().turn(case, line).events)
        case = fold(shipped_engine().turn(case, line).events, case)
    before = at("question").answers["ambient_air_temperature"]
    assert before.typed == "70 F"
    assert TakenBack("ambient_air_temperature", "change room") in events
    assert case.answers["ambient_air_temperature"].typed == "90 F"


@pytest.mark.parametrize("line", ["unknown", "unknown no gauges here", "can't reach it", "dunno"])
@pytest.mark.parametrize("kind", ["question", "confirmation"])
def test_a_reading_can_be_unknown_with_its_reason(kind: str, line: str) -> None:
    case = at(kind)
    after, remarks = say(case, line)
    answer = after.answers[SUCTION]
    assert answer.value is None
    assert answer.typed == line
    assert answer.reason
    if "gauges" in line:
        assert answer.reason == "no gauges here"
    assert any(isinstance(remark, Echo) for remark in remarks)
    assert not after.offered


def test_the_value_in_doubt_stays_on_record_when_it_turns_out_unknown() -> None:
    events = events_of(at("confirmation"), "unknown my gauge is broken")
    assert events[0] == Declined(SUCTION, "2700 psi")


@pytest.mark.parametrize("kind", ["caution", "gate"])
def test_a_caution_cannot_be_unknown(kind: str) -> None:
    case = at(kind)
    after, (remark,) = say(case, "unknown not my job")
    assert isinstance(remark, NotClear)
    assert "yes" in remark.message
    assert prompt_of(after) == prompt_of(case)


def test_how_to_measure_tells_the_cautions_with_it() -> None:
    _, (remark,) = say(at("question"), "how")
    assert isinstance(remark, Explained)
    assert remark.cautions
    _, (remark,) = say(at("question"), "why")
    assert isinstance(remark, Explained)
    assert remark.cautions == ()


@pytest.mark.parametrize("word", ["why", "how"])
def test_a_reading_no_question_asks_for_can_be_asked_about_too(word: str) -> None:
    case, _ = say(opened(), "altitude 5000 ft")
    assert isinstance(prompt_of(case), AskConfirmation)
    _, (remark,) = say(case, word)
    assert isinstance(remark, Explained)
    assert remark.text


# Nothing typed is lost.


@given(kind=st.sampled_from(KINDS), line=typed_lines())
@FIXED
def test_whatever_is_typed_is_the_first_event_and_no_line_fails(kind: str, line: str) -> None:
    turn = shipped_engine().turn(at(kind), line)
    assert turn.events[0] == Said(plain_text(line))
    case = fold(turn.events, at(kind))
    assert shipped_engine().prompt(case) is not None
    assert turn.remarks or isinstance(shipped_engine().prompt(case), AskConfirmation)


@given(lines=st.lists(typed_lines(), min_size=1, max_size=4))
@FIXED
def test_an_answer_holds_words_that_were_typed(lines: list[str]) -> None:
    case, _ = say(at("question"), *lines)
    said = [plain_text(line) for line in lines]
    for reading, answer in case.answers.items():
        if at("question").answers.get(reading) != answer:
            assert any(answer.typed in line for line in said), answer


@pytest.mark.parametrize("kind", KINDS)
def test_an_empty_line_changes_nothing_but_the_record(kind: str) -> None:
    after, remarks = say(at(kind), "   ")
    assert events_of(at(kind), "   ") == ()
    assert prompt_of(after) == prompt_of(at(kind))
    assert isinstance(remarks[0], NotClear)


def test_control_characters_are_not_kept() -> None:
    turn = shipped_engine().turn(at("question"), "note \x1b[31mred\x07 \u202eflip")
    assert turn.events == (Said("note [31mred flip"), Noted("[31mred flip"))


def test_a_call_that_ended_takes_nothing_more_but_keeps_what_is_typed() -> None:
    case = at("gate")
    while isinstance(shipped_engine().prompt(case), AskCaution):
        case, _ = say(case, "yes")
    assert isinstance(shipped_engine().prompt(case), END_PROMPTS)
    for line in ("back", "change room", "62 psi", "no", "note too late"):
        said, event = shipped_engine().turn(case, line).events
        assert said == Said(line)
        assert isinstance(event, NotUnderstood)
        assert event.typed == line
    after, _ = say(case, "back", "no", "62 psi")
    assert shipped_engine().prompt(after) == shipped_engine().prompt(case)


# Several readings in one breath.


def test_each_reading_of_a_breath_waits_for_its_own_yes() -> None:
    case, remarks = say(at("question"), "suction 62, head 305")
    assert remarks == ()
    assert [item.reading for item in case.offered] == [SUCTION, HEAD]
    assert SUCTION not in case.answers
    prompt = prompt_of(case)
    assert isinstance(prompt, AskConfirmation)
    assert (prompt.finding.reading.id, prompt.count_waiting) == (SUCTION, 2)
    case, _ = say(case, "yes")
    assert SUCTION in case.answers
    assert HEAD not in case.answers
    case, _ = say(case, "yes")
    assert HEAD in case.answers
    assert case.offered == ()


def test_the_breath_of_the_manual_is_taken_apart_into_its_three_readings() -> None:
    case = up_to("ambient_air_temperature")
    case, _ = say(case, "suction 62, head 305, about 70 in the room", "yes", "yes", "yes")
    gained = {
        reading: answer.typed
        for reading, answer in case.answers.items()
        if reading not in up_to("ambient_air_temperature").answers
    }
    assert gained == {
        "ambient_air_temperature": "about 70 in the room",
        "freeze_suction_pressure_early": "suction 62",
        "freeze_discharge_pressure": "head 305",
    }


def test_no_drops_one_reading_and_goes_on_with_the_next() -> None:
    case, _ = say(at("question"), "suction 62, head 305")
    after, (remark,) = say(case, "no")
    assert isinstance(remark, NotTaken)
    assert [item.reading for item in after.offered] == [HEAD]
    assert SUCTION not in after.answers


def test_a_new_value_takes_the_place_of_the_one_shown_and_the_rest_goes_on_waiting() -> None:
    case, _ = say(at("question"), "suction 62, head 305", "64 psi")
    assert case.answers[SUCTION].typed == "64 psi"
    assert [item.reading for item in case.offered] == [HEAD]


def test_a_doubtful_new_value_is_asked_about_and_the_rest_goes_on_waiting() -> None:
    case, _ = say(at("question"), "suction 62, head 305", "2700 psi")
    assert [item.reading for item in case.offered] == [SUCTION, HEAD]
    assert "2700" in case.doubt
    case, _ = say(case, "62 psi", "yes")
    assert (case.answers[SUCTION].typed, case.answers[HEAD].typed) == ("62 psi", "head 305")


def test_a_new_value_may_come_with_its_minute() -> None:
    case, _ = say(at("confirmation"), "62 psi at 3 min")
    answer = case.answers[SUCTION]
    assert answer.minute_s == 180.0
    assert not answer.is_minute_assumed


def test_a_yes_to_a_reading_of_a_breath_still_meets_its_doubt() -> None:
    case, _ = say(at("question"), "suction 2700, head 305", "yes")
    prompt = prompt_of(case)
    assert isinstance(prompt, AskConfirmation)
    assert "2700" in prompt.doubt
    assert prompt.count_waiting == 2
    case, _ = say(case, "yes")
    assert SUCTION in case.answers


def test_words_beside_one_reading_are_kept_as_a_note() -> None:
    events = events_of(at("question"), "62 psi and it sounds loud")
    assert isinstance(events[0], Answered)
    assert events[0].typed == "62 psi"
    assert events[1:] == (Noted("it sounds loud"),)


def test_words_beside_a_breath_are_kept_as_a_note() -> None:
    events = events_of(at("question"), "suction 62, head 305, the owner is cross")
    assert isinstance(events[0], Offered)
    assert events[1:] == (Noted("the owner is cross"),)


@pytest.mark.parametrize("line", ["suction 62, head 12 C", "head 305 bar C, suction 62"])
def test_a_breath_with_one_part_that_cannot_be_read_takes_nothing(line: str) -> None:
    case = at("question")
    (event,) = events_of(case, line)
    assert isinstance(event, NotUnderstood)
    assert event.typed == line
    assert "took nothing" in event.message
    after, _ = say(case, line)
    assert after.answers == case.answers
    assert after.offered == ()


def test_a_reading_said_early_is_not_asked_for_again() -> None:
    case, _ = say(opened(), "yes both", "will not drop, Gletsch R500, R-410A",
                  "yes", "yes", "yes")  # fmt: skip
    prompt = prompt_of(case)
    assert isinstance(prompt, AskQuestion)
    assert prompt.reading.id == "ambient_air_temperature"


@pytest.mark.parametrize(
    ("reading", "line", "value"),
    [
        ("slab_loose_but_hanging", "no, it's frozen fast, will not move", "no"),
        ("coil_pulls_in", "yes, it clicks, and it holds", "yes"),
        ("machine", "it is a Gletsch R500", "gletsch_r500"),
        ("water_leaking_into_sump", "no, it is shut, dry", "no"),
    ],
)
def test_an_explanation_of_one_answer_is_not_torn_apart(
    reading: str, line: str, value: str
) -> None:
    case, _ = say(up_to(reading), line)
    assert case.offered == ()
    assert case.answers[reading].value == value


def test_an_answer_to_another_question_is_shown_back_first() -> None:
    case, _ = say(up_to("ambient_air_temperature"), "head 305 psi")
    prompt = prompt_of(case)
    assert isinstance(prompt, AskConfirmation)
    assert prompt.finding.reading.id == "freeze_discharge_pressure"


# The minute a reading was taken.


def test_without_a_minute_the_usual_one_is_assumed_and_says_so() -> None:
    case, _ = say(at("question"), "85 psi")
    assert case.answers[SUCTION].minute_s == 60.0
    assert case.answers[SUCTION].is_minute_assumed


# Who may become licensed.


def test_a_held_call_takes_no_license_from_a_breath_either() -> None:
    case, _ = say(opened(), "no", "will not drop", "change qualification")
    case, (remark,) = say(case, "yes, Gletsch R500")
    assert isinstance(remark, NotClear)
    assert "caller_qualification" not in case.answers
    assert case.offered == ()


# Altitude said late, and taken back.


def test_an_altitude_in_the_same_breath_counts_for_the_pressure_after_it() -> None:
    case, _ = say(up_to("ambient_air_temperature"), "altitude 5000 ft, suction 62", "yes", "yes")
    first, _ = say(up_to("ambient_air_temperature"), "altitude 5000 ft", "yes")
    after, _ = say(first, "suction 62 psi", "yes")
    early = "freeze_suction_pressure_early"
    assert case.answers[early].value == after.answers[early].value


@pytest.mark.parametrize("line", ["back", "change altitude"])
def test_an_altitude_taken_back_gives_the_pressures_back_as_they_were(line: str) -> None:
    case, _ = say(at("question"), "altitude 5000 ft", "yes")
    assert list(case.answers)[-1] == ALTITUDE
    after, _ = say(case, line)
    before = at("question").answers
    assert {key: answer.value for key, answer in after.answers.items()} == {
        key: answer.value for key, answer in before.items()
    }


# A call from before the content was edited.


@pytest.mark.parametrize(
    "strange",
    [
        Answered("a_reading_of_old", "62", 62.0),
        Answered("ice_pattern", "wavy", "wavy"),
        Answered("refrigerant", "R-999", "R-999"),
        Answered("machine", "x9", "x9"),
    ],
    ids=["no such reading", "no such choice", "no such refrigerant", "no such machine"],
)
def test_what_the_content_does_not_know_any_more_is_asked_anew(strange: Answered) -> None:
    engine = shipped_engine()
    case = fold([strange], opened())
    waiting = fold([Offered((asdict(strange),), "")], opened())
    for odd in (case, waiting):
        assert engine.prompt(odd) == engine.prompt(opened())
        assert strange.reading not in {item.reading.id for item in engine.findings(odd)}
        for line in ("yes both", "back", "change old", "case", "why", "altitude 5000 ft"):
            engine.turn(odd, line)


def test_a_yes_takes_what_did_you_mean_proposed() -> None:
    case, _ = say(up_to("machine"), "gletch r 500")
    prompt = prompt_of(case)
    assert isinstance(prompt, AskConfirmation)
    assert "Gletsch R500" in prompt.doubt
    case, _ = say(case, "yes")
    assert case.answers["machine"].value == "gletsch_r500"
    assert case.answers["machine"].typed == "gletch r 500"


def test_a_minute_no_harvest_lasts_to_is_asked_about() -> None:
    case, _ = say(up_to(SUCTION), "76 psi at 40 min")
    prompt = prompt_of(case)
    assert isinstance(prompt, AskConfirmation)
    assert "past the longest harvest" in prompt.doubt


def test_an_escalation_can_be_mended_until_it_is_closed() -> None:
    case, _ = say(up_to("complaint"), "something else")
    engine = shipped_engine()
    assert isinstance(engine.prompt(case), Escalated)
    mended, _ = say(case, "back", "will not drop")
    assert isinstance(engine.prompt(mended), AskQuestion)
    closed, _ = say(case, "done")
    assert closed.concluded is not None
    assert fold(events_of(closed, "back"), closed).answers == closed.answers


@pytest.mark.parametrize(
    ("reading", "line"),
    [
        ("water_flow_over_plate", "running, but weak"),
        ("water_flow_over_plate", "running but weak on the left"),
        ("condenser_fan_state", "running, but slow"),
        ("manifold_test_result", "it dropped, but only half"),
    ],
)
def test_an_answer_turned_round_by_its_own_but_never_counts_unasked(
    reading: str, line: str
) -> None:
    before = up_to(reading)
    case, _ = say(before, line)
    answer = case.answers.get(reading)
    normal = shipped_engine().content.readings[reading].normal
    assert answer is None or answer.value not in (*normal, "slab_released")


def test_what_is_changed_is_asked_again_and_never_just_dropped() -> None:
    case, _ = say(up_to("freeze_discharge_pressure"), "subcooling 30 F", "yes")
    case, _ = say(case, "change subcooling")
    prompt = prompt_of(case)
    assert isinstance(prompt, AskQuestion)
    assert prompt.reading.id == "liquid_subcooling"
    case, _ = say(case, "30 F")
    assert case.answers["liquid_subcooling"].value is not None


def test_gauges_told_of_by_an_unlicensed_caller_bring_the_warning_whatever_the_words() -> None:
    case, _ = say(up_to("ambient_air_temperature", {**FEED_FAILED, "caller_qualification": "no"}))
    _, remarks = say(case, "I hooked up my own gauges suction is 72")
    said = " ".join(
        getattr(remark, "message", "") + getattr(remark, "advice", "") for remark in remarks
    )
    assert "Stop there" in said


@pytest.mark.parametrize(
    ("reading", "line"),
    [("freeze_discharge_pressure", "head's 305"), ("freeze_suction_pressure_late", "39 at 14")],
)
def test_a_pressure_said_the_usual_way_counts(reading: str, line: str) -> None:
    case, _ = say(up_to(reading), line)
    assert reading in case.answers or case.offered
