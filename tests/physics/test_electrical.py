"""Bands for supply and coil, and what a resistance says of a winding."""

import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from triage.physics.electrical import (
    NOMINAL_VOLTAGES_V,
    CoilState,
    coil_band,
    coil_resistance_band,
    coil_verdict,
    supply_band,
)
from triage.physics.errors import OutOfRange, UnknownNominalVoltage

NOMINAL = st.sampled_from(NOMINAL_VOLTAGES_V)


@pytest.mark.parametrize("nominal_v", NOMINAL_VOLTAGES_V)
def test_nominal_voltage_lies_inside_both_bands(nominal_v: float) -> None:
    for band in (supply_band(nominal_v), coil_band(nominal_v)):
        assert band.low_v < nominal_v < band.high_v
        assert band.basis


def test_a_24_v_control_circuit_is_judged_by_the_coils_it_feeds() -> None:
    assert supply_band(24.0) == coil_band(24.0)


@pytest.mark.parametrize("nominal_v", [0.0, -24.0, 12.0, 115.0, 400.0, math.nan])
def test_an_unknown_nominal_voltage_is_refused_with_the_known_ones(nominal_v: float) -> None:
    for function in (supply_band, coil_band, coil_resistance_band):
        with pytest.raises(UnknownNominalVoltage, match="24, 120, 208, 230, 240 V"):
            function(nominal_v)
    with pytest.raises(UnknownNominalVoltage):
        coil_verdict(nominal_v, 10.0)


@settings(derandomize=True, max_examples=100, deadline=None)
@given(NOMINAL, st.floats(0.0, 1e7), st.one_of(st.none(), st.floats(1.0, 5_000.0)))
def test_a_verdict_follows_the_band(nominal_v: float, ohm: float, rated: float | None) -> None:
    verdict = coil_verdict(nominal_v, ohm, rated)
    low, high, basis = coil_resistance_band(nominal_v, rated)
    assert (verdict.low_ohm, verdict.high_ohm, verdict.basis) == (low, high, basis)
    assert (verdict.state is CoilState.SHORTED) == (ohm < low)
    assert (verdict.state is CoilState.OPEN) == (ohm > high)


@pytest.mark.parametrize("nominal_v", NOMINAL_VOLTAGES_V)
def test_a_dead_short_is_shorted_and_no_reading_is_open(nominal_v: float) -> None:
    assert coil_verdict(nominal_v, 0.0).state is CoilState.SHORTED
    assert coil_verdict(nominal_v, math.inf).state is CoilState.OPEN
    assert coil_verdict(nominal_v, math.inf, 50.0).state is CoilState.OPEN


def test_the_data_plate_narrows_the_span() -> None:
    low, high, basis = coil_resistance_band(24.0)
    plate_low, plate_high, plate_basis = coil_resistance_band(24.0, 15.0)
    assert low < plate_low < 15.0 < plate_high < high
    assert (basis, plate_basis) == ("typical for this voltage", "about the rated resistance")


@pytest.mark.parametrize("ohm", [-1.0, math.nan, -math.inf])
def test_a_negative_resistance_is_refused(ohm: float) -> None:
    with pytest.raises(OutOfRange, match="coil resistance"):
        coil_verdict(24.0, ohm)


@pytest.mark.parametrize("rated", [0.0, -5.0, math.nan, math.inf])
def test_a_rated_resistance_must_be_positive(rated: float) -> None:
    with pytest.raises(OutOfRange, match="data plate"):
        coil_verdict(24.0, 10.0, rated)
