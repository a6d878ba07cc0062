"""Shares with what they are shares of, and times read off a histogram. Pure."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from triage.store.tallies import BIN_S

_Z_95 = 1.959963984540054
"""The 97.5th percentile of the standard normal distribution."""

QUANTILES = {"p25_s": 0.25, "median_s": 0.5, "p75_s": 0.75, "p90_s": 0.9}
"""Which times are told of a histogram, and how many calls took no longer."""


@dataclass(frozen=True, slots=True)
class Share:
    """So many of so many [count]."""

    count: int = 0
    of: int = 0

    def __add__(self, other: Share) -> Share:
        return Share(self.count + other.count, self.of + other.of)

    @property
    def fraction(self) -> float | None:
        """The share from 0 to 1; None of nothing."""
        return self.count / self.of if self.of else None

    def interval(self) -> tuple[float, float] | None:
        """Return between which shares the true one lies with 95% confidence; None of nothing.

        The score interval of E. B. Wilson, "Probable inference, the law of succession, and
        statistical inference", Journal of the American Statistical Association 22 (1927), 209-212.

        >>> [round(limit, 4) for limit in Share(8, 10).interval() or ()]
        [0.4902, 0.9433]
        """
        if not self.of:
            return None
        n, p, z2 = self.of, self.count / self.of, _Z_95 * _Z_95
        middle = (p + z2 / (2 * n)) / (1 + z2 / n)
        half = _Z_95 / (1 + z2 / n) * math.sqrt(p * (1 - p) / n + z2 / (4 * n * n))
        # At the ends rounding alone would leave the range.
        low = 0.0 if self.count == 0 else max(0.0, middle - half)
        high = 1.0 if self.count == n else min(1.0, middle + half)
        return low, high

    def to_data(self, *, with_interval: bool = False) -> dict[str, object]:
        """Return it as JSON-ready data; the keys are always the same."""
        data: dict[str, object] = {"count": self.count, "of": self.of, "share": self.fraction}
        if with_interval:
            low, high = self.interval() or (None, None)
            data |= {"share_low_95": low, "share_high_95": high}
        return data


@dataclass(frozen=True, slots=True)
class Times:
    """How long calls took, as a histogram: how many in each bin of BIN_S, which counts from 0."""

    bins: Mapping[int, int]

    @classmethod
    def of(cls, counts: Iterable[tuple[int, int]]) -> Times:
        """Return the histogram of (bin, calls) in any order, a bin perhaps several times."""
        bins: dict[int, int] = {}
        for number, calls in counts:
            bins[number] = bins.get(number, 0) + calls
        return cls(dict(sorted(bins.items())))

    @property
    def calls(self) -> int:
        """How many calls there are."""
        return sum(self.bins.values())

    def quantile_s(self, fraction: float) -> float | None:
        """Return the time [s] that this fraction of the calls does not exceed; None without any.

        Each call is taken in the middle of its bin; between two calls it is interpolated, as
        number 7 of R. J. Hyndman and Y. Fan, "Sample quantiles in statistical packages", The
        American Statistician 50 (1996), 361-365. So it is at most half a bin off.

        >>> Times({6: 1, 10: 1}).quantile_s(0.5)
        85.0
        """
        calls = self.calls
        if not calls:
            return None
        place = fraction * (calls - 1)
        lower = math.floor(place)
        low_s = self._of_rank_s(lower)
        high_s = self._of_rank_s(min(lower + 1, calls - 1))
        return low_s + (place - lower) * (high_s - low_s)

    def _of_rank_s(self, rank: int) -> float:
        passed = 0
        for number, calls in self.bins.items():
            passed += calls
            if rank < passed:
                return (number + 0.5) * BIN_S
        raise IndexError(rank)

    def wide_bins(self, most: int = 16) -> list[tuple[float, float, int]]:
        """Return begin and end [s] and calls of at most `most` bins, of a round number of minutes.

        Empty ones between others are there. Bins are chosen for 99 in 100 calls: much longer ones
        share the last bin, whose end is then infinite.
        """
        if not self.bins:
            return []
        first, last = min(self.bins), max(self.bins)
        reach = min(last, round((self.quantile_s(0.99) or 0.0) * 1.5 / BIN_S))
        width = next(
            (wide for wide in _WIDTHS if reach // wide - first // wide + 1 <= most), _WIDTHS[-1]
        )
        begin = first // width
        end = max(begin, min(last // width, begin + most - 1))
        counts = [0] * (end - begin + 1)
        for number, calls in self.bins.items():
            counts[min(number // width, end) - begin] += calls
        step_s = width * BIN_S
        is_open = last // width > end
        return [
            (
                (begin + place) * step_s,
                math.inf if is_open and begin + place == end else (begin + place + 1) * step_s,
                calls,
            )
            for place, calls in enumerate(counts)
        ]

    def to_data(self) -> dict[str, object]:
        """Return it as JSON-ready data; the keys are always the same."""
        return {
            "calls": self.calls,
            **{name: self.quantile_s(fraction) for name, fraction in QUANTILES.items()},
        }


_WIDTHS = tuple(round(seconds / BIN_S) for seconds in (30, 60, 120, 300, 600, 900, 1800, 3600))
