"""What a repair found, against the conclusion and against the bands of this machine."""

from __future__ import annotations

import json
from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.conversation import FEED_FAILED, opened, shipped_engine, up_to
from tests.strategies import FIXED, typed_lines
from triage.dialogue.after_repair import as_recorded, judged_after_repair, read_after_repair
from triage.dialogue.case import Case, fold
from triage.dialogue.events import (
    FOUND_NO_FAULT,
    FOUND_OTHER,
    Answered,
    Concluded,
    RepairReported,
    event_from_data,
    event_to_data,
)
from triage.dialogue.found import found_in
from triage.dialogue.judge import band_of
from triage.dialogue.repair import (
    Comparison,
    FoundFlaw,
    Held,
    compared,
    comparison_words,
    flaw_of,
    held_of,
    is_just_out,
    is_other_than_concluded,
    just_outside,
    missing_parts,
    number_in,
    part_named,
    parts_in,
    parts_together,
    what_now,
)
from triage.dialogue.view import Verdict
from triage.physics.pressure import STANDARD_ATMOSPHERE_PA

CONTENT = shipped_engine().content
FEED = "receiver_vapor_feed_failed"
FEED_PARTS = (
    "receiver vapor regulator", "receiver vapor solenoid valve with coil", "filter drier",
)  # fmt: skip
PSI_PA = 6894.757293168
"""NIST SP 811, appendix B.8."""


def called() -> Case:
    """Return a call whose machine and day are known."""
    return up_to("manifold_test_result")


def ended(*causes: str) -> Concluded:
    ranked = ({"cause": FEED, "probability": 0.8}, {"cause": "harvest_coil_open"})
    return Concluded("x", "recommended" if causes else "escalated", causes, ranked=ranked)


def read(reading: str, typed: str, case: Case | None = None) -> Answered:
    answer = read_after_repair(CONTENT, case or called(), reading, typed)
    assert isinstance(answer, Answered), answer
    return answer


# What was found.


@pytest.mark.parametrize(
    ("text", "found"),
    [
        (FEED, FEED),
        ("Receiver vapor feed not working (regulator and its solenoid)", FEED),
        ("Vapor-feed", FEED),
        ("no power to the coil", "harvest_coil_unpowered"),
        ("no_fault_found", FOUND_NO_FAULT),
        ("No fault found", FOUND_NO_FAULT),
        ("nothing", FOUND_NO_FAULT),
        ("other_fault", FOUND_OTHER),
        ("something else", FOUND_OTHER),
        ("healthy", "healthy"),
    ],
)
def test_causes_are_named_by_id_name_or_in_the_words_people_use(text: str, found: str) -> None:
    assert found_in(text, CONTENT).id == found


@pytest.mark.parametrize(
    ("text", "first", "near"),
    [
        ("the vapor feed", (), (FEED,)),
        ("harvest_valve", (), ("harvest_coil_unpowered", "harvest_coil_open", "coil_supply_low")),
        ("fan", (), ("condenser_airflow_poor",)),
        (
            "leak",
            ("refrigerant_undercharge",),
            ("refrigerant_undercharge", "hot_gas_valve_leaking"),
        ),
        ("leak", (), ("hot_gas_valve_leaking", "refrigerant_undercharge", "water_inlet_leaking")),
        ("harvest_coil_opne", (), ("harvest_coil_open",)),
        ("valve", ("expansion_valve_flooding",), ("expansion_valve_flooding",)),
        ("gremlin", (), ()),
    ],
)
def test_part_of_a_name_and_a_slip_are_near_and_never_taken(
    text: str, first: tuple[str, ...], near: tuple[str, ...]
) -> None:
    found = found_in(text, CONTENT, first)
    assert found.id is None
    assert found.near[: len(near)] == near
    assert set(found.near) <= {*CONTENT.causes, FOUND_NO_FAULT, FOUND_OTHER}


def test_word_that_two_causes_share_in_full_is_not_taken_for_one_of_them() -> None:
    shared = "valve trouble"
    causes = {
        id_: replace(cause, spoken=(*cause.spoken, shared)) if "expansion" in id_ else cause
        for id_, cause in CONTENT.causes.items()
    }
    found = found_in(shared, replace(CONTENT, causes=causes))
    assert found.id is None
    assert set(found.near[:2]) == {id_ for id_ in causes if "expansion" in id_}


def test_every_cause_is_found_by_its_id_and_every_name_but_that_of_no_fault() -> None:
    for cause in CONTENT.causes.values():
        assert found_in(cause.id, CONTENT).id == cause.id
        expected = FOUND_NO_FAULT if cause.id == "healthy" else cause.id
        assert found_in(cause.name, CONTENT).id == expected


@given(typed_lines())
@settings(FIXED)
def test_what_is_found_is_always_known_or_nothing(text: str) -> None:
    found = found_in(text, CONTENT).id
    assert found is None or found in {*CONTENT.causes, FOUND_NO_FAULT, FOUND_OTHER}


@pytest.mark.parametrize(
    ("found", "note", "flaw"),
    [
        ((), "", FoundFlaw.NOTHING),
        ((FOUND_NO_FAULT, FEED), "", FoundFlaw.NO_FAULT_AND_A_FAULT),
        ((FOUND_OTHER,), " ", FoundFlaw.OTHER_WITHOUT_NOTE),
        ((FOUND_OTHER,), "door latch", None),
        ((FEED, "harvest_coil_open"), "", None),
        ((FOUND_NO_FAULT,), "", None),
    ],
)
def test_reports_that_say_nothing_or_two_things_are_not_kept(
    found: tuple[str, ...], note: str, flaw: FoundFlaw | None
) -> None:
    assert flaw_of(found, note) is flaw


@pytest.mark.parametrize(
    ("concluded", "found", "comparison", "words"),
    [
        (ended(FEED), (FEED,), Comparison.AS_CONCLUDED, "found what was concluded"),
        (ended(FEED), (FEED, "harvest_coil_open"), Comparison.MORE, "and more"),
        (ended(FEED), ("harvest_coil_open",), Comparison.OTHER, "found other than concluded"),
        (ended(FEED), (FOUND_NO_FAULT,), Comparison.OTHER, '"no fault", not "Receiver'),
        (ended("healthy"), (FOUND_NO_FAULT,), Comparison.AS_CONCLUDED, "what was concluded"),
        (ended(), ("harvest_coil_open",), Comparison.NO_CONCLUSION, "number 2 of the readings"),
        (None, (FEED,), Comparison.NOT_ENDED, "has not come to its end"),
    ],
)
def test_what_was_found_is_held_against_what_was_concluded(
    concluded: Concluded | None, found: tuple[str, ...], comparison: Comparison, words: str
) -> None:
    assert compared(concluded, found, CONTENT) is comparison
    assert words in comparison_words(concluded, found, CONTENT)


# Parts.


@pytest.mark.parametrize(
    ("text", "part"),
    [
        ("filter drier", "filter drier"),
        ("the drier", "filter drier"),
        ("solenoid", "receiver vapor solenoid valve with coil"),
        ("receiver vapour regulator", "receiver vapor regulator"),
        ("receiver vapor", None),
        ("door latch", None),
        ("", None),
    ],
)
def test_part_is_known_by_words_that_no_other_part_has(text: str, part: str | None) -> None:
    assert part_named(text, FEED_PARTS) == part


def test_parts_of_the_repair_are_those_of_the_content() -> None:
    assert parts_together(CONTENT, [FEED]) == FEED_PARTS
    assert parts_together(CONTENT, [FOUND_OTHER]) == ()
    assert parts_in("regulator and solenoid, drier") == ("regulator", "solenoid", "drier")


def test_part_left_out_of_a_repair_that_replaces_parts_together_is_named() -> None:
    (words,) = missing_parts(CONTENT, [FEED], ["regulator", "filter drier"])
    assert words == (
        "receiver vapor solenoid valve with coil was not replaced; it is replaced together with "
        "receiver vapor regulator and filter drier."
    )
    (words,) = missing_parts(CONTENT, [FEED], ["filter drier"])
    assert "receiver vapor regulator and receiver vapor solenoid valve with coil were not" in words
    (words,) = missing_parts(CONTENT, [FEED], ["door latch"])
    assert words.endswith(f"none was reported: {', '.join(FEED_PARTS)}.")


@pytest.mark.parametrize("parts", [FEED_PARTS, ("solenoid, regulator", "new drier")])
def test_nothing_is_missing_of_a_whole_repair(parts: tuple[str, ...]) -> None:
    assert list(missing_parts(CONTENT, [FEED], parts)) == []
    assert list(missing_parts(CONTENT, ["harvest_coil_unpowered", FOUND_OTHER], ())) == []


# Readings after the repair.


def test_reading_after_the_repair_is_judged_by_the_band_at_the_conditions_of_the_call() -> None:
    case = called()
    answer = read("harvest_suction_pressure", "120 psi at 1 min")
    assert answer.value == pytest.approx(120.0 * PSI_PA + STANDARD_ATMOSPHERE_PA, rel=1e-9)
    assert answer.minute_s == 60.0
    (judged,) = judged_after_repair(CONTENT, case, [answer])
    band = band_of(CONTENT, case, CONTENT.readings["harvest_suction_pressure"], 60.0)
    assert judged.finding.band == band
    assert judged.finding.verdict is Verdict.WITHIN
    assert judged.doubt == ""


def test_conditions_of_the_day_of_the_repair_move_the_band() -> None:
    pressure = read("freeze_discharge_pressure", "312 psi")
    (cool,) = judged_after_repair(CONTENT, called(), [pressure])
    hot_day = [read("condenser_air_temperature", "95 F"), pressure]
    hot = judged_after_repair(CONTENT, called(), hot_day)[-1]
    assert cool.finding.band is not None
    assert hot.finding.band is not None
    # More heat to reject into warmer air lifts the head: both ends of the band go up.
    assert hot.finding.band.low > cool.finding.band.low
    assert hot.finding.band.high > cool.finding.band.high


def test_reading_is_judged_though_nobody_licensed_was_on_the_phone() -> None:
    case = fold([Answered("caller_qualification", "no", "unlicensed")], called())
    (judged,) = judged_after_repair(CONTENT, case, [read("harvest_suction_pressure", "60 psi")])
    assert judged.finding.verdict is Verdict.BELOW


def test_what_cannot_well_be_true_is_asked_about_and_unknown_is_kept_as_such() -> None:
    (judged,) = judged_after_repair(
        CONTENT, called(), [read("harvest_suction_pressure", "2700 psi")]
    )
    assert "Did you read it so?" in judged.doubt
    (judged,) = judged_after_repair(
        CONTENT, called(), [read("harvest_time", "unknown nobody timed it")]
    )
    assert judged.finding.verdict is Verdict.UNKNOWN
    assert judged.finding.reason == "nobody timed it"
    refused = read_after_repair(CONTENT, called(), "harvest_time", "purple")
    assert isinstance(refused, str)
    assert "purple" in refused
    assert isinstance(read_after_repair(CONTENT, called(), "harvest_time", "back"), str)


def test_reading_after_the_repair_is_not_doubted_for_what_was_read_before_it() -> None:
    low_head = read("harvest_discharge_pressure", "125 psi at 1 min")
    suction = read("harvest_suction_pressure", "128 psi at 1 min")
    case = fold([low_head], called())
    (judged,) = judged_after_repair(CONTENT, case, [suction])
    assert judged.doubt == ""
    judged = judged_after_repair(CONTENT, called(), [low_head, suction])[-1]
    assert "gauges swapped" in judged.doubt


def test_readings_go_through_the_record_unchanged_an_open_coil_too() -> None:
    answers = [read("coil_resistance", "OL"), read("harvest_time", "unknown"),
               read("ice_released", "yes"), read("harvest_time", "1:40")]  # fmt: skip
    judged = judged_after_repair(CONTENT, called(), answers)
    report = RepairReported((FEED,), readings=as_recorded(judged))
    data = json.loads(json.dumps(event_to_data(report), allow_nan=False))
    again = event_from_data(report.kind, data)
    assert again == report
    assert number_in(report.readings[0], "value") == float("inf")
    assert number_in(report.readings[1], "value") is None
    assert number_in(report.readings[2], "value") is None
    assert number_in(report.readings[3], "value") == 100.0


@given(st.sampled_from(sorted(CONTENT.readings)), typed_lines())
@settings(FIXED)
def test_anything_typed_for_a_reading_is_read_or_told(reading: str, text: str) -> None:
    case = fold([Answered("machine", "", "gletsch_r500")], opened())
    answer = read_after_repair(CONTENT, case, reading, text)
    if isinstance(answer, str):
        assert answer
    else:
        as_recorded(judged_after_repair(CONTENT, case, [answer]))


# Whether it held.


def odd(
    reading: str = "harvest_time", verdict: str = "above", residual: float | None = None
) -> dict[str, object]:
    return {"reading": reading, "verdict": verdict, "residual": residual}


JUST = odd("harvest_suction_pressure", "below", -1.1)


@pytest.mark.parametrize(
    ("cycles", "readings", "held"),
    [
        (True, (), Held.YES),
        (True, (odd(verdict="within"),), Held.YES),
        (True, (odd(),), Held.NO),
        (True, (odd(residual=1.2),), Held.NO),
        (False, (), Held.NO),
        (None, (), Held.NOT_PROVEN),
        (None, (odd("ice_released", "outside"),), Held.NO),
        (True, (odd("ambient_air_temperature"),), Held.YES),
        (True, ({},), Held.YES),
        (True, (JUST,), Held.YES),
        (None, (JUST,), Held.NOT_PROVEN),
        (False, (JUST,), Held.NO),
        (True, (JUST, odd(residual=1.05)), Held.NOT_PROVEN),
        (True, (JUST, odd()), Held.NO),
    ],
)
def test_repair_holds_with_two_good_cycles_and_no_reading_plainly_out_of_its_band(
    cycles: bool | None, readings: tuple[dict[str, object], ...], held: Held
) -> None:
    report = RepairReported((FEED,), had_two_good_cycles=cycles, readings=readings)
    assert held_of(report, CONTENT) is held
    told = " ".join(what_now(report, CONTENT))
    is_just = JUST in readings
    assert ("just below its band" in told) == is_just
    match held:
        case Held.YES:
            assert told == "" or is_just
            assert ("with one reading just outside" in told) == is_just
        case Held.NOT_PROVEN:
            assert ("Watch two" in told) == (cycles is None)
        case Held.NO:
            assert told.startswith("The repair did not hold, because ")
            assert "Call the desk back" in told


def test_machine_is_left_off_until_the_cause_is_found_and_no_part_is_named_anew() -> None:
    for cause in CONTENT.causes:
        report = RepairReported((cause,), had_two_good_cycles=False)
        told = " ".join(what_now(report, CONTENT))
        assert (
            "Leave the machine off, switched off at the disconnect and tagged, until the " in told
        )
        assert "cause is found" in told
        assert "Throw away the ice" in told
        assert "Call the desk back" in told
        assert CONTENT.causes[cause].machine_state not in told
        assert "parts are replaced" not in told


def test_why_it_did_not_hold_is_told() -> None:
    report = RepairReported((FEED,), had_two_good_cycles=False, readings=(
        odd(), odd("ice_released", "outside"), odd("ambient_air_temperature"),
    ))  # fmt: skip
    time, ice = (CONTENT.readings[one].name for one in ("harvest_time", "ice_released"))
    assert what_now(report, CONTENT)[0] == (
        f"The repair did not hold, because two good cycles did not follow and {time} is above its "
        f"band and {ice} is not as it should be."
    )


@pytest.mark.parametrize("found", [FOUND_NO_FAULT, "healthy"])
def test_without_a_fault_nothing_was_repaired_that_could_hold_or_not(found: str) -> None:
    for cycles in (True, None, False):
        report = RepairReported((found,), had_two_good_cycles=cycles)
        assert held_of(report, CONTENT) is Held.NOTHING_REPAIRED
        told = " ".join(what_now(report, CONTENT))
        assert told.startswith("No fault was found, so nothing was repaired.")
        assert "hold" not in told
        assert ("switched off at the disconnect" in told) == (cycles is False)
    report = RepairReported((found,), parts=("coil",))
    assert what_now(report, CONTENT)[0] == "No fault was found, though parts were replaced."


def test_whether_it_held_and_whether_the_call_was_right_are_two_facts() -> None:
    other = RepairReported(("harvest_coil_open",), had_two_good_cycles=True)
    assert is_other_than_concluded(ended(FEED), other, CONTENT)
    assert held_of(other, CONTENT) is Held.YES
    same = RepairReported((FEED,), had_two_good_cycles=False)
    assert not is_other_than_concluded(ended(FEED), same, CONTENT)
    assert held_of(same, CONTENT) is Held.NO


def test_reading_just_out_of_its_band_is_so_by_the_band_it_was_judged_by() -> None:
    band = band_of(CONTENT, called(), CONTENT.readings["harvest_suction_pressure"], 60.0)
    assert band is not None
    half = band.centre - band.low
    for beyond, is_just in ((0.1, True), (0.3, False), (-0.1, False)):
        psi = (band.low - beyond * half - STANDARD_ATMOSPHERE_PA) / PSI_PA
        judged = judged_after_repair(
            CONTENT, called(), [read("harvest_suction_pressure", f"{psi:.3f} psi at 1 min")]
        )
        (recorded,) = as_recorded(judged)
        assert is_just_out(recorded) is is_just
        report = RepairReported((FEED,), (), True, (recorded,))
        assert bool(just_outside(report, CONTENT)) is is_just


def test_unit_and_minute_made_up_are_kept_as_such() -> None:
    answers = [
        read("harvest_suction_pressure", "120"),
        read("harvest_suction_pressure", "120 psi at 1 min"),
        read("harvest_suction_pressure", "120 at minute 1"),
        read("harvest_time", "2"),
        read("harvest_time", "1:40"),
        read("discharge_line_temperature", "168"),
        read("ice_released", "yes"),
    ]
    kept = as_recorded(judged_after_repair(CONTENT, called(), answers))
    assert [item["unit_assumed"] for item in kept] == ["psig", "", "psig", "min", "", "°F", ""]
    assert [item["is_minute_assumed"] for item in kept[:3]] == [True, False, False]


def test_machine_is_made_safe_also_where_the_fault_is_not_on_file() -> None:
    report = RepairReported((FOUND_OTHER,), had_two_good_cycles=False, note="x")
    assert "switched off at the disconnect" in " ".join(what_now(report, CONTENT))


def test_a_call_led_to_its_end_gives_the_bands_to_see_after_the_repair() -> None:
    case = fold([read("manifold_test_result", FEED_FAILED["manifold_test_result"])], called())
    (judged,) = judged_after_repair(CONTENT, case, [read("discharge_line_temperature", "168 F")])
    assert judged.finding.verdict is Verdict.WITHIN
