"""How many conversations a tree holds, how long they are, and how long they are expected to be.

Two things are counted, exactly:

* **paths through the graph**: from the start to an ending, with one outcome at each question and
  one of the ways out at each junction, whether or not a call can go so;
* **conversations**: what a caller can really have, as `triage.tree.conversations` defines it. Two
  are different if they differ in a question put or in an outcome.

A path asks each question that lies on it; a conversation those that are put to the caller. A
caution is no question.
"""

from __future__ import annotations

import operator
from collections.abc import Callable, Hashable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from graphlib import TopologicalSorter
from typing import TypeVar

from triage.tree.conversations import Ask, End, States
from triage.tree.graph import NodeKind, Plan

Answer = tuple[str, str]
"""A question and the outcome of its answer."""

Chances = Mapping[str, Mapping[str, Sequence[float]]]
"""Reading id and outcome to its chance in each mode; those of a reading sum to one in each mode."""


@dataclass(frozen=True, slots=True)
class Talk:
    """Questions and outcomes in the order asked, and the ending."""

    answers: tuple[Answer, ...]
    ending: str


@dataclass(frozen=True, slots=True)
class Span:
    """How many there are that come to each ending, and a shortest and a longest one."""

    endings: Mapping[str, int]
    shortest: Talk
    longest: Talk

    @property
    def count(self) -> int:
        """How many there are in all."""
        return sum(self.endings.values())


@dataclass(frozen=True, slots=True)
class Expected:
    """What is expected of calls whose causes and answers are drawn by given chances.

    `questions` is the mean number of questions put to the caller; `asked` and `endings` map
    questions and endings to the share of calls that come to them.
    """

    questions: float
    asked: Mapping[str, float]
    endings: Mapping[str, float]


def graph_paths(plan: Plan) -> Span:
    """Return the paths through the graph of a tree; raise CycleError if one comes back."""
    ways: dict[str, tuple[tuple[Answer | None, str], ...]] = {
        name: tuple(_ways_out(plan, name)) for name in plan.nodes
    }
    targets = {name: [target for _, target in out] for name, out in ways.items()}
    order = tuple(TopologicalSorter(targets).static_order())
    return _span(order, ways, plan.start, {name: name for name in order if not ways[name]})


def talks(states: States, start: int) -> Span:
    """Return the conversations that begin in the state `start`."""
    ways: dict[int, tuple[tuple[Answer | None, int], ...]] = {}
    endings: dict[int, str] = {}
    for number in states.reached(start):
        state = states[number]
        if isinstance(state, End):
            endings[number] = state.ending
            ways[number] = ()
        else:
            ways[number] = tuple(
                ((state.question, outcome), behind) for outcome, behind in state.ways
            )
    return _span(tuple(ways), ways, start, endings)


def expected(states: States, start: int, shares: Sequence[float], chances: Chances) -> Expected:
    """Return what is expected of conversations that begin in the state `start`.

    shares: the probability of each mode, summing to one. Within a mode readings are independent, so
    this is exact: a conversation asks for no reading twice.
    """
    none = [0.0] * len(shares)
    numbers = states.reached(start)
    masses = {start: list(shares)}
    asked: dict[str, float] = {}
    endings: dict[str, float] = {}
    for number in reversed(numbers):
        mass = masses.pop(number, none)
        whole = sum(mass)
        if whole == 0.0:
            continue
        state = states[number]
        if isinstance(state, End):
            endings[state.ending] = endings.get(state.ending, 0.0) + whole
            continue
        asked[state.question] = asked.get(state.question, 0.0) + whole
        for outcome, behind in state.ways:
            going = map(operator.mul, mass, chances[state.reading][outcome])
            masses[behind] = list(map(operator.add, masses.get(behind, none), going))
    return Expected(sum(asked.values()), asked, endings)


def never_met(plan: Plan, states: States, start: int) -> tuple[str, ...]:
    """Return the questions and endings of the graph that no conversation comes to."""
    met = set()
    for number in states.reached(start):
        state = states[number]
        met.add(state.question if isinstance(state, Ask) else state.ending)
    return tuple(
        name
        for name, node in plan.nodes.items()
        if node.kind in (NodeKind.QUESTION, NodeKind.ENDING) and name not in met
    )


def _ways_out(plan: Plan, name: str) -> Iterable[tuple[Answer | None, str]]:
    kind = plan.nodes[name].kind
    for step in plan.steps[name] if kind is not NodeKind.ENDING else ():  # what follows is the gate
        if kind is NodeKind.QUESTION:
            yield from (((name, outcome), step.target) for outcome in sorted(step.outcomes))
        else:
            yield None, step.target


_Key = TypeVar("_Key", bound=Hashable)


def _span(
    order: Sequence[_Key],
    ways: Mapping[_Key, Sequence[tuple[Answer | None, _Key]]],
    start: _Key,
    endings: Mapping[_Key, str],
) -> Span:
    """Return the span of the paths from `start`; `order` has every key behind its targets."""
    arriving = {start: 1}
    counts: dict[str, int] = {}
    for key in reversed(order):
        here = arriving.pop(key, 0)
        if here and key in endings:
            counts[endings[key]] = counts.get(endings[key], 0) + here
        for _, target in ways[key] if here else ():
            arriving[target] = arriving.get(target, 0) + here
    return Span(
        counts,
        _extreme(order, ways, start, endings, operator.lt),
        _extreme(order, ways, start, endings, operator.gt),
    )


def _extreme(
    order: Sequence[_Key],
    ways: Mapping[_Key, Sequence[tuple[Answer | None, _Key]]],
    start: _Key,
    endings: Mapping[_Key, str],
    is_better: Callable[[int, int], bool],
) -> Talk:
    """Return the path whose number of questions is better than, or as good as, any other's."""
    lengths: dict[_Key, int] = {}
    chosen: dict[_Key, tuple[Answer | None, _Key]] = {}
    for key in order:
        if not ways[key]:
            lengths[key] = 0
        for answer, target in ways[key]:
            length = lengths[target] + (answer is not None)
            if key not in lengths or is_better(length, lengths[key]):
                lengths[key], chosen[key] = length, (answer, target)
    answers: list[Answer] = []
    here = start
    while here in chosen:
        answer, here = chosen[here]
        if answer is not None:
            answers.append(answer)
    return Talk(tuple(answers), endings[here])
