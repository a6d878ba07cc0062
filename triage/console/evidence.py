"""Findings that speak for or against a cause, in as few lines as they say something new.

Readings that foretell each other share one line and one word for their strength. What is as it
should be is gathered in one line: it speaks by being unremarkable.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator

from triage.console.telling import Telling
from triage.dialogue.beliefs import group_of
from triage.dialogue.view import Evidence, Source, Verdict
from triage.dialogue.words import plain_text
from triage.tree.content import Stage

STRONG_WEIGHT = 1.6
"""Natural log of odds moved fivefold: called strong (judged)."""

CLEAR_WEIGHT = 0.7
"""Natural log of odds moved twofold: called clear, less is called slight (judged)."""

_IN_THE_FREEZE = " in the freeze"


LEANS = 0.4
"""Residual from which a reading inside its band leans to one side [half-widths]; judged."""

MOST_TIMES = 1000.0
"""Odds moved further than this are told as more than it: no such figure can be trusted (judged)."""


def weight_words(weight: float) -> str:
    """Return how much findings count whose weights sum to `weight`, as a word and as odds.

    >>> weight_words(-1.7), weight_words(0.8), weight_words(0.3)
    ('strong, odds down 5.5 times', 'clear, odds up 2.2 times', 'slight, odds up 1.3 times')
    >>> weight_words(0.02)
    'slight, odds hardly moved'
    """
    size = "strong" if abs(weight) >= STRONG_WEIGHT else "slight"
    if CLEAR_WEIGHT <= abs(weight) < STRONG_WEIGHT:
        size = "clear"
    times = math.exp(abs(weight))
    shown = f"{times:.2g}" if times < 10.0 else f"{times:.0f}"
    if times > MOST_TIMES:
        shown = f"over {MOST_TIMES:.0f}"
    if shown in ("1", "1.0"):
        return f"{size}, odds hardly moved"
    return f"{size}, odds {'up' if weight > 0.0 else 'down'} {shown} times"


def evidence_lines(evidence: Iterable[Evidence], telling: Telling) -> list[str]:
    """Return a line for each thing the findings say: what is out of order first, heaviest first.

    What was worked out from another reading says nothing by itself and is left out.
    """
    spoken = [item for item in evidence if item.finding.source is not Source.WORKED_OUT]
    remarkable = [item for item in spoken if item.finding.verdict is not Verdict.WITHIN]
    in_order = [item for item in spoken if item.finding.verdict is Verdict.WITHIN]
    weighed = [
        pair
        for part in (_together(remarkable, telling), _as_they_should_be(in_order, telling))
        for pair in sorted(part, key=lambda pair: -abs(pair[0]))
    ]
    return [f"{weight_words(weight)}: {words}" for weight, words in weighed]


def _together(evidence: Iterable[Evidence], telling: Telling) -> Iterator[tuple[float, str]]:
    """Yield weight and words of findings out of order, dependent ones in one."""
    groups: dict[object, list[Evidence]] = {}
    for item in evidence:
        groups.setdefault(group_of(item.finding.reading.id), []).append(item)
    for items in groups.values():
        yield _sum(items), "; ".join(telling.brief(item.finding) for item in items)


def _as_they_should_be(
    evidence: Iterable[Evidence], telling: Telling
) -> Iterator[tuple[float, str]]:
    """Yield weight and words of findings in order, those of the freeze apart from the rest."""
    groups: dict[tuple[bool, bool, bool], list[Evidence]] = {}
    for item in evidence:
        key = (item.weight > 0.0, _stage(item, telling) is Stage.FREEZE, not _leans(item))
        groups.setdefault(key, []).append(item)
    for (is_for, is_freeze, is_in_the_middle), items in groups.items():
        names = [plain_text(item.finding.reading.name) for item in items]
        if not is_for:
            yield _sum(items), _against(items, names, telling)
        elif not is_in_the_middle:
            yield _sum(items), f"inside their bands, but leaning this way: {', '.join(names)}"
        elif len(items) == 1:
            yield _sum(items), telling.brief(items[0].finding)
        elif is_freeze:
            listed = ", ".join(name.replace(_IN_THE_FREEZE, "") for name in names)
            yield _sum(items), f"these freeze readings are as they should be: {listed}"
        else:
            yield _sum(items), f"as they should be: {', '.join(names)}"


def _leans(item: Evidence) -> bool:
    """Return whether a reading lies inside its band, but off its middle (judged)."""
    residual = item.finding.residual
    return residual is not None and abs(residual) > LEANS


def _against(items: list[Evidence], names: list[str], telling: Telling) -> str:
    if len(items) > 1:
        return f"as they should be, but this fault often moves them: {', '.join(names)}"
    finding = items[0].finding
    joint = " is in its band" if finding.band is not None else ", which is normal"
    return f"{telling.named_value(finding)}{joint}; this fault often moves it"


def _stage(item: Evidence, telling: Telling) -> Stage | None:
    """Return the stage in which the call's tree asks for a reading."""
    tree = telling.content.trees.get(telling.case.tree)
    questions = tree.questions.values() if tree else ()
    reading_id = item.finding.reading.id
    return next((each.stage for each in questions if each.reading == reading_id), None)


def _sum(items: Iterable[Evidence]) -> float:
    return sum(item.weight for item in items)
