"""What to do next, by expected cost: which reading is worth its minutes, and when to decide.

The cost is counted in minutes: a wrong repair costs its own time and a call back, a hand-over costs
the visit of somebody else, a reading the caller's time, and more where it is dangerous. A reading
is worth what it is expected to take off the cost of the best decision. After Heckerman, Breese and
Rommelse, "Decision-theoretic troubleshooting", Communications of the ACM 38 (1995), with the
usual one-step look ahead; from memory.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from operator import mul

from triage.dialogue.beliefs import Beliefs, beliefs_of, measured, setting_of
from triage.dialogue.view import Finding, Verdict
from triage.tree.content import Content, Reading

LICENSED_TIMES, CAUTION_TIMES = 1.5, 1.25
"""How much dearer a minute of licensed work is, and one behind a caution (judged)."""


@dataclass(frozen=True, slots=True)
class Worth:
    """A reading that could be asked for: what it is expected to save, and what it takes."""

    reading: str
    saved_minutes: float
    taken_minutes: float

    @property
    def net_minutes(self) -> float:
        """What asking is expected to save over what it takes."""
        return self.saved_minutes - self.taken_minutes


@dataclass(frozen=True, slots=True)
class Decision:
    """The cheapest thing to do now: repair `cause`, or hand over if it is None.

    `probability` is that of the cause, or of the likeliest one where nothing is decided.
    """

    cause: str | None
    probability: float
    expected_minutes: float


def best_decision(
    content: Content,
    findings: Mapping[str, Finding],
    *,
    allowed: Collection[str],
) -> Decision:
    """Return the cheapest decision; only causes `allowed` may be repaired.

    Every cause is reckoned with, whether or not it may be blamed yet.
    """
    known = measured(findings.values())
    beliefs = beliefs_of(content, setting_of(known))
    weights = beliefs.after(beliefs.shares, known)
    chances = beliefs.by_cause(weights)
    best = Decision(None, max(chances), content.stakes.hand_over_minutes)
    for cause, chance in zip(beliefs.causes, chances, strict=True):
        minutes = (1.0 - chance) * wrong_minutes(content, cause)
        if cause in allowed and minutes < best.expected_minutes:
            best = Decision(cause, chance, minutes)
    return best


def worth_asking(
    content: Content,
    findings: Mapping[str, Finding],
    askable: Collection[str],
    *,
    allowed: Collection[str] | None = None,
) -> tuple[Worth, ...]:
    """Return the readings of `askable` worth more than they take, the most worth first.

    `allowed` are the causes that may be repaired after the answer, None for all. What cannot change
    the decision is worth nothing.
    """
    known = measured(findings.values())
    beliefs = beliefs_of(content, setting_of(known))
    weights = beliefs.after(beliefs.shares, known)
    losses = _losses(content, beliefs, allowed)
    now = _cost(content, beliefs, weights, losses)
    found = []
    for reading_id in askable:
        finding = findings.get(reading_id)
        columns = beliefs.whole_columns.get(reading_id)
        if columns is None or (finding is not None and finding.verdict is not Verdict.UNKNOWN):
            continue
        after = sum(
            _cost(
                content,
                beliefs,
                list(map(mul, weights, column)),
                losses,
            )
            for column in columns
        )
        worth = Worth(reading_id, now - after, minutes_of(content.readings[reading_id]))
        if worth.net_minutes > 0.0:
            found.append(worth)
    return tuple(sorted(found, key=lambda worth: -worth.net_minutes))


def minutes_of(reading: Reading) -> float:
    """Return what asking for a reading costs [min], dangerous ones dearer."""
    times = (LICENSED_TIMES if reading.is_licensed else 1.0) * CAUTION_TIMES ** bool(
        reading.cautions
    )
    return reading.minutes * times


def wrong_minutes(content: Content, cause: str) -> float:
    """Return what repairing `cause` costs if it is something else [min]."""
    return content.causes[cause].minutes + content.stakes.call_back_minutes


def _losses(
    content: Content, beliefs: Beliefs, allowed: Collection[str] | None
) -> Sequence[tuple[int, float]]:
    """Return number and cost of the wrong repair of each cause that may be repaired."""
    return [
        (number, wrong_minutes(content, cause))
        for number, cause in enumerate(beliefs.causes)
        if allowed is None or cause in allowed
    ]


def _cost(
    content: Content,
    beliefs: Beliefs,
    weights: Sequence[float],
    losses: Sequence[tuple[int, float]],
) -> float:
    """Return the cost of the best decision times the weight there is (not scaled to one)."""
    chances = beliefs.by_cause(weights)
    whole = sum(chances)
    handed_over = content.stakes.hand_over_minutes * whole
    return min(
        handed_over,
        min(((whole - chances[number]) * loss for number, loss in losses), default=handed_over),
    )
