"""What the record comes to in counts, as the store gives them. No database here."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from enum import StrEnum

BIN_S = 10.0
"""How wide a bin of times is [s]: what a time is told to."""

LONGEST_BIN = 1440
"""From the beginning of this bin on, four hours, all times share it."""

NOT_ENDED_BIN = -1
"""Stands in the place of the bin of a call that has not ended."""

REPEAT_DAYS = 30
"""How soon a call on the same machine counts as a repeat [days] (judged)."""

MOST_MACHINES = 10
"""How many machines with repeats are named."""

FIRST_DATE = datetime(2000, 1, 1, tzinfo=UTC)
"""Calls before it were taken by a clock that was not set, or their first event is damaged."""

_MOST_WEEKS = 26
_MOST_MONTHS = 48


class Period(StrEnum):
    """What volumes are counted by."""

    WEEK = "week"
    MONTH = "month"
    YEAR = "year"


@dataclass(frozen=True, slots=True)
class PeriodCount:
    """Calls started in the period that begins on `begins` (UTC); `result` is empty if not ended."""

    begins: date
    state: str
    result: str
    calls: int


@dataclass(frozen=True, slots=True)
class EndCount:
    """Calls that ended alike; `identified` is how many have the serial number of their machine."""

    result: str
    cause: str
    agreement: str
    identified: int
    calls: int


@dataclass(frozen=True, slots=True)
class TimeCount:
    """Calls of a desk that ended alike and took as long, in bins of BIN_S; or that did not end."""

    desk: str
    result: str
    bin: int
    calls: int


@dataclass(frozen=True, slots=True)
class OutcomeCount:
    """Calls that ended alike and whose repair found the same."""

    outcome: str
    result: str
    ending: str
    cause: str
    likeliest: str
    had_two_good_cycles: bool | None
    desk: str
    calls: int


@dataclass(frozen=True, slots=True)
class StopCount:
    """Calls that have not ended, by where they stand."""

    state: str
    node: str
    calls: int


@dataclass(frozen=True, slots=True)
class FollowedCount:
    """Calls, by how they ended, that another on the same machine followed within REPEAT_DAYS."""

    result: str
    cause: str
    calls: int


@dataclass(frozen=True, slots=True)
class MachineRepeats:
    """A machine with many repeats, and how many calls of the span there are on it."""

    serial_number: str
    machine: str
    repeats: int
    calls: int


@dataclass(frozen=True, slots=True)
class QuestionCount:
    """How often a question or caution was put and how it went; `seconds` it held calls [s].

    `unknown` is for readings, `refused` for cautions.
    """

    node: str
    asked: int
    unknown: int
    misunderstood: int
    looked: int
    seconds: float
    refused: int = 0


@dataclass(frozen=True, slots=True)
class CautionCount:
    """How often the cautions that a desk put were put and refused, over whole months."""

    desk: str
    node: str
    asked: int
    refused: int


@dataclass(frozen=True, slots=True)
class EndingCount:
    """Calls that ended at one ending with one result and cause; see `EndCount`."""

    result: str
    ending: str
    cause: str
    calls: int


@dataclass(frozen=True, slots=True)
class Figures:
    """All counts of a span of the record; calls count by when they started.

    `first` and `last` are when the first and last call in the span started, None without any;
    `undated` is how many calls have no date to count them by. Questions count by whole months, from
    the one of `since` to that of `until`, by when they were asked; so do cautions by desk.
    `endings` are those of calls that ended without a recommendation. `purged` is how many calls of
    the span are purged: they have no serial number any more.
    """

    since: datetime | None
    until: datetime | None
    first: datetime | None = None
    last: datetime | None = None
    undated: int = 0
    period: Period = Period.MONTH
    volumes: tuple[PeriodCount, ...] = ()
    ends: tuple[EndCount, ...] = ()
    times: tuple[TimeCount, ...] = ()
    outcomes: tuple[OutcomeCount, ...] = ()
    stops: tuple[StopCount, ...] = ()
    followed: tuple[FollowedCount, ...] = ()
    machines: tuple[MachineRepeats, ...] = ()
    questions: tuple[QuestionCount, ...] = ()
    cautions: tuple[CautionCount, ...] = ()
    endings: tuple[EndingCount, ...] = ()
    purged: int = 0


def time_bin(active_s: float) -> int:
    """Return the bin that a time [s] belongs to.

    >>> time_bin(0.0), time_bin(9.9), time_bin(600.0), time_bin(1e9)
    (0, 0, 60, 1440)
    """
    return min(LONGEST_BIN, int(max(0.0, active_s) / BIN_S))


def period_for(first: datetime, last: datetime) -> Period:
    """Return what to count by, so that there are few enough periods to look at.

    >>> at = datetime(2026, 1, 1, tzinfo=UTC)
    >>> [str(period_for(at, at + timedelta(days=days))) for days in (30, 300, 3000)]
    ['week', 'month', 'year']
    """
    if last - first <= timedelta(weeks=_MOST_WEEKS):
        return Period.WEEK
    months = 12 * (last.year - first.year) + last.month - first.month
    return Period.MONTH if months <= _MOST_MONTHS else Period.YEAR


def periods(first: datetime, last: datetime, period: Period) -> Iterator[tuple[date, date | None]]:
    """Yield first day and first day after it (UTC) of each period from `first` to `last`.

    Weeks begin on Monday, as ISO 8601 has it. The day after is None where the calendar ends.

    >>> at = datetime(2026, 11, 25, tzinfo=UTC)
    >>> next(periods(at, at, Period.WEEK))
    (datetime.date(2026, 11, 23), datetime.date(2026, 11, 30))
    """
    day: date | None = begin_of(first, period)
    while day is not None and day <= last.date():
        after = _next(day, period)
        yield day, after
        day = after


def begin_of(at: datetime, period: Period) -> date:
    """Return the first day of the period that `at` (UTC) lies in."""
    day = at.date()
    match period:
        case Period.WEEK:
            return day - timedelta(days=day.weekday())
        case Period.MONTH:
            return day.replace(day=1)
        case Period.YEAR:
            return day.replace(month=1, day=1)


def _next(day: date, period: Period) -> date | None:
    try:
        match period:
            case Period.WEEK:
                return day + timedelta(weeks=1)
            case Period.MONTH:
                return (day + timedelta(days=31)).replace(day=1)
            case Period.YEAR:
                return day.replace(year=day.year + 1)
    except (OverflowError, ValueError):
        return None
