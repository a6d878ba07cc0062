"""The rating of a machine on file, beside its band table: what it makes, and what it may use."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from triage.physics.machine import Conditions, Machine
from triage.physics.quantity import Dimension, UnitSystem, default_unit_of, format_quantity
from triage.physics.rated import Published, published, rated_production_kg_per_s, site_factor
from triage.physics.rating import RATING_AIR_K, RATING_WATER_K, RATING_WATER_PRESSURE_PA
from triage.physics.units import unit_of

RULE = "10 CFR 431.136"
_ALL_MAXIMA = (
    "energy_use", "energy_use_if_made_2010_to_2018", "condenser_water_use"
)  # fmt: skip


def rating_lines(machine: Machine, conditions: Conditions, system: UnitSystem) -> Iterator[str]:
    """Yield what `machine` makes at rating conditions and here, and what the law lets it use."""
    air, water = (
        format_quantity(kelvin, Dimension.TEMPERATURE, system)
        for kelvin in (RATING_AIR_K, RATING_WATER_K)
    )
    rated = rated_production_kg_per_s(machine)
    there = format_quantity(rated, Dimension.MASS_PER_DAY, system)
    line = f"Rating by the model, {air} air and {water} water (AHRI 810): {there}"
    factor = site_factor(machine, conditions)
    if factor is not None:
        here = format_quantity(factor * rated, Dimension.MASS_PER_DAY, system)
        line += f"; at the conditions above {here}, {factor:.2f} times as much"
    yield line
    limits = published(machine)
    if limits is None:
        return
    energy = format_quantity(limits.energy_j_per_kg, Dimension.ENERGY_PER_MASS, system)
    line = f"Published maximum for it, {limits.words} ({RULE}, at rating conditions): {energy}"
    if limits.older_energy_j_per_kg is not None:
        older = format_quantity(limits.older_energy_j_per_kg, Dimension.ENERGY_PER_MASS, system)
        line += f", made from 2010 to 2018 {older}"
    if limits.condenser_water_m3_per_kg is not None:
        water = format_quantity(limits.condenser_water_m3_per_kg, Dimension.VOLUME_PER_MASS, system)
        line += f"; condenser water {water}"
    yield line


def rating_data(machine: Machine, conditions: Conditions, system: UnitSystem) -> dict[str, Any]:
    """Return the same as JSON-ready data, amounts in the units of `system`."""
    rated, factor = rated_production_kg_per_s(machine), site_factor(machine, conditions)
    limits = published(machine)
    return {
        "standard": "AHRI 810",
        "air": _amount(RATING_AIR_K, Dimension.TEMPERATURE, system),
        "water": _amount(RATING_WATER_K, Dimension.TEMPERATURE, system),
        "water_pressure": _amount(RATING_WATER_PRESSURE_PA, Dimension.WATER_PRESSURE, system),
        "ice_production": _amount(rated, Dimension.MASS_PER_DAY, system),
        "ice_production_here": (
            None if factor is None else _amount(factor * rated, Dimension.MASS_PER_DAY, system)
        ),
        "factor_here": None if factor is None else round(factor, 4),
        "published_maximum": None if limits is None else _maxima(limits, system),
    }


def _maxima(limits: Published, system: UnitSystem) -> dict[str, Any]:
    values = (
        (limits.energy_j_per_kg, Dimension.ENERGY_PER_MASS),
        (limits.older_energy_j_per_kg, Dimension.ENERGY_PER_MASS),
        (limits.condenser_water_m3_per_kg, Dimension.VOLUME_PER_MASS),
    )
    return {
        "source": RULE,
        "equipment": limits.equipment.value,
        "cooling": limits.cooling.value,
        **{
            key: None if value is None else _amount(value, dimension, system)
            for key, (value, dimension) in zip(_ALL_MAXIMA, values, strict=True)
        },
    }


def _amount(si_value: float, dimension: Dimension, system: UnitSystem) -> dict[str, Any]:
    symbol = default_unit_of(dimension, system)
    value = unit_of(symbol, dimension).from_si(si_value, 0.0)
    return {"value": round(value, 3), "unit": symbol}
