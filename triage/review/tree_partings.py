"""How the conversations of a complaint change from one content to another."""

from __future__ import annotations

import math
import random
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

from triage.dialogue.case import COMPLAINT, LICENSED, QUALIFICATION
from triage.review.usual_answers import (
    LICENSED_CALLER,
    OTHER_CALLER,
    UsualAnswers,
    callers_of,
    usual_answers,
)
from triage.tree.content import UNKNOWN, Content, Ending
from triage.tree.conversations import States, TooLarge, conversations
from triage.tree.graph import plan_tree
from triage.tree.matching import matched, told_alike
from triage.tree.parting import Parted, Partings, in_order, partings, told_apart
from triage.tree.paths import Chances

DRAWN_CALLS = 4000
"""Calls drawn where two trees are too unlike to follow all at once (judged: about a second)."""

SEED = 1

_OF_BEFORE = "before "
"""Stands in front of an ending that only the first content has; no id holds a blank."""


@dataclass(frozen=True, slots=True)
class TreePartings:
    """What changes in the conversations with one tree.

    `callers` are the kinds of callers that `partings` has shares of. `endings` are those it names,
    each with the content it stands in. With standard errors (of the share that ends otherwise) the
    calls were drawn by lot; without them all were followed. `partings` is None where the trees are
    too entangled for either.
    """

    tree: str
    callers: tuple[str, ...]
    endings: Mapping[str, tuple[Content, Ending]]
    partings: Partings | None = None
    standard_errors: tuple[float, ...] = ()

    def ends_otherwise(self, *, with_other_causes: bool = False) -> tuple[float, ...]:
        """Return for each kind of callers the share that ends otherwise, or comes to other causes.

        An end that is handed over comes to no cause.
        """
        ends = self.partings.ends if self.partings else ()
        if with_other_causes:
            ends = tuple(item for item in ends if not self.has_same_causes(item))
        return tuple(
            math.fsum(item.shares[number] for item in ends) for number in range(len(self.callers))
        )

    def has_same_causes(self, item: Parted) -> bool:
        """Return whether both ends tell the same causes to be at work."""
        (_, one), (_, other) = self.endings[item.before], self.endings[item.after]
        return bool(one.causes) and set(one.causes) == set(other.causes)


def tree_partings(before: Content, after: Content, tree_id: str) -> TreePartings:
    """Return how conversations with a tree that both contents have change."""
    old, new = before.trees[tree_id], after.trees[tree_id]
    same = matched(old, new).endings
    names = {
        name: same[name]
        if name in same and told_alike(ending, new.endings[same[name]])
        else f"{_OF_BEFORE}{name}"
        for name, ending in old.endings.items()
    }
    endings = {
        **{names[name]: (before, ending) for name, ending in old.endings.items()},
        **{name: (after, ending) for name, ending in new.endings.items()},
    }
    callers = callers_of(old)
    if callers != callers_of(new):
        callers = (LICENSED_CALLER, OTHER_CALLER)
    states, starts = States(), []
    elsewhere = (before.trees.keys() | after.trees.keys()) - {tree_id}
    for content, named in ((before, names), (after, {})):
        plan = plan_tree(content, tree_id)
        readings = {name: question.reading for name, question in plan.tree.questions.items()}
        try:
            starts.append(conversations(content, plan, states, {**named, **readings}, elsewhere))
        except TooLarge:
            return TreePartings(tree_id, callers, endings)
    answers = [_joint_answers(before, after, tree_id, who) for who in callers]
    usual = _nothing_odd(before, after, tree_id)
    drawn = [(each.shares, each.chances) for each in answers]
    try:
        found = partings(states, starts[0], starts[1], drawn, usual)
    except TooLarge:
        found, errors = _drawn(states, starts, answers)
        return TreePartings(tree_id, callers, endings, found, errors)
    return TreePartings(tree_id, callers, endings, found)


def _nothing_odd(before: Content, after: Content, tree_id: str) -> Mapping[str, frozenset[str]]:
    """Return the outcomes of each reading that an example had better show: nothing odd in them."""
    found: dict[str, frozenset[str]] = {}
    for reading in (*before.readings.values(), *after.readings.values()):
        usual = set(reading.normal or (["within"] if reading.is_banded else reading.outcomes))
        for name, wanted in ((QUALIFICATION, LICENSED), (COMPLAINT, tree_id)):
            if reading.id == name and wanted in reading.outcomes:
                usual = {wanted}
        found[reading.id] = found.get(reading.id, frozenset()) | (usual - {UNKNOWN})
    return found


def _joint_answers(before: Content, after: Content, tree_id: str, who: str) -> UsualAnswers:
    """Return what callers answer: as the first content has it, and of new readings as the second.

    A cause that the second content lacks shows in its new readings as all of its causes together.
    """
    old = usual_answers(before, tree_id, who)
    new = usual_answers(after, tree_id, who)
    chances: dict[str, Mapping[str, Sequence[float]]] = dict(old.chances)
    modes = {
        cause: [number for number, owner in enumerate(new.causes) if owner == cause]
        for cause in old.causes
    }
    for reading_id, columns in new.chances.items():
        if reading_id not in chances:
            chances[reading_id] = {
                outcome: tuple(
                    _mean(column, new.shares, modes[cause] or range(len(column)))
                    for cause in old.causes
                )
                for outcome, column in columns.items()
            }
    return replace(old, chances=chances)


def _mean(column: Sequence[float], shares: Sequence[float], modes: Sequence[int]) -> float:
    weights = [shares[mode] for mode in modes]
    whole = math.fsum(weights)
    if whole == 0.0:
        return math.fsum(column[mode] for mode in modes) / len(modes)
    return math.fsum(column[mode] * of for mode, of in zip(modes, weights, strict=True)) / whole


def _drawn(
    states: States, starts: Sequence[int], answers: Sequence[UsualAnswers]
) -> tuple[Partings, tuple[float, ...]]:
    """Return how drawn calls part, and the standard error of each share that ends otherwise."""
    lot = random.Random(SEED)
    asked_otherwise = [0] * len(answers)
    counts: dict[tuple[str, str], list[int]] = {}
    shortest: dict[tuple[str, str], Parted] = {}
    for number, of in enumerate(answers):
        for _ in range(DRAWN_CALLS):
            (mode,) = lot.choices(range(len(of.shares)), of.shares)
            caller = _Caller(of.chances, mode, lot)
            told, is_alike = told_apart(states, starts[0], starts[1], caller)
            asked_otherwise[number] += not is_alike
            if told.before == told.after:
                continue
            key = told.before, told.after
            counts.setdefault(key, [0] * len(answers))[number] += 1
            if key not in shortest or len(told.answers) < len(shortest[key].answers):
                shortest[key] = told
    ends = in_order(
        replace(shortest[key], shares=tuple(count / DRAWN_CALLS for count in each))
        for key, each in counts.items()
    )
    whole = [sum(each) / DRAWN_CALLS for each in zip(*counts.values(), strict=True)]
    errors = tuple(math.sqrt(share * (1.0 - share) / DRAWN_CALLS) for share in whole)
    otherwise = tuple(count / DRAWN_CALLS for count in asked_otherwise)
    return Partings(otherwise, ends), errors or (0.0,) * len(answers)


class _Caller:
    """Answers as a machine with one cause shows, and the same whenever asked."""

    def __init__(self, chances: Chances, mode: int, lot: random.Random) -> None:
        self._chances, self._mode, self._lot = chances, mode, lot
        self._had: dict[str, str] = {}

    def __call__(self, reading: str) -> str:
        """Return the outcome of a reading."""
        if reading not in self._had:
            outcomes = self._chances[reading]
            weights = [chances[self._mode] for chances in outcomes.values()]
            self._had[reading] = self._lot.choices(list(outcomes), weights)[0]
        return self._had[reading]
