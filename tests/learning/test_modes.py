"""Modes found by expectation and maximization, held against known classes and exact formulas.

Reference for the frequencies of one mode: scikit-learn's `CategoricalNB`, naive Bayes over
categories with additive smoothing.
"""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Mapping, Sequence
from itertools import pairwise

import numpy as np
import pytest
from sklearn.naive_bayes import CategoricalNB

from triage.learning import modes as modes_module
from triage.learning.modes import EVEN_CALLS, PRIOR_CALLS, modes_of

READINGS = ("suction", "head", "line", "time", "pattern", "drop")
OUTCOMES: Mapping[str, Sequence[str]] = dict.fromkeys(READINGS, ("low", "usual", "high"))
SHARES = (0.65, 0.35)
CHANCES = (
    {
        "suction": (0.1, 0.8, 0.1), "head": (0.05, 0.9, 0.05), "line": (0.2, 0.6, 0.2),
        "time": (0.1, 0.2, 0.7), "pattern": (0.9, 0.05, 0.05), "drop": (0.3, 0.4, 0.3),
    },
    {
        "suction": (0.8, 0.15, 0.05), "head": (0.7, 0.2, 0.1), "line": (0.1, 0.1, 0.8),
        "time": (0.6, 0.3, 0.1), "pattern": (0.1, 0.8, 0.1), "drop": (0.3, 0.4, 0.3),
    },
)  # fmt: skip
"""Two planted classes: five readings tell them apart, the last one does not."""

Calls = list[dict[str, str]]


def planted(count: int, seed: int = 7) -> Calls:
    """Return calls drawn from the two classes."""
    generator = np.random.default_rng(seed)
    calls = []
    for _ in range(count):
        chances = CHANCES[int(generator.random() > SHARES[0])]
        calls.append(
            {
                reading: OUTCOMES[reading][generator.choice(3, p=chances[reading])]
                for reading in READINGS
            }
        )
    return calls


def test_two_planted_classes_are_found_again() -> None:
    count = 5000
    found = modes_of(planted(count), OUTCOMES, 2, seed=1)
    for mode, share, chances in zip(found, SHARES, CHANCES, strict=True):
        # Six standard errors, as which call is of which class has to be guessed as well.
        assert mode.share == pytest.approx(share, abs=6.0 * math.sqrt(share * (1 - share) / count))
        for reading in READINGS:
            for outcome, chance in zip(OUTCOMES[reading], chances[reading], strict=True):
                error = 6.0 * math.sqrt(chance * (1.0 - chance) / (share * count))
                assert mode.chances[reading][outcome] == pytest.approx(chance, abs=error)


def test_two_classes_foretell_new_calls_better_than_one_and_as_well_as_the_true_ones() -> None:
    fresh = planted(2000, seed=8)

    def score(
        shares: Sequence[float], tables: Sequence[Mapping[str, Mapping[str, float]]]
    ) -> float:
        total = 0.0
        for call in fresh:
            total += math.log(
                sum(
                    share * math.prod(table[key][found] for key, found in call.items())
                    for share, table in zip(shares, tables, strict=True)
                )
            )
        return total / len(fresh)

    def score_of(count: int) -> float:
        found = modes_of(planted(2000), OUTCOMES, count, seed=1)
        return score([mode.share for mode in found], [mode.chances for mode in found])

    truth = score(
        SHARES,
        [
            {key: dict(zip(OUTCOMES[key], row[key], strict=True)) for key in READINGS}
            for row in CHANCES
        ],
    )
    assert score_of(1) < truth - 0.3
    assert score_of(2) == pytest.approx(truth, abs=0.02)


def test_modes_come_commonest_first_and_sum_to_one() -> None:
    found = modes_of(planted(300), OUTCOMES, 4, seed=1)
    assert len(found) == 4
    shares = [mode.share for mode in found]
    assert shares == sorted(shares, reverse=True)
    assert math.fsum(shares) == pytest.approx(1.0)
    for mode in found:
        for reading, chances in mode.chances.items():
            assert list(chances) == list(OUTCOMES[reading])
            assert math.fsum(chances.values()) == pytest.approx(1.0)
            assert min(chances.values()) > 0.0


def test_the_same_calls_and_seed_give_the_same_modes() -> None:
    calls = planted(200)
    assert modes_of(calls, OUTCOMES, 3, seed=5) == modes_of(list(calls), dict(OUTCOMES), 3, seed=5)
    assert modes_of(calls, OUTCOMES, 3, seed=5) != modes_of(calls, OUTCOMES, 3, seed=6)


# What the maximization climbs.


def climbed(seed: int, rounds: int) -> float:
    """Return the log of likelihood times prior after so many rounds from the same start.

    The prior of each mode is a Dirichlet distribution: over its share worth one call, over each
    reading worth the cause's mean and an even spread.
    """
    calls = planted(150)
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(modes_module, "ROUNDS", rounds)
        patch.setattr(modes_module, "STARTS", 1)
        found = modes_of(calls, OUTCOMES, 3, seed)
    total = 0.0
    for call in calls:
        total += math.log(
            sum(
                mode.share * math.prod(mode.chances[key][at] for key, at in call.items())
                for mode in found
            )
        )
    for mode in found:
        total += math.log(mode.share)
        for reading in READINGS:
            seen = Counter(call[reading] for call in calls)
            for outcome, chance in mode.chances[reading].items():
                even = EVEN_CALLS / len(OUTCOMES[reading])
                mean = (seen[outcome] + even) / (len(calls) + EVEN_CALLS)
                total += (PRIOR_CALLS * mean + even) * math.log(chance)
    return total


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_no_round_ever_climbs_down(seed: int) -> None:
    # Dempster, Laird and Rubin (1977), theorem 1, from memory: EM never lowers what it maximizes.
    heights = [climbed(seed, rounds) for rounds in (1, 2, 3, 4, 6, 9, 14, 20, 40, 80)]
    assert all(after >= before - 1e-9 for before, after in pairwise(heights))
    assert heights[-1] > heights[0] + 1.0


def test_the_likelihood_stands_still_well_before_the_last_round() -> None:
    assert climbed(1, modes_module.ROUNDS) == pytest.approx(
        climbed(1, 2 * modes_module.ROUNDS), abs=0.5
    )


# One mode is nothing but frequencies.


def test_one_mode_is_the_frequencies_smoothed_as_stated() -> None:
    calls = planted(40)
    (mode,) = modes_of(calls, OUTCOMES, 1, seed=1)
    assert mode.share == pytest.approx(1.0)
    for reading in READINGS:
        seen = Counter(call[reading] for call in calls)
        for outcome in OUTCOMES[reading]:
            even = EVEN_CALLS / 3.0
            mean = (seen[outcome] + even) / (40.0 + EVEN_CALLS)
            expected = (seen[outcome] + PRIOR_CALLS * mean + even) / (
                40.0 + PRIOR_CALLS + EVEN_CALLS
            )
            assert mode.chances[reading][outcome] == pytest.approx(expected, rel=1e-12)


def test_one_mode_without_the_mean_is_that_of_scikit_learn(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr(modes_module, "PRIOR_CALLS", 0.0)
    calls = planted(60)
    (mode,) = modes_of(calls, OUTCOMES, 1, seed=1)
    numbers = [[OUTCOMES[key].index(call[key]) for key in READINGS] for call in calls]
    model = CategoricalNB(alpha=EVEN_CALLS / 3.0, force_alpha=True, min_categories=3)
    model.fit(np.array(numbers), np.zeros(len(calls)))
    for reading, logs in zip(READINGS, model.feature_log_prob_, strict=True):
        assert list(mode.chances[reading].values()) == pytest.approx(np.exp(logs[0]), rel=1e-12)


# Readings that are missing.


def test_a_reading_that_is_missing_or_strange_says_nothing() -> None:
    calls = planted(50)
    holes = [{**call, "line": "gone"} if n % 2 else call for n, call in enumerate(calls)]
    missing = [
        {key: found for key, found in call.items() if found != "gone"} for call in holes
    ]  # fmt: skip
    assert modes_of(holes, OUTCOMES, 2, seed=1) == modes_of(missing, OUTCOMES, 2, seed=1)
    (mode,) = modes_of(missing, OUTCOMES, 1, seed=1)
    half = modes_of(calls[::2], {"line": OUTCOMES["line"]}, 1, seed=1)[0]
    assert mode.chances["line"] == pytest.approx(half.chances["line"])


def test_an_outcome_never_drawn_stays_possible_in_every_mode() -> None:
    calls = [{"suction": "low"}] * 400
    for mode in modes_of(calls, {"suction": OUTCOMES["suction"]}, 3, seed=1):
        assert 0.0 < mode.chances["suction"]["high"] < 0.02
