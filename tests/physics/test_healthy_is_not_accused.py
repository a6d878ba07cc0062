"""A healthy machine, read with honest instruments, is not accused.

Machines vary within the stated tolerances (each limit uniform, all independent), so do the
thermometers, the clock and the gauges of the call. At most 1.5 % of verdicts per reading may fall
outside the band. Fixed seed.
"""

import random
from collections import Counter

import pytest

from tests.machines_on_file import machines
from triage.physics.bands import adapt, expected_band
from triage.physics.machine import CondenserKind, Conditions, Machine
from triage.physics.pressure import barometric_pressure_pa
from triage.physics.sensitivity import HARVEST_READINGS
from triage.physics.tolerances import (
    AIR_THERMOMETER_K,
    FREEZE_MINUTE_S,
    HARVEST_MINUTE_S,
    INSTRUMENT_LIMITS,
    LATE_S,
    MACHINE_TOLERANCES,
    ROOF_AIR_THERMOMETER_K,
    WATER_THERMOMETER_K,
)
from triage.physics.virtual_machine import DEFAULT_MOMENT_S, Cycle, reading_at, run_cycle

READINGS = sorted(INSTRUMENT_LIMITS)
PLACES, MACHINES_PER_PLACE = 3, 16
GREATEST_SHARE = 0.015


def within(generator: random.Random, limit: float) -> float:
    return generator.uniform(-limit, limit)


def some_place(generator: random.Random, machine: Machine) -> Conditions:
    air = generator.uniform(283.15, 311.15)
    roof = air
    if machine.condenser.kind is CondenserKind.REMOTE_AIR:
        roof = generator.uniform(
            machine.least_condenser_air_temperature_k, machine.greatest_condenser_air_temperature_k
        )
    water = generator.uniform(277.15, 305.15)
    return Conditions(air, roof, water, barometric_pressure_pa(generator.uniform(0.0, 2000.0)))


def as_it_is(generator: random.Random, said: Conditions) -> Conditions:
    air_off = within(generator, AIR_THERMOMETER_K)
    is_remote = said.condenser_air_temperature_k != said.ambient_air_temperature_k
    roof_off = within(generator, ROOF_AIR_THERMOMETER_K) if is_remote else air_off
    return Conditions(
        said.ambient_air_temperature_k + air_off,
        said.condenser_air_temperature_k + roof_off,
        said.water_inlet_temperature_k + within(generator, WATER_THERMOMETER_K),
        said.barometric_pressure_pa,
    )


def some_unit(generator: random.Random, machine: Machine) -> Machine:
    for tolerance in MACHINE_TOLERANCES:
        machine = tolerance.moved(machine, generator.uniform(-1.0, 1.0)) or machine
    return machine


def as_read(generator: random.Random, cycle: Cycle, reading: str) -> float:
    moment = DEFAULT_MOMENT_S.get(reading)
    if reading == "freeze_suction_pressure_late":
        moment = cycle.freeze.duration_s - generator.uniform(0.0, LATE_S)
    elif moment is not None:
        off = HARVEST_MINUTE_S if reading in HARVEST_READINGS else FREEZE_MINUTE_S
        moment += within(generator, off)
    value = reading_at(cycle, reading, moment)
    return value + within(generator, INSTRUMENT_LIMITS[reading](value))


def share_accused(is_generic: bool) -> dict[str, float]:
    generator = random.Random(2026)
    outside: Counter[str] = Counter()
    count = 0
    for machine in machines().values():
        model = adapt(machine, machine.refrigerant) if is_generic else machine
        for _ in range(PLACES):
            said = some_place(generator, model)
            for _ in range(MACHINES_PER_PLACE):
                cycle = run_cycle(some_unit(generator, model), as_it_is(generator, said))
                count += 1
                for reading in READINGS:
                    band = expected_band(model, said, reading, DEFAULT_MOMENT_S.get(reading))
                    if not band.low <= as_read(generator, cycle, reading) <= band.high:
                        outside[reading] += 1
    return {reading: outside[reading] / count for reading in READINGS}


@pytest.mark.parametrize("is_generic", [False, True], ids=["on_file", "stand_in"])
def test_a_healthy_machine_is_not_accused(is_generic: bool) -> None:
    shares = share_accused(is_generic)
    too_often = {key: share for key, share in shares.items() if share > GREATEST_SHARE}
    assert not too_often
