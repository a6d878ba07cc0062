"""The second way to a conclusion: all findings together rank the causes.

The probabilities of outcomes under a cause are the judged `signs` of the content. Readings that
say the same thing twice (suction early and late, the two harvest pressures) are not independent;
within such a group each log-likelihood is divided by the square root of the group's size, which
lies between counting them as one (full dependence) and as many (none). This is a judged
compromise, not a fitted one.
"""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Collection, Iterable, Mapping

from triage.dialogue.view import Evidence, Finding, RankedCause, Verdict
from triage.tree.content import Cause, Content, Reading, Side

NORMAL_OUTCOME_PROBABILITY = 0.97
"""Chance of a healthy outcome where a cause names no sign for a reading (judged)."""

LEAST_PROBABILITY = 0.02
"""No single outcome is held more unlikely than this: readings are misread and misheard (judged)."""

IMPOSSIBLE = 1e-6
"""Chance of an outcome the content calls impossible; not 0, so that no case is without a cause."""

DEPENDENT_GROUPS = (
    frozenset({
        "freeze_time", "ice_bridge_thickness", "batch_ice_mass", "ice_pattern",
    }),
    frozenset({
        "freeze_suction_pressure_early", "freeze_suction_pressure_late", "suction_superheat",
    }),
    frozenset({"freeze_discharge_pressure", "liquid_subcooling", "condenser_fan_state"}),
    frozenset({
        "harvest_suction_pressure", "harvest_discharge_pressure", "hot_gas_line_temperature",
    }),
    frozenset({"coil_voltage", "coil_pulls_in"}),
    frozenset({"ice_released", "slab_loose_but_hanging", "harvest_time"}),
)  # fmt: skip
"""Readings moved by the same thing in the machine, so that one foretells the others (judged)."""


def rank_causes(
    content: Content, findings: Iterable[Finding], *, is_freeze_proven: bool = True
) -> tuple[RankedCause, ...]:
    """Return the causes with their probability given `findings`, likeliest first.

    Bayes' rule over the content's priors, one cause at a time assumed; ties keep content order.
    While the freeze is not proven sound, harvest causes are left out: no harvest part is blamed on
    an unhealthy or unknown freeze.
    """
    measured = _measured(findings)
    sizes = group_sizes(measured)
    scores = {
        cause.id: math.log(cause.prior)
        + sum(
            math.log(outcome_probability(cause, finding.reading, finding.outcome))
            / math.sqrt(sizes[finding.reading.id])
            for finding in measured
        )
        for cause in content.causes.values()
        if is_freeze_proven or cause.side is not Side.HARVEST
    }
    top = max(scores.values())
    weights = {cause: math.exp(score - top) for cause, score in scores.items()}
    total = sum(weights.values())
    ranked = [RankedCause(cause, weight / total) for cause, weight in weights.items()]
    return tuple(sorted(ranked, key=lambda item: -item.probability))


def evidence_about(
    content: Content, causes: Iterable[str], findings: Iterable[Finding]
) -> tuple[tuple[Evidence, ...], tuple[Evidence, ...]]:
    """Return the findings that speak for and against `causes`, strongest first.

    The weight is the natural logarithm of how much likelier the finding is under these causes than
    under the others, weighed by prior; findings that move the odds by less than a fifth are left
    out.
    """
    ours = [content.causes[cause] for cause in causes]
    if not ours:
        return (), ()
    others = [cause for cause in content.causes.values() if cause not in ours]
    measured = _measured(findings)
    sizes = group_sizes(measured)
    speaking = []
    for finding in measured:
        ratio = _mixture(ours, finding) / _mixture(others, finding) if others else 1.0
        weight = math.log(ratio) / math.sqrt(sizes[finding.reading.id])
        if abs(weight) > math.log(1.2):
            speaking.append(Evidence(finding, weight))
    return (
        tuple(sorted((e for e in speaking if e.weight > 0), key=lambda e: -e.weight)),
        tuple(sorted((e for e in speaking if e.weight < 0), key=lambda e: e.weight)),
    )


def settling_reading(
    content: Content,
    one: str,
    other: str,
    known: Mapping[str, Finding],
    among: Collection[str] | None = None,
) -> Reading | None:
    """Return the reading not yet had that best tells two causes apart, None if none does.

    `among` limits the choice to these reading ids.

    Best is the greatest total variation distance between the two causes' outcome probabilities;
    under 0.3 a reading does not settle anything (judged).
    """
    first, second = content.causes[one], content.causes[other]
    best: tuple[float, Reading | None] = (0.3, None)
    for reading_id in {**first.signs, **second.signs}:
        if among is not None and reading_id not in among:
            continue
        finding = known.get(reading_id)
        if finding is not None and finding.verdict is not Verdict.UNKNOWN:
            continue
        reading = content.readings[reading_id]
        distance = 0.5 * sum(
            abs(
                outcome_probability(first, reading, outcome)
                - outcome_probability(second, reading, outcome)
            )
            for outcome in reading.outcomes[:-1]
        )
        if distance > best[0]:
            best = (distance, reading)
    return best[1]


def outcome_probability(cause: Cause, reading: Reading, outcome: str) -> float:
    """Return the chance of `outcome` of a reading under `cause`, never under the least one.

    Only an outcome the content calls impossible (0) gets next to nothing: a part that is not fitted
    cannot fail.
    """
    outcomes = reading.outcomes[:-1]
    named = cause.signs.get(reading.id)
    if named is None:
        normal = reading.normal or (("within",) if reading.is_banded else ())
        if not normal:
            return 1.0 / len(outcomes)
        named = {choice: NORMAL_OUTCOME_PROBABILITY / len(normal) for choice in normal}
    unnamed = [item for item in outcomes if item not in named]
    left = max(0.0, 1.0 - sum(named.values()))
    if named.get(outcome) == 0.0:
        return IMPOSSIBLE
    probability = named.get(outcome, left / len(unnamed) if unnamed else 0.0)
    return max(LEAST_PROBABILITY, probability)


def group_sizes(findings: Iterable[Finding]) -> Mapping[str, int]:
    """Return for each reading how many of the findings belong to its dependent group."""
    ids = [finding.reading.id for finding in findings]
    groups = {
        reading_id: next((group for group in DEPENDENT_GROUPS if reading_id in group), None)
        for reading_id in ids
    }
    counts = Counter(group for group in groups.values() if group is not None)
    return {
        reading_id: counts[group] if group is not None else 1
        for reading_id, group in groups.items()
    }


def _measured(findings: Iterable[Finding]) -> list[Finding]:
    return [
        finding
        for finding in findings
        if finding.verdict is not Verdict.UNKNOWN and finding.outcome in finding.reading.outcomes
    ]


def _mixture(causes: list[Cause], finding: Finding) -> float:
    total = sum(cause.prior for cause in causes)
    return (
        sum(
            cause.prior * outcome_probability(cause, finding.reading, finding.outcome)
            for cause in causes
        )
        / total
    )
