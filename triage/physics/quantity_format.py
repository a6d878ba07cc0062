"""A value in SI as the trade would say it: rounded, with the unit of the person who reads it."""

from __future__ import annotations

import math

from triage.physics.pressure import STANDARD_ATMOSPHERE_PA
from triage.physics.units import (
    DAY_S,
    POUND_KG,
    YEAR_S,
    Dimension,
    UnitSystem,
    default_unit_of,
    unit_of,
)


def format_quantity(
    si_value: float,
    dimension: Dimension,
    system: UnitSystem,
    barometric_pressure_pa: float = STANDARD_ATMOSPHERE_PA,
) -> str:
    """Return `si_value` (pressures absolute pascal) rounded and worded as the trade would say it.

    `barometric_pressure_pa` is the local air pressure a gauge counts from.

    >>> format_quantity(528_800.0, Dimension.GAUGE_PRESSURE, UnitSystem.US)
    '62 psig'
    >>> format_quantity(380.0, Dimension.DURATION, UnitSystem.SI)
    '6:20'
    """
    if dimension is Dimension.DURATION:
        return _clock_text(si_value)
    if math.isinf(si_value):
        return "never" if dimension is Dimension.AGE else "OL"
    symbol, decimals = _shown_unit(si_value, dimension, system, barometric_pressure_pa)
    value = unit_of(symbol, dimension).from_si(si_value, barometric_pressure_pa)
    number = _trimmed(value, decimals)
    is_one = dimension is Dimension.AGE and number == "1"
    return f"{number} {symbol.removesuffix('s') if is_one else symbol}"


def format_both(
    si_value: float,
    dimension: Dimension,
    system: UnitSystem,
    barometric_pressure_pa: float = STANDARD_ATMOSPHERE_PA,
) -> str:
    """Return `format_quantity` in `system` with the other system's in parentheses if it differs.

    >>> format_both(528_800.0, Dimension.GAUGE_PRESSURE, UnitSystem.SI)
    '4.3 bar (62 psig)'
    """
    other = UnitSystem.SI if system is UnitSystem.US else UnitSystem.US
    first = format_quantity(si_value, dimension, system, barometric_pressure_pa)
    second = format_quantity(si_value, dimension, other, barometric_pressure_pa)
    return first if first == second else f"{first} ({second})"


def _shown_unit(
    si_value: float, dimension: Dimension, system: UnitSystem, barometric_pressure_pa: float
) -> tuple[str, int]:
    """Return the unit to show a value in and its decimals."""
    is_us = system is UnitSystem.US
    if dimension is Dimension.GAUGE_PRESSURE and is_us:
        is_vacuum = si_value < barometric_pressure_pa - 350.0
        return ("inHg vac", 0) if is_vacuum else ("psig", 0)
    if dimension is Dimension.LENGTH and abs(si_value) >= 1.0:
        return ("ft", 0) if is_us else ("m", 0)
    if dimension is Dimension.LENGTH and is_us:
        return "in", 3  # a bridge is a fraction: 1/8 is 0.125
    if dimension is Dimension.MASS and is_us:
        return ("oz", 1) if 0 < abs(si_value) < POUND_KG else ("lb", 1)
    if dimension is Dimension.MASS:
        return ("g", 0) if 0 < abs(si_value) < 1.0 else ("kg", 1)
    if dimension is Dimension.VOLTAGE:
        return "V", 0 if abs(si_value) >= 100.0 else 1
    if dimension is Dimension.RESISTANCE and si_value >= 1e6:
        return "MΩ", 2
    if dimension is Dimension.RESISTANCE:
        return ("kΩ", 2) if si_value >= 1000.0 else ("Ω", 0 if si_value >= 100.0 else 1)
    usual = default_unit_of(dimension, system)
    match dimension:
        case Dimension.TEMPERATURE | Dimension.WATER_PRESSURE if is_us:
            return usual, 0
        case Dimension.MASS_PER_DAY | Dimension.CONCENTRATION:
            return usual, 0
        case Dimension.VOLUME_PER_MASS if not is_us:
            return usual, 0
        case Dimension.ENERGY_PER_MASS:
            return usual, 2
        case Dimension.VOLUME:
            return usual, 2 if is_us or si_value < 1e-3 else 1
        case Dimension.CURRENT:
            return usual, 2 if abs(si_value) < 10.0 else 1
        case Dimension.AGE:
            return _shown_age(si_value)
        case _:
            return usual, 1


def _shown_age(age_s: float) -> tuple[str, int]:
    """Return the unit people count such an age in, and its decimals."""
    if age_s < 60 * DAY_S:
        return "days", 0
    return ("months", 1) if age_s < 2 * YEAR_S else ("years", 1)


def _trimmed(value: float, decimals: int) -> str:
    text = f"{value:.{decimals}f}"
    if "." in text:
        text = text.rstrip("0").rstrip(".")
    return "0" if text == "-0" else text


def _clock_text(seconds: float) -> str:
    whole = round(seconds)
    hours, rest = divmod(abs(whole), 3600)
    minutes, second = divmod(rest, 60)
    sign = "-" if whole < 0 else ""
    return f"{sign}{hours}:{minutes:02}:{second:02}" if hours else f"{sign}{minutes}:{second:02}"
