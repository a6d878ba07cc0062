"""What a trainee's words mean."""

import pytest

from tests.conversation import shipped_engine
from triage.dialogue.heard import readings_heard
from triage.drill.hearing import among, asked_words, cause_meant, caution_meant, readings_meant
from triage.drill.spoken import ASKED_BY

CONTENT = shipped_engine().view
READINGS = [reading.id for reading in readings_heard(CONTENT)]


@pytest.mark.parametrize("reading", READINGS)
def test_a_reading_is_meant_by_its_id_and_by_its_name(reading: str) -> None:
    assert readings_meant(reading, CONTENT).ids == (reading,)
    assert readings_meant(CONTENT.readings[reading].name, CONTENT).ids == (reading,)
    asking = f"What is the {CONTENT.readings[reading].name}, please?"
    assert readings_meant(asking, CONTENT).ids == (reading,)


@pytest.mark.parametrize("cause", CONTENT.causes)
def test_a_cause_is_meant_by_its_id_and_by_its_name(cause: str) -> None:
    assert cause_meant(cause, CONTENT).ids == (cause,)
    assert cause_meant(f"it's {CONTENT.causes[cause].name}", CONTENT).ids == (cause,)


@pytest.mark.parametrize(
    ("said", "reading"),
    [
        ("late suction", "freeze_suction_pressure_late"),
        ("what's the low side at the end of the freeze?", "freeze_suction_pressure_late"),
        ("harvest suction", "harvest_suction_pressure"),
        ("head in the harvest", "harvest_discharge_pressure"),
        ("discharge temp", "discharge_line_temperature"),
        ("hot gas line in the freeze", "hot_gas_line_in_freeze"),
        ("hot gas line", "hot_gas_line_temperature"),
        ("how long is a freeze", "freeze_time"),
        ("how thick is the bridge", "ice_bridge_thickness"),
        ("is the fan running?", "condenser_fan_state"),
        ("is water running into the sump", "water_leaking_into_sump"),
        ("did the ice drop", "ice_released"),
        ("do the valves click", "coil_pulls_in"),
        ("coil volts", "coil_voltage"),
        ("which gas", "refrigerant"),
        ("are you licensed?", "caller_qualification"),
        ("what is wrong", "complaint"),
        ("what machine is it", "machine"),
        ("water", "water_inlet_temperature"),
    ],
)
def test_a_reading_is_asked_for_as_people_do(said: str, reading: str) -> None:
    assert readings_meant(said, CONTENT).ids == (reading,)


def test_what_names_several_readings_alike_is_asked_and_not_guessed() -> None:
    assert readings_meant("suction", CONTENT).options == (
        "freeze_suction_pressure_early", "freeze_suction_pressure_late", "harvest_suction_pressure",
    )  # fmt: skip
    assert readings_meant("head", CONTENT).ids == ()
    assert "ice_pattern" in readings_meant("ice patern", CONTENT).options


def test_words_that_belong_to_no_reading_leave_it_open() -> None:
    meant = readings_meant("is the fan made by my uncle", CONTENT)
    assert meant.ids == ()
    assert meant.options == ("condenser_fan_state",)
    assert readings_meant("xyzzy", CONTENT) == readings_meant("", CONTENT)


def test_several_readings_are_asked_for_in_one_line() -> None:
    meant = readings_meant("fan, water flow and ice pattern", CONTENT)
    assert meant.ids == ("condenser_fan_state", "water_flow_over_plate", "ice_pattern")
    meant = readings_meant("fan, suction, head", CONTENT)
    assert meant.ids == ("condenser_fan_state",)
    assert len(meant.options) == 3
    assert meant.unheard == ("head",)


def test_a_cause_is_taken_by_a_usual_name_and_else_only_offered() -> None:
    assert cause_meant("weak compressor", CONTENT).ids == ("compressor_weak",)
    assert cause_meant("a dirty condenser", CONTENT).ids == ("condenser_airflow_poor",)
    valves = cause_meant("hot gas valve", CONTENT)
    assert valves.ids == ()
    assert set(valves.options) == {"hot_gas_valve_not_opening", "hot_gas_valve_leaking"}
    assert cause_meant("compresor", CONTENT).options == ("compressor_weak",)
    assert cause_meant("gremlins", CONTENT).options == ()


def test_no_usual_name_stands_for_two_causes() -> None:
    for words in {word for cause in CONTENT.causes.values() for word in cause.spoken}:
        assert len(cause_meant(words, CONTENT).ids) == 1, words


def test_usual_names_are_those_of_readings_and_causes_there_are() -> None:
    assert all(cause.spoken for cause in CONTENT.causes.values())
    assert set(ASKED_BY) <= set(CONTENT.readings)


def test_a_caution_is_meant_by_its_title_or_words_of_it() -> None:
    for words in ("Gauges on a circuit under pressure", "gauges", "gauges_under_pressure"):
        assert caution_meant(words, CONTENT).ids == ("gauges_under_pressure",)
    # It belongs to no reading: nothing is measured before it.
    assert caution_meant("brazing with nitrogen", CONTENT).ids == ()


def test_a_short_list_is_chosen_from_by_number_or_by_a_word() -> None:
    keys = readings_meant("suction", CONTENT).options
    options = {key: asked_words(CONTENT, key) for key in keys}
    assert among("2", options) == keys[1]
    assert among("late", options) == keys[1]
    assert among("the end of it", options) == keys[1]
    assert among("harvest", options) == keys[2]
    for line in ("0", "4", "99999999999999", "fan", "", "²", "freeze"):
        assert among(line, options) is None
