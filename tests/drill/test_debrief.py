"""What there is to learn from a drill."""

import pytest

from tests.conversation import shipped_engine
from tests.drill.calls import (
    call_not_on_file,
    call_with,
    say,
    text_of,
    unlicensed_call,
    with_cautions,
)
from triage.console.drill_debrief import debrief_card
from triage.console.look import Look
from triage.dialogue.view import ODD
from triage.drill.coach import stage_of
from triage.drill.debrief import debrief
from triage.drill.practice import Outcome
from triage.tree.content import Stage

CONTENT = shipped_engine().content


def one_line(text: str) -> str:
    """Return the words on a card in one line, its bars gone."""
    return " ".join(text.replace("┃", " ").split())


def test_a_call_taken_as_the_model_takes_it_has_nothing_to_mend() -> None:
    call = call_with("harvest_coil_open")
    practice, _ = say(
        call, "propose harvest_coil_open", after=with_cautions(call, call.model.asked)
    )  # fmt: skip
    looked_back = debrief(call, practice)
    assert looked_back.outcome is Outcome.RIGHT
    assert looked_back.best_steps == len(looked_back.steps) == len(call.model.asked)
    assert (looked_back.too_early, looked_back.cautions_skipped) == (0, 0)
    assert looked_back.minutes_over == 0.0
    assert looked_back.missed_odd == looked_back.missed_proof == ()
    assert not looked_back.is_unproven_blame
    card = one_line(text_of(debrief_card(looked_back)))
    assert "DEBRIEF: right at the first guess" in card
    assert "(the same)" in card
    assert "Never asked" not in card
    assert "skipped" not in card


def test_minutes_are_those_of_the_readings_asked_for() -> None:
    call = call_with("compressor_weak")
    practice, _ = say(call, "freeze time", "fan", "freeze time", "give up")
    looked_back = debrief(call, practice)
    wanted = (
        CONTENT.readings["freeze_time"].minutes + CONTENT.readings["condenser_fan_state"].minutes
    )
    assert looked_back.minutes == wanted
    assert looked_back.minutes_over == wanted - call.model.minutes
    assert call.model.minutes == sum(CONTENT.readings[key].minutes for key in call.model.asked)


def test_each_step_stands_beside_the_best_one() -> None:
    call = call_with("compressor_weak")
    practice, _ = say(call, "license", "harvest time", "complaint", "give up")
    steps = debrief(call, practice).steps
    assert [step.is_best for step in steps] == [True, False, True]
    assert steps[1].best is not None
    assert steps[1].best.id == "complaint"
    assert [step.slip.is_too_early for step in steps] == [False, True, False]
    card = text_of(debrief_card(debrief(call, practice)))
    assert "too early" in next(line for line in card.splitlines() if " 2  " in line)


def test_cautions_skipped_are_told_with_their_steps() -> None:
    call = call_with("compressor_weak")
    practice, _ = say(call, "fan", "license", "ice pattern", "give up")
    looked_back = debrief(call, practice)
    assert looked_back.cautions_skipped == 2
    card = one_line(text_of(debrief_card(looked_back)))
    assert "Fans and pumps that start by themselves: before step 1" in card
    assert "Ice that lets go without warning: before step 3" in card


def test_licensed_work_without_leave_is_told() -> None:
    call = unlicensed_call()
    practice, _ = say(call, "head in the freeze", "license", "early suction", "give up")
    card = one_line(text_of(debrief_card(debrief(call, practice))))
    assert "what the caller may do was not asked before step 1" in card
    assert "asked of a caller who is not licensed: step 3" in card


def test_what_the_model_asked_and_the_trainee_did_not_is_told() -> None:
    call = call_with("refrigerant_undercharge")
    practice, _ = say(call, "license", "give up")
    looked_back = debrief(call, practice)
    odd = {finding.reading.id for finding in looked_back.telling}
    assert looked_back.missed_odd
    assert {reading.id for reading in looked_back.missed_odd} <= odd
    for reading in looked_back.missed_proof:
        assert reading.id in call.model.asked
    for reading in (*looked_back.missed_odd, *looked_back.missed_proof):
        assert stage_of(call.engine, reading.id) is Stage.FREEZE or reading.id == "ice_released"
    assert "water_flow_over_plate" in {reading.id for reading in looked_back.missed_proof}
    taken = with_cautions(call, ("caller_qualification", looked_back.missed_odd[0].id))
    assert looked_back.missed_odd[0] not in debrief(call, taken).missed_odd


@pytest.mark.parametrize(
    ("cause", "reading"),
    [("water_supply_warm", "water_inlet_temperature"), ("harvest_coil_open", "harvest_time")],
)
def test_what_is_off_and_was_never_asked_is_told_asked_by_the_model_or_not(
    cause: str, reading: str
) -> None:
    call = call_with(cause)
    assert reading in {item.id for item in debrief(call, say(call, "give up")[0]).missed_odd}


def test_a_right_guess_on_few_readings_is_found_without_proof_and_its_time_not_compared() -> None:
    call = call_with("harvest_coil_open")
    half = (len(call.model.asked) + 1) // 2
    for count, is_without in ((0, True), (half - 1, True), (half, False)):
        practice = with_cautions(call, call.model.asked[:count])
        looked_back = debrief(call, say(call, "propose harvest_coil_open", after=practice)[0])
        assert looked_back.is_without_proof is is_without
        card = one_line(text_of(debrief_card(looked_back)))
        assert ("found without proof" in card) is is_without
        assert ("min, model answer" in card) is not is_without
    given_up = debrief(call, say(call, "give up", after=practice)[0])
    assert not given_up.is_without_proof
    assert "min, model answer" not in one_line(text_of(debrief_card(given_up)))


def test_what_was_refused_takes_no_time() -> None:
    call = unlicensed_call()
    asked, _ = say(call, "head in the freeze", "license", "give up")
    refused, _ = say(call, "head in the freeze", "license", "early suction", "give up")
    assert debrief(call, refused).minutes == debrief(call, asked).minutes
    assert debrief(call, asked).minutes == CONTENT.readings["caller_qualification"].minutes


def test_safety_stands_directly_under_the_heading() -> None:
    call = call_with("compressor_weak")
    safe = text_of(debrief_card(debrief(call, say(call, "caution fan", "fan", "give up")[0])))
    assert safe.splitlines()[1] == "┃  Safe throughout."
    practice, _ = say(call, "fan", "early suction", "give up")
    unsafe = one_line(text_of(debrief_card(debrief(call, practice))))
    assert (
        "2 times somebody could have been hurt: cautions not read out; licensed work before asking "
        "what the caller may do."
    ) in unsafe


@pytest.mark.parametrize(
    ("cause", "is_graded"),
    [("harvest_coil_open", False), ("harvest_coil_unpowered", False), ("compressor_weak", True)],
)
def test_only_a_fault_that_comes_by_degrees_is_told_as_mild_or_severe(
    cause: str, is_graded: bool
) -> None:
    call = call_with(cause)
    card = one_line(text_of(debrief_card(debrief(call, say(call, "give up")[0]))))
    assert ("% of the worst" in card) is is_graded


def test_no_reading_is_missed_that_the_caller_could_not_give() -> None:
    for call in (unlicensed_call(), call_not_on_file()):
        practice, _ = say(call, "give up")
        looked_back = debrief(call, practice)
        for reading in (*looked_back.missed_odd, *looked_back.missed_proof):
            assert reading.id not in call.caller.missing
            assert call.is_licensed or not reading.is_licensed


@pytest.mark.parametrize(
    ("cause", "reading"),
    [
        ("refrigerant_undercharge", "freeze_suction_pressure_late"),
        ("harvest_coil_open", "coil_resistance"),
        ("bridge_set_thick", "ice_bridge_thickness"),
    ],
)
def test_what_the_machine_shows_is_laid_beside_a_healthy_one(cause: str, reading: str) -> None:
    call = call_with(cause)
    looked_back = debrief(call, say(call, "give up")[0])
    assert reading in {item.reading.id for item in looked_back.telling}
    assert all(item.verdict in ODD for item in looked_back.telling)
    assert "beside a healthy one" in text_of(debrief_card(looked_back))


def test_gauges_are_shown_in_the_debrief_even_if_the_caller_had_none() -> None:
    call = unlicensed_call()
    telling = debrief(call, say(call, "license", "give up")[0]).telling
    assert any(item.reading.is_licensed for item in telling)


def test_blaming_the_harvest_on_an_unproven_freeze_is_told() -> None:
    call = call_with("refrigerant_undercharge")
    practice, _ = say(call, "propose harvest_coil_open", "propose refrigerant_undercharge")
    looked_back = debrief(call, practice)
    assert looked_back.outcome is Outcome.RIGHT
    assert looked_back.is_unproven_blame
    card = one_line(text_of(debrief_card(looked_back)))
    assert "right at the second guess" in card
    assert "before the freeze was proven sound" in card
    freeze_first = say(call, "propose compressor_weak", "give up")[0]
    assert not debrief(call, freeze_first).is_unproven_blame


def test_a_sound_machine_is_told_as_sound() -> None:
    call = call_with("healthy")
    card = one_line(text_of(debrief_card(debrief(call, say(call, "propose healthy")[0]))))
    assert "Nothing. The machine is sound." in card


@pytest.mark.parametrize("width", [40, 80, 120])
def test_a_debrief_fits_its_screen(width: int) -> None:
    call = call_with("harvest_coil_open")
    practice = with_cautions(call, call.model.asked)
    practice, _ = say(call, "give up", after=practice)
    card = debrief_card(debrief(call, practice))
    assert max(map(len, text_of(card, width=width).splitlines())) <= width
    plain = text_of(card, width=width, look=Look(is_plain=True))
    assert not set(plain) & set("┃┏┗◆┣│")
    assert "best next: this" in " ".join(plain.split())
