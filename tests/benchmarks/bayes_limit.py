"""How well anybody could do on the same readings: the Bayes limit, estimated from below.

Whoever knows the true probability of every cause given the readings is right most often; nobody can
work that probability out in closed form for the virtual machine. General-purpose learners, shown
many calls with their true cause, come near it. A learner can only fall short of the limit, never
beat it but by luck, so what it reaches is a lower bound; the limit shown is the better of learner
and ranking.

The learner sees what a call tells: residuals, choices, told temperatures and the machine's name.
It is taught each caller several times, with other readings missing. For the limit on all readings
none to three are missing at random, as in a call. For the limit on the readings a call had, it is
taught the sets of readings that other calls about the same machine had; whose call a set is taken
from has nothing to do with the caller's fault, so a set by itself says nothing.

Several kinds of learner are tried and the best by log-loss on callers held back is kept, or the
mean of their probabilities where that is better.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Protocol

import numpy

from tests.benchmarks.features import columns_of
from tests.benchmarks.limit_draws import Draws
from tests.benchmarks.simulated_calls import content_in_use
from triage.drill.population import CAN_BE_MISSING, TRIED

LESSONS_OF_ONE = 4
"""How often a caller is shown, each time with other readings missing."""

HELD_BACK = 0.1
"""Share of the callers that choose among learners and are not learned from."""


class Learner(Protocol):
    """What scikit-learn's classifiers are."""

    def fit(self, rows: numpy.ndarray, causes: numpy.ndarray) -> object: ...

    def predict_proba(self, rows: numpy.ndarray) -> numpy.ndarray: ...


@dataclass(frozen=True)
class Limit:
    """The best learner found: its name, its log-loss on callers held back, and who it is.

    `tried` are the log-losses of all; `columns` are those of a row that lessons ever showed.
    """

    name: str
    log_loss: float
    tried: dict[str, float]
    learners: tuple[Learner, ...]
    causes: int
    columns: numpy.ndarray

    def probabilities(self, rows: numpy.ndarray) -> numpy.ndarray:
        """Return a probability for each cause (columns) of each call (rows)."""
        return _mean_of(self.learners, rows[:, self.columns], self.causes)


Masks = dict[str, list[numpy.ndarray]]
"""By machine: which columns a call had."""


def random_masks(seed: int, count: int = 2000) -> Masks:
    """Return masks with none to three readings missing, the confirming test never had."""
    generator = numpy.random.default_rng(seed)
    columns = columns_of(content_in_use())
    names = numpy.array([reading for reading, _ in columns])
    masks = []
    for _ in range(count):
        missing = generator.choice(CAN_BE_MISSING, generator.integers(4), replace=False)
        masks.append(~numpy.isin(names, [*missing, TRIED]))
    return dict.fromkeys(content_in_use().machines, masks)


def masks_had(machines: Sequence[str], rows: numpy.ndarray) -> Masks:
    """Return which readings calls had, by machine."""
    masks: Masks = defaultdict(list)
    for machine, row in zip(machines, rows, strict=True):
        masks[machine].append(~numpy.isnan(row))
    return masks


def learn(draws: Draws, masks: Masks, seed: int, lessons: int = LESSONS_OF_ONE) -> Limit:
    """Return the best of the learners, taught by `draws` seen through `masks`.

    One thread only: where other work keeps the cores busy, threads wait for one another for ever.
    """
    import sklearn.ensemble  # only thread pools already loaded can be limited
    import sklearn.neural_network  # noqa: F401
    from threadpoolctl import threadpool_limits

    with threadpool_limits(1):
        return _learned(draws, masks, seed, lessons)


def _learned(draws: Draws, masks: Masks, seed: int, lessons: int) -> Limit:
    generator = numpy.random.default_rng(seed)
    order = generator.permutation(len(draws.causes))
    held = order[: int(HELD_BACK * len(order))]
    taught = order[len(held) :]
    rows, causes = _lessons(draws, numpy.tile(taught, lessons), masks, generator)
    held_rows, held_causes = _lessons(draws, numpy.tile(held, lessons), masks, generator)
    columns = numpy.flatnonzero(~numpy.isnan(rows).all(axis=0))
    rows, held_rows = rows[:, columns], held_rows[:, columns]
    found: dict[str, tuple[Learner, ...]] = {}
    for name, learner in learners(seed, len(rows)):
        learner.fit(rows, causes)
        found[name] = (learner,)
    found["mean of them"] = tuple(one for group in found.values() for one in group)
    count = len(content_in_use().causes)
    tried = {
        name: log_loss(_mean_of(group, held_rows, count), held_causes)
        for name, group in found.items()
    }
    best = min(tried, key=lambda name: tried[name])
    return Limit(best, tried[best], tried, found[best], count, columns)


def learners(seed: int, lessons: int) -> Iterator[tuple[str, Learner]]:
    """Yield the learners that are tried on this many lessons."""
    from sklearn.ensemble import HistGradientBoostingClassifier
    from sklearn.impute import SimpleImputer
    from sklearn.neural_network import MLPClassifier
    from sklearn.pipeline import make_pipeline
    from sklearn.preprocessing import StandardScaler

    yield (
        "neural network",
        make_pipeline(
            SimpleImputer(strategy="constant", fill_value=0.0, add_indicator=True),
            StandardScaler(),
            MLPClassifier(
                (256, 128), alpha=1e-3, batch_size=min(512, lessons // 2), early_stopping=True,
                max_iter=40, n_iter_no_change=4, random_state=seed,
            ),
        ),
    )  # fmt: skip
    yield (
        "boosted trees",
        HistGradientBoostingClassifier(
            learning_rate=0.15, max_iter=150, l2_regularization=1.0, max_features=0.3,
            early_stopping=True, n_iter_no_change=5, random_state=seed,
        ),
    )  # fmt: skip


def log_loss(probabilities: numpy.ndarray, truth: numpy.ndarray) -> float:
    """Return the mean of minus the logarithm of the probability given to the truth."""
    given = probabilities[numpy.arange(len(truth)), truth]
    return float(-numpy.log(numpy.maximum(given, 1e-9)).mean())


def _lessons(
    draws: Draws, numbers: numpy.ndarray, masks: Masks, generator: numpy.random.Generator
) -> tuple[numpy.ndarray, numpy.ndarray]:
    """Return the calls of these numbers, each seen through a mask of its machine's."""
    columns = columns_of(content_in_use())
    machine_columns = {
        choice: number for number, (reading, choice) in enumerate(columns) if reading == "machine"
    }
    rows = draws.rows[numbers].copy()
    for machine, column in machine_columns.items():
        mine = numpy.flatnonzero(rows[:, column] == 1.0)
        pool = numpy.array(masks.get(machine) or [numpy.ones(len(columns), bool)])
        shown = pool[generator.integers(len(pool), size=len(mine))]
        rows[mine] = numpy.where(shown, rows[mine], numpy.nan)
    return rows, draws.causes[numbers]


def _mean_of(group: Sequence[Learner], rows: numpy.ndarray, causes: int) -> numpy.ndarray:
    total = numpy.zeros((len(rows), causes))
    for learner in group:
        total[:, learner.classes_] += learner.predict_proba(rows)  # type: ignore[attr-defined]
    return total / len(group)
