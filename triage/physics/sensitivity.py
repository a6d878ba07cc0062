"""How far each tolerance moves each reading of a healthy machine, found by running it moved."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass, replace
from functools import cached_property, lru_cache

from triage.physics.circuit import Circuit
from triage.physics.freeze import run_freeze
from triage.physics.harvest import run_harvest
from triage.physics.machine import HEALTHY, Conditions, Machine
from triage.physics.tolerances import (
    FREEZE_MINUTE_S,
    HARVEST_MINUTE_S,
    INSTRUMENT_LIMITS,
    LATE_S,
    MACHINE_TOLERANCES,
    METER_LIMITS,
    PRODUCTION_PARTS,
    Stage,
    condition_moves,
)
from triage.physics.virtual_machine import DEFAULT_MOMENT_S, Cycle, reading_at, run_cycle

COVERAGE = 1.6
"""Half-width of a band over the root of the sum of squared limits [-].

Limits are taken as uniform (their standard deviation is the limit over the root of three), the sum
of many as normal: 1.6 is then 2.8 standard deviations, over 99 % of healthy readings. Never wider
than all limits at once.
"""

GENERIC_COVERAGE = 1.8
"""The same for a machine standing in for one that is not on file: its limits are so wide that
effects no longer add up straight; judged."""

HARVEST_READINGS = frozenset(
    {
        "harvest_suction_pressure",
        "harvest_discharge_pressure",
        "harvest_time",
        "hot_gas_line_temperature",
    }
)

CYCLE_READINGS = frozenset({"ice_production", "energy_use"})
"""Readings that freeze and harvest both go into; like those of harvest they wait for it."""

_BODY_START_K = 8.0
"""How far the compressor's warmth at the start of freeze may be off [K]; judged."""


@dataclass(frozen=True, slots=True)
class Spread:
    """What a healthy machine shows, and how far below and above it others may (all SI)."""

    centre: float
    down: float
    up: float


class Study:
    """A healthy machine at some conditions, and the same with one thing off at a time.

    Runs are made when first asked for: freeze readings do not wait for harvests.
    """

    def __init__(self, machine: Machine, conditions: Conditions) -> None:
        self.machine = machine
        self.conditions = conditions
        self.cycle = run_cycle(machine, conditions)

    @cached_property
    def _freeze_runs(self) -> tuple[tuple[tuple[Circuit, Cycle], ...], ...]:
        """For each tolerance that acts on freeze: the machine moved down and up."""
        runs = []
        for tolerance in MACHINE_TOLERANCES:
            if tolerance.stage is Stage.FREEZE:
                pair = [tolerance.moved(self.machine, sign) for sign in (-1.0, 1.0)]
                runs.append(tuple(self._frozen(moved, self.conditions) for moved in pair if moved))
        for below, above in condition_moves(self.machine, self.conditions):
            runs.append((self._frozen(self.machine, below), self._frozen(self.machine, above)))
        return tuple(runs)

    def _frozen(self, machine: Machine, conditions: Conditions) -> tuple[Circuit, Cycle]:
        circuit = Circuit(machine, conditions, HEALTHY)
        freeze = run_freeze(circuit, self.cycle.freeze.body_start_k)
        return circuit, Cycle(machine, conditions, HEALTHY, freeze, self.cycle.harvest)

    @cached_property
    def _body_runs(self) -> tuple[Cycle, ...]:
        coupling = self.machine.compressor.body_coupling_fraction
        start_k = self.cycle.freeze.body_start_k
        return tuple(
            replace(
                self.cycle,
                freeze=self.cycle.freeze.started_with_body_at(
                    start_k + sign * _BODY_START_K, coupling
                ),
            )
            for sign in (-1.0, 1.0)
        )

    @cached_property
    def _harvest_runs(self) -> tuple[tuple[Cycle, ...], ...]:
        """For each tolerance: the harvests of the machine moved.

        What acts through the freeze is nearly straight: its upward half stands for both.
        """
        runs = [
            tuple(
                replace(cycle, harvest=run_harvest(circuit, cycle.freeze))
                for circuit, cycle in pair[-1:]
            )
            for pair in self._freeze_runs
        ]
        for tolerance in MACHINE_TOLERANCES:
            if tolerance.stage is not Stage.HARVEST:
                continue
            pair = [tolerance.moved(self.machine, sign) for sign in (-1.0, 1.0)]
            runs.append(tuple(self._harvested(moved) for moved in pair if moved))
        return tuple(runs)

    def _harvested(self, machine: Machine) -> Cycle:
        circuit = Circuit(machine, self.conditions, HEALTHY)
        harvest = run_harvest(circuit, self.cycle.freeze)
        return Cycle(machine, self.conditions, HEALTHY, self.cycle.freeze, harvest)

    def spread(self, reading_id: str, minute_s: float | None) -> Spread:
        """Return the spread of a reading taken `minute_s` [s] into its freeze or harvest.

        Raises PhysicsError for a reading that is no number of this machine.
        """
        centre = reading_at(self.cycle, reading_id, minute_s)
        downs: list[float] = []
        ups: list[float] = []
        for values in self._moved_values(reading_id, minute_s):
            changes = [value - centre for value in values]
            downs.append(max(0.0, -min(changes, default=0.0)))
            ups.append(max(0.0, max(changes, default=0.0)))
        limits = self._instrument_limits(reading_id, centre)
        downs.extend(limits)
        ups.extend(limits)
        coverage = GENERIC_COVERAGE if self.machine.is_generic else COVERAGE
        return Spread(centre, _combined(downs, coverage), _combined(ups, coverage))

    def _instrument_limits(self, reading_id: str, centre: float) -> list[float]:
        """Return how far instruments may be off; ice in a day takes a scale and two watches."""
        if reading_id == "ice_production":
            values = [reading_at(self.cycle, part) for part in PRODUCTION_PARTS]
            batch_off_kg, freeze_off_s, harvest_off_s = (
                INSTRUMENT_LIMITS[part](value)
                for part, value in zip(PRODUCTION_PARTS, values, strict=True)
            )
            cycle_s = values[1] + values[2]
            times_off = (centre * off_s / cycle_s for off_s in (freeze_off_s, harvest_off_s))
            return [batch_off_kg / cycle_s, *times_off]
        limit = INSTRUMENT_LIMITS.get(reading_id) or METER_LIMITS.get(reading_id)
        return [limit(centre)] if limit else [0.0]

    def _moved_values(self, reading_id: str, minute_s: float | None) -> Iterator[list[float]]:
        if reading_id in HARVEST_READINGS | CYCLE_READINGS:
            centre = reading_at(self.cycle, reading_id, minute_s)
            for cycles in self._harvest_runs:
                values = [reading_at(cycle, reading_id, minute_s) for cycle in cycles]
                yield values if len(values) != 1 else [*values, 2.0 * centre - values[0]]
        else:
            for pair in self._freeze_runs:
                yield [reading_at(cycle, reading_id, minute_s) for _, cycle in pair]
            yield [reading_at(cycle, reading_id, minute_s) for cycle in self._body_runs]
        moment_s = DEFAULT_MOMENT_S.get(reading_id) if minute_s is None else minute_s
        if moment_s is None:
            if reading_id == "freeze_suction_pressure_late":
                last_s = self.cycle.freeze.duration_s
                yield [reading_at(self.cycle, reading_id, max(0.0, last_s - LATE_S))]
            return
        off_s = HARVEST_MINUTE_S if reading_id in HARVEST_READINGS else FREEZE_MINUTE_S
        yield [
            reading_at(self.cycle, reading_id, max(0.0, moment_s - off_s)),
            reading_at(self.cycle, reading_id, moment_s + off_s),
        ]


@lru_cache(maxsize=64)
def study_of(machine: Machine, conditions: Conditions) -> Study:
    """Return the study of a machine at some conditions; kept, so that asking again is free."""
    return Study(machine, conditions)


def _combined(limits: list[float], coverage: float) -> float:
    squares = sum(limit * limit for limit in limits)
    return min(coverage * math.sqrt(squares), sum(limits))
