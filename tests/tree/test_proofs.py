"""Each promise, broken once: the finding names the node and the shortest path that breaks it."""

from __future__ import annotations

import dataclasses
import re

import networkx as nx
import pytest

from tests.tree.miniature import CAUSES, SOUND_FREEZE, Draft, Rule, sound_draft
from triage.tree.content import Content
from triage.tree.errors import ProofFailed
from triage.tree.graph import build_graph
from triage.tree.proofs import Finding, check_content, prove, prove_causes, prove_graph
from triage.tree.proofs_of_order import FREEZE_HEALTH


def findings(draft: Draft) -> list[Finding]:
    return prove(draft.content(), "sticks")


def the_finding(draft: Draft, pattern: str) -> Finding:
    """Return the only finding whose message matches."""
    found = [each for each in findings(draft) if re.search(pattern, each.message)]
    assert len(found) == 1, [str(each) for each in findings(draft)]
    return found[0]


def skip(draft: Draft, question: str) -> None:
    """Lead everything that led to a question to where its else leads, and delete it."""
    onward = draft.questions.pop(question)[2]["else"]
    for _, _, routes in draft.questions.values():
        routes.update({key: onward for key, node in routes.items() if node == question})


@pytest.fixture
def content() -> Content:
    return sound_draft().content()


@pytest.fixture
def graph(content: Content) -> nx.DiGraph[str]:
    return build_graph(content, "sticks")


def test_the_miniature_holds_every_promise(content: Content) -> None:
    assert prove(content, "sticks") == []
    assert prove_causes(content) == []
    check_content(content)


class TestShape:
    def test_a_cycle_is_found(self) -> None:
        draft = sound_draft()
        draft.route("late", unknown="early")
        finding = the_finding(draft, "round in circles")
        assert finding.path[0] == finding.path[-1]
        assert {"early", "late"} <= set(finding.path)

    def test_an_unreachable_question_is_found(self) -> None:
        draft = sound_draft()
        draft.ask("lost", "machine", "machine", else_="bridge")
        finding = the_finding(draft, "question lost is never reached")
        assert finding.place == draft.content().trees["sticks"].questions["lost"].place

    def test_an_unreachable_ending_is_told_once_without_its_gate(self) -> None:
        draft = sound_draft()
        draft.endings["spare"] = "causes: [nothing_wrong]"
        assert [each.message for each in findings(draft)] == [
            "ending spare is never reached; lead a route to it or delete it"
        ]

    def test_a_dead_end_is_found(self, graph: nx.DiGraph[str], content: Content) -> None:
        graph.remove_edge("feed", "gate:feed")
        found = [each for each in prove_graph(graph, content) if "leads nowhere" in each.message]
        assert [each.message for each in found] == ["ending feed leads nowhere; give it a way on"]
        assert found[0].path[0] == "who"
        assert found[0].path[-1] == "feed"

    def test_an_outcome_without_a_way_is_found(
        self, graph: nx.DiGraph[str], content: Content
    ) -> None:
        graph.edges["harvest", "hand_on"]["outcomes"] = frozenset({"within", "above"})
        assert 'question harvest has no way for "unknown"; give it exactly one' in [
            each.message for each in prove_graph(graph, content)
        ]

    def test_an_outcome_with_two_ways_is_found(
        self, graph: nx.DiGraph[str], content: Content
    ) -> None:
        graph.edges["harvest", "feed"]["outcomes"] = frozenset({"below", "above"})
        assert 'question harvest has 2 ways for "above"; give it exactly one' in [
            each.message for each in prove_graph(graph, content)
        ]

    def test_an_outcome_nothing_gives_is_found(
        self, graph: nx.DiGraph[str], content: Content
    ) -> None:
        graph.edges["harvest", "feed"]["outcomes"] = frozenset({"below", "even"})
        assert any(
            each.message.startswith('question harvest has a way for "even"')
            for each in prove_graph(graph, content)
        )

    def test_a_junction_without_otherwise_is_found(
        self, graph: nx.DiGraph[str], content: Content
    ) -> None:
        graph.remove_edge("is_freeze_sound", "hand_on")
        assert any(
            "junction is_freeze_sound needs exactly one way" in each.message
            for each in prove_graph(graph, content)
        )

    def test_a_call_longer_than_promised_is_found_with_its_path(self) -> None:
        draft = sound_draft()
        draft.most_questions = 12
        finding = the_finding(draft, "can take 13 questions, more than the 12 of most_questions")
        assert [node for node in finding.path if node in draft.questions] == list(draft.questions)

    def test_a_stage_that_goes_back_is_found(self) -> None:
        draft = sound_draft()
        draft.ask("again", "machine", "machine", else_="time")
        draft.route("bridge", else_="again")
        draft.most_questions = 14
        finding = the_finding(draft, "bridge of stage freeze leads back to again of stage machine")
        assert finding.path == ("bridge", "again")


class TestFreezeBeforeHarvest:
    def test_a_health_reading_first_asked_in_the_harvest_is_found(self) -> None:
        draft = sound_draft()
        skip(draft, "bridge")
        draft.ask("bridge", "ice_bridge_thickness", "harvest", else_="coil")
        draft.junctions["is_freeze_sound"][1][0].then = "bridge"
        the_finding(draft, "question bridge can be asked before ice_bridge_thickness")

    @pytest.mark.parametrize("reading", FREEZE_HEALTH)
    def test_a_health_reading_never_asked_is_found(self, reading: str) -> None:
        draft = sound_draft()
        (question,) = (name for name, (asked, _, _) in draft.questions.items() if asked == reading)
        skip(draft, question)
        finding = the_finding(draft, f"question coil can be asked before {reading}")
        assert question not in finding.path
        assert finding.path[-1] == "coil"

    def test_a_health_reading_skipped_on_one_outcome_is_found(self) -> None:
        draft = sound_draft()
        draft.route("bridge", unknown="pattern")
        finding = the_finding(draft, r"question coil can be asked before freeze_time.*\(and 1 more")
        assert finding.path[:5] == ("who", "room", "bridge", "pattern", "flow")

    @pytest.mark.parametrize("reading", SOUND_FREEZE)
    def test_a_rule_that_forgets_a_health_reading_is_found(self, reading: str) -> None:
        draft = sound_draft()
        del draft.junctions["is_freeze_sound"][1][0].all_of[reading]
        # The pattern's only unhealthy outcome ends elsewhere, yet unknown must not pass either.
        assert the_finding(draft, f"into the harvest.*{reading}").path[-1] == "caution:mains@coil"

    @pytest.mark.parametrize(
        ("reading", "allowed"),
        [
            ("discharge_line_temperature", "[within, unknown]"),
            ("discharge_line_temperature", "[within, above]"),
            ("ice_pattern", "[even, unknown]"),
            ("freeze_time", "[within, above]"),
            ("water_leaking_into_sump", "[tight, leaking]"),
            ("freeze_suction_pressure_late", "[within, below, unknown]"),
        ],
    )
    def test_a_rule_that_allows_too_much_is_found(self, reading: str, allowed: str) -> None:
        draft = sound_draft()
        draft.junctions["is_freeze_sound"][1][0].all_of[reading] = allowed
        the_finding(draft, f"into the harvest.*{reading}")

    def test_a_rule_satisfied_without_any_suction_is_found(self) -> None:
        draft = sound_draft()
        draft.junctions["is_freeze_sound"][1][0].any_of.clear()
        the_finding(draft, "does not demand a freeze suction pressure within")

    def test_a_rule_another_reading_can_satisfy_is_found(self) -> None:
        draft = sound_draft()
        draft.junctions["is_freeze_sound"][1][0].any_of["freeze_discharge_pressure"] = "within"
        the_finding(draft, "does not demand a freeze suction pressure within")

    def test_one_suction_demanded_outright_is_enough(self) -> None:
        draft = sound_draft()
        rule = draft.junctions["is_freeze_sound"][1][0]
        rule.any_of.clear()
        rule.all_of["freeze_suction_pressure_early"] = "within"
        assert findings(draft) == []

    def test_a_reading_whose_unhealthy_outcomes_end_elsewhere_needs_no_rule(self) -> None:
        draft = sound_draft()
        draft.route("time", below="hand_on", above="hand_on")
        del draft.junctions["is_freeze_sound"][1][0].all_of["freeze_time"]
        assert findings(draft) == []

    def test_it_does_need_one_if_its_question_can_be_skipped(self) -> None:
        draft = sound_draft()
        draft.route("time", below="hand_on", above="hand_on")
        draft.route("bridge", unknown="pattern")
        del draft.junctions["is_freeze_sound"][1][0].all_of["freeze_time"]
        the_finding(draft, "lets an unhealthy freeze_time pass")

    def test_a_second_loose_rule_is_found_beside_a_sound_one(self) -> None:
        draft = sound_draft()
        draft.junctions["is_freeze_sound"][1].append(Rule("coil", {"ice_pattern": "even"}))
        assert any("does not demand discharge_line" in each.message for each in findings(draft))

    def test_otherwise_into_the_harvest_is_found(self) -> None:
        draft = sound_draft()
        stage, rules, _ = draft.junctions["is_freeze_sound"]
        draft.junctions["is_freeze_sound"] = (stage, rules, "coil")
        the_finding(draft, "into the harvest at caution:mains@coil is a junction's otherwise")

    def test_a_question_leading_into_the_harvest_is_found(self) -> None:
        draft = sound_draft()
        draft.route("high", unknown="coil")
        finding = the_finding(draft, "from high into the harvest at .* passes no junction")
        assert finding.path[-2:] == ("high", "caution:mains@coil")

    def test_a_call_that_starts_in_the_harvest_is_found(self) -> None:
        draft = sound_draft()
        draft.start = "harvest"
        the_finding(draft, "starts the call in the harvest")

    def test_a_harvest_cause_concluded_in_the_freeze_is_found(self) -> None:
        draft = sound_draft()
        draft.route("pattern", thin_at_outlet="feed")
        draft.route("flow", poor="charge")
        finding = the_finding(draft, "ending feed concludes feed_failed on a freeze not known")
        assert finding.path == ("who", "room", "bridge", "time", "pattern", "feed")


class TestCoilCheck:
    def test_a_valve_condemned_without_the_coil_asked_is_found(self) -> None:
        draft = sound_draft()
        skip_rule = draft.junctions["is_freeze_sound"][1][0]
        del draft.questions["coil"]
        skip_rule.then = "harvest"
        the_finding(draft, "ending feed concludes feed_failed without a good coil check")

    @pytest.mark.parametrize("outcome", ["below", "above", "unknown"])
    def test_a_valve_condemned_on_a_coil_supply_not_good_is_found(self, outcome: str) -> None:
        draft = sound_draft()
        draft.route("coil", **{outcome: "harvest"})
        finding = the_finding(draft, r"without a good coil check \(coil_voltage: within\)")
        assert finding.path[-4:] == ("coil", "caution:gauges@harvest", "harvest", "feed")

    def test_a_later_rule_that_demands_a_good_supply_is_enough(self) -> None:
        draft = sound_draft()
        draft.questions["coil"] = ("coil_voltage", "harvest", {"else": "harvest"})
        draft.route("harvest", below="is_supply_good")
        rule = Rule("feed", {"coil_voltage": "within"})
        draft.junctions["is_supply_good"] = ("harvest", [rule], "hand_on")
        assert findings(draft) == []

    def test_a_valve_on_the_parts_list_alone_counts_as_condemned(self) -> None:
        draft = sound_draft()
        condemned = "    condemns: [feed regulator, feed solenoid valve]\n"
        assert condemned in CAUSES
        draft.files["causes.yaml"] = CAUSES.replace(condemned, "")
        draft.route("coil", unknown="harvest")
        the_finding(draft, "ending feed concludes feed_failed without a good coil check")


class TestPeople:
    def test_licensed_work_before_the_qualification_is_found(self) -> None:
        draft = sound_draft()
        skip(draft, "who")
        draft.start = "room"
        finding = the_finding(
            draft, r"question line is for licensed hands and can be asked before caller_qualif"
        )
        assert finding.path[-1] == "line"
        assert "(and 5 more)" in finding.message

    def test_a_question_with_a_way_round_its_caution_is_found(
        self, graph: nx.DiGraph[str], content: Content
    ) -> None:
        graph.add_edge("leak", "caution:gauges@early", outcomes=frozenset(), rules=())
        found = [each for each in prove_graph(graph, content) if "its caution" in each.message]
        assert [each.message for each in found] == [
            "question early can be asked without its caution (caution:hot_lines@early)"
        ]
        assert found[0].path[-3:] == ("leak", "caution:gauges@early", "early")

    def test_a_question_whose_caution_is_gone_is_found(
        self, graph: nx.DiGraph[str], content: Content
    ) -> None:
        graph.add_edge("line", "caution:gauges@early", outcomes=frozenset(), rules=())
        graph.remove_node("caution:hot_lines@early")
        assert any(
            "without its caution (caution:hot_lines@early)" in each.message
            for each in prove_graph(graph, content)
        )

    def test_a_recommendation_with_a_way_round_its_gate_is_found(
        self, graph: nx.DiGraph[str], content: Content
    ) -> None:
        graph.add_edge("feed", "recommendation:feed", outcomes=frozenset(), rules=())
        found = [each for each in prove_graph(graph, content) if "its gate" in each.message]
        assert found[0].path[-2:] == ("feed", "recommendation:feed")

    def test_the_gate_of_another_ending_opens_nothing(
        self, graph: nx.DiGraph[str], content: Content
    ) -> None:
        graph.add_edge("gate:charge", "recommendation:feed", outcomes=frozenset(), rules=())
        assert any("without its gate" in each.message for each in prove_graph(graph, content))

    def test_a_conclusion_without_a_recommendation_is_found(
        self, graph: nx.DiGraph[str], content: Content
    ) -> None:
        graph.remove_node("recommendation:feed")
        assert "ending feed has no recommendation" in [
            each.message for each in prove_graph(graph, content)
        ]


class TestWholeContent:
    def test_a_cause_in_no_ending_is_found_at_its_place(self) -> None:
        draft = sound_draft()
        draft.endings["hand_on"] = draft.endings["hand_on"].replace("nothing_wrong", "")
        (finding,) = prove_causes(draft.content())
        assert finding.message.startswith("cause nothing_wrong is in no ending of any tree")
        assert str(finding.place).startswith("causes.yaml:")

    def test_broken_content_is_refused_with_every_finding(self) -> None:
        draft = sound_draft()
        draft.most_questions = 12
        draft.route("coil", unknown="harvest")
        with pytest.raises(ProofFailed) as caught:
            check_content(draft.content())
        assert len(caught.value.findings) == 2
        text = str(caught.value)
        assert text.startswith("the content breaks 2 promises:\nsticks.yaml:")
        assert "    path: who -> room -> " in text

    def test_every_tree_is_proved(self) -> None:
        content = sound_draft().content()
        twin = dataclasses.replace(content.trees["sticks"], id="twin", most_questions=1)
        both = dataclasses.replace(content, trees={**content.trees, "twin": twin})
        with pytest.raises(ProofFailed, match="breaks 1 promise:"):
            check_content(both)
