"""Cubic splines on uniform grids in one and two dimensions, in plain Python.

Grid coordinates count intervals: node `i` lies at `i`. Both kinds are C2 (twice continuously
differentiable) and exact at the nodes, so solvers and derivatives behave.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Sequence

_Cubic = tuple[float, float, float, float]


def slopes_at_nodes(values: Sequence[float]) -> list[float]:
    """Return the slopes, per interval, of the not-a-knot cubic spline through at least four values.

    Source: de Boor, A Practical Guide to Splines, chapter IV.

    >>> [round(slope, 9) for slope in slopes_at_nodes([0.0, 1.0, 8.0, 27.0, 64.0])]
    [0.0, 3.0, 12.0, 27.0, 48.0]
    """
    last = len(values) - 1
    first_rise, second_rise = values[1] - values[0], values[2] - values[1]
    slope = [0.0] * (last + 1)
    ratio = [0.0] * (last + 1)
    # First row of the not-a-knot system: s0 + 2 s1 = (5 r0 + r1) / 2.
    ratio[0] = 2.0
    slope[0] = (5.0 * first_rise + second_rise) / 2.0
    for i in range(1, last):
        pivot = 1.0 / (4.0 - ratio[i - 1])
        ratio[i] = pivot
        slope[i] = (3.0 * (values[i + 1] - values[i - 1]) - slope[i - 1]) * pivot
    end_rise, before_end_rise = values[last] - values[last - 1], values[last - 1] - values[last - 2]
    right = (5.0 * end_rise + before_end_rise) / 2.0
    slope[last] = (right - 2.0 * slope[last - 1]) / (1.0 - 2.0 * ratio[last - 1])
    for i in range(last - 1, -1, -1):
        slope[i] -= ratio[i] * slope[i + 1]
    return slope


def _pieces(values: Sequence[float]) -> list[_Cubic]:
    """Return the polynomial of each interval, lowest power first."""
    slopes = slopes_at_nodes(values)
    pieces = []
    left, left_slope = values[0], slopes[0]
    for i in range(1, len(values)):
        right, right_slope = values[i], slopes[i]
        rise = right - left
        pieces.append(
            (
                left,
                left_slope,
                3.0 * rise - 2.0 * left_slope - right_slope,
                left_slope + right_slope - 2.0 * rise,
            )
        )
        left, left_slope = right, right_slope
    return pieces


def _solve(piece: _Cubic, value: float) -> float:
    """Return where in [0, 1] a rising cubic reaches a value between its ends."""
    a, b, c, d = piece
    rise = b + c + d
    x = (value - a) / rise if rise > 0.0 else 0.0
    for _ in range(20):
        step = (a + x * (b + x * (c + x * d)) - value) / (b + x * (2.0 * c + x * 3.0 * d))
        x -= step
        if -1e-13 < step < 1e-13:
            break
    return min(max(x, 0.0), 1.0)


class Curve:
    """A cubic spline through values on the grid 0, 1, 2, …; at least four of them."""

    __slots__ = ("_last", "_pieces", "_values")

    def __init__(self, values: Sequence[float]) -> None:
        self._values = list(values)
        self._pieces = _pieces(values)
        self._last = len(self._pieces) - 1

    def at(self, x: float) -> float:
        """Return the value at grid coordinate `x`; the caller keeps it within the grid."""
        i = int(x)
        if i > self._last:
            i = self._last
        a, b, c, d = self._pieces[i]
        x -= i
        return a + x * (b + x * (c + x * d))

    def coordinate_of(self, value: float) -> float:
        """Return the grid coordinate where a rising curve has this value; inverse of `at`."""
        i = bisect_right(self._values, value) - 1
        i = min(max(i, 0), self._last)
        return i + _solve(self._pieces[i], value)


class Surface:
    """A tensor-product cubic spline through rows of values; rows lie at 0, 1, 2, … of `x`."""

    __slots__ = ("_last_x", "_last_y", "_slopes", "_values")

    def __init__(self, rows: Sequence[Sequence[float]]) -> None:
        self._values = _strips(rows)
        self._slopes = _strips([slopes_at_nodes(row) for row in rows])
        self._last_x = len(rows) - 2
        self._last_y = len(rows[0]) - 2

    def at(self, x: float, y: float) -> float:
        """Return the value at grid coordinates; the caller keeps them within the grid."""
        i = int(x)
        if i > self._last_x:
            i = self._last_x
        j = int(y)
        if j > self._last_y:
            j = self._last_y
        a, b, c, d = self._piece(i, x - i, j)
        y -= j
        return a + y * (b + y * (c + y * d))

    def second_coordinate_of(self, x: float, value: float) -> float | None:
        """Return `y` at which the surface, rising with `y`, has a value at `x`; None if nowhere."""
        i = int(x)
        if i > self._last_x:
            i = self._last_x
        x -= i
        strip = self._values[i]
        low, high = 0, self._last_y + 1
        a, b, c, d = strip[0]
        if not value >= a + x * (b + x * (c + x * d)):
            return None
        a, b, c, d = strip[high]
        if not value <= a + x * (b + x * (c + x * d)):
            return None
        while high - low > 1:
            middle = (low + high) // 2
            a, b, c, d = strip[middle]
            if value < a + x * (b + x * (c + x * d)):
                high = middle
            else:
                low = middle
        return low + _solve(self._piece(i, x, low), value)

    def _piece(self, i: int, x: float, j: int) -> _Cubic:
        """Return the polynomial in `y` of cell (i, j), at `x` counted from the cell's edge."""
        a, b, c, d = self._values[i][j]
        left = a + x * (b + x * (c + x * d))
        a, b, c, d = self._values[i][j + 1]
        rise = a + x * (b + x * (c + x * d)) - left
        a, b, c, d = self._slopes[i][j]
        left_slope = a + x * (b + x * (c + x * d))
        a, b, c, d = self._slopes[i][j + 1]
        right_slope = a + x * (b + x * (c + x * d))
        return (
            left,
            left_slope,
            3.0 * rise - 2.0 * left_slope - right_slope,
            left_slope + right_slope - 2.0 * rise,
        )


def _strips(rows: Sequence[Sequence[float]]) -> list[tuple[_Cubic, ...]]:
    """Return, for each interval of `x`, the polynomials in `x` of every column."""
    columns = [_pieces(column) for column in zip(*rows, strict=True)]
    return list(zip(*columns, strict=True))
