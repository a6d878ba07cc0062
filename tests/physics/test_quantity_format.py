"""Values in SI as the trade would say them, and back."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests.strategies import FIXED
from triage.physics.quantity import (
    Dimension,
    UnitSystem,
    default_unit_of,
    format_both,
    format_quantity,
    parse_quantity,
)
from triage.physics.units import UNITS, Unit, unit_named

US, SI = UnitSystem.US, UnitSystem.SI


@pytest.mark.parametrize(
    ("si_value", "dimension", "us", "si"),
    [
        (528_800.0, Dimension.GAUGE_PRESSURE, "62 psig", "4.3 bar"),
        (2_204_226.0, Dimension.GAUGE_PRESSURE, "305 psig", "21 bar"),
        (101_325.0, Dimension.GAUGE_PRESSURE, "0 psig", "0 bar"),
        (67_461.0, Dimension.GAUGE_PRESSURE, "10 inHg vac", "-0.3 bar"),
        (338.706, Dimension.TEMPERATURE, "150 °F", "65.6 °C"),
        (291.65, Dimension.TEMPERATURE, "65 °F", "18.5 °C"),
        (255.3722, Dimension.TEMPERATURE, "0 °F", "-17.8 °C"),
        (273.13, Dimension.TEMPERATURE, "32 °F", "0 °C"),
        (5.5556, Dimension.TEMPERATURE_DIFFERENCE, "10 °F", "5.6 K"),
        (380.0, Dimension.DURATION, "6:20", "6:20"),
        (45.0, Dimension.DURATION, "0:45", "0:45"),
        (3900.0, Dimension.DURATION, "1:05:00", "1:05:00"),
        (59.7, Dimension.DURATION, "1:00", "1:00"),
        (0.0047625, Dimension.LENGTH, "0.188 in", "4.8 mm"),
        (0.00635, Dimension.LENGTH, "0.25 in", "6.3 mm"),
        (1524.0, Dimension.LENGTH, "5000 ft", "1524 m"),
        (3.28854, Dimension.MASS, "7.2 lb", "3.3 kg"),
        (0.2838, Dimension.MASS, "10 oz", "284 g"),
        (24.0, Dimension.VOLTAGE, "24 V", "24 V"),
        (24.53, Dimension.VOLTAGE, "24.5 V", "24.5 V"),
        (208.3, Dimension.VOLTAGE, "208 V", "208 V"),
        (12.0, Dimension.RESISTANCE, "12 Ω", "12 Ω"),
        (1200.0, Dimension.RESISTANCE, "1.2 kΩ", "1.2 kΩ"),
        (1e7, Dimension.RESISTANCE, "10 MΩ", "10 MΩ"),
        (math.inf, Dimension.RESISTANCE, "OL", "OL"),
        # 400 lb/24 h: 181.4 kg/24 h; 5.8 kWh/100 lb: 12.79 kWh/100 kg; 18 gal/100 lb: 150.2 L.
        (0.002_099_96, Dimension.MASS_PER_DAY, "400 lb/24 h", "181 kg/24 h"),
        (460_325.0, Dimension.ENERGY_PER_MASS, "5.8 kWh/100 lb", "12.79 kWh/100 kg"),
        (0.001_502_17, Dimension.VOLUME_PER_MASS, "18 gal/100 lb", "150 L/100 kg"),
        (0.205, Dimension.CONCENTRATION, "205 mg/L", "205 mg/L"),
        (310_264.0, Dimension.WATER_PRESSURE, "45 psi", "3.1 bar"),
        (0.35, Dimension.CURRENT, "0.35 A", "0.35 A"),
        (14.52, Dimension.CURRENT, "14.5 A", "14.5 A"),
        (0.0053, Dimension.VOLUME, "1.4 gal", "5.3 L"),
        (0.000_86, Dimension.VOLUME, "0.23 gal", "0.86 L"),
        (86_400.0, Dimension.AGE, "1 day", "1 day"),
        (40 * 86_400.0, Dimension.AGE, "40 days", "40 days"),
        (15_768_000.0, Dimension.AGE, "6 months", "6 months"),
        (94_608_000.0, Dimension.AGE, "3 years", "3 years"),
        (math.inf, Dimension.AGE, "never", "never"),
    ],
)
def test_a_value_is_rounded_and_worded_as_the_trade_says_it(
    si_value: float, dimension: Dimension, us: str, si: str
) -> None:
    assert format_quantity(si_value, dimension, US) == us
    assert format_quantity(si_value, dimension, SI) == si


def test_both_units_stand_side_by_side_the_users_own_first() -> None:
    assert format_both(528_800.0, Dimension.GAUGE_PRESSURE, US) == "62 psig (4.3 bar)"
    assert format_both(528_800.0, Dimension.GAUGE_PRESSURE, SI) == "4.3 bar (62 psig)"


def test_a_value_that_reads_the_same_in_both_units_stands_once() -> None:
    assert format_both(380.0, Dimension.DURATION, US) == "6:20"
    assert format_both(24.0, Dimension.VOLTAGE, SI) == "24 V"


def test_gauge_pressure_is_shown_against_the_local_barometer() -> None:
    shown = format_quantity(528_800.0, Dimension.GAUGE_PRESSURE, US, 84_000.0)
    assert shown == "65 psig"  # (528.8 - 84.0) kPa / 6.894757 kPa per psi = 64.5


# The coarsest step shown in each dimension, in SI, halved, with a little for rounding.
HALF_STEP = {
    Dimension.GAUGE_PRESSURE: 5_100.0,
    Dimension.TEMPERATURE: 0.3,
    Dimension.TEMPERATURE_DIFFERENCE: 0.06,
    Dimension.DURATION: 0.51,
    Dimension.LENGTH: 0.000_13,
    Dimension.MASS: 0.051,
    Dimension.VOLTAGE: 0.51,
    Dimension.RESISTANCE: 5.1,
    Dimension.MASS_PER_DAY: 0.51 / 86_400.0,
    Dimension.ENERGY_PER_MASS: 0.0051 * 36_000.0 / 0.45359237,
    Dimension.VOLUME_PER_MASS: 0.51e-5,
    Dimension.CONCENTRATION: 0.00051,
    Dimension.WATER_PRESSURE: 5_100.0,
    Dimension.CURRENT: 0.051,
    Dimension.VOLUME: 0.000_051,
    Dimension.AGE: 0.051 * 31_536_000.0,
}
SPAN = {
    Dimension.GAUGE_PRESSURE: (10_000.0, 6_000_000.0),
    Dimension.TEMPERATURE: (200.0, 480.0),
    Dimension.TEMPERATURE_DIFFERENCE: (-20.0, 90.0),
    Dimension.DURATION: (0.0, 20_000.0),
    Dimension.LENGTH: (0.0, 0.9),
    Dimension.MASS: (0.0, 60.0),
    Dimension.VOLTAGE: (0.0, 600.0),
    Dimension.RESISTANCE: (0.0, 90_000.0),
    Dimension.MASS_PER_DAY: (0.0, 0.03),
    Dimension.ENERGY_PER_MASS: (0.0, 2e6),
    Dimension.VOLUME_PER_MASS: (0.0, 0.02),
    Dimension.CONCENTRATION: (0.0, 3.0),
    Dimension.WATER_PRESSURE: (0.0, 1e6),
    Dimension.CURRENT: (0.0, 200.0),
    Dimension.VOLUME: (0.0, 0.1),
    Dimension.AGE: (0.0, 1e9),
}


@FIXED
@given(st.sampled_from(list(Dimension)), st.sampled_from(list(UnitSystem)), st.floats(0.0, 1.0))
def test_what_is_shown_can_be_typed_back(
    dimension: Dimension, system: UnitSystem, share: float
) -> None:
    least, greatest = SPAN[dimension]
    si_value = least + share * (greatest - least)
    text = format_quantity(si_value, dimension, system, 95_000.0)
    again = parse_quantity(text, dimension, None if " " in text else "min").si(95_000.0)
    assert again == pytest.approx(si_value, abs=HALF_STEP[dimension])


@FIXED
@given(st.floats(500.0, 5500.0), st.sampled_from(list(UnitSystem)))
def test_an_altitude_is_shown_in_whole_feet_or_metres(metres: float, system: UnitSystem) -> None:
    text = format_quantity(metres, Dimension.LENGTH, system)
    assert parse_quantity(text, Dimension.LENGTH, None).si() == pytest.approx(metres, abs=0.51)


NOT_TYPED_ALONE = {"inHg"}
"""Accepted only as vacuum or absolute."""


@pytest.mark.parametrize(
    "unit",
    [unit for unit in UNITS if unit.symbol not in NOT_TYPED_ALONE],
    ids=lambda unit: f"{unit.dimension}-{unit.symbol}",
)
def test_every_unit_goes_there_and_back(unit: Unit) -> None:
    text = f"0.05 {unit.symbol}"
    typed = parse_quantity(text, unit.dimension, None)
    assert typed.unit == unit.symbol
    assert unit.from_si(typed.si(), 101_325.0) == pytest.approx(0.05, rel=1e-12)
    for name in unit.names:
        assert unit_named(name, unit.dimension) is unit


def test_no_name_stands_for_two_units_of_one_dimension() -> None:
    owners: dict[tuple[Dimension, str], set[str]] = {}
    for unit in UNITS:
        for name in unit.names:
            owners.setdefault((unit.dimension, name), set()).add(unit.symbol)
    assert [key for key, symbols in owners.items() if len(symbols) > 1] == []


def test_every_default_unit_is_a_unit_of_its_dimension() -> None:
    for dimension in Dimension:
        for system in UnitSystem:
            assert unit_named(default_unit_of(dimension, system), dimension) is not None
