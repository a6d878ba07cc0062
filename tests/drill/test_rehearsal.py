"""A drill line by line."""

import pytest

from tests.conversation import shipped_engine
from tests.drill.calls import (
    call_not_on_file,
    call_with,
    say,
    shown_after,
    unlicensed_call,
)
from triage.dialogue.view import Explained, NotClear, Source, Verdict
from triage.drill.call import Level
from triage.drill.practice import Kind, LeftOpen, Outcome, begin, fold_steps
from triage.drill.rehearsal import respond
from triage.drill.remarks import (
    BandShown,
    CaseShown,
    CautionsRead,
    Heard,
    HelpShown,
    Judged,
    WhichOne,
)

CALL = call_with("compressor_weak")
KNOWN = ("license", "machine, refrigerant, condenser, room, roof and water")


def test_asking_for_a_reading_gives_the_callers_words_judged() -> None:
    practice, (heard,) = say(CALL, *KNOWN, "late suction")
    assert isinstance(heard, Heard)
    assert heard.asking.words == CALL.caller.answer("freeze_suction_pressure_late")
    assert heard.finding.band is not None
    assert heard.finding.verdict is Verdict.ABOVE
    assert practice.asked[-1].reading == "freeze_suction_pressure_late"


def test_the_same_steps_fold_to_the_same_drill() -> None:
    steps, practice = [], begin(CALL)
    for line in (*KNOWN, "caution fan", "fan", "hint", "propose leak", "2", "propose it's scale"):
        response = respond(CALL, practice, line)
        steps.extend(response.steps)
        practice = fold_steps(CALL, response.steps, practice)
    assert fold_steps(CALL, steps) == practice


def test_a_reading_asked_for_twice_takes_no_time_again() -> None:
    practice, (heard,) = say(CALL, "license", "freeze time", "freeze time")
    assert isinstance(heard, Heard)
    assert heard.is_again
    assert [item.reading for item in practice.asked] == ["caller_qualification", "freeze_time"]


def test_a_short_list_is_asked_and_chosen_from() -> None:
    practice, (which,) = say(CALL, "suction")
    assert which == WhichOne(
        Kind.READING,
        (
            "suction pressure early in the freeze", "suction pressure late in the freeze",
            "suction pressure in the harvest",
        ),
    )  # fmt: skip
    assert practice.asked == ()
    for line in ("2", "late"):
        chosen, _ = say(CALL, line, after=practice)
        assert chosen.asked[-1].reading == "freeze_suction_pressure_late"
        assert chosen.open is None
    other, _ = say(CALL, "fan", after=practice)
    assert other.asked[-1].reading == "condenser_fan_state"
    dropped, _ = say(CALL, "no", after=practice)
    assert dropped.asked == ()


def test_a_reading_not_quite_named_is_taken_on_a_yes() -> None:
    practice, (which,) = say(CALL, "watter flow")
    assert isinstance(which, WhichOne)
    assert len(which.names) == 1
    practice, _ = say(CALL, "yes", after=practice)
    assert practice.asked[-1].reading == "water_flow_over_plate"


def test_what_is_offered_alone_is_taken_on_a_yes_only() -> None:
    practice, (which,) = say(CALL, "watter flow")
    assert isinstance(which, WhichOne)
    other, _ = say(CALL, "water", after=practice)
    assert [item.reading for item in other.asked] == ["water_inlet_temperature"]


def test_another_reading_named_whole_is_no_choice_from_a_list() -> None:
    practice, _ = say(CALL, "temperature")
    assert practice.open is not None
    machine, _ = say(CALL, "machine", after=practice)
    assert machine.asked[-1].reading == "machine"
    practice, _ = say(CALL, "suction")
    assert say(CALL, "harvest", after=practice)[0].asked[-1].reading == "harvest_suction_pressure"
    assert say(CALL, "harvest time", after=practice)[0].asked[-1].reading == "harvest_time"


def test_the_right_cause_ends_the_drill() -> None:
    practice, (judged,) = say(CALL, "propose weak compressor")
    assert judged == Judged("compressor_weak", True, 1)
    assert practice.outcome is Outcome.RIGHT


def test_two_wrong_causes_end_the_drill() -> None:
    practice, (judged,) = say(CALL, "propose dirty condenser")
    assert judged == Judged("condenser_airflow_poor", False, 1)
    assert practice.outcome is None
    again, (unclear,) = say(CALL, "propose dirty condenser", after=practice)
    assert isinstance(unclear, NotClear)
    assert again.guesses_left == 1
    practice, (judged,) = say(CALL, "propose warm water", after=practice)
    assert judged == Judged("water_supply_warm", False, 0)
    assert practice.outcome is Outcome.WRONG


def test_a_guess_is_not_spent_on_words_that_may_mean_several_causes() -> None:
    practice, (which,) = say(CALL, "propose hot gas valve")
    assert isinstance(which, WhichOne)
    assert practice.proposals == ()
    practice, _ = say(CALL, "leaks", after=practice)
    assert practice.proposals == ("hot_gas_valve_leaking",)


def test_a_cause_typed_bare_is_proposed_only_on_a_yes() -> None:
    practice, (which,) = say(CALL, "weak compressor")
    assert isinstance(which, WhichOne)
    assert which.kind is Kind.CAUSE
    assert practice.proposals == ()
    assert say(CALL, "no", after=practice)[0].outcome is None
    assert say(CALL, "yes", after=practice)[0].outcome is Outcome.RIGHT


@pytest.mark.parametrize(
    ("line", "outcome"), [("give up", Outcome.GIVEN_UP), ("stop", Outcome.UNFINISHED)]
)
def test_a_drill_can_be_given_up_or_left(line: str, outcome: Outcome) -> None:
    assert say(CALL, "fan", line)[0].outcome is outcome


# Cautions.


def test_caution_alone_reads_those_of_the_reading_named_last_and_those_skipped() -> None:
    practice, (read,) = say(CALL, "ice pattern", "how fan", "caution")
    assert isinstance(read, CautionsRead)
    assert [caution.id for caution in read.cautions] == ["falling_ice", "moving_parts"]
    assert practice.read_out == {"falling_ice", "moving_parts"}
    assert say(CALL, "caution", after=practice)[1] == (CautionsRead(()),)


def test_a_caution_is_read_by_its_title_with_or_without_the_word() -> None:
    for line in ("Gauges on a circuit under pressure", "caution gauges", "read the caution gauges"):
        practice, _ = say(CALL, line)
        assert practice.read_out == {"gauges_under_pressure"}


def test_the_cautions_of_readings_that_may_be_meant_are_read_together() -> None:
    practice, _ = say(CALL, "refrigerant", "caution suction")
    assert practice.read_out == {"gauges_under_pressure"}


def test_caution_before_anything_was_named_lists_what_there_is() -> None:
    practice, remarks = say(CALL, "caution")
    assert remarks == (HelpShown("cautions"),)
    assert practice.read_out == frozenset()


def test_a_reading_taken_without_its_caution_counts_and_is_told_at_once_only_when_easy() -> None:
    easy = shown_after(CALL, "fan")
    assert "Not safe" in easy
    assert "Fans and pumps" in easy
    hard = shown_after(call_not_on_file(), "fan")
    assert "Not safe" not in hard
    assert "Condenser fan" in hard


def test_a_harvest_reading_asked_first_is_told_as_too_early_when_easy() -> None:
    assert "Too early" in shown_after(CALL, "harvest time")


# Licenses.


def test_a_caller_not_asked_does_what_they_may_not_and_it_does_not_count() -> None:
    call = unlicensed_call()
    _, (heard,) = say(call, "refrigerant", "caution head", "head in the freeze")
    assert isinstance(heard, Heard)
    assert heard.slip.is_unasked
    practice, _ = say(call, "head in the freeze", "license")
    finding = next(
        item
        for item in call.engine.findings(practice.case)
        if item.reading.id == "freeze_discharge_pressure"
    )
    assert finding.source is Source.NOT_ASKED_OF_THIS_CALLER


def test_a_caller_known_not_to_be_licensed_refuses_licensed_work() -> None:
    practice, (heard,) = say(unlicensed_call(), "license", "head in the freeze")
    assert isinstance(heard, Heard)
    assert "not licensed" in heard.asking.words
    assert heard.finding.value is None
    assert heard.slip.is_against
    assert heard.slip.cautions == ()
    (explained,) = say(unlicensed_call(), "how head in the freeze", after=practice)[1]
    assert isinstance(explained, Explained)
    assert "licensed technician alone" in explained.text


# Looking things up.


def test_the_hard_level_shows_no_verdict_and_the_band_on_request() -> None:
    call = call_not_on_file()
    known = ("license", "refrigerant, condenser, room, roof, water")
    said = shown_after(call, *known, "freeze time")
    assert not any(word in said for word in ("WITHIN", "ABOVE", "BELOW", "◆", "NOTED"))
    assert "healthy machine lies at" in shown_after(call, *known, "freeze time", "band")
    case = shown_after(call, *known, "freeze time", "case")
    assert not any(word in case for word in ("WITHIN", "ABOVE", "BELOW", "NORMAL"))


def test_the_hard_level_does_not_judge_a_winding_or_a_reading_without_a_band() -> None:
    call = call_with("harvest_coil_open", Level.HARD, 2)
    assert "winding" not in shown_after(call, "license", "rated voltage", "coil ohms")
    said = shown_after(call, "license", "freeze time")
    assert not any(word in said for word in ("UNKNOWN", "Why"))


def test_the_band_of_a_reading_not_asked_for_is_not_shown() -> None:
    _, (unclear,) = say(CALL, "band freeze time")
    assert isinstance(unclear, NotClear)
    _, (band,) = say(CALL, *KNOWN, "freeze time", "band freeze time")
    assert isinstance(band, BandShown)
    assert "even all over" in shown_after(CALL, "ice pattern", "band")


def test_what_is_learned_later_judges_earlier_readings_and_says_so() -> None:
    _, remarks = say(CALL, "license", "late suction", "machine")
    heard = remarks[-1]
    assert isinstance(heard, Heard)
    assert heard.judged_again == 1
    assert "1 earlier reading is judged" in shown_after(CALL, "license", "late suction", "machine")


def test_the_case_tells_what_is_known_and_what_it_took() -> None:
    _, (case,) = say(CALL, "license", "freeze time", "case")
    assert isinstance(case, CaseShown)
    readings = shipped_engine().content.readings
    assert (
        case.minutes == readings["freeze_time"].minutes + readings["caller_qualification"].minutes
    )
    assert "Nothing asked yet" in shown_after(CALL, "case")


def test_why_and_how_explain_a_reading_with_its_cautions() -> None:
    questions = shipped_engine().tree.questions
    for line in ("why freeze time", "why do we ask for the freeze time?"):
        _, (why,) = say(CALL, line)
        assert why == Explained("why", questions["freeze_time"].why)
    for line in ("how fan", "how do I check the fan?"):
        _, (how,) = say(CALL, line)
        assert isinstance(how, Explained)
        assert [caution.id for caution in how.cautions] == ["moving_parts"]
    practice, _ = say(CALL, "freeze time", "why")
    assert say(CALL, "why", after=practice)[1] == (Explained("why", questions["freeze_time"].why),)


def test_how_much_asks_and_how_explains() -> None:
    practice, _ = say(CALL, "how long is the freeze?")
    assert practice.asked[-1].reading == "freeze_time"
    assert say(CALL, "how freeze time")[0].asked == ()


@pytest.mark.parametrize("line", ["help", "readings", "causes", "hint", "case", "caution", "help!"])
def test_looking_things_up_asks_the_caller_nothing(line: str) -> None:
    practice, remarks = say(CALL, line)
    assert remarks
    assert practice.asked == ()
    assert shown_after(CALL, line).strip()


def test_all_readings_and_causes_are_listed() -> None:
    readings = " ".join(shown_after(CALL, "readings").split())
    causes = " ".join(shown_after(CALL, "causes").split())
    content = shipped_engine().content
    assert all(reading.name in readings for reading in content.readings.values())
    assert all(cause.name in causes for cause in content.causes.values())


@pytest.mark.parametrize(
    "line",
    ["", "   ", "xyzzy", "back", "change suction", "note it rattles", "unknown", "propose",
     "propose gremlins", "caution gremlins", "why", "band", "why gremlins", "7", "yes",
     "hi there", "good morning sir",
     "[bold]gremlins[/bold]", "\x1b]0;title\x07", "a" * 5000],
)  # fmt: skip
def test_what_makes_no_sense_is_told_and_changes_nothing(line: str) -> None:
    practice, remarks = say(CALL, line)
    assert any(isinstance(remark, NotClear) for remark in remarks)
    assert practice == begin(CALL)
    said = shown_after(CALL, line)
    assert "\x1b" not in said
    assert "\x07" not in said
    assert max(map(len, said.splitlines())) <= 80


def test_a_list_is_forgotten_once_something_else_is_said() -> None:
    practice, _ = say(CALL, "suction", "fan")
    assert practice.open is None
    assert isinstance(say(CALL, "suction")[0].open, LeftOpen)
