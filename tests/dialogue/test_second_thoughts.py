"""What keeps a conclusion from being told: nothing is opened or condemned on thin evidence."""

from __future__ import annotations

from dataclasses import replace

import pytest

from tests.conversation import FEED_FAILED, ending, opened, shipped_engine
from triage.console.answers_file import AnswersFile
from triage.console.scripted import Script
from triage.dialogue.case import fold
from triage.dialogue.second_thoughts import must_not_disagree
from triage.dialogue.view import END_PROMPTS, Agreement, AskQuestion, Escalated, Recommended
from triage.tree.content import Side

ENGINE = shipped_engine()

# An invented self-contained machine; the figures just beside its bands.
SMALL = {
    **FEED_FAILED,
    "machine": "firnwerk a200",
    "refrigerant": "R-404A",
    "ambient_air_temperature": "75 F",
    "water_inlet_temperature": "60 F",
    "ice_bridge_thickness": "0.125 in",
    "freeze_time": "16:30",
    "freeze_suction_pressure_early": "67 psi at 2 min",
    "discharge_line_temperature": "146 F at 6 min",
    "freeze_discharge_pressure": "219 psi at 6 min",
    "freeze_suction_pressure_late": "38 psi at 16 min",
    "suction_superheat": "7 F",
    "liquid_subcooling": "9 F",
    "hot_gas_line_in_freeze": "cold",
}


def test_no_compressor_is_condemned_on_readings_all_only_just_out() -> None:
    end, _ = ending(SMALL)
    assert isinstance(end, Escalated)
    assert "only just out of its band" in end.reason
    assert end.machine_state


def test_the_same_compressor_is_concluded_once_one_reading_is_plainly_out() -> None:
    plain = {
        "freeze_suction_pressure_early": "90 psi at 2 min",
        "freeze_suction_pressure_late": "62 psi at 16 min",
        "freeze_discharge_pressure": "190 psi at 6 min",
        "freeze_time": "26:00",
    }
    end, _ = ending({**SMALL, **plain})
    assert isinstance(end, Recommended)
    assert end.conclusion.causes == ("compressor_weak",)


def test_a_voltage_measured_too_low_is_mended_first_whatever_else_the_readings_say() -> None:
    # UL 429: a valve's coil works down to 85 % of its rated voltage; 17 V of 24 V is 71 %.
    end, _ = ending({**FEED_FAILED, "coil_voltage": "17 V"})
    assert isinstance(end, Recommended)
    assert end.conclusion.causes == ("coil_supply_low",)
    assert end.recommendation.replace_together == ()


@pytest.mark.parametrize("cause", ["hot_gas_valve_not_opening", "coil_supply_low"])
def test_path_and_ranking_may_disagree_only_where_no_circuit_is_opened(cause: str) -> None:
    end, _ = ending(FEED_FAILED)
    assert isinstance(end, Recommended)
    conclusion = replace(end.conclusion, causes=(cause,), agreement=Agreement.DISAGREE)
    opens = "refrigerant_circuit" in ENGINE.content.causes[cause].hazards
    assert must_not_disagree(ENGINE.content, conclusion) is opens
    agreed = replace(conclusion, agreement=Agreement.AGREE)
    assert not must_not_disagree(ENGINE.content, agreed)


def test_a_bridge_too_thick_by_itself_is_measured_again_before_anything_is_set() -> None:
    # The freeze is sound otherwise, and both harvest pressures are low: nothing else bears it out.
    end, _ = ending({**FEED_FAILED, "ice_bridge_thickness": "0.18 in"})
    assert isinstance(end, Escalated)
    assert end.node == "freeze.bridge_thick"
    assert "once more before anything is done" in end.reason


def test_a_plate_nobody_saw_is_not_condemned() -> None:
    unseen = {
        **FEED_FAILED,
        "harvest_suction_pressure": "127 psi",
        "harvest_discharge_pressure": "unknown",
        "plate_condition": "unknown",
        "vacuum_break_running": "unknown",
    }
    end, _ = ending(unseen)
    assert isinstance(end, Escalated)


def test_a_question_beyond_the_order_says_what_it_tells_apart() -> None:
    # The freeze time could not be had, so what tells the causes apart comes before the usual order.
    answers = {**SMALL, "freeze_time": "unknown no watch", "ice_pattern": "thin at the outlet"}
    script = Script(AnswersFile({key: (text,) for key, text in answers.items()}, "all"))
    case, beyond = opened(), []
    while not isinstance(prompt := ENGINE.prompt(case), END_PROMPTS):
        if isinstance(prompt, AskQuestion) and prompt.tells_apart:
            beyond.append(prompt)
        case = fold(ENGINE.turn(case, script.line(prompt)).events, case)
    assert beyond[0].reading.id == "liquid_subcooling"
    assert beyond[0].tells_apart == ("refrigerant_undercharge", "expansion_valve_starving")
    assert all(len(set(prompt.tells_apart)) == 2 for prompt in beyond)
    # No harvest cause is named while the freeze is not proven sound.
    named = {cause for prompt in beyond for cause in prompt.tells_apart}
    assert Side.HARVEST not in {ENGINE.content.causes[cause].side for cause in named}
