"""Ice, water and freezing times against published values.

Sources: IAPWS-06 (ice) and IAPWS-95 (water) through the library `iapws`; Plank's equation as worked
in Singh and Heldman, Introduction to Food Engineering (printed result from memory); Stefan's law as
limnology texts quote it (from memory).
"""

import csv
import math
from pathlib import Path

import pytest
from iapws import IAPWS95
from iapws._iapws import _Ice

from triage.physics import ice

DATA = Path(__file__).parent / "data"
ATMOSPHERE_MPA = 0.101325
MELTING_K = 273.152519
"""Melting point of ice at one atmosphere by IAPWS-06 [K]."""


def table(name: str) -> dict[str, dict[str, str]]:
    with (DATA / name).open(encoding="utf-8", newline="") as file:
        return {row["quantity"]: row for row in csv.DictReader(file)}


def test_latent_heat_is_that_of_iapws() -> None:
    liquid = IAPWS95(T=MELTING_K + 1e-6, P=ATMOSPHERE_MPA)
    solid = _Ice(MELTING_K - 1e-6, ATMOSPHERE_MPA)
    assert pytest.approx((liquid.h - solid["h"]) * 1e3, abs=50.0) == ice.LATENT_HEAT_J_PER_KG


def test_density_of_ice_is_that_of_iapws() -> None:
    found = _Ice(273.15, ATMOSPHERE_MPA)["rho"]
    assert pytest.approx(found, abs=0.1) == ice.ICE_DENSITY_KG_PER_M3


def test_heat_capacity_of_ice_is_the_mean_of_iapws_down_to_minus_ten() -> None:
    found = [_Ice(273.15 - below, ATMOSPHERE_MPA)["cp"] * 1e3 for below in (0.001, 10.0)]
    assert pytest.approx(sum(found) / 2.0, abs=5.0) == ice.ICE_HEAT_CAPACITY_J_PER_KG_K


def test_heat_capacity_of_ice_at_freezing_is_the_tables() -> None:
    """2.097 kJ/(kg K) at 0 °C and 2.023 at -10 °C, between which the constant lies midway."""
    row = table("ice_and_water.csv")["specific heat of ice at 0 C"]
    at_zero = 1e3 * float(row["value"])
    assert _Ice(273.15 - 0.001, ATMOSPHERE_MPA)["cp"] * 1e3 == pytest.approx(
        at_zero, abs=1e3 * float(row["tolerance"])
    )
    assert 0.5 * (at_zero + 2023.0) == pytest.approx(ice.ICE_HEAT_CAPACITY_J_PER_KG_K, abs=1.0)


def test_heat_capacity_of_water_is_that_of_iapws_for_cold_tap_water() -> None:
    found = [IAPWS95(T=273.16 + above, P=ATMOSPHERE_MPA).cp * 1e3 for above in (0.0, 10.0, 20.0)]
    assert min(found) < ice.WATER_HEAT_CAPACITY_J_PER_KG_K < max(found)
    assert pytest.approx(found[1], rel=0.001) == ice.WATER_HEAT_CAPACITY_J_PER_KG_K


@pytest.mark.parametrize(
    ("quantity", "value", "scale"),
    [
        ("latent heat of fusion at 0 C and 1 atm", ice.LATENT_HEAT_J_PER_KG, 1e3),
        ("latent heat of fusion in trade units", ice.LATENT_HEAT_J_PER_KG, 2326.0),
        ("density of ice at 0 C", ice.ICE_DENSITY_KG_PER_M3, 1.0),
        # Conductivity: handbooks 2.2 to 2.24, from memory.
        ("thermal conductivity of ice at 0 C", ice.ICE_CONDUCTIVITY_W_PER_M_K, 1.0),
    ],
)
def test_constants_agree_with_the_table(quantity: str, value: float, scale: float) -> None:
    row = table("ice_and_water.csv")[quantity]
    assert pytest.approx(float(row["value"]), abs=float(row["tolerance"])) == value / scale


def test_plank_sphere_is_the_worked_example_of_singh_and_heldman() -> None:
    """Printed 2.6e3 s, 0.72 h."""
    found = ice.plank_freezing_time_s(
        ice.Shape.SPHERE, 0.07, 1000.0, 250e3, 273.15 - 1.25, 233.15, 50.0, 1.2
    )
    assert found == pytest.approx(2600.0, rel=0.005)
    assert found / 3600.0 == pytest.approx(0.72, abs=0.005)


def test_plank_shape_factors_are_those_printed() -> None:
    """P 1/2, 1/4, 1/6 and R 1/8, 1/16, 1/24: slab to cylinder to sphere is 6 to 3 to 2."""
    slab, cylinder, sphere = (
        ice.plank_freezing_time_s(shape, 0.07, 1000.0, 250e3, 271.9, 233.15, 50.0, 1.2)
        for shape in (ice.Shape.SLAB, ice.Shape.CYLINDER, ice.Shape.SPHERE)
    )
    assert slab / 3600.0 == pytest.approx(2.1692, abs=0.002)
    assert slab / cylinder == pytest.approx(2.0)
    assert slab / sphere == pytest.approx(3.0)


def test_plank_without_film_resistance_is_stefan_for_half_a_slab() -> None:
    """A slab frozen from both sides is two Stefan layers meeting in the middle."""
    seconds = ice.plank_freezing_time_s(
        ice.Shape.SLAB,
        0.02,
        ice.ICE_DENSITY_KG_PER_M3,
        ice.LATENT_HEAT_J_PER_KG,
        273.15,
        263.15,
        1e12,
        ice.ICE_CONDUCTIVITY_W_PER_M_K,
    )
    assert ice.stefan_thickness_m(10.0, seconds) == pytest.approx(0.01, rel=1e-6)


def test_stefan_law_gives_the_growth_limnology_texts_quote() -> None:
    """34 to 35.5 mm of ice for one degree-day of frost, from memory."""
    row = table("ice_and_water.csv")["Stefan growth of ice"]
    found = ice.stefan_thickness_m(1.0, 86_400.0) * 1e3
    assert found == pytest.approx(float(row["value"]), abs=float(row["tolerance"]))


def test_growth_rate_without_plate_and_film_integrates_to_stefan() -> None:
    """12 mm on a plate 10 K below freezing: 16.5 min, 3 % more for the ice's own cooling."""
    thickness, elapsed, step = 1e-5, 0.0, 1e-5
    while thickness < 0.012:
        middle = thickness + step / 2.0
        elapsed += step / ice.growth_rate_m_per_s(263.15, 273.15, 1e9, 0.0, middle)
        thickness += step
    cooled = ice.heat_to_freeze_j_per_kg(10.0) / ice.LATENT_HEAT_J_PER_KG
    assert elapsed / 60.0 == pytest.approx(16.52 * cooled, rel=0.01)


def test_plate_resistance_slows_growth_as_resistances_in_series_say() -> None:
    plate, layer = 1000.0, 0.009
    series = 1.0 / (1.0 / plate + layer / ice.ICE_CONDUCTIVITY_W_PER_M_K)
    found = ice.heat_flux_through_ice_w_per_m2(253.15, plate, layer)
    assert found == pytest.approx(20.0 * series)


def test_warm_water_slows_growth_by_what_it_brings() -> None:
    still = ice.growth_rate_m_per_s(258.15, 273.15, 1000.0, 800.0, 0.005)
    warm = ice.growth_rate_m_per_s(258.15, 274.15, 1000.0, 800.0, 0.005)
    drawn = ice.heat_flux_through_ice_w_per_m2(258.15, 1000.0, 0.005)
    assert warm / still == pytest.approx(1.0 - 800.0 / drawn)


def test_sensible_load_of_water_is_the_rules_38_btu_per_pound() -> None:
    """70 to 32 °F: 38.08 Btu/lb by IAPWS-95, the rule uses 38."""
    row = table("rating_arithmetic.csv")["sensible heat of water 70 to 32 F"]
    sensible, latent = ice.batch_load_j(1.0, 1.0, (70.0 - 32.0) / 1.8 + 273.15, 0.0)
    assert sensible / 2326.0 == pytest.approx(float(row["value"]), rel=0.003)
    assert latent / 2326.0 == pytest.approx(144.0, rel=0.006)


def test_release_heat_counts_plate_slab_and_melted_layer() -> None:
    """Separately: metal 2 kJ/K over 19 K, 3.3 kg of ice 8.5 K cold on the mean, 0.5 mm melted."""
    metal = 2000.0 * 19.0
    slab = 3.3 * 2060.0 * 8.5
    layer = 916.7 * 0.4 * 0.0005 * 333_430.0
    found = ice.release_heat_j(0.4, 0.0005, 3.3, 17.0, 2000.0, 19.0)
    assert found == pytest.approx(metal + slab + layer)


def test_stefan_growth_goes_with_the_root_of_time() -> None:
    ratio = ice.stefan_thickness_m(5.0, 4000.0) / ice.stefan_thickness_m(5.0, 1000.0)
    assert ratio == pytest.approx(math.sqrt(4.0))
