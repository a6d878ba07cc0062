"""Why calls ended without a recommendation: escalated, at which ending; withheld, of what. Pure."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass

from triage.store.tallies import EndingCount
from triage.tree.content import Content

RECOMMENDED, WITHHELD, ESCALATED = "recommended", "withheld", "escalated"


@dataclass(frozen=True, slots=True)
class Ends:
    """Calls that ended without a recommendation, the most frequent end first.

    `escalated` counts by ending, and `reasons` are what today's content says there; `withheld`
    counts by ending and the cause that was reached and not told.
    """

    escalated: Mapping[str, int]
    reasons: Mapping[str, str]
    withheld: Mapping[tuple[str, str], int]


def ends_of(counts: tuple[EndingCount, ...], content: Content) -> Ends:
    """Return the ends of calls without a recommendation."""
    escalated: Counter[str] = Counter()
    withheld: Counter[tuple[str, str]] = Counter()
    for one in counts:
        if one.result == ESCALATED:
            escalated[one.ending] += one.calls
        elif one.result == WITHHELD:
            withheld[one.ending, one.cause] += one.calls
    reasons = {
        ending.id: ending.escalate
        for tree in content.trees.values()
        for ending in tree.endings.values()
        if ending.escalate and ending.id in escalated
    }
    return Ends(
        dict(sorted(escalated.items(), key=lambda item: (-item[1], item[0]))),
        reasons,
        dict(sorted(withheld.items(), key=lambda item: (-item[1], item[0]))),
    )
