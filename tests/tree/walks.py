"""Calls through a tree walked one by one, to hold against what is counted for all at once."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from itertools import product

import networkx as nx

from triage.tree.content import UNKNOWN, Content
from triage.tree.graph import NodeKind, next_node

Walk = tuple[tuple[tuple[str, str], ...], str]
"""Questions put with their outcomes, and the ending."""


def walked(graph: nx.DiGraph[str], content: Content, answers: Mapping[str, str]) -> Walk:
    """Return the conversation of a caller who answers so, asked as a call asks."""
    outcomes: dict[str, str] = {}
    put: list[tuple[str, str]] = []
    node = graph.graph["start"]
    while graph.nodes[node]["kind"] is not NodeKind.ENDING:
        if graph.nodes[node]["kind"] is NodeKind.QUESTION:
            reading = content.readings[graph.nodes[node]["reading"]]
            who = outcomes.get("caller_qualification", "licensed")
            if reading.is_licensed and who != "licensed":
                outcomes[reading.id] = UNKNOWN
            elif reading.id not in outcomes:
                outcomes[reading.id] = answers[reading.id]
                put.append((node, answers[reading.id]))
        following = next_node(graph, node, outcomes)
        assert following is not None
        node = following
    return tuple(put), node


def all_answers(content: Content, graph: nx.DiGraph[str]) -> Iterator[dict[str, str]]:
    """Yield every joint outcome of the readings a tree asks for."""
    asked = sorted(
        {facts["reading"] for _, facts in graph.nodes.items() if facts["question"] is not None}
    )
    for outcomes in product(*(content.readings[reading].outcomes for reading in asked)):
        yield dict(zip(asked, outcomes, strict=True))
