"""The results of one trainee, summed up."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

from triage.dialogue.words import fold
from triage.drill.results import Result

LEAST_FOR_A_TREND = 4
"""Finished drills from which the first half is laid beside the last (judged)."""

MOST_MISSED = 3
"""Causes named among those most missed."""


@dataclass(frozen=True, slots=True)
class Tally:
    """A group of finished drills: how many, how many right, how many of these safe throughout.

    `minutes_over` the model answer's is the mean of those found with proof, None without one.
    """

    finished: int
    right: int
    right_and_safe: int
    minutes_over: float | None


@dataclass(frozen=True, slots=True)
class Missed:
    """A cause that was not found `missed` times `of` the times it was there."""

    cause: str
    missed: int
    of: int


@dataclass(frozen=True, slots=True)
class Standing:
    """How one trainee does.

    Means are per drill, left ones included, but for `tally`, which counts what was finished.
    `trend` is the first and the last half of what was finished, None while that is too little.
    """

    trainee: str
    drills: int
    tally: Tally
    right_first: int
    without_proof: int
    too_early: float
    cautions_skipped: float
    hints: float
    by_level: Mapping[str, Tally]
    trend: tuple[Tally, Tally] | None
    most_missed: tuple[Missed, ...]

    @property
    def unfinished(self) -> int:
        """How many drills were left before their end."""
        return self.drills - self.tally.finished


def standings(results: Iterable[Result]) -> tuple[Standing, ...]:
    """Return a standing for each trainee, by name; spelling apart from capitals tells them apart.

    `results` are oldest first.
    """
    by_name: dict[str, list[Result]] = {}
    for result in results:
        by_name.setdefault(_key(result.trainee), []).append(result)
    return tuple(_standing(own) for _, own in sorted(by_name.items()))


def is_of(result: Result, trainee: str) -> bool:
    """Return whether a result is that of this trainee."""
    return _key(result.trainee) == _key(trainee)


def _key(trainee: str) -> str:
    # A name of marks alone would fold to nothing.
    return fold(trainee) or trainee.casefold()


def _standing(results: Sequence[Result]) -> Standing:
    finished = [result for result in results if result.is_finished]
    levels = dict.fromkeys(result.level for result in finished)
    half = len(finished) // 2
    is_trend = len(finished) >= LEAST_FOR_A_TREND
    return Standing(
        results[-1].trainee,
        len(results),
        _tally(finished),
        sum(result.is_right and len(result.proposed) == 1 for result in finished),
        sum(result.is_without_proof for result in finished),
        _mean([result.too_early for result in results]),
        _mean([result.cautions_skipped for result in results]),
        _mean([result.hints for result in results]),
        {level: _tally([each for each in finished if each.level == level]) for level in levels},
        (_tally(finished[:half]), _tally(finished[-half:])) if is_trend else None,
        _most_missed(finished),
    )


def _tally(results: Sequence[Result]) -> Tally:
    over = [
        result.minutes - result.model_minutes
        for result in results
        if result.is_right and not result.is_without_proof
    ]
    return Tally(
        len(results),
        sum(result.is_right for result in results),
        sum(result.is_right and result.is_safe for result in results),
        _mean(over) if over else None,
    )


def _most_missed(results: Sequence[Result]) -> tuple[Missed, ...]:
    seen = Counter(result.cause for result in results)
    missed = Counter(result.cause for result in results if not result.is_right)
    return tuple(
        Missed(cause, count, seen[cause]) for cause, count in missed.most_common(MOST_MISSED)
    )


def _mean(values: Sequence[float]) -> float:
    return sum(values) / len(values) if values else 0.0
