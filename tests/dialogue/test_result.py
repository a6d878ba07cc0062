"""A call as one plain object: always the same keys, always JSON, never a repair untold."""

from __future__ import annotations

import json
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.conversation import FEED_FAILED, SOUND_FREEZE, ending, opened, say, shipped_engine, up_to
from tests.strategies import FIXED, typed_lines
from triage.dialogue.case import Case, fold
from triage.dialogue.events import Asked
from triage.dialogue.result import result_of
from triage.physics.quantity import Dimension, UnitSystem, default_unit_of
from triage.physics.units import unit_of

KEYS = {
    "session_id", "tree", "content_version", "judged_with_content_version", "voice",
    "result", "reason", "withheld", "escalated",
    "path", "findings", "conclusion", "recommendation", "machine_state", "call_whom", "cautions",
    "notes", "serial_number", "outcome",
}  # fmt: skip
FINDING_KEYS = {
    "reading", "typed", "value", "unit", "si_value", "si_unit", "minute", "minute_assumed", "band",
    "basis", "verdict", "source", "reason",
}  # fmt: skip


def told(case: Case) -> dict[str, Any]:
    """Return the result after a way through strict JSON."""
    result = result_of(shipped_engine(), "s-1", case)
    again = json.loads(json.dumps(result, allow_nan=False))
    assert again == result
    return dict(result)


CALLS = {
    "recommended": lambda: ending(FEED_FAILED)[1],
    "withheld": lambda: ending(FEED_FAILED, acknowledge="none")[1],
    "escalated": lambda: ending({**FEED_FAILED, "discharge_line_temperature": "unknown"})[1],
    "unfinished": lambda: up_to("coil_resistance"),
}


@pytest.mark.parametrize("kind", CALLS)
def test_every_result_has_the_same_keys(kind: str) -> None:
    result = told(CALLS[kind]())
    assert set(result) == KEYS
    assert result["result"] == kind
    assert all(set(item) == FINDING_KEYS for item in result["findings"])
    assert set(result["conclusion"]) == set(told(opened())["conclusion"])
    for word in ("withheld", "escalated"):
        assert result[word] == (result["reason"] if kind == word else None)


@pytest.mark.parametrize("kind", CALLS)
def test_a_repair_is_told_with_a_recommendation_only(kind: str) -> None:
    result = told(CALLS[kind]())
    text = json.dumps(result)
    repairs = [cause.repair for cause in shipped_engine().content.causes.values()]
    if kind == "recommended":
        assert set(result["recommendation"]) == {
            "repair", "parts_to_replace_together", "machine_state", "verification_after_repair",
            "expected_after_repair", "who",
        }  # fmt: skip
        assert result["recommendation"]["repair"][0] in repairs
        return
    assert result["recommendation"] is None
    assert not any(json.dumps(repair)[1:-1] in text for repair in repairs)
    if kind != "unfinished":
        assert result["machine_state"]
        assert result["call_whom"]
        assert result["reason"]


def test_a_recommendation_tells_every_caution_as_acknowledged_at_the_gate() -> None:
    result = told(ending(FEED_FAILED)[1])
    at_gate = [item for item in result["cautions"] if item["at_gate"]]
    assert len(at_gate) > 5
    assert all(item["acknowledged"] for item in at_gate)


def test_a_withheld_call_tells_which_caution_was_not_acknowledged() -> None:
    result = told(ending(FEED_FAILED, acknowledge=("power_off_lockout",))[1])
    answers = {item["id"]: item["acknowledged"] for item in result["cautions"] if item["at_gate"]}
    assert answers["power_off_lockout"] is True
    assert list(answers.values()).count(False) == len(answers) - 1


def test_the_path_is_the_questions_in_the_order_they_were_put() -> None:
    asked = ["opening.caller_qualification", "opening.complaint"]
    nodes = [*asked, asked[0], "caution:falling_ice@x"]
    case = fold([Asked(node) for node in nodes], opened())
    assert told(case)["path"] == asked


def test_every_measured_finding_stands_in_the_callers_unit_beside_si() -> None:
    case, _ = say(opened(units="si"), "yes both", "will not drop", "r500", "R-410A", "21 C")
    finding = next(
        item for item in told(case)["findings"] if item["reading"] == "ambient_air_temperature"
    )
    assert (finding["value"], finding["unit"]) == (21.0, "°C")
    assert (finding["si_value"], finding["si_unit"]) == (pytest.approx(294.15), "K")
    assert finding["typed"] == "21 C"


@pytest.mark.parametrize("reading", [*SOUND_FREEZE, *list(FEED_FAILED)[-9:-1]])
def test_a_number_in_the_callers_unit_is_the_si_number(reading: str) -> None:
    engine = shipped_engine()
    found = {item["reading"]: item for item in told(up_to("manifold_test_result"))["findings"]}
    item = found[reading]
    if item["si_value"] is None:
        assert item["unit"] is None
        return
    dimension = Dimension(engine.content.readings[reading].kind.value)
    unit = unit_of(default_unit_of(dimension, UnitSystem.US), dimension)
    assert item["value"] == pytest.approx(unit.from_si(item["si_value"], 101_325.0), abs=1e-4)


def test_an_open_winding_is_told_by_a_word_for_json_has_no_infinity() -> None:
    case, _ = say(up_to("coil_resistance"), "OL")
    finding = next(item for item in told(case)["findings"] if item["reading"] == "coil_resistance")
    assert (finding["value"], finding["si_value"]) == ("open", "open")
    assert finding["verdict"] == "above"


def test_the_ranked_causes_sum_to_one() -> None:
    ranked = told(ending(FEED_FAILED)[1])["conclusion"]["ranked_causes"]
    assert sum(item["probability"] for item in ranked) == pytest.approx(1.0, abs=1e-4)
    assert ranked[0]["cause"] == "receiver_vapor_feed_failed"


def test_notes_and_minutes_are_told() -> None:
    case, _ = say(up_to("harvest_suction_pressure"), "note the owner is cross", "85 psi at 2 min")
    result = told(case)
    assert result["notes"] == ["the owner is cross"]
    finding = next(
        item for item in result["findings"] if item["reading"] == "harvest_suction_pressure"
    )
    assert (finding["minute"], finding["minute_assumed"]) == (2.0, False)
    assert finding["basis"]
    assert finding["band"]["unit"] == "psig"


@given(lines=st.lists(st.one_of(typed_lines(), st.sampled_from(["yes", "no"])), max_size=12))
@settings(FIXED, max_examples=50)
def test_whatever_was_said_the_result_is_json_with_the_same_keys(lines: list[str]) -> None:
    case, _ = say(opened(), *lines)
    assert set(told(case)) == KEYS
