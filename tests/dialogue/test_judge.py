"""What a reading is judged by: machine on file, data plate, altitude, and what is unknown."""

from __future__ import annotations

from collections.abc import Mapping

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests.conversation import SOUND_FREEZE, opened, say, shipped_engine, up_to
from tests.strategies import FIXED
from triage.dialogue.case import Case, fold
from triage.dialogue.events import Answered, Refused
from triage.dialogue.judge import (
    barometric_pressure_of,
    finding_of,
    machine_in_use,
    manifold_window_of,
    refrigerant_in_use,
)
from triage.dialogue.view import Finding, Source, Verdict
from triage.physics.bands import basis_words
from triage.physics.quantity import UnitSystem

CONTENT = shipped_engine().content
LATE = "freeze_suction_pressure_late"
PSI = 6894.757293168

PLACE: Mapping[str, str | float] = {
    "caller_qualification": "licensed",
    "machine": "gletsch_r500",
    "refrigerant": "R-410A",
    "ambient_air_temperature": 294.26,
    "condenser_air_temperature": 294.26,
    "water_inlet_temperature": 285.93,
}
"""A licensed caller at an invented R-410A machine in a 70 °F room with 55 °F water."""


def case_of(**values: str | float | None) -> Case:
    """Return a case with PLACE and what is said besides; None leaves a reading of PLACE open."""
    said = {**PLACE, **values}
    return fold(
        [Answered(key, str(value), value) for key, value in said.items() if value is not None],
        opened(),
    )


def found(case: Case, reading: str) -> Finding:
    finding = finding_of(CONTENT, case, reading)
    assert finding is not None
    return finding


# Verdicts.


@given(share=st.floats(0.2, 3.0))
@FIXED
def test_the_verdict_is_where_the_value_lies_against_its_band(share: float) -> None:
    band = found(case_of(**{LATE: 4e5}), LATE).band
    assert band is not None
    value = share * band.centre
    finding = found(case_of(**{LATE: value}), LATE)
    assert finding.residual is not None
    if value < band.low:
        assert (finding.verdict, finding.outcome) == (Verdict.BELOW, "below")
        assert finding.residual < -1.0 + 1e-9
    elif value > band.high:
        assert (finding.verdict, finding.outcome) == (Verdict.ABOVE, "above")
        assert finding.residual > 1.0 - 1e-9
    else:
        assert (finding.verdict, finding.outcome) == (Verdict.WITHIN, "within")
        assert -1.0 - 1e-9 <= finding.residual <= 1.0 + 1e-9


@given(values=st.lists(st.floats(5e4, 3e6), min_size=2, max_size=2).map(sorted))
@FIXED
def test_a_reading_that_rises_never_gets_a_lower_verdict(values: list[float]) -> None:
    order = [Verdict.BELOW, Verdict.WITHIN, Verdict.ABOVE]
    low, high = (order.index(found(case_of(**{LATE: value}), LATE).verdict) for value in values)
    assert low <= high


def test_a_choice_is_healthy_when_it_is_among_the_normal_ones_and_noted_if_there_are_none() -> None:
    for choice, verdict in (("even", Verdict.WITHIN), ("patchy", Verdict.OUTSIDE)):
        finding = found(case_of(ice_pattern=choice), "ice_pattern")
        assert (finding.verdict, finding.outcome) == (verdict, choice)
    assert found(case_of(complaint="other"), "complaint").verdict is Verdict.NOTED


def test_an_open_winding_is_above_its_band() -> None:
    finding = found(case_of(coil_resistance=float("inf")), "coil_resistance")
    assert finding.verdict is Verdict.ABOVE


# The altitude.


def test_the_air_pressure_follows_the_altitude() -> None:
    # ISO 2533:1975, standard atmosphere at 1524 m: 84.31 kPa (geopotential, from its formula).
    assert barometric_pressure_of(case_of()) == pytest.approx(101_325.0)
    assert barometric_pressure_of(case_of(site_altitude=1524.0)) == pytest.approx(84_310, rel=1e-3)


def test_a_gauge_reads_the_same_number_for_less_absolute_pressure_high_up() -> None:
    low, _ = say(up_to("harvest_suction_pressure"), "85 psi")
    high, _ = say(up_to("harvest_suction_pressure"), "altitude 5000 ft", "yes", "85 psi")
    values = [case.answers["harvest_suction_pressure"].value for case in (low, high)]
    assert all(isinstance(value, float) for value in values)
    assert values[0] - values[1] == pytest.approx(101_325 - 84_310, rel=2e-3)  # type: ignore[operator]


def test_pressures_given_before_the_altitude_are_converted_anew() -> None:
    before = up_to("harvest_suction_pressure")
    after, _ = say(before, "altitude 5000 ft", "yes")
    for reading in ("freeze_suction_pressure_early", LATE, "freeze_discharge_pressure"):
        was, now = before.answers[reading], after.answers[reading]
        assert (was.typed, was.minute_s) == (now.typed, now.minute_s)
        assert was.value - now.value == pytest.approx(101_325 - 84_310, rel=2e-3)  # type: ignore[operator]
    untouched = ("ambient_air_temperature", "freeze_time", "ice_pattern")
    assert all(before.answers[key] == after.answers[key] for key in untouched)


def test_an_absolute_pressure_stays_what_it_was_when_the_altitude_comes_up() -> None:
    case, _ = say(up_to("harvest_suction_pressure"), "100 psia", "altitude 5000 ft", "yes")
    value = case.answers["harvest_suction_pressure"].value
    assert value == pytest.approx(100 * PSI)


@pytest.mark.parametrize("line", ["altitude 50000 ft", "altitude -3000 ft"])
def test_a_height_without_an_air_pressure_does_not_end_the_call_once_confirmed(line: str) -> None:
    case, _ = say(opened(), line, "yes", "yes")
    assert "site_altitude" in case.answers
    case, _ = say(case, "yes both", "will not drop", "r500", "R-410A", "70 F")
    assert "ambient_air_temperature" in case.answers


# What is unknown.


@pytest.mark.parametrize("open_", ["ambient_air_temperature", "water_inlet_temperature"])
def test_an_unknown_temperature_widens_the_band_and_the_basis_says_so(open_: str) -> None:
    known = found(case_of(freeze_time=860.0), "freeze_time").band
    case = case_of(**{"freeze_time": 860.0, open_: None})
    unknown = found(case, "freeze_time").band
    assert known is not None
    assert unknown is not None
    assert unknown.low <= known.low
    assert unknown.high >= known.high
    assert unknown.high - unknown.low > known.high - known.low
    assert unknown.basis.is_any_condition
    assert not known.basis.is_any_condition
    words = [basis_words(band.basis, UnitSystem.US) for band in (known, unknown)]
    assert words[0] != words[1]
    assert "whole working range" in words[1]


@pytest.mark.parametrize("qualification", ["unlicensed", None])
def test_licensed_readings_are_unknown_for_anybody_else(qualification: str | None) -> None:
    said = {LATE: 4e5, "coil_voltage": 24.0}
    case = case_of(**{**said, "caller_qualification": None})
    case = fold([Answered("caller_qualification", "", qualification)], case)
    for reading in said:
        finding = found(case, reading)
        assert finding.verdict is Verdict.UNKNOWN
        assert finding.value is None
        assert finding.outcome == "unknown"
        assert finding.source is Source.NOT_ASKED_OF_THIS_CALLER
        assert "licensed" in finding.reason
    for reading, content in CONTENT.readings.items():
        finding = finding_of(CONTENT, case, reading)
        if content.is_licensed:
            assert finding is not None
            assert finding.outcome == "unknown"


def test_a_reading_behind_a_refused_caution_is_unknown_with_the_cautions_name() -> None:
    case = fold([Refused("gauges_under_pressure", "no")], case_of(**{LATE: 4e5}))
    finding = found(case, LATE)
    assert finding.outcome == "unknown"
    assert CONTENT.cautions["gauges_under_pressure"].title in finding.reason


def test_without_machine_and_refrigerant_a_pressure_is_unknown_and_says_why() -> None:
    case = case_of(**{LATE: 4e5, "machine": None, "refrigerant": None})
    finding = found(case, LATE)
    assert finding.verdict is Verdict.UNKNOWN
    assert finding.value == 4e5
    assert finding.band is None
    assert "neither the machine nor its refrigerant" in finding.reason
    assert machine_in_use(CONTENT, case) is None
    assert manifold_window_of(CONTENT, case) is None


def test_a_reading_not_answered_and_not_to_be_worked_out_is_open() -> None:
    assert finding_of(CONTENT, case_of(), "freeze_time") is None


# Which machine.


def test_a_refrigerant_alone_is_judged_by_a_typical_machine_and_the_basis_says_so() -> None:
    case = case_of(**{LATE: 4e5, "machine": None, "condenser_kind": "remote_air"})
    band = found(case, LATE).band
    assert band is not None
    assert "typical" in basis_words(band.basis, UnitSystem.US)
    machine = machine_in_use(CONTENT, case)
    assert machine is not None
    assert machine.refrigerant == "R-410A"


def test_the_data_plates_refrigerant_wins_over_the_machine_file() -> None:
    case = case_of(refrigerant="R-404A", **{LATE: 3e5})
    machine = machine_in_use(CONTENT, case)
    assert machine is not None
    assert machine.refrigerant == "R-404A"
    assert refrigerant_in_use(CONTENT, case) == "R-404A"
    plate, file_ = found(case, LATE).band, found(case_of(**{LATE: 3e5}), LATE).band
    assert plate is not None
    assert file_ is not None
    # The same evaporating temperature is a lower pressure in R-404A than in R-410A.
    assert plate.centre < file_.centre


def test_the_machine_files_refrigerant_holds_where_nobody_read_the_plate() -> None:
    case = case_of(refrigerant=None)
    assert refrigerant_in_use(CONTENT, case) == "R-410A"


def test_the_minute_of_a_reading_moves_its_band() -> None:
    reading = "freeze_suction_pressure_early"
    bands = []
    for minute in (2.0, 8.0):
        case = fold([Answered(reading, "", 6e5, minute_s=minute * 60)], case_of())
        bands.append(found(case, reading).band)
    assert bands[0] is not None
    assert bands[1] is not None
    # Suction falls as the ice grows.
    assert bands[1].centre < bands[0].centre


# What needs no asking.


def test_the_machine_file_tells_condenser_coil_and_air_pump() -> None:
    case = case_of()
    told = {
        "condenser_kind": "remote_air",
        "coil_nominal_voltage": 24.0,
    }
    for reading, value in told.items():
        finding = found(case, reading)
        assert (finding.value, finding.source) == (value, Source.WORKED_OUT)
    assert finding_of(CONTENT, case, "vacuum_break_running") is None
    without = next(item for item in CONTENT.machines.values() if not item.has_vacuum_break)
    finding = found(case_of(machine=without.id, refrigerant=None), "vacuum_break_running")
    assert finding.value == "not_fitted"


def test_a_water_cooled_machine_has_no_condenser_fan() -> None:
    finding = found(case_of(machine=None, condenser_kind="water"), "condenser_fan_state")
    assert finding.value == "not_fitted"


@given(share=st.floats(0.0, 1.2))
@FIXED
def test_measured_volts_tell_whether_there_is_any_voltage(share: float) -> None:
    finding = found(case_of(coil_voltage=share * 24.0), "coil_voltage_presence")
    assert finding.value == ("none" if share * 24.0 < 0.1 * 24.0 else "some")
    assert finding.source is Source.WORKED_OUT


def test_what_the_caller_says_wins_over_what_is_worked_out() -> None:
    finding = found(case_of(coil_nominal_voltage=120.0), "coil_nominal_voltage")
    assert (finding.value, finding.source) == (120.0, Source.CALLER)


@pytest.mark.parametrize("reading", list(SOUND_FREEZE))
def test_a_healthy_callers_readings_are_all_within(reading: str) -> None:
    case = up_to("ice_released")
    finding = found(case, reading)
    assert finding.verdict in (Verdict.WITHIN, Verdict.NOTED)
