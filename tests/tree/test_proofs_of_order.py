"""Promises about the order of a call, each broken once, with the call that shows the harm."""

from __future__ import annotations

import networkx as nx
import pytest

from tests.tree.broken_trees import call_of, call_on, findings, skip, the_finding, the_finding_on
from tests.tree.miniature import (
    CAUSES,
    ESCALATION,
    READINGS,
    SOUND_FREEZE,
    Draft,
    Rule,
    sound_draft,
)
from triage.tree.content import Content
from triage.tree.graph import build_graph
from triage.tree.proofs_of_order import FREEZE_HEALTH

GAUGES = [
    "caution Hot lines. The line burns. [hot_lines]",
    "desk    Words. [line]",
    "caller  within its band [within]",
    "caution Gauges. Refrigerant under pressure. [gauges]",
    "desk    Words. [early]",
    "caller  within its band [within]",
    "desk    Words. [late]",
    "caller  within its band [within]",
    "desk    Words. [high]",
    "caller  within its band [within]",
]
FREEZE_IS_CALLED_SOUND = "because So it is. [is_freeze_sound]"


@pytest.fixture
def content() -> Content:
    return sound_draft().content()


@pytest.fixture
def graph(content: Content) -> nx.DiGraph[str]:
    return build_graph(content, "sticks")


class TestFreezeBeforeHarvest:
    def test_a_health_reading_first_asked_in_the_harvest_is_found(self) -> None:
        draft = sound_draft()
        skip(draft, "bridge")
        draft.ask("bridge", "ice_bridge_thickness", "harvest", else_="coil")
        draft.junctions["is_freeze_sound"][1][0].then = "bridge"
        finding = the_finding(draft, "question bridge can be asked before ice_bridge_thickness")
        assert call_of(draft, finding)[-12:] == [
            *GAUGES,
            FREEZE_IS_CALLED_SOUND,
            "desk    Words. [bridge]",
        ]

    @pytest.mark.parametrize("reading", FREEZE_HEALTH)
    def test_a_health_reading_never_asked_is_found(self, reading: str) -> None:
        draft = sound_draft()
        (question,) = (name for name, (asked, _, _) in draft.questions.items() if asked == reading)
        skip(draft, question)
        finding = the_finding(draft, f"question coil can be asked before {reading}")
        assert question not in finding.path
        call = call_of(draft, finding)
        assert not any(f"[{question}]" in line for line in call)
        assert call[-1] == "desk    Words. [coil]"

    def test_a_health_reading_skipped_on_one_outcome_is_found(self) -> None:
        draft = sound_draft()
        draft.route("bridge", unknown="pattern")
        finding = the_finding(draft, r"question coil can be asked before freeze_time.*\(and 1 more")
        assert finding.path[:6] == ("who", "room", "which", "bridge", "pattern", "flow")
        assert call_of(draft, finding)[7:11] == [
            "desk    Words. [bridge]",
            "caller  could not be had [unknown]",
            "desk    Words. [pattern]",
            "caller  even all over [even]",
        ]

    def test_all_that_is_missing_is_one_finding_that_says_where_to_ask(self) -> None:
        draft = sound_draft()
        draft.ask("early_gauge", "harvest_discharge_pressure", "harvest", else_="hand_on")
        draft.files["readings.yaml"] = READINGS + (
            "  harvest_discharge_pressure:\n    {name: harvest discharge, kind: gauge_pressure, "
            "licensed: true, banded: true, cautions: [gauges]}\n"
        )
        draft.route("which", unknown="early_gauge")
        finding = the_finding(draft, "question early_gauge can be asked before")
        assert finding.message == (
            "question early_gauge can be asked before the freeze is known to be sound; lead to it "
            "only from where that is proved (an exit of the part that asks about the freeze), or "
            f"ask on every way to it what can be missing: {', '.join(FREEZE_HEALTH)}"
        )
        assert finding.path[-1] == "early_gauge"

    def test_a_harvest_cause_shortlisted_in_the_freeze_is_found(self) -> None:
        draft = sound_draft()
        draft.endings["hand_on"] = draft.endings["hand_on"].replace(
            "[nothing_wrong]", "[nothing_wrong, feed_failed]"
        )
        finding = the_finding(draft, "ending hand_on shortlists feed_failed on a freeze not known")
        assert finding.path[-1] == "hand_on"
        draft.endings["hand_on"] = sound_draft().endings["hand_on"]
        draft.endings["later"] = f"{ESCALATION}, shortlist: [feed_failed]"
        draft.route("coil", unknown="later")
        assert findings(draft) == []

    @pytest.mark.parametrize("reading", SOUND_FREEZE)
    def test_a_rule_that_forgets_a_health_reading_is_found(self, reading: str) -> None:
        draft = sound_draft()
        del draft.junctions["is_freeze_sound"][1][0].all_of[reading]
        # The pattern's only unhealthy outcome ends elsewhere, yet unknown must not pass either.
        finding = the_finding(draft, f"into the harvest at coil.*{reading}")
        call = call_of(draft, finding)
        (question,) = (name for name, (asked, _, _) in draft.questions.items() if asked == reading)
        answer = call[call.index(f"desk    Words. [{question}]") + 1]
        assert answer.split("[")[1] not in ("within]", "even]", "full]", "tight]")
        assert FREEZE_IS_CALLED_SOUND in call

    @pytest.mark.parametrize(
        ("reading", "allowed", "answer"),
        [
            ("discharge_line_temperature", "[within, unknown]", "could not be had [unknown]"),
            ("discharge_line_temperature", "[within, above]", "above its band [above]"),
            ("ice_pattern", "[even, unknown]", "could not be had [unknown]"),
            ("freeze_time", "[within, above]", "above its band [above]"),
            ("water_leaking_into_sump", "[tight, leaking]", "running in [leaking]"),
            (
                "freeze_suction_pressure_late",
                "[within, below, unknown]",
                "below its band [below]",
            ),
        ],
    )
    def test_a_rule_that_allows_too_much_is_found(
        self, reading: str, allowed: str, answer: str
    ) -> None:
        draft = sound_draft()
        draft.junctions["is_freeze_sound"][1][0].all_of[reading] = allowed
        call = call_of(draft, the_finding(draft, f"into the harvest.*{reading}"))
        assert f"caller  {answer}" in call
        assert FREEZE_IS_CALLED_SOUND in call

    def test_a_rule_satisfied_without_any_suction_is_found(self) -> None:
        draft = sound_draft()
        draft.junctions["is_freeze_sound"][1][0].any_of.clear()
        finding = the_finding(draft, "does not demand a freeze suction pressure within")
        assert call_of(draft, finding)[-8:-2] == [
            "desk    Words. [early]",
            "caller  could not be had [unknown]",
            "desk    Words. [late]",
            "caller  could not be had [unknown]",
            "desk    Words. [high]",
            "caller  within its band [within]",
        ]

    def test_a_rule_another_reading_can_satisfy_is_found(self) -> None:
        draft = sound_draft()
        draft.junctions["is_freeze_sound"][1][0].any_of["freeze_discharge_pressure"] = "within"
        finding = the_finding(draft, "does not demand a freeze suction pressure within")
        assert "caller  could not be had [unknown]" in call_of(draft, finding)

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
        finding = the_finding(draft, "lets an unhealthy freeze_time pass")
        # The shortest path skips the question, so the caller has to say the time unasked.
        assert call_of(draft, finding)[-4:] == [
            "caller  within its band [within]",
            FREEZE_IS_CALLED_SOUND,
            "caller  says besides: freeze time below its band [freeze_time]",
            "caution Mains. Live parts. [mains]",
        ]

    def test_a_second_loose_rule_is_found_beside_a_sound_one(self) -> None:
        draft = sound_draft()
        draft.junctions["is_freeze_sound"][1].append(Rule("coil", {"ice_pattern": "even"}))
        assert any("does not demand discharge_line" in each.message for each in findings(draft))

    def test_otherwise_into_the_harvest_is_found(self) -> None:
        draft = sound_draft()
        stage, rules, _ = draft.junctions["is_freeze_sound"]
        draft.junctions["is_freeze_sound"] = (stage, rules, "coil")
        finding = the_finding(draft, "into the harvest at coil is a junction's otherwise")
        call = call_of(draft, finding)
        assert call[-2] == "because none of its rules holds [is_freeze_sound]"
        line = call.index("desk    Words. [line]")
        assert call[line + 1] == "caller  below its band [below]"

    def test_a_question_leading_into_the_harvest_is_found(self) -> None:
        draft = sound_draft()
        draft.route("high", unknown="coil")
        finding = the_finding(draft, "from high into the harvest at coil passes no junction")
        call = call_of(draft, finding)
        assert call[-3:] == [
            "desk    Words. [high]",
            "caller  could not be had [unknown]",
            "caution Mains. Live parts. [mains]",
        ]
        line = call.index("desk    Words. [line]")
        assert call[line + 1] == "caller  below its band [below]"

    def test_a_call_that_starts_in_the_harvest_is_found(self) -> None:
        draft = sound_draft()
        draft.start = "harvest"
        finding = the_finding(draft, "starts the call in the harvest")
        assert call_of(draft, finding)[1:] == [
            "caution Gauges. Refrigerant under pressure. [gauges]"
        ]

    def test_a_harvest_cause_concluded_in_the_freeze_is_found(self) -> None:
        draft = sound_draft()
        draft.route("pattern", thin_at_outlet="feed")
        draft.route("flow", poor="charge")
        finding = the_finding(draft, "ending feed concludes feed_failed on a freeze not known")
        assert finding.path == ("who", "room", "which", "bridge", "time", "pattern", "feed")
        assert call_of(draft, finding)[-3:] == [
            "desk    Words. [pattern]",
            "caller  thin at the outlet [thin_at_outlet]",
            "ends    concludes: receiver vapor feed failed [feed]",
        ]


class TestCoilCheck:
    def test_a_valve_condemned_without_the_coil_asked_is_found(self) -> None:
        draft = sound_draft()
        del draft.questions["coil"]
        draft.junctions["is_freeze_sound"][1][0].then = "harvest"
        finding = the_finding(draft, "ending feed concludes feed_failed without a good coil check")
        assert call_of(draft, finding)[-4:] == [
            FREEZE_IS_CALLED_SOUND,
            "desk    Words. [harvest]",
            "caller  below its band [below]",
            "ends    concludes: receiver vapor feed failed [feed]",
        ]

    @pytest.mark.parametrize(
        ("outcome", "answer"),
        [
            ("below", "below its band [below]"),
            ("above", "above its band [above]"),
            ("unknown", "could not be had [unknown]"),
        ],
    )
    def test_a_valve_condemned_on_a_coil_supply_not_good_is_found(
        self, outcome: str, answer: str
    ) -> None:
        draft = sound_draft()
        draft.route("coil", **{outcome: "harvest"})
        finding = the_finding(draft, r"without a good coil check \(coil_voltage: within\)")
        assert call_of(draft, finding)[-6:] == [
            "caution Mains. Live parts. [mains]",
            "desk    Words. [coil]",
            f"caller  {answer}",
            "desk    Words. [harvest]",
            "caller  below its band [below]",
            "ends    concludes: receiver vapor feed failed [feed]",
        ]

    def test_a_later_rule_that_demands_a_good_supply_is_enough(self) -> None:
        draft = sound_draft()
        draft.questions["coil"] = ("coil_voltage", "harvest", {"else": "harvest"})
        draft.route("harvest", below="is_supply_good")
        rule = Rule("feed", {"coil_voltage": "within"})
        draft.junctions["is_supply_good"] = ("harvest", [rule], "hand_on")
        assert findings(draft) == []

    def test_a_rule_nobody_needs_to_meet_shows_no_caller_but_is_found(self) -> None:
        """The routes before it keep a bad coil away today; nothing at the ending does."""
        draft = sound_draft()
        draft.questions["coil"] = ("coil_voltage", "harvest", {"else": "harvest"})
        draft.route("harvest", below="is_supply_bad")
        rule = Rule("hand_on", {"coil_voltage": "[below, above, unknown]"})
        draft.junctions["is_supply_bad"] = ("harvest", [rule], "feed")
        call = call_of(draft, the_finding(draft, "feed_failed without a good coil check"))
        assert call[:2] == [
            "Whoever comes this way today has the readings for it. But nothing on the way",
            "demands them, and the next edit can let others in.",
        ]
        assert call[-2:] == [
            "because none of its rules holds [is_supply_bad]",
            "ends    concludes: receiver vapor feed failed [feed]",
        ]

    def test_a_valve_on_the_parts_list_alone_counts_as_condemned(self) -> None:
        draft = sound_draft()
        condemned = "    condemns: [receiver_vapor_regulator, receiver_vapor_solenoid]\n"
        assert condemned in CAUSES
        draft.files["causes.yaml"] = CAUSES.replace(condemned, "")
        draft.route("coil", unknown="harvest")
        finding = the_finding(draft, "ending feed concludes feed_failed without a good coil check")
        assert "caller  could not be had [unknown]" in call_of(draft, finding)


def water_draft() -> Draft:
    """Return a tree that condemns the water inlet valve in the harvest of the miniature."""
    draft = sound_draft()
    draft.files["readings.yaml"] = READINGS + (
        "  inlet_coil_voltage: {name: inlet coil supply, kind: voltage, licensed: true, "
        "banded: true, cautions: [mains]}\n"
    )
    draft.files["causes.yaml"] = CAUSES + (
        "  inlet_shut:\n    name: water inlet valve does not open\n    side: around\n"
        "    explanation: No water.\n    repair: Replace the valve.\n"
        "    replace_together: [water inlet valve with strainer]\n    machine_state: Off.\n"
        "    verify: [Watch a fill.]\n    who: A licensed technician.\n    hazards: [mains]\n"
    )
    draft.causes["inlet_shut"] = "5"
    draft.endings["inlet"] = "causes: [inlet_shut]"
    draft.ask("inlet_coil", "inlet_coil_voltage", "site", within="inlet", else_="hand_on")
    draft.route("which", unknown="inlet_coil")
    return draft


class TestInletCoilCheck:
    def test_an_inlet_valve_is_condemned_on_a_good_coil_of_its_own(self) -> None:
        assert findings(water_draft()) == []

    @pytest.mark.parametrize("outcome", ["below", "above", "unknown"])
    def test_an_inlet_valve_condemned_on_a_coil_not_good_is_found(self, outcome: str) -> None:
        draft = water_draft()
        draft.route("inlet_coil", **{outcome: "inlet"})
        finding = the_finding(
            draft, r"inlet concludes inlet_shut without a good coil check \(inlet_coil_voltage: wit"
        )
        assert call_of(draft, finding)[-4:] == [
            "caution Mains. Live parts. [mains]",
            "desk    Words. [inlet_coil]",
            {
                "below": "caller  below its band [below]",
                "above": "caller  above its band [above]",
                "unknown": "caller  could not be had [unknown]",
            }[outcome],
            "ends    concludes: water inlet valve does not open [inlet]",
        ]

    def test_the_coil_of_a_harvest_valve_clears_no_inlet_valve(self) -> None:
        draft = water_draft()
        _, _, routes = draft.questions["inlet_coil"]
        draft.questions["inlet_coil"] = ("coil_voltage", "site", routes)
        the_finding(draft, "inlet concludes inlet_shut without a good coil check")

    def test_a_valve_that_leaks_needs_no_voltage_at_its_coil(self) -> None:
        draft = water_draft()
        causes = draft.files["causes.yaml"].replace("inlet_shut", "water_inlet_leaking")
        draft.files["causes.yaml"] = causes
        draft.causes["water_inlet_leaking"] = draft.causes.pop("inlet_shut")
        draft.endings["inlet"] = "causes: [water_inlet_leaking]"
        draft.route("inlet_coil", else_="inlet")
        assert findings(draft) == []


class TestPeople:
    def test_licensed_work_before_the_qualification_is_found(self) -> None:
        draft = sound_draft()
        skip(draft, "who")
        draft.start = "room"
        finding = the_finding(
            draft, r"question line is for licensed hands and can be asked before caller_qualif"
        )
        assert "(and 5 more)" in finding.message
        assert call_of(draft, finding)[-2:] == [
            "caution Hot lines. The line burns. [hot_lines]",
            "desk    Words. [line]",
        ]

    def test_a_question_with_a_way_round_its_caution_is_found(
        self, graph: nx.DiGraph[str], content: Content
    ) -> None:
        graph.add_edge("leak", "caution:gauges@early", outcomes=frozenset(), rules=())
        finding = the_finding_on(graph, content, "without the caution")
        assert finding.message == (
            "question early can be asked without the caution hot_lines before it"
        )
        assert call_on(graph, content, finding)[-4:] == [
            "desk    Words. [leak]",
            "caller  none [tight]",
            "caution Gauges. Refrigerant under pressure. [gauges]",
            "desk    Words. [early]",
        ]

    def test_a_question_whose_caution_is_gone_is_found(
        self, graph: nx.DiGraph[str], content: Content
    ) -> None:
        graph.add_edge("line", "caution:gauges@early", outcomes=frozenset(), rules=())
        graph.remove_node("caution:hot_lines@early")
        finding = the_finding_on(graph, content, "early .* the caution hot_lines before it")
        assert finding.path[-3:] == ("line", "caution:gauges@early", "early")

    def test_many_ways_round_one_caution_are_one_finding(
        self, graph: nx.DiGraph[str], content: Content
    ) -> None:
        for question in ("early", "late", "high"):
            graph.add_edge("leak", question, outcomes=frozenset(), rules=())
        finding = the_finding_on(graph, content, "early can .* the caution gauges before it")
        assert finding.message.endswith(" (and 2 more)")

    def test_a_recommendation_with_a_way_round_its_gate_is_found(
        self, graph: nx.DiGraph[str], content: Content
    ) -> None:
        graph.add_edge("feed", "recommendation:feed", outcomes=frozenset(), rules=())
        finding = the_finding_on(graph, content, "its gate")
        assert call_on(graph, content, finding)[-2:] == [
            "ends    concludes: receiver vapor feed failed [feed]",
            "ends    tells the repair for: receiver vapor feed failed [recommendation:feed]",
        ]

    def test_the_gate_of_another_ending_opens_nothing(
        self, graph: nx.DiGraph[str], content: Content
    ) -> None:
        graph.add_edge("gate:charge", "recommendation:feed", outcomes=frozenset(), rules=())
        finding = the_finding_on(graph, content, "without its gate")
        assert call_on(graph, content, finding)[-3:] == [
            "ends    concludes: too little refrigerant [charge]",
            "caution each caution of the repair, one by one [gate:charge]",
            "ends    tells the repair for: receiver vapor feed failed [recommendation:feed]",
        ]

    def test_a_conclusion_without_a_recommendation_is_found(
        self, graph: nx.DiGraph[str], content: Content
    ) -> None:
        graph.remove_node("recommendation:feed")
        finding = the_finding_on(graph, content, "^ending feed has no recommendation$")
        assert call_on(graph, content, finding)[-1] == (
            "ends    concludes: receiver vapor feed failed [feed]"
        )

    def test_a_reading_for_licensed_hands_is_not_asked_of_anybody_else(self) -> None:
        draft = sound_draft()
        draft.questions["who"][2].clear()
        draft.route("who", licensed="hand_on", else_="room")
        draft.route("high", unknown="coil")
        call = call_of(draft, the_finding(draft, "from high into the harvest at coil"))
        assert call[1:3] == ["desk    Words. [who]", "caller  anyone else [unlicensed]"]
        asks_nothing = "desk    asks nothing here: this is for a licensed caller"
        assert [line for line in call if "licensed caller" in line] == [
            f"{asks_nothing} [{name}]" for name in ("line", "early", "late", "high")
        ]
        assert not any(line.startswith("caution") for line in call)
