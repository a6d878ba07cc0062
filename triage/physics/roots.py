"""Where a balance closes: the root of a rising function."""

from __future__ import annotations

from collections.abc import Callable


def find_root(
    function: Callable[[float], float],
    low: float,
    high: float,
    guess: float,
    tolerance: float,
    step: float | None = None,
) -> float:
    """Return where a rising function crosses zero between `low` and `high`, or the nearer end.

    Secant steps from `guess`, the first one `step` long, kept inside a shrinking bracket; ends
    within `tolerance`. All in the unit of the function's argument.

    >>> round(find_root(lambda x: x**3 - 2.0, 0.0, 2.0, 1.0, 1e-9), 6)
    1.259921
    """
    if high <= low:
        return low
    x = min(max(guess, low), high)
    y = function(x)
    step = max(tolerance, 0.02 * (high - low)) if step is None else step
    previous_x, previous_y = x, y
    x = min(max(x + step if y < 0.0 else x - step, low), high)
    if x == previous_x:
        return x
    lowest, highest = low, high
    if previous_y < 0.0:
        lowest = previous_x
    else:
        highest = previous_x
    for _ in range(60):
        y = function(x)
        if y < 0.0:
            if x >= high:
                return high
            lowest = x
        else:
            if x <= low:
                return low
            highest = x
        slope = y - previous_y
        following = x - y * (x - previous_x) / slope if slope != 0.0 else 0.5 * (lowest + highest)
        if not lowest < following < highest:
            # The root may sit at an end of the span that has not been looked at yet.
            if following >= highest == high:
                following = high
            elif following <= lowest == low:
                following = low
            else:
                following = 0.5 * (lowest + highest)
        if abs(following - x) < tolerance or highest - lowest < tolerance:
            return following
        previous_x, previous_y = x, y
        x = following
    return x
