"""What callers of a complaint usually answer, as chances.

Causes are drawn by the priors of the tree, answers by how each cause shows: the likelihoods that
rank the causes. What says nothing of a cause (what cools the condenser, say) is any of its outcomes
alike. The complaint is the tree's own.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import dataclass

from triage.dialogue.beliefs import beliefs_of, scaled
from triage.dialogue.case import COMPLAINT, LICENSED, QUALIFICATION
from triage.tree.content import UNKNOWN, Content, Reading, Tree
from triage.tree.paths import Chances
from triage.tree.priors import content_for

LICENSED_CALLER, OTHER_CALLER, ANY_CALLER = "licensed", "not_licensed", "any"
"""Who is calling; any where a tree does not ask."""

UNKNOWN_SHARE = 0.05
"""Share of readings that cannot be had although the caller may be asked for them (judged)."""

Columns = Mapping[str, tuple[float, ...]]
"""Outcome to its chance in each mode."""


@dataclass(frozen=True, slots=True)
class UsualAnswers:
    """How probable each mode of each cause is, and the chance of every outcome in it.

    `causes` has the cause each mode is one of.
    """

    causes: tuple[str, ...]
    shares: tuple[float, ...]
    chances: Chances


def callers_of(tree: Tree) -> tuple[str, ...]:
    """Return the callers that a tree tells apart."""
    asks = any(question.reading == QUALIFICATION for question in tree.questions.values())
    return (LICENSED_CALLER, OTHER_CALLER) if asks else (ANY_CALLER,)


def usual_answers(content: Content, tree_id: str, who: str) -> UsualAnswers:
    """Return what callers of a complaint answer; `who` is one of `callers_of` its tree.

    Raises UnknownTree for a tree that is not there.
    """
    beliefs = beliefs_of(content_for(content, tree_id))
    modes = len(beliefs.shares)
    chances: dict[str, Columns] = {}
    for reading in content.readings.values():
        known = [outcome for outcome in reading.outcomes if outcome != UNKNOWN]
        columns = beliefs.columns.get(reading.id)
        if reading.id == QUALIFICATION:
            they = [each for each in known if (each == LICENSED) is (who == LICENSED_CALLER)]
            chances[reading.id] = _alike(reading, they or known, modes)
        elif reading.id == COMPLAINT and tree_id in known:
            chances[reading.id] = _alike(reading, [tree_id], modes)
        elif columns is None:
            chances[reading.id] = _not_always_had(_alike(reading, known, modes))
        else:
            chances[reading.id] = _not_always_had({name: columns[name] for name in known})
    causes = tuple(beliefs.causes[owner] for owner in beliefs.owners)
    return UsualAnswers(causes, tuple(scaled(beliefs.shares)), chances)


def _alike(reading: Reading, outcomes: Collection[str], modes: int) -> Columns:
    """Return the same chance for each of `outcomes`, none for the others."""
    share = 1.0 / len(outcomes)
    return {name: (share * (name in outcomes),) * modes for name in reading.outcomes}


def _not_always_had(columns: Columns) -> Columns:
    """Return the chances of known outcomes, scaled to leave room for unknown."""
    known = {name: column for name, column in columns.items() if name != UNKNOWN}
    wholes = [sum(chances) for chances in zip(*known.values(), strict=True)]
    scale = [(1.0 - UNKNOWN_SHARE) / whole for whole in wholes]
    had = {
        name: tuple(chance * by for chance, by in zip(column, scale, strict=True))
        for name, column in known.items()
    }
    return {**had, UNKNOWN: (UNKNOWN_SHARE,) * len(wholes)}
