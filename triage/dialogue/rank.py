"""The second way to a conclusion: all findings together rank the causes.

Exact inference over the causes and their modes (`triage.dialogue.beliefs`), one cause at a time
assumed.
"""

from __future__ import annotations

import math
from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence

from triage.dialogue.beliefs import (
    Beliefs,
    beliefs_of,
    group_of,
    measured,
    scaled,
    setting_of,
)
from triage.dialogue.view import ODD, Evidence, Finding, RankedCause, Verdict
from triage.tree.content import Content, Reading, Stage

LEAST_WEIGHT = math.log(1.2)
"""Findings that move the odds by less than a fifth are not told (judged)."""

AGAINST_THE_GROUP = math.log(2.0)
"""A finding that says the contrary of its group is told from twofold odds on (judged)."""

TYPICAL = 0.4
"""Judged chance from which an outcome is one of a cause's own signs, and never told against it."""

SETTLES = 0.3
"""Least distance between what two causes foretell of a reading for it to settle anything
(judged)."""

_LEAST_ODDS = 1e-12


def rank_causes(
    content: Content, findings: Iterable[Finding], *, is_freeze_proven: bool = True
) -> tuple[RankedCause, ...]:
    """Return the causes with their probability given `findings`, likeliest first.

    Ties keep content order. While the freeze is not proven sound, harvest causes are left out: no
    harvest part is blamed on an unhealthy or unknown freeze.
    """
    known = measured(findings)
    beliefs = beliefs_of(content, setting_of(known))
    weights = beliefs.after(beliefs.before(is_freeze_proven, content), known)
    ranked = [
        RankedCause(cause, probability)
        for cause, probability in zip(beliefs.causes, beliefs.by_cause(weights), strict=True)
        if probability > 0.0
    ]
    return tuple(sorted(ranked, key=lambda item: -item.probability))


def evidence_about(
    content: Content, causes: Iterable[str], findings: Iterable[Finding]
) -> tuple[tuple[Evidence, ...], tuple[Evidence, ...]]:
    """Return the findings that speak for and against `causes`, strongest first.

    The weight is the natural logarithm of how much a finding moves the odds of these causes
    together, given all readings of earlier stages of the call: a harvest reading is weighed on what
    the freeze has shown, the confirming test on everything before it. Readings of one stage that
    move together in the machine are weighed together, each given those before it, so that their
    weights add up to what the group says; groups of one stage are weighed each by itself, as a
    person does.
    """
    ours = {cause for cause in causes if cause in content.causes}
    known = measured(findings)
    beliefs = beliefs_of(content, setting_of(known))
    if not ours or len(ours) == len(beliefs.causes):
        return (), ()
    stages = stages_of(content)
    groups: dict[tuple[int, frozenset[str]], list[Finding]] = {}
    for finding in known:
        if beliefs.column(finding) is not None:
            stage = stages.get(finding.reading.id, 0)
            groups.setdefault((stage, group_of(finding.reading.id)), []).append(finding)
    speaking: list[Evidence] = []
    for (stage, _), group in groups.items():
        earlier = [item for item in known if stages.get(item.reading.id, 0) < stage]
        speaking.extend(_weighed(beliefs, group, ours, earlier))
    against = [
        item
        for item in speaking
        if item.weight < 0 and not _is_typical(content, ours, item.finding)
    ]
    return (
        tuple(sorted((e for e in speaking if e.weight > 0), key=lambda e: -e.weight)),
        tuple(sorted(against, key=lambda e: e.weight)),
    )


def _is_typical(content: Content, causes: Iterable[str], finding: Finding) -> bool:
    """Return whether a finding is what the trade expects of a cause, however likely of others."""
    return any(
        content.causes[cause].signs.get(finding.reading.id, {}).get(finding.outcome, 0.0) >= TYPICAL
        for cause in causes
    )


def stages_of(content: Content) -> Mapping[str, int]:
    """Return the earliest stage in which any tree asks for a reading, counted from the caller."""
    order = {stage: number for number, stage in enumerate(Stage)}
    found: dict[str, int] = {}
    for tree in content.trees.values():
        for question in tree.questions.values():
            stage = order[question.stage]
            found[question.reading] = min(stage, found.get(question.reading, stage))
    return found


def _weighed(
    beliefs: Beliefs, group: Sequence[Finding], ours: Collection[str], earlier: Sequence[Finding]
) -> Iterator[Evidence]:
    """Yield the findings of one group that are worth telling, weighed one after the other."""
    weights = []
    before = first = _log_odds(beliefs, beliefs.after(beliefs.shares, earlier), ours)
    for number in range(1, len(group) + 1):
        known = [*earlier, *group[:number]]
        after = _log_odds(beliefs, beliefs.after(beliefs.shares, known), ours)
        weights.append(after - before)
        before = after
    joint = before - first
    for finding, weight in zip(group, weights, strict=True):
        is_with_the_group = abs(joint) > LEAST_WEIGHT and joint * weight > 0.0
        is_odd = finding.verdict in ODD
        # What was only noted, such as the kind of condenser, is told where it says much.
        least = AGAINST_THE_GROUP if finding.verdict is Verdict.NOTED else LEAST_WEIGHT
        if abs(weight) > AGAINST_THE_GROUP or (
            is_with_the_group and (is_odd or abs(weight) > least)
        ):
            yield Evidence(finding, weight)


def settling_reading(
    content: Content,
    one: str,
    other: str,
    known: Mapping[str, Finding],
    among: Collection[str] | None = None,
) -> Reading | None:
    """Return the reading not yet had that best tells two causes apart, None if none does.

    `among` limits the choice to these reading ids. Best is the greatest total variation distance
    between what the two causes, given all that is known, foretell of the reading.
    """
    found = measured(known.values())
    beliefs = beliefs_of(content, setting_of(found))
    weights = beliefs.after(beliefs.shares, found)
    best: tuple[float, Reading | None] = (SETTLES, None)
    for reading_id, columns in beliefs.whole_columns.items():
        if among is not None and reading_id not in among:
            continue
        finding = known.get(reading_id)
        if finding is not None and finding.verdict is not Verdict.UNKNOWN:
            continue
        distance = 0.5 * sum(
            abs(
                _foretold(beliefs, weights, one, column)
                - _foretold(beliefs, weights, other, column)
            )
            for column in columns
        )
        if distance > best[0]:
            best = (distance, content.readings[reading_id])
    return best[1]


def _foretold(
    beliefs: Beliefs, weights: Sequence[float], cause: str, column: Sequence[float]
) -> float:
    """Return the chance of a column's outcome under a cause, its modes weighed as believed."""
    first, end = beliefs.spans[beliefs.causes.index(cause)]
    believed = scaled([weight + _LEAST_ODDS for weight in weights[first:end]])
    return sum(
        weight * chance for weight, chance in zip(believed, column[first:end], strict=True)
    )  # fmt: skip


def _log_odds(beliefs: Beliefs, weights: Sequence[float], ours: Collection[str]) -> float:
    share = sum(
        probability
        for cause, probability in zip(beliefs.causes, beliefs.by_cause(weights), strict=True)
        if cause in ours
    )
    share = min(max(share, _LEAST_ODDS), 1.0 - _LEAST_ODDS)
    return math.log(share / (1.0 - share))
