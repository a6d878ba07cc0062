"""Properties of a tree's shape: a call always moves on, never in circles, and comes to an end."""

from __future__ import annotations

from collections.abc import Iterator

from triage.tree.content import Stage
from triage.tree.graph import NodeKind
from triage.tree.proof_case import Case, Finding, path_to

_STAGE_ORDER = {stage: order for order, stage in enumerate(Stage)}


def no_path_comes_back(case: Case) -> Iterator[Finding]:
    """The graph has no cycle."""
    if case.is_acyclic:
        return
    import networkx

    cycle = [source for source, *_ in networkx.find_cycle(case.graph)]
    yield Finding(
        "a call could go round in circles here; lead one of these nodes elsewhere",
        case.place(cycle[0]),
        (*cycle, cycle[0]),
    )


def everything_is_reached(case: Case) -> Iterator[Finding]:
    """Every node lies on some path from the start."""
    reached = case.reach()
    for node, facts in case.nodes.items():
        if node not in reached and facts["kind"] not in (NodeKind.GATE, NodeKind.RECOMMENDATION):
            yield Finding(
                f"{facts['kind']} {node} is never reached; lead a route to it or delete it",
                case.place(node),
            )


def every_path_ends_in_an_ending(case: Case) -> Iterator[Finding]:
    """A node without a way on is an escalation or a recommendation."""
    reached = case.reach()
    for node, facts in case.nodes.items():
        if case.ways[node]:
            continue
        is_escalation = facts["kind"] is NodeKind.ENDING and node not in case.concluding()
        if not is_escalation and facts["kind"] is not NodeKind.RECOMMENDATION:
            yield Finding(
                f"{facts['kind']} {node} leads nowhere; give it a way on",
                case.place(node),
                path_to(node, reached) if node in reached else (),
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
                )
        for outcome in sorted(set(routed) - set(reading.outcomes)):
            yield Finding(
                f'question {node} has a way for "{outcome}", which {reading.id} never is; drop it',
                case.place(node),
            )
    for node in case.of_kind(NodeKind.JUNCTION):
        rules = [rule for _, facts in case.ways[node] for rule in facts["rules"]]
        if rules.count(None) != 1:
            yield Finding(
                f"junction {node} needs exactly one way for when no rule holds", case.place(node)
            )


def no_call_is_too_long(case: Case) -> Iterator[Finding]:
    """No path asks more questions than the tree promises."""
    import networkx

    if not case.is_acyclic:
        return
    asked: dict[str, int] = {}
    before: dict[str, str | None] = {}
    reached = case.reach()
    for node in networkx.topological_sort(case.graph):
        if node not in reached:
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
    """Along every edge the stage stays or moves on: caller, machine, freeze, harvest, confirm."""
    for node, ways in case.ways.items():
        here = case.nodes[node]["stage"]
        for target, _ in ways:
            there = case.nodes[target]["stage"]
            if here is None or there is None or _STAGE_ORDER[there] >= _STAGE_ORDER[here]:
                continue
            yield Finding(
                f"{node} of stage {here} leads back to {target} of stage {there}; ask it earlier "
                "or change its stage",
                case.place(node),
                (node, target),
            )
