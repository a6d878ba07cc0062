"""Answers found for a path lead a call along it; where none are found, trying all finds none."""

from __future__ import annotations

import dataclasses
import itertools
from collections.abc import Iterator

import networkx as nx
import pytest
from hypothesis import HealthCheck, assume, given, settings
from hypothesis import strategies as st

from tests.tree.miniature import Rule, sound_draft
from tests.tree.strategies import contents
from triage.tree import path_answers
from triage.tree.content import UNKNOWN, Content
from triage.tree.graph import NodeKind, build_graph, next_node
from triage.tree.path_answers import answers_along

MODEST = settings(
    derandomize=True, max_examples=150, deadline=None, suppress_health_check=list(HealthCheck)
)
MOST_ASSIGNMENTS = 4000


def readings_of(graph: nx.DiGraph[str]) -> list[str]:
    """Return every reading a graph asks for or rests on, and who is calling."""
    found = {"caller_qualification"}
    for facts in graph.nodes.values():
        if facts["kind"] is NodeKind.QUESTION:
            found.add(facts["reading"])
        for rule in facts["rules"]:
            found.update(rule.all_of, rule.any_of)
    return sorted(found)


def all_answers(content: Content, names: list[str]) -> Iterator[dict[str, str]]:
    """Yield every way to answer, as the caller may: without a license much is unknown."""
    kinds = [content.readings[name].outcomes for name in names]
    for outcomes in itertools.product(*kinds):
        known = dict(zip(names, outcomes, strict=True))
        is_licensed = known["caller_qualification"] == "licensed"
        if is_licensed or all(
            known[name] == UNKNOWN for name in names if content.readings[name].is_licensed
        ):
            yield known


def walked(graph: nx.DiGraph[str], known: dict[str, str], path: list[str]) -> int:
    """Return how many nodes of a path a call with these answers passes."""
    for count, (node, target) in enumerate(itertools.pairwise(path), start=1):
        if next_node(graph, node, known) != target:
            return count
    return len(path)


@st.composite
def paths(draw: st.DrawFn, graph: nx.DiGraph[str]) -> list[str]:
    """Return a path from the start to where the graph ends."""
    path = [graph.graph["start"]]
    while following := list(graph.successors(path[-1])):
        path.append(draw(st.sampled_from(following)))
    return path


@MODEST
@given(st.data(), contents())
def test_no_answers_lead_further_than_those_found(data: st.DataObject, content: Content) -> None:
    graph = build_graph(content, "sticks")
    names = readings_of(graph)
    tries = list(itertools.islice(all_answers(content, names), MOST_ASSIGNMENTS))
    assume(len(tries) < MOST_ASSIGNMENTS)
    path = data.draw(paths(graph))
    found = answers_along(graph, content, path)
    assert found.is_certain
    assert found.leads == max(walked(graph, known, path) for known in tries)
    unsaid = dict.fromkeys(names, UNKNOWN)
    assert walked(graph, unsaid | dict(found.outcomes), path) >= found.leads


@MODEST
@given(st.data(), contents())
def test_answers_of_a_kind_are_found_if_there_are_any(
    data: st.DataObject, content: Content
) -> None:
    graph = build_graph(content, "sticks")
    names = readings_of(graph)
    tries = list(itertools.islice(all_answers(content, names), MOST_ASSIGNMENTS))
    assume(len(tries) < MOST_ASSIGNMENTS)
    path = data.draw(paths(graph))
    name = data.draw(st.sampled_from(names))
    wanted = data.draw(st.frozensets(st.sampled_from(content.readings[name].outcomes), min_size=1))
    found = answers_along(graph, content, path, [{name: wanted}])
    assert found.is_shown == any(
        known[name] in wanted and walked(graph, known, path) == len(path) for known in tries
    )
    assert not found.is_shown or found.outcomes[name] in wanted


@MODEST
@given(st.data(), contents())
def test_what_is_said_besides_is_all_a_call_needs_at_each_fork(
    data: st.DataObject, content: Content
) -> None:
    """Asked in the order of the path, with what is said besides, a call goes the way told."""
    graph = build_graph(content, "sticks")
    path = data.draw(paths(graph))
    found = answers_along(graph, content, path)
    assume(found.leads == len(path))
    known: dict[str, str] = {}
    for node, target in itertools.pairwise(path):
        known |= {name: found.outcomes[name] for name in found.besides.get(node, ())}
        if graph.nodes[node]["kind"] is NodeKind.QUESTION:
            reading = graph.nodes[node]["reading"]
            known[reading] = found.outcomes[reading]
        assert next_node(graph, node, known) == target


def test_healthy_answers_come_first() -> None:
    content = sound_draft().content()
    graph = build_graph(content, "sticks")
    path = nx.shortest_path(graph, "who", "feed")
    found = answers_along(graph, content, path)
    odd = {"harvest_suction_pressure": "below"}
    healthy = {
        name: (*content.readings[name].normal, "within", "known", "licensed")
        for name in found.outcomes
    }
    assert {
        name: outcome
        for name, outcome in found.outcomes.items()
        if outcome not in healthy[name] and outcome != UNKNOWN
    } == odd


def test_a_complaint_of_another_tree_is_not_made_in_this_one() -> None:
    content = sound_draft().content()
    pattern = content.readings["ice_pattern"]
    complaint = dataclasses.replace(pattern, id="complaint", normal=("even",))
    questions = dict(content.trees["sticks"].questions)
    questions["pattern"] = dataclasses.replace(questions["pattern"], reading="complaint")
    tree = dataclasses.replace(content.trees["sticks"], questions=questions)
    even = dataclasses.replace(tree, id="even")
    content = dataclasses.replace(
        content,
        readings={**content.readings, "complaint": complaint},
        trees={"sticks": tree, "even": even},
    )
    for tree_id, answer in (("sticks", "thin_at_outlet"), ("even", "even")):
        graph = build_graph(content, tree_id)
        to = "charge" if tree_id == "sticks" else "flow"
        path = nx.shortest_path(graph, "who", to)
        assert answers_along(graph, content, path).outcomes["complaint"] == answer


def test_a_search_that_gives_up_says_so(monkeypatch: pytest.MonkeyPatch) -> None:
    draft = sound_draft()
    draft.junctions["is_freeze_sound"][1].append(Rule("feed", {"ice_pattern": "even"}))
    content = draft.content()
    graph = build_graph(content, "sticks")
    path = nx.shortest_path(graph, "who", "feed")
    monkeypatch.setattr(path_answers, "MOST_RULES_TRIED", 1)
    found = answers_along(graph, content, path)
    assert not found.is_certain
    assert path[found.leads - 1] == "is_freeze_sound"
