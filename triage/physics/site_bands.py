"""Bands that need no run of the model: coils and supply by standards, water and upkeep by practice.

The data plate, the maker's instructions and local codes come before all of them.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from types import MappingProxyType

from triage.physics import electrical
from triage.physics.band import Band, Basis, BasisKind, Beside
from triage.physics.errors import PhysicsError
from triage.physics.machine import Machine
from triage.physics.rating import (
    RATING_WATER_PRESSURE_PA,
    WATER_DENSITY_KG_PER_M3,
)
from triage.physics.units import PSI_PA, YEAR_S, Dimension

FILL_SHARE = 0.15
"""How far the water of one fill may be from the machine file's charge [-]; judged: float or timer
as set, and a bucket for a measure."""

_SIX_MONTHS = (
    "common practice, no source: about every six months, sooner where water is hard or air is "
    "greasy; the maker's interval wins"
)

_HIGHEST: Mapping[str, tuple[float, str]] = MappingProxyType({
    # USGS calls water above 180 mg/L as CaCO3 very hard, from memory.
    "water_hardness": (0.200, "judged: harder water scales and clouds ice early"),
    # 40 CFR 143.3, the secondary standard for drinking water, 500 mg/L: from memory.
    "total_dissolved_solids": (0.500, "judged, about what drinking water should stay below"),
    "cleaning_age": (YEAR_S / 2, _SIX_MONTHS),
    "filter_age": (YEAR_S / 2, _SIX_MONTHS),
})  # fmt: skip
"""The most of what has no least, in SI, and on what it rests."""

SITE_READINGS = frozenset(_HIGHEST) | {
    "coil_voltage",
    "coil_resistance",
    "inlet_coil_voltage",
    "inlet_coil_resistance",
    "supply_voltage",
    "water_supply_pressure",
    "fill_volume",
}
"""Every reading `site_band` has a band for."""

LEAST_SUPPLY_PRESSURE_PA, GREATEST_SUPPLY_PRESSURE_PA = 20.0 * PSI_PA, 80.0 * PSI_PA
"""Water pressure an inlet valve works with [Pa gauge]; common practice, no source."""


def practice_band(reading_id: str) -> Band | None:
    """Return the band of a reading that is judged alike on every machine, None for any other.

    Water supply pressure [Pa gauge], hardness and dissolved solids [kg/m3], time since cleaning or
    a filter change [s]. None of them rests on a standard for ice machines.

    >>> band = practice_band("cleaning_age")
    >>> band.low, round(band.high / 86_400)
    (0.0, 182)
    """
    if reading_id == "water_supply_pressure":
        low, high = LEAST_SUPPLY_PRESSURE_PA, GREATEST_SUPPLY_PRESSURE_PA
        rated = Beside(
            "machines are rated at {} (AHRI 810)",
            ((RATING_WATER_PRESSURE_PA, Dimension.WATER_PRESSURE),),
        )
        basis = Basis(BasisKind.STANDARD, words="common practice, no source", beside=(rated,))
        return Band(low, high, 0.5 * (low + high), basis)
    if reading_id not in _HIGHEST:
        return None
    high, words = _HIGHEST[reading_id]
    return Band(0.0, high, 0.5 * high, Basis(BasisKind.STANDARD, words=words))


def coil_voltage_band(nominal_v: float) -> Band:
    """Return the voltage [V] at which a coil of nominal voltage `nominal_v` [V] must work.

    Raises UnknownNominalVoltage for a nominal voltage no table covers.
    """
    found = electrical.coil_band(nominal_v)
    basis = Basis(BasisKind.STANDARD, words=found.basis)
    return Band(found.low_v, found.high_v, nominal_v, basis)


def coil_resistance_band(nominal_v: float, rated_ohm: float | None = None) -> Band:
    """Return the plausible resistance [ohm] of a coil, from its plate or from its nominal voltage.

    Raises UnknownNominalVoltage, or OutOfRange for a rated resistance that is not positive.
    """
    low, high, words = electrical.coil_resistance_band(nominal_v, rated_ohm)
    centre = math.sqrt(low * high) if rated_ohm is None else rated_ohm
    return Band(low, high, centre, Basis(BasisKind.STANDARD, words=words))


def supply_voltage_band(plate_v: float) -> Band:
    """Return the supply [V] that is in order at a machine whose data plate says `plate_v` [V].

    Raises UnknownNominalVoltage for a voltage that belongs to no system a table covers.

    >>> band = supply_voltage_band(115.0)
    >>> band.low, band.centre, band.high
    (108.0, 120.0, 126.0)
    """
    nominal_v = electrical.system_voltage_v(plate_v)
    found = electrical.supply_band(nominal_v)
    basis = Basis(BasisKind.STANDARD, words=f"{found.basis}, nominal {nominal_v:g} V")
    return Band(found.low_v, found.high_v, nominal_v, basis)


def fill_volume_band(machine: Machine) -> Band:
    """Return the water [m3] that one fill of `machine` takes.

    Raises PhysicsError for a machine that is not on file.
    """
    if machine.is_generic:
        raise PhysicsError("How much water one fill takes is known of a machine on file alone.")
    centre = machine.evaporator.water_charge_kg / WATER_DENSITY_KG_PER_M3
    basis = Basis(
        BasisKind.STANDARD,
        machine.name,
        words=f"the water charge in this machine's file, within {100 * FILL_SHARE:.0f} %",
    )
    return Band((1.0 - FILL_SHARE) * centre, (1.0 + FILL_SHARE) * centre, centre, basis)


def site_band(machine: Machine, reading_id: str) -> Band | None:
    """Return the band of what is measured around `machine`; None where the model has to be run.

    Coils and supply are taken as rated in the machine's file. Raises UnknownNominalVoltage,
    OutOfRange and PhysicsError as the bands above.
    """
    wiring = machine.electrical
    match reading_id:
        case "coil_voltage" | "inlet_coil_voltage":
            return coil_voltage_band(wiring.coil_nominal_voltage_v)
        case "coil_resistance":
            rated_ohm = None if machine.is_generic else wiring.coil_resistance_ohm
            return coil_resistance_band(wiring.coil_nominal_voltage_v, rated_ohm)
        case "inlet_coil_resistance":  # the file's resistance is that of the harvest coil
            return coil_resistance_band(wiring.coil_nominal_voltage_v)
        case "supply_voltage":
            return supply_voltage_band(wiring.supply_voltage_v)
        case "fill_volume":
            return fill_volume_band(machine)
        case _:
            return practice_band(reading_id)
