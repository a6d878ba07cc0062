"""A caller who stands before a virtual machine with one hidden fault and says what they find.

Numbers come from the faulty cycle, off by what gauges, thermometers and watches may be off; looks
and clicks come by the judged chances of `triage.physics.observed`. The caller answers in any order
and sticks to what was said once. Each reading has a source of chance of its own, so that what is
said of one does not hang on which others were asked for before.
"""

from __future__ import annotations

import math
import random
from collections.abc import Collection, Mapping
from dataclasses import dataclass, replace
from functools import cached_property, lru_cache
from types import MappingProxyType

from triage.physics.faults import parts_with, variants_on
from triage.physics.machine import CondenserKind, Conditions, Machine
from triage.physics.observed import (
    LOOKS,
    Sight,
    chances_of,
    coil_resistance_ohm,
    coil_voltage_v,
)
from triage.physics.quantity import Dimension, UnitSystem, format_quantity
from triage.physics.rating import production_kg_per_day
from triage.physics.sensitivity import HARVEST_READINGS
from triage.physics.tolerances import (
    AIR_THERMOMETER_K,
    FREEZE_MINUTE_S,
    HARVEST_MINUTE_S,
    INSTRUMENT_LIMITS,
    LATE_S,
    MACHINE_TOLERANCES,
    METER_LIMITS,
    PRODUCTION_PARTS,
    ROOF_AIR_THERMOMETER_K,
    WATER_THERMOMETER_K,
)
from triage.physics.units import DAY_S
from triage.physics.virtual_machine import (
    DEFAULT_MOMENT_S,
    READING_IDS,
    Cycle,
    reading_at,
    run_cycle,
)

UNKNOWN_WORDS = "unknown could not be had"

SUPPLY_SHARE = 0.04
"""How far a sound supply is off its nominal voltage [-]; judged, inside ANSI C84.1 range A."""

METER_SHARE = 0.02
"""Limit of error of a multimeter on a warm coil, as a share of the reading [-]; judged."""

STEADY_SHARE = 0.7
"""Share of an instrument's limit of error that is the same each time it is read [-]; judged."""

LOW_GAUGE, HIGH_GAUGE, CLAMP = "low-side gauge", "high-side gauge", "clamp thermometer"
SHARED_INSTRUMENTS: Mapping[str, str] = MappingProxyType({
    "freeze_suction_pressure_early": LOW_GAUGE,
    "freeze_suction_pressure_late": LOW_GAUGE,
    "harvest_suction_pressure": LOW_GAUGE,
    "freeze_discharge_pressure": HIGH_GAUGE,
    "harvest_discharge_pressure": HIGH_GAUGE,
    "discharge_line_temperature": CLAMP,
    "hot_gas_line_temperature": CLAMP,
})  # fmt: skip
"""The instrument of each reading that shares one with another reading."""

AIR, ROOF, WATER = (
    "ambient_air_temperature", "condenser_air_temperature", "water_inlet_temperature"
)  # fmt: skip

_LATE = "freeze_suction_pressure_late"

_WORDS: Mapping[str, str] = MappingProxyType({
    "hot_coil_off": "warm and the coil is dead",
    "hot_coil_on": "warm and the coil is live",
    "slow_or_cycling": "on and off",
    "thick_or_bottom_heavy": "bottom heavy",
    "no_change": "no change",
    "stopped_at_limit": "stopped at the limit",
})  # fmt: skip

_SAID: Mapping[str, str] = MappingProxyType({
    "caller_qualification": "yes both",
    "complaint": "will not drop",
})  # fmt: skip


@dataclass(frozen=True, slots=True)
class Fault:
    """What is wrong: a cause id, its severity (0 to 1) and the way it happens."""

    cause: str
    severity: float
    variant: str = ""


class SimulatedCaller:
    """One caller; the cycle is run once, when the first reading that needs it is asked for."""

    def __init__(
        self,
        machine: Machine,
        conditions: Conditions,
        cause: str,
        severity: float,
        noise: random.Random,
        *,
        variant: str | None = None,
        missing: Collection[str] = (),
        units: UnitSystem = UnitSystem.US,
        said: Mapping[str, str] | None = None,
        unit: Machine | None = None,
    ) -> None:
        """Take what is wrong with `machine` at `conditions` (as they truly are).

        `noise` settles instruments and looks, here and now. `variant` is the way the fault happens,
        None for one at random. Readings in `missing` are answered unknown. `said` fixes the words
        for some readings (temperatures as they were told). `unit` is the machine that truly stands
        there, one of the model `machine`; None for exactly as the file says. Raises UnknownFault,
        FaultDoesNotApply or OutOfRange as `parts_with`.
        """
        variants = variants_on(cause, machine)
        self.machine = machine
        self.conditions = conditions
        self.fault = Fault(cause, severity, noise.choice(variants) if variant is None else variant)
        self.units = units
        self.missing = frozenset(missing)
        self._unit = unit or machine
        self._parts = parts_with(cause, severity, machine, self.fault.variant)
        self._seed = noise.getrandbits(64)
        self._said: dict[str, str] = {**_SAID, **(said or {})}

    @cached_property
    def cycle(self) -> Cycle:
        """The faulty machine's cycle, exact: what a perfect gauge would show."""
        return run_cycle(self._unit, self.conditions, self._parts)

    @cached_property
    def sight(self) -> Sight:
        """The faulty machine as a person finds it."""
        usual_s = usual_harvest_s(self.machine, _rounded(self.conditions))
        return Sight(self.cycle, self.fault.cause, self.fault.severity, self.fault.variant, usual_s)

    @property
    def told(self) -> Collection[str]:
        """The readings that were asked for so far and could be had."""
        return self._said.keys()

    def answer(self, reading_id: str) -> str:
        """Return what the caller says when asked for a reading, the same words each time.

        What a person cannot know of a machine (a reading nobody simulates) is unknown too.
        """
        if reading_id in self.missing:
            return UNKNOWN_WORDS
        return self.answer_with_all(reading_id)

    def answer_with_all(self, reading_id: str) -> str:
        """Return what the caller would say if nothing were missing."""
        if reading_id not in self._said:
            self._said[reading_id] = self._found(reading_id)
        return self._said[reading_id]

    def _found(self, reading_id: str) -> str:
        noise = self._noise(reading_id)
        match reading_id:
            case "machine":
                return self.machine.name.partition(" (")[0]
            case "refrigerant":
                return self.machine.refrigerant
            case "condenser_kind":
                return self.machine.condenser.kind.value.replace("_", " ")
            case "coil_nominal_voltage":
                return self._words(self.machine.electrical.coil_nominal_voltage_v, "voltage")
            case "coil_voltage":
                share = 1.0 + _off(SUPPLY_SHARE, noise)
                return self._words(coil_voltage_v(self.sight) * share, "voltage")
            case "coil_resistance":
                share = 1.0 + _off(METER_SHARE, noise)
                return self._words(coil_resistance_ohm(self.sight) * share, "resistance")
        if reading_id in LOOKS:
            chances = chances_of(self.sight, reading_id)
            choice = noise.choices(list(chances), list(chances.values()))[0]
            return _WORDS.get(choice, choice.replace("_", " "))
        if reading_id in _DIMENSIONS:
            return self._words(self._measured(reading_id, noise), _DIMENSIONS[reading_id])
        return UNKNOWN_WORDS

    def _noise(self, reading_id: str) -> random.Random:
        return random.Random(f"{self._seed} {reading_id}")

    def _measured(self, reading_id: str, noise: random.Random) -> float:
        """Return a number as the instrument shows it, in SI."""
        if reading_id == "ice_production":
            parts = (self._measured(part, self._noise(part)) for part in PRODUCTION_PARTS)
            return production_kg_per_day(*parts) / DAY_S
        moment_s = DEFAULT_MOMENT_S.get(reading_id)
        if reading_id == _LATE:
            moment_s = self.cycle.freeze.duration_s - noise.uniform(0.0, LATE_S)
        elif moment_s is not None:
            is_harvest = reading_id in HARVEST_READINGS
            moment_s += _off(HARVEST_MINUTE_S if is_harvest else FREEZE_MINUTE_S, noise)
        value = reading_at(self.cycle, reading_id, moment_s)
        if reading_id in INSTRUMENT_LIMITS:
            value += INSTRUMENT_LIMITS[reading_id](value) * self._instrument_share(
                reading_id, noise
            )
        elif reading_id in METER_LIMITS:
            value += _off(METER_LIMITS[reading_id](value), noise)
        elif reading_id in _THERMOMETERS_K:
            value += _off(_THERMOMETERS_K[reading_id], noise)
        return max(value, _LEAST_SHOWN.get(_DIMENSIONS[reading_id], -math.inf))

    def _instrument_share(self, reading_id: str, noise: random.Random) -> float:
        """Return the error of a reading over its limit: mostly the instrument's own, and steady."""
        instrument = SHARED_INSTRUMENTS.get(reading_id, reading_id)
        steady = _off(STEADY_SHARE, random.Random(f"{self._seed} instrument {instrument}"))
        return steady + _off(1.0 - STEADY_SHARE, noise)

    def _words(self, si_value: float, dimension: str) -> str:
        barometer = self.conditions.barometric_pressure_pa
        return format_quantity(si_value, Dimension(dimension), self.units, barometer)


def _off(limit: float, noise: random.Random) -> float:
    return noise.uniform(-limit, limit)


def some_unit(machine: Machine, noise: random.Random, reach: float = 1.0) -> Machine:
    """Return one machine of a model: each value off by up to `reach` of its stated limit."""
    for tolerance in MACHINE_TOLERANCES:
        machine = tolerance.moved(machine, noise.uniform(-reach, reach)) or machine
    return machine


def conditions_behind(said: Conditions, machine: Machine, noise: random.Random) -> Conditions:
    """Return what the conditions may truly be where thermometers showed `said`."""
    air_off = noise.uniform(-AIR_THERMOMETER_K, AIR_THERMOMETER_K)
    roof_off = air_off
    if machine.condenser.kind is CondenserKind.REMOTE_AIR:
        roof_off = noise.uniform(-ROOF_AIR_THERMOMETER_K, ROOF_AIR_THERMOMETER_K)
    return replace(
        said,
        ambient_air_temperature_k=said.ambient_air_temperature_k + air_off,
        condenser_air_temperature_k=said.condenser_air_temperature_k + roof_off,
        water_inlet_temperature_k=said.water_inlet_temperature_k
        + noise.uniform(-WATER_THERMOMETER_K, WATER_THERMOMETER_K),
    )


@lru_cache(maxsize=4096)
def usual_harvest_s(machine: Machine, conditions: Conditions) -> float:
    """Return the harvest time of a healthy machine [s]."""
    return run_cycle(machine, conditions).harvest.duration_s


def _rounded(conditions: Conditions) -> Conditions:
    """Return conditions to the nearest 5 K, as a person knows what is usual."""

    def near(kelvin: float) -> float:
        return 5.0 * round(kelvin / 5.0)

    return replace(
        conditions,
        ambient_air_temperature_k=near(conditions.ambient_air_temperature_k),
        condenser_air_temperature_k=near(conditions.condenser_air_temperature_k),
        water_inlet_temperature_k=near(conditions.water_inlet_temperature_k),
    )


_THERMOMETERS_K: Mapping[str, float] = MappingProxyType({
    AIR: AIR_THERMOMETER_K,
    ROOF: ROOF_AIR_THERMOMETER_K,
    WATER: WATER_THERMOMETER_K,
})  # fmt: skip


_LEAST_SHOWN: Mapping[str, float] = MappingProxyType({
    "gauge_pressure": 4_000.0, "duration": 0.0, "length": 0.0, "mass": 0.0,
})  # fmt: skip
"""The least an instrument shows, in SI: no compound gauge goes to a full vacuum (judged)."""


_OTHER_DIMENSIONS: Mapping[str, str] = MappingProxyType({
    "ice_bridge_thickness": "length",
    "batch_ice_mass": "mass",
    "ice_production": "mass_per_day",
    "energy_use": "energy_per_mass",
    "water_use": "volume_per_mass",
})  # fmt: skip


def _dimension(reading_id: str) -> str:
    if "pressure" in reading_id:
        return "gauge_pressure"
    if reading_id.endswith("_temperature"):
        return "temperature"
    if reading_id.endswith("_time"):
        return "duration"
    return _OTHER_DIMENSIONS.get(reading_id, "temperature_difference")


_DIMENSIONS: Mapping[str, str] = MappingProxyType({name: _dimension(name) for name in READING_IDS})
"""What each number of the virtual machine measures."""
