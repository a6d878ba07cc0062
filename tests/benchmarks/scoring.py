"""Every way of diagnosing side by side on the same calls, scored alike."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, replace

import numpy

from tests.benchmarks.bayes_limit import Limit, learn, masks_had, random_masks
from tests.benchmarks.calibration import (
    as_often_as,
    brier_score,
    expected_calibration_error,
    reliability,
)
from tests.benchmarks.limit_draws import Draws
from tests.benchmarks.other_ways import Way
from tests.benchmarks.simulated_calls import (
    ALL,
    GRAPH,
    HAD,
    NAIVE,
    TOOL,
    Call,
    content_folder,
    content_in_use,
    is_false_condemnation,
    use,
)
from triage.tree.content import HEALTHY

READINGS = {HAD: "readings had", ALL: "all readings"}


@dataclass(frozen=True)
class Column:
    """One way of diagnosing on every call.

    `asks` is false for what only looks at readings that others asked for and hands nothing over;
    those have `probabilities`.
    """

    name: str
    short: str
    ways: Sequence[Way]
    asks: bool
    probabilities: numpy.ndarray | None = None


def columns_from(calls: Sequence[Call], limits: dict[str, Limit]) -> list[Column]:
    """Return all ways side by side; `limits` are those learned, by the readings they are for.

    The Bayes limit is the learner, or the ranking where that is right more often.
    """
    columns = [
        Column(TOOL, "tool", [call.ways[TOOL] for call in calls], True),
        Column(GRAPH, "graph", [call.ways[GRAPH] for call in calls], True),
    ]
    for readings, words in READINGS.items():
        stated = posteriors(calls, readings)
        drawn = as_often_as(stated, priors(), numpy.array([call.drawn for call in calls]))
        columns.append(_looking(f"ranking alone, {words}", f"ranked {readings}", stated))
        restated = _looking("  the same, causes as drawn", f"drawn {readings}", drawn)
        columns.append(restated)
        if readings in limits:
            learned = limits[readings].probabilities(shown(calls, readings))
            learner = _looking(f"  learner, {words}", f"learner {readings}", learned)
            better = max((learner, restated), key=lambda column: _share_first(calls, column))
            columns.append(learner)
            columns.append(replace(better, name="  Bayes limit", short=f"limit {readings}"))
    columns.append(Column(NAIVE, "naive", [call.ways[NAIVE] for call in calls], False))
    return columns


def limits_learned(
    calls: Sequence[Call], draws: Draws, seed: int, readings: Sequence[str] = (HAD, ALL)
) -> dict[str, Limit]:
    """Return the learners for the readings these calls had and for all that could be had."""
    masks = {
        HAD: masks_had([call.machine for call in calls], shown(calls, HAD)),
        ALL: random_masks(seed),
    }
    folder = content_folder()
    with ProcessPoolExecutor(len(readings), initializer=use, initargs=(folder,)) as pool:
        learned = {which: pool.submit(learn, draws, masks[which], seed) for which in readings}
        return {which: future.result() for which, future in learned.items()}


def _share_first(calls: Sequence[Call], column: Column) -> float:
    hits = [way.named[:1] == (call.cause,) for call, way in zip(calls, column.ways, strict=True)]
    return sum(hits) / max(1, len(hits))


def _looking(name: str, short: str, probabilities: numpy.ndarray) -> Column:
    causes = list(content_in_use().causes)
    two = numpy.argsort(-probabilities, axis=1, kind="stable")[:, :2]
    ways = [Way(named, named[:1]) for named in (tuple(causes[each] for each in row) for row in two)]
    return Column(name, short, ways, False, probabilities)


def priors() -> numpy.ndarray:
    """Return how often causes come by the content, in its order."""
    return numpy.array([cause.prior for cause in content_in_use().causes.values()])


def truths(calls: Sequence[Call]) -> numpy.ndarray:
    """Return the number of each call's cause."""
    numbers = {cause: number for number, cause in enumerate(content_in_use().causes)}
    return numpy.array([numbers[call.cause] for call in calls])


def posteriors(calls: Sequence[Call], readings: str) -> numpy.ndarray:
    """Return the ranking's probabilities, a row for each call."""
    return numpy.array([call.posteriors[readings] for call in calls])


def shown(calls: Sequence[Call], readings: str) -> numpy.ndarray:
    """Return the readings as numbers, a row for each call."""
    return numpy.array([call.shown[readings] for call in calls], dtype=numpy.float32)


def weights_by_prior(calls: Sequence[Call]) -> numpy.ndarray:
    """Return how much each call counts where causes come by their priors; they sum to 1."""
    sizes = Counter(call.cause for call in calls)
    causes = content_in_use().causes
    total = sum(causes[cause].prior for cause in sizes)
    return numpy.array([causes[call.cause].prior / total / sizes[call.cause] for call in calls])


@dataclass(frozen=True)
class Score:
    """How one way did on some calls; all but `condemned`, `asked`, `minutes` are shares."""

    first: float
    in_two: float
    repair: float
    wrong: float
    missed: float
    condemned: int
    handed_over: float
    asked: float
    minutes: float
    brier: float | None = None
    calibration_error: float | None = None


def score(
    calls: Sequence[Call],
    column: Column,
    which: Sequence[int] | None = None,
    weights: numpy.ndarray | None = None,
) -> Score | None:
    """Return how a way did on the calls of the numbers `which` (all if None), None for no calls.

    A wrong conclusion is one that is not the cause; "healthy" for a fault counts as missed instead.
    """
    chosen = numpy.arange(len(calls)) if which is None else numpy.asarray(which, dtype=int)
    if len(chosen) == 0:
        return None
    weight = numpy.ones(len(calls)) if weights is None else weights
    share = weight[chosen] / weight[chosen].sum()
    pairs = [(calls[number].cause, column.ways[number]) for number in chosen]

    def mean(values: Sequence[float]) -> float:
        return float(numpy.dot(share, numpy.asarray(values, dtype=float)))

    brier = error = None
    if column.probabilities is not None:
        some = [calls[number] for number in chosen]
        probabilities = column.probabilities[chosen]
        brier = brier_score(probabilities, truths(some), share)
        error = expected_calibration_error(reliability(probabilities, truths(some), share))
    return Score(
        first=mean([way.named[:1] == (cause,) for cause, way in pairs]),
        in_two=mean([cause in way.named[:2] for cause, way in pairs]),
        repair=mean([cause in way.concluded for cause, way in pairs]),
        wrong=mean([is_wrong(cause, way) for cause, way in pairs]),
        missed=mean([is_missed(cause, way) for cause, way in pairs]),
        condemned=sum(is_false_condemnation(cause, way.concluded) for cause, way in pairs),
        handed_over=mean([not way.concluded for _, way in pairs]),
        asked=mean([way.questions for _, way in pairs]),
        minutes=mean([way.minutes for _, way in pairs]),
        brier=brier,
        calibration_error=error,
    )


def is_missed(cause: str, way: Way) -> bool:
    """Return whether a faulty machine is called healthy."""
    return cause != HEALTHY and way.concluded == (HEALTHY,)


def is_wrong(cause: str, way: Way) -> bool:
    """Return whether something that is not broken would have been repaired."""
    return bool(way.concluded) and cause not in way.concluded and not is_missed(cause, way)
