"""Which calls there are: a place with a machine and its weather, a hidden fault, who tells of it.

The same population serves practice calls, the likelihoods of the ranking and the accuracy
benchmark. Everything is drawn from the generator handed in.
"""

from __future__ import annotations

import random
from collections.abc import Collection, Mapping
from dataclasses import dataclass, replace

from triage.dialogue.case import Case, fold
from triage.dialogue.events import Answered, Started
from triage.dialogue.judge import finding_of
from triage.dialogue.reply import Value, read_reply
from triage.dialogue.view import Finding, Verdict
from triage.drill.simulated_caller import SimulatedCaller, conditions_behind, some_unit
from triage.physics.faults import WARMER_AT_WORST_K, faults_of, supply_share
from triage.physics.machine import CondenserKind, Conditions, Machine
from triage.physics.observed import LOOKS, chances_of, coil_resistance_ohm
from triage.physics.quantity import Dimension, UnitSystem, format_quantity, parse_quantity
from triage.physics.tolerances import INSTRUMENT_LIMITS
from triage.physics.virtual_machine import DEFAULT_MOMENT_S, reading_at
from triage.tree.content import Content

WARM_WATER = "water_supply_warm"
TRIED = "manifold_test_result"

PLAIN_SEVERITIES = (0.5, 1.0)
"""Severities of a fault that somebody calls about (judged)."""

CAN_BE_MISSING = (
    *sorted(INSTRUMENT_LIMITS), "ice_pattern", "water_flow_over_plate", "water_leaking_into_sump",
    "condenser_fan_state", "ice_released", "slab_loose_but_hanging", "coil_voltage",
    "coil_resistance", "coil_pulls_in", "plate_condition", "vacuum_break_running",
    "hot_gas_line_in_freeze", TRIED,
)  # fmt: skip
"""Readings that a caller may not be able to give."""


@dataclass(frozen=True)
class Place:
    """A machine and the temperatures as they are told there; its bands are worked out once.

    `is_on_file` is whether the caller names a model on file; otherwise only what the data plate
    says is told, and the call is judged by a typical machine.
    """

    machine: str
    units: UnitSystem
    temperatures: Mapping[str, str]
    is_cold_outside: bool
    has_warm_water: bool
    is_on_file: bool = True

    def kelvin(self, reading_id: str) -> float:
        """Return a told temperature [K]; KeyError if it is not told here."""
        default = "°F" if self.units is UnitSystem.US else "°C"
        return parse_quantity(
            self.temperatures[reading_id], Dimension.TEMPERATURE, default
        ).si()  # fmt: skip

    @property
    def conditions(self) -> Conditions:
        """The conditions as told."""
        air = self.kelvin("ambient_air_temperature")
        roof = "condenser_air_temperature"
        return Conditions(
            air,
            self.kelvin(roof) if roof in self.temperatures else air,
            self.kelvin("water_inlet_temperature"),
        )


def places_of(
    machine: Machine, count: int, generator: random.Random, *, is_on_file: bool = True
) -> list[Place]:
    """Return `count` places for a machine and one more with warm water.

    Every third has cold air at a remote condenser, the first among them.
    """
    places = [_place(machine, index, False, generator, is_on_file) for index in range(count)]
    return [*places, _place(machine, 1, True, generator, is_on_file)]


def _place(
    machine: Machine,
    index: int,
    has_warm_water: bool,
    generator: random.Random,
    is_on_file: bool,
) -> Place:
    units = UnitSystem.US if index % 2 == 0 else UnitSystem.SI
    air = generator.uniform(machine.least_air_temperature_k, machine.greatest_air_temperature_k)
    water = generator.uniform(
        machine.least_water_temperature_k, machine.greatest_water_temperature_k
    )
    if has_warm_water:
        water = machine.greatest_water_temperature_k + generator.uniform(2.0, 8.0)
    temperatures = {"ambient_air_temperature": air, "water_inlet_temperature": water}
    is_cold = False
    if machine.condenser.kind is CondenserKind.REMOTE_AIR:
        is_cold = index % 3 == 0
        edge = machine.condenser.least_condensing_temperature_k - 25.0
        span = (
            (machine.least_condenser_air_temperature_k, edge)
            if is_cold
            else (edge, machine.greatest_condenser_air_temperature_k)
        )
        temperatures["condenser_air_temperature"] = generator.uniform(*span)
    texts = {
        key: format_quantity(value, Dimension.TEMPERATURE, units)
        for key, value in temperatures.items()
    }
    return Place(machine.id, units, texts, is_cold, has_warm_water, is_on_file)


def can_happen(cause: str, machine: Machine, place: Place) -> bool:
    """Return whether the machine can have the fault and this weather can show it at all."""
    if cause not in faults_of(machine):
        return False
    match cause:
        case "water_supply_warm":
            return place.has_warm_water
        case "head_pressure_control_low":
            return place.is_cold_outside
        case "condenser_airflow_poor" | "refrigerant_overcharge":
            return not (place.is_cold_outside or place.has_warm_water)
        case _:
            return not place.has_warm_water


def caller_at(
    place: Place,
    machine: Machine,
    cause: str,
    noise: random.Random,
    *,
    missing: int | Collection[str] = 0,
    severities: tuple[float, float] = PLAIN_SEVERITIES,
    said: Mapping[str, str] | None = None,
    reach: float = 1.0,
) -> SimulatedCaller:
    """Return a caller at `place` whose `machine` has the fault at some severity.

    `missing` names the readings that cannot be had, or says how many at random. The unit that
    stands there is off its model's values by up to `reach` of their limits. Raises as
    `SimulatedCaller`.
    """
    severity = noise.uniform(*severities)
    true = conditions_behind(place.conditions, machine, noise)
    if cause == WARM_WATER:
        # The water told is the warm one; what it should be lies below.
        cooler = true.water_inlet_temperature_k - WARMER_AT_WORST_K * severity
        true = replace(true, water_inlet_temperature_k=cooler)
    not_had = noise.sample(CAN_BE_MISSING, missing) if isinstance(missing, int) else missing
    return SimulatedCaller(
        machine, true, cause, severity, noise,
        missing=not_had, units=place.units, said={**said_at(place), **(said or {})},
        unit=some_unit(machine, noise, reach),
    )  # fmt: skip


def said_at(place: Place) -> dict[str, str]:
    """Return what any caller at a place says in fixed words."""
    unnamed = {} if place.is_on_file else {"machine": "unknown plate not readable"}
    return {**place.temperatures, **unnamed}


def opened(place: Place, tree: str, version: str) -> Case:
    """Return the case of a call from `place` at its first question."""
    return fold([Started(tree, version, "agent", place.units.value)])


def told(case: Case, place: Place, machine: Machine) -> Case:
    """Return the case with the license, the machine and the temperatures told."""
    known: dict[str, float | str] = {
        "caller_qualification": "licensed",
        **({"machine": machine.id} if place.is_on_file else {}),
        "refrigerant": machine.refrigerant,
        "condenser_kind": machine.condenser.kind.value,
        **{key: place.kelvin(key) for key in place.temperatures},
    }
    return fold([Answered(key, "", value) for key, value in known.items()], case)


def all_findings(content: Content, caller: SimulatedCaller, case: Case) -> dict[str, Finding]:
    """Return what every reading would say, asked or not, none missing, judged in `case`.

    The confirming test is left out unless it was asked for: nobody tries it unasked.
    """
    answers = []
    for reading in content.readings.values():
        if reading.id == TRIED and TRIED not in caller.told:
            continue
        reply = read_reply(
            caller.answer_with_all(reading.id), reading, system=caller.units,
            machines=content.machines,
        )  # fmt: skip
        if isinstance(reply, Value):
            minute = reading.default_minute
            minute_s = None if minute is None else 60.0 * minute
            answers.append(Answered(reading.id, "", reply.value, minute_s=minute_s))
    case = fold(answers, case)
    found = {answer.reading: finding_of(content, case, answer.reading) for answer in answers}
    return {key: item for key, item in found.items() if item is not None}


def is_plain(content: Content, caller: SimulatedCaller, case: Case) -> bool:
    """Return whether a perfect instrument or a good look would find anything at all.

    `case` has machine and temperatures told. A fault that shows nowhere is one nobody calls about.
    """
    if supply_share(caller.fault.cause, caller.fault.severity) < 0.85:
        return True
    if coil_resistance_ohm(caller.sight) != caller.machine.electrical.coil_resistance_ohm:
        return True
    for reading_id in (*INSTRUMENT_LIMITS, "water_inlet_temperature"):
        if reading_id not in content.readings:
            continue
        moment_s = DEFAULT_MOMENT_S.get(reading_id)
        value = reading_at(caller.cycle, reading_id, moment_s)
        case_with = fold([Answered(reading_id, "", value, minute_s=moment_s)], case)
        finding = finding_of(content, case_with, reading_id)
        if finding is not None and finding.verdict in (Verdict.BELOW, Verdict.ABOVE):
            return True
    for reading_id in LOOKS:
        reading = content.readings.get(reading_id)
        if reading is not None and reading.normal and reading_id != TRIED:
            chances = chances_of(caller.sight, reading_id)
            if sum(chances.get(choice, 0.0) for choice in reading.normal) < 0.5:
                return True
    return False
