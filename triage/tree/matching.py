"""Which nodes of a tree are the same ones in two contents.

Nodes are matched by their id, else by the last part of it (a part put into another namespace), else
by what they say; so a node under a new name is not one removed and one added.
"""

from __future__ import annotations

from collections.abc import Callable, Hashable, Mapping
from dataclasses import dataclass
from typing import TypeVar

from triage.tree.content import Ending, Junction, Question, Tree

_Node = TypeVar("_Node", Question, Junction, Ending)


@dataclass(frozen=True, slots=True)
class Matched:
    """Nodes of a tree in two contents: id before to id after, by kind."""

    questions: Mapping[str, str]
    junctions: Mapping[str, str]
    endings: Mapping[str, str]

    def __getitem__(self, node: str) -> str:
        """Return the id after of a node of before; its own where nothing matches it."""
        for table in (self.questions, self.junctions, self.endings):
            if node in table:
                return table[node]
        return node


def matched(before: Tree, after: Tree) -> Matched:
    """Return which nodes of a tree in two contents are the same ones."""
    return Matched(
        _matched(before.questions, after.questions, _question_says),
        _matched(before.junctions, after.junctions, _junction_says),
        _matched(before.endings, after.endings, _ending_says),
    )


def told_alike(before: Ending, after: Ending) -> bool:
    """Return whether two endings come to the same: the same causes, or those it may settle on."""
    return (before.escalate is None, before.causes, before.settles) == (
        after.escalate is None, after.causes, after.settles,
    )  # fmt: skip


def _matched(
    before: Mapping[str, _Node],
    after: Mapping[str, _Node],
    says: Callable[[_Node], Hashable],
) -> dict[str, str]:
    found = {name: name for name in before if name in after}
    for key in (lambda name, _: name.rpartition(".")[2], lambda _, thing: says(thing)):
        left = _by_key({name: it for name, it in before.items() if name not in found}, key)
        taken = set(found.values())
        there = _by_key({name: it for name, it in after.items() if name not in taken}, key)
        for same, names in left.items():
            if len(names) == 1 and len(there.get(same, ())) == 1:
                found[names[0]] = there[same][0]
    return found


def _by_key(
    things: Mapping[str, _Node], key: Callable[[str, _Node], Hashable]
) -> dict[Hashable, list[str]]:
    found: dict[Hashable, list[str]] = {}
    for name, thing in things.items():
        found.setdefault(key(name, thing), []).append(name)
    return found


def _question_says(question: Question) -> Hashable:
    return question.reading, question.agent, question.technician


def _junction_says(junction: Junction) -> Hashable:
    return tuple(rule.says for rule in junction.rules)


def _ending_says(ending: Ending) -> Hashable:
    return ending.causes, ending.escalate, ending.because
