"""A graph under proof: findings, and the searches the properties are made of.

"Reached without" is the working idea: take away the nodes or edges that must be passed and see what
the start still reaches. That is one search, and it finds the shortest offending path on the way.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Callable, Collection, Iterator, Mapping
from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING, Any

from triage.tree.content import UNKNOWN, Content, Place, Stage
from triage.tree.dominators import Dominators
from triage.tree.graph import NodeKind

if TYPE_CHECKING:
    import networkx

Outcomes = Mapping[str, frozenset[str]]
"""Outcomes by reading."""


@dataclass(frozen=True, slots=True)
class Finding:
    """A promise the content breaks: what, and where to mend it.

    `path` holds the nodes of the shortest path that breaks it, from the start of the tree; empty
    where no path does. `shows` are sets of outcomes, by reading, each of which shows the harm on
    that path; empty where any answers do. `trees` are those it was found in: a part can break it in
    several.
    """

    message: str
    place: Place
    path: tuple[str, ...] = ()
    shows: tuple[Outcomes, ...] = ()
    trees: tuple[str, ...] = ()

    def __str__(self) -> str:
        return f"{self.place} {self.message}"


class Case:
    """One graph under proof, with the look-ups the properties share."""

    def __init__(self, graph: networkx.DiGraph[str], content: Content) -> None:
        self.graph = graph
        self.content = content
        self.tree = content.trees[graph.graph["tree"]]
        self.start: str = graph.graph["start"]
        self.nodes: Mapping[str, Mapping[str, Any]] = dict(graph.nodes.items())
        self.ways: Mapping[str, list[tuple[str, Mapping[str, Any]]]] = {
            node: list(neighbors.items()) for node, neighbors in graph.adjacency()
        }
        self._unsettled: dict[str, frozenset[str]] = {}

    @cached_property
    def reached(self) -> Mapping[str, str | None]:
        """Every node a path leads to, nearest first, each with the node it was reached from."""
        return self.reach()

    @cached_property
    def is_acyclic(self) -> bool:
        """Whether no path comes back to where it was."""
        import networkx

        return networkx.is_directed_acyclic_graph(self.graph)

    @cached_property
    def dominators(self) -> Dominators | None:
        """What every path to a node passes; None where paths come back and none is defined."""
        return Dominators(self.graph, self.start) if self.is_acyclic else None

    @cached_property
    def questions_of(self) -> Mapping[str, frozenset[str]]:
        """Question nodes by the reading they ask for."""
        found: dict[str, set[str]] = {}
        for node in self.of_kind(NodeKind.QUESTION):
            found.setdefault(self.reading_of(node), set()).add(node)
        return {reading: frozenset(nodes) for reading, nodes in found.items()}

    @cached_property
    def healthy_in_freeze(self) -> Mapping[str, frozenset[str]]:
        """Outcomes that do not speak against a sound freeze, by freeze reading that is judged."""
        found: dict[str, frozenset[str]] = {}
        for node in self.of_kind(NodeKind.QUESTION):
            reading = self.content.readings[self.reading_of(node)]
            if self.nodes[node]["stage"] is not Stage.FREEZE:
                continue
            if reading.is_banded:
                found[reading.id] = frozenset({"within", UNKNOWN})
            elif reading.normal:
                found[reading.id] = frozenset({*reading.normal, UNKNOWN})
        return found

    def unsettled(self, reading_id: str) -> frozenset[str]:
        """Nodes some path reaches without a freeze reading asked, or past an unhealthy outcome."""
        if reading_id not in self._unsettled:
            questions, healthy = self.questions_of[reading_id], self.healthy_in_freeze[reading_id]
            unhealthy = {
                target
                for question in questions
                for target, facts in self.ways[question]
                if not facts["outcomes"] <= healthy
            }
            self._unsettled[reading_id] = frozenset(self.reach(without=questions)) | frozenset(
                self.reach(sources=unhealthy)
            )
        return self._unsettled[reading_id]

    def outcomes_but(self, good: Outcomes) -> Outcomes:
        """All other outcomes of readings than those named."""
        return {
            reading: frozenset(self.content.readings[reading].outcomes) - outcomes
            for reading, outcomes in good.items()
            if reading in self.content.readings
        }

    def of_kind(self, kind: NodeKind) -> list[str]:
        """Nodes of one kind, in the order of the tree file."""
        return [node for node, facts in self.nodes.items() if facts["kind"] is kind]

    def reading_of(self, question_node: str) -> str:
        """The reading a question node asks for."""
        return self.tree.questions[self.nodes[question_node]["subject"]].reading

    def written(self, node: str) -> str:
        """What stands in a file for a node: for a caution its question, for a gate its ending."""
        facts = self.nodes[node]
        return str(facts["question"] or facts["subject"])

    def place(self, node: str) -> Place:
        """Where a node was written."""
        place = self.nodes[node]["place"]
        assert isinstance(place, Place)
        return place

    def concluding(self) -> list[str]:
        """Ending nodes that conclude causes, by the path or by all readings together."""
        return [
            node
            for node in self.of_kind(NodeKind.ENDING)
            if self.tree.endings[self.nodes[node]["subject"]].possible_causes
        ]

    def causes_of(self, ending_node: str) -> tuple[str, ...]:
        """The causes an ending may conclude."""
        return self.tree.endings[self.nodes[ending_node]["subject"]].possible_causes

    def reach(
        self,
        without: Collection[str] = (),
        is_open: Callable[[str, str, Mapping[str, Any]], bool] | None = None,
        sources: Collection[str] | None = None,
    ) -> dict[str, str | None]:
        """Return what is reached, nearest first, each with the node it was reached from.

        without: nodes taken away. is_open: whether an edge (source, target, attributes) stands;
        all do if None. sources: where to begin, the start if None.
        """
        begin = [self.start] if sources is None else list(sources)
        parents: dict[str, str | None] = {node: None for node in begin if node not in without}
        queue = deque(parents)
        while queue:
            node = queue.popleft()
            for target, facts in self.ways[node]:
                if target in parents or target in without:
                    continue
                if is_open is None or is_open(node, target, facts):
                    parents[target] = node
                    queue.append(target)
        return parents


def in_words(facts: Mapping[str, Any]) -> str:
    """Return what a node of the graph is called in a message, from its attributes.

    What the program put in has an id that stands in no file.
    """
    subject, question = facts["subject"], facts["question"]
    match facts["kind"]:
        case NodeKind.CAUTION:
            return f"the caution {subject} before question {question}"
        case NodeKind.GATE | NodeKind.RECOMMENDATION:
            return f"the {facts['kind']} of ending {subject}"
        case kind:
            return f"{kind} {subject}"


def path_to(node: str, parents: Mapping[str, str | None]) -> tuple[str, ...]:
    """Return the path a search took to `node`."""
    path = [node]
    while (parent := parents[path[-1]]) is not None:
        path.append(parent)
    return tuple(reversed(path))


def reached_without(
    case: Case, passed: Collection[str], guarded: Collection[str], message: str
) -> Iterator[Finding]:
    """Yield one finding if any of `guarded` is reached without passing one of `passed`.

    message: with {node} for the nearest one reached; how many more there are is added.
    """
    watched = frozenset(guarded)
    # A node on both sides does not come before itself.
    reached = case.reach(without=frozenset(passed) - watched)
    found = [node for node in reached if node in watched]
    if found:
        yield Finding(
            message.format(node=found[0]) + and_more(len(found)),
            case.place(found[0]),
            path_to(found[0], reached),
        )


def and_more(count: int) -> str:
    """Return what a finding that stands for `count` of its kind adds about the others."""
    return f" (and {count - 1} more)" if count > 1 else ""
