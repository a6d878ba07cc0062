"""Smooth curves through equally spaced values, for what is asked for many times in a run."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise

Pieces = list[tuple[float, float, float, float]]
"""One cubic per interval, as coefficients of rising powers."""


def pieces_through(values: Sequence[float]) -> Pieces:
    """Return cubics through equally spaced values (at least two) that never overshoot them.

    Source: Fritsch and Butland, 1984, slopes as harmonic means of neighboring differences.

    >>> value_at(pieces_through([0.0, 1.0, 4.0, 9.0]), 2.0)
    4.0
    """
    rises = [after - before for before, after in pairwise(values)]
    slopes = [rises[0]]
    for before, after in pairwise(rises):
        product = before * after
        slopes.append(2.0 * product / (before + after) if product > 0.0 else 0.0)
    slopes.append(rises[-1])
    return [
        (
            value,
            slopes[index],
            3.0 * rises[index] - 2.0 * slopes[index] - slopes[index + 1],
            slopes[index] + slopes[index + 1] - 2.0 * rises[index],
        )
        for index, value in enumerate(values[:-1])
    ]


def value_at(pieces: Pieces, coordinate: float) -> float:
    """Return the value at `coordinate`, counted in intervals from the first value.

    Beyond either end the outermost cubic goes on.

    >>> round(value_at(pieces_through([1.0, 2.0, 4.0]), 0.5), 3)
    1.458
    """
    index = min(max(int(coordinate), 0), len(pieces) - 1)
    a, b, c, d = pieces[index]
    x = coordinate - index
    return a + x * (b + x * (c + x * d))
