"""What callers were heard to say, against the readings that ship."""

from __future__ import annotations

import pytest

from tests.conversation import shipped_engine
from triage.dialogue.breath import take_apart
from triage.dialogue.reply import Unclear, Unknown, Value, read_reply
from triage.physics.quantity import UnitSystem

CONTENT = shipped_engine().content
US = UnitSystem.US


def said(text: str, reading: str) -> Value | Unknown | Unclear:
    reply = read_reply(text, CONTENT.readings[reading], system=US, machines=CONTENT.machines)
    assert isinstance(reply, Value | Unknown | Unclear)
    return reply


def parts_of(text: str, asked: str) -> dict[str, str]:
    """Return the readings taken from a line, with the words each came from; nothing is left."""
    others = [item for item in CONTENT.readings.values() if item.id != asked]
    breath = take_apart(text, (CONTENT.readings[asked], *others), system=US)
    assert not breath.leftover
    return {part.reading: part.text for part in breath.parts}


@pytest.mark.parametrize(
    ("text", "reading", "reason"),
    [
        (
            "can't, my clamp thermometer is dead",
            "discharge_line_temperature",
            "my clamp thermometer is dead",
        ),
        (
            "my clamp thermometer is dead",
            "discharge_line_temperature",
            "my clamp thermometer is dead",
        ),
        ("cannot. no meter", "coil_voltage", "no meter"),
        ("no slab came loose", "ice_bridge_thickness", "no slab came loose"),
        ("nothing to weigh", "batch_ice_mass", "nothing to weigh"),
    ],
)
def test_a_reading_that_cannot_be_had_is_unknown_for_that_reason(
    text: str, reading: str, reason: str
) -> None:
    assert said(text, reading) == Unknown(reason)


@pytest.mark.parametrize(
    ("text", "reading", "choice"),
    [
        ("yep, both", "caller_qualification", "licensed"),
        ("yeah, both", "caller_qualification", "licensed"),
        ("no, I'm the owner", "caller_qualification", "unlicensed"),
        ("certified, not qualified", "caller_qualification", "unlicensed"),
        ("white and chalky", "plate_condition", "scaled"),
        ("weak, just a trickle", "water_flow_over_plate", "weak"),
        ("no slab came loose", "ice_released", "no"),
        ("no, it doesn't have one", "receiver_vapor_feed_fitted", "not_fitted"),
        ("too little", "coil_voltage_presence", "some"),
        ("hot gas one clicks, the other not", "coil_pulls_in", "hot_gas_only"),
        ("no, only the hot gas one", "coil_pulls_in", "hot_gas_only"),
        ("the feed clicks, the hot gas one doesn't", "coil_pulls_in", "feed_only"),
        ("yep, both click and hold", "coil_pulls_in", "yes"),
        ("neither clicks", "coil_pulls_in", "no"),
    ],
)
def test_a_choice_said_in_two_ways_is_one_answer(text: str, reading: str, choice: str) -> None:
    reply = said(text, reading)
    assert isinstance(reply, Value)
    assert reply.value == choice


@pytest.mark.parametrize("text", ["no, both", "yes, the owner", "certified, sort of"])
def test_two_answers_that_contradict_each_other_are_none(text: str) -> None:
    assert isinstance(said(text, "caller_qualification"), Unclear)


@pytest.mark.parametrize(
    ("text", "reading", "si_value"),
    [
        # 80 °F is 299.817 K (exact by definition of the scales).
        ("weather report says 80", "condenser_air_temperature", 299.8167),
        ("the forecast is 80 today", "condenser_air_temperature", 299.8167),
        ("freeze takes 14 minutes", "freeze_time", 840.0),
        ("one freeze takes 14 minutes", "freeze_time", 840.0),
        # One pound is 0.45359237 kg exactly.
        ("one batch weighs 7 lb", "batch_ice_mass", 3.17514659),
    ],
)
def test_words_around_a_number_do_not_matter(text: str, reading: str, si_value: float) -> None:
    reply = said(text, reading)
    assert isinstance(reply, Value)
    assert reply.value == pytest.approx(si_value, abs=1e-3)


def test_both_airs_are_taken_from_one_breath() -> None:
    assert parts_of("70 inside and 95 outside", "ambient_air_temperature") == {
        "ambient_air_temperature": "70 inside",
        "condenser_air_temperature": "95 outside",
    }


def test_suction_early_and_late_are_taken_from_one_breath() -> None:
    assert parts_of("75 early and 38 late", "freeze_suction_pressure_early") == {
        "freeze_suction_pressure_early": "75 early",
        "freeze_suction_pressure_late": "38 late",
    }


def test_a_choice_said_in_two_ways_leaves_nothing_to_note() -> None:
    assert parts_of("no, I'm the owner", "caller_qualification") == {
        "caller_qualification": "no, I'm the owner"
    }
