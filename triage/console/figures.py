"""Quantities, and what a band rests on, as the console words them."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import replace

from triage.physics.bands import Band, Basis, BasisKind, basis_words
from triage.physics.machine import CondenserKind
from triage.physics.quantity import Dimension, UnitSystem, format_quantity

CONDENSER_WORDS = {
    CondenserKind.REMOTE_AIR: "remote air-cooled",
    CondenserKind.AIR: "air-cooled",
    CondenserKind.WATER: "water-cooled",
}

TELLS_NOTHING_IF_GENERIC = frozenset({"batch_ice_mass", "harvest_time", "ice_production"})
"""Readings that go with a machine's size: their band for a typical machine is too wide to use."""

AIR, WATER = "ambient_air_temperature", "water_inlet_temperature"
"""Conditions that may be unknown; a band then covers the machine's whole range of them."""

_USUAL_LIMITS = "usual limits of such machines"


def other_system(system: UnitSystem) -> UnitSystem:
    """Return the system of units that is not `system`."""
    return UnitSystem.SI if system is UnitSystem.US else UnitSystem.US


def between(
    band: Band, dimension: Dimension, system: UnitSystem, barometric_pressure_pa: float
) -> str:
    """Return the limits of a band, the unit once where both have the same: `66 to 80 psig`."""
    low, high = (
        format_quantity(limit, dimension, system, barometric_pressure_pa)
        for limit in (band.low, band.high)
    )
    if low == high:
        return low
    low_number, _, low_unit = low.partition(" ")
    if low_unit == high.partition(" ")[2]:
        return f"{low_number} to {high}"
    return f"{low} to {high}"


def at_any_minute(band: Band) -> Band:
    """Return `band` without the moment it holds for, so that bands can share one basis."""
    return replace(band, basis=replace(band.basis, minute_s=None))


def basis_of(
    band: Band,
    reading_id: str,
    system: UnitSystem,
    *,
    is_on_file: bool = True,
    unknown: Collection[str] = (),
) -> str:
    """Return what `band` rests on.

    `is_on_file`: the machine itself is on file, else a typical one stands in for it. `unknown`:
    those of AIR and WATER that nobody could tell.
    """
    basis = band.basis
    if reading_id.endswith("coil_voltage") and band.centre > 0.0:
        low, high = (round(100.0 * limit / band.centre) for limit in (band.low, band.high))
        rated = format_quantity(band.centre, Dimension.VOLTAGE, system)
        return f"{low} to {high} % of the rated {rated}"
    if reading_id == "coil_resistance" and basis.words == "about the rated resistance":
        return "about the resistance in this machine's file"
    if basis.kind is BasisKind.MACHINE_FILE and not is_on_file:
        return _USUAL_LIMITS
    lead = ""
    if basis.kind is BasisKind.ADAPTED:
        kind = f"{CONDENSER_WORDS[basis.condenser_kind]} " if basis.condenser_kind else ""
        lead = (
            f"this machine's file worked over for {basis.refrigerant}; "
            if is_on_file
            else f"a typical {kind}machine on {basis.refrigerant}; yours is not on file; "
        )
        basis = replace(basis, kind=BasisKind.MODEL)
    return f"{lead}{_with_any(basis, system, unknown)}"


def _with_any(basis: Basis, system: UnitSystem, unknown: Collection[str]) -> str:
    """Return the words of a basis that names the one condition that is not known as any."""
    place = basis.conditions
    if not basis.is_any_condition or place is None or len(unknown) != 1:
        return basis_words(basis, system)
    words = basis_words(replace(basis, is_any_condition=False), system)
    kelvin, noun, any_words = (
        (place.ambient_air_temperature_k, "air", "any air temperature within its limits")
        if AIR in unknown
        else (place.water_inlet_temperature_k, "water", "any inlet water within its limits")
    )
    corner = format_quantity(round(kelvin, 2), Dimension.TEMPERATURE, system)
    return words.replace(f"{corner} {noun}", any_words, 1)
