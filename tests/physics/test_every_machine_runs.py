"""No machine on file, on any refrigerant, at any conditions it may meet, stops the model."""

import math
import random

import pytest

from tests.machines_on_file import corners, machines, place
from triage.physics.adapt import adapt
from triage.physics.machine import Conditions, Parts
from triage.physics.refrigerant import REFRIGERANTS
from triage.physics.virtual_machine import READING_IDS, reading_at, run_cycle


@pytest.mark.parametrize("name", sorted(machines()))
def test_a_healthy_machine_makes_and_drops_ice_all_over_its_stated_limits(name: str) -> None:
    machine = machines()[name]
    for conditions in corners(machine):
        cycle = run_cycle(machine, conditions)
        assert cycle.freeze.is_complete, conditions
        assert cycle.harvest.is_released, conditions


@pytest.mark.parametrize("refrigerant", sorted(REFRIGERANTS))
def test_a_machine_redesigned_for_any_refrigerant_makes_and_drops_ice(refrigerant: str) -> None:
    for machine in machines().values():
        adapted = adapt(machine, refrigerant)
        for conditions in corners(machine)[::4]:
            cycle = run_cycle(adapted, conditions)
            assert cycle.freeze.is_complete, (machine.id, conditions)
            assert cycle.harvest.is_released, (machine.id, conditions)


@pytest.mark.parametrize("refrigerant", ["R-404A", "R-134a", "R-454B", "R-290"])
def test_a_redesigned_machine_freezes_with_the_same_capacity(refrigerant: str) -> None:
    machine, conditions = machines()["gletsch_r500"], place(70.0, 60.0)
    first = run_cycle(machine, conditions)
    second = run_cycle(adapt(machine, refrigerant), conditions)
    assert second.freeze.duration_s == pytest.approx(first.freeze.duration_s, rel=0.05)
    assert second.harvest.duration_s == pytest.approx(first.harvest.duration_s, rel=0.25)


SPANS = {
    "charge_fraction": (0.2, 1.6),
    "air_pressure_pa": (0.0, 800_000.0),
    "condenser_factor": (0.05, 1.0),
    "head_floor_shift_k": (-40.0, 10.0),
    "valve_capacity_factor": (0.05, 1.5),
    "valve_superheat_shift_k": (-10.0, 25.0),
    "liquid_carry_over_fraction": (0.0, 0.4),
    "volumetric_factor": (0.2, 1.0),
    "isentropic_factor": (0.5, 1.0),
    "hot_gas_leak_fraction": (0.0, 0.6),
    "hot_gas_opening_fraction": (0.0, 1.0),
    "feed_opening_fraction": (0.0, 1.2),
    "feed_setpoint_shift_pa": (-3e5, 3e5),
    "water_film_factor": (0.05, 1.0),
    "water_coverage_fraction": (0.0, 1.0),
    "water_leak_kg_per_s": (0.0, 0.05),
    "water_warmer_k": (0.0, 20.0),
    "plate_conductance_factor": (0.1, 1.0),
    "adhesion_factor": (0.5, 4.0),
    "vacuum_factor": (1.0, 5.0),
    "bridge_shift_m": (-0.004, 0.01),
}


def test_any_mix_of_faults_in_any_weather_still_gives_readings() -> None:
    generator = random.Random(20)
    on_file = list(machines().values())
    for _ in range(250):
        machine = adapt(generator.choice(on_file), generator.choice(sorted(REFRIGERANTS)))
        conditions = Conditions(
            generator.uniform(243.0, 333.0),
            generator.uniform(228.0, 338.0),
            generator.uniform(272.0, 333.0),
            generator.uniform(50_000.0, 108_000.0),
        )
        count = generator.choice([0, 1, 1, 2, 5, len(SPANS)])
        turned = generator.sample(sorted(SPANS), count)
        parts = Parts(**{name: generator.uniform(*SPANS[name]) for name in turned})
        cycle = run_cycle(machine, conditions, parts)
        for reading in READING_IDS:
            value = reading_at(cycle, reading)
            assert math.isfinite(value), (reading, machine.id, conditions, parts)
            assert value >= 0.0, (reading, machine.id, conditions, parts)


def test_spans_cover_every_part() -> None:
    assert set(SPANS) == set(Parts.__dataclass_fields__)
