"""Shares and times of the figures in words. Pure."""

from __future__ import annotations

import math

from triage.review.measures import Share


def percent(fraction: float) -> str:
    """Return a share as a person says it; what is not nothing or all is never told as such.

    >>> percent(0.0), percent(0.0004), percent(0.5), percent(0.9996), percent(1.0)
    ('0%', '<1%', '50%', '>99%', '100%')
    """
    if 0.0 < fraction < 0.005:
        return "<1%"
    return ">99%" if 0.995 <= fraction < 1.0 else f"{100.0 * fraction:.0f}%"


def share_words(share: Share, *, with_interval: bool = False) -> str:
    """Return a share with its counts: `8 of 10, 80% (49 to 94%)`; of nothing `none yet`."""
    if share.fraction is None:
        return "none yet"
    words = f"{share.count:,} of {share.of:,}, {percent(share.fraction)}"
    interval = share.interval()
    if with_interval and interval:
        words += f" ({100.0 * interval[0]:.0f} to {100.0 * interval[1]:.0f}%)"
    return words


def time_words(seconds: float | None) -> str:
    """Return a time in hours, minutes and seconds.

    >>> time_words(95.0), time_words(5.0), time_words(3725.0), time_words(None)
    ('1 min 35 s', '5 s', '1 h 2 min', '-')
    """
    if seconds is None:
        return "-"
    minutes, rest = divmod(round(seconds), 60)
    if minutes >= 60:
        return f"{minutes // 60:,} h {minutes % 60} min"
    return f"{minutes} min {rest} s" if minutes else f"{rest} s"


def span_words(begin_s: float, end_s: float) -> str:
    """Return a bin of a histogram in minutes.

    >>> span_words(60.0, 90.0), span_words(600.0, math.inf)
    ('1 to 1.5 min', '10 min and more')
    """
    if math.isinf(end_s):
        return f"{begin_s / 60.0:g} min and more"
    return f"{begin_s / 60.0:g} to {end_s / 60.0:g} min"
