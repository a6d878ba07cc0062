"""Callers whose world is not the one the tool reckons with: what happens when the model is off.

Each mismatch leaves the fault, the looks and the caller's words as they are and puts one thing out
of true: the machine that stands there, the file it is judged by, the gauges, or the air pressure.
"""

from __future__ import annotations

import random
from collections.abc import Iterator
from dataclasses import dataclass, fields, replace
from enum import StrEnum

from triage.drill.population import Place, caller_at
from triage.drill.simulated_caller import SimulatedCaller
from triage.physics.machine import Conditions, Machine
from triage.physics.pressure import barometric_pressure_pa
from triage.physics.quantity import Dimension, format_quantity
from triage.physics.tables import fluid
from triage.physics.tolerances import (
    FREEZE_MINUTE_S,
    HARVEST_MINUTE_S,
    HIGH_SIDE_GAUGE_PA,
    LATE_S,
    LOW_SIDE_GAUGE_PA,
    MACHINE_TOLERANCES,
    PIPE_THERMOMETER_K,
)
from triage.physics.virtual_machine import DEFAULT_MOMENT_S, reading_at
from triage.tree.content import Content

ALTITUDE_M = 2_000.0

_CELSIUS_ZERO_K = 273.15
_LATE = "freeze_suction_pressure_late"
_GAUGES_PA = {
    "freeze_suction_pressure_early": LOW_SIDE_GAUGE_PA,
    _LATE: LOW_SIDE_GAUGE_PA,
    "harvest_suction_pressure": LOW_SIDE_GAUGE_PA,
    "freeze_discharge_pressure": HIGH_SIDE_GAUGE_PA,
    "harvest_discharge_pressure": HIGH_SIDE_GAUGE_PA,
}
_CLAMPS = ("discharge_line_temperature", "hot_gas_line_temperature")


class Mismatch(StrEnum):
    """One thing out of true; the value is how a table names it."""

    NONE = "as modelled"
    UNIT_10 = "machine values off by 10 %"
    UNIT_20 = "machine values off by 20 %"
    WRONG_FILE = "another machine named"
    NOT_ON_FILE = "machine not named"
    LEFT_OUT = "machine not on file at all"
    BIASED = "gauges biased by their limit"
    BIASED_TWICE = "gauges biased by twice it"
    HIGH_UP = "2000 m up, not told"


@dataclass(frozen=True)
class HighPlace(Place):
    """A place above the sea whose height nobody tells."""

    @property
    def conditions(self) -> Conditions:
        """The conditions there, the air pressure among them."""
        return replace(
            super().conditions, barometric_pressure_pa=barometric_pressure_pa(ALTITUDE_M)
        )


def place_under(mismatch: Mismatch, place: Place) -> Place:
    """Return the place as it is under a mismatch."""
    match mismatch:
        case Mismatch.NOT_ON_FILE | Mismatch.LEFT_OUT:
            return replace(place, is_on_file=False)
        case Mismatch.HIGH_UP:
            return HighPlace(**{item.name: getattr(place, item.name) for item in fields(place)})
        case _:
            return place


def content_under(mismatch: Mismatch, content: Content, machine: str) -> Content:
    """Return the content that calls about a machine are judged by."""
    if mismatch is not Mismatch.LEFT_OUT:
        return content
    others = {key: item for key, item in content.machines.items() if key != machine}
    return replace(content, machines=others)


def caller_under(
    mismatch: Mismatch,
    content: Content,
    place: Place,
    machine: Machine,
    cause: str,
    noise: random.Random,
    missing: int,
    said: dict[str, str],
) -> SimulatedCaller:
    """Return a caller at `place`, which is under the mismatch already."""
    match mismatch:
        case Mismatch.UNIT_10:
            machine = moved_unit(machine, 0.1, noise)
        case Mismatch.UNIT_20:
            machine = moved_unit(machine, 0.2, noise)
        case Mismatch.WRONG_FILE:
            said = {**said, "machine": _mistaken_for(content, machine, noise)}
        case Mismatch.BIASED | Mismatch.BIASED_TWICE:
            before = noise.getstate()
            true = caller_at(place, machine, cause, noise, missing=missing, said=said)
            times = 1.0 if mismatch is Mismatch.BIASED else 2.0
            said = {**said, **dict(_biased_words(true, times, noise))}
            noise.setstate(before)
    return caller_at(place, machine, cause, noise, missing=missing, said=said)


def moved_unit(machine: Machine, share: float, noise: random.Random) -> Machine:
    """Return a machine whose toleranced values are each off by up to `share` of themselves.

    That comes on top of what units of one model are off by. A temperature counts from 0 °C.
    """
    for tolerance in MACHINE_TOLERANCES:
        if tolerance.amount == 0.0:
            continue
        part = getattr(machine, tolerance.part)
        value: float = getattr(part, tolerance.field)
        zero = (
            _CELSIUS_ZERO_K if value > 200.0 and tolerance.field.endswith("_temperature_k") else 0.0
        )
        moved = zero + (value - zero) * (1.0 + noise.uniform(-share, share))
        if value < 1.0:  # shares of a whole, and areas far below
            moved = min(moved, 0.98)
        machine = replace(machine, **{tolerance.part: replace(part, **{tolerance.field: moved})})
    return machine


def _mistaken_for(content: Content, machine: Machine, noise: random.Random) -> str:
    """Return the name of another machine on file that one might take this one for."""
    alike = [
        other
        for other in content.machines.values()
        if other.id != machine.id
        and (
            other.refrigerant == machine.refrigerant
            or other.condenser.kind is machine.condenser.kind
        )
    ]
    return noise.choice(alike).name.partition(" (")[0]


def _biased_words(
    caller: SimulatedCaller, times: float, noise: random.Random
) -> Iterator[tuple[str, str]]:
    """Yield what gauges and pipe clamp show that are all off upward, by `times` their limit.

    The same instruments are used all call long, and superheat and subcooling follow from them.
    """
    cycle, barometer_pa = caller.cycle, caller.conditions.barometric_pressure_pa
    gas = fluid(caller.machine.refrigerant)
    clamp_k = times * PIPE_THERMOMETER_K
    for reading_id, limit_pa in _GAUGES_PA.items():
        value = reading_at(cycle, reading_id, _moment_s(caller, reading_id, noise))
        yield (
            reading_id,
            format_quantity(
                value + times * limit_pa, Dimension.GAUGE_PRESSURE, caller.units, barometer_pa
            ),
        )
    for reading_id in _CLAMPS:
        value = reading_at(cycle, reading_id, _moment_s(caller, reading_id, noise))
        yield (
            reading_id,
            format_quantity(value + clamp_k, Dimension.TEMPERATURE, caller.units),
        )
    suction_pa = reading_at(cycle, _LATE, DEFAULT_MOMENT_S["suction_superheat"])
    discharge_pa = reading_at(cycle, "freeze_discharge_pressure")
    dew_off_k = gas.dew_temperature_k(
        suction_pa + times * LOW_SIDE_GAUGE_PA
    ) - gas.dew_temperature_k(suction_pa)
    bubble_off_k = gas.bubble_temperature_k(
        discharge_pa + times * HIGH_SIDE_GAUGE_PA
    ) - gas.bubble_temperature_k(discharge_pa)
    differences = {
        "suction_superheat": clamp_k - dew_off_k,
        "liquid_subcooling": bubble_off_k - clamp_k,
    }
    for reading_id, off_k in differences.items():
        value = reading_at(cycle, reading_id) + off_k
        yield (
            reading_id,
            format_quantity(value, Dimension.TEMPERATURE_DIFFERENCE, caller.units),
        )


def _moment_s(caller: SimulatedCaller, reading_id: str, noise: random.Random) -> float:
    if reading_id == _LATE:
        return caller.cycle.freeze.duration_s - noise.uniform(0.0, LATE_S)
    is_harvest = reading_id.startswith(("harvest", "hot_gas"))
    off_s = HARVEST_MINUTE_S if is_harvest else FREEZE_MINUTE_S
    return DEFAULT_MOMENT_S[reading_id] + noise.uniform(-off_s, off_s)
