"""The minute a reading was taken, where a typed line names it: `62 psi at 3 min`."""

from __future__ import annotations

import re
from dataclasses import dataclass

from triage.physics.quantity import Dimension, QuantityError, parse_quantity

_AMOUNT = r"(?:[0-9]+ [0-9]+/[0-9]+|[0-9]+/[0-9]+|[0-9]+(?:[.,][0-9]+)?)"
_MINUTES = r"(?:minutes?|mins?|m)\b\.?"
_SECONDS = r"(?:seconds?|secs?|s)\b\.?"
_TIME = (
    rf"(?P<time>[0-9]+:[0-9]{{2}}(?: ?(?:{_MINUTES}))?"
    rf"|{_AMOUNT}[ -]?{_MINUTES}(?:(?: and)? ?[0-9]+ ?{_SECONDS})?|{_AMOUNT} ?{_SECONDS})"
)
_ABOUT = r"(?:(?:about|around|roughly|approximately|like) |~ ?)?(?:the )?"
_CYCLE = r"(?:the )?(?:freeze|freezing|harvest|cycle|run|batch|start|it)\b"
_INTO = rf"(?: ?-?(?:mark|point)\b)?(?: (?:in|into|of|from|after|since)\b(?: {_CYCLE})?)?"
_BEGIN = r"(?:[,;] |\( ?)?"
_PATTERNS = tuple(
    re.compile(pattern, re.IGNORECASE)
    for pattern in (
        rf"{_BEGIN}(?:\b(?:at|after|by)\b|@) ?{_ABOUT}{_TIME}{_INTO} ?\)?",
        rf"{_BEGIN}{_ABOUT}{_TIME} (?:in|into)\b(?: {_CYCLE})? ?\)?",
        rf"{_BEGIN}(?:(?:\b(?:at|after|by)\b|@) ?)?{_ABOUT}(?<![0-9] )(?<![0-9])\bmin(?:ute)? "
        rf"?(?P<time>[0-9]+:[0-9]{{2}}|{_AMOUNT})\b"
        rf"(?: (?:of|in|into) {_CYCLE})? ?[:,)]?",
        rf"^{_TIME} ?[:,]? (?=.*[0-9])",
        rf"(?:, |\( ?){_TIME} ?\)?$",
    )
)


_GREATEST_BARE_MINUTE = 60
_BARE = (
    re.compile(
        rf"{_BEGIN}(?:\b(?:at|after)\b|@) ?{_ABOUT}(?P<time>[0-9]{{1,2}}(?:\.[0-9])?)[.)]?$",
        re.IGNORECASE,
    ),
    re.compile(rf"(?<=[A-Za-z°\"%]) {_TIME}$", re.IGNORECASE),
)
"""A bare number behind "at", and a time that stands right behind a value with its unit."""


@dataclass(frozen=True, slots=True)
class Moment:
    """A stretch of text that says when, and the seconds it stands for."""

    start: int
    end: int
    seconds: float

    def cut_from(self, text: str) -> str:
        """Return `text` without this stretch."""
        return f"{text[: self.start].rstrip(' ,;')} {text[self.end :].lstrip(' ,;:')}".strip()

    def blanked_in(self, text: str) -> str:
        """Return `text` with this stretch as spaces, so that places stay the same."""
        return text[: self.start] + " " * (self.end - self.start) + text[self.end :]


def moment_in(text: str) -> Moment | None:
    """Return where `text` says at which minute a reading was taken, or None.

    `text` has its number words as figures already.

    >>> moment = moment_in("155F after 6 minutes")
    >>> moment.seconds, moment.cut_from("155F after 6 minutes")
    (360.0, '155F')
    """
    for pattern in _PATTERNS:
        match = pattern.search(text)
        if match is None:
            continue
        try:
            seconds = parse_quantity(match["time"], Dimension.DURATION, "min").si()
        except QuantityError:
            continue
        return Moment(match.start(), match.end(), seconds)
    return None


def bare_moment_in(text: str) -> Moment | None:
    """Return `moment_in`, or the minute said as a bare number up to 60: `52 at 2`, `45 psi @ 2`.

    Only for a reading that has a moment: elsewhere such a number may mean anything.

    >>> moment = bare_moment_in("148 at 6")
    >>> moment.seconds, moment.cut_from("148 at 6")
    (360.0, '148')
    """
    found = moment_in(text)
    if found is not None:
        return found
    for pattern in _BARE:
        match = pattern.search(text)
        if match is None or not any(map(str.isdigit, text[: match.start()])):
            continue
        try:
            seconds = parse_quantity(match["time"], Dimension.DURATION, "min").si()
        except QuantityError:
            continue
        if seconds <= 60.0 * _GREATEST_BARE_MINUTE:
            return Moment(match.start(), match.end(), seconds)
    return None
