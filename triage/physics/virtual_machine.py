"""The virtual batch ice machine: one freeze and one harvest, and every reading taken on it."""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Callable, Sequence
from dataclasses import dataclass

from triage.physics.circuit import Circuit
from triage.physics.errors import PhysicsError
from triage.physics.freeze import Freeze, Moment, run_freeze
from triage.physics.harvest import HarvestMoment, HarvestRun, run_harvest
from triage.physics.machine import HEALTHY, Conditions, Machine, Parts
from triage.physics.rating import (
    energy_kwh_per_100_lb,
    production_kg_per_day,
    water_use_m3_per_kg,
)
from triage.physics.units import DAY_S

__all__ = [
    "DEFAULT_MOMENT_S",
    "HEALTHY",
    "READING_IDS",
    "Conditions",
    "Cycle",
    "Parts",
    "reading_at",
    "run_cycle",
]

DEFAULT_MOMENT_S: dict[str, float] = {
    "discharge_line_temperature": 360.0,
    "freeze_suction_pressure_early": 120.0,
    "suction_superheat": 360.0,
    "liquid_subcooling": 360.0,
    "freeze_discharge_pressure": 360.0,
    "harvest_suction_pressure": 60.0,
    "harvest_discharge_pressure": 60.0,
    "hot_gas_line_temperature": 60.0,
}
"""When a reading is meant to be taken if nobody says, seconds into its freeze or harvest; late
suction is taken as the freeze ends."""


@dataclass(frozen=True, slots=True)
class Cycle:
    """One freeze and one harvest of a machine with its parts in a given state."""

    machine: Machine
    conditions: Conditions
    parts: Parts
    freeze: Freeze
    harvest: HarvestRun

    @property
    def production_kg_per_day(self) -> float:
        """Ice made in 24 h at these conditions [kg]."""
        return production_kg_per_day(
            self.freeze.batch_mass_kg, self.freeze.duration_s, self.harvest.duration_s
        )

    @property
    def energy_per_batch_j(self) -> float:
        """Electric energy of one cycle [J]: compressor, condenser fan and water pump.

        Fan and pump run in freeze; a fan that cycles is taken to run through.
        """
        auxiliaries = self.machine.condenser.fan_power_w + self.machine.evaporator.pump_power_w
        return (
            self.freeze.electric_energy_j
            + self.harvest.electric_energy_j
            + auxiliaries * self.freeze.duration_s
        )

    @property
    def energy_kwh_per_100_lb(self) -> float:
        """Energy rate [kWh per 100 lb of ice], as AHRI 810 states it."""
        return energy_kwh_per_100_lb(self.energy_per_batch_j, self.freeze.batch_mass_kg)

    @property
    def filled_water_kg(self) -> float:
        """Water of the charge and of a leaking inlet in one cycle [kg]."""
        leaked = self.parts.water_leak_kg_per_s * self.freeze.duration_s
        return self.machine.evaporator.water_charge_kg + leaked

    @property
    def drained_water_kg(self) -> float:
        """Water of the charge and of a leaking inlet that did not become ice [kg]."""
        return self.filled_water_kg - self.freeze.batch_mass_kg


def run_cycle(machine: Machine, conditions: Conditions, parts: Parts = HEALTHY) -> Cycle:
    """Return one cycle of `machine` at `conditions`, its `parts` healthy or turned towards a fault.

    The compressor enters the freeze as warm as the harvest leaves it, as on a machine that has run
    for a while. Never fails within the machine's working limits: pressures and temperatures are
    held to the span of the property tables, where a real machine would have tripped.
    Raises UnknownRefrigerant for a refrigerant without tables.
    """
    circuit = Circuit(machine, conditions, parts)
    # The harvest hardly depends on the body temperature the freeze began with: one pass gives it.
    freeze = run_freeze(circuit, conditions.ambient_air_temperature_k + 20.0)
    harvest = run_harvest(circuit, freeze)
    coupling = machine.compressor.body_coupling_fraction
    freeze = freeze.started_with_body_at(harvest.body_k, coupling)
    return Cycle(machine, conditions, parts, freeze, harvest)


def reading_at(cycle: Cycle, reading_id: str, minute_s: float | None = None) -> float:
    """Return what would be read on the machine, in SI, pressures as absolute pascal.

    `minute_s` is the moment it is taken, in seconds into its freeze or harvest; None for the
    default moment, beyond the end of freeze or harvest for the last one. Raises PhysicsError for a
    reading that is no number of this machine.
    """
    reading = _READINGS.get(reading_id)
    if reading is None:
        raise PhysicsError(
            f'"{reading_id}" is no figure the virtual machine can give; it has: '
            f"{', '.join(READING_IDS)}."
        )
    if minute_s is None:
        minute_s = DEFAULT_MOMENT_S.get(reading_id, float("inf"))
    return reading(cycle, minute_s)


def _freeze_moment(value: Callable[[Moment], float]) -> Callable[[Cycle, float], float]:
    def read(cycle: Cycle, moment_s: float) -> float:
        return _between(cycle.freeze.moments, moment_s, value)

    return read


def _harvest_moment(value: Callable[[HarvestMoment], float]) -> Callable[[Cycle, float], float]:
    def read(cycle: Cycle, moment_s: float) -> float:
        return _between(cycle.harvest.moments, moment_s, value)

    return read


def _between(
    moments: Sequence[Moment] | Sequence[HarvestMoment],
    moment_s: float,
    value: Callable[..., float],
) -> float:
    """Return `value` at a moment, straight between the recorded ones, clamped to first and last."""
    index = bisect_right(moments, moment_s, key=lambda moment: moment.elapsed_s)
    if index == 0:
        return value(moments[0])
    if index == len(moments):
        return value(moments[-1])
    before, after = moments[index - 1], moments[index]
    share = (moment_s - before.elapsed_s) / (after.elapsed_s - before.elapsed_s)
    first = value(before)
    return first + share * (value(after) - first)


def _subcooling_k(cycle: Cycle, moment_s: float) -> float:
    from triage.physics.tables import fluid

    gas = fluid(cycle.machine.refrigerant)
    pressure = _between(cycle.freeze.moments, moment_s, lambda moment: moment.discharge_pressure_pa)
    liquid_k = _between(cycle.freeze.moments, moment_s, lambda moment: moment.liquid_k)
    return max(0.0, gas.bubble_temperature_k(pressure) - liquid_k)


def _weighable_kg(cycle: Cycle) -> float:
    """Return the batch [kg], at least a gram: what is used per weight of ice stays a number."""
    return max(1e-3, cycle.freeze.batch_mass_kg)


def _bridge_m(cycle: Cycle) -> float:
    evaporator = cycle.machine.evaporator
    grown = cycle.freeze.ice_thickness_m - evaporator.ice_thickness_m
    return max(0.0, evaporator.bridge_thickness_m + grown)


_suction = _freeze_moment(lambda moment: moment.suction_pressure_pa)

_READINGS: dict[str, Callable[[Cycle, float], float]] = {
    "ambient_air_temperature": lambda cycle, _: cycle.conditions.ambient_air_temperature_k,
    "condenser_air_temperature": lambda cycle, _: cycle.conditions.condenser_air_temperature_k,
    "water_inlet_temperature": lambda cycle, _: (
        cycle.conditions.water_inlet_temperature_k + cycle.parts.water_warmer_k
    ),
    "freeze_time": lambda cycle, _: cycle.freeze.duration_s,
    "ice_bridge_thickness": lambda cycle, _: _bridge_m(cycle),
    "batch_ice_mass": lambda cycle, _: cycle.freeze.batch_mass_kg,
    "discharge_line_temperature": _freeze_moment(lambda moment: moment.discharge_line_k),
    "freeze_suction_pressure_early": _suction,
    "freeze_suction_pressure_late": _suction,
    "freeze_discharge_pressure": _freeze_moment(lambda moment: moment.discharge_pressure_pa),
    "suction_superheat": _freeze_moment(lambda moment: moment.superheat_k),
    "liquid_subcooling": _subcooling_k,
    "harvest_suction_pressure": _harvest_moment(lambda moment: moment.suction_pressure_pa),
    "harvest_discharge_pressure": _harvest_moment(lambda moment: moment.discharge_pressure_pa),
    "harvest_time": lambda cycle, _: cycle.harvest.duration_s,
    "hot_gas_line_temperature": _harvest_moment(lambda moment: moment.hot_gas_line_k),
    "ice_production": lambda cycle, _: cycle.production_kg_per_day / DAY_S,
    "energy_use": lambda cycle, _: cycle.energy_per_batch_j / _weighable_kg(cycle),
    "water_use": lambda cycle, _: water_use_m3_per_kg(cycle.filled_water_kg, _weighable_kg(cycle)),
}

READING_IDS: tuple[str, ...] = tuple(_READINGS)
"""Every numeric reading `reading_at` can give."""
