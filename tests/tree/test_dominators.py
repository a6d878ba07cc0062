"""Dominators agree with networkx, whose versions differ on the start."""

from __future__ import annotations

import networkx as nx
from hypothesis import given, settings
from hypothesis import strategies as st

from triage.tree.dominators import Dominators

edge_sets = st.sets(st.tuples(st.integers(0, 11), st.integers(0, 11)), max_size=40)


def graph_of(edges: set[tuple[int, int]]) -> nx.DiGraph[str]:
    graph: nx.DiGraph[str] = nx.DiGraph()
    graph.add_node("0")
    graph.add_edges_from((str(a), str(b)) for a, b in edges if a < b)
    return graph


def test_networkx_tells_the_start_as_its_own_dominator_or_leaves_it_out() -> None:
    # 3.4.2 maps the start to itself, 3.6.1 leaves it out, a later one may map it to None;
    # what is unreachable has no key in either. Ours leaves both out.
    graph = graph_of({(0, 1), (2, 3)})
    theirs = dict(nx.immediate_dominators(graph, "0"))
    assert theirs.pop("0", "0") in ("0", None)
    assert theirs == {"1": "0"}
    assert Dominators(graph, "0").immediate() == {"1": "0"}


@settings(derandomize=True, max_examples=200, deadline=None)
@given(edge_sets)
def test_immediate_dominators_agree_with_networkx(edges: set[tuple[int, int]]) -> None:
    graph = graph_of(edges)
    theirs = dict(nx.immediate_dominators(graph, "0"))
    theirs.pop("0", None)
    assert Dominators(graph, "0").immediate() == theirs


@settings(derandomize=True, max_examples=100, deadline=None)
@given(edge_sets)
def test_a_dominator_is_what_cannot_be_gone_round(edges: set[tuple[int, int]]) -> None:
    graph = graph_of(edges)
    dominators = Dominators(graph, "0")
    reached = {"0", *nx.descendants(graph, "0")}
    assert {node for node in graph if dominators.is_reached(node)} == reached
    for above in reached:
        without = nx.subgraph_view(graph, filter_node=lambda node, above=above: node != above)  # type: ignore[misc]
        around = set() if above == "0" else {"0", *nx.descendants(without, "0")}
        for node in reached:
            assert dominators.dominates(above, node) == (node not in around)


def test_the_handbook_example_is_right() -> None:
    # The acyclic part of the flow graph of Aho, Lam, Sethi, Ullman, "Compilers" (2nd ed.),
    # figure 9.38, from memory: 1 -> 2, 3; 2 -> 3; 3 -> 4; 4 -> 5, 6; 5, 6 -> 7; 7 -> 8; 8 -> 9, 10.
    edges = {
        (1, 2),
        (1, 3),
        (2, 3),
        (3, 4),
        (4, 5),
        (4, 6),
        (5, 7),
        (6, 7),
        (7, 8),
        (8, 9),
        (8, 10),
    }
    graph: nx.DiGraph[str] = nx.DiGraph([(str(a), str(b)) for a, b in edges])
    assert Dominators(graph, "1").immediate() == {
        "2": "1", "3": "1", "4": "3", "5": "4", "6": "4", "7": "4", "8": "7", "9": "8", "10": "8",
    }  # fmt: skip
