"""Rating arithmetic: what a cycle makes in a day and uses for its ice, and how hard ice is.

Rating conditions are those of AHRI 810 with ASHRAE 29, from memory.
"""

from __future__ import annotations

from triage.physics.errors import OutOfRange, require_not_negative, require_positive
from triage.physics.ice import FREEZING_POINT_K
from triage.physics.machine import Conditions
from triage.physics.units import DAY_S, POUND_KG, PSI_PA

RATING_AIR_K = (90.0 + 459.67) / 1.8
"""Air at the machine and at its condenser [K]: 90 °F."""

RATING_WATER_K = (70.0 + 459.67) / 1.8
"""Inlet water [K]: 70 °F."""

RATING_WATER_PRESSURE_PA = 30.0 * PSI_PA
"""Inlet water pressure [Pa gauge]: 30 psig, within 3."""

RATING_CONDITIONS = Conditions(
    ambient_air_temperature_k=RATING_AIR_K,
    condenser_air_temperature_k=RATING_AIR_K,
    water_inlet_temperature_k=RATING_WATER_K,
)
"""Where a machine's stated production, energy and water hold, at sea level."""

WATER_DENSITY_KG_PER_M3 = 999.0
"""Density of tap water at 15.6 °C [kg/m3]; IAPWS-95. 8.34 lb to the US gallon."""

JOULES_PER_KWH = 3.6e6

_RULE_LATENT_BTU_PER_LB = 144.0
_RULE_SENSIBLE_BTU_PER_LB = 38.0
_BTU_PER_LB_F_TO_SI = 4_186.8
_BTU_PER_LB_TO_SI = 2_326.0


def production_kg_per_day(batch_kg: float, freeze_s: float, harvest_s: float) -> float:
    """Return the ice made in 24 h [kg] from the batch mass [kg] and the two cycle times [s].

    Source: AHRI 810 with ASHRAE 29, batch mass times the cycles in a day.

    >>> pounds = production_kg_per_day(7.5 * POUND_KG, 660.0, 90.0) / POUND_KG
    >>> round(pounds, 3)
    864.0
    """
    require_not_negative("batch mass", batch_kg, "kg")
    cycle_s = require_positive("cycle time", freeze_s + harvest_s, "s")
    return batch_kg * DAY_S / cycle_s


def energy_kwh_per_100_lb(energy_j: float, batch_kg: float) -> float:
    """Return the energy rate [kWh per 100 lb of ice] from one cycle's energy [J] and batch [kg].

    Source: AHRI 810 and 10 CFR 431.134, 100 times energy per cycle over batch mass in pounds.

    >>> round(energy_kwh_per_100_lb(0.35 * JOULES_PER_KWH, 7.5 * POUND_KG), 3)
    4.667
    """
    require_not_negative("energy", energy_j, "J")
    require_positive("batch mass", batch_kg, "kg")
    return 100.0 * (energy_j / JOULES_PER_KWH) / (batch_kg / POUND_KG)


def water_use_m3_per_kg(filled_kg: float, batch_kg: float) -> float:
    """Return the drinking water [m3] that goes in for each kg of ice, drained water included.

    `filled_kg` is all water of one cycle [kg], without the condenser's, as AHRI 810 counts it. With
    no more water than ice it is the ice alone, about 12 US gallons for 100 lb.

    >>> alone = water_use_m3_per_kg(3.0, 3.0)
    >>> round(100.0 * POUND_KG * alone / 3.785411784e-3, 1)
    12.0
    """
    require_not_negative("water filled in", filled_kg, "kg")
    require_positive("batch mass", batch_kg, "kg")
    return filled_kg / WATER_DENSITY_KG_PER_M3 / batch_kg


def calorimeter_hardness_percent(
    water_kg: float, water_k: float, ice_kg: float, mixed_k: float
) -> float:
    """Return the hardness of ice [% of 144 Btu/lb] from a calorimeter, its vessel neglected.

    `water_kg` [kg] at `water_k` [K] melts `ice_kg` [kg] and both end at `mixed_k` [K]. Soft ice
    holds water already and cools less. Raises OutOfRange unless something cooled down.
    Source: ASHRAE 29 annex A as called by 10 CFR 431.134(b)(2), from memory: air 70 °F, water 90 °F
    at the start, one Btu for a pound of water and a degree.

    >>> round(calorimeter_hardness_percent(13.61, 305.372, 2.722, 291.206), 1)
    66.0
    """
    require_positive("water", water_kg, "kg")
    require_positive("ice", ice_kg, "kg")
    given_k = require_positive("cooling of the water", water_k - mixed_k, "K")
    taken_k = require_not_negative("warming of the melt", mixed_k - FREEZING_POINT_K, "K")
    melting_j = _BTU_PER_LB_F_TO_SI * (water_kg * given_k - ice_kg * taken_k)
    return 100.0 * melting_j / (ice_kg * _RULE_LATENT_BTU_PER_LB * _BTU_PER_LB_TO_SI)


def hardness_adjustment(hardness_percent: float) -> float:
    """Return the factor by which energy and water use of *continuous* ice are multiplied.

    `hardness_percent` is the calorimeter result [% of 144 Btu/lb]; batch ice is taken as 100 and
    reported as measured. Raises OutOfRange outside (0, 110].
    Source: 10 CFR 431.134(b)(2), the equation from memory: (144 + 38) / (144 hardness + 38).

    >>> round(hardness_adjustment(70.0), 4)
    1.3112
    """
    if not 0.0 < hardness_percent <= 110.0:
        raise OutOfRange("ice hardness", hardness_percent, 0.0, 110.0, "%")
    full = _RULE_LATENT_BTU_PER_LB + _RULE_SENSIBLE_BTU_PER_LB
    return full / (_RULE_LATENT_BTU_PER_LB * hardness_percent / 100.0 + _RULE_SENSIBLE_BTU_PER_LB)
