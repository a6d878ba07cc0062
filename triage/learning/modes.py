"""The modes in which one cause shows, found in made-up calls by expectation and maximization.

A latent class model: in each mode readings are independent, so what they have in common under a
cause (how bad it is, which way it came about, what machine it is, which gauge is off) goes into the
modes. Dempster, Laird and Rubin, "Maximum likelihood from incomplete data via the EM algorithm",
Journal of the Royal Statistical Society B 39 (1977); latent classes after Lazarsfeld and Henry,
"Latent structure analysis" (1968); both from memory.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING

from triage.tree.likelihoods import Mode

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    Matrix = NDArray[np.float64]

ROUNDS = 80
"""Rounds of expectation and maximization; the likelihood stands still well before (measured)."""

STARTS = 3
"""Random starts of which the likeliest fit is kept."""

PRIOR_CALLS = 2.0
"""How many made-up calls the cause's mean over its modes weighs in each mode, so that what was
never drawn in a mode is not impossible there; judged."""

EVEN_CALLS = 0.5
"""How many calls weigh an even spread over all outcomes, on top of that; judged."""


def modes_of(
    calls: Sequence[Mapping[str, str]],
    outcomes: Mapping[str, Sequence[str]],
    count: int,
    seed: int,
) -> tuple[Mode, ...]:
    """Return `count` modes of one cause, the commonest first.

    `calls` hold what each made-up call showed, by reading; readings that are missing, or show what
    is not among `outcomes`, say nothing. The same calls and seed give the same modes.
    """
    import numpy as np

    seen, spans = _table(calls, outcomes)
    generator = np.random.default_rng(seed)
    fits = [_fit(seen, spans, count, generator) for _ in range(STARTS)]
    shares, chances, _ = max(fits, key=lambda fit: fit[2])
    return tuple(
        Mode(
            float(shares[mode]),
            {
                reading: {
                    outcome: float(chances[mode, start + number])
                    for number, outcome in enumerate(outcomes[reading])
                }
                for reading, (start, _) in spans.items()
            },
        )
        for mode in np.argsort(-shares, kind="stable")
    )


def _table(
    calls: Sequence[Mapping[str, str]], outcomes: Mapping[str, Sequence[str]]
) -> tuple[Matrix, Mapping[str, tuple[int, int]]]:
    """Return calls by outcomes as zeros and ones, and the columns each reading takes."""
    import numpy as np

    spans: dict[str, tuple[int, int]] = {}
    end = 0
    for reading, possible in outcomes.items():
        spans[reading] = (end, end + len(possible))
        end += len(possible)
    seen = np.zeros((len(calls), end))
    for row, shown in enumerate(calls):
        for reading, (start, _) in spans.items():
            outcome = shown.get(reading)
            if outcome in outcomes[reading]:
                seen[row, start + outcomes[reading].index(outcome)] = 1.0
    return seen, spans


def _fit(
    seen: Matrix,
    spans: Mapping[str, tuple[int, int]],
    count: int,
    generator: np.random.Generator,
) -> tuple[Matrix, Matrix, float]:
    """Return shares of modes, chances of outcomes in each, and the log-likelihood per call."""
    import numpy as np

    belongs = generator.dirichlet(np.ones(count), size=len(seen))
    mean = np.zeros(seen.shape[1])
    for start, end in spans.values():
        part = seen[:, start:end].sum(axis=0)
        even = np.full(end - start, 1.0 / (end - start))
        mean[start:end] = (
            PRIOR_CALLS * (part + EVEN_CALLS * even) / (part.sum() + EVEN_CALLS) + EVEN_CALLS * even
        )
    likelihood = -np.inf
    shares = np.full(count, 1.0 / count)
    chances = np.ones((count, seen.shape[1]))
    for _ in range(ROUNDS):
        shares = (belongs.sum(axis=0) + 1.0) / (len(seen) + count)
        counts = belongs.T @ seen + mean
        for start, end in spans.values():
            part = counts[:, start:end]
            chances[:, start:end] = part / part.sum(axis=1, keepdims=True)
        logs = np.log(shares) + seen @ np.log(chances).T
        top = logs.max(axis=1, keepdims=True)
        weights = np.exp(logs - top)
        likelihood = float((np.log(weights.sum(axis=1)) + top[:, 0]).mean())
        belongs = weights / weights.sum(axis=1, keepdims=True)
    return shares, chances, likelihood
