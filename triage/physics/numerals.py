"""Numbers as people type them: decimal comma or point, fractions, clock times, number words.

The comma. A point is always the decimal point. A comma is the decimal comma unless exactly three
digits follow it: then it groups thousands if there are several groups (`1,234,567`), a decimal
point follows (`1,600.5`), or the unit is one in which four-digit readings are usual (`1,600 m`);
it is decimal after a lone zero (`0,125`) or after four or more digits (`1600,125`). What is left
(`1,600` alone, `2,700 bar`) can mean two things, and the caller is asked.
"""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Callable

NUMBER = (
    r"(?:[0-9]+[ -][0-9]+/[0-9]+|[0-9]+/[0-9]+|[0-9]+(?::[0-9]+){1,2}(?:[.,][0-9]+)?"
    r"|[0-9]+(?:[.,][0-9]+)*|[.,][0-9]+)"
)
"""Pattern of one number: `6 1/2`, `3/16`, `6:20`, `4,3`, `.5`."""

MOST_CHARACTERS = 16
"""Longest number taken; nothing in this trade needs more."""

USUAL_DENOMINATORS = frozenset({2, 3, 4, 5, 8, 16, 32, 64})
"""Denominators of a fraction; `305/62` is more likely two readings than a fraction."""

_UNITS = "zero|one|two|three|four|five|six|seven|eight|nine|ten|eleven|twelve|thirteen|fourteen"
_UNITS += "|fifteen|sixteen|seventeen|eighteen|nineteen"
_TENS = "twenty|thirty|forty|fifty|sixty|seventy|eighty|ninety"
_SMALL = {word: number for number, word in enumerate(_UNITS.split("|"))}
_SMALL |= {word: 10 * number for number, word in enumerate(_TENS.split("|"), start=2)}
_PARTS = {"half": 2, "halves": 2, "quarter": 4, "quarters": 4, "third": 3, "thirds": 3}
_PARTS |= {"eighth": 8, "eighths": 8, "sixteenth": 16, "sixteenths": 16}
_WORD = "|".join(sorted(_SMALL, key=len, reverse=True))
_PART = "|".join(sorted(_PARTS, key=len, reverse=True))
_SPELLED = re.compile(
    rf"\b(?:(?P<hundreds>{_WORD}|a) hundred(?: (?:and )?)?)?"
    rf"(?P<tens>{_TENS})?(?:(?<=ty)[ -])?(?P<units>{_WORD})?\b"
)
_FRACTION_WORDS = re.compile(
    rf"\b(?:(?P<whole>[0-9]+)(?: and)? )?(?:(?P<count>[0-9]+|an?)[ -])?(?P<part>{_PART})\b"
    r"(?:(?: of)? an?\b)?"
)
_ORDINAL_FRACTION = re.compile(r"([0-9]/[0-9]+)(?:ths?|nds?|rds?)?\b(?: of an?\b)?", re.IGNORECASE)
_WHOLE_AND_FRACTION = re.compile(r"\b([0-9]+) and (?=[0-9]+/[0-9])")

_SAME_MARK = {
    **dict.fromkeys("−–—‒‐‑﹣－", "-"),
    **dict.fromkeys("″“”„＂ʺ", '"'),
    **dict.fromkeys("′’‘ʹ´`", "'"),
    **dict.fromkeys("⁄∕／", "/"),
    **dict.fromkeys("≈∼˜～", "~"),
    "℃": "°C",
    "℉": "°F",
    "Ω": "Ω",
    "，": ",",
    "．": ".",
    "：": ":",
    "∞": "OL",
}


class NumberProblem(ValueError):
    """A number cannot be read; the message is the part of a sentence after the number."""


class TwoMeanings(NumberProblem):
    """A number can be read in two ways."""


def with_plain_marks(text: str) -> str:
    """Return `text` with digits, signs, quotes and vulgar fractions as ASCII, spaces single.

    >>> with_plain_marks("−６½ ″")
    '-6 1/2 "'
    """
    out: list[str] = []
    for character in text:
        digit = unicodedata.decimal(character, None)
        if digit is not None:
            out.append(str(digit))
        elif unicodedata.decomposition(character).startswith("<fraction>"):
            pieces = unicodedata.normalize("NFKC", character).replace("⁄", "/")
            out.append(f" {pieces}" if out and out[-1].isdigit() else pieces)
        else:
            out.append(_SAME_MARK.get(character, character))
    return " ".join("".join(out).split())


def with_figures(text: str) -> str:
    """Return `text` with number words up to 999 and spelled fractions as figures.

    >>> with_figures("six and a half minutes"), with_figures("three sixteenths of an inch")
    ('6 1/2 minutes', '3/16 inch')
    >>> with_figures("a hundred and five psi"), with_figures("sixty-two")
    ('105 psi', '62')
    """
    if not any(character.isalpha() for character in text):
        return text
    lowered = text.lower()
    if len(lowered) != len(text):
        return text
    text = _replaced(_SPELLED, _spelled_value, lowered, text)
    text = _replaced(_FRACTION_WORDS, _fraction_value, text.lower(), text)
    text = _ORDINAL_FRACTION.sub(r"\1", text)
    return _WHOLE_AND_FRACTION.sub(r"\1 ", text)


def _replaced(
    pattern: re.Pattern[str],
    value: Callable[[re.Match[str]], str | None],
    lowered: str,
    text: str,
) -> str:
    out: list[str] = []
    end = 0
    for match in pattern.finditer(lowered):
        figures = value(match)
        if figures is None:
            continue
        out += [text[end : match.start()], figures]
        end = match.end()
    return "".join([*out, text[end:]])


def _spelled_value(match: re.Match[str]) -> str | None:
    hundreds, tens, units = match["hundreds"], match["tens"], match["units"]
    if not (hundreds or tens or units):
        return None
    if tens and units and not 0 < _SMALL[units] < 10:
        return None
    total = (1 if hundreds == "a" else _SMALL[hundreds]) * 100 if hundreds else 0
    total += (_SMALL[tens] if tens else 0) + (_SMALL[units] if units else 0)
    trailing = " " if match[0].endswith(" ") else ""
    return f"{total}{trailing}"


def _fraction_value(match: re.Match[str]) -> str | None:
    count = match["count"]
    whole = match["whole"]
    if whole and count is None:
        # "3 quarters": the number counts the parts.
        return f"{whole}/{_PARTS[match['part']]}"
    number = 1 if count in (None, "a", "an") else int(count)
    figures = f"{number}/{_PARTS[match['part']]}"
    return f"{whole} {figures}" if whole else figures


def is_clock(number: str) -> bool:
    """Tell whether the number is a clock time such as `6:20`."""
    return ":" in number


def clock_seconds(number: str) -> float:
    """Return the seconds of `min:s` or `h:min:s`; raise NumberProblem for `6:75` or `6:2`.

    >>> clock_seconds("6:20"), clock_seconds("1:05:00")
    (380.0, 3900.0)
    """
    _check_length(number)
    first, *rest = number.replace(",", ".").split(":")
    if any(len(part.split(".")[0]) != 2 for part in rest):
        raise NumberProblem("needs two digits after each colon, as in 6:20")
    if any(float(part) >= 60 for part in rest):
        raise NumberProblem("has more than 59 after a colon")
    seconds = float(first)
    for part in rest:
        seconds = seconds * 60 + float(part)
    return seconds


def number_value(number: str, *, is_thousands_usual: bool = False) -> float:
    """Return the value of `number` (anything `NUMBER` matches but a clock time).

    Raise TwoMeanings where the comma rule at the head of this module leaves two readings, and
    NumberProblem for what is no number.

    >>> number_value("4,3"), number_value("1,600", is_thousands_usual=True), number_value("6 1/2")
    (4.3, 1600.0, 6.5)
    """
    _check_length(number)
    if "/" in number:
        return _fraction(number)
    return float(_with_decimal_point(number, is_thousands_usual))


def _check_length(number: str) -> None:
    if len(number) > MOST_CHARACTERS:
        raise NumberProblem("has too many digits")


def _fraction(number: str) -> float:
    whole, _, fraction = number.replace("-", " ").rpartition(" ")
    top, bottom = (int(part) for part in fraction.split("/"))
    if bottom not in USUAL_DENOMINATORS or top >= bottom or top == 0:
        raise TwoMeanings("is not a usual fraction; if it is two readings, give one at a time")
    return (float(whole) if whole else 0.0) + top / bottom


def _with_decimal_point(number: str, is_thousands_usual: bool) -> str:
    if "," not in number:
        if number.count(".") > 1:
            raise NumberProblem("has more than one decimal point")
        return number
    before, _, decimals = number.partition(".")
    groups = before.split(",")
    is_grouped = len(groups[0]) in (1, 2, 3) and all(len(group) == 3 for group in groups[1:])
    if "." in number:
        if "." in decimals or "," in decimals or not is_grouped:
            raise NumberProblem("mixes commas and points in a way that cannot be read")
        return before.replace(",", "") + "." + decimals
    if len(groups) > 2:
        if not is_grouped:
            raise NumberProblem("has commas in places that cannot be read")
        return before.replace(",", "")
    if is_grouped and not groups[0].startswith("0"):
        if not is_thousands_usual:
            plain, decimal = before.replace(",", ""), before.replace(",", ".")
            raise TwoMeanings(
                f"can mean {decimal.rstrip('0').rstrip('.')} or {plain}; type it without the comma"
            )
        return before.replace(",", "")
    return before.replace(",", ".")
