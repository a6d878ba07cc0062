"""What people type for a number with a unit, and what it is in SI."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests.strategies import FIXED, Typed, quantities_as_typed, typed_lines
from triage.physics.quantity import (
    AmbiguousQuantity,
    Dimension,
    QuantityError,
    UnitSystem,
    UnreadableQuantity,
    WrongDimension,
    default_unit_of,
    dimension_of,
    parse_quantity,
)

P, T, DT = Dimension.GAUGE_PRESSURE, Dimension.TEMPERATURE, Dimension.TEMPERATURE_DIFFERENCE
TIME, LENGTH, MASS = Dimension.DURATION, Dimension.LENGTH, Dimension.MASS
VOLT, OHM = Dimension.VOLTAGE, Dimension.RESISTANCE
US, SI = UnitSystem.US, UnitSystem.SI


def read(text: str, dimension: Dimension, system: UnitSystem = US) -> float:
    return parse_quantity(text, dimension, default_unit_of(dimension, system)).si()


# Text, gauge pressure in pascal (absolute where the text says so). Factors from NIST SP 811.
GAUGE = {
    "62": 427_475,
    "62 psi": 427_475,
    "62psi": 427_475,
    "62 psig": 427_475,
    "62psig": 427_475,
    "62 PSI": 427_475,
    "62 psi.": 427_475,
    "62 #": 427_475,
    "62#": 427_475,
    "62 lbs": 427_475,
    "62 lb": 427_475,
    "62 pounds": 427_475,
    "62 lbs of pressure": 427_475,
    "62 pounds per square inch": 427_475,
    "62 lb/in2": 427_475,
    "62.0": 427_475,
    "62,0": 427_475,
    "about 62": 427_475,
    "around 62 psi": 427_475,
    "roughly 62": 427_475,
    "~62": 427_475,
    "~ 62 psi": 427_475,
    "≈62 psi": 427_475,
    "approx. 62 psi": 427_475,
    "it's 62": 427_475,
    "it reads 62 psi": 427_475,
    "62 or so": 427_475,
    "62ish": 427_475,
    "62-ish": 427_475,
    "62 psi I think": 427_475,
    "(62 psi)": 427_475,
    "sixty-two": 427_475,
    "sixty two psi": 427_475,
    "a hundred and five psi": 723_950,
    "three hundred and five": 2_102_901,
    "62½ psi": 430_922,
    "６２ psi": 427_475,
    "4.3 bar": 430_000,
    "4,3 bar": 430_000,
    "4.3bar": 430_000,
    "4.3 barg": 430_000,
    "4.3 bar(g)": 430_000,
    "4.3 bar g": 430_000,
    "430kPa": 430_000,
    "430 kPa": 430_000,
    "430 kpa g": 430_000,
    "1,600 kPa": 1_600_000,
    "0.43 MPa": 430_000,
    "4300 mbar": 430_000,
    "4.4 kg/cm2": 431_493,
    "4.4 kg/cm²": 431_493,
    "4.4 kgf/cm2": 431_493,
    "10 inHg vac": -33_864,
    "10 in Hg vacuum": -33_864,
    '10" vacuum': -33_864,
    '10" vac': -33_864,
    '10" Hg vac': -33_864,
    "10 in vac": -33_864,
    "10 inches of vacuum": -33_864,
    "10 inches of mercury vacuum": -33_864,
    "-5 psi": -34_474,
    "−5 psi": -34_474,
    "minus 5 psi": -34_474,
    "2 psi vacuum": -13_790,
    "0": 0,
    "62 psia": 427_475 - 101_325,
    "62 psi abs": 427_475 - 101_325,
    "62 psi absolute": 427_475 - 101_325,
    "4.3 bara": 430_000 - 101_325,
    "4.3 bar abs": 430_000 - 101_325,
    "4.3 bar(a)": 430_000 - 101_325,
    "430 kPa abs": 430_000 - 101_325,
    "30 inHg abs": 101_592 - 101_325,
}


@pytest.mark.parametrize(("text", "gauge_pa"), GAUGE.items())
def test_a_typed_pressure_is_absolute_pascal(text: str, gauge_pa: float) -> None:
    assert read(text, P) - 101_325 == pytest.approx(gauge_pa, abs=1.0)


TEMPERATURES = {
    "18.5C": 291.65,
    "18.5 C": 291.65,
    "18.5 °C": 291.65,
    "18,5 °C": 291.65,
    "18.5 ℃": 291.65,
    "18.5 deg C": 291.65,
    "18½ C": 291.65,
    "20 degrees celsius": 293.15,
    "20 centigrade": 293.15,
    "150 F": 338.706,
    "150F": 338.706,
    "150 deg f": 338.706,
    "150 degrees F": 338.706,
    "150 degrees": 338.706,
    "150°": 338.706,
    "150 °F": 338.706,
    "150 ℉": 338.706,
    "150 Fahrenheit": 338.706,
    "150": 338.706,
    "minus 5 C": 268.15,
    "-5 C": 268.15,
    "−5 C": 268.15,
    "negative 5 C": 268.15,
    "5 C below zero": 268.15,
    "5 below zero": 252.594,
    "-5": 252.594,
    "+5": 258.15,
    "seventy": 294.261,
    "70ish": 294.261,
    "291.65 K": 291.65,
}


@pytest.mark.parametrize(("text", "kelvin"), TEMPERATURES.items())
def test_a_typed_temperature_is_kelvin(text: str, kelvin: float) -> None:
    assert read(text, T) == pytest.approx(kelvin, abs=0.001)


DURATIONS = {
    "6:20": 380,
    "06:20": 380,
    "6:20 min": 380,
    "6 min 20": 380,
    "6 min 20 s": 380,
    "6 min 20 sec": 380,
    "6 min. 20 sec.": 380,
    "6 minutes and 20 seconds": 380,
    "6m20s": 380,
    "6m 20s": 380,
    "6'20\"": 380,
    "6’20”": 380,
    "380 s": 380,
    "380s": 380,
    "380 seconds": 380,
    "6.5 min": 390,
    "6,5 min": 390,
    "6.5": 390,
    "6 1/2 min": 390,
    "6-1/2 min": 390,
    "6½ min": 390,
    "6½": 390,
    "6 ½ minutes": 390,
    "six and a half minutes": 390,
    "6 and a half": 390,
    "about 6 minutes": 360,
    "12": 720,
    "twelve": 720,
    "90 sec": 90,
    "half an hour": 1800,
    "a quarter of an hour": 900,
    "1 h 5 min": 3900,
    "1h5": 3900,
    "1 hr 5 min 10 s": 3910,
    "1:05:00": 3900,
    "1:30 h": 5400,
    "2 hours": 7200,
}


@pytest.mark.parametrize(("text", "seconds"), DURATIONS.items())
def test_a_typed_time_is_seconds(text: str, seconds: float) -> None:
    assert read(text, TIME) == pytest.approx(seconds, abs=1e-6)


LENGTHS = {
    '3/16"': 0.0047625,
    "3/16 in": 0.0047625,
    "3/16 of an inch": 0.0047625,
    "3/16": 0.0047625,
    "3/16ths": 0.0047625,
    "three sixteenths": 0.0047625,
    "3 sixteenths of an inch": 0.0047625,
    "1/4 inch": 0.00635,
    "a quarter inch": 0.00635,
    "quarter inch": 0.00635,
    "quarter of an inch": 0.00635,
    "¼ in": 0.00635,
    "an eighth of an inch": 0.003175,
    "1/8th of an inch": 0.003175,
    "half an inch": 0.0127,
    '1 1/4"': 0.03175,
    "0.1875 in": 0.0047625,
    "0,125 in": 0.003175,
    ".125": 0.003175,
    "5 mm": 0.005,
    "5mm": 0.005,
    "4,8 mm": 0.0048,
    "0.5 cm": 0.005,
    "5000 ft": 1524.0,
    "5,000 ft": 1524.0,
    "5 ft 6 in": 1.6764,
    "1,600 m": 1600.0,
    "1600 meters": 1600.0,
    "-86 m": -86.0,
    "sea level": 0.0,
}


@pytest.mark.parametrize(("text", "metres"), LENGTHS.items())
def test_a_typed_length_is_metres(text: str, metres: float) -> None:
    assert read(text, LENGTH) == pytest.approx(metres, rel=1e-9)


OTHERS = [
    ("7 lb 4 oz", MASS, 3.28854),
    ("7 lbs 4 oz", MASS, 3.28854),
    ("7 pounds 4 ounces", MASS, 3.28854),
    ("7 lb and 4 oz", MASS, 3.28854),
    ("7 lb 4", MASS, 3.28854),
    ("seven pounds four ounces", MASS, 3.28854),
    ("116 oz", MASS, 3.28854),
    ("7.25 lb", MASS, 3.28854),
    ("7#", MASS, 3.17515),
    ("7", MASS, 3.17515),
    ("3.4 kg", MASS, 3.4),
    ("3,4 kg", MASS, 3.4),
    ("3 kg 400 g", MASS, 3.4),
    ("1,600 g", MASS, 1.6),
    ("24v", VOLT, 24.0),
    ("24 V", VOLT, 24.0),
    ("24 volts", VOLT, 24.0),
    ("24 volts ac", VOLT, 24.0),
    ("24 VAC", VOLT, 24.0),
    ("24V AC", VOLT, 24.0),
    ("24.5", VOLT, 24.5),
    ("zero", VOLT, 0.0),
    ("300 mV", VOLT, 0.3),
    ("12 ohms", OHM, 12.0),
    ("12 Ω", OHM, 12.0),
    ("12Ω", OHM, 12.0),
    ("12", OHM, 12.0),
    ("1.2k", OHM, 1200.0),
    ("1.2 k", OHM, 1200.0),
    ("1.2 kohm", OHM, 1200.0),
    ("1.2 kΩ", OHM, 1200.0),
    ("1,200 ohms", OHM, 1200.0),
    ("1.2 Mohm", OHM, 1.2e6),
    ("2 megohms", OHM, 2e6),
    ("OL", OHM, math.inf),
    ("O.L.", OHM, math.inf),
    ("reads OL", OHM, math.inf),
    ("open", OHM, math.inf),
    ("it's open", OHM, math.inf),
    ("open circuit", OHM, math.inf),
    ("infinite", OHM, math.inf),
    ("∞", OHM, math.inf),
    ("10 F", DT, 50 / 9),
    ("10", DT, 50 / 9),
    ("10 degrees", DT, 50 / 9),
    ("5.5 K", DT, 5.5),
    ("5.5 °C", DT, 5.5),
    ("-2 K", DT, -2.0),
]


@pytest.mark.parametrize(("text", "dimension", "si_value"), OTHERS)
def test_a_typed_value_is_si(text: str, dimension: Dimension, si_value: float) -> None:
    assert read(text, dimension) == pytest.approx(si_value, rel=1e-5)


@pytest.mark.parametrize(
    ("text", "dimension", "si_value"),
    [
        ("4.3", P, 531_325.0),
        ("4,3", P, 531_325.0),
        ("18.5", T, 291.65),
        ("18.5°", T, 291.65),
        ("5", LENGTH, 0.005),
        ("3.4", MASS, 3.4),
        ("5.5", DT, 5.5),
        ("6", TIME, 360.0),
    ],
)
def test_a_bare_number_takes_the_unit_of_the_callers_system(
    text: str, dimension: Dimension, si_value: float
) -> None:
    assert read(text, dimension, SI) == pytest.approx(si_value)


def test_gauge_pressure_counts_from_the_local_barometer() -> None:
    typed = parse_quantity("62 psi", P, None)
    assert typed.si(84_000.0) == pytest.approx(427_475 + 84_000, abs=1.0)
    assert parse_quantity("62 psia", P, None).si(84_000.0) == pytest.approx(427_475, abs=1.0)


def test_the_quantity_keeps_unit_and_text_as_typed() -> None:
    typed = parse_quantity("about 4,3 bar", P, "psig")
    assert (typed.value, typed.unit, typed.typed) == (4.3, "bar", "about 4,3 bar")


@pytest.mark.parametrize(
    ("text", "dimension", "message"),
    [
        ("4.3 bar", T, "bar is a pressure; this asks for a temperature (°F or °C)"),
        ("62 psi", T, "psi is a pressure; this asks for a temperature (°F or °C)"),
        ("62 C", P, "C is a temperature; this asks for a pressure (psig or bar)"),
        ("24 V", P, "V is a voltage; this asks for a pressure (psig or bar)"),
        ("12 ohms", VOLT, "ohms is a resistance; this asks for a voltage (V)"),
        ("5 mm", TIME, "mm is a length; this asks for a length of time (min or s, as in 6:20)"),
        ("12 min", LENGTH, "min is a length of time; this asks for a length (in or mm)"),
        ("3 kg", LENGTH, "kg is a weight; this asks for a length (in or mm)"),
        ("6:20", P, "6:20 is a length of time (min:s); this asks for a pressure (psig or bar)"),
        ("150 F", VOLT, "F is a temperature; this asks for a voltage (V)"),
    ],
)
def test_a_unit_of_another_kind_is_named_with_what_is_asked(
    text: str, dimension: Dimension, message: str
) -> None:
    with pytest.raises(WrongDimension) as caught:
        read(text, dimension)
    assert str(caught.value) == message


@pytest.mark.parametrize(
    ("text", "dimension"),
    [
        ("1,600", P),
        ("2,700 bar", P),
        ("2,700 psi", P),
        ("60-65 psi", P),
        ("60 - 65", P),
        ("60 to 65", P),
        ("between 60 and 65 psi", P),
        ("60psi-65psi", P),
        ("305/62", P),
        ("62/305", P),
        ("1/0", LENGTH),
        ("10 inHg", P),
        ("1.2 mohm", OHM),
        ("1.2m", OHM),
        ("10 or 12 min", TIME),
    ],
)
def test_a_text_with_two_meanings_is_asked_back(text: str, dimension: Dimension) -> None:
    with pytest.raises(AmbiguousQuantity):
        read(text, dimension)


def test_the_two_meanings_of_a_comma_are_both_named() -> None:
    with pytest.raises(AmbiguousQuantity, match=r"2,700 can mean 2\.7 or 2700"):
        read("2,700 bar", P)


def test_a_bare_number_without_default_unit_is_asked_back() -> None:
    with pytest.raises(AmbiguousQuantity, match="needs a unit"):
        parse_quantity("62", P, None)


@pytest.mark.parametrize(
    ("text", "dimension"),
    [
        ("", P),
        ("bar", P),
        ("psi", P),
        ("fine", P),
        ("high", P),
        ("62 bananas", P),
        ("62 psi 305", P),
        ("62 psi psi", P),
        ("62 305", P),
        ("62.5.3", P),
        ("1e999", P),
        ("6.2e1 psi", P),
        ("nan", P),
        ("inf", P),
        ("-inf psi", P),
        ("OL", P),
        ("0x3e", P),
        ("62²", P),
        ("over 300", P),
        ("> 300", P),
        ("-30 psi", P),
        ("40 inHg vac", P),
        ("99999999999999999999", P),
        ("62 psi " * 20, P),
        ("-500 F", T),
        ("-1 K", T),
        ("6:75", TIME),
        ("6:2", TIME),
        ("6:20:90", TIME),
        ("6:20 pm", TIME),
        ("-5 min", TIME),
        ("6 min 75", TIME),
        ("6.5 min 20 s", TIME),
        ("20 s 6 min", TIME),
        ("7 lb 20 oz", MASS),
        ("-3 kg", MASS),
        ("-24 V", VOLT),
        ("-1 ohm", OHM),
        ("shorted", OHM),
    ],
)
def test_what_cannot_be_a_value_is_refused(text: str, dimension: Dimension) -> None:
    with pytest.raises(UnreadableQuantity):
        read(text, dimension)


def test_a_pressure_below_vacuum_at_this_altitude_is_refused() -> None:
    typed = parse_quantity("-13 psi", P, None)
    assert typed.si(101_325.0) > 0
    with pytest.raises(UnreadableQuantity, match="perfect vacuum"):
        typed.si(80_000.0)


def test_a_message_shows_no_control_characters_and_stays_short() -> None:
    with pytest.raises(QuantityError) as caught:
        read("\x1b[31m" + "x" * 70, P)
    assert str(caught.value).isprintable()
    assert len(str(caught.value)) < 160


def test_a_choice_has_no_dimension() -> None:
    assert dimension_of("gauge_pressure") is P
    with pytest.raises(ValueError, match="choice"):
        dimension_of("choice")


@FIXED
@given(quantities_as_typed())
def test_a_number_with_a_written_unit_is_read_whatever_the_default(typed: Typed) -> None:
    for default in (None, *(default_unit_of(typed.dimension, system) for system in UnitSystem)):
        quantity = parse_quantity(typed.text, typed.dimension, default)
        assert quantity.si() == pytest.approx(typed.si, rel=1e-9, abs=1e-9)


@FIXED
@given(st.one_of(st.text(max_size=90), typed_lines()), st.sampled_from(list(Dimension)))
def test_any_text_gives_a_finite_value_or_a_quantity_error(text: str, dimension: Dimension) -> None:
    message = ""
    try:
        quantity = parse_quantity(text, dimension, default_unit_of(dimension, US))
    except QuantityError as error:
        message = str(error)
    if message:
        assert message.isprintable()
        return
    assert abs(quantity.value) < 1e17 or (dimension is OHM and quantity.value == math.inf)
