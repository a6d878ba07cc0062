"""A made-up caller says what a person would say, and sticks to it."""

import random

import pytest

from tests.conversation import opened, shipped_engine
from tests.machines_on_file import machines, place
from triage.dialogue.case import fold
from triage.dialogue.heard import readings_heard
from triage.dialogue.reply import Unknown, Value, read_reply
from triage.dialogue.view import END_PROMPTS, AskQuestion, NotClear, Recommended
from triage.drill import simulated_caller
from triage.drill.simulated_caller import SimulatedCaller, conditions_behind, some_unit
from triage.physics.faults import FaultDoesNotApply, faults_of
from triage.physics.machine import HEALTHY, Conditions, Machine, Parts
from triage.physics.quantity import UnitSystem
from triage.physics.tolerances import INSTRUMENT_LIMITS
from triage.physics.virtual_machine import DEFAULT_MOMENT_S, Cycle, reading_at, run_cycle

NAMES = ("gletsch_r500", "klirr_u80", "brunnmark_w250")
READINGS = {reading.id: reading for reading in readings_heard(shipped_engine().view)}
NOT_A_CALLERS = ("site_altitude",)


def caller_of(
    name: str, cause: str = "healthy", severity: float = 0.9, seed: int = 1, **more: object
) -> SimulatedCaller:
    weather = place(75.0, 60.0, 50.0 if name == "gletsch_r500" else None)
    generator = random.Random(seed)
    return SimulatedCaller(machines()[name], weather, cause, severity, generator, **more)  # type: ignore[arg-type]


@pytest.mark.parametrize("units", list(UnitSystem))
@pytest.mark.parametrize("name", NAMES)
def test_every_reading_is_said_in_words_the_program_takes(name: str, units: UnitSystem) -> None:
    for cause in faults_of(machines()[name]):
        caller = caller_of(name, cause, units=units)
        for reading in READINGS.values():
            if reading.id in NOT_A_CALLERS:
                continue
            words = caller.answer(reading.id)
            if reading.id in ("condenser_air_temperature", "coil_voltage_presence"):
                continue
            found = read_reply(words, reading, system=units, machines=machines())
            assert isinstance(found, Value), (cause, reading.id, words)
            assert isinstance(found.value, float) or found.value in (
                *reading.outcomes, *machines(), *{each.refrigerant for each in machines().values()},
            )  # fmt: skip


@pytest.mark.parametrize("units", list(UnitSystem))
@pytest.mark.parametrize("reading", sorted(INSTRUMENT_LIMITS))
def test_a_number_is_off_by_no_more_than_instrument_watch_and_rounding(
    reading: str, units: UnitSystem
) -> None:
    rounding = {"gauge_pressure": 5e3, "temperature": 0.3, "temperature_difference": 0.06}
    rounding |= {"duration": 0.51, "length": 1.4e-4, "mass": 0.06}
    for seed in range(12):
        caller = caller_of("gletsch_r500", "refrigerant_undercharge", 0.8, seed, units=units)
        found = read_reply(caller.answer(reading), READINGS[reading], system=units)
        assert isinstance(found, Value)
        assert isinstance(found.value, float)
        usual_s = DEFAULT_MOMENT_S.get(reading)
        moments = [None] if usual_s is None else [usual_s + off for off in range(-30, 31, 2)]
        if reading == "freeze_suction_pressure_late":
            last_s = caller.cycle.freeze.duration_s
            moments = [last_s - before for before in range(0, 61, 2)]
        true = [reading_at(caller.cycle, reading, moment) for moment in moments]
        slack = INSTRUMENT_LIMITS[reading](true[0]) + rounding[READINGS[reading].kind.value]
        # A reading between two looked-at moments may lie a little outside them.
        slack += 0.02 * (max(true) - min(true)) + 1e-9
        assert min(true) - slack <= found.value <= max(true) + slack


def test_what_cannot_be_had_is_unknown() -> None:
    caller = caller_of("gletsch_r500", missing={"ice_pattern", "coil_voltage"})
    for reading in ("ice_pattern", "coil_voltage"):
        found = read_reply(caller.answer(reading), READINGS[reading], system=UnitSystem.US)
        assert isinstance(found, Unknown)


def test_a_caller_says_the_same_when_asked_twice() -> None:
    caller = caller_of("klirr_u80", "water_flow_poor")
    first = {reading: caller.answer(reading) for reading in READINGS}
    assert {reading: caller.answer(reading) for reading in READINGS} == first


def test_the_same_seed_makes_the_same_caller_and_another_seed_another() -> None:
    said = [
        [caller_of("gletsch_r500", "compressor_weak", 0.7, seed).answer(reading)
         for reading in READINGS]
        for seed in (5, 5, 6)
    ]  # fmt: skip
    assert said[0] == said[1]
    assert said[0] != said[2]


def test_one_cycle_is_run_for_one_caller(monkeypatch: pytest.MonkeyPatch) -> None:
    runs = []

    def counted(machine: Machine, weather: Conditions, parts: Parts = HEALTHY) -> Cycle:
        runs.append(parts)
        return run_cycle(machine, weather, parts)

    monkeypatch.setattr(simulated_caller, "run_cycle", counted)
    caller = caller_of("gletsch_r500", "condenser_airflow_poor")
    for reading in INSTRUMENT_LIMITS:
        caller.answer(reading)
    assert len(runs) == 1


def test_a_fault_of_a_part_that_is_not_there_is_refused() -> None:
    with pytest.raises(FaultDoesNotApply, match="receiver vapor feed"):
        caller_of("klirr_u80", "receiver_vapor_feed_failed")


def test_words_told_beforehand_are_said() -> None:
    caller = caller_of("klirr_u80", said={"ambient_air_temperature": "about 77 F"})
    assert caller.answer("ambient_air_temperature") == "about 77 F"


def test_a_unit_of_a_model_and_the_weather_behind_what_was_told_stay_within_limits() -> None:
    generator = random.Random(3)
    machine, told = machines()["gletsch_r500"], place(75.0, 60.0, 50.0)
    unit = some_unit(machine, generator)
    assert unit != machine
    assert unit.compressor.displacement_m3_per_s == pytest.approx(
        machine.compressor.displacement_m3_per_s, rel=0.041
    )
    true = conditions_behind(told, machine, generator)
    assert true.ambient_air_temperature_k == pytest.approx(told.ambient_air_temperature_k, abs=1.0)
    assert true.condenser_air_temperature_k == pytest.approx(
        told.condenser_air_temperature_k, abs=2.0
    )


@pytest.mark.parametrize(
    ("cause", "variant"),
    [
        ("receiver_vapor_feed_failed", "solenoid"),
        ("harvest_coil_unpowered", "hot_gas"),
        ("refrigerant_undercharge", ""),
        ("water_inlet_leaking", ""),
    ],
)
def test_a_plain_fault_told_to_the_engine_is_found(cause: str, variant: str) -> None:
    engine, case = shipped_engine(), opened()
    caller = caller_of("gletsch_r500", cause, 1.0, 4, variant=variant)
    while not isinstance(prompt := engine.prompt(case), END_PROMPTS):
        line = caller.answer(prompt.reading.id) if isinstance(prompt, AskQuestion) else "yes"
        turn = engine.turn(case, line)
        assert not any(isinstance(remark, NotClear) for remark in turn.remarks), line
        case = fold(turn.events, case)
    assert isinstance(prompt, Recommended)
    assert prompt.conclusion.causes == (cause,)


def test_a_gauge_that_reads_high_reads_high_each_time() -> None:
    # The error of one gauge is mostly its own, so two of its readings err the same way.
    pairs = ("freeze_suction_pressure_early", "harvest_suction_pressure")
    errors = []
    for seed in range(60):
        caller = caller_of("gletsch_r500", seed=seed, units=UnitSystem.SI)
        shares = [caller._instrument_share(name, random.Random(f"{seed} {name}")) for name in pairs]
        errors.append(shares)
    same_side = sum(one * other > 0.0 for one, other in errors)
    assert same_side > 40
    assert all(abs(share) <= 1.0 for pair in errors for share in pair)
