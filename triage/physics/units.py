"""Units people of this trade type, and their exact conversion to SI.

Factors are those of NIST Special Publication 811 (2008), appendix B; most are exact by definition
(inch 0.0254 m, pound 0.453 592 37 kg, standard gravity 9.806 65 m/s², US gallon 231 cubic inches).
The inch of mercury is the conventional one, 3386.389 Pa. Amounts a day or per weight of ice are
typed in many ways; `triage.physics.spoken` brings them into the names here.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from enum import StrEnum
from itertools import product

INCH_M = 0.0254
"""One inch in metres, exact."""

POUND_KG = 0.45359237
"""One avoirdupois pound in kilograms, exact."""

STANDARD_GRAVITY_M_PER_S2 = 9.80665
"""Standard acceleration of gravity, exact."""

PSI_PA = POUND_KG * STANDARD_GRAVITY_M_PER_S2 / INCH_M**2
"""One pound-force per square inch in pascal, 6894.757 293 168."""

INCH_OF_MERCURY_PA = 3386.389
"""One conventional inch of mercury in pascal."""

GALLON_M3 = 231 * INCH_M**3
"""One US gallon in cubic metres, exact."""

GRAIN_KG = POUND_KG / 7000
"""One grain in kilograms, exact."""

DAY_S = 86_400.0
"""One day in seconds."""

YEAR_S = 365 * DAY_S
"""One year of 365 days in seconds, as NIST SP 811 has it; a month is a twelfth."""


class Dimension(StrEnum):
    """What kind of thing a number with a unit measures."""

    GAUGE_PRESSURE = "gauge_pressure"
    TEMPERATURE = "temperature"
    TEMPERATURE_DIFFERENCE = "temperature_difference"
    DURATION = "duration"
    LENGTH = "length"
    MASS = "mass"
    VOLTAGE = "voltage"
    RESISTANCE = "resistance"
    MASS_PER_DAY = "mass_per_day"
    ENERGY_PER_MASS = "energy_per_mass"
    VOLUME_PER_MASS = "volume_per_mass"
    CONCENTRATION = "concentration"
    WATER_PRESSURE = "water_pressure"
    CURRENT = "current"
    VOLUME = "volume"
    AGE = "age"


class UnitSystem(StrEnum):
    """Which units a person thinks in."""

    US = "us"
    SI = "si"


@dataclass(frozen=True, slots=True)
class Unit:
    """One unit: SI value = reading x `factor` + `zero_si`.

    `names` are the ways to type it, folded as `fold_unit` folds. `is_gauge` pressures count from
    the local barometric pressure. `is_thousands_usual` tells that four-digit readings are common
    in it, so a comma before three digits groups thousands.
    """

    symbol: str
    dimension: Dimension
    factor: float
    names: frozenset[str]
    zero_si: float = 0.0
    is_gauge: bool = False
    is_thousands_usual: bool = False

    def to_si(self, value: float, barometric_pressure_pa: float) -> float:
        """Return `value` of this unit in SI, gauge pressures made absolute.

        >>> round(unit_named("psi", Dimension.GAUGE_PRESSURE).to_si(62.0, 101_325.0))
        528800
        """
        return value * self.factor + self.zero_si + (barometric_pressure_pa * self.is_gauge)

    def from_si(self, si_value: float, barometric_pressure_pa: float) -> float:
        """Return the SI value `si_value` (pressures absolute pascal) in this unit."""
        return (si_value - self.zero_si - barometric_pressure_pa * self.is_gauge) / self.factor


def fold_unit(text: str) -> str:
    """Return unit text without case, spaces, dots, brackets, "deg" and "of".

    >>> fold_unit("deg. F"), fold_unit("Inches of Hg vac"), fold_unit("bar (g)")
    ('f', 'incheshgvac', 'barg')
    """
    words = text.lower().replace(".", " ").replace("(", " ").replace(")", " ")
    for mark in ("°", "º", "˚"):
        words = words.replace(mark, " ° ")
    kept = (w for w in words.split() if w not in {"of", "deg", "degs", "degree", "degrees", "°"})
    return "".join(kept).replace("''", '"')


def _joined(stems: str, tails: str = "") -> frozenset[str]:
    """Return every stem alone and with every tail behind it."""
    return frozenset(a + b for a, b in product(stems.split(), ["", *tails.split()]))


def _only_joined(stems: str, tails: str) -> frozenset[str]:
    """Return every stem with every tail behind it, never alone."""
    return frozenset(a + b for a, b in product(stems.split(), tails.split()))


_GAUGE = "g gauge gage ga"
_ABSOLUTE = "a abs absolute"
_VACUUM = "vac vacuum v"
_PSI = "psi lb/in2 lbs/in2 lbf/in2 lb/in² poundspersquareinch poundpersquareinch"
_POUND_AS_PRESSURE = "# lb lbs pound pounds lbspressure poundspressure lbpressure #pressure"
_INHG = 'inhg inchhg incheshg "hg inchesmercury inchmercury hg'
_KGF = "kg/cm2 kgf/cm2 kg/cm² kgf/cm² kgcm2 ksc"


def _pressures() -> Iterator[Unit]:
    for symbol, stems, factor, is_grouped in (
        ("psi", _PSI, PSI_PA, False),
        ("bar", "bar bars", 1e5, False),
        ("kPa", "kpa kilopascal kilopascals", 1e3, True),
        ("MPa", "mpa megapascal megapascals", 1e6, False),
        ("mbar", "mbar millibar millibars hpa", 1e2, True),
        ("kgf/cm2", _KGF, STANDARD_GRAVITY_M_PER_S2 * 1e4, False),
    ):
        typed = _joined(stems, _GAUGE) | (
            frozenset(_POUND_AS_PRESSURE.split()) if symbol == "psi" else frozenset()
        )
        yield Unit(
            "psig" if symbol == "psi" else symbol,
            Dimension.GAUGE_PRESSURE,
            factor,
            typed,
            is_gauge=True,
            is_thousands_usual=is_grouped,
        )
        yield Unit(
            {"psi": "psia", "bar": "bara"}.get(symbol, f"{symbol} abs"),
            Dimension.GAUGE_PRESSURE,
            factor,
            _only_joined(stems, _ABSOLUTE),
            is_thousands_usual=is_grouped,
        )
        yield Unit(
            f"{symbol} vac",
            Dimension.GAUGE_PRESSURE,
            -factor,
            _only_joined(stems, "vac vacuum invacuum"),
            is_gauge=True,
        )
    yield Unit(
        "inHg vac",
        Dimension.GAUGE_PRESSURE,
        -INCH_OF_MERCURY_PA,
        _only_joined(_INHG + ' in inch inches "', _VACUUM),
        is_gauge=True,
    )
    yield Unit(
        "inHg abs", Dimension.GAUGE_PRESSURE, INCH_OF_MERCURY_PA, _only_joined(_INHG, _ABSOLUTE)
    )
    yield Unit(
        "inHg", Dimension.GAUGE_PRESSURE, INCH_OF_MERCURY_PA, _joined(_INHG, _GAUGE), is_gauge=True
    )


def _others() -> Iterator[Unit]:
    temperature, difference = Dimension.TEMPERATURE, Dimension.TEMPERATURE_DIFFERENCE
    fahrenheit = _joined("f fahrenheit farenheit degf")
    celsius = _joined("c celsius celcius centigrade degc")
    kelvin = _joined("k kelvin kelvins")
    yield Unit("°F", temperature, 5 / 9, fahrenheit, zero_si=459.67 * 5 / 9)
    yield Unit("°C", temperature, 1.0, celsius, zero_si=273.15)
    yield Unit("K", temperature, 1.0, kelvin)
    yield Unit("°F", difference, 5 / 9, fahrenheit)
    yield Unit("K", difference, 1.0, kelvin | celsius)
    duration = Dimension.DURATION
    yield Unit("h", duration, 3600.0, _joined("h hr hrs hour hours"))
    yield Unit("min", duration, 60.0, _joined("min mins minute minutes m '"))
    seconds = _joined('s sec secs second seconds "')
    yield Unit("s", duration, 1.0, seconds, is_thousands_usual=True)
    length = Dimension.LENGTH
    yield Unit("in", length, INCH_M, _joined('in inch inches ins "'))
    yield Unit("ft", length, 12 * INCH_M, _joined("ft foot feet '", "asl"), is_thousands_usual=True)
    yield Unit("mm", length, 1e-3, _joined("mm millimeter millimeters millimetre millimetres"))
    yield Unit("cm", length, 1e-2, _joined("cm centimeter centimeters centimetre centimetres"))
    yield Unit(
        "m", length, 1.0, _joined("m meter meters metre metres", "asl"), is_thousands_usual=True
    )
    mass = Dimension.MASS
    yield Unit("lb", mass, POUND_KG, _joined("lb lbs pound pounds # lbm"))
    yield Unit("oz", mass, POUND_KG / 16, _joined("oz ounce ounces"))
    yield Unit("kg", mass, 1.0, _joined("kg kgs kilo kilos kilogram kilograms"))
    yield Unit("g", mass, 1e-3, _joined("g gr gram grams"), is_thousands_usual=True)
    currents = "ac dc rms acrms"
    yield Unit("V", Dimension.VOLTAGE, 1.0, _joined("v volt volts", currents))
    yield Unit(
        "mV",
        Dimension.VOLTAGE,
        1e-3,
        _joined("mv millivolt millivolts", currents),
        is_thousands_usual=True,
    )
    ohms = _joined("ohm ohms ω r")
    yield Unit("Ω", Dimension.RESISTANCE, 1.0, ohms, is_thousands_usual=True)
    kilohms = _joined("k kohm kohms kω kiloohm kiloohms kilohm kilohms")
    yield Unit("kΩ", Dimension.RESISTANCE, 1e3, kilohms)
    yield Unit("MΩ", Dimension.RESISTANCE, 1e6, _joined("meg megohm megohms megaohm megaohms megω"))


_POUNDS, _KILOS = "lb lbs pound pounds # lbm", "kg kgs kilo kilos kilogram kilograms"
_GALLONS = "gal gals gallon gallons usgal usgallon usgallons"
_LITERS = "l ltr liter liters litre litres"
_KWH = "kwh kwhr kwhrs kilowatthour kilowatthours kilowatt-hour kilowatt-hours"


def _of_ice() -> Iterator[Unit]:
    """Yield the units of a rating: what is made in a day, and used for so much ice.

    Ice a day is often told as a bare weight, water for it as a bare volume.
    """
    per_day, energy, water = (
        Dimension.MASS_PER_DAY, Dimension.ENERGY_PER_MASS, Dimension.VOLUME_PER_MASS
    )  # fmt: skip
    for symbol, stems, mass_kg in (("lb", _POUNDS, POUND_KG), ("kg", _KILOS, 1.0)):
        a_day, an_hour = _joined(stems, "/day /d"), _only_joined(stems, "/h")
        yield Unit(f"{symbol}/24 h", per_day, mass_kg / DAY_S, a_day, is_thousands_usual=True)
        yield Unit(f"{symbol}/h", per_day, mass_kg / 3600.0, an_hour)
        hundred = [f"/hundred{stem}" for stem in stems.split()]
        for_so_much = _only_joined(_KWH, " ".join(hundred))
        yield Unit(f"kWh/100 {symbol}", energy, 36_000.0 / mass_kg, for_so_much)
        names, volume, volume_m3 = (
            (_GALLONS, "gal", GALLON_M3) if symbol == "lb" else (_LITERS, "L", 1e-3)
        )
        for_so_much = _joined(names, " ".join(hundred))
        yield Unit(f"{volume}/100 {symbol}", water, volume_m3 / (100.0 * mass_kg), for_so_much)


def _of_water() -> Iterator[Unit]:
    """Yield the units of a water supply: what is dissolved in it, its pressure, its volume."""
    concentration = Dimension.CONCENTRATION
    milligrams = _joined("mg/l mg/liter mg/litre ppm")
    grains = _joined("gpg grain grains gr grains/gal grains/gallon grain/gallon")
    yield Unit("mg/L", concentration, 1e-3, milligrams, is_thousands_usual=True)
    yield Unit("gpg", concentration, GRAIN_KG / GALLON_M3, grains)
    pressure = Dimension.WATER_PRESSURE
    psi = _joined(_PSI, _GAUGE) | frozenset(_POUND_AS_PRESSURE.split())
    yield Unit("psi", pressure, PSI_PA, psi)
    yield Unit("bar", pressure, 1e5, _joined("bar bars", _GAUGE))
    kilopascals = _joined("kpa kilopascal kilopascals", _GAUGE)
    yield Unit("kPa", pressure, 1e3, kilopascals, is_thousands_usual=True)
    volume = Dimension.VOLUME
    milliliters = _joined("ml milliliter milliliters millilitre millilitres cc")
    ounces = _joined("floz fluidounce fluidounces oz ounce ounces")
    yield Unit("gal", volume, GALLON_M3, _joined(_GALLONS))
    yield Unit("qt", volume, GALLON_M3 / 4, _joined("qt qts quart quarts"))
    yield Unit("pt", volume, GALLON_M3 / 8, _joined("pt pts pint pints"))
    yield Unit("fl oz", volume, GALLON_M3 / 128, ounces)
    yield Unit("L", volume, 1e-3, _joined(_LITERS))
    yield Unit("mL", volume, 1e-6, milliliters, is_thousands_usual=True)


def _of_upkeep() -> Iterator[Unit]:
    """Yield the units of a current, and of the time since something was last done."""
    amps = _joined("a amp amps ampere amperes", "ac rms")
    milliamps = _joined("ma milliamp milliamps milliampere milliamperes", "ac rms")
    yield Unit("A", Dimension.CURRENT, 1.0, amps)
    yield Unit("mA", Dimension.CURRENT, 1e-3, milliamps, is_thousands_usual=True)
    age = Dimension.AGE
    yield Unit("days", age, DAY_S, _joined("d day days"))
    yield Unit("weeks", age, 7 * DAY_S, _joined("w wk wks week weeks"))
    yield Unit("months", age, YEAR_S / 12, _joined("mo mos mon month months mth mths"))
    yield Unit("years", age, YEAR_S, _joined("y yr yrs year years"))


UNITS: tuple[Unit, ...] = (*_pressures(), *_others(), *_of_ice(), *_of_water(), *_of_upkeep())
"""Every unit, grouped by dimension."""

_BY_NAME: dict[tuple[Dimension, str], Unit] = {
    (unit.dimension, name): unit for unit in UNITS for name in {*unit.names, fold_unit(unit.symbol)}
}

_DEFAULTS: dict[Dimension, tuple[str, str]] = {
    Dimension.GAUGE_PRESSURE: ("psig", "bar"),
    Dimension.TEMPERATURE: ("°F", "°C"),
    Dimension.TEMPERATURE_DIFFERENCE: ("°F", "K"),
    Dimension.DURATION: ("min", "min"),
    Dimension.LENGTH: ("in", "mm"),
    Dimension.MASS: ("lb", "kg"),
    Dimension.VOLTAGE: ("V", "V"),
    Dimension.RESISTANCE: ("Ω", "Ω"),
    Dimension.MASS_PER_DAY: ("lb/24 h", "kg/24 h"),
    Dimension.ENERGY_PER_MASS: ("kWh/100 lb", "kWh/100 kg"),
    Dimension.VOLUME_PER_MASS: ("gal/100 lb", "L/100 kg"),
    Dimension.CONCENTRATION: ("mg/L", "mg/L"),
    Dimension.WATER_PRESSURE: ("psi", "bar"),
    Dimension.CURRENT: ("A", "A"),
    Dimension.VOLUME: ("gal", "L"),
    Dimension.AGE: ("months", "months"),
}

NOUNS: dict[Dimension, str] = {
    Dimension.GAUGE_PRESSURE: "a pressure",
    Dimension.TEMPERATURE: "a temperature",
    Dimension.TEMPERATURE_DIFFERENCE: "a temperature difference",
    Dimension.DURATION: "a length of time",
    Dimension.LENGTH: "a length",
    Dimension.MASS: "a weight",
    Dimension.VOLTAGE: "a voltage",
    Dimension.RESISTANCE: "a resistance",
    Dimension.MASS_PER_DAY: "a weight of ice a day",
    Dimension.ENERGY_PER_MASS: "an energy use",
    Dimension.VOLUME_PER_MASS: "a water use",
    Dimension.CONCENTRATION: "an amount dissolved in water",
    Dimension.WATER_PRESSURE: "a water pressure",
    Dimension.CURRENT: "a current",
    Dimension.VOLUME: "a volume",
    Dimension.AGE: "a number of weeks or months",
}
"""How a sentence calls a value of each dimension."""

HINTS: dict[Dimension, str] = {
    Dimension.GAUGE_PRESSURE: "psig or bar",
    Dimension.TEMPERATURE: "°F or °C",
    Dimension.TEMPERATURE_DIFFERENCE: "°F or K",
    Dimension.DURATION: "min or s, as in 6:20",
    Dimension.LENGTH: "in or mm",
    Dimension.MASS: "lb or kg",
    Dimension.VOLTAGE: "V",
    Dimension.RESISTANCE: "Ω, or OL for open",
    Dimension.MASS_PER_DAY: "lb/24 h or kg/24 h",
    Dimension.ENERGY_PER_MASS: "kWh/100 lb or kWh/100 kg",
    Dimension.VOLUME_PER_MASS: "gal/100 lb or L/100 kg",
    Dimension.CONCENTRATION: "mg/L, ppm, or gpg for grains per gallon",
    Dimension.WATER_PRESSURE: "psi or bar, as a gauge shows it",
    Dimension.CURRENT: "A",
    Dimension.VOLUME: "gal or L",
    Dimension.AGE: "days, weeks, months or years, or never",
}
"""The units a sentence offers for each dimension."""


def default_unit_of(dimension: Dimension, system: UnitSystem) -> str:
    """Return the symbol of the unit a bare number stands for.

    >>> default_unit_of(Dimension.GAUGE_PRESSURE, UnitSystem.SI)
    'bar'
    """
    us, si = _DEFAULTS[dimension]
    return us if system is UnitSystem.US else si


def dimension_of(kind: str) -> Dimension:
    """Return the dimension that a reading of this kind is measured in.

    Raise ValueError for a kind that is no measured number, such as a choice.

    >>> dimension_of("duration").value
    'duration'
    """
    return Dimension(kind)


def unit_named(text: str, dimension: Dimension) -> Unit | None:
    """Return the unit of `dimension` typed as `text` (a symbol or any usual name), or None.

    >>> unit_named("lbs", Dimension.MASS).symbol, unit_named("lbs", Dimension.GAUGE_PRESSURE).symbol
    ('lb', 'psig')
    """
    return _BY_NAME.get((dimension, fold_unit(text)))


def unit_of(symbol: str, dimension: Dimension) -> Unit:
    """Return the unit of `dimension` with this symbol; raise KeyError if there is none.

    >>> unit_of("bar", Dimension.GAUGE_PRESSURE).factor
    100000.0
    """
    return _BY_NAME[dimension, fold_unit(symbol)]


def dimensions_of(text: str) -> tuple[Dimension, ...]:
    """Return every dimension in which `text` names a unit.

    >>> [str(dimension) for dimension in dimensions_of("bar")]
    ['gauge_pressure', 'water_pressure']
    """
    return tuple(dimension for dimension in Dimension if unit_named(text, dimension))
