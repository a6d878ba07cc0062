"""Drawings in tests: made of a content, and read back by a reader that knows no sketch."""

from __future__ import annotations

import json
import re
import subprocess
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from triage.tree.content import Content, Tree
from triage.tree.drawing.sketch import Caution, Leap, Sketch
from triage.tree.drawing.sketching import sketch_of
from triage.tree.drawing.trail import Trail
from triage.tree.graph import plan_tree

GATE = ("Mind the pressure", "Mind the mains")
"""What every gate asks for in these tests."""


def gates(tree: Tree) -> Mapping[str, tuple[str, ...]]:
    """Return the same gate behind every ending that may tell a repair."""
    return {ending.id: GATE for ending in tree.endings.values() if ending.possible_causes}


def sketch(content: Content, tree_id: str = "sticks", **how: Any) -> Sketch:
    """Return the sketch of one tree."""
    plan = plan_tree(content, tree_id)
    return sketch_of(content, plan, gates(plan.tree), **how)


def written_ways(tree: Tree) -> set[tuple[str, str]]:
    """Return source and target of every way, as they stand in the tree's own tables."""
    ways = {(name, target) for name, each in tree.questions.items() for target in
            each.routes.values()}  # fmt: skip
    for name, junction in tree.junctions.items():
        ways.update((name, rule.then) for rule in junction.rules)
        ways.add((name, junction.otherwise))
    return ways


def asked_until(tree: Tree, last: str) -> tuple[str, ...]:
    """Return the questions from the first one to `last`, where each has one way on."""
    names = [tree.start]
    while names[-1] != last:
        (following,) = set(tree.questions[names[-1]].routes.values())
        names.append(following)
    return tuple(names)


def trail_to_charge(tree: Tree) -> Trail:
    """Return a call that ended at `charge`, its gate open."""
    passed = asked_until(tree, "pattern")
    return Trail(
        ("Call 1: charge", "Safety gate: 1 of 1 cautions acknowledged."),
        (*passed, "charge", "gate:charge", "recommendation:charge"),
        {"pattern": "answered, thin at the outlet", "charge": "ended here, the repair was told"},
        (Caution("Mind the pressure", "acknowledged"),),
    )


def leap_to_charge(tree: Tree) -> Trail:
    """Return a call that ended at `charge` from `bridge`, to which the tree has no such way."""
    leap = Leap("bridge", "charge", "Not asked further.")
    return Trail((), asked_until(tree, "bridge"), {"charge": "ended here"}, (), leap)


# Mermaid.


@dataclass(frozen=True, slots=True)
class Shape:
    """A node of a flowchart as its text says it."""

    brackets: str
    lines: tuple[str, ...]
    look: str
    inside: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Link:
    """A link of a flowchart."""

    source: str
    arrow: str
    lines: tuple[str, ...]
    target: str


@dataclass
class Flowchart:
    """What a flowchart's text holds; `subgraphs` by id have their title."""

    title: str = ""
    nodes: dict[str, Shape] = field(default_factory=dict)
    links: list[Link] = field(default_factory=list)
    subgraphs: dict[str, str] = field(default_factory=dict)
    looks: dict[str, str] = field(default_factory=dict)
    taken: set[str] = field(default_factory=set)

    def following(self, name: str, arrow: str = "") -> set[str]:
        """Return the nodes links lead to from one node, all or those of one arrow."""
        return {
            link.target for link in self.links if link.source == name and arrow in ("", link.arrow)
        }

    def before(self, name: str, look: str) -> list[str]:
        """Return the nodes of one look that lead to a node."""
        near = dict.fromkeys(link.source for link in self.links if link.target == name)
        return [each for each in near if self.nodes[each].look == look]

    def behind(self, name: str, look: str) -> list[str]:
        """Return the nodes of one look that a node leads to."""
        near = dict.fromkeys(link.target for link in self.links if link.source == name)
        return [each for each in near if self.nodes[each].look == look]

    def of_look(self, look: str) -> dict[str, Shape]:
        """Return the nodes of one look."""
        return {name: node for name, node in self.nodes.items() if node.look == look}


_WORD = r"[A-Za-z][A-Za-z0-9_]*"
_LABEL = r'"((?:[^"#<>&`*{}\[\]|\\~]|#\d+;|<br/>)*)"'
_OPENING, _CLOSING = r"(\(\(|\(\[|\(|\[\[|\[/|\[|\{\{|>)", r"([)\]}/\\]+)"
_NODE = re.compile(rf"({_WORD}){_OPENING}{_LABEL}{_CLOSING}:::({_WORD})")
_LINK = re.compile(rf"({_WORD}) (-->|==>)(?:\|{_LABEL}\|)? ({_WORD})")
_LEAP = re.compile(rf"({_WORD}) -\. {_LABEL} \.-> ({_WORD})")
_SUBGRAPH = re.compile(rf"subgraph ({_WORD})\[{_LABEL}\]")
_LOOK = re.compile(rf"classDef ({_WORD}) ([a-z0-9:,# -]+)")
_TAKEN = re.compile(rf"class ({_WORD}) taken")


def read_mermaid(text: str) -> Flowchart:
    """Return what a flowchart's text says; a line it does not know is an AssertionError."""
    read = Flowchart()
    lines = text.splitlines()
    assert lines[0] == "---"
    head = lines.index("---", 1)
    assert lines[head + 1] == "flowchart TB"
    read.title = json.loads(lines[1].removeprefix("title: "))
    inside: list[str] = []
    for line in map(str.strip, lines[head + 2 :]):
        if line == "end":
            inside.pop()
        elif found := _SUBGRAPH.fullmatch(line):
            assert found[1] not in read.subgraphs
            read.subgraphs[found[1]] = _lines(found[2])[0]
            inside.append(found[1])
        elif found := _NODE.fullmatch(line):
            assert found[1] not in read.nodes, f"two nodes are called {found[1]}"
            read.nodes[found[1]] = Shape(
                found[2] + found[4], _lines(found[3]), found[5], tuple(inside)
            )
        elif found := _LINK.fullmatch(line):
            read.links.append(Link(found[1], found[2], _lines(found[3] or ""), found[4]))
        elif found := _LEAP.fullmatch(line):
            read.links.append(Link(found[1], ".->", _lines(found[2]), found[3]))
        elif found := _LOOK.fullmatch(line):
            read.looks[found[1]] = found[2]
        elif found := _TAKEN.fullmatch(line):
            read.taken.add(found[1])
        else:
            raise AssertionError(f"no such line in a flowchart: {line}")
    assert not inside
    for link in read.links:
        assert {link.source, link.target} <= read.nodes.keys()
    assert read.taken <= read.nodes.keys()
    assert {node.look for node in read.nodes.values()} <= read.looks.keys()
    return read


def _lines(label: str) -> tuple[str, ...]:
    def decoded(line: str) -> str:
        return re.sub(r"#(\d+);", lambda found: chr(int(found[1])), line)

    return tuple(decoded(line) for line in label.split("<br/>"))


# DOT, by Graphviz's own reader.


@dataclass
class Graph:
    """What Graphviz reads in a DOT text: nodes and clusters by name, edges by their ends."""

    nodes: dict[str, dict[str, Any]] = field(default_factory=dict)
    clusters: dict[str, set[str]] = field(default_factory=dict)
    edges: list[tuple[str, str, dict[str, Any]]] = field(default_factory=list)
    complaints: str = ""


def read_dot(text: str) -> Graph:
    """Return what Graphviz reads in a DOT text."""
    ended = graphviz(text, "dot_json")
    told = json.loads(ended.stdout)
    names = {each["_gvid"]: each["name"] for each in told["objects"]}
    graph = Graph(complaints=ended.stderr.decode())
    for each in told["objects"]:
        if each["name"].startswith("cluster"):
            graph.clusters[each["name"]] = {names[number] for number in each.get("nodes", ())}
        else:
            graph.nodes[each["name"]] = each
    for each in told.get("edges", ()):
        graph.edges.append((names[each["tail"]], names[each["head"]], each))
    return graph


def graphviz(text: str, form: str) -> subprocess.CompletedProcess[bytes]:
    """Return how Graphviz ended over a DOT text; a machine without it fails here."""
    return subprocess.run(
        ["dot", f"-T{form}"], input=text.encode(), capture_output=True, check=True, timeout=120
    )
