"""A drill line by line."""

from collections.abc import Callable

import pytest

from tests.conversation import shipped_engine
from tests.drill.calls import (
    call_not_on_file,
    call_with,
    say,
    shown_after,
    unlicensed_call,
)
from triage.dialogue.heard import readings_heard
from triage.dialogue.view import Explained, NotClear, Verdict
from triage.drill.call import PracticeCall
from triage.drill.practice import Kind, LeftOpen, Outcome, begin, fold_steps
from triage.drill.rehearsal import respond
from triage.drill.remarks import (
    CautionsRead,
    Heard,
    HelpShown,
    Judged,
    PutOff,
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
    practice, (judged,) = say(CALL, "propose compressor_weak")
    assert judged == Judged("compressor_weak", True, 1)
    assert practice.outcome is Outcome.RIGHT


def test_two_wrong_causes_end_the_drill() -> None:
    practice, (judged,) = say(CALL, "propose condenser_airflow_poor")
    assert judged == Judged("condenser_airflow_poor", False, 1)
    assert practice.outcome is None
    again, (unclear,) = say(CALL, "propose condenser_airflow_poor", after=practice)
    assert isinstance(unclear, NotClear)
    assert again.guesses_left == 1
    practice, (judged,) = say(CALL, "propose water_supply_warm", after=practice)
    assert judged == Judged("water_supply_warm", False, 0)
    assert practice.outcome is Outcome.WRONG


def test_a_guess_is_not_spent_on_words_that_may_mean_several_causes() -> None:
    practice, (which,) = say(CALL, "propose hot gas valve")
    assert isinstance(which, WhichOne)
    assert practice.proposals == ()
    numbered, _ = say(CALL, "2", after=practice)
    assert numbered.proposals == ("hot_gas_valve_leaking",)
    practice, (which,) = say(CALL, "leaks", after=practice)
    assert practice.proposals == ()
    assert which == WhichOne(Kind.CAUSE, ("Hot gas valve leaks during the freeze",))
    practice, _ = say(CALL, "yes", after=practice)
    assert practice.proposals == ("hot_gas_valve_leaking",)


def test_only_a_name_in_full_or_a_number_spends_a_guess_unasked() -> None:
    for line in ("propose compressor_weak", "propose Compressor pumps too little"):
        assert say(CALL, line)[0].proposals == ("compressor_weak",)
    practice, (which,) = say(CALL, "propose weak compressor")
    assert which == WhichOne(Kind.CAUSE, ("Compressor pumps too little",))
    assert practice.proposals == ()
    assert say(CALL, "yes", after=practice)[0].proposals == ("compressor_weak",)


def test_every_cause_that_may_be_meant_is_listed() -> None:
    _, (which,) = say(CALL, "propose valve")
    assert isinstance(which, WhichOne)
    causes = shipped_engine().view.causes.values()
    named = {cause.name for cause in causes if "valve" in cause.name.lower().split()}
    assert len(named) > 4
    assert named <= set(which.names)


def test_plain_words_after_a_list_of_causes_stay_a_proposal() -> None:
    practice, _ = say(CALL, "propose valve")
    practice, (which,) = say(CALL, "hot gas valve", after=practice)
    assert isinstance(which, WhichOne)
    assert which.kind is Kind.CAUSE
    assert len(which.names) == 2
    assert practice.asked == ()


def test_a_wrong_number_keeps_the_list_and_cancel_drops_it() -> None:
    practice, _ = say(CALL, "propose hot gas valve")
    for number in ("0", "9", "77777"):
        wrong, (unclear,) = say(CALL, number, after=practice)
        assert isinstance(unclear, NotClear)
        assert "1 to 2" in unclear.message
        assert wrong.open == practice.open
    assert say(CALL, "2", after=wrong)[0].proposals == ("hot_gas_valve_leaking",)
    dropped, (unclear,) = say(CALL, "cancel", after=practice)
    assert isinstance(unclear, NotClear)
    assert "none of these" in unclear.message
    assert dropped.proposals == ()
    assert dropped.open is None or not dropped.open.options


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


def test_a_caution_shown_by_how_is_told_as_shown_and_still_to_be_read_out() -> None:
    said = " ".join(shown_after(CALL, "how fan", "fan").replace("│", " ").split())
    assert "They were shown to you; the caller hears them only when you read them out" in said
    assert "Not safe" not in shown_after(CALL, "how fan", "caution", "fan")


def test_a_harvest_reading_asked_first_is_told_as_too_early_when_easy() -> None:
    assert "Too early" in shown_after(CALL, "harvest time")


# Licenses.


@pytest.mark.parametrize("make", [unlicensed_call, call_not_on_file, lambda: CALL])
def test_no_caller_takes_a_licensed_reading_before_being_asked_what_they_may_do(
    make: Callable[[], PracticeCall],
) -> None:
    call = make()
    for reading in readings_heard(call.engine.view):
        if not reading.is_licensed:
            continue
        practice, (put_off,) = say(call, reading.id)
        assert isinstance(put_off, PutOff)
        assert put_off.slip.is_unasked
        assert put_off.slip.is_unsafe
        assert practice.case == begin(call).case
        assert not any(character.isdigit() for character in put_off.asking.words)
        screen = " ".join(shown_after(call, reading.id).replace("│", " ").split())
        assert "you did not ask. note Nothing was measured. Ask what the caller may do" in screen


def test_a_reading_put_off_is_taken_once_the_caller_may() -> None:
    practice, (heard,) = say(CALL, "head in the freeze", "license", "head in the freeze")
    assert isinstance(heard, Heard)
    assert not heard.is_again
    assert heard.asking.words == CALL.caller.answer("freeze_discharge_pressure")
    assert [item.is_taken for item in practice.asked] == [False, True, True]


def test_an_unlicensed_caller_refuses_each_licensed_reading() -> None:
    call = unlicensed_call()
    for reading in readings_heard(call.engine.view):
        if reading.is_licensed:
            _, (heard,) = say(call, "license", reading.id)
            assert isinstance(heard, Heard)
            assert heard.finding.value is None
            assert heard.slip.is_against


@pytest.mark.parametrize(
    ("machine", "reading", "words"),
    [
        ("klirr_u80", "manifold_test_result", "unknown there is no receiver vapor feed"),
        ("klirr_u80", "condenser_air_temperature", "unknown it has no condenser outside"),
    ],
)
def test_no_reading_is_given_of_a_part_that_is_not_there(
    machine: str, reading: str, words: str
) -> None:
    call = call_with("compressor_weak", machine=machine)
    practice, (heard,) = say(call, "license", reading)
    assert isinstance(heard, Heard)
    assert heard.asking.words == words
    assert heard.finding.value is None
    assert not practice.asked[-1].is_taken
    remote = call_with("compressor_weak")
    _, (heard,) = say(remote, "license", reading)
    assert isinstance(heard, Heard)
    assert heard.finding.value is not None


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
