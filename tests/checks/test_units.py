"""Unit factors against NIST SP 811 and general-purpose libraries."""

import fluids.constants
import pytest

from triage.physics.units import Dimension, unit_of

# NIST Special Publication 811 (2008), appendix B.8, "Factors for units listed alphabetically",
# as printed (rounded to seven digits there); values recalled, from memory.
NIST_SP_811 = [
    ("psig", Dimension.GAUGE_PRESSURE, 6.894757e3),
    ("bar", Dimension.GAUGE_PRESSURE, 1.0e5),
    ("kgf/cm2", Dimension.GAUGE_PRESSURE, 9.80665e4),
    ("inHg abs", Dimension.GAUGE_PRESSURE, 3.386389e3),
    ("mbar", Dimension.GAUGE_PRESSURE, 1.0e2),
    ("°F", Dimension.TEMPERATURE_DIFFERENCE, 5.555556e-1),
    ("h", Dimension.DURATION, 3.6e3),
    ("in", Dimension.LENGTH, 2.54e-2),
    ("ft", Dimension.LENGTH, 3.048e-1),
    ("lb", Dimension.MASS, 4.535924e-1),
    ("oz", Dimension.MASS, 2.834952e-2),
    ("gal", Dimension.VOLUME, 3.785412e-3),
    ("qt", Dimension.VOLUME, 9.463529e-4),
    ("pt", Dimension.VOLUME, 4.731765e-4),
    ("fl oz", Dimension.VOLUME, 2.957353e-5),
    ("gpg", Dimension.CONCENTRATION, 1.711806e-2),
    ("psi", Dimension.WATER_PRESSURE, 6.894757e3),
    ("lb/h", Dimension.MASS_PER_DAY, 1.259979e-4),
    ("days", Dimension.AGE, 8.64e4),
    ("years", Dimension.AGE, 3.1536e7),
]


@pytest.mark.parametrize(("symbol", "dimension", "factor"), NIST_SP_811)
def test_a_factor_is_that_of_nist_sp_811(symbol: str, dimension: Dimension, factor: float) -> None:
    assert unit_of(symbol, dimension).factor == pytest.approx(factor, rel=5e-7)


@pytest.mark.parametrize(
    ("symbol", "dimension", "constant"),
    [
        ("psig", Dimension.GAUGE_PRESSURE, "psi"),
        ("psia", Dimension.GAUGE_PRESSURE, "psi"),
        ("bar", Dimension.GAUGE_PRESSURE, "bar"),
        ("in", Dimension.LENGTH, "inch"),
        ("ft", Dimension.LENGTH, "foot"),
        ("lb", Dimension.MASS, "lb"),
        ("oz", Dimension.MASS, "ounce"),
        ("min", Dimension.DURATION, "minute"),
        ("h", Dimension.DURATION, "hour"),
        ("gal", Dimension.VOLUME, "gallon"),
        ("fl oz", Dimension.VOLUME, "fluid_ounce"),
        ("weeks", Dimension.AGE, "week"),
        ("°F", Dimension.TEMPERATURE_DIFFERENCE, "degree_Fahrenheit"),
    ],
)
def test_a_factor_is_that_of_an_independent_library(
    symbol: str, dimension: Dimension, constant: str
) -> None:
    """The constants of the library fluids."""
    expected = getattr(fluids.constants, constant)
    assert unit_of(symbol, dimension).factor == pytest.approx(expected, rel=1e-12)


def test_the_inch_of_mercury_is_25_4_millimetres_of_mercury() -> None:
    """The library fluids has the torr, 101325/760 Pa; the conventional one differs by 2e-7."""
    expected = 25.4 * fluids.constants.torr
    assert unit_of("inHg abs", Dimension.GAUGE_PRESSURE).factor == pytest.approx(expected, rel=1e-6)


def test_rates_for_ice_are_made_of_the_librarys_units() -> None:
    """A pound a day, 100 lb to the hundredweight, kWh and US gallons: constants of fluids."""
    fluids_of = fluids.constants
    hundredweight = 100.0 * fluids_of.lb
    for symbol, dimension, expected in (
        ("lb/24 h", Dimension.MASS_PER_DAY, fluids_of.lb / fluids_of.day),
        ("kg/24 h", Dimension.MASS_PER_DAY, 1.0 / fluids_of.day),
        ("kWh/100 lb", Dimension.ENERGY_PER_MASS, 1e3 * fluids_of.hour / hundredweight),
        ("kWh/100 kg", Dimension.ENERGY_PER_MASS, 1e3 * fluids_of.hour / 100.0),
        ("gal/100 lb", Dimension.VOLUME_PER_MASS, fluids_of.gallon / hundredweight),
        ("L/100 kg", Dimension.VOLUME_PER_MASS, fluids_of.liter / 100.0),
        ("gpg", Dimension.CONCENTRATION, fluids_of.grain / fluids_of.gallon),
    ):
        assert unit_of(symbol, dimension).factor == pytest.approx(expected, rel=1e-12)


def test_a_grain_per_gallon_is_17_1_mg_per_liter() -> None:
    """Water treatment handbooks, from memory."""
    grain = unit_of("gpg", Dimension.CONCENTRATION).factor
    assert grain / unit_of("mg/L", Dimension.CONCENTRATION).factor == pytest.approx(17.1, abs=0.05)


@pytest.mark.parametrize(
    ("fahrenheit", "celsius"), [(-40.0, -40.0), (32.0, 0.0), (98.6, 37.0), (212.0, 100.0)]
)
def test_the_fixed_points_of_fahrenheit_and_celsius_agree(
    fahrenheit: float, celsius: float
) -> None:
    """Definition of the scales: 32 °F is 0 °C, 212 °F is 100 °C, 180 to 100 degrees between."""
    in_f = unit_of("°F", Dimension.TEMPERATURE).to_si(fahrenheit, 0.0)
    in_c = unit_of("°C", Dimension.TEMPERATURE).to_si(celsius, 0.0)
    assert in_f == pytest.approx(in_c, abs=1e-9)
    assert in_c == pytest.approx(celsius + 273.15, abs=1e-9)
