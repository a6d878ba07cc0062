"""Functions of many outcomes at once, as decision diagrams.

A tree's junctions look at twenty readings together: billions of joint outcomes. A diagram asks for
one variable after the other and keeps equal rests once, so the same function takes some hundred
nodes. After Bryant, "Graph-based algorithms for Boolean function manipulation", IEEE Transactions
on Computers C-35 (1986), with variables and leaves of many values.
"""

from __future__ import annotations

from collections.abc import Callable, Hashable, Mapping, Sequence

Diagram = int
"""A function of the joint outcomes; two are the same number just where they are the same function
(among those of one `Diagrams`)."""

Condition = tuple[int, tuple[bool, ...]]
"""A variable, and for each of its values whether the condition holds."""

MOST_VARIABLES = 300
"""How many variables a walk down a diagram can take one inside the other (judged)."""


class TooLarge(Exception):
    """A function needs more nodes or variables than allowed."""


class Diagrams:
    """Diagrams over the same variables in the same order; variables count from 0."""

    def __init__(self, sizes: Sequence[int], most_nodes: int) -> None:
        """Take how many values each variable has; raise TooLarge for too many variables."""
        if len(sizes) > MOST_VARIABLES:
            raise TooLarge
        self._sizes = sizes
        self._most_nodes = most_nodes
        self._variables: list[int] = []
        self._followers: list[tuple[Diagram, ...]] = []
        self._asks: list[int] = []  # the variables a node and all below it ask for, as bits
        self._values: dict[Diagram, Hashable] = {}
        self._known: dict[tuple[int, Hashable], Diagram] = {}

    def leaf(self, value: Hashable) -> Diagram:
        """Return the function that is `value` everywhere."""
        leaf = self._node(len(self._sizes), (), value)
        self._values[leaf] = value
        return leaf

    def value(self, diagram: Diagram) -> Hashable:
        """Return what a function is that is the same everywhere; raise KeyError for another."""
        return self._values[diagram]

    def choose(self, conditions: Sequence[Condition], then: Diagram, otherwise: Diagram) -> Diagram:
        """Return `then` where all conditions hold, else `otherwise`.

        No two conditions are on the same variable.
        """
        ordered = sorted(conditions)
        done: dict[tuple[int, Diagram, Diagram], Diagram] = {}

        def chosen(place: int, one: Diagram, other: Diagram) -> Diagram:
            if place == len(ordered) or one == other:
                return one
            key = (place, one, other)
            if key not in done:
                variable, holds = ordered[place]
                top = min(variable, self._variables[one], self._variables[other])
                ways = zip(self._at(one, top), self._at(other, top), strict=True)
                done[key] = self._joint(
                    top,
                    tuple(
                        (chosen(place + 1, here, there) if holds[value] else there)
                        if top == variable
                        else chosen(place, here, there)
                        for value, (here, there) in enumerate(ways)
                    ),
                )
            return done[key]

        return chosen(0, then, otherwise)

    def fixed(self, diagram: Diagram, values: Mapping[int, int]) -> Diagram:
        """Return the function where variables have taken these values."""
        wanted = sum(1 << variable for variable in values)
        done: dict[Diagram, Diagram] = {}

        def taken(part: Diagram) -> Diagram:
            if not self._asks[part] & wanted:
                return part
            if part not in done:
                variable, ways = self._variables[part], self._followers[part]
                if variable in values:
                    done[part] = taken(ways[values[variable]])
                else:
                    done[part] = self._joint(variable, tuple(map(taken, ways)))
            return done[part]

        return taken(diagram)

    def variables(self, diagram: Diagram) -> frozenset[int]:
        """Return the variables that a function depends on."""
        asked = self._asks[diagram]
        return frozenset(each for each in range(len(self._sizes)) if asked >> each & 1)

    def by_value(self, variable: int, diagrams: Sequence[Diagram]) -> Diagram:
        """Return for each value of `variable` the function given for it."""
        chosen = diagrams[-1]
        for value, diagram in enumerate(diagrams[:-1]):
            holds = tuple(value == each for each in range(self._sizes[variable]))
            chosen = self.choose(((variable, holds),), diagram, chosen)
        return chosen

    def joined(
        self, diagrams: Sequence[Diagram], join: Callable[[tuple[Hashable, ...]], Hashable]
    ) -> Diagram:
        """Return the function that is `join` of what `diagrams` are together."""
        done: dict[tuple[Diagram, ...], Diagram] = {}

        def together(parts: tuple[Diagram, ...]) -> Diagram:
            if parts not in done:
                top = min(map(self._variables.__getitem__, parts))
                if top == len(self._sizes):
                    done[parts] = self.leaf(join(tuple(map(self._values.__getitem__, parts))))
                else:
                    ways = zip(*(self._at(part, top) for part in parts), strict=True)
                    done[parts] = self._joint(top, tuple(map(together, ways)))
            return done[parts]

        return together(tuple(diagrams))

    def _at(self, diagram: Diagram, variable: int) -> tuple[Diagram, ...]:
        """Return what follows for each value of a variable at the top or above it."""
        if self._variables[diagram] == variable:
            return self._followers[diagram]
        return (diagram,) * self._sizes[variable]

    def _joint(self, variable: int, followers: tuple[Diagram, ...]) -> Diagram:
        if followers.count(followers[0]) == len(followers):
            return followers[0]
        return self._node(variable, followers, followers)

    def _node(self, variable: int, followers: tuple[Diagram, ...], content: Hashable) -> Diagram:
        key = (variable, content)
        if key not in self._known:
            if len(self._variables) == self._most_nodes:
                raise TooLarge
            self._known[key] = len(self._variables)
            self._variables.append(variable)
            self._followers.append(followers)
            asks = 1 << variable if followers else 0
            for follower in followers:
                asks |= self._asks[follower]
            self._asks.append(asks)
        return self._known[key]
