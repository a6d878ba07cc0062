"""Ways of saying a unit that hold a number or no number at all, brought into plain ones.

"420 lb in 24 hours" and "6 kWh per 100 lb" hold a second number that belongs to the unit; "a couple
of months ago" and "yesterday" hold none. What comes out is what `triage.physics.units` knows.
"""

from __future__ import annotations

import re
from collections.abc import Iterable

from triage.physics.units import Dimension

_PER = r"\s*(?:/|\bper\b|\bfor\b|\bin\b|\beach\b|\bevery\b)?\s*(?:\ban?\b|\bone\b)?\s*"
_OF_WHAT = (r"\s*\b(?:of\s+)?(?:ice|water)\b", "")
"""What everybody knows of such a figure."""

_A_DAY = (
    _OF_WHAT,
    (rf"{_PER}24\s*-?\s*(?:hours?|hrs?|h)\b", "/day"),
    (rf"{_PER}(?<=[\s/])days?\b|\s+daily\b", "/day"),
    (r"\s*(?:/|\bper\b|\ban?\b|\beach\b|\bevery\b)\s*(?:hours?|hrs?|h)\b", "/h"),
)
_FOR_A_WEIGHT = (
    _OF_WHAT,
    (rf"{_PER}(?<=[\s/])(?:hundredweight|cwt)\b", "/hundredlb"),
    (
        rf"(?:(?<=[a-z])|(?<=[a-z]\s)){_PER}(?:100|\bhundred)\s*"
        r"(?=(?:lbm?s?|pounds?|kgs?|kilos?|kilograms?)\b|#)",
        "/hundred",
    ),
)
_DISSOLVED = (
    (r"\s*(?:\bas\s+)?(?:caco3|calcium carbonate)\b", ""),
    (r"\bgrains?\s*(?:/|\bper\b|\ba\b)\s*(?:us\s+)?gal(?:lon)?\b", "gpg"),
    (r"\bgrains? (?:of )?hardness\b", "gpg"),
)

_DATES = (
    (r"\b(?:this (?:morning|afternoon|evening)|today|just now)\b", "0 days"),
    (r"\byesterday\b", "1 day"),
    (r"\blast (?P<span>week|month)\b", r"1 \g<span>"),
    (r"\s+(?:ago|old|back|since(?: then)?)\b", ""),
)


def _counted(spans: str) -> tuple[tuple[str, str], ...]:
    """Return how "a couple of", "a" and "and a half" of some units become numbers."""
    return (
        (rf"\b(?:a )?couple(?: of)? (?={spans})", "2 "),
        (rf"\b(?P<count>[0-9]+|an?) (?P<span>{spans})s? and (?P<part>[0-9]/[0-9])",
         r"\g<count> \g<part> \g<span>"),
        (rf"\ban? (?=(?:[0-9]/[0-9] )?(?:{spans})\b)", "1 "),
        (rf"^(?=(?:{spans})$)", "1 "),
    )  # fmt: skip


def _compiled(patterns: Iterable[tuple[str, str]]) -> tuple[tuple[re.Pattern[str], str], ...]:
    return tuple((re.compile(find, re.IGNORECASE), put) for find, put in patterns)


_PATTERNS = {
    Dimension.MASS_PER_DAY: _compiled(_A_DAY),
    Dimension.ENERGY_PER_MASS: _compiled(_FOR_A_WEIGHT),
    Dimension.VOLUME_PER_MASS: _compiled(_FOR_A_WEIGHT),
    Dimension.CONCENTRATION: _compiled(_DISSOLVED),
    Dimension.AGE: _compiled((*_DATES, *_counted("day|week|month|year"))),
    Dimension.VOLUME: _compiled(_counted("gallon|quart|pint|liter|litre")),
}

_NEVER = re.compile(
    r"(?:it(?: (?:was|has))? )?never(?: (?:yet|been|ever|was|has))*"
    r"(?: (?:done|cleaned|sanitized|changed|replaced))?(?: (?:yet|before|since new))?",
    re.IGNORECASE,
)


def with_plain_units(text: str, dimension: Dimension) -> str:
    """Return `text` with units of `dimension` as one word, each behind the one number it has.

    >>> with_plain_units("420 lb in 24 hours", Dimension.MASS_PER_DAY)
    '420 lb/day'
    >>> with_plain_units("6 kWh per 100 lb of ice", Dimension.ENERGY_PER_MASS)
    '6 kWh/hundredlb'
    >>> with_plain_units("a couple of months ago", Dimension.AGE)
    '2 months'
    """
    for pattern, put in _PATTERNS.get(dimension, ()):
        text = pattern.sub(put, text)
    return text


def is_never(text: str) -> bool:
    """Return whether `text` says that something was never done.

    >>> is_never("never been cleaned"), is_never("6 months")
    (True, False)
    """
    return _NEVER.fullmatch(text) is not None
