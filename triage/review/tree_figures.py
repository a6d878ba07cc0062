"""What a tree holds in numbers, and how far demo calls and recorded calls cover it."""

from __future__ import annotations

import argparse
from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass, field

from triage.console.answers_file import AnswersError
from triage.review.chosen import opened_record
from triage.review.progress import progress_bar
from triage.review.replay_many import each_call
from triage.review.tree_coverage import Coverage, Mark, Passed, marks_of
from triage.review.tree_demo_calls import DemoCall, passed_by, readable_demo_calls, tree_of
from triage.review.usual_answers import callers_of, usual_answers
from triage.tree.content import Content, Tree
from triage.tree.conversations import States, TooLarge, conversations
from triage.tree.graph import Plan, plan_tree
from triage.tree.paths import Expected, Span, expected, graph_paths, never_met, talks


@dataclass(frozen=True, slots=True)
class TreeFigures:
    """A tree in numbers.

    `talks` are the conversations a caller can have, None where the tree is too entangled to count
    them; then nothing is expected either. `never_met` are questions and endings that no caller
    comes to.
    """

    plan: Plan
    paths: Span
    talks: Span | None = None
    never_met: tuple[str, ...] = ()
    expected: Mapping[str, Expected] = field(default_factory=dict)

    @property
    def tree(self) -> Tree:
        """The tree itself."""
        return self.plan.tree


def figures_of(content: Content, tree_id: str) -> TreeFigures:
    """Return a tree in numbers; raise UnknownTree if there is no such tree."""
    plan, states = plan_tree(content, tree_id), States()
    paths = graph_paths(plan)
    try:
        start = conversations(content, plan, states)
    except TooLarge:
        return TreeFigures(plan, paths)
    hoped: dict[str, Expected] = {}
    for who in callers_of(plan.tree):
        usual = usual_answers(content, tree_id, who)
        hoped[who] = expected(states, start, usual.shares, usual.chances)
    return TreeFigures(plan, paths, talks(states, start), never_met(plan, states, start), hoped)


@dataclass(frozen=True, slots=True)
class Line:
    """One thing in a tree, the demo calls and how many recorded calls passed it."""

    mark: Mark
    demo: tuple[str, ...]
    recorded: int

    @property
    def is_covered(self) -> bool:
        """Whether any call passed it."""
        return bool(self.demo or self.recorded)


@dataclass
class Covers:
    """Which calls passed what, by tree and mark.

    `demo` names the demo calls, `recorded` counts the calls of the record. `not_walked` says why
    calls were left out, and of how many it is true.
    """

    demo: dict[str, dict[Mark, list[str]]] = field(default_factory=dict)
    recorded: dict[str, Counter[Mark]] = field(default_factory=dict)
    demo_calls: list[str] = field(default_factory=list)
    recorded_calls: int = 0
    not_walked: Counter[str] = field(default_factory=Counter)
    damaged: int = 0

    def add_demo_calls(self, content: Content, tree: str | None = None) -> None:
        """Play the demo calls, those of one tree or all, and keep what they pass."""
        calls: list[DemoCall] = []
        for name, call in readable_demo_calls(content):
            if isinstance(call, AnswersError):
                self.not_walked[f"demo call {name}: {call}"] += 1
            elif tree is None or tree_of(content, call) == tree:
                calls.append(call)
        with progress_bar("demo calls played") as progress:
            for call, passed in passed_by(content, calls, progress):
                if passed.cannot:
                    self.not_walked[passed.cannot] += 1
                    continue
                self.demo_calls.append(call.name)
                for mark in passed.marks:
                    here = self.demo.setdefault(passed.tree, {})
                    here.setdefault(mark, []).append(call.name)

    def add_recorded(self, options: argparse.Namespace, content: Content) -> None:
        """Walk the calls of the record that the options name, if there is one; raise StoreError."""
        with opened_record(options) as store:
            if store is None:
                return
            with progress_bar("calls walked") as progress:
                for summary, passed in each_call(Coverage, content, store.each_session(), progress):
                    self._add(passed, is_damaged=bool(summary.fault))

    def _add(self, passed: Passed, *, is_damaged: bool) -> None:
        if is_damaged:
            self.damaged += 1
        elif passed.cannot:
            self.not_walked[passed.cannot] += 1
        else:
            self.recorded_calls += 1
            self.recorded.setdefault(passed.tree, Counter()).update(passed.marks)

    def lines(self, content: Content, plan: Plan) -> tuple[Line, ...]:
        """Return each mark of a tree with the demo calls and how many recorded calls passed it."""
        demo = self.demo.get(plan.tree.id, {})
        recorded = self.recorded.get(plan.tree.id, Counter())
        return tuple(
            Line(mark, tuple(demo.get(mark, ())), recorded[mark])
            for mark in marks_of(content, plan)
        )
