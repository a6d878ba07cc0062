"""A tree as the graph a call walks: its nodes, plus cautions and gates put in by the program.

Nobody writes cautions or gates into a tree, so nobody can forget one. In front of a question whose
reading carries cautions stands one node for each, in order; behind each ending that concludes
causes stand its gate and then its recommendation:

    … -> caution:hot_lines@feel_hot_gas_line -> feel_hot_gas_line -> …
    … -> ending -> gate:ending -> recommendation:ending

A `Plan` is that graph as plain values; `build_graph` makes the networkx graph of it that the proofs
read and a call walks. networkx takes 130 ms to import, so it is imported where it is used.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from enum import StrEnum
from types import MappingProxyType
from typing import TYPE_CHECKING

from triage.tree.content import UNKNOWN, Content, Place, Rule, Stage, Tree
from triage.tree.errors import UnknownTree, WalkError, quoted

if TYPE_CHECKING:
    import networkx


class NodeKind(StrEnum):
    """What a node of the graph is."""

    QUESTION = "question"
    JUNCTION = "junction"
    ENDING = "ending"
    CAUTION = "caution"
    GATE = "gate"
    RECOMMENDATION = "recommendation"


@dataclass(frozen=True, slots=True)
class Node:
    """One node.

    `subject` is what it stands for: the id of a question, junction or ending, or of the caution to
    read out. `question` is the question a caution stands in front of, or the question itself.
    `stage` is None from an ending on. `reading` is what a question asks for, or what waits behind
    a caution. `rules` are a junction's, in order.
    """

    id: str
    kind: NodeKind
    subject: str
    place: Place
    stage: Stage | None = None
    question: str | None = None
    reading: str | None = None
    rules: tuple[Rule, ...] = ()


@dataclass(frozen=True, slots=True)
class Step:
    """One edge: taken on these outcomes of a question, or on these rules of a junction.

    None among `rules` is the junction's `otherwise`. Both are empty where there is one way on.
    """

    target: str
    outcomes: frozenset[str] = frozenset()
    rules: tuple[Rule | None, ...] = ()


@dataclass(frozen=True, slots=True)
class Plan:
    """The graph of one tree as plain values; every target is a node."""

    tree: Tree
    start: str
    nodes: Mapping[str, Node]
    steps: Mapping[str, tuple[Step, ...]]


def caution_node(caution_id: str, question_id: str) -> str:
    """Return the id of the node that reads out a caution in front of a question."""
    return f"caution:{caution_id}@{question_id}"


def gate_node(ending_id: str) -> str:
    """Return the id of the gate behind an ending."""
    return f"gate:{ending_id}"


def recommendation_node(ending_id: str) -> str:
    """Return the id of the recommendation behind an ending's gate."""
    return f"recommendation:{ending_id}"


def plan_tree(content: Content, tree_id: str) -> Plan:
    """Return the graph of a tree as plain values; raise UnknownTree if there is no such tree."""
    tree = content.trees.get(tree_id)
    if tree is None:
        raise UnknownTree(tree_id, content.trees)
    planner = _Planner(content, tree)
    nodes: dict[str, Node] = {}
    steps: dict[str, tuple[Step, ...]] = {}
    for node, ways in planner.parts():
        nodes[node.id] = node
        steps[node.id] = ways
    return Plan(
        tree, planner.entrance(tree.start), MappingProxyType(nodes), MappingProxyType(steps)
    )


def build_graph(content: Content, tree_id: str) -> networkx.DiGraph[str]:
    """Return the graph of a tree; raise UnknownTree if there is no such tree.

    Graph attributes: `tree`, `start`, `most_questions`. Node attributes: `kind`, `stage` (None from
    an ending on), `subject`, `question`, `reading`, `rules`, `place` as in `Node`. Edge attributes:
    `outcomes` (frozenset, empty unless the edge leaves a question) and `rules` as in `Step`.
    """
    import networkx  # 130 ms, see the head of this module

    plan = plan_tree(content, tree_id)
    graph: networkx.DiGraph[str] = networkx.DiGraph(
        tree=tree_id, start=plan.start, most_questions=plan.tree.most_questions
    )
    for node in plan.nodes.values():
        graph.add_node(
            node.id,
            kind=node.kind,
            stage=node.stage,
            subject=node.subject,
            question=node.question,
            reading=node.reading,
            rules=node.rules,
            place=node.place,
        )
    for source, ways in plan.steps.items():
        for step in ways:
            graph.add_edge(source, step.target, outcomes=step.outcomes, rules=step.rules)
    return graph


def next_node(
    graph: networkx.DiGraph[str], node_id: str, outcomes: Mapping[str, str]
) -> str | None:
    """Return the node a call goes to from `node_id`, or None where the graph ends.

    outcomes: reading id to outcome, for every reading had so far. A junction takes a reading that
    was never asked as unknown. Raises WalkError for a node the graph does not have, a question
    whose reading has no outcome yet, or an outcome its routes do not know.
    """
    if node_id not in graph:
        raise WalkError(
            f"tree {quoted(graph.graph['tree'])} has no node {quoted(node_id)}; the case was begun "
            "on other content"
        )
    node = graph.nodes[node_id]
    ways = graph[node_id].items()
    if node["kind"] is NodeKind.QUESTION:
        return _way_of_outcome(node_id, node["reading"], ways, outcomes)
    if node["kind"] is NodeKind.JUNCTION:
        rule = next((rule for rule in node["rules"] if is_met(rule, outcomes)), None)
        return next(target for target, edge in ways if any(each is rule for each in edge["rules"]))
    return next((target for target, _ in ways), None)


def is_met(rule: Rule, outcomes: Mapping[str, str]) -> bool:
    """Whether all of `all_of` hold and, if it names any, one of `any_of`; unasked is unknown."""
    if any(outcomes.get(name, UNKNOWN) not in wanted for name, wanted in rule.all_of.items()):
        return False
    return not rule.any_of or any(
        outcomes.get(name, UNKNOWN) in wanted for name, wanted in rule.any_of.items()
    )


def _way_of_outcome(
    question_id: str,
    reading: str,
    ways: Iterable[tuple[str, Mapping[str, frozenset[str]]]],
    outcomes: Mapping[str, str],
) -> str:
    outcome = outcomes.get(reading)
    if outcome is None:
        raise WalkError(
            f"question {quoted(question_id)} is not answered yet; ask for {reading} first"
        )
    for target, edge in ways:
        if outcome in edge["outcomes"]:
            return target
    raise WalkError(
        f"question {quoted(question_id)} has no route for {quoted(outcome)}; check the outcome "
        f"given for {reading}"
    )


class _Planner:
    """Turns the nodes of one tree into parts of the graph."""

    def __init__(self, content: Content, tree: Tree) -> None:
        self._content = content
        self._tree = tree

    def parts(self) -> Iterator[tuple[Node, tuple[Step, ...]]]:
        """Yield every node with the ways out of it."""
        yield from self._questions()
        yield from self._junctions()
        yield from self._endings()

    def entrance(self, node_id: str) -> str:
        """Return where an edge to `node_id` enters: its first caution, or itself."""
        question = self._tree.questions.get(node_id)
        if question is None:
            return node_id
        cautions = self._content.readings[question.reading].cautions
        return caution_node(cautions[0], node_id) if cautions else node_id

    def _questions(self) -> Iterator[tuple[Node, tuple[Step, ...]]]:
        for name, question in self._tree.questions.items():
            cautions = self._content.readings[question.reading].cautions
            chain = [*(caution_node(caution, name) for caution in cautions), name]
            for caution, here, behind in zip(cautions, chain, chain[1:], strict=False):
                node = Node(
                    here, NodeKind.CAUTION, caution, question.place, question.stage, name,
                    question.reading,
                )  # fmt: skip
                yield node, (Step(behind),)
            by_target: dict[str, set[str]] = {}
            for outcome, target in question.routes.items():
                by_target.setdefault(self.entrance(target), set()).add(outcome)
            yield (
                Node(
                    name,
                    NodeKind.QUESTION,
                    name,
                    question.place,
                    question.stage,
                    name,
                    question.reading,
                ),
                tuple(Step(target, frozenset(which)) for target, which in by_target.items()),
            )

    def _junctions(self) -> Iterator[tuple[Node, tuple[Step, ...]]]:
        for name, junction in self._tree.junctions.items():
            by_target: dict[str, list[Rule | None]] = {}
            for rule in junction.rules:
                by_target.setdefault(self.entrance(rule.then), []).append(rule)
            by_target.setdefault(self.entrance(junction.otherwise), []).append(None)
            yield (
                Node(
                    name,
                    NodeKind.JUNCTION,
                    name,
                    junction.place,
                    junction.stage,
                    rules=junction.rules,
                ),
                tuple(Step(target, rules=tuple(which)) for target, which in by_target.items()),
            )

    def _endings(self) -> Iterator[tuple[Node, tuple[Step, ...]]]:
        for name, ending in self._tree.endings.items():
            place = ending.place
            if not ending.possible_causes:
                yield Node(name, NodeKind.ENDING, name, place), ()
                continue
            gate, recommendation = gate_node(name), recommendation_node(name)
            yield Node(name, NodeKind.ENDING, name, place), (Step(gate),)
            yield Node(gate, NodeKind.GATE, name, place), (Step(recommendation),)
            yield Node(recommendation, NodeKind.RECOMMENDATION, name, place), ()
