"""The graph a call walks: cautions and gates stand where nobody had to write them."""

from __future__ import annotations

from typing import ClassVar

import networkx as nx
import pytest

from tests.tree.miniature import SOUND_FREEZE, sound_draft
from triage.tree.content import Stage
from triage.tree.errors import WalkError
from triage.tree.graph import NodeKind, build_graph, next_node, plan_tree


def test_the_graph_is_a_networkx_graph_that_knows_its_start_and_promise() -> None:
    graph = build_graph(sound_draft().content(), "sticks")
    assert isinstance(graph, nx.DiGraph)
    assert graph.graph == {"tree": "sticks", "start": "who", "most_questions": 14}


def test_every_caution_of_a_reading_stands_in_front_of_its_question_in_order() -> None:
    graph = build_graph(sound_draft().content(), "sticks")
    assert list(graph.successors("line")) == ["caution:hot_lines@early"]
    assert list(graph.successors("caution:hot_lines@early")) == ["caution:gauges@early"]
    assert list(graph.successors("caution:gauges@early")) == ["early"]
    node = graph.nodes["caution:gauges@early"]
    assert node["kind"] is NodeKind.CAUTION
    assert node["stage"] is Stage.FREEZE
    assert (node["subject"], node["question"]) == ("gauges", "early")


def test_a_start_with_cautions_starts_at_its_first_caution() -> None:
    draft = sound_draft()
    draft.start = "early"
    assert build_graph(draft.content(), "sticks").graph["start"] == "caution:hot_lines@early"


def test_a_conclusion_is_followed_by_its_gate_and_its_recommendation() -> None:
    graph = build_graph(sound_draft().content(), "sticks")
    assert list(graph.successors("feed")) == ["gate:feed"]
    assert list(graph.successors("gate:feed")) == ["recommendation:feed"]
    assert not list(graph.successors("recommendation:feed"))
    assert graph.nodes["gate:feed"]["kind"] is NodeKind.GATE


def test_an_escalation_ends_where_it_stands() -> None:
    graph = build_graph(sound_draft().content(), "sticks")
    assert not list(graph.successors("hand_on"))
    assert graph.nodes["hand_on"]["stage"] is None


def test_outcomes_that_lead_to_one_node_share_an_edge() -> None:
    graph = build_graph(sound_draft().content(), "sticks")
    assert graph.edges["harvest", "feed"]["outcomes"] == {"below"}
    assert graph.edges["harvest", "hand_on"]["outcomes"] == {"within", "above", "unknown"}


def test_edges_of_a_junction_carry_its_rules() -> None:
    content = sound_draft().content()
    graph = build_graph(content, "sticks")
    (rule,) = content.trees["sticks"].junctions["is_freeze_sound"].rules
    assert graph.edges["is_freeze_sound", "caution:mains@coil"]["rules"] == (rule,)
    assert graph.edges["is_freeze_sound", "hand_on"]["rules"] == (None,)


def test_the_plan_and_the_graph_are_the_same_graph() -> None:
    content = sound_draft().content()
    plan, graph = plan_tree(content, "sticks"), build_graph(content, "sticks")
    assert set(plan.nodes) == set(graph)
    assert {(source, step.target) for source, ways in plan.steps.items() for step in ways} == set(
        graph.edges
    )


class TestWalking:
    SOUND: ClassVar = {
        reading: value.strip("[]").split(",")[0] for reading, value in SOUND_FREEZE.items()
    }

    def test_a_question_leads_where_its_outcome_says(self) -> None:
        graph = build_graph(sound_draft().content(), "sticks")
        assert next_node(graph, "harvest", {"harvest_suction_pressure": "below"}) == "feed"
        assert next_node(graph, "harvest", {"harvest_suction_pressure": "unknown"}) == "hand_on"

    def test_a_junction_leads_to_its_first_rule_that_holds(self) -> None:
        graph = build_graph(sound_draft().content(), "sticks")
        assert next_node(graph, "is_freeze_sound", self.SOUND) == "caution:mains@coil"

    @pytest.mark.parametrize("outcome", ["below", "above", "unknown"])
    def test_a_junction_is_left_by_otherwise_when_no_rule_holds(self, outcome: str) -> None:
        graph = build_graph(sound_draft().content(), "sticks")
        outcomes = {**self.SOUND, "discharge_line_temperature": outcome}
        assert next_node(graph, "is_freeze_sound", outcomes) == "hand_on"

    def test_a_reading_never_asked_counts_as_unknown(self) -> None:
        graph = build_graph(sound_draft().content(), "sticks")
        few = {
            "discharge_line_temperature": "within",
            "ice_pattern": "even",
            "freeze_suction_pressure_late": "within",
        }
        assert next_node(graph, "is_freeze_sound", few) == "caution:mains@coil"
        del few["freeze_suction_pressure_late"]
        assert next_node(graph, "is_freeze_sound", few) == "hand_on"

    def test_the_walk_ends_with_the_recommendation(self) -> None:
        graph = build_graph(sound_draft().content(), "sticks")
        assert next_node(graph, "gate:feed", {}) == "recommendation:feed"
        assert next_node(graph, "recommendation:feed", {}) is None

    def test_an_open_question_is_not_passed(self) -> None:
        graph = build_graph(sound_draft().content(), "sticks")
        with pytest.raises(WalkError, match='question "coil" is not answered yet; ask for coil_v'):
            next_node(graph, "coil", {})

    def test_an_outcome_of_another_reading_is_refused(self) -> None:
        graph = build_graph(sound_draft().content(), "sticks")
        with pytest.raises(WalkError, match='question "coil" has no route for "even"'):
            next_node(graph, "coil", {"coil_voltage": "even"})

    def test_a_node_of_other_content_is_refused(self) -> None:
        graph = build_graph(sound_draft().content(), "sticks")
        with pytest.raises(WalkError, match='tree "sticks" has no node "gone"'):
            next_node(graph, "gone", {})
