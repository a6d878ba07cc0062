"""Which nodes of a tree a call passed: its questions, the rules of its junctions, cautions, ending.

A stored call is walked anew through the content in use, as the engine walks it.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from enum import StrEnum

from triage.dialogue.case import Case, fold
from triage.dialogue.ends import GATE
from triage.dialogue.engine import Engine
from triage.dialogue.events import Event, Started
from triage.dialogue.gate import ALWAYS, FLAMMABLE
from triage.dialogue.judge import finding_of, fitting
from triage.dialogue.view import END_PROMPTS, Source
from triage.dialogue.walk import Spot, walk
from triage.tree.content import Content, Tree
from triage.tree.errors import UnknownTree
from triage.tree.graph import NodeKind, Plan, is_met

OTHERWISE = "where no rule holds"
"""What the way of a junction says that is taken where no rule holds."""


class Covered(StrEnum):
    """What can be covered, in the order it is told."""

    QUESTION = "question"
    RULE = "rule"
    ENDING = "ending"
    CAUTION = "caution on the way"
    GATE = "caution at the gate"


@dataclass(frozen=True, slots=True)
class Mark:
    """One thing a call can pass.

    `id` is that of a question, a junction, an ending or a caution; `rule` is the place of a rule in
    its junction, behind the last one for the way where no rule holds. A caution that stands before
    several questions is one thing: met once, it is not put again.
    """

    kind: Covered
    id: str
    rule: int = 0


@dataclass(frozen=True, slots=True)
class Passed:
    """What one call passed in the tree it was in; `cannot` says why it could not be walked."""

    tree: str
    marks: frozenset[Mark] = frozenset()
    cannot: str = ""


def marks_of(content: Content, plan: Plan) -> tuple[Mark, ...]:
    """Return everything in a tree that a call can pass, in the order of its file."""
    tree, nodes = plan.tree, plan.nodes.values()
    met = {node.subject for node in nodes if node.kind is NodeKind.CAUTION}
    called_for = {*ALWAYS, *FLAMMABLE.values()}
    for ending in tree.endings.values():
        for cause in ending.possible_causes:
            called_for.update(content.causes[cause].hazards)
    at_gate = {it.id for it in content.cautions.values() if called_for.intersection(it.hazards)}
    return (
        *(Mark(Covered.QUESTION, name) for name in tree.questions),
        *(
            Mark(Covered.RULE, name, place)
            for name, junction in tree.junctions.items()
            for place in range(len(junction.rules) + 1)
        ),
        *(Mark(Covered.ENDING, name) for name in tree.endings),
        *(Mark(Covered.CAUTION, name) for name in content.cautions if name in met),
        *(Mark(Covered.GATE, name) for name in content.cautions if name in at_gate),
    )


def rule_says(tree: Tree, mark: Mark) -> str:
    """Return what a rule says that a mark stands for."""
    rules = tree.junctions[mark.id].rules
    return rules[mark.rule].says if mark.rule < len(rules) else OTHERWISE


class Coverage:
    """Tells of calls what they passed in the trees of one content."""

    def __init__(self, content: Content) -> None:
        self._engine = Engine(content, next(iter(content.trees)))

    def __call__(self, events: Sequence[Event]) -> Passed:
        """Return what the call of `events` passed."""
        if not events or not isinstance(events[0], Started):
            return self.unread("", "the session does not begin with its start")
        case = fold(events)
        try:
            engine = self._engine.of(case)
        except UnknownTree as error:
            return self.unread(case.tree, str(error))
        return Passed(engine.tree.id, frozenset(_marks(engine, case)))

    def unread(self, tree: str, why: str) -> Passed:
        """Return what stands for a call that cannot be walked."""
        return Passed(tree, cannot=why)


def _marks(engine: Engine, case: Case) -> Iterator[Mark]:
    case = fitting(engine.content, case)
    spot = walk(engine.graph, engine.content, case)
    for node in case.asked:
        if node in engine.tree.questions:
            yield Mark(Covered.QUESTION, node)
        elif node.startswith("caution:"):
            caution, _, where = node.removeprefix("caution:").partition("@")
            yield Mark(Covered.GATE if where == GATE else Covered.CAUTION, caution)
    yield from _walked(engine, case, spot)
    if case.concluded is not None:
        yield Mark(Covered.ENDING, case.concluded.ending)
    elif spot.node in engine.tree.endings:
        prompt = engine.prompt(case)
        if isinstance(prompt, END_PROMPTS):
            yield Mark(Covered.ENDING, prompt.node)


def _walked(engine: Engine, case: Case, spot: Spot) -> Iterator[Mark]:
    """Yield the answered questions and the rules on the path, by what was known at each."""
    said = {name: finding_of(engine.content, case, name) for name in case.answers}
    outcomes = {name: found.outcome for name, found in said.items() if found is not None}
    for node in spot.path:
        facts = engine.graph.nodes[node]
        if facts["kind"] is NodeKind.QUESTION:
            finding = spot.findings[facts["reading"]]
            outcomes[facts["reading"]] = finding.outcome
            if finding.source is Source.CALLER:
                yield Mark(Covered.QUESTION, node)
        elif facts["kind"] is NodeKind.JUNCTION:
            rules = facts["rules"]
            held = (place for place, rule in enumerate(rules) if is_met(rule, outcomes))
            yield Mark(Covered.RULE, node, next(held, len(rules)))
