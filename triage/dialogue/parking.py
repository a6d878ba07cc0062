"""When a call is to go on and what it waits for, as said behind the word park.

A length of time or a time of day stands first or last, the reason is the rest: `20 min freeze is
running`, `read the discharge line until 2:30 pm`. The clock is the caller's: nothing here reads
one.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta

from triage.dialogue.words import plain_text
from triage.physics.numerals import with_figures
from triage.physics.quantity import Dimension, QuantityError, parse_quantity

LEAST_WAIT = timedelta(minutes=1)
LONGEST_WAIT = timedelta(hours=24)
"""Between these a call may be parked; a machine needs 15 to 30 minutes a cycle (judged)."""

JUST_PAST, FAR_AHEAD = timedelta(hours=2), timedelta(hours=10)
"""A time of day that went by so lately, and comes again only so far ahead, is a slip (judged)."""

_MOST_TIME_WORDS = 6
_CALL = re.compile(r"(?:it|this|(?:the|this) call)\b[\s,:]*", re.IGNORECASE)
_LEAD = re.compile(r"(?:because|as|since|to)\b[\s:,]+|[\s,;:.–—-]+", re.IGNORECASE)
_UNIT = r"(?:m|mins?|minutes?|h|hrs?|hours?)\.?"
_AMOUNT = r"(?:[0-9]+(?:[.,][0-9]+)?|[0-9]+/[0-9]+|[0-9]+ [0-9]+/[0-9]+)"
_SPAN = re.compile(
    rf"(?P<lead>for |in |about |another |~ ?)*(?P<span>{_AMOUNT}(?: ?{_UNIT}"
    rf"(?:(?: and)? ?[0-9]+ ?(?:{_UNIT})?)?)?)",
    re.IGNORECASE,
)
_ONE = re.compile(r"(?<!.)(?P<lead>(?:for |in |about |another )*)(?:a|an)(?= (?:minute|hour)\b)")
_UNITS_NOT_TAKEN = frozenset(
    ["s", "sec", "secs", "second", "seconds", "day", "days", "week", "weeks"]
)
_BARE = re.compile(r"[0-9]+(?:[.,][0-9]+)?$")
_CLOCK = re.compile(
    r"(?P<lead>(?:(?:until|till|til|to|at|by) )?)(?P<day>(?:(?:today|tomorrow) )?(?:at )?)"
    r"(?:(?P<hour>[0-9]{1,2})(?:[:.h](?P<minute>[0-9]{2}))? ?(?P<half>[ap]\.?m\.?)?"
    r"(?P<clock> o['’ ]?clock)?|(?P<name>noon|midnight))(?P<later> (?:today|tomorrow))?",
    re.IGNORECASE,
)

_LOOKS_LIKE_A_TIME = re.compile(
    r"(?<![0-9:])(?P<time>(?:(?P<hour>[0-9]{1,3}):(?P<minute>[0-9]{2})"
    r"|(?:(?<=until )|(?<=till ))(?P<alone>[0-9]{1,4}))"
    r"(?P<half> ?[ap]\.?m\b)?)(?![0-9:])",
    re.IGNORECASE,
)
_HALVES_OF_A_DAY = frozenset(("am", "pm", "a.m", "p.m"))
"""Left over behind a time, they belong to one that there is not: 13 pm."""


@dataclass(frozen=True, slots=True)
class TimeOfDay:
    """A time on the desk's clock; one of the 12-hour dial without am or pm may be either half."""

    hour: int
    minute: int
    is_either_half: bool = False
    is_tomorrow: bool = False

    def __str__(self) -> str:
        return f"{self.hour}:{self.minute:02d}"


@dataclass(frozen=True, slots=True)
class Wait:
    """How long or until when a call waits; `reason` is empty and `when` None where not said.

    `said` is the time in the words it was said in.
    """

    when: timedelta | TimeOfDay | None
    reason: str = ""
    said: str = ""


def read_wait(text: str) -> Wait:
    """Return what stands behind the word park.

    >>> read_wait("20 min freeze is running")
    Wait(when=datetime.timedelta(seconds=1200), reason='freeze is running', said='20 min')
    >>> read_wait("read the line until 2:30 pm").when
    TimeOfDay(hour=14, minute=30, is_either_half=False, is_tomorrow=False)
    """
    words = _CALL.sub("", plain_text(text), count=1).split()
    for count in range(min(_MOST_TIME_WORDS, len(words)), 0, -1):
        for said, rest, is_first in (
            (words[:count], words[count:], True),
            (words[-count:], words[:-count], False),
        ):
            before = rest[-1].lower() if rest and not is_first else ""
            after = rest[0].lower().strip(",;.:") if rest and is_first else ""
            if before in _OF_A_READING or after in _HALVES_OF_A_DAY:
                continue
            is_counted = after in _UNITS_NOT_TAKEN
            is_bare_allowed = is_first and not is_counted
            when = _when(" ".join(said).strip(",;.:"), is_bare_allowed=is_bare_allowed)
            if when is not None:
                words_of_time = " ".join(said).strip(",;.:")
                unit = " min" if _BARE.fullmatch(words_of_time) else ""
                return Wait(when, _reason(rest), f"{words_of_time}{unit}")
    return Wait(None, _reason(words))


def no_time_in(text: str) -> str:
    """Return what looks like a time of day and is none, "" if nothing does.

    >>> no_time_in("until 25:70 freeze is running"), no_time_in("until 2:30 pm")
    ('25:70', '')
    """
    for found in _LOOKS_LIKE_A_TIME.finditer(text):
        hour, minute = int(found["hour"] or found["alone"]), int(found["minute"] or 0)
        if hour > (12 if found["half"] else 23) or minute > 59:
            return " ".join(found["time"].split())
    return ""


_OF_A_READING = frozenset({"at", "minute", "min", "@", "by", "after"})
"""Before a time at the end of a line these make it the moment of a reading."""


def due_at(when: timedelta | TimeOfDay, now: datetime) -> datetime | str:
    """Return when to go on, in UTC, or the sentence that says why it cannot be so.

    `now` is the time of the desk with its zone.
    """
    now_utc = now.astimezone(UTC)
    if isinstance(when, timedelta):
        if LEAST_WAIT <= when <= LONGEST_WAIT:
            return now_utc + when
        return "A call can be parked for 1 minute to 24 hours."
    # Differences in UTC: those of one zone's clock leave out that it may be put forward or back.
    later = [one.astimezone(UTC) for one in _next(when, now)]
    due = min(later)
    if due - now_utc > LONGEST_WAIT:
        return f"{when} tomorrow is more than 24 hours away; it is {now:%H:%M} here."
    since = now_utc - max(one - timedelta(days=1) for one in later)
    if not when.is_tomorrow and since <= JUST_PAST and due - now_utc >= FAR_AHEAD:
        return f"{when} has just gone by; it is {now:%H:%M} here. Name a later time."
    if due - now_utc < LEAST_WAIT:
        return f"{when} is less than a minute away; it is {now:%H:%M} here. Name a later time."
    return due


def _next(when: TimeOfDay, now: datetime) -> Iterator[datetime]:
    """Yield when that time comes next, for each half of the day it may mean."""
    for hour in {when.hour, (when.hour + 12) % 24} if when.is_either_half else {when.hour}:
        at = now.replace(hour=hour, minute=when.minute, second=0, microsecond=0)
        if when.is_tomorrow or at <= now:
            at += timedelta(days=1)
        yield at


def _when(text: str, *, is_bare_allowed: bool) -> timedelta | TimeOfDay | None:
    figures = with_figures(_ONE.sub(r"\g<lead>1", text.lower()))
    if span := _SPAN.fullmatch(figures):
        is_bare = _BARE.fullmatch(figures) is not None
        if is_bare and not is_bare_allowed:
            return None
        try:
            return timedelta(seconds=parse_quantity(span["span"], Dimension.DURATION, "min").si())
        except (QuantityError, OverflowError):
            return None
    return _time_of_day(figures)


def _time_of_day(text: str) -> TimeOfDay | None:
    found = _CLOCK.fullmatch(text)
    if found is None:
        return None
    is_tomorrow = "tomorrow" in (found["day"] + (found["later"] or ""))
    if found["name"]:
        return TimeOfDay(12 if found["name"] == "noon" else 0, 0, is_tomorrow=is_tomorrow)
    is_marked = bool(found["lead"] or found["half"] or found["clock"] or is_tomorrow)
    hour, minute = int(found["hour"]), int(found["minute"] or 0)
    if not is_marked or minute > 59 or hour > 23:  # "6:20" alone may be a length of time
        return None
    if found["half"]:
        if not 1 <= hour <= 12:
            return None
        return TimeOfDay(
            hour % 12 + (12 if found["half"].startswith("p") else 0), minute, False, is_tomorrow
        )
    is_dial = 1 <= hour <= 12 and not found["hour"].startswith("0") and not is_tomorrow
    return TimeOfDay(hour, minute, is_dial, is_tomorrow)


def _reason(words: list[str]) -> str:
    reason = " ".join(words)
    while lead := _LEAD.match(reason):
        reason = reason[lead.end() :]
    return reason.rstrip(" ,;:-–—")
