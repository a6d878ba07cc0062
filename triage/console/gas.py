"""`triage gas`: saturation, superheat, subcooling and discharge temperature of a refrigerant."""

from __future__ import annotations

import argparse
import json
import sys
from collections.abc import Iterator
from dataclasses import dataclass

from triage.console.asked import UsageError, altitude_m, quantity_si
from triage.console.screen import screen_of
from triage.physics.compression import (
    compression_ratio,
    discharge_temperature_k,
    subcooling_k,
    superheat_k,
)
from triage.physics.errors import NotSubcooled, NotSuperheated, OutOfRange
from triage.physics.pressure import barometric_pressure_pa
from triage.physics.quantity import (
    Dimension,
    UnitSystem,
    default_unit_of,
    format_quantity,
)
from triage.physics.refrigerant import REFRIGERANTS, find_refrigerant
from triage.physics.tables import Fluid, fluid
from triage.physics.units import unit_of

_RETURN_GAS_SUPERHEAT_K = 5.0
"""Superheat taken where no suction line temperature is given; said so in the answer (judged)."""


@dataclass(frozen=True, slots=True)
class Figure:
    """One line of the answer: a key for programs, words for people, SI value and its dimension."""

    key: str
    words: str
    value: float
    dimension: Dimension | None


def print_gas(options: argparse.Namespace) -> int:
    """Print what the options ask of a refrigerant; raises PhysicsError, QuantityError."""
    system = UnitSystem(options.units or "us")
    barometer_pa = barometric_pressure_pa(altitude_m(options.altitude))
    refrigerant = REFRIGERANTS[find_refrigerant(options.refrigerant).id]
    try:
        figures = list(_figures(options, fluid(refrigerant.id), system, barometer_pa))
        exact = (
            list(_figures(options, _exact(refrigerant.id), system, barometer_pa))
            if (options.exact and figures)
            else []
        )
    except OutOfRange as error:
        raise UsageError(out_of_range_words(error, system, barometer_pa)) from error
    if not figures:
        raise UsageError(
            "say what is known: --pressure, --temperature, or --suction with --discharge"
        )
    if options.json:
        json.dump(
            {
                "refrigerant": refrigerant.id,
                "safety_class": refrigerant.safety_class,
                "barometric_pressure_pa": round(barometer_pa, 1),
                **{item.key: _plain(item, system, barometer_pa) for item in figures},
                **(
                    {"coolprop": {item.key: _plain(item, system, barometer_pa) for item in exact}}
                    if exact
                    else {}
                ),
            },
            sys.stdout,
            indent=2,
        )
        sys.stdout.write("\n")
        return 0
    console = screen_of(options)
    console.print(f"{refrigerant.id}, ASHRAE 34 safety class {refrigerant.safety_class}")
    width = max(len(item.words) for item in figures)
    for number, item in enumerate(figures):
        line = f"  {item.words:<{width}}  {_shown(item, system, barometer_pa)}"
        if exact:
            line += f"  CoolProp {_difference(exact[number], item)}"
        console.print(line)
    return 0


def out_of_range_words(error: OutOfRange, system: UnitSystem, barometer_pa: float) -> str:
    """Return what `error` says in the units of `system`, pressures as a gauge shows them.

    >>> error = OutOfRange("bubble pressure of R-290", 9e6, 2e4, 4e6, "Pa absolute")
    >>> out_of_range_words(error, UnitSystem.SI, 101_325.0)
    'bubble pressure of R-290 is 89 bar gauge, outside -0.8 to 39 bar gauge. Check the reading and \
its unit.'
    """
    if error.unit == "Pa absolute":
        dimension = Dimension.GAUGE_PRESSURE
    elif error.unit == "K":
        is_difference = "super" in error.quantity or "subcool" in error.quantity
        dimension = Dimension.TEMPERATURE_DIFFERENCE if is_difference else Dimension.TEMPERATURE
    else:
        return str(error)
    value, least, greatest = (
        _worded(item, dimension, system, barometer_pa)
        for item in (error.value, error.least, error.greatest)
    )
    quantity = error.quantity
    if isinstance(error, (NotSuperheated, NotSubcooled)) and error.value < error.least:
        return f"{quantity} is {value}, below {least}. {error.mend}"
    number, _, unit = least.partition(" ")
    span = number if greatest.partition(" ")[2] == unit else least
    return f"{quantity} is {value}, outside {span} to {greatest}. {error.mend}"


def _worded(value: float, dimension: Dimension, system: UnitSystem, barometer_pa: float) -> str:
    words = format_quantity(value, dimension, system, barometer_pa)
    return f"{words} gauge" if words.endswith(" bar") else words


def _figures(
    options: argparse.Namespace, gas: Fluid, system: UnitSystem, barometer_pa: float
) -> Iterator[Figure]:
    def pressure(text: str) -> float:
        return quantity_si(text, Dimension.GAUGE_PRESSURE, system, barometer_pa)

    def temperature(text: str) -> float:
        return quantity_si(text, Dimension.TEMPERATURE, system, barometer_pa)

    if options.pressure:
        p_pa = pressure(options.pressure)
        yield Figure("dew_temperature", "dew point (suction, vapor)",
                     gas.dew_temperature_k(p_pa), Dimension.TEMPERATURE)  # fmt: skip
        yield Figure("bubble_temperature", "bubble point (liquid line)",
                     gas.bubble_temperature_k(p_pa), Dimension.TEMPERATURE)  # fmt: skip
    if options.temperature:
        t_k = temperature(options.temperature)
        yield Figure("dew_pressure", "dew pressure (vapor)",
                     gas.dew_pressure_pa(t_k), Dimension.GAUGE_PRESSURE)  # fmt: skip
        yield Figure("bubble_pressure", "bubble pressure (liquid)",
                     gas.bubble_pressure_pa(t_k), Dimension.GAUGE_PRESSURE)  # fmt: skip
    suction_pa = pressure(options.suction) if options.suction else None
    discharge_pa = pressure(options.discharge) if options.discharge else None
    superheat = None
    if suction_pa is not None:
        yield Figure("suction_dew_temperature", "suction saturation (dew)",
                     gas.dew_temperature_k(suction_pa), Dimension.TEMPERATURE)  # fmt: skip
        if options.suction_temperature:
            superheat = superheat_k(gas, suction_pa, temperature(options.suction_temperature))
            yield Figure(
                "superheat", "suction superheat", superheat, Dimension.TEMPERATURE_DIFFERENCE
            )
    if discharge_pa is not None:
        yield Figure("discharge_bubble_temperature", "discharge saturation (bubble)",
                     gas.bubble_temperature_k(discharge_pa), Dimension.TEMPERATURE)  # fmt: skip
        if options.liquid_temperature:
            yield Figure(
                "subcooling", "liquid subcooling",
                subcooling_k(gas, discharge_pa, temperature(options.liquid_temperature)),
                Dimension.TEMPERATURE_DIFFERENCE,
            )  # fmt: skip
    if suction_pa is not None and discharge_pa is not None:
        efficiency = _efficiency(options.efficiency)
        taken = _RETURN_GAS_SUPERHEAT_K if superheat is None else superheat
        worded = format_quantity(taken, Dimension.TEMPERATURE_DIFFERENCE, system)
        assumed = "" if superheat is not None else f", {worded} superheat assumed"
        yield Figure(
            "compression_ratio", "compression ratio",
            compression_ratio(suction_pa, discharge_pa), None,
        )  # fmt: skip
        for key, words, share in (
            ("discharge_temperature_ideal", "discharge gas, ideal compressor", 1.0),
            ("discharge_temperature", f"discharge gas at {efficiency:.0%} efficiency", efficiency),
        ):
            yield Figure(
                key, words + assumed,
                discharge_temperature_k(gas, suction_pa, taken, discharge_pa, share),
                Dimension.TEMPERATURE,
            )  # fmt: skip


def _efficiency(text: str) -> float:
    try:
        value = float(text.strip().rstrip("%")) / (100.0 if "%" in text else 1.0)
    except ValueError:
        value = 0.0
    if not 0.3 <= value <= 1.0:
        raise UsageError(f'--efficiency "{text}" is not between 0.3 and 1; try 0.65')
    return value


def _exact(refrigerant_id: str) -> Fluid:
    from triage.physics.exact import exact_fluid  # brings CoolProp, 1.8 s

    return exact_fluid(refrigerant_id)


def _shown(item: Figure, system: UnitSystem, barometer_pa: float) -> str:
    """Return a figure one decimal finer than a gauge shows, in both systems."""
    if item.dimension is None:
        return f"{item.value:.2f}"
    other = UnitSystem.SI if system is UnitSystem.US else UnitSystem.US
    shown = []
    for each in (system, other):
        unit = default_unit_of(item.dimension, each)
        value = unit_of(unit, item.dimension).from_si(item.value, barometer_pa)
        shown.append(f"{value:.{2 if unit == 'bar' else 1}f} {unit}")
    return f"{shown[0]} ({shown[1]})"


def _difference(exact: Figure, item: Figure) -> str:
    difference = exact.value - item.value
    if item.dimension is Dimension.GAUGE_PRESSURE:
        return f"{difference:+.1f} Pa"
    if item.dimension is None:
        return f"{difference:+.6f}"
    return f"{1000.0 * difference:+.2f} mK"


def _plain(item: Figure, system: UnitSystem, barometer_pa: float) -> dict[str, float | str]:
    if item.dimension is None:
        return {"value": round(item.value, 3), "unit": "1"}
    unit = default_unit_of(item.dimension, system)
    value = unit_of(unit, item.dimension).from_si(item.value, barometer_pa)
    return {"value": round(value, 3), "unit": unit, "si_value": item.value}
