"""Which recorded calls would end otherwise with another content: each is replayed with both."""

from __future__ import annotations

import argparse
import json
from collections import Counter
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from functools import partial

from triage.dialogue.events import Event
from triage.review.chosen import opened_record
from triage.review.progress import progress_bar
from triage.review.replay_many import Replayer, each_call
from triage.review.replayed import End, Replay
from triage.tree.content import Content
from triage.tree.matching import Matched, matched
from triage.tree.plain import content_from_plain, to_plain

Both = tuple[Replay, Replay]


class TwoReplayers:
    """Replays calls with two contents."""

    def __init__(self, before: Content, after: Content) -> None:
        self._before, self._after = Replayer(before), Replayer(after)

    def __call__(self, events: Sequence[Event]) -> Both:
        """Return how the call of `events` goes with either content."""
        return self._before(events), self._after(events)

    def unread(self, tree: str, why: str) -> Both:
        """Return what stands for a call that cannot be read."""
        return self._before.unread(tree, why), self._after.unread(tree, why)


def _with_plain(before: str, after: Content) -> TwoReplayers:
    """Return the replayers; a process is sent the first content as text."""
    return TwoReplayers(content_from_plain(json.loads(before)), after)


@dataclass(frozen=True, slots=True)
class Moved:
    """A recorded call that ends otherwise; an end is None where the call stays open."""

    session_id: str
    tree: str
    before: End | None
    after: End | None
    stands_before: str
    stands_after: str
    is_asked_otherwise: bool


@dataclass
class CallsTally:
    """What becomes of the recorded calls: `moved` are those that end otherwise.

    `asked_otherwise` names those that are asked or warned otherwise, whatever their end.
    """

    calls: int = 0
    asked_otherwise: list[str] = field(default_factory=list)
    moved: list[Moved] = field(default_factory=list)
    not_replayed: Counter[str] = field(default_factory=Counter)
    damaged: int = 0


def recorded_calls(options: argparse.Namespace, before: Content, after: Content) -> CallsTally:
    """Return what becomes of the calls in the record that the options name; raise StoreError."""
    tally = CallsTally()
    make: Callable[[Content], TwoReplayers] = partial(_with_plain, json.dumps(to_plain(before)))
    same = {
        tree: matched(before.trees[tree], after.trees[tree])
        for tree in before.trees.keys() & after.trees.keys()
    }
    with opened_record(options) as store:
        if store is None:
            return tally
        with progress_bar("calls replayed") as progress:
            for summary, both in each_call(make, after, store.each_session(), progress):
                if summary.fault:
                    tally.damaged += 1
                else:
                    _add(tally, summary.session_id, both, same)
    return tally


def _add(tally: CallsTally, session_id: str, both: Both, same: dict[str, Matched]) -> None:
    before, after = both
    why = after.cannot or before.cannot
    if why:
        tally.not_replayed[why] += 1
        return
    tally.calls += 1
    nodes = same.get(before.tree) if before.tree == after.tree else None
    path = tuple(map(partial(_called, nodes), before.path_now))
    is_asked_otherwise = path != after.path_now
    if is_asked_otherwise:
        tally.asked_otherwise.append(session_id)
    stands = _called(nodes, before.stands_now), after.stands_now
    if _told(before.end_now, nodes) != _told(after.end_now, None) or stands[0] != stands[1]:
        moved = Moved(
            session_id, after.tree, before.end_now, after.end_now, *stands, is_asked_otherwise
        )
        tally.moved.append(moved)


def _called(nodes: Matched | None, node: str) -> str:
    """Return what a node of the first content is called in the second; a caution by its question.

    Without `nodes` it keeps its name.
    """
    if nodes is None:
        return node
    if node.startswith("caution:"):
        caution, _, question = node.partition("@")
        return f"{caution}@{nodes[question]}"
    return nodes[node]


def _told(end: End | None, nodes: Matched | None) -> tuple[object, ...] | None:
    return None if end is None else (_called(nodes, end.ending), end.result, end.causes)
