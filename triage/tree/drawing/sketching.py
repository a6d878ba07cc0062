"""A sketch made of a tree's graph: the whole, or a cut of it by stage or part."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from graphlib import CycleError
from itertools import pairwise
from types import MappingProxyType

from triage.tree.content import Content, Ending, Stage
from triage.tree.drawing.sketch import Box, Caution, Finish, Kind, Sketch, Way
from triage.tree.drawing.trail import Trail
from triage.tree.drawing.words import ANY_ANSWER, OTHERWISE, one_line, outcome_words
from triage.tree.errors import TreeError, nearest, quoted
from triage.tree.graph import Node, NodeKind, Plan, Step, caution_node
from triage.tree.paths import graph_paths

Gates = Mapping[str, Sequence[str]]
"""By ending id: the title of each caution that its gate may ask for."""

_WITHOUT_TRAIL = Trail((), ())
_DRAWN = (NodeKind.QUESTION, NodeKind.JUNCTION)


class NothingToDraw(TreeError):
    """The cut asked for holds nothing of the tree."""


@dataclass(frozen=True, slots=True)
class Cut:
    """Which boxes are drawn: those of a stage, of the part in a namespace, or of both."""

    stage: Stage | None = None
    part: str = ""

    def holds(self, node: Node) -> bool:
        """Whether a question or junction is drawn."""
        is_of_part = not self.part or node.id.startswith(f"{self.part}.")
        return is_of_part and self.stage in (None, node.stage)


_WHOLE = Cut()


def sketch_of(
    content: Content,
    plan: Plan,
    gates: Gates,
    cut: Cut = _WHOLE,
    trail: Trail | None = None,
    about: Sequence[str] = (),
    *,
    with_words: bool = False,
) -> Sketch:
    """Return the sketch of a tree.

    gates: what the gates ask for; trail: a call to mark; about: lines to put before ours;
    with_words: whether questions stand there in full. Raises NothingToDraw if the tree has no box
    in the cut.
    """
    sketcher = _Sketcher(content, plan, gates, cut, trail or _WITHOUT_TRAIL, with_words=with_words)
    return sketcher.sketch(about)


class _Sketcher:
    def __init__(
        self,
        content: Content,
        plan: Plan,
        gates: Gates,
        cut: Cut,
        trail: Trail,
        *,
        with_words: bool,
    ) -> None:
        self._content = content
        self._plan = plan
        self._gates = gates
        self._cut = cut
        self._trail = trail
        self._with_words = with_words
        nodes = [name for name in trail.path if name in plan.nodes]
        names = list(dict.fromkeys(map(self._named, nodes)))
        self._passed = frozenset(names)
        self._steps = frozenset(pairwise(names))
        self._order, self._unreached = self._in_order()

    def sketch(self, about: Sequence[str]) -> Sketch:
        tree = self._plan.tree
        inside = [name for name in self._order if self._cut.holds(self._plan.nodes[name])]
        if not inside:
            raise NothingToDraw(self._nothing())
        boxes = [self._box(self._plan.nodes[name]) for name in inside]
        ends = {way.target for box in boxes for way in box.ways}
        leap = self._trail.leap
        if leap is not None and leap.source in inside:
            ends.add(leap.target)
        else:
            leap = None
        beyond = ends.difference(inside)
        outside = [self._elsewhere(name) for name in self._order if name in beyond]
        finishes = {name: self._finish(name) for name in tree.endings if name in ends}
        return Sketch(
            tree.id,
            one_line(tree.title),
            self._named(self._plan.start),
            tuple(self._by_stage(boxes)) + tuple(outside),
            MappingProxyType(finishes),
            MappingProxyType(dict(self._entries(inside))),
            tuple(self._gate_counts(finishes)),
            (*about, *self._about()),
            self._trail.lines,
            leap,
            tree.parts,
        )

    def _named(self, node: str) -> str:
        """Return what stands for a node in a drawing: its question, or of a gate its ending."""
        found = self._plan.nodes[node]
        return found.question or found.subject

    def _in_order(self) -> tuple[list[str], list[str]]:
        """Return questions and forks, each before those behind it, and what nothing leads to."""
        plan = self._plan
        seen = {plan.start}
        behind: list[str] = []
        # A stack of our own, since a tree may be deeper than Python's.
        stack = [(plan.start, iter(plan.steps[plan.start]))]
        while stack:
            name, steps = stack[-1]
            step = next((each for each in steps if each.target not in seen), None)
            if step is None:
                behind.append(name)
                stack.pop()
            else:
                seen.add(step.target)
                stack.append((step.target, iter(plan.steps[step.target])))
        tree = plan.tree
        lost = [name for name in (*tree.questions, *tree.junctions) if name not in seen]
        reached = [name for name in reversed(behind) if plan.nodes[name].kind in _DRAWN]
        return [*reached, *lost], [*lost, *(name for name in tree.endings if name not in seen)]

    def _by_stage(self, boxes: Sequence[Box]) -> Iterator[Box]:
        for stage in Stage:
            yield from (box for box in boxes if box.stage is stage)

    def _box(self, node: Node) -> Box:
        is_question = node.kind is NodeKind.QUESTION
        reading = self._content.readings[node.reading] if node.reading else None
        question = self._plan.tree.questions[node.id] if is_question else None
        cautions = [
            Caution(
                one_line(self._content.cautions[self._plan.nodes[name].subject].title),
                self._trail.marks.get(name, ""),
            )
            for name in self._cautions_before(node)
        ]
        return Box(
            node.id,
            Kind.QUESTION if is_question else Kind.FORK,
            one_line(reading.name) if reading else "",
            node.stage or Stage.CALLER,
            one_line(question.agent) if question and self._with_words else "",
            tuple(node.id.split(".")[:-1]),
            bool(reading and reading.is_licensed),
            tuple(cautions),
            tuple(self._way(node, step) for step in self._plan.steps[node.id]),
            self._trail.marks.get(node.id, ""),
            node.id in self._passed,
        )

    def _cautions_before(self, node: Node) -> list[str]:
        if node.kind is not NodeKind.QUESTION or node.reading is None:
            return []
        cautions = self._content.readings[node.reading].cautions
        return [caution_node(caution, node.id) for caution in cautions]

    def _way(self, node: Node, step: Step) -> Way:
        target = self._named(step.target)
        if step.rules:
            # Numbered, for the first rule that holds wins, and one way may gather several.
            words = tuple(
                OTHERWISE
                if rule is None
                else f"({node.rules.index(rule) + 1}) {one_line(rule.says).removesuffix('.')}"
                for rule in step.rules
            )
        elif step.outcomes and node.reading:
            words = outcome_words(self._content.readings[node.reading], step.outcomes)
        else:
            words = (ANY_ANSWER,)
        return Way(words, target, (node.id, target) in self._steps)

    def _elsewhere(self, name: str) -> Box:
        whole = self._box(self._plan.nodes[name])
        return Box(
            name, Kind.ELSEWHERE, whole.title, whole.stage, spaces=whole.spaces,
            is_taken=whole.is_taken,
        )  # fmt: skip

    def _finish(self, name: str) -> Finish:
        ending = self._plan.tree.endings[name]
        causes = self._content.causes
        title = ending.escalate or " and ".join(causes[cause].name for cause in ending.causes)
        is_here = name in self._passed or (
            self._trail.leap is not None and self._trail.leap.target == name
        )
        return Finish(
            name,
            Kind.HANDED_OVER if ending.escalate is not None else Kind.CONCLUDED,
            one_line(title),
            one_line(ending.because),
            tuple(one_line(causes[cause].name) for cause in ending.settles),
            self._gate(ending, is_here=is_here),
            self._trail.marks.get(name, "") if is_here else "",
            is_here,
        )

    def _gate(self, ending: Ending, *, is_here: bool) -> tuple[Caution, ...]:
        if is_here and self._trail.gate:
            return self._trail.gate
        titles = self._gates.get(ending.id, ()) if ending.possible_causes else ()
        return tuple(Caution(one_line(title)) for title in titles)

    def _entries(self, inside: Sequence[str]) -> Iterator[tuple[str, tuple[Box, ...]]]:
        """Yield each box that a box outside the cut leads to, with those."""
        if self._cut == _WHOLE:
            return
        drawn = set(inside)
        come_from: dict[str, list[str]] = {}
        for name, steps in self._plan.steps.items():
            if self._named(name) not in drawn:
                for step in steps:
                    come_from.setdefault(self._named(step.target), []).append(self._named(name))
        for name in inside:
            if name in come_from:
                yield name, tuple(map(self._elsewhere, dict.fromkeys(come_from[name])))

    def _gate_counts(self, finishes: Mapping[str, Finish]) -> Iterator[tuple[str, int]]:
        counts: dict[str, int] = {}
        for finish in finishes.values():
            for caution in finish.gate:
                counts[caution.title] = counts.get(caution.title, 0) + 1
        yield from counts.items()

    def _about(self) -> Iterator[str]:
        tree = self._plan.tree
        counts = (
            f"{len(table)} {name}{'' if len(table) == 1 else 's'}"
            for name, table in (
                ("question", tree.questions), ("fork", tree.junctions), ("ending", tree.endings),
            )
        )  # fmt: skip
        yield f"{', '.join(counts)}; {self._length()}."
        if self._unreached:
            names = ", ".join(map(one_line, self._unreached))
            yield f"NOTHING LEADS TO: {names}."
        if self._cut != _WHOLE:
            named = [f"stage {self._cut.stage.value}"] if self._cut.stage else []
            named += [f"part {self._cut.part}"] if self._cut.part else []
            yield f"Only {' and '.join(named)} is drawn."

    def _length(self) -> str:
        """Return how many questions a call takes; the file only promises how many."""
        promised = self._plan.tree.most_questions
        try:
            longest = len(graph_paths(self._plan).longest.answers)
        except CycleError:
            return f"A PATH COMES BACK, so a call has no end; at most {promised} are promised"
        words = f"a call takes {longest} questions at most"
        return words if longest <= promised else f"{words}, MORE THAN THE {promised} PROMISED"

    def _nothing(self) -> str:
        tree = self._plan.tree
        spaces = sorted({
            name[:position]
            for name in (*tree.questions, *tree.junctions)
            for position, char in enumerate(name)
            if char == "."
        })  # fmt: skip
        if self._cut.part and self._cut.part not in spaces:
            known = f" (parts: {', '.join(spaces)})" if spaces else "; it is made without parts"
            guess = nearest(self._cut.part, spaces)
            return f"tree {quoted(tree.id)} has no part {quoted(self._cut.part)}{guess}{known}"
        return f"tree {quoted(tree.id)} has no question or fork in this cut; leave an option out"
