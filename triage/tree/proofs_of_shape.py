"""Properties of a tree's shape: a call always moves on, never in circles, and comes to an end."""

from __future__ import annotations

from collections.abc import Collection, Iterator

from triage.tree.content import Stage
from triage.tree.graph import NodeKind
from triage.tree.proof_case import Case, Finding, in_words, path_to

_STAGE_ORDER = {stage: order for order, stage in enumerate(Stage)}
_WRITTEN = (NodeKind.QUESTION, NodeKind.JUNCTION, NodeKind.ENDING)
"""Nodes that stand in a file; the program puts in the others and tells of them with these."""

_MOST_NAMED = 6


def no_path_comes_back(case: Case) -> Iterator[Finding]:
    """The graph has no cycle; where it has, the shortest way round is told, from the start on."""
    if case.is_acyclic:
        return
    import networkx

    rank = {node: number for number, node in enumerate(case.reached)}
    for knot in networkx.strongly_connected_components(case.graph):
        entrance = min(knot, key=lambda node: (rank.get(node, len(rank)), node))
        way_round = _way_round(case, knot, entrance)
        if way_round:
            written = [n for n in way_round if case.nodes[n]["kind"] in _WRITTEN]
            yield Finding(
                "a call could go round in circles here; lead one of these nodes elsewhere: "
                + ", ".join(written[:_MOST_NAMED])
                + (", …" if len(written) > _MOST_NAMED else ""),
                case.place(entrance),
                (*path_to(entrance, case.reached), *way_round) if entrance in rank else (),
            )


def _way_round(case: Case, knot: Collection[str], entrance: str) -> tuple[str, ...]:
    """Return the shortest way from a node back to itself inside `knot`, nothing if there is none.

    The node stands at its end alone.
    """
    onward = [target for target, _ in case.ways[entrance] if target in knot]
    found = case.reach(sources=onward, is_open=lambda _, target, __: target in knot)
    return path_to(entrance, found) if entrance in found else ()


def everything_is_reached(case: Case) -> Iterator[Finding]:
    """Every node lies on some path from the start.

    A part that is never entered is one finding, and what is missed for that is not told as well.
    """
    entered = {
        space
        for node in case.reached
        for space in _spaces_of(case.written(node))
    }  # fmt: skip
    missed = {node: _missed(case, node, entered) for node in case.nodes if node not in case.reached}
    behind = {
        missed[target]
        for node in missed
        for target, _ in case.ways[node]
        if target in missed and missed[target] != missed[node]
    }
    told = [what for what in dict.fromkeys(missed.values()) if what not in behind]
    # Where all lie behind each other, any of them is as good a start as the next.
    for what in told or list(dict.fromkeys(missed.values()))[:1]:
        if what in case.tree.parts:
            yield Finding(
                f"part {what} is never entered; lead a route to {what}, or take it out of parts",
                case.tree.places.get(f"parts.{what}", case.tree.place),
            )
        else:
            yield Finding(
                f"{case.nodes[what]['kind']} {what} is never reached; lead a route to it or "
                "delete it",
                case.place(what),
            )


def _missed(case: Case, node: str, entered: Collection[str]) -> str:
    """Return the outermost part around a node that is never entered, else what it belongs to."""
    written = case.written(node)
    return next((space for space in _spaces_of(written) if space not in entered), written)


def _spaces_of(node: str) -> Iterator[str]:
    """Yield the namespaces around a node, the outermost first."""
    end = node.find(".")
    while end >= 0:
        yield node[:end]
        end = node.find(".", end + 1)


def every_path_ends_in_an_ending(case: Case) -> Iterator[Finding]:
    """A node without a way on is an escalation or a recommendation."""
    concluding = frozenset(case.concluding())
    for node, facts in case.nodes.items():
        if case.ways[node]:
            continue
        is_escalation = facts["kind"] is NodeKind.ENDING and node not in concluding
        if not is_escalation and facts["kind"] is not NodeKind.RECOMMENDATION:
            yield Finding(
                f"{in_words(facts)} leads nowhere; give it a way on",
                case.place(node),
                _way_to(case, node),
            )


def every_outcome_has_one_way(case: Case) -> Iterator[Finding]:
    """The outcomes on the edges out of a question are all of its reading's, each once."""
    for node in case.of_kind(NodeKind.QUESTION):
        reading = case.content.readings[case.reading_of(node)]
        routed = [outcome for _, facts in case.ways[node] for outcome in facts["outcomes"]]
        for outcome in reading.outcomes:
            if (count := routed.count(outcome)) != 1:
                yield Finding(
                    f"question {node} has {count or 'no'} way{'s' if count else ''} for "
                    f'"{outcome}"; give it exactly one',
                    case.place(node),
                    _way_to(case, node),
                )
        for outcome in sorted(set(routed) - set(reading.outcomes)):
            yield Finding(
                f'question {node} has a way for "{outcome}", which {reading.id} never is; drop it',
                case.place(node),
                _way_to(case, node),
            )
    for node in case.of_kind(NodeKind.JUNCTION):
        rules = [rule for _, facts in case.ways[node] for rule in facts["rules"]]
        if rules.count(None) != 1:
            yield Finding(
                f"junction {node} needs exactly one way for when no rule holds",
                case.place(node),
                _way_to(case, node),
            )


def no_call_is_too_long(case: Case) -> Iterator[Finding]:
    """No path asks more questions than the tree promises."""
    import networkx

    if not case.is_acyclic:
        return
    asked: dict[str, int] = {}
    before: dict[str, str | None] = {}
    for node in networkx.topological_sort(case.graph):
        if node not in case.reached:
            continue
        earlier = [each for each in case.graph.predecessors(node) if each in asked]
        best = max(earlier, key=asked.__getitem__, default=None)
        is_question = case.nodes[node]["kind"] is NodeKind.QUESTION
        asked[node] = (asked[best] if best is not None else 0) + is_question
        before[node] = best
    longest = max(asked, key=asked.__getitem__)
    most = case.graph.graph["most_questions"]
    if asked[longest] > most:
        yield Finding(
            f"a call can take {asked[longest]} questions, more than the {most} of most_questions; "
            "shorten the path or raise the number",
            case.tree.place,
            path_to(longest, before),
        )


def stages_never_go_back(case: Case) -> Iterator[Finding]:
    """Along every edge the stage stays or moves on, in the order `Stage` names them."""
    for node, ways in case.ways.items():
        here = case.nodes[node]["stage"]
        for target, _ in ways:
            there = case.nodes[target]["stage"]
            if here is None or there is None or _STAGE_ORDER[there] >= _STAGE_ORDER[here]:
                continue
            onward = case.written(target)
            yield Finding(
                f"{case.written(node)} of stage {here} leads back to {onward} of stage {there}; "
                "ask that earlier or change its stage",
                case.place(node),
                (*_way_to(case, node), target) if node in case.reached else (),
            )


def _way_to(case: Case, node: str) -> tuple[str, ...]:
    return path_to(node, case.reached) if node in case.reached else ()
