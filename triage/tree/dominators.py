"""What every path to a node must pass: immediate dominators of an acyclic graph, near linear.

A node d dominates v if every path from the start to v passes d. In an acyclic graph the immediate
dominator of v is the nearest common ancestor, in the dominator tree, of all predecessors of v, so
one pass in topological order settles all of them; ancestors are found by doubling jumps, O(log n)
each. networkx walks ancestors one by one, which is quadratic when thousands of nodes share one
ending, and its versions differ on whether the start has an entry. Here it has none.

Source: A. V. Aho, J. E. Hopcroft, J. D. Ullman, "On finding lowest common ancestors in trees"
(1976), from memory.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    import networkx


class Dominators:
    """Dominator tree of the part of an acyclic graph that `start` reaches."""

    def __init__(self, graph: networkx.DiGraph[str], start: str) -> None:
        self.start = start
        self._depth: dict[str, int] = {start: 0}
        self._jumps: dict[str, list[str]] = {start: []}
        for node in _topological_order(graph):
            if node == start:
                continue
            reached = [each for each in graph.predecessors(node) if each in self._depth]
            if reached:
                self._hang(node, self._common(reached))

    def immediate(self) -> Mapping[str, str]:
        """Return the immediate dominator of every reached node but the start."""
        return {node: jumps[0] for node, jumps in self._jumps.items() if jumps}

    def is_reached(self, node: str) -> bool:
        """Whether any path from the start leads to `node`."""
        return node in self._depth

    def dominates(self, above: str, node: str) -> bool:
        """Whether every path to `node` passes `above`; both must be reached."""
        return (
            self._depth[above] <= self._depth[node]
            and self._lifted(node, self._depth[above]) == above
        )

    def _hang(self, node: str, parent: str) -> None:
        self._depth[node] = self._depth[parent] + 1
        jumps = [parent]
        while len(self._jumps[jumps[-1]]) >= len(jumps):
            jumps.append(self._jumps[jumps[-1]][len(jumps) - 1])
        self._jumps[node] = jumps

    def _common(self, nodes: Iterable[str]) -> str:
        common, *rest = nodes
        for node in rest:
            common = self._common_of_two(common, node)
        return common

    def _common_of_two(self, one: str, other: str) -> str:
        depth = min(self._depth[one], self._depth[other])
        one, other = self._lifted(one, depth), self._lifted(other, depth)
        while one != other:
            # The longest jump that does not yet meet; when none is left, the parents meet.
            pairs = list(zip(self._jumps[one], self._jumps[other], strict=True))
            apart = [pair for pair in pairs if pair[0] != pair[1]]
            one, other = apart[-1] if apart else pairs[0]
        return one

    def _lifted(self, node: str, depth: int) -> str:
        while (distance := self._depth[node] - depth) > 0:
            node = self._jumps[node][distance.bit_length() - 1]
        return node


def _topological_order(graph: networkx.DiGraph[str]) -> Iterable[str]:
    import networkx

    return networkx.topological_sort(graph)
