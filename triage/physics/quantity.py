"""A number with its unit, as typed, into a checked value.

    QuantityError              root, a PhysicsError and so a ValueError
    ├── UnreadableQuantity     no number and unit can be made of the text
    ├── WrongDimension         the unit measures something else than was asked for
    └── AmbiguousQuantity      it can mean two things

What is accepted is told by the tests; the comma rule is in `triage.physics.numerals`, the way back
into text in `triage.physics.quantity_format`.
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass

from triage.physics.errors import PhysicsError
from triage.physics.numerals import (
    NUMBER,
    NumberProblem,
    TwoMeanings,
    clock_seconds,
    is_clock,
    number_value,
    with_figures,
    with_plain_marks,
)
from triage.physics.pressure import STANDARD_ATMOSPHERE_PA
from triage.physics.quantity_format import format_both, format_quantity
from triage.physics.spoken import is_never, with_plain_units
from triage.physics.units import (
    HINTS,
    NOUNS,
    Dimension,
    Unit,
    UnitSystem,
    default_unit_of,
    dimension_of,
    dimensions_of,
    fold_unit,
    unit_named,
    unit_of,
)

__all__ = [
    "AmbiguousQuantity",
    "Dimension",
    "Quantity",
    "QuantityError",
    "UnitSystem",
    "UnreadableQuantity",
    "WrongDimension",
    "default_unit_of",
    "dimension_of",
    "format_both",
    "format_quantity",
    "parse_quantity",
]

MOST_TYPED_CHARACTERS = 80
"""Longest text taken for one quantity."""

GREATEST_BAROMETRIC_PRESSURE_PA = 108_480.0
"""Highest sea-level pressure on record in pascal (World Meteorological Organization); no gauge
reads further below zero than this."""


class QuantityError(PhysicsError):
    """The typed quantity cannot be used; the message says why and how to mend it."""


class UnreadableQuantity(QuantityError):
    """No number and unit can be made of the text."""


class WrongDimension(QuantityError):
    """The unit measures something else than was asked for."""


class AmbiguousQuantity(QuantityError):
    """The text can mean two things."""


@dataclass(frozen=True, slots=True)
class Quantity:
    """A value in the unit it was typed in; `typed` keeps the text itself."""

    value: float
    unit: str
    dimension: Dimension
    typed: str

    def si(self, barometric_pressure_pa: float = STANDARD_ATMOSPHERE_PA) -> float:
        """Return the value in SI: absolute pascal, kelvin, second, metre, kilogram, volt, ohm.

        `barometric_pressure_pa` is the local air pressure a gauge counts from; the pressure of
        water stays as its gauge shows it. Raise UnreadableQuantity if the pressure would lie below
        a perfect vacuum. An open circuit is infinite, and so is the time since what never was.

        >>> round(parse_quantity("62 psi", Dimension.GAUGE_PRESSURE, None).si())
        528800
        """
        unit = unit_of(self.unit, self.dimension)
        si_value = unit.to_si(self.value, barometric_pressure_pa)
        if self.dimension is Dimension.GAUGE_PRESSURE and si_value < 0:
            raise UnreadableQuantity(
                f"{self.typed}: no pressure is lower than a perfect vacuum "
                f"({format_quantity(0.0, self.dimension, UnitSystem.US, barometric_pressure_pa)})"
            )
        return si_value


_ABOUT = (
    r"(?:about|around|roughly|approx(?:imately)?\.?|circa|ca\.?|c\.|maybe|perhaps|probably|nearly|"
    r"almost|say|call it|like|just|only|exactly|it(?:'s| is| was| reads| says| read| said)|its|"
    r"(?:i )?(?:got|get|have|see|read|had|saw|measured)|that(?:'s| is| was)|the|is|was|reads|"
    r"reading|showing|shows|at|~|=|:)"
)
_LEADING = re.compile(rf"^(?:{_ABOUT}(?![\w]) *|~ *|= *)+", re.IGNORECASE)
_TRAILING = re.compile(
    r"(?:[ -]?ish| or so| or thereabouts| give or take| more or less| roughly| about| approx\.?|"
    r" i (?:think|guess|believe)| maybe|,? please|,? sir|[.!,;])+$",
    re.IGNORECASE,
)
_SIGN = re.compile(r"^(?:(?P<minus>minus|negative|neg\.?|-) ?|plus |\+ ?)", re.IGNORECASE)
_BELOW_ZERO = re.compile(r" *below(?: zero| 0)?$", re.IGNORECASE)
_RANGE = re.compile(
    rf"(?:from |between )?{NUMBER}[^0-9]{{0,12}}?(?: ?-+ ?| ?\.\.+ ?| to | or | and | through )"
    rf"[-+]?{NUMBER}",
    re.IGNORECASE,
)
_PAIR = re.compile(rf" *(?P<number>{NUMBER}) *(?P<unit>[^0-9]*)")
_AND = re.compile(r"[ ,]+and *$", re.IGNORECASE)
_SQUARE = re.compile(r"(?i)(kgf?|lbs?|lbf)( ?/ ?)(cm|in)(?:2|²|\^2)")
_OPEN_CIRCUIT = re.compile(
    r"[o0]\.?l\.?|open(?:ed| circuit| line| coil)?|over ?l(?:imit|oad|ine)|inf(?:inite|inity)?"
    r"|no continuity|infinite ohms|ol ohms",
    re.IGNORECASE,
)
_SEA_LEVEL = re.compile(r"(?:at )?sea[ -]?level", re.IGNORECASE)
_SIGNED = frozenset(
    {
        Dimension.GAUGE_PRESSURE,
        Dimension.TEMPERATURE,
        Dimension.TEMPERATURE_DIFFERENCE,
        Dimension.LENGTH,
    }
)
"""What may lie below zero: a vacuum, frost, a site below the sea."""
_SMALLER: dict[tuple[Dimension, str], tuple[str, int]] = {
    (Dimension.DURATION, "h"): ("min", 60),
    (Dimension.DURATION, "min"): ("s", 60),
    (Dimension.MASS, "lb"): ("oz", 16),
    (Dimension.MASS, "kg"): ("g", 1000),
    (Dimension.LENGTH, "ft"): ("in", 12),
    (Dimension.LENGTH, "m"): ("cm", 100),
    (Dimension.VOLUME, "gal"): ("qt", 4),
    (Dimension.AGE, "years"): ("months", 12),
}
"""The unit that follows in a compound such as `7 lb 4 oz`, and how many of it make one."""


def parse_quantity(text: str, dimension: Dimension, default_unit: str | None) -> Quantity:
    """Return the quantity typed in `text`.

    `default_unit` is the unit of a bare number; with None a bare number is an AmbiguousQuantity.
    Raise UnreadableQuantity, WrongDimension or AmbiguousQuantity, each with a sentence for the
    caller. The value is finite, but for an open circuit (`OL`) and for `never` as an age.

    >>> parse_quantity("about 4,3 bar", Dimension.GAUGE_PRESSURE, "psig").value
    4.3
    >>> parse_quantity("6 min 20", Dimension.DURATION, "min").si()
    380.0
    """
    if len(text) > MOST_TYPED_CHARACTERS:
        raise UnreadableQuantity(
            f"that is too long for {NOUNS[dimension]}; type one value ({HINTS[dimension]})"
        )
    core = _SQUARE.sub(r"\1/\3²", with_figures(with_plain_marks(text)))
    core = with_plain_units(core, dimension)
    core = _TRAILING.sub("", _LEADING.sub("", core)).strip()
    if core.startswith("(") and core.endswith(")"):
        core = core[1:-1].strip()
    if dimension is Dimension.RESISTANCE and _OPEN_CIRCUIT.fullmatch(core.strip(". ")):
        return Quantity(math.inf, "Ω", dimension, text)
    if dimension is Dimension.AGE and is_never(core):
        return Quantity(math.inf, "months", dimension, text)
    if dimension is Dimension.LENGTH and _SEA_LEVEL.fullmatch(core):
        return Quantity(0.0, "m", dimension, text)
    core, is_negative = _without_sign(core, dimension)
    pairs = _pairs(core, text, dimension)
    value, unit = _value_of(pairs, text, dimension, default_unit)
    return _checked(-value if is_negative else value, unit, dimension, text)


def _without_sign(core: str, dimension: Dimension) -> tuple[str, bool]:
    is_negative = False
    if sign := _SIGN.match(core):
        is_negative = sign["minus"] is not None
        core = core[sign.end() :]
    if dimension is Dimension.TEMPERATURE and (below := _BELOW_ZERO.search(core)):
        return core[: below.start()], True
    return core, is_negative


def _pairs(core: str, text: str, dimension: Dimension) -> list[tuple[str, str]]:
    """Return the numbers of `core`, each with the unit text behind it."""
    pairs: list[tuple[str, str]] = []
    end = 0
    while end < len(core):
        match = _PAIR.match(core, end)
        if match is None:
            raise _unreadable(text, dimension)
        pairs.append((match["number"], _AND.sub("", match["unit"]).strip(" ,")))
        end = match.end()
    if not pairs:
        raise _unreadable(text, dimension)
    return pairs


def _value_of(
    pairs: list[tuple[str, str]], text: str, dimension: Dimension, default_unit: str | None
) -> tuple[float, Unit]:
    number, unit_text = pairs[0]
    if is_clock(number):
        if len(pairs) > 1:
            raise _unreadable(text, dimension)
        return _clock(number, unit_text, text, dimension)
    unit = _unit_of(unit_text, text, dimension, default_unit)
    value = _number(number, unit, text)
    if len(pairs) == 1:
        return value, unit
    return _compound(value, unit, pairs[1:], text, dimension)


def _compound(
    value: float, unit: Unit, rest: list[tuple[str, str]], text: str, dimension: Dimension
) -> tuple[float, Unit]:
    """Return `value` of `unit` and the smaller units behind it as one value."""
    total, last, share = value, unit, 1
    for number, unit_text in rest:
        smaller, count = _SMALLER.get((dimension, last.symbol), ("", 0))
        if not smaller or total * share % 1 or is_clock(number) or "/" in number:
            raise _unreadable(text, dimension)
        last = unit_of(smaller, dimension)
        if unit_text and unit_named(unit_text, dimension) is not last:
            raise _unreadable(text, dimension)
        part = _number(number, last, text)
        if part >= count:
            raise UnreadableQuantity(
                f'"{_shown(text)}": {number} {smaller} is more than one {unit.symbol}'
            )
        share *= count
        total += part / share
    if dimension is Dimension.DURATION:
        return round(total * share * last.factor, 6), unit_of("s", dimension)
    return total, unit


def _clock(number: str, unit_text: str, text: str, dimension: Dimension) -> tuple[float, Unit]:
    seconds = unit_of("s", Dimension.DURATION)
    if dimension is not Dimension.DURATION:
        raise WrongDimension(
            f"{number} is a length of time (min:s); this asks for {NOUNS[dimension]} "
            f"({HINTS[dimension]})"
        )
    try:
        value = clock_seconds(number)
    except NumberProblem as problem:
        raise UnreadableQuantity(f"{number} {problem}") from problem
    unit = unit_named(unit_text, dimension) if unit_text else None
    if not unit_text or fold_unit(unit_text) in {"mm:ss", "m:s", "min:s", "min:sec"}:
        return value, seconds
    if unit is not None and unit.symbol == "min":
        return value, seconds
    if unit is not None and unit.symbol == "h" and number.count(":") == 1:
        return value * 60, seconds
    raise _unreadable(text, dimension)


def _unit_of(unit_text: str, text: str, dimension: Dimension, default_unit: str | None) -> Unit:
    folded = fold_unit(unit_text)
    if not folded:
        unit = unit_named(default_unit, dimension) if default_unit else None
        if unit is None:
            raise AmbiguousQuantity(f'"{_shown(text)}" needs a unit ({HINTS[dimension]})')
        return unit
    if dimension is Dimension.RESISTANCE and folded in {"m", "mohm", "mohms", "mω"}:
        if unit_text.lstrip().startswith("m"):
            raise AmbiguousQuantity(
                f'"{_shown(text)}": small m is a thousandth, big M a million; type Ω, kΩ or megohm'
            )
        folded = "meg"
    unit = unit_named(folded, dimension)
    if unit is None:
        others = dimensions_of(unit_text)
        if others:
            raise WrongDimension(
                f"{unit_text} is {NOUNS[others[0]]}; this asks for {NOUNS[dimension]} "
                f"({HINTS[dimension]})"
            )
        raise _unreadable(text, dimension)
    if unit.symbol == "inHg" and fold_unit(unit_text).endswith(("hg", "mercury")):
        raise AmbiguousQuantity(
            f'"{_shown(text)}": type "inHg vac" for a vacuum or "inHg abs" for absolute'
        )
    return unit


def _number(number: str, unit: Unit, text: str) -> float:
    try:
        return number_value(number, is_thousands_usual=unit.is_thousands_usual)
    except TwoMeanings as problem:
        raise AmbiguousQuantity(f"{number} {problem}") from problem
    except NumberProblem as problem:
        raise UnreadableQuantity(f'"{_shown(text)}" {problem}') from problem


def _checked(value: float, unit: Unit, dimension: Dimension, text: str) -> Quantity:
    """Return the quantity if nature allows it."""
    if value < 0 and dimension not in _SIGNED:
        raise UnreadableQuantity(f'"{_shown(text)}": {NOUNS[dimension]} cannot be below zero')
    si_value = unit.to_si(value, GREATEST_BAROMETRIC_PRESSURE_PA)
    if dimension is Dimension.TEMPERATURE and si_value < 0:
        raise UnreadableQuantity(f'"{_shown(text)}" is below absolute zero')
    if dimension is Dimension.GAUGE_PRESSURE and si_value < 0:
        raise UnreadableQuantity(f'"{_shown(text)}": no pressure is lower than a perfect vacuum')
    return Quantity(value, unit.symbol, dimension, text)


def _shown(text: str) -> str:
    """Return `text` short and printable, for use in a message."""
    printable = "".join(character if character.isprintable() else " " for character in text)
    return printable if len(printable) <= 40 else printable[:39] + "…"


def _unreadable(text: str, dimension: Dimension) -> QuantityError:
    """Return the error for a text that is no number with a unit, or is two of them."""
    if _RANGE.search(with_figures(with_plain_marks(text))):
        return AmbiguousQuantity(f'"{_shown(text)}" names two values; type the one that was read')
    return UnreadableQuantity(
        f'"{_shown(text)}" cannot be read as {NOUNS[dimension]}; type a number ({HINTS[dimension]})'
    )
