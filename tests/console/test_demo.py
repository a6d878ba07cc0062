"""The demo calls: invented, complete, and each ends as it says it does."""

from __future__ import annotations

from functools import cache
from pathlib import Path
from typing import Any, NamedTuple

import pytest
from rich.cells import cell_len

from tests.conversation import shipped_engine
from triage.console.answers_file import AnswersFile, load_answers
from triage.console.demo import RENDERED_WIDTH, demo_calls, render_call, run_call
from triage.console.scripted import NOT_CONFIRMED, NOT_IN_FILE, NOT_UNDERSTOOD
from triage.dialogue.result import result_of

FOLDER = Path(__file__).parent.parent.parent / "transcripts_demo"
REWRITE = "python -m triage demo --write transcripts_demo"
INVENTED = "# An invented call: the machine, the people and the place do not exist."

RECOMMENDED, WITHHELD, ESCALATED = "recommended", "withheld", "escalated"


class End(NamedTuple):
    """How a call must end, and the causes it must name."""

    result: str
    causes: tuple[str, ...] = ()


ENDS = {
    # Both harvest pressures low on a sound freeze, coil supply good: regulator and solenoid of the
    # receiver vapor feed (common practice, no source).
    "01_receiver_vapor_feed_agent_us": End(RECOMMENDED, ("receiver_vapor_feed_failed",)),
    "02_receiver_vapor_feed_technician_si": End(RECOMMENDED, ("receiver_vapor_feed_failed",)),
    "03_undercharge_agent_us": End(RECOMMENDED, ("refrigerant_undercharge",)),
    "04_dirty_condenser_technician_si": End(RECOMMENDED, ("condenser_airflow_poor",)),
    "05_coil_without_voltage_agent_us": End(RECOMMENDED, ("harvest_coil_unpowered",)),
    "06_coil_supply_low_technician_us": End(RECOMMENDED, ("coil_supply_low",)),
    "07_air_pump_agent_si": End(RECOMMENDED, ("vacuum_break_failed",)),
    "08_owner_not_licensed_agent_us": End(ESCALATED),
    "09_bartender_water_agent_si": End(RECOMMENDED, ("water_inlet_leaking",)),
    "10_caution_refused_technician_us": End(WITHHELD, ("hot_gas_valve_not_opening",)),
    "11_no_discharge_line_agent_us": End(ESCALATED),
    "12_flammable_leaking_valve_technician_si": End(RECOMMENDED, ("hot_gas_valve_leaking",)),
    "13_not_on_file_agent_us": End(RECOMMENDED, ("plate_scaled_or_damaged",)),
    "14_hot_kitchen_agent_us": End(RECOMMENDED, ("makes_what_it_should",)),
    "15_charge_is_gone_technician_us": End(RECOMMENDED, ("refrigerant_undercharge",)),
    "16_condenser_tap_agent_si": End(RECOMMENDED, ("condenser_water_short",)),
    "17_slimy_flap_agent_us": End(RECOMMENDED, ("drop_sensor_blocked",)),
    "18_supply_sags_technician_us": End(RECOMMENDED, ("supply_low",)),
}

CALLS = tuple(path.stem for path in demo_calls(FOLDER))

each_call = pytest.mark.parametrize("name", CALLS)


@cache
def answers_of(name: str) -> AnswersFile:
    return load_answers(FOLDER / f"{name}.yaml", shipped_engine().content)


@cache
def result(name: str) -> dict[str, Any]:
    """Return a demo call as the object `--json` prints."""
    desk, _ = run_call(shipped_engine().content, answers_of(name), name)
    return result_of(desk.engine, name, desk.case)


def stored_text(name: str) -> str:
    return (FOLDER / f"{name}.txt").read_text(encoding="utf-8")


def flowing(text: str) -> str:
    """Return a transcript's words without frames and line breaks."""
    return " ".join(text.replace("┃", " ").replace("│", " ").split())


def finding(name: str, reading: str) -> dict[str, Any]:
    return next(item for item in result(name)["findings"] if item["reading"] == reading)


def is_licensed_call(name: str) -> bool:
    return bool(finding(name, "caller_qualification")["value"] == "licensed")


def sides(name: str) -> set[str]:
    """Return on which side, freeze or harvest, the causes of a recommendation lie."""
    if result(name)["result"] != RECOMMENDED:
        return set()
    causes = shipped_engine().content.causes
    return {causes[cause].side.value for cause in result(name)["conclusion"]["cause_ids"]}


# Every call for itself.


@each_call
def test_a_stored_transcript_is_what_the_program_shows_today(name: str) -> None:
    assert (FOLDER / f"{name}.txt").exists(), f"{name}.txt is missing; write it with {REWRITE}"
    fresh = render_call(shipped_engine().content, answers_of(name), name)
    assert stored_text(name) == fresh, f"{name}.txt is out of date; rewrite it with {REWRITE}"


@each_call
def test_a_call_ends_as_its_table_says(name: str) -> None:
    conclusion = result(name)["conclusion"]
    assert End(result(name)["result"], tuple(conclusion["cause_ids"])) == ENDS[name]


@each_call
def test_the_two_ways_agree_where_something_is_recommended(name: str) -> None:
    if ENDS[name].result != RECOMMENDED:
        assert result(name)["recommendation"] is None
        return
    conclusion = result(name)["conclusion"]
    assert conclusion["agreement"] == "agree"
    assert conclusion["ranked_causes"][0]["cause"] in conclusion["cause_ids"]


@each_call
def test_whatever_stands_in_the_file_is_heard_and_understood(name: str) -> None:
    findings = result(name)["findings"]
    stand_ins = {NOT_CONFIRMED, NOT_IN_FILE, NOT_UNDERSTOOD}
    assert not [item["reading"] for item in findings if item["typed"] in stand_ins]
    # The altitude is no question; it holds from the start of the call.
    said = set(answers_of(name).answers) - {"site_altitude"}
    assert said <= {item["reading"] for item in findings}


@each_call
def test_no_line_is_wider_than_80_columns(name: str) -> None:
    widest = max(stored_text(name).splitlines(), key=cell_len)
    assert cell_len(widest) <= RENDERED_WIDTH == 80, widest


@each_call
def test_a_call_says_in_its_first_line_that_it_is_invented(name: str) -> None:
    text = (FOLDER / f"{name}.yaml").read_text(encoding="utf-8")
    assert text.splitlines()[0] == INVENTED
    assert stored_text(name).startswith("Invented call: ")
    assert answers_of(name).about


@each_call
def test_a_repair_is_told_only_where_it_is_recommended(name: str) -> None:
    causes = shipped_engine().content.causes.values()
    told = {cause.id for cause in causes if cause.repair in flowing(stored_text(name))}
    assert told == (set(ENDS[name].causes) if ENDS[name].result == RECOMMENDED else set())


@each_call
def test_the_state_to_leave_the_machine_in_is_always_said(name: str) -> None:
    states = result(name)["machine_state"]
    assert states
    assert all(state in flowing(stored_text(name)) for state in states)


@each_call
def test_a_caller_without_a_license_is_asked_for_no_licensed_reading(name: str) -> None:
    if is_licensed_call(name):
        assert result(name)["path"]
        return
    engine = shipped_engine()
    tree = engine.content.trees[result(name)["tree"]]
    asked = {tree.questions[node].reading for node in result(name)["path"]}
    assert not [reading for reading in asked if engine.content.readings[reading].is_licensed]


@each_call
def test_on_a_freeze_that_is_not_sound_no_harvest_question_is_asked(name: str) -> None:
    tree = shipped_engine().content.trees[result(name)["tree"]]
    stages = [tree.questions[node].stage.value for node in result(name)["path"]]
    is_proven = not ({"freeze", "around"} & sides(name) or ENDS[name].result == ESCALATED)
    # What lies around the cycle may show before it or behind it.
    assert ("harvest" in stages) == is_proven or {"around", "none"} & sides(name)


# All calls together.


def test_every_call_has_an_end_in_the_table_and_no_transcript_stands_alone() -> None:
    assert set(CALLS) == set(ENDS)
    assert {path.stem for path in FOLDER.glob("*.txt")} == set(CALLS)


def test_there_are_at_least_eight_calls_and_the_first_is_the_main_job() -> None:
    assert len(CALLS) >= 8
    first = CALLS[0]
    assert ENDS[first].causes == ("receiver_vapor_feed_failed",)
    assert finding(first, "manifold_test_result")["value"] == "slab_released"


def test_both_voices_and_both_unit_systems_are_spoken() -> None:
    spoken = {(answers_of(name).voice, answers_of(name).units) for name in CALLS}
    assert {voice for voice, _ in spoken} == {"agent", "technician"}
    assert {units for _, units in spoken} == {"us", "si"}


def test_freeze_faults_and_harvest_faults_are_found() -> None:
    found = set().union(*(sides(name) for name in CALLS))
    assert {"freeze", "harvest"} <= found


def test_a_refused_caution_withholds_a_recommendation() -> None:
    withheld = [name for name in CALLS if result(name)["result"] == WITHHELD]
    refusing = [name for name in CALLS if answers_of(name).refuse]
    assert refusing
    assert set(refusing) <= set(withheld)
    for name in refusing:
        asked = {item["id"]: item["acknowledged"] for item in result(name)["cautions"]}
        assert [asked[caution] for caution in answers_of(name).refuse] == [False]


def test_callers_without_a_license_are_handed_over_or_told_what_staff_may_do() -> None:
    ends = {ENDS[name].result for name in CALLS if not is_licensed_call(name)}
    assert ends == {ESCALATED, RECOMMENDED}


def test_some_readings_cannot_be_had() -> None:
    without = {
        name
        for name in CALLS
        for item in result(name)["findings"]
        if item["verdict"] == "unknown" and item["source"] == "caller"
    }
    assert len(without) >= 3
    assert any(ENDS[name].result == RECOMMENDED for name in without)
    assert any(ENDS[name].result == ESCALATED for name in without)


def test_a_doubtful_reading_is_queried_and_said_again() -> None:
    assert [name for name in CALLS if "Did you read it so?" in flowing(stored_text(name))]
    assert [name for name in CALLS if "did you read it so?" in flowing(stored_text(name))]


def test_two_readings_in_one_breath_are_shown_back_one_by_one() -> None:
    assert "1 more to check after it" in flowing(stored_text(CALLS[0]))


def test_a_flammable_refrigerant_brings_its_caution_to_the_gate() -> None:
    flammable = {
        name
        for name in CALLS
        for item in result(name)["cautions"]
        if item["id"] == "flammable_a3" and item["at_gate"]
    }
    # R-290 is A3 and R-404A is A1 (ASHRAE 34).
    assert "12_flammable_leaking_valve_technician_si" in flammable
    assert "03_undercharge_agent_us" not in flammable


def test_a_machine_that_is_not_on_file_is_judged_as_a_typical_one_at_its_altitude() -> None:
    name = "13_not_on_file_agent_us"
    suction = finding(name, "harvest_suction_pressure")
    assert "not on file" in suction["basis"]
    # 5000 ft is 1524 m: 84.3 kPa by the US Standard Atmosphere 1976; a gauge counts from there.
    barometer_pa = suction["si_value"] - suction["value"] * 6894.757
    assert barometer_pa == pytest.approx(84_307.0, abs=60.0)
    assert result(name)["notes"]
