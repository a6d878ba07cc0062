"""A machine on file at rating conditions: what it makes there, and what the law lets it use.

A rated production holds at 90 °F air and 70 °F water. On a site it goes with the model, as the
ratio of what the machine makes there to what it makes at rating conditions.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

from triage.physics.band import Beside
from triage.physics.errors import PhysicsError
from triage.physics.ice_maker_limits import (
    Cooling,
    Equipment,
    Paragraph,
    condenser_water_limit_gal_per_100_lb,
    energy_limit_kwh_per_100_lb,
)
from triage.physics.machine import CondenserKind, Conditions, Machine
from triage.physics.rating import RATING_CONDITIONS, water_use_m3_per_kg
from triage.physics.units import DAY_S, POUND_KG, Dimension, unit_of
from triage.physics.virtual_machine import Cycle, reading_at, run_cycle

EQUIPMENT_WORDS = {
    Equipment.HEAD: "ice-making head",
    Equipment.REMOTE: "machine with a remote condenser",
    Equipment.REMOTE_COMPRESSOR: "machine with remote condenser and compressor",
    Equipment.SELF_CONTAINED: "self-contained machine",
}
"""How a sentence calls a machine of each build."""


@dataclass(frozen=True, slots=True)
class Published:
    """What 10 CFR 431.136 lets a machine use for its ice at rating conditions.

    `energy_j_per_kg` holds for batch machines made from 2018-01-28 on, `older_energy_j_per_kg` for
    those made from 2010 to then, None for a size that rule did not cover.
    `condenser_water_m3_per_kg` is None for a machine cooled by air.
    """

    equipment: Equipment
    cooling: Cooling
    energy_j_per_kg: float
    older_energy_j_per_kg: float | None
    condenser_water_m3_per_kg: float | None

    @property
    def words(self) -> str:
        """The build as a sentence says it: `air-cooled ice-making head`."""
        return f"{self.cooling}-cooled {EQUIPMENT_WORDS[self.equipment]}"


@lru_cache(maxsize=64)
def rated_cycle(machine: Machine) -> Cycle:
    """Return the healthy cycle of `machine` at rating conditions."""
    return run_cycle(machine, RATING_CONDITIONS)


def rated_production_kg_per_s(machine: Machine) -> float:
    """Return what a healthy `machine` makes at rating conditions [kg/s], by the model."""
    return reading_at(rated_cycle(machine), "ice_production")


@lru_cache(maxsize=256)
def site_factor(machine: Machine, conditions: Conditions) -> float | None:
    """Return what `machine` makes at `conditions` over what it makes at rating conditions [-].

    A production from a data sheet, times this, is what to expect on the site. None for a machine
    file by which it makes nothing at rating conditions.
    """
    rated = rated_production_kg_per_s(machine)
    here = reading_at(run_cycle(machine, conditions), "ice_production")
    return here / rated if rated > 0.0 else None


def equipment_of(machine: Machine) -> Equipment:
    """Return how a machine is built, in the words of the rule."""
    if machine.condenser.kind is CondenserKind.REMOTE_AIR:
        return Equipment.REMOTE
    return Equipment.SELF_CONTAINED if machine.is_self_contained else Equipment.HEAD


def published(machine: Machine) -> Published | None:
    """Return what the law lets `machine` use, by its own rated production.

    None for a machine that is not on file, whose size nobody knows, or of a size without limits.
    """
    if machine.is_generic:
        return None
    pounds = rated_production_kg_per_s(machine) * DAY_S / POUND_KG
    equipment = equipment_of(machine)
    is_water = machine.condenser.kind is CondenserKind.WATER
    cooling = Cooling.WATER if is_water else Cooling.AIR
    kwh = unit_of("kWh/100 lb", Dimension.ENERGY_PER_MASS).factor
    gallons = unit_of("gal/100 lb", Dimension.VOLUME_PER_MASS).factor
    try:
        energy = kwh * energy_limit_kwh_per_100_lb(equipment, cooling, pounds)
    except PhysicsError:
        return None
    try:
        older = kwh * energy_limit_kwh_per_100_lb(equipment, cooling, pounds, Paragraph.CUBE_2010)
    except PhysicsError:
        older = None
    water = gallons * condenser_water_limit_gal_per_100_lb(equipment, pounds) if is_water else None
    return Published(equipment, cooling, energy, older, water)


def told_beside(machine: Machine, reading_id: str) -> tuple[Beside, ...]:
    """Return the published figures to lay beside the band of energy or water for the ice."""
    found = published(machine)
    if reading_id == "energy_use" and found is not None:
        return (
            Beside(
                "published maximum at rating conditions {} (10 CFR 431.136, "
                f"{found.words} that makes {{}})",
                (
                    (found.energy_j_per_kg, Dimension.ENERGY_PER_MASS),
                    (rated_production_kg_per_s(machine), Dimension.MASS_PER_DAY),
                ),
            ),
        )
    if reading_id != "water_use":
        return ()
    alone = Beside(
        "the ice alone takes {}", ((water_use_m3_per_kg(1.0, 1.0), Dimension.VOLUME_PER_MASS),)
    )
    if found is None or found.condenser_water_m3_per_kg is None:
        return (alone,)
    condenser = Beside(
        "water for the condenser comes on top, at most {} at rating conditions (10 CFR 431.136)",
        ((found.condenser_water_m3_per_kg, Dimension.VOLUME_PER_MASS),),
    )
    return alone, condenser
