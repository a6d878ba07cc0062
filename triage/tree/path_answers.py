"""Answers that lead a call along a path of the graph, or where no answers can.

A path is a way through the graph, not yet a call. In a call one reading has one outcome however
often it is asked for, the first rule of a junction that holds wins, a caller who is not licensed
has no licensed readings, and the complaint is one that this tree serves. Finding outcomes that
agree with all of that is a search: a question narrows the outcomes of its reading, and what a
junction leaves open is split in two, one half tried after the other. Healthy outcomes are tried
first, so that what is odd in the answers is what the path needs.

What was said besides counts at every fork, so a rule may rest on a reading that no question on the
path asked for before it.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from itertools import pairwise
from types import MappingProxyType
from typing import TYPE_CHECKING, Any

from triage.tree.content import COMPLAINT, LICENSED, QUALIFICATION, UNKNOWN, Content, Rule
from triage.tree.graph import NodeKind, is_met

if TYPE_CHECKING:
    import networkx

MOST_RULES_TRIED = 30_000
"""How many rules a search weighs before it gives up (judged: a few tenths of a second)."""

Outcomes = dict[str, tuple[str, ...]]
"""What a reading may still be, the likeliest first."""


@dataclass(frozen=True, slots=True)
class Answers:
    """An outcome for each reading of a path, and how far along it they lead.

    `leads` counts the nodes they lead to: all of the path if a call can go this way. Else no other
    answers lead further, if `is_certain`; the search gave up if not. `is_shown`: they lead all the
    way and are of the kind that was wanted. `besides` are the readings to be said although no
    question asks for them before, by the node they are needed at.
    """

    outcomes: Mapping[str, str]
    leads: int
    is_certain: bool = True
    is_shown: bool = False
    besides: Mapping[str, tuple[str, ...]] = field(default_factory=dict)


def answers_along(
    graph: networkx.DiGraph[str],
    content: Content,
    path: Sequence[str],
    shows: Sequence[Mapping[str, frozenset[str]]] = ({},),
) -> Answers:
    """Return answers that lead as far along `path` as any do.

    path: nodes of `graph`, each linked to the next. shows: outcomes wanted, by reading; the first
    that lead all the way are taken, and any other answers where none do. Readings that junctions of
    the path rest on have an outcome as well, mostly unknown, whether or not a question asks for
    them.
    """
    for wanted in shows:
        found, _ = _found(graph, content, path, wanted)
        if found is not None:
            besides = _besides(graph, path, found, wanted)
            return Answers(found, len(path), is_shown=True, besides=besides)
    found, is_certain = _found(graph, content, path)
    if found is not None:
        return Answers(found, len(path), besides=_besides(graph, path, found))
    # A shorter piece of a path asks less, so what leads furthest is found by halving.
    leads, fails = 1, len(path)
    kept, _ = _found(graph, content, path[:1])
    while fails - leads > 1:
        middle = (leads + fails) // 2
        found, is_whole = _found(graph, content, path[:middle])
        if found is None:
            fails, is_certain = middle, is_whole
        else:
            leads, kept = middle, found
    kept = kept or {}
    return Answers(kept, leads, is_certain, besides=_besides(graph, path[:leads], kept))


def _besides(
    graph: networkx.DiGraph[str],
    path: Sequence[str],
    outcomes: Mapping[str, str],
    wanted: Iterable[str] = (),
) -> dict[str, tuple[str, ...]]:
    """Return by node what has to be said there unasked, for outcomes that lead along the path.

    wanted: readings to be said at the end if nothing asked for them.
    """
    had: dict[str, str] = {}
    besides: dict[str, tuple[str, ...]] = {}
    for node, target in pairwise(path):
        facts = graph.nodes[node]
        if facts["kind"] is NodeKind.QUESTION:
            had[facts["reading"]] = outcomes[facts["reading"]]
        if facts["kind"] is not NodeKind.JUNCTION:
            continue
        ways = graph.edges[node, target]["rules"]
        needed = {
            name: outcomes[name]
            for rule in facts["rules"]
            for name in (*rule.all_of, *rule.any_of)
            if name not in had and outcomes[name] != UNKNOWN
        }
        for name in list(needed):
            without = {other: each for other, each in needed.items() if other != name}
            if _leads(facts["rules"], ways, had | without):
                needed = without
        if needed:
            besides[node] = tuple(needed)
            had |= needed
    unsaid = [name for name in wanted if name not in had and outcomes[name] != UNKNOWN]
    if unsaid:
        besides[path[-1]] = (*besides.get(path[-1], ()), *unsaid)
    return besides


def _leads(rules: Sequence[Rule], ways: Sequence[Rule | None], outcomes: Mapping[str, str]) -> bool:
    held = next((rule for rule in rules if is_met(rule, outcomes)), None)
    return any(each is held for each in ways)


def _found(
    graph: networkx.DiGraph[str],
    content: Content,
    path: Sequence[str],
    wanted: Mapping[str, frozenset[str]] = MappingProxyType({}),
) -> tuple[dict[str, str] | None, bool]:
    """Return outcomes that lead along a whole path or None, and whether the search came to an end.

    Who is calling is settled first, for it decides which readings can be had at all.
    """
    search = _Search(graph, content, path)
    start = search.start(wanted)
    for who in start.get(QUALIFICATION, ("",)):
        found = search.solve({**start, QUALIFICATION: (who,)} if who else start)
        if found is not None:
            return {name: left[0] for name, left in found.items()}, True
    return None, search.left > 0


class _Search:
    """The search for outcomes along one path; `left` is what it may still weigh."""

    def __init__(self, graph: networkx.DiGraph[str], content: Content, path: Sequence[str]) -> None:
        self._readings = content.readings
        self._other_trees = content.trees.keys() - {graph.graph["tree"]}
        self._asked: Outcomes = {}
        self._forks: list[_Fork] = []
        self.left = MOST_RULES_TRIED
        for source, target in pairwise(path):
            node, edge = graph.nodes[source], graph.edges[source, target]
            if node["kind"] is NodeKind.QUESTION:
                self._ask(node["reading"], edge["outcomes"])
            elif node["kind"] is NodeKind.JUNCTION and edge["rules"]:
                self._forks.append(_Fork(node, edge))

    def _ask(self, reading_id: str, allowed: frozenset[str]) -> None:
        before = self._asked.get(reading_id, self._in_order(reading_id))
        self._asked[reading_id] = tuple(each for each in before if not allowed or each in allowed)

    def start(self, wanted: Mapping[str, frozenset[str]]) -> Outcomes:
        """Return what each reading of the path may be before any junction is looked at."""
        outcomes = dict(self._asked)
        needed = [name for fork in self._forks for name in fork.readings]
        for name in (*needed, *wanted, QUALIFICATION):
            # Nobody asked for it, so nobody has it, unless a rule wants it.
            if name not in outcomes and name in self._readings:
                kinds = self._in_order(name)
                outcomes[name] = (UNKNOWN, *(each for each in kinds if each != UNKNOWN))
        for name, allowed in wanted.items():
            outcomes[name] = tuple(each for each in outcomes[name] if each in allowed)
        return outcomes

    def _in_order(self, reading_id: str) -> tuple[str, ...]:
        """Return the outcomes a reading can have in this tree, healthy first and unknown last."""
        reading = self._readings[reading_id]
        healthy = reading.normal or ("within",)
        kinds: Iterable[str] = reading.outcomes
        if reading_id == COMPLAINT:
            kinds = (each for each in kinds if each not in self._other_trees)
        return tuple(sorted(kinds, key=lambda each: (each == UNKNOWN, each not in healthy)))

    def solve(self, outcomes: Outcomes) -> Outcomes | None:
        """Return outcomes of which the first of each lead along the path; None if none do."""
        if outcomes.get(QUALIFICATION) not in (None, (LICENSED,)):
            outcomes = {
                name: tuple(each for each in left if each == UNKNOWN)
                if self._readings[name].is_licensed
                else left
                for name, left in outcomes.items()
            }
        self.left -= sum(len(fork.rules) for fork in self._forks)
        if not all(outcomes.values()) or not all(
            fork.may_lead_on(outcomes) for fork in self._forks
        ):
            return None
        halves = next((split for fork in self._forks if (split := fork.split(outcomes))), None)
        if halves is None:
            return outcomes
        for half in halves:
            if self.left <= 0:
                return None
            found = self.solve({**outcomes, **half})
            if found is not None:
                return found
        return None


class _Fork:
    """A junction on a path: its rules, and which of them lead on; behind the last, `otherwise`."""

    def __init__(self, node: Mapping[str, Any], edge: Mapping[str, Any]) -> None:
        self.rules: tuple[Rule, ...] = node["rules"]
        self.readings = [name for rule in self.rules for name in (*rule.all_of, *rule.any_of)]
        self._leading = frozenset(
            number
            for number, rule in enumerate((*self.rules, None))
            if any(each is rule for each in edge["rules"])
        )

    def may_lead_on(self, outcomes: Outcomes) -> bool:
        """Whether the junction can still lead the way the path goes."""
        for number, rule in enumerate(self.rules):
            holds = _holds(rule, outcomes)
            if holds is not False and number in self._leading:
                return True
            if holds:
                return False
        return len(self.rules) in self._leading

    def split(self, outcomes: Outcomes) -> tuple[Outcomes, Outcomes] | None:
        """Return the likelier and the other half of what is open here, None if nothing is."""
        for rule in self.rules:
            holds = _holds(rule, outcomes)
            if holds is None:
                return _halves(rule, outcomes)
            if holds:
                return None
        return None


def _holds(rule: Rule, outcomes: Outcomes) -> bool | None:
    """Return whether a rule holds whatever is had, fails whatever is had, or None: it is open."""
    every = [_is_in(outcomes[name], wanted) for name, wanted in rule.all_of.items()]
    some = [_is_in(outcomes[name], wanted) for name, wanted in rule.any_of.items()]
    if False in every or (some and all(each is False for each in some)):
        return False
    return True if all(every) and (not some or True in some) else None


def _is_in(outcomes: tuple[str, ...], wanted: frozenset[str]) -> bool | None:
    inside = sum(each in wanted for each in outcomes)
    return None if 0 < inside < len(outcomes) else inside > 0


def _halves(rule: Rule, outcomes: Outcomes) -> tuple[Outcomes, Outcomes]:
    for name, wanted in (*rule.all_of.items(), *rule.any_of.items()):
        inside = tuple(each for each in outcomes[name] if each in wanted)
        outside = tuple(each for each in outcomes[name] if each not in wanted)
        if inside and outside:
            halves: tuple[Outcomes, Outcomes] = ({name: inside}, {name: outside})
            return halves if outcomes[name][0] in wanted else (halves[1], halves[0])
    raise AssertionError("an open rule rests on a reading that is open")
