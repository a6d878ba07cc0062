"""Questions beyond the path, and calls that end early, keep to the order the tree is proved for.

Most facts are held against a hundred made-up calls, each led to its end; the searches for an
exception are Hypothesis's.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from functools import cache

import pytest
from hypothesis import given

from tests.conversation import FEED_FAILED, opened, shipped_engine
from tests.conversation import ending as scripted_ending
from tests.dialogue.calls import Caller, Turn, caller_by_number, callers, turns_of
from tests.dialogue.told import SHIPPED, by_id
from tests.strategies import FIXED
from tests.tree.hand_made import with_likelihoods
from tests.tree.miniature import sound_draft
from triage.dialogue import ends, gate, second_thoughts
from triage.dialogue.case import QUALIFICATION, Case, fold
from triage.dialogue.conclude import agreement_of, conclude
from triage.dialogue.ends import end_of_call
from triage.dialogue.engine import Engine
from triage.dialogue.events import Acknowledged, Answered, Event, Refused, Started
from triage.dialogue.guide import askable, settled
from triage.dialogue.view import (
    Agreement,
    AskCaution,
    AskQuestion,
    Escalated,
    Recommended,
    Verdict,
    Withheld,
)
from triage.dialogue.walk import Spot, walk
from triage.dialogue.worth import best_decision
from triage.tree.content import UNKNOWN, Ending, Side, Stage
from triage.tree.graph import NodeKind

ENGINE = shipped_engine()
TREE = ENGINE.tree
ORDER = list(Stage)
FREEZE_CAUSES = [key for key, cause in SHIPPED.causes.items() if cause.side is Side.FREEZE]
HARVEST_VALVES = ("receiver_vapor_feed_failed", "hot_gas_valve_not_opening")


@cache
def calls() -> tuple[tuple[Caller, tuple[Turn, ...]], ...]:
    """Return a hundred and fifty calls, the same in every test."""
    made_up = map(caller_by_number, range(150))
    return tuple((caller, tuple(turns_of(caller))) for caller in made_up)


def licensed() -> Case:
    """Return a call of which nothing is known but that the caller is licensed."""
    return fold([Answered(QUALIFICATION, "", "licensed")], opened())


def spot_of(case: Case) -> Spot:
    return walk(ENGINE.graph, SHIPPED, case)


def latest_stage(spot: Spot) -> Stage:
    """Return the latest stage of the questions the path went through."""
    stages = [TREE.questions[node].stage for node in spot.path if node in TREE.questions]
    return max(stages, key=ORDER.index)


def put_beyond_the_path() -> Iterator[tuple[Turn, Spot, str]]:
    """Yield the prompts that ask for something the path does not ask for now, with its question."""
    for _, turns in calls():
        for turn in turns:
            if not isinstance(turn.prompt, AskQuestion | AskCaution):
                continue
            spot = spot_of(turn.case)
            question = turn.prompt.node.rpartition("@")[2]
            if turn.prompt.node != spot.node and question in TREE.questions:
                yield turn, spot, question


def test_the_calls_go_every_way_there_is() -> None:
    # Else the facts below would hold of nothing.
    ends = [turns[-1] for _, turns in calls()]
    assert {type(turn.prompt) for turn in ends} == {Recommended, Withheld, Escalated}
    assert any(spot_of(turn.case).node not in TREE.endings for turn in ends), "none ends early"
    spots = [spot for _, spot, _ in put_beyond_the_path()]
    assert any(spot.node in TREE.endings for spot in spots), "nothing is asked at an ending"
    assert any(spot.node not in TREE.endings for spot in spots), "or before the harvest"
    agreements = {turn.prompt.conclusion.agreement for turn in ends}  # type: ignore[union-attr]
    assert Agreement.READINGS in agreements


def test_no_question_beyond_the_path_is_of_a_later_stage_than_the_path() -> None:
    for turn, spot, question in put_beyond_the_path():
        stage = TREE.questions[question].stage
        assert stage in (Stage.FREEZE, Stage.HARVEST), turn.prompt
        assert ORDER.index(stage) <= ORDER.index(latest_stage(spot)), turn.prompt


def test_what_is_asked_on_the_doorstep_of_the_harvest_is_about_the_freeze() -> None:
    for turn, spot, question in put_beyond_the_path():
        if latest_stage(spot) is Stage.FREEZE:
            assert TREE.questions[question].stage is Stage.FREEZE, turn.prompt


def test_no_reading_is_asked_for_twice() -> None:
    for caller, turns in calls():
        asked = [turn.prompt.reading.id for turn in turns if isinstance(turn.prompt, AskQuestion)]
        assert len(asked) == len(set(asked)), caller


def test_what_is_known_is_not_asked_for() -> None:
    for _, turns in calls():
        for turn in turns:
            if isinstance(turn.prompt, AskQuestion):
                known = {item.reading.id for item in ENGINE.findings(turn.case)}
                assert turn.prompt.reading.id not in known


def test_a_reading_behind_a_refused_caution_is_not_asked_for_again() -> None:
    refusals = 0
    for caller, turns in calls():
        refused: set[str] = set()
        for turn in turns:
            match turn.prompt:
                case AskQuestion(reading=reading):
                    assert not refused.intersection(reading.cautions), caller
                case AskCaution(caution=caution, seal=""):
                    assert caution.id not in refused, caller
                    if caution.id in caller.refuses:
                        refused.add(caution.id)
                        refusals += 1
    assert refusals > 3


def test_no_unlicensed_caller_is_asked_for_licensed_work() -> None:
    unlicensed = [turns for caller, turns in calls() if not caller.is_licensed]
    assert len(unlicensed) > 5
    for turns in unlicensed:
        for turn in turns:
            if isinstance(turn.prompt, AskQuestion):
                assert not turn.prompt.reading.is_licensed
            if isinstance(turn.prompt, AskCaution) and not turn.prompt.seal:
                question = TREE.questions[turn.prompt.node.rpartition("@")[2]]
                assert not SHIPPED.readings[question.reading].is_licensed


def test_each_hazardous_reading_comes_after_each_of_its_cautions() -> None:
    for caller, turns in calls():
        for turn in turns:
            if isinstance(turn.prompt, AskQuestion):
                for caution in turn.prompt.reading.cautions:
                    is_in_force = gate.applies(SHIPPED, turn.case, SHIPPED.cautions[caution])
                    assert not is_in_force or (caution, "") in turn.case.acknowledged, caller


def test_nothing_more_is_asked_where_the_machine_has_to_be_switched_off_at_once() -> None:
    # Common practice, no source: heat that does not leave can burst a part while one goes on
    # measuring. The path has concluded; the caution to switch off comes next.
    urgent = 0
    for caller, _ in calls():
        still = replace(caller, finds={**caller.finds, "condenser_fan_state": "stopped"})
        for turn in turns_of(still):
            spot = spot_of(turn.case)
            if spot.node not in TREE.endings:
                continue
            causes = [SHIPPED.causes[cause] for cause in TREE.endings[spot.node].causes]
            if any("high_head" in cause.hazards for cause in causes):
                urgent += 1
                assert not isinstance(turn.prompt, AskQuestion), (spot.node, turn.prompt.node)
    assert urgent > 20


def test_a_conclusion_all_readings_contradict_still_leaves_the_machine_safe(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    # The fan stands still, and everything else says no fault: the machine is not left running.
    monkeypatch.setattr(second_thoughts, "is_contradicted", lambda _: True)
    monkeypatch.setattr(ends, "shortlist", lambda *_: ("healthy",))
    case = fold([Answered("condenser_fan_state", "", "stopped")], licensed())
    found = by_id({"condenser_fan_state": "stopped", "freeze_discharge_pressure": "middle"})
    ending = TREE.endings["freeze.fan_stands_still"]
    end = end_of_call(SHIPPED, TREE, ending, case, found, Stage.MACHINE)
    assert isinstance(end, Escalated)
    airflow, healthy = SHIPPED.causes["condenser_airflow_poor"], SHIPPED.causes["healthy"]
    assert ending.causes == (airflow.id,)
    assert airflow.machine_state in end.machine_state
    assert airflow.who in end.call_whom
    assert healthy.machine_state not in end.machine_state
    assert healthy.who not in end.call_whom


def test_nobody_is_asked_for_licensed_work_while_it_is_not_known_who_calls() -> None:
    # A tree may ask who is calling only right before the first licensed reading.
    draft = sound_draft()
    draft.start = "room"
    draft.route("leak", else_="who")
    draft.route("who", else_="line")
    content = draft.content()
    tree = content.trees["sticks"]
    assert QUALIFICATION not in opened().answers
    readings = askable(content, tree, opened(), Stage.FREEZE)
    assert not [key for key in readings if content.readings[key].is_licensed]
    assert "ice_pattern" in readings
    told = fold([Answered(QUALIFICATION, "", "licensed")], opened())
    assert "discharge_line_temperature" in askable(content, tree, told, Stage.FREEZE)


def test_an_ending_before_it_is_known_who_calls_asks_for_no_gauge() -> None:
    draft = sound_draft()
    draft.start = "room"
    draft.route("leak", else_="who")
    draft.route("who", else_="line")
    # A discharge line would tell the two causes apart; the look at the ice alone does not.
    content = with_likelihoods(
        draft.content(),
        {
            "thin_charge": [(1.0, {"discharge_line_temperature": {"far_above": 1.0}})],
            "feed_failed": [(1.0, {"discharge_line_temperature": {"middle": 1.0}})],
        },
    )
    engine = Engine(content, "sticks")
    events: list[Event] = [Started("sticks", content.version, "agent", "us")]
    for reading, value in (
        ("ambient_air_temperature", 294.0), ("ice_bridge_thickness", None), ("freeze_time", None),
        ("ice_pattern", "thin_at_outlet"),
    ):  # fmt: skip
        events.append(Answered(reading, "", value))
    prompt = engine.prompt(fold(events))
    if isinstance(prompt, AskQuestion):
        assert not prompt.reading.is_licensed
    if isinstance(prompt, AskCaution):
        assert prompt.seal, "a caution of a licensed reading is put to somebody unknown"


# The early end.


def ending_with_nothing_more(case: Case) -> str:
    """Return the ending a call comes to if the caller has nothing more to tell from here on."""
    while True:
        node = spot_of(case).node
        facts = ENGINE.graph.nodes[node]
        if facts["kind"] is NodeKind.ENDING:
            return node
        if facts["kind"] is NodeKind.CAUTION:
            case = fold([Acknowledged(facts["subject"], "", "")], case)
        else:
            case = fold([Answered(facts["reading"], "", None, "not to be had")], case)


def test_a_call_ends_early_only_where_the_path_would_come_to_with_nothing_more() -> None:
    early = 0
    for caller, turns in calls():
        case, prompt = turns[-1].case, turns[-1].prompt
        assert isinstance(prompt, Recommended | Withheld | Escalated)
        if spot_of(case).node not in TREE.endings:
            early += 1
            assert prompt.conclusion.ending.id == ending_with_nothing_more(case), caller
            told = set(prompt.conclusion.causes)
            possible = TREE.endings[prompt.conclusion.ending.id].possible_causes
            assert told <= set(possible)
            # All readings together have settled on what may be told there, not on something else.
            found = {item.reading.id: item for item in ENGINE.findings(case)}
            assert best_decision(SHIPPED, found, allowed=FREEZE_CAUSES).cause in possible
            assert all(SHIPPED.causes[cause].side is Side.FREEZE for cause in told)
    assert early > 3


def test_a_call_that_ends_late_ends_where_its_path_does() -> None:
    for caller, turns in calls():
        case, prompt = turns[-1].case, turns[-1].prompt
        if (node := spot_of(case).node) in TREE.endings:
            assert prompt.conclusion.ending.id == node, caller  # type: ignore[union-attr]


def test_a_plain_freeze_fault_is_decided_without_the_rest_of_the_freeze() -> None:
    # No water over the plate explains it all; gauges would only cost time.
    _, turns = next(
        (caller, turns)
        for caller, turns in calls()
        if isinstance(turns[-1].prompt, Recommended)
        and spot_of(turns[-1].case).node not in TREE.endings
    )
    asked = {turn.prompt.reading.id for turn in turns if isinstance(turn.prompt, AskQuestion)}
    freeze = {item.reading for item in TREE.questions.values() if item.stage is Stage.FREEZE}
    assert freeze - asked


# Every call.


@given(caller=callers())
@FIXED
def test_every_call_ends_and_condemns_no_sound_part(caller: Caller) -> None:
    turns = turns_of(caller)
    asked = [turn for turn in turns if isinstance(turn.prompt, AskQuestion)]
    assert len(asked) <= TREE.most_questions
    case, prompt = turns[-1].case, turns[-1].prompt
    if not isinstance(prompt, Recommended | Withheld):
        return
    found = {item.reading.id: item for item in ENGINE.findings(case)}
    causes = [SHIPPED.causes[cause] for cause in prompt.conclusion.causes]
    if any(cause.side is Side.HARVEST for cause in causes):
        assert latest_stage(spot_of(case)) in (Stage.HARVEST, Stage.CONFIRM)
        assert found["discharge_line_temperature"].outcome == "within"
        assert found["ice_pattern"].outcome == "even"
    if set(prompt.conclusion.causes).intersection(HARVEST_VALVES):
        assert found["coil_voltage"].outcome == "within"
    if "hot_gas_valve_leaking" in prompt.conclusion.causes:
        is_checked = "coil_voltage" in found and found["coil_voltage"].outcome == "within"
        hot = found.get("hot_gas_line_in_freeze")
        assert is_checked or (hot is not None and hot.outcome == "hot_coil_off")
    if isinstance(prompt, Recommended) and gate.needs_licensed_caller(
        SHIPPED, prompt.conclusion.ending
    ):
        assert caller.is_licensed


def test_no_freeze_repair_is_recommended_where_every_reading_is_as_it_should_be() -> None:
    for caller, _ in calls():
        sound = {
            key: found
            for key, found in caller.finds.items()
            if found in ("low", "middle", "high", UNKNOWN) or found in SHIPPED.readings[key].normal
        }
        prompt = turns_of(replace(caller, finds=sound))[-1].prompt
        if isinstance(prompt, Recommended):
            sides = {SHIPPED.causes[cause].side for cause in prompt.conclusion.causes}
            assert Side.FREEZE not in sides, (prompt.conclusion.causes, sound, caller.is_typical)


# What the readings settle.

SETTLING = [ending for ending in TREE.endings.values() if ending.settles]


@pytest.mark.parametrize("ending", SETTLING, ids=lambda item: item.id)
def test_nothing_is_settled_without_a_reading(ending: Ending) -> None:
    assert settled(SHIPPED, ending, {}) is None


def test_an_ending_that_settles_nothing_stays_open() -> None:
    told = by_id({"liquid_subcooling": "far_below", "suction_superheat": "far_above"})
    for ending in TREE.endings.values():
        if not ending.settles:
            assert settled(SHIPPED, ending, told) is None


def test_what_is_settled_is_one_of_the_causes_the_ending_names() -> None:
    found = 0
    for _, turns in calls():
        conclusion = turns[-1].prompt.conclusion  # type: ignore[union-attr]
        if conclusion.agreement is Agreement.READINGS:
            found += 1
            (cause,) = conclusion.causes
            assert cause in TREE.endings[conclusion.ending.id].settles
            assert conclusion.ending.escalate is None
            assert agreement_of(conclusion.ending, conclusion.ranked) is Agreement.READINGS
    assert found > 3


def test_acknowledgements_for_one_settled_cause_do_not_open_the_gate_for_another() -> None:
    ending = next(item for item in SETTLING if len(item.settles) > 2)
    case, seals = licensed(), {}
    for cause in ending.settles:
        concluded = replace(ending, causes=(cause,), escalate=None)
        cautions = gate.gate_cautions(SHIPPED, case, concluded)
        seals[cause] = gate.seal_of(SHIPPED, case, concluded, cautions)
        # Even where the cautions are word for word the same.
        same = gate.seal_of(SHIPPED, case, concluded, list(SHIPPED.cautions.values()))
        assert same not in seals.values()
    assert len(set(seals.values())) == len(ending.settles)


def test_the_gate_shuts_again_when_the_readings_settle_on_another_cause() -> None:
    ending = next(
        item for item in SETTLING
        if {"water_flow_poor", "bridge_set_thick"} <= set(item.settles)
    )  # fmt: skip
    case = licensed()
    one = replace(ending, settles=("water_flow_poor",))
    other = replace(ending, settles=("bridge_set_thick",))
    found = by_id({"water_flow_over_plate": "none", "ice_pattern": "patchy"})
    prompt = end_of_call(SHIPPED, TREE, one, case, found, Stage.MACHINE)
    while isinstance(prompt, AskCaution):
        case = fold([Acknowledged(prompt.caution.id, "yes", prompt.seal)], case)
        prompt = end_of_call(SHIPPED, TREE, one, case, found, Stage.MACHINE)
    assert isinstance(prompt, Recommended)
    assert prompt.conclusion.causes == ("water_flow_poor",)
    found = by_id({"ice_bridge_thickness": "far_above", "batch_ice_mass": "far_above",
                   "ice_pattern": "thick_or_bottom_heavy"})  # fmt: skip
    again = end_of_call(SHIPPED, TREE, other, case, found, Stage.MACHINE)
    assert isinstance(again, AskCaution)
    assert again.number == 1
    refused = fold([Refused(again.caution.id, "no", again.seal)], case)
    shut = end_of_call(SHIPPED, TREE, other, refused, found, Stage.MACHINE)
    assert isinstance(shut, Withheld)
    assert shut.conclusion.causes == ("bridge_set_thick",)


def test_a_settled_conclusion_says_that_all_readings_together_speak() -> None:
    ending = next(item for item in SETTLING if "water_flow_poor" in item.settles)
    found = by_id({"water_flow_over_plate": "none", "ice_pattern": "patchy"})
    concluded = settled(SHIPPED, ending, found)
    assert concluded is not None
    conclusion = conclude(SHIPPED, concluded, found, is_freeze_proven=False)
    assert conclusion.causes == ("water_flow_poor",)
    assert "All readings together speak for this" in concluded.because
    assert all(item.finding.verdict is not Verdict.UNKNOWN for item in conclusion.evidence_for)


def test_the_failed_feed_call_still_ends_in_its_recommendation() -> None:
    prompt, _ = scripted_ending(FEED_FAILED)
    assert isinstance(prompt, Recommended)
    assert prompt.conclusion.causes == ("receiver_vapor_feed_failed",)
