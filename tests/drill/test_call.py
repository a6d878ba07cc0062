"""Which call a drill is about."""

import random

import pytest

from tests.conversation import shipped_engine
from tests.drill.calls import call_not_on_file, call_with, unlicensed_call
from triage.dialogue.case import QUALIFICATION
from triage.drill.call import TERMS, DrillError, Level, PracticeCall, draw_call
from triage.drill.population import caller_at, is_plain, places_of, told
from triage.physics.errors import PhysicsError
from triage.physics.quantity import UnitSystem

READINGS = tuple(shipped_engine().content.readings)


def words_of(call: PracticeCall, readings: tuple[str, ...] = READINGS) -> dict[str, str]:
    return {reading: call.caller.answer(reading) for reading in readings}


def test_the_same_seed_level_and_machine_give_the_same_call_in_whatever_order_it_is_asked() -> None:
    first, second = (draw_call(shipped_engine(), Level.USUAL, 11) for _ in range(2))
    assert first.cause == second.cause
    assert words_of(first) == words_of(second, READINGS[::-1])
    other = draw_call(shipped_engine(), Level.USUAL, 12)
    assert words_of(other) != words_of(first)


def test_what_a_caller_says_of_a_reading_does_not_hang_on_what_was_asked_before() -> None:
    machine = shipped_engine().content.machines["gletsch_r500"]
    place = places_of(machine, 1, random.Random(1))[0]
    callers = [
        caller_at(place, machine, "compressor_weak", random.Random(5), missing=2) for _ in range(3)
    ]
    said = [
        {reading: caller.answer(reading) for reading in order}
        for caller, order in zip(
            callers, (READINGS, READINGS[::-1], READINGS[20:] + READINGS[:20]), strict=True
        )
    ]
    assert said[0] == said[1] == said[2]


def test_naming_the_machine_that_a_seed_draws_gives_the_same_call() -> None:
    drawn = draw_call(shipped_engine(), Level.EASY, 4)
    named = draw_call(shipped_engine(), Level.EASY, 4, machine=drawn.machine)
    assert (named.cause, words_of(named)) == (drawn.cause, words_of(drawn))


@pytest.mark.parametrize("level", list(Level))
@pytest.mark.parametrize("seed", range(20, 24))
def test_a_call_keeps_to_its_level_shows_its_fault_and_can_be_found(
    level: Level, seed: int
) -> None:
    call = draw_call(shipped_engine(), level, seed)
    least, most = TERMS[level].severities
    assert least <= call.caller.fault.severity <= most
    fewest, greatest = TERMS[level].missing
    assert fewest <= len(call.caller.missing) <= greatest
    assert call.cause in call.model.causes
    assert is_plain(
        call.engine.content, call.caller, told(call.opening, call.place, call.machine)
    ) or (call.cause == "healthy")


def test_a_hard_call_has_a_caller_without_license_or_a_machine_not_on_file() -> None:
    unlicensed, unnamed = unlicensed_call(), call_not_on_file()
    assert unlicensed.caller.answer(QUALIFICATION).startswith("no")
    assert unlicensed.place.is_on_file
    assert unnamed.caller.answer("machine").startswith("unknown")
    assert unnamed.is_licensed


def test_causes_are_drawn_by_their_priors() -> None:
    drawn = [draw_call(shipped_engine(), Level.EASY, seed).cause for seed in range(1, 31)]
    assert len(set(drawn)) >= 8
    assert drawn.count("healthy") <= 2


def test_a_trainer_names_the_cause() -> None:
    assert call_with("compressor_weak").cause == "compressor_weak"
    assert call_with("healthy").model.causes == ("healthy",)


def test_a_cause_the_machine_cannot_have_is_refused() -> None:
    with pytest.raises(PhysicsError, match="receiver vapor feed"):
        call_with("receiver_vapor_feed_failed", machine="klirr_u80")
    with pytest.raises(DrillError, match="no virtual machine"):
        call_with("gremlins")


def test_units_change_the_words_not_the_fault() -> None:
    us, si = (draw_call(shipped_engine(), Level.EASY, 3, units=units) for units in UnitSystem)
    assert (us.machine, us.cause) == (si.machine, si.cause)
    assert "°F" in us.caller.answer("ambient_air_temperature")
    assert "°C" in si.caller.answer("ambient_air_temperature")
    assert "psig" in us.caller.answer("freeze_discharge_pressure")
    assert "bar" in si.caller.answer("freeze_discharge_pressure")
