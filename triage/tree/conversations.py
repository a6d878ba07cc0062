"""Every conversation a caller can have with a tree, as one small graph.

A path through the decision graph may be one no caller can take: behind "the pressure is low" a
junction cannot go by its rule for a high one. Here a **conversation** is what really happens: the
questions put to the caller in their order, each with the outcome of its answer, up to an ending. A
question is passed silently where the walk of a call passes it (`triage.dialogue.walk`): when its
reading was had earlier on the way, and, as unknown, when it asks for licensed work of a caller who
is not licensed. A reading that was never asked is unknown to a junction. Not looked at: what a call
works out from the machine's file, what is volunteered, refused cautions (the reading is unknown
then), and that the engine may stop earlier or ask beyond the order. A complaint that another tree
serves leads the call into that tree: it is one of that tree's conversations and none of this one's.

The graph is found backwards from the endings. At every node of the tree stands a diagram that says
for all joint outcomes of what was asked before which conversation follows; a question takes its
reading out of it. What is still in it is what the rest of the call depends on, nothing else.
"""

from __future__ import annotations

from collections.abc import Collection, Hashable, Iterable, Mapping
from dataclasses import dataclass
from graphlib import TopologicalSorter

from triage.tree.content import COMPLAINT, LICENSED, QUALIFICATION, UNKNOWN, Content, Rule
from triage.tree.diagrams import Condition, Diagram, Diagrams, TooLarge
from triage.tree.graph import Node, NodeKind, Plan

__all__ = ["Ask", "End", "State", "States", "TooLarge", "conversations"]

MOST_NODES = 400_000
"""Nodes of diagrams after which a tree is too entangled to be followed (a few seconds; judged)."""

_NOT_ASKED = "not asked"
"""Stands among the outcomes of a reading for one that no question asked for; no id has a blank."""


@dataclass(frozen=True, slots=True)
class Ask:
    """A question is put; `ways` maps each outcome of its reading to the number of a state."""

    question: str
    reading: str
    ways: tuple[tuple[str, int], ...]


@dataclass(frozen=True, slots=True)
class End:
    """The conversation has come to an ending."""

    ending: str


State = Ask | End


class States:
    """States by number, each once; every state stands behind those it leads to."""

    def __init__(self) -> None:
        self._numbers: dict[State, int] = {}
        self._states: list[State] = []

    def number(self, state: State) -> int:
        """Return the number of a state, a new one if it is new."""
        number = self._numbers.setdefault(state, len(self._states))
        if number == len(self._states):
            self._states.append(state)
        return number

    def __getitem__(self, number: int) -> State:
        return self._states[number]

    def reached(self, start: int) -> list[int]:
        """Return what a conversation from `start` can come to; each behind those it leads to."""
        found = {start}
        waiting = [start]
        while waiting:
            state = self._states[waiting.pop()]
            if isinstance(state, Ask):
                new = {number for _, number in state.ways} - found
                found |= new
                waiting += new
        return sorted(found)


def conversations(
    content: Content,
    plan: Plan,
    states: States,
    names: Mapping[str, str] | None = None,
    elsewhere: Collection[str] | None = None,
    most_nodes: int = MOST_NODES,
) -> int:
    """Return the number of the state that conversations with a tree begin in, put into `states`.

    names: other names for questions and endings, so that two trees can share `states`; where the
    numbers are the same, all that follows is the same. elsewhere: complaints that other trees
    serve, by default the other trees of `content`. Raises TooLarge if the tree is too entangled,
    CycleError if a path comes back to where it was.
    """
    if elsewhere is None:
        elsewhere = content.trees.keys() - {plan.tree.id}
    return _Finder(content, plan, states, names or {}, elsewhere, most_nodes).start()


class _Finder:
    """Finds the conversations behind each node of a plan."""

    def __init__(
        self,
        content: Content,
        plan: Plan,
        states: States,
        names: Mapping[str, str],
        elsewhere: Collection[str],
        most_nodes: int,
    ) -> None:
        self._content = content
        self._plan = plan
        self._states = states
        self._names = names
        self._elsewhere = elsewhere
        reached = _reached(plan)
        ways = {node: [step.target for step in plan.steps[node]] for node in reached}
        self._backwards = list(TopologicalSorter(ways).static_order())
        self._asked_before = self._readings_before()
        # What is asked last stands on top: it is taken out first.
        order = list(dict.fromkeys(reading for _, reading in self._questions()))
        self._variables = {reading: number for number, reading in enumerate(order)}
        self._outcomes = [(*content.readings[reading].outcomes, _NOT_ASKED) for reading in order]
        self._diagrams = Diagrams([len(outcomes) for outcomes in self._outcomes], most_nodes)

    def start(self) -> int:
        """Return the number of the state that conversations begin in."""
        behind: dict[str, Diagram] = {}
        for name in self._backwards:
            node = self._plan.nodes[name]
            match node.kind:
                case NodeKind.QUESTION:
                    behind[name] = self._question(node, behind)
                case NodeKind.JUNCTION:
                    behind[name] = self._junction(node, behind)
                case NodeKind.CAUTION:
                    behind[name] = behind[self._plan.steps[name][0].target]
                case NodeKind.ENDING:
                    end = End(self._names.get(name, name))
                    behind[name] = self._diagrams.leaf(self._states.number(end))
                case _:
                    continue  # gate and recommendation belong to the ending
            behind[name] = self._as_asked(name, behind[name])
        return _number(self._diagrams.value(behind[self._plan.start]))

    def _as_asked(self, name: str, diagram: Diagram) -> Diagram:
        """Return a diagram for callers at a node, where no path there asks for some readings."""
        before = {self._variables[reading] for reading in self._asked_before[name]}
        never = self._diagrams.variables(diagram) - before
        not_asked = {each: self._outcomes[each].index(_NOT_ASKED) for each in never}
        return self._diagrams.fixed(diagram, not_asked) if not_asked else diagram

    def _questions(self) -> Iterable[tuple[str, str]]:
        """Yield question nodes with their readings, those asked last first."""
        for name in self._backwards:
            node = self._plan.nodes[name]
            if node.kind is NodeKind.QUESTION and node.reading is not None:
                yield name, node.reading

    def _readings_before(self) -> Mapping[str, frozenset[str]]:
        """Return by node the readings some path to it asks for."""
        before: dict[str, set[str]] = {name: set() for name in self._backwards}
        for name in reversed(self._backwards):
            node = self._plan.nodes[name]
            here = set(before[name])
            if node.kind is NodeKind.QUESTION and node.reading is not None:
                here.add(node.reading)
            for step in self._plan.steps[name]:
                before[step.target] |= here
        return {name: frozenset(readings) for name, readings in before.items()}

    def _question(self, node: Node, behind: Mapping[str, Diagram]) -> Diagram:
        reading = self._content.readings[node.reading or ""]
        variable = self._variables[reading.id]
        target = {
            outcome: step.target for step in self._plan.steps[node.id] for outcome in step.outcomes
        }
        then = [
            self._diagrams.fixed(behind[target[outcome]], {variable: number})
            for number, outcome in enumerate(reading.outcomes)
        ]
        name = self._names.get(node.id, node.id)

        left_out = self._elsewhere if reading.id == COMPLAINT else ()
        outcomes = [
            (place, outcome)
            for place, outcome in enumerate(reading.outcomes)
            if outcome not in left_out
        ]

        def put(numbers: tuple[Hashable, ...]) -> int:
            ways = [(outcome, _number(numbers[place])) for place, outcome in outcomes]
            return self._states.number(Ask(name, reading.id, tuple(ways)))

        asked = self._diagrams.joined(then, put)
        if reading.id in self._asked_before[node.id]:
            asked = self._diagrams.by_value(variable, (*then, asked))
        if reading.is_licensed and QUALIFICATION in self._variables:
            may = self._condition(QUALIFICATION, {LICENSED, _NOT_ASKED})
            asked = self._diagrams.choose((may,), asked, then[reading.outcomes.index(UNKNOWN)])
        return asked

    def _junction(self, node: Node, behind: Mapping[str, Diagram]) -> Diagram:
        target = {
            id(rule): step.target for step in self._plan.steps[node.id] for rule in step.rules
        }
        found = behind[target[id(None)]]
        for rule in reversed(node.rules):
            found = self._ruled(rule, behind[target[id(rule)]], found)
        return found

    def _ruled(self, rule: Rule, then: Diagram, otherwise: Diagram) -> Diagram:
        held = then
        if rule.any_of:
            held = otherwise
            for reading, wanted in rule.any_of.items():
                held = self._where({reading: wanted}, then, held)
        return self._where(rule.all_of, held, otherwise)

    def _where(
        self, wanted: Mapping[str, frozenset[str]], then: Diagram, otherwise: Diagram
    ) -> Diagram:
        asked = {name: of for name, of in wanted.items() if name in self._variables}
        if any(UNKNOWN not in of for name, of in wanted.items() if name not in asked):
            return otherwise  # it wants what nobody asks for
        conditions = [
            self._condition(name, of | {_NOT_ASKED} if UNKNOWN in of else of)
            for name, of in asked.items()
        ]
        return self._diagrams.choose(conditions, then, otherwise)

    def _condition(self, reading: str, wanted: Iterable[str]) -> Condition:
        variable = self._variables[reading]
        holding = frozenset(wanted)
        return variable, tuple(outcome in holding for outcome in self._outcomes[variable])


def _reached(plan: Plan) -> set[str]:
    found = {plan.start}
    waiting = [plan.start]
    while waiting:
        new = {step.target for step in plan.steps[waiting.pop()]} - found
        found |= new
        waiting += new
    return found


def _number(value: Hashable) -> int:
    assert isinstance(value, int)
    return value
