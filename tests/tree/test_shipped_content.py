"""The content that ships reads without a mistake and holds every promise."""

from __future__ import annotations

import random

import pytest

from triage.tree.content import UNKNOWN, Content, Side, Stage
from triage.tree.graph import NodeKind, build_graph, next_node, plan_tree
from triage.tree.load import load_content
from triage.tree.proofs import check_content
from triage.tree.proofs_of_order import FREEZE_HEALTH, FREEZE_SUCTIONS
from triage.tree.where import content_folder

TREE = "will_not_release"
CALLS = 20_000

FEED_FAULT, FEED_FITTED = "receiver_vapor_feed_failed", "receiver_vapor_feed_fitted"


@pytest.fixture(scope="module")
def content() -> Content:
    return load_content(content_folder())


def test_every_promise_holds(content: Content) -> None:
    check_content(content)


def test_every_freeze_health_reading_is_asked(content: Content) -> None:
    asked = {question.reading for question in content.trees[TREE].questions.values()}
    assert set(FREEZE_HEALTH) <= asked


def test_twenty_thousand_calls_condemn_nothing_unproven(content: Content) -> None:
    """Calls answered at random: mostly healthy, so that many come through to the harvest."""
    tree, plan = content.trees[TREE], plan_tree(content, TREE)
    graph = build_graph(content, TREE)
    chance = random.Random(20261125)
    ends: set[str] = set()
    for _ in range(CALLS):
        known: dict[str, str] = {}
        stages = []
        node: str | None = plan.start
        while node is not None:
            facts = plan.nodes[node]
            if facts.kind is NodeKind.QUESTION:
                question = tree.questions[node]
                stages.append(question.stage)
                reading = content.readings[question.reading]
                good = reading.normal or ("within",) if reading.is_banded else reading.normal
                is_good = bool(good) and chance.random() < 0.85
                known[reading.id] = chance.choice(good if is_good else reading.outcomes)
                if question.stage in (Stage.HARVEST, Stage.CONFIRM):
                    assert all(health in known for health in FREEZE_HEALTH)
            if facts.kind is NodeKind.ENDING:
                ends.add(node)
                _check_ending(content, tree.endings[node].causes, known)
            last, node = node, next_node(graph, node, known)
        assert plan.nodes[last].kind in (NodeKind.RECOMMENDATION, NodeKind.ENDING)
        assert len(stages) <= tree.most_questions
        assert stages == sorted(stages, key=list(Stage).index)
    assert len(ends) > len(tree.endings) // 2


def _check_ending(content: Content, causes: tuple[str, ...], known: dict[str, str]) -> None:
    if not any(content.causes[cause].side is Side.HARVEST for cause in causes):
        return
    assert known["discharge_line_temperature"] == "within"
    assert known["ice_pattern"] in content.readings["ice_pattern"].normal
    assert any(known[reading] == "within" for reading in FREEZE_SUCTIONS)
    for reading_id in FREEZE_HEALTH:
        reading = content.readings[reading_id]
        healthy = reading.normal or ("within",)
        assert known[reading_id] in (*healthy, UNKNOWN)
    if any("solenoid" in part or "hot_gas" in part for cause in causes
           for part in content.causes[cause].condemns):  # fmt: skip
        assert known["coil_voltage"] == "within"
    if FEED_FAULT in causes:
        assert known[FEED_FITTED] != "not_fitted"
        if known.get("manifold_test_result") != "slab_released":
            assert known[FEED_FITTED] == "fitted" or known["condenser_kind"] == "remote_air"
            assert known["coil_resistance"] == "within" or known["coil_pulls_in"] == "yes"


def test_on_a_machine_without_a_receiver_vapor_feed_nobody_tests_or_replaces_one(
    content: Content,
) -> None:
    tree, plan = content.trees[TREE], plan_tree(content, TREE)
    graph = build_graph(content, TREE)
    chance = random.Random(20261126)
    ends: set[str] = set()
    for _ in range(CALLS // 10):
        known = {
            reading.id: (reading.normal or ("within",))[0] if reading.id in FREEZE_HEALTH else ""
            for reading in content.readings.values()
        }
        known |= {"caller_qualification": "licensed", "complaint": "will_not_release"}
        known |= {"harvest_suction_pressure": "below", FEED_FITTED: "not_fitted"}
        known = {key: outcome for key, outcome in known.items() if outcome}
        node: str | None = plan.start
        while node is not None:
            facts = plan.nodes[node]
            if facts.kind is NodeKind.QUESTION:
                reading = content.readings[tree.questions[node].reading]
                assert reading.id != "manifold_test_result"
                known.setdefault(reading.id, chance.choice(reading.outcomes))
            if facts.kind is NodeKind.ENDING:
                ends.add(node)
                assert FEED_FAULT not in tree.endings[node].causes
            node = next_node(graph, node, known)
    assert {"harvest.low_pressures_without_feed", "harvest.low_suction_without_feed"} <= ends


def test_a_repair_that_measures_under_power_has_the_live_caution_at_its_gate(
    content: Content,
) -> None:
    measuring = {
        "harvest_coil_unpowered", "harvest_coil_open", "coil_supply_low", "vacuum_break_failed",
        "condenser_airflow_poor", "compressor_weak", "supply_missing", "supply_low",
        "pump_runs_in_harvest", "cutout_switch_drifted",
    }  # fmt: skip
    carrying = {item.id for item in content.causes.values() if "live_measurement" in item.hazards}
    assert carrying >= measuring
    # What staff may do themselves never measures under power.
    by_staff = {item.id for item in content.causes.values() if "staff" in item.who.lower()}
    assert by_staff
    assert not carrying & by_staff


def test_what_follows_a_pressure_too_high_begins_with_switching_off(content: Content) -> None:
    """Common practice, no source: nobody hears a repair out while the pressure still climbs."""
    first, tree = next(iter(content.cautions.values())), content.trees[TREE]
    assert first.text.startswith("Switch the machine off now")
    hot = {cause.id for cause in content.causes.values() if set(cause.hazards) & set(first.hazards)}
    assert hot >= {"condenser_airflow_poor", "refrigerant_overcharge", "condenser_water_short"}
    for other in content.trees.values():
        for ending in other.endings.values():
            if hot.intersection(ending.causes):
                start = "Switch the machine off now at the disconnect"
                assert ending.because.startswith(start), (other.id, ending.id)
    for name in (
        "freeze.high_head_unclear",
        "freeze.water_condenser_warm",
        "freeze.unlicensed_fan_stopped",
    ):
        assert tree.endings[name].machine_state.startswith("Switch the machine off now")


def test_after_the_confirming_test_the_hose_comes_off(content: Content) -> None:
    endings = content.trees[TREE].endings
    confirmed = (
        endings["harvest.feed_confirmed"],
        endings["harvest.feed_confirmed_coil_not_known"],
    )
    assert all(ending.because.startswith("Close the manifold") for ending in confirmed)
    for name in ("harvest.feed_not_confirmed", "harvest.test_stopped"):
        assert endings[name].machine_state.startswith("Close the manifold")


def test_what_touches_gas_or_live_parts_warns_of_a_flammable_refrigerant_first(
    content: Content,
) -> None:
    touching = {"gauges_under_pressure", "live_measurement", "manifold_test_limits"}
    warned = [item for item in content.readings.values() if touching.intersection(item.cautions)]
    assert len(warned) > 5
    for reading in warned:
        assert reading.cautions[:2] == ("flammable_a3", "flammable_a2l")


def test_advice_after_unknown_does_not_tell_to_say_unknown(content: Content) -> None:
    questions = content.trees[TREE].questions.values()
    assert not [item.id for item in questions if "say unknown" in item.if_unknown.lower()]
