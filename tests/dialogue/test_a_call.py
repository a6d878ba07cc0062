"""Whole calls through the engine, each a conversation and where it must end."""

from __future__ import annotations

import pytest

from tests.conversation import FEED_FAILED, SOUND_FREEZE, ending, shipped_engine
from triage.dialogue.result import result_of
from triage.dialogue.view import Agreement, Escalated, Recommended, Withheld

HARVEST = {key: FEED_FAILED[key] for key in FEED_FAILED if key not in SOUND_FREEZE}


def test_both_harvest_pressures_low_on_a_sound_freeze_is_the_receiver_vapor_feed() -> None:
    # Common practice, no source: regulator and solenoid are one repair; the machine stays off.
    end, _ = ending(FEED_FAILED)
    assert isinstance(end, Recommended)
    assert end.conclusion.causes == ("receiver_vapor_feed_failed",)
    assert end.conclusion.agreement is Agreement.AGREE
    parts = " ".join(end.recommendation.replace_together)
    assert "regulator" in parts
    assert "solenoid" in parts
    assert "off" in end.recommendation.machine_state[0]


def test_a_recommendation_says_what_to_see_after_the_repair() -> None:
    end, _ = ending(FEED_FAILED)
    assert isinstance(end, Recommended)
    expected = {item.reading.id for item in end.recommendation.expected_after_repair}
    assert {"harvest_suction_pressure", "harvest_discharge_pressure", "batch_ice_mass"} <= expected
    verify = " ".join(end.recommendation.verify).lower()
    assert "two full cycles" in verify
    assert "discard" in verify


@pytest.mark.parametrize(
    ("changed", "cause"),
    [
        pytest.param(
            {"coil_voltage": "0 V", "harvest_discharge_pressure": "300 psi"},
            "harvest_coil_unpowered",
            id="no voltage at the coil",
        ),
        pytest.param(
            {
                "coil_voltage": "15 V",
                "coil_pulls_in": "no",
                "harvest_discharge_pressure": "300",
                "hot_gas_line_temperature": "45 F",
                "manifold_test_result": "no change",
            },
            "coil_supply_low",
            id="15 V at a 24 V coil",
        ),
        pytest.param(
            {"coil_resistance": "OL", "coil_pulls_in": "no", "harvest_discharge_pressure": "300"},
            "harvest_coil_open",
            id="open winding",
        ),
        pytest.param(
            {
                "harvest_suction_pressure": "60 psi",
                "harvest_discharge_pressure": "320 psi",
                "hot_gas_line_temperature": "60 F",
            },
            "hot_gas_valve_not_opening",
            id="suction low, discharge up, cold line",
        ),
        pytest.param(
            {
                "harvest_suction_pressure": "127 psi",
                "harvest_discharge_pressure": "176 psi",
                "slab_loose_but_hanging": "loose",
                "plate_condition": "clean",
                "vacuum_break_running": "no",
            },
            "vacuum_break_failed",
            id="loose slab, air pump dead",
        ),
        pytest.param(
            {
                "harvest_suction_pressure": "127 psi",
                "harvest_discharge_pressure": "176 psi",
                "slab_loose_but_hanging": "loose",
                "plate_condition": "scaled",
                "vacuum_break_running": "yes",
            },
            "plate_scaled_or_damaged",
            id="loose slab, scaled plate",
        ),
    ],
)
def test_harvest_look_alikes_are_told_apart(changed: dict[str, str], cause: str) -> None:
    end, _ = ending({**FEED_FAILED, **changed})
    assert isinstance(end, Recommended), end
    assert end.conclusion.causes == (cause,)


@pytest.mark.parametrize(
    ("changed", "cause"),
    [
        pytest.param(
            {
                "ice_pattern": "thin at the outlet",
                "freeze_time": "19:00",
                "freeze_suction_pressure_early": "50 psi",
                "freeze_suction_pressure_late": "20 psi",
                "freeze_discharge_pressure": "240 psi",
                "liquid_subcooling": "0 F",
                "suction_superheat": "25 F",
                "discharge_line_temperature": "190 F",
            },
            "refrigerant_undercharge",
            id="low on both sides, no subcooling",
        ),
        pytest.param(
            {
                "freeze_suction_pressure_late": "60 psi",
                "freeze_suction_pressure_early": "95 psi",
                "discharge_line_temperature": "110 F",
                "suction_superheat": "0 F",
                "hot_gas_line_in_freeze": "cold",
            },
            "expansion_valve_flooding",
            id="high suction, cool discharge line, no superheat",
        ),
        pytest.param(
            {"freeze_discharge_pressure": "430 psi", "liquid_subcooling": "4 F",
             "discharge_line_temperature": "215 F"},
            "condenser_airflow_poor",
            id="high discharge, no extra subcooling",
        ),
        pytest.param(
            {"water_flow_over_plate": "none", "ice_pattern": "patchy"},
            "water_flow_poor",
            id="no water over the plate",
        ),
        pytest.param({"water_leaking_into_sump": "yes"}, "water_inlet_leaking", id="inlet leaks"),
    ],
)  # fmt: skip
def test_a_freeze_fault_ends_in_its_own_recommendation(changed: dict[str, str], cause: str) -> None:
    end, case = ending({**FEED_FAILED, **changed})
    assert isinstance(end, Recommended), end
    assert end.conclusion.causes == (cause,)
    asked = shipped_engine().path(case)
    assert not any(node.startswith("harvest") for node in asked), "no harvest question was put"


NO_TEST = {"manifold_test_result": "can't reach the port"}
NOT_ON_FILE = {
    "machine": "unknown", "coil_nominal_voltage": "24 V", "receiver_vapor_feed_fitted": "unknown",
}  # fmt: skip
NO_COIL = {"coil_resistance": "unknown", "coil_pulls_in": "unknown"}


@pytest.mark.parametrize(
    ("changed", "ending_id", "recommends"),
    [
        pytest.param(
            NO_TEST, "harvest.feed_unconfirmed_cold_line", True, id="coils good, line cold"
        ),
        pytest.param(
            {**NO_TEST, "hot_gas_line_temperature": "106 F"}, "harvest.feed_unconfirmed", True,
            id="coils good",
        ),
        pytest.param(
            {**NO_TEST, **NOT_ON_FILE, "condenser_kind": "remote"},
            "harvest.feed_unconfirmed_not_seen", True, id="feed not seen, remote condenser",
        ),
        pytest.param(
            {**NO_TEST, **NOT_ON_FILE, "condenser_kind": "air"}, "harvest.feed_not_seen", False,
            id="feed not seen, condenser inside",
        ),
        pytest.param(
            {**NOT_ON_FILE, "condenser_kind": "air"}, "harvest.feed_confirmed", True,
            id="feed not seen, but proved by the test",
        ),
        pytest.param(
            {**NO_TEST, **NO_COIL}, "harvest.feed_coil_not_known", False, id="coils not known"
        ),
        pytest.param(
            NO_COIL, "harvest.feed_confirmed_coil_not_known", True,
            id="coils not known, but the test proves the feed",
        ),
    ],
)  # fmt: skip
def test_the_feed_is_blamed_only_where_it_is_and_its_coil_is_good_or_a_test_proved_it(
    changed: dict[str, str], ending_id: str, recommends: bool
) -> None:
    end, _ = ending({**FEED_FAILED, **changed})
    assert isinstance(end, Recommended if recommends else Escalated), end
    assert end.node == ending_id


@pytest.mark.parametrize(
    ("clicks", "changed", "ending_id"),
    [
        ("only the hot gas one", {}, "harvest.feed_valve_silent"),
        ("only the feed", {}, "harvest.hot_gas_valve_silent"),
        ("none clicks", {}, "harvest.no_valve_clicks"),
        ("only the feed", {"hot_gas_line_temperature": "106 F"}, "harvest.clicks_do_not_fit"),
        ("none clicks", {"coil_resistance": "unknown"}, "harvest.coil.coil_does_not_pull"),
        (
            "only the feed",
            {"harvest_discharge_pressure": "unknown"},
            "harvest.harvest_not_measured",
        ),
    ],
)
def test_a_powered_sound_coil_that_does_not_click_is_followed_up(
    clicks: str, changed: dict[str, str], ending_id: str
) -> None:
    end, _ = ending({**FEED_FAILED, "coil_pulls_in": clicks, **changed})
    assert isinstance(end, Recommended | Escalated)
    assert end.node == ending_id


def test_a_fan_that_stands_still_ends_the_call_before_any_gauge() -> None:
    end, case = ending({**FEED_FAILED, "condenser_fan_state": "stopped"})
    assert isinstance(end, Recommended)
    assert end.conclusion.causes == ("condenser_airflow_poor",)
    assert end.cautions[0].id == "switch_off_now"
    assert "freeze_suction_pressure_early" not in case.answers


def test_an_owner_whose_fan_stands_still_switches_off_and_hands_over() -> None:
    owner = {"condenser_fan_state": "stopped", "caller_qualification": "no"}
    end, _ = ending({**FEED_FAILED, **owner})
    assert isinstance(end, Escalated)
    assert end.node == "freeze.unlicensed_fan_stopped"
    assert end.machine_state[0].startswith("Switch the machine off now at the disconnect")


def test_without_the_discharge_line_no_harvest_part_is_condemned() -> None:
    end, case = ending({**FEED_FAILED, "discharge_line_temperature": "unknown no probe"})
    assert isinstance(end, Escalated)
    assert "harvest_suction_pressure" not in case.answers


def test_without_the_coil_supply_no_valve_is_condemned() -> None:
    end, _ = ending({**FEED_FAILED, "coil_voltage": "can't reach it"})
    assert isinstance(end, Escalated)
    assert end.machine_state
    assert end.call_whom


def test_an_unlicensed_caller_is_never_asked_for_gauges_or_meters() -> None:
    end, case = ending({**FEED_FAILED, "caller_qualification": "no, I own the place"})
    engine = shipped_engine()
    assert not isinstance(end, Recommended)
    asked = {engine.tree.questions[node].reading for node in engine.path(case)}
    assert not any(engine.content.readings[reading].is_licensed for reading in asked)


def test_a_caller_who_does_not_know_is_treated_as_unlicensed() -> None:
    end, case = ending({**FEED_FAILED, "caller_qualification": "unknown"})
    assert not isinstance(end, Recommended)
    assert not case.is_licensed


def test_a_refused_caution_withholds_the_repair_but_tells_the_safe_state() -> None:
    end, case = ending(FEED_FAILED, acknowledge=("licensed_practice",))
    assert isinstance(end, Withheld)
    assert end.machine_state
    told = str(result_of(shipped_engine(), "s", case))
    repair = shipped_engine().content.causes["receiver_vapor_feed_failed"].repair
    assert repair not in told


def test_a_machine_not_on_file_is_judged_as_a_typical_one() -> None:
    end, case = ending({**FEED_FAILED, "machine": "unknown", "condenser_kind": "remote"})
    late = next(
        finding
        for finding in shipped_engine().findings(case)
        if finding.reading.id == "freeze_suction_pressure_late"
    )
    assert late.band is not None
    assert late.band.basis.kind.value == "adapted" or "typical" in str(late.band.basis)
    assert not isinstance(end, Withheld)
