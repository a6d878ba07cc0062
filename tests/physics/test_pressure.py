"""Gauge, absolute and barometric pressure."""

import math

import pytest
from fluids.atmosphere import ATMOSPHERE_1976
from hypothesis import given, settings
from hypothesis import strategies as st

from triage.physics.errors import OutOfRange
from triage.physics.pressure import (
    barometric_pressure_pa,
)


@pytest.mark.parametrize(
    ("altitude_m", "published_pa"),
    [
        (0.0, 101_325.0),
        (1_000.0, 89_876.0),
        (2_000.0, 79_501.0),
        (3_000.0, 70_121.0),
        (5_000.0, 54_048.0),
    ],
)
def test_barometric_pressure_is_that_of_the_standard_atmosphere(
    altitude_m: float, published_pa: float
) -> None:
    """ISO 2533 / U.S. Standard Atmosphere 1976, geometric altitude; table values from memory."""
    assert barometric_pressure_pa(altitude_m) == pytest.approx(published_pa, abs=1.0)


@settings(derandomize=True, max_examples=60, deadline=None)
@given(st.floats(-500.0, 9_000.0))
def test_barometric_pressure_agrees_with_an_independent_library(altitude_m: float) -> None:
    """The library fluids implements the U.S. Standard Atmosphere 1976, equal below 32 km."""
    expected = ATMOSPHERE_1976(altitude_m).P
    assert barometric_pressure_pa(altitude_m) == pytest.approx(expected, rel=1e-5)


@pytest.mark.parametrize("altitude_m", [-501.0, 9_001.0, 29_000.0, math.nan, math.inf])
def test_an_altitude_without_ice_machines_is_refused(altitude_m: float) -> None:
    with pytest.raises(OutOfRange, match="altitude"):
        barometric_pressure_pa(altitude_m)
