"""What differs between two contents: in what they say, in conversations, in recorded calls."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from triage.review.progress import Progress
from triage.review.tree_diff_calls import CallsTally
from triage.review.tree_partings import TreePartings, tree_partings
from triage.tree.content import Content
from triage.tree.difference import RENAMED, Change, Kind, differences
from triage.tree.facets import PHRASES

_OF_ONE_TREE = frozenset({Kind.TREE, Kind.QUESTION, Kind.JUNCTION, Kind.ENDING})

_WORDS = frozenset({
    RENAMED, "title", "longest call promised", "stage", "agent's words", "technician's words",
    "why", "how", "if it cannot be had", "taken at minute", "suspects", "because", "machine state",
    "whom to call", "name", "as it should be", "believable", "minutes it takes",
    "cautions before it", "counts without being asked for", "asks for danger",
})  # fmt: skip
"""Sides of trees and readings that no route goes by; a side not named here may be one."""


@dataclass(frozen=True, slots=True)
class Side:
    """One of the two contents, and what it was called on the command line."""

    name: str
    content: Content


@dataclass(frozen=True, slots=True)
class Difference:
    """All that differs. `calls` is None where no record was looked at."""

    before: Side
    after: Side
    changes: tuple[Change, ...]
    conversations: tuple[TreePartings, ...]
    calls: CallsTally | None = None


def difference_of(before: Side, after: Side, progress: Progress) -> Difference:
    """Return what differs in the contents and in the conversations with their trees."""
    changes = differences(before.content, after.content)
    trees = tuple(_touched(before.content, after.content, changes))
    parted = []
    for number, tree in enumerate(trees):
        progress(number, len(trees))
        parted.append(tree_partings(before.content, after.content, tree))
    return Difference(before, after, changes, tuple(parted))


def _touched(before: Content, after: Content, changes: Sequence[Change]) -> Iterator[str]:
    """Yield the trees of both contents whose conversations may have changed.

    A reading may have other answers now, or be for licensed callers alone, wherever it is asked.
    """
    routing = [change for change in changes if not _is_of_words(change)]
    is_any = any(change.kind is Kind.READING for change in routing)
    named = {tree for change in routing if change.kind in _OF_ONE_TREE for tree in change.trees}
    for tree in before.trees:
        if tree in after.trees and (is_any or tree in named):
            yield tree


def _is_of_words(change: Change) -> bool:
    is_label = change.what.startswith('answer "') and bool(change.before and change.after)
    return is_label or change.what in _WORDS or change.what.startswith(PHRASES)
