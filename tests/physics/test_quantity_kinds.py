"""What people type for ice in a day, energy, water, what is dissolved in it, currents and ages."""

import math

import pytest

from triage.physics.quantity import (
    Dimension,
    QuantityError,
    UnitSystem,
    UnreadableQuantity,
    WrongDimension,
    default_unit_of,
    parse_quantity,
)

US, SI = UnitSystem.US, UnitSystem.SI


def read(text: str, dimension: Dimension, system: UnitSystem = US) -> float:
    return parse_quantity(text, dimension, default_unit_of(dimension, system)).si()


# 420 lb/24 h are 0.002 204 97 kg/s; factors from NIST SP 811.
A_DAY = {
    "420": 420.0,
    "420 lb": 420.0,
    "420 lbs": 420.0,
    "420 lb/24 h": 420.0,
    "420lb/24h": 420.0,
    "420 lb in 24 hours": 420.0,
    "420 lb per 24 hrs": 420.0,
    "420 pounds every 24 hours": 420.0,
    "420 lb/day": 420.0,
    "420 lb a day": 420.0,
    "about 420 pounds of ice per day": 420.0,
    "420 pounds daily": 420.0,
    "420 lb each day": 420.0,
    "four hundred pounds a day": 400.0,
    "1,200 lb/day": 1200.0,
    "100 lb a day": 100.0,
    "a hundred pounds a day": 100.0,
    "24 pounds per 24 hours": 24.0,
    "17.5 lb/h": 420.0,
    "17.5 pounds an hour": 420.0,
}


@pytest.mark.parametrize(("text", "pounds"), A_DAY.items())
def test_ice_in_a_day(text: str, pounds: float) -> None:
    expected = pounds * 0.45359237 / 86_400.0
    assert read(text, Dimension.MASS_PER_DAY) == pytest.approx(expected)


@pytest.mark.parametrize("text", ["190", "190 kg", "190 kg/24 h", "190 kilos a day", "190kg/day"])
def test_ice_in_a_day_in_kilograms(text: str) -> None:
    assert read(text, Dimension.MASS_PER_DAY, SI) == pytest.approx(190.0 / 86_400.0)


@pytest.mark.parametrize(
    "text",
    [
        "5.8", "5,8", "5.8 kWh/100 lb", "5.8kwh/100lbs", "5.8 kWh per 100 lb",
        "5.8 kWh per 100 pounds of ice", "5.8 kWh for 100 lb", "5.8 kWh per hundred pounds",
        "5.8 kWh a hundred pounds", "5.8 kwh per cwt", "5.8 kwh per hundredweight",
        "5.8 kilowatt hours per 100 #", "5.8 kilowatt-hours per 100 lb",
    ],
)  # fmt: skip
def test_energy_for_a_hundred_pounds(text: str) -> None:
    """A kWh is 3.6 MJ, a hundred pounds are 45.36 kg."""
    assert read(text, Dimension.ENERGY_PER_MASS) == pytest.approx(5.8 * 3.6e6 / 45.359237)


@pytest.mark.parametrize("text", ["12.8", "12.8 kWh/100 kg", "12.8 kWh per 100 kilos of ice"])
def test_energy_for_a_hundred_kilograms(text: str) -> None:
    assert read(text, Dimension.ENERGY_PER_MASS, SI) == pytest.approx(12.8 * 36_000.0)


@pytest.mark.parametrize(
    "text",
    [
        "100", "100 gal", "100 gallons", "100 gal/100 lb", "100 gallons per 100 pounds",
        "about 100 gal per 100 lb", "100 gallons of water per hundred pounds of ice",
        "a hundred gallons a hundred pounds",
    ],
)  # fmt: skip
def test_water_for_a_hundred_pounds(text: str) -> None:
    """A US gallon is 231 cubic inches, 3.785 411 784 L."""
    expected = 100.0 * 3.785411784e-3 / 45.359237
    assert read(text, Dimension.VOLUME_PER_MASS) == pytest.approx(expected)


@pytest.mark.parametrize("text", ["150", "150 L", "150 L/100 kg", "150 liters per 100 kg"])
def test_water_for_a_hundred_kilograms(text: str) -> None:
    assert read(text, Dimension.VOLUME_PER_MASS, SI) == pytest.approx(1.5e-3)


DISSOLVED = {
    "200": 200.0,
    "200 ppm": 200.0,
    "200 mg/L": 200.0,
    "200 mg / l": 200.0,
    "200 mg/L as CaCO3": 200.0,
    "200 ppm calcium carbonate": 200.0,
    "1,200 ppm": 1200.0,
    # A grain, 64.798 91 mg, to the US gallon: 17.118 mg/L.
    "12 gpg": 205.417,
    "12 grains": 205.417,
    "12 grains per gallon": 205.417,
    "12 grains/gal": 205.417,
    "12 grains of hardness": 205.417,
}


@pytest.mark.parametrize(("text", "milligrams"), DISSOLVED.items())
def test_what_is_dissolved_in_water(text: str, milligrams: float) -> None:
    assert read(text, Dimension.CONCENTRATION) == pytest.approx(1e-3 * milligrams, rel=1e-5)


@pytest.mark.parametrize("text", ["45", "45 psi", "45 psig", "45 pounds", "45 lbs of pressure"])
def test_water_pressure_is_what_its_gauge_shows(text: str) -> None:
    quantity = parse_quantity(text, Dimension.WATER_PRESSURE, "psi")
    for barometer_pa in (101_325.0, 84_000.0):
        assert quantity.si(barometer_pa) == pytest.approx(310_264.1, abs=0.1)


@pytest.mark.parametrize("text", ["3", "3 bar", "300 kPa", "3 bar g"])
def test_water_pressure_in_bar(text: str) -> None:
    assert read(text, Dimension.WATER_PRESSURE, SI) == pytest.approx(3e5)


@pytest.mark.parametrize(
    ("text", "amperes"),
    [("9.5", 9.5), ("9.5 A", 9.5), ("9,5 amps", 9.5), ("14 ampere", 14.0), ("350 mA", 0.35)],
)
def test_currents(text: str, amperes: float) -> None:
    assert read(text, Dimension.CURRENT) == pytest.approx(amperes)


VOLUMES = {
    "1.4": 5.29958,
    "1.4 gal": 5.29958,
    "1 1/2 gallons": 5.67812,
    "a gallon and a half": 5.67812,
    "2 gallons and a half": 9.46353,
    "a gallon": 3.78541,
    "half a gallon": 1.89271,
    "a couple of quarts": 1.89271,
    "1 gal 2 qt": 5.67812,
    "3 pints": 1.41953,
    "20 fl oz": 0.591471,
    "5.4 L": 5.4,
    "5.4 liters": 5.4,
    "850 mL": 0.85,
}


@pytest.mark.parametrize(("text", "litres"), VOLUMES.items())
def test_volumes(text: str, litres: float) -> None:
    assert read(text, Dimension.VOLUME) == pytest.approx(1e-3 * litres, rel=1e-5)


AGES = {
    "today": 0.0,
    "this morning": 0.0,
    "yesterday": 1.0,
    "last week": 7.0,
    "two weeks": 14.0,
    "3 wks": 21.0,
    "45 days ago": 45.0,
    "last month": 30.4167,
    "a month ago": 30.4167,
    "a couple of months ago": 60.8333,
    "6": 182.5,
    "6 months": 182.5,
    "six months ago": 182.5,
    "half a year": 182.5,
    "26 weeks": 182.0,
    "a year": 365.0,
    "about a year ago": 365.0,
    "a year old": 365.0,
    "a year and a half": 547.5,
    "1 year 3 months": 456.25,
    "2 yrs": 730.0,
    "two and a half years": 912.5,
}


@pytest.mark.parametrize(("text", "days"), AGES.items())
def test_time_since_something_was_done(text: str, days: float) -> None:
    """A year of 365 days: NIST SP 811; a month is a twelfth of it."""
    assert read(text, Dimension.AGE) == pytest.approx(86_400.0 * days, rel=1e-5)


@pytest.mark.parametrize(
    "text", ["never", "Never.", "it was never cleaned", "never been changed", "never has been"]
)
def test_what_was_never_done_has_no_age_that_ends(text: str) -> None:
    assert math.isinf(read(text, Dimension.AGE))


@pytest.mark.parametrize(
    ("text", "dimension", "words"),
    [
        ("half a ton", Dimension.MASS_PER_DAY, "lb/24 h or kg/24 h"),
        ("6 kWh", Dimension.ENERGY_PER_MASS, "kWh/100 lb or kWh/100 kg"),
        ("over a year", Dimension.AGE, "days, weeks, months or years, or never"),
        ("last year", Dimension.AGE, "days, weeks, months or years, or never"),
        ("-3 psi", Dimension.WATER_PRESSURE, "cannot be below zero"),
        ("-2 months", Dimension.AGE, "cannot be below zero"),
        ("-400 lb a day", Dimension.MASS_PER_DAY, "cannot be below zero"),
    ],
)
def test_what_cannot_be_read_is_said_with_the_units_there_are(
    text: str, dimension: Dimension, words: str
) -> None:
    with pytest.raises(UnreadableQuantity, match=words):
        read(text, dimension)


@pytest.mark.parametrize(
    ("text", "dimension", "words"),
    [
        ("45 psia", Dimension.WATER_PRESSURE, "psia is a pressure; this asks for a water pressure"),
        ("6 months", Dimension.DURATION, "months is a number of weeks or months"),
        ("12 amps", Dimension.VOLTAGE, "amps is a current; this asks for a voltage"),
        ("6:20", Dimension.AGE, "is a length of time"),
    ],
)
def test_another_kind_of_quantity_is_named(text: str, dimension: Dimension, words: str) -> None:
    with pytest.raises(WrongDimension, match=words):
        read(text, dimension)


@pytest.mark.parametrize("text", ["between 5 and 6 months", "400 to 420 lb a day"])
def test_two_values_are_not_one(text: str) -> None:
    for dimension in (Dimension.AGE, Dimension.MASS_PER_DAY):
        with pytest.raises(QuantityError):
            read(text, dimension)
