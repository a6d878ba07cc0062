"""Times in words: on the clock of this computer, and how far from now."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta, tzinfo

from triage.dialogue.words import plain_text


class _LocalZone(tzinfo):
    """The zone of this computer, with its summer time at the moment asked for."""

    def utcoffset(self, dt: datetime | None) -> timedelta | None:
        """Return how far this computer's clock is ahead of UTC at a local time."""
        return None if dt is None else dt.replace(tzinfo=None).astimezone().utcoffset()

    def dst(self, dt: datetime | None) -> timedelta | None:
        """Return that it is not known apart from the whole."""
        return None

    def tzname(self, dt: datetime | None) -> str | None:
        """Return the zone's short name at a local time."""
        return None if dt is None else dt.replace(tzinfo=None).astimezone().tzname()

    def fromutc(self, dt: datetime) -> datetime:
        """Return a moment given in UTC as local time."""
        return dt.replace(tzinfo=UTC).astimezone().replace(tzinfo=self)


LOCAL = _LocalZone()
"""A moment of today is turned into one of tomorrow by it, also over a change of the clock."""


def local_time(moment: str) -> datetime:
    """Return a stored moment (ISO 8601 with its zone) in this computer's zone."""
    return datetime.fromisoformat(moment).astimezone()


def clock_time(moment: str) -> str:
    """Return a stored moment as hours and minutes on the clock of this computer.

    What is no moment (a record may hold anything) comes back as it is.
    """
    try:
        return f"{local_time(moment):%H:%M}"
    except ValueError:
        return plain_text(moment, 40)


def clock_time_near(moment: str, now: datetime) -> str:
    """Return `clock_time`, with the day in front of it unless it is that of `now`."""
    local = local_time(moment)
    is_today = local.date() == now.astimezone().date()
    return f"{local:%H:%M}" if is_today else f"{local:%b} {local.day} {local:%H:%M}"


def on_day(moment: str, now: datetime) -> str:
    """Return a stored moment with its day: `at 18:13 today`, `on Nov 24 at 18:13`."""
    local, today = local_time(moment), now.astimezone().date()
    if local.date() == today:
        return f"at {local:%H:%M} today"
    year = "" if local.year == today.year else f" {local.year}"
    return f"on {local:%b} {local.day}{year} at {local:%H:%M}"


def span_words(seconds: float) -> str:
    """Return a span in whole minutes, from an hour on also in hours, from two days on in days.

    >>> span_words(1200.0), span_words(3900.0), span_words(7200.0), span_words(300_000.0)
    ('20 min', '1 h 5 min', '2 h', '3 days')
    """
    hours, minutes = divmod(round(max(0.0, seconds) / 60.0), 60)
    if hours >= 48:
        return f"{hours // 24} days"
    if not hours:
        return f"{minutes} min"
    return f"{hours} h {minutes} min" if minutes else f"{hours} h"


def due_words(due_at: str, now: datetime) -> str:
    """Return how a moment stands to `now`: `overdue 12 min`, `due now`, `in 8 min`."""
    ahead_s = (datetime.fromisoformat(due_at) - now).total_seconds()
    if 0.0 < ahead_s < 60.0:
        return "in under 1 min"
    if -60.0 < ahead_s <= 0.0:
        return "due now"
    return f"in {span_words(ahead_s)}" if ahead_s > 0.0 else f"overdue {span_words(-ahead_s)}"


def between_words(earlier: datetime, later: datetime) -> str:
    """Return how long after a turn the next one came, or that the clock was set back.

    >>> from datetime import UTC
    >>> at = datetime(2026, 11, 25, 9, 31, tzinfo=UTC)
    >>> between_words(at, at.replace(second=12)), between_words(at, at.replace(minute=33))
    ('12 s later', '2 min later')
    """
    passed_s = (later - earlier).total_seconds()
    if passed_s <= -1.0:
        back = f"{-passed_s:.0f} s" if passed_s > -60.0 else span_words(-passed_s)
        return f"the clock was set back {back}"
    return (
        f"{max(0.0, passed_s):.0f} s later" if passed_s < 60.0 else f"{span_words(passed_s)} later"
    )
