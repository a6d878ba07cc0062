"""How good probabilities are: Brier score, and whether what is stated comes true as often.

Probabilities are arrays with a row for each call and a column for each cause; `truth` holds the
number of each call's true cause, `weights` how much each call counts.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy

BINS = 10


@dataclass(frozen=True)
class Bin:
    """Calls whose likeliest cause was stated between `low` and `high`.

    `stated` is the mean of what was stated, `right` the share of them that came true, `weight` the
    calls' share of all.
    """

    low: float
    high: float
    calls: int
    weight: float
    stated: float
    right: float


def brier_score(
    probabilities: numpy.ndarray, truth: numpy.ndarray, weights: numpy.ndarray
) -> float:
    """Return the mean squared distance from certainty of the truth, summed over causes.

    0 is perfect, 2 certain of the wrong cause each time (Brier, Monthly Weather Review 78, 1950).
    """
    wanted = numpy.zeros_like(probabilities)
    wanted[numpy.arange(len(truth)), truth] = 1.0
    return float(numpy.average(((probabilities - wanted) ** 2).sum(axis=1), weights=weights))


def reliability(
    probabilities: numpy.ndarray, truth: numpy.ndarray, weights: numpy.ndarray
) -> list[Bin]:
    """Return the calls by the probability of their likeliest cause, in bins of equal width."""
    stated = probabilities.max(axis=1)
    is_right = probabilities.argmax(axis=1) == truth
    numbers = numpy.minimum((stated * BINS).astype(int), BINS - 1)
    total = weights.sum()
    bins = []
    for number in range(BINS):
        mine = numbers == number
        weight = weights[mine].sum()
        if weight > 0.0:
            bins.append(
                Bin(
                    number / BINS,
                    (number + 1) / BINS,
                    int(mine.sum()),
                    float(weight / total),
                    float(numpy.average(stated[mine], weights=weights[mine])),
                    float(numpy.average(is_right[mine], weights=weights[mine])),
                )
            )
    return bins


def expected_calibration_error(bins: list[Bin]) -> float:
    """Return the mean distance of what was stated from what came true, over all calls."""
    return sum(item.weight * abs(item.stated - item.right) for item in bins)


def reliability_lines(bins: list[Bin]) -> Iterator[str]:
    """Yield a table of the bins."""
    yield f"{'stated':>10}{'calls':>7}{'share %':>9}{'mean stated %':>15}{'right %':>9}"
    for item in bins:
        yield (
            f"{item.low:>5.1f}-{item.high:<4.1f}{item.calls:>7}{100.0 * item.weight:>9.1f}"
            f"{100.0 * item.stated:>15.1f}{100.0 * item.right:>9.1f}"
        )


def as_often_as(
    posteriors: numpy.ndarray, priors: numpy.ndarray, drawn: numpy.ndarray
) -> numpy.ndarray:
    """Return posteriors stated over `priors`, restated for causes that come as often as `drawn`.

    `drawn` may differ from call to call. A call whose causes all come out impossible keeps what was
    drawn.
    """
    restated = posteriors * drawn / priors
    totals = restated.sum(axis=1, keepdims=True)
    fallback = drawn / drawn.sum(axis=1, keepdims=True)
    return numpy.where(totals > 0.0, restated / numpy.where(totals > 0.0, totals, 1.0), fallback)
