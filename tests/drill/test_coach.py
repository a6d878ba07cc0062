"""What the program would have asked next, what came too early, and hints."""

import pytest

from tests.conversation import shipped_engine
from tests.drill.calls import call_with, say, shown_after, with_cautions
from triage.drill import coach
from triage.drill.call import PracticeCall
from triage.drill.coach import (
    best_next,
    hint_for,
    is_freeze_proven,
    is_too_early,
    slip_of,
    stage_of,
    two_left,
)
from triage.drill.practice import begin
from triage.tree.content import Stage

CONTENT = shipped_engine().content


def before_harvest(call: PracticeCall) -> tuple[str, ...]:
    """Return what the model answer asks before its first harvest reading."""
    stages = [stage_of(call.engine, reading) for reading in call.model.asked]
    return call.model.asked[: stages.index(Stage.HARVEST)]


def test_the_best_next_question_is_the_engines_own_past_its_cautions() -> None:
    call = call_with("harvest_coil_open")
    for count in range(0, len(call.model.asked), 3):
        practice = with_cautions(call, call.model.asked[:count])
        following = best_next(call.engine, practice.case)
        assert following is not None
        assert following.reading.id == call.model.asked[count]
    everything = with_cautions(call, call.model.asked)
    assert best_next(call.engine, everything.case) is None


def test_a_harvest_reading_is_too_early_until_the_freeze_is_proven_sound() -> None:
    call = call_with("harvest_coil_open")
    proof = before_harvest(call)
    assert is_too_early(call.engine, begin(call).case, "harvest_suction_pressure")
    part = with_cautions(call, proof[:-1])
    assert is_too_early(call.engine, part.case, "harvest_suction_pressure")
    assert not is_freeze_proven(call.engine, part.case)
    whole = with_cautions(call, proof)
    assert is_freeze_proven(call.engine, whole.case)
    assert not is_too_early(call.engine, whole.case, "harvest_suction_pressure")
    assert not is_too_early(call.engine, whole.case, "coil_resistance")


def test_harvest_readings_taken_too_early_do_not_prove_the_freeze() -> None:
    call = call_with("harvest_coil_open")
    harvest = call.model.asked[len(before_harvest(call)) :]
    practice = with_cautions(call, ("caller_qualification", *harvest))
    # A plain look whether the ice dropped only makes the complaint clear.
    assert all(
        slip_of(call.engine, asking).is_too_early is (asking.reading != "ice_released")
        for asking in practice.asked[1:]
    )
    assert "ice_released" in harvest
    assert not is_freeze_proven(call.engine, practice.case)


def test_the_harvest_stays_too_early_on_a_freeze_that_is_not_sound() -> None:
    call = call_with("refrigerant_undercharge")
    practice = with_cautions(call, call.model.asked)
    assert best_next(call.engine, practice.case) is None
    assert is_too_early(call.engine, practice.case, "harvest_suction_pressure")
    assert is_too_early(call.engine, practice.case, "manifold_test_result")


def test_the_confirming_test_is_too_early_while_the_harvest_is_looked_at() -> None:
    call = call_with("receiver_vapor_feed_failed")
    before = call.model.asked[: call.model.asked.index("manifold_test_result")]
    whole = with_cautions(call, before)
    assert not is_too_early(call.engine, whole.case, "manifold_test_result")
    proven = with_cautions(call, before_harvest(call))
    assert is_too_early(call.engine, proven.case, "manifold_test_result")


def test_readings_of_the_freeze_and_before_it_are_never_too_early() -> None:
    case = begin(call_with("compressor_weak")).case
    for reading in CONTENT.readings:
        if stage_of(shipped_engine(), reading) not in (Stage.HARVEST, Stage.CONFIRM):
            assert not is_too_early(shipped_engine(), case, reading)


def test_a_caution_not_read_out_before_its_reading_is_a_slip() -> None:
    call = call_with("compressor_weak")
    practice, _ = say(call, "fan")
    assert slip_of(call.engine, practice.asked[-1]).cautions == ("moving_parts",)
    practice, _ = say(call, "caution fan", "fan")
    assert not slip_of(call.engine, practice.asked[-1]).is_unsafe


def test_a_caution_read_afterwards_comes_too_late() -> None:
    call = call_with("compressor_weak")
    practice, _ = say(call, "fan", "caution", "ice pattern")
    fan, pattern = (slip_of(call.engine, asking) for asking in practice.asked)
    assert fan.is_unsafe
    assert pattern.cautions == ("falling_ice",)


def test_fire_is_warned_of_while_the_refrigerant_is_not_known_and_then_only_if_it_burns() -> None:
    call = call_with("compressor_weak")  # R-410A does not burn: class A1 of ASHRAE 34
    practice, _ = say(call, "license", "early suction")
    slip = slip_of(call.engine, practice.asked[-1])
    assert "flammable_a3" in slip.cautions
    assert slip.by_unknown_gas == ("flammable_a3",)
    said = " ".join(shown_after(call, "license", "early suction").replace("│", " ").split())
    assert "(A3) (gas not known: treated as flammable)" in said
    practice, _ = say(call, "license", "refrigerant", "early suction")
    assert slip_of(call.engine, practice.asked[-1]).cautions == ("gauges_under_pressure",)


def test_licensed_work_before_the_caller_was_asked_is_a_slip() -> None:
    call = call_with("compressor_weak")
    practice, _ = say(call, "refrigerant", "caution early suction", "early suction")
    slip = slip_of(call.engine, practice.asked[-1])
    assert slip.is_unasked
    assert slip.is_unsafe
    assert slip.cautions == ()


# Hints.


def test_hints_tell_more_each_time_and_the_last_names_two_causes() -> None:
    call = call_with("compressor_weak")
    practice, told = begin(call), []
    for _ in range(4):
        told.append(hint_for(call, practice))
        practice, _ = say(call, "hint", after=practice)
    assert [hint.level for hint in told] == [1, 2, 3, 0]
    assert told[3].causes == told[2].causes
    assert practice.hints == 3
    assert told[1].reading is not None
    assert told[1].reading.id == call.model.asked[0]
    assert told[1].why
    assert "compressor_weak" in told[2].causes
    assert len(set(told[2].causes)) == 2


def test_a_hint_names_no_cause_that_was_proposed_and_wrong() -> None:
    call = call_with("compressor_weak")
    rival = next(cause for cause in two_left(call) if cause != "compressor_weak")
    wrong, _ = say(call, f"propose {rival}", "hint", "hint")
    assert rival not in hint_for(call, wrong).causes
    assert "compressor_weak" in hint_for(call, wrong).causes
    late, _ = say(call, "hint", "hint", "hint", f"propose {rival}", "hint")
    assert hint_for(call, late).causes == ()
    assert late.hints == 3


def test_a_hint_that_would_only_repeat_itself_is_skipped() -> None:
    call = call_with("harvest_coil_open")
    done = with_cautions(call, call.model.asked)
    assert hint_for(call, done).words == coach.ENOUGH
    done, _ = say(call, "hint", after=done)
    assert hint_for(call, done).level == 3


@pytest.mark.parametrize("count", [0, 3, 9, 16])
def test_no_hint_but_the_last_names_a_cause(count: int) -> None:
    call = call_with("harvest_coil_open")
    practice = with_cautions(call, call.model.asked[:count])
    for _ in range(2):
        hint = hint_for(call, practice)
        assert hint.causes == ()
        said = f"{hint.words} {hint.why}".lower()
        assert not [item for item in CONTENT.causes.values() if item.name.lower() in said]
        practice, _ = say(call, "hint", after=practice)


def test_no_words_a_hint_is_made_of_name_a_cause() -> None:
    why = [question.why for question in shipped_engine().tree.questions.values()]
    for words in (*why, *coach._WHERE.values(), coach.ENOUGH):
        for cause in CONTENT.causes.values():
            assert cause.name.lower() not in words.lower()
            assert cause.id not in words


def test_the_first_hint_goes_by_what_is_proven_not_by_the_truth() -> None:
    harvest, freeze = call_with("harvest_coil_open"), call_with("refrigerant_undercharge")
    start = before_harvest(harvest)[:8]
    assert hint_for(harvest, with_cautions(harvest, start)).words == (
        hint_for(freeze, with_cautions(freeze, freeze.model.asked[:8])).words
    )
    proven = with_cautions(harvest, before_harvest(harvest))
    assert "harvest" in hint_for(harvest, proven).words
    done = with_cautions(harvest, harvest.model.asked)
    assert hint_for(harvest, done).words == coach.ENOUGH


@pytest.mark.parametrize("cause", ["healthy", "bridge_set_thin", "receiver_vapor_feed_failed"])
def test_the_two_causes_left_hold_the_true_one_and_do_not_tell_it_by_their_order(
    cause: str,
) -> None:
    left = two_left(call_with(cause))
    assert cause in left
    order = list(CONTENT.causes)
    assert order.index(left[0]) < order.index(left[1])
