"""Ice and water: what they hold, how fast ice grows, what a batch costs and yields."""

from __future__ import annotations

import math
from enum import Enum

from triage.physics.errors import require_not_negative, require_positive

FREEZING_POINT_K = 273.15
"""Freezing point of water at one atmosphere [K]; tap water's salts lower it by under 0.05 K."""

LATENT_HEAT_J_PER_KG = 333_430.0
"""Heat of fusion of ice at 0 °C and one atmosphere [J/kg]; IAPWS-06 ice with IAPWS-95 water."""

ICE_DENSITY_KG_PER_M3 = 916.7
"""Density of clear ice at 0 °C [kg/m3]; IAPWS-06."""

ICE_HEAT_CAPACITY_J_PER_KG_K = 2_060.0
"""Specific heat of ice between 0 °C and -10 °C [J/(kg K)], the mean of 2097 and 2023; IAPWS-06."""

ICE_CONDUCTIVITY_W_PER_M_K = 2.22
"""Thermal conductivity of ice near 0 °C [W/(m K)]; handbooks give 2.2 to 2.24, from memory."""

WATER_HEAT_CAPACITY_J_PER_KG_K = 4_195.0
"""Specific heat of water between 0 °C and 20 °C [J/(kg K)], the middle value; IAPWS-95."""


class Shape(Enum):
    """Shape factors P and R of Plank's equation; the length is the thickness or the diameter.

    Source: R. Plank, 1913, as given in food-engineering textbooks (Singh and Heldman).
    """

    SLAB = (1.0 / 2.0, 1.0 / 8.0)
    CYLINDER = (1.0 / 4.0, 1.0 / 16.0)
    SPHERE = (1.0 / 6.0, 1.0 / 24.0)


def plank_freezing_time_s(
    shape: Shape,
    length_m: float,
    density_kg_per_m3: float,
    latent_heat_j_per_kg: float,
    freezing_point_k: float,
    surroundings_k: float,
    film_w_per_m2_k: float,
    conductivity_w_per_m_k: float,
) -> float:
    """Return the time [s] a body at its freezing point takes to freeze through from all sides.

    `length_m` is the thickness of a slab or the diameter [m], `film_w_per_m2_k` the surface
    conductance [W/(m2 K)], temperatures are in K. Sensible heat is left out, as in the original.
    Raises OutOfRange unless the surroundings are colder than the freezing point and all else is
    positive. Source: Plank's equation, Singh and Heldman, Introduction to Food Engineering.

    >>> t = plank_freezing_time_s(Shape.SPHERE, 0.07, 1000.0, 250e3, 271.9, 233.15, 50.0, 1.2)
    >>> round(t / 3600.0, 2)
    0.72
    """
    for name, value, unit in (
        ("length", length_m, "m"),
        ("density", density_kg_per_m3, "kg/m3"),
        ("latent heat", latent_heat_j_per_kg, "J/kg"),
        ("film conductance", film_w_per_m2_k, "W/(m2 K)"),
        ("conductivity", conductivity_w_per_m_k, "W/(m K)"),
    ):
        require_positive(name, value, unit)
    difference_k = require_positive(
        "freezing point above surroundings", freezing_point_k - surroundings_k, "K"
    )
    p, r = shape.value
    resistance = p * length_m / film_w_per_m2_k + r * length_m**2 / conductivity_w_per_m_k
    return density_kg_per_m3 * latent_heat_j_per_kg / difference_k * resistance


def stefan_thickness_m(below_freezing_k: float, elapsed_s: float) -> float:
    """Return the thickness [m] of ice grown on a surface held `below_freezing_k` [K] cold.

    Water at its freezing point, no resistance but the ice's own, heat stored in the ice left out:
    the square-root law of J. Stefan, 1891. Raises OutOfRange for negative arguments.

    >>> round(stefan_thickness_m(10.0, 991.0) * 1000.0, 1)
    12.0
    """
    require_not_negative("degrees below freezing", below_freezing_k, "K")
    require_not_negative("elapsed time", elapsed_s, "s")
    volumetric_heat = ICE_DENSITY_KG_PER_M3 * LATENT_HEAT_J_PER_KG
    return math.sqrt(
        2.0 * ICE_CONDUCTIVITY_W_PER_M_K * below_freezing_k * elapsed_s / volumetric_heat
    )


def heat_flux_through_ice_w_per_m2(
    refrigerant_k: float, plate_w_per_m2_k: float, ice_thickness_m: float
) -> float:
    """Return the heat flux [W/m2] from the freezing front through ice and plate to the refrigerant.

    `plate_w_per_m2_k` is the conductance of refrigerant side and plate together [W/(m2 K)],
    `ice_thickness_m` the layer grown so far [m]. Resistances in series, steady between growth
    steps (the ice conducts far faster than it grows). Negative when the refrigerant is warmer.

    >>> round(heat_flux_through_ice_w_per_m2(253.15, 1000.0, 0.009))
    3957
    """
    require_positive("plate conductance", plate_w_per_m2_k, "W/(m2 K)")
    require_not_negative("ice thickness", ice_thickness_m, "m")
    resistance = 1.0 / plate_w_per_m2_k + ice_thickness_m / ICE_CONDUCTIVITY_W_PER_M_K
    return (FREEZING_POINT_K - refrigerant_k) / resistance


def growth_rate_m_per_s(
    refrigerant_k: float,
    water_k: float,
    plate_w_per_m2_k: float,
    film_w_per_m2_k: float,
    ice_thickness_m: float,
) -> float:
    """Return how fast ice on a plate grows [m/s]; negative when the water melts it.

    Refrigerant side and plate (`plate_w_per_m2_k`), ice and water film (`film_w_per_m2_k`) in
    series: what the refrigerant draws through plate and ice, less what water above freezing brings
    through the film, freezes water and cools the ice below freezing. Temperatures in K.
    Source: heat balance at the freezing front (Stefan problem, quasi-steady).

    >>> round(growth_rate_m_per_s(253.15, 273.15, 1000.0, 1000.0, 0.009) * 60e3, 2)  # mm/min
    0.74
    """
    require_not_negative("film conductance", film_w_per_m2_k, "W/(m2 K)")
    drawn = heat_flux_through_ice_w_per_m2(refrigerant_k, plate_w_per_m2_k, ice_thickness_m)
    brought = film_w_per_m2_k * (water_k - FREEZING_POINT_K)
    subcooled_k = max(0.0, drawn * ice_thickness_m / ICE_CONDUCTIVITY_W_PER_M_K)
    return (drawn - brought) / (ICE_DENSITY_KG_PER_M3 * heat_to_freeze_j_per_kg(subcooled_k))


def heat_to_freeze_j_per_kg(plate_side_below_freezing_k: float) -> float:
    """Return the heat [J/kg] taken from water at 0 °C to make ice whose plate side is colder.

    Latent heat plus the sensible heat of ice with a straight temperature profile, half as cold on
    the mean as on its plate side, `plate_side_below_freezing_k` [K] below 0 °C.

    >>> heat_to_freeze_j_per_kg(16.0)
    349910.0
    """
    require_not_negative("degrees below freezing", plate_side_below_freezing_k, "K")
    return LATENT_HEAT_J_PER_KG + ICE_HEAT_CAPACITY_J_PER_KG_K * plate_side_below_freezing_k / 2.0


def batch_load_j(
    batch_mass_kg: float, water_charge_kg: float, water_inlet_k: float, ice_below_freezing_k: float
) -> tuple[float, float]:
    """Return sensible and latent load [J] of one batch.

    Sensible: the whole `water_charge_kg` [kg] chilled from `water_inlet_k` [K] to 0 °C, and the ice
    cooled to `ice_below_freezing_k` [K] below it on the mean. Latent: `batch_mass_kg` [kg] frozen.

    >>> sensible, latent = batch_load_j(3.0, 4.0, 283.15, 8.0)
    >>> round(sensible), round(latent)
    (217240, 1000290)
    """
    require_not_negative("batch mass", batch_mass_kg, "kg")
    require_not_negative("water charge", water_charge_kg, "kg")
    chill = water_charge_kg * WATER_HEAT_CAPACITY_J_PER_KG_K * (water_inlet_k - FREEZING_POINT_K)
    cool = batch_mass_kg * ICE_HEAT_CAPACITY_J_PER_KG_K * ice_below_freezing_k
    return chill + cool, batch_mass_kg * LATENT_HEAT_J_PER_KG


def batch_mass_kg(area_m2: float, thickness_m: float) -> float:
    """Return the mass [kg] of ice of `thickness_m` [m] on `area_m2` [m2] of plate.

    >>> round(batch_mass_kg(0.4, 0.009), 2)
    3.3
    """
    require_not_negative("area", area_m2, "m2")
    require_not_negative("thickness", thickness_m, "m")
    return ICE_DENSITY_KG_PER_M3 * area_m2 * thickness_m


def melt_for_release_kg(area_m2: float, melt_thickness_m: float) -> float:
    """Return the mass [kg] melted to let a slab go: a layer on the whole plate.

    >>> round(melt_for_release_kg(0.4, 0.0005), 3)
    0.183
    """
    return batch_mass_kg(area_m2, melt_thickness_m)


def release_heat_j(
    area_m2: float,
    melt_thickness_m: float,
    slab_kg: float,
    plate_side_below_freezing_k: float,
    plate_heat_capacity_j_per_k: float,
    plate_below_freezing_k: float,
) -> float:
    """Return the heat [J] that frees a slab: plate and ice warmed to 0 °C, then the layer melted.

    `plate_side_below_freezing_k` [K] is how cold the slab is where it meets the plate (half of it
    on the mean), `plate_below_freezing_k` [K] how cold the metal is.

    >>> round(release_heat_j(0.4, 0.0005, 3.3, 17.0, 2000.0, 19.0), -2)
    156900.0
    """
    melt = melt_for_release_kg(area_m2, melt_thickness_m) * LATENT_HEAT_J_PER_KG
    ice = slab_kg * ICE_HEAT_CAPACITY_J_PER_KG_K * plate_side_below_freezing_k / 2.0
    return melt + ice + plate_heat_capacity_j_per_k * plate_below_freezing_k
