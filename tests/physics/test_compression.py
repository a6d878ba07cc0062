"""Superheat, subcooling and compression behave, and refuse what cannot be."""

import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from triage.physics.compression import (
    compression_ratio,
    discharge_temperature_k,
    isentropic_discharge,
    subcooling_k,
    superheat_k,
)
from triage.physics.errors import NotSubcooled, NotSuperheated, OutOfRange
from triage.physics.refrigerant import REFRIGERANTS
from triage.physics.tables import fluid

GAS = fluid("R-449A")
SUCTION_PA, DISCHARGE_PA = 250_000.0, 1_700_000.0


def test_superheat_counts_from_dew_and_subcooling_from_bubble() -> None:
    dew, bubble = GAS.dew_temperature_k(600_000.0), GAS.bubble_temperature_k(600_000.0)
    assert dew - bubble > 4.0
    assert superheat_k(GAS, 600_000.0, dew + 6.0) == pytest.approx(6.0)
    assert subcooling_k(GAS, 600_000.0, bubble - 4.0) == pytest.approx(4.0)
    assert superheat_k(GAS, 600_000.0, dew) == 0.0
    assert subcooling_k(GAS, 600_000.0, bubble) == 0.0


def test_vapor_colder_than_dew_is_called_wet() -> None:
    dew = GAS.dew_temperature_k(600_000.0)
    with pytest.raises(NotSuperheated, match="wet") as caught:
        superheat_k(GAS, 600_000.0, dew - 3.0)
    assert caught.value.value == pytest.approx(-3.0)


def test_liquid_warmer_than_bubble_is_said_to_hold_vapor() -> None:
    bubble = GAS.bubble_temperature_k(600_000.0)
    with pytest.raises(NotSubcooled, match="vapor in the liquid line") as caught:
        subcooling_k(GAS, 600_000.0, bubble + 2.0)
    assert caught.value.value == pytest.approx(-2.0)


def test_not_a_number_is_no_superheat() -> None:
    with pytest.raises(OutOfRange):
        superheat_k(GAS, 600_000.0, math.nan)
    with pytest.raises(OutOfRange):
        subcooling_k(GAS, math.nan, 280.0)


@pytest.mark.parametrize(
    ("suction", "discharge"),
    [(0.0, 1e6), (-1.0, 1e6), (2e6, 1e6), (math.nan, 1e6), (1e5, math.nan), (1e5, math.inf)],
)
def test_a_ratio_needs_suction_above_vacuum_and_below_discharge(
    suction: float, discharge: float
) -> None:
    with pytest.raises(OutOfRange, match="which gauge is which"):
        compression_ratio(suction, discharge)


@settings(derandomize=True, max_examples=150, deadline=None)
@given(
    st.sampled_from(sorted(REFRIGERANTS)),
    st.floats(243.0, 278.0),
    st.floats(295.0, 325.0),
    st.floats(3.0, 20.0),
    st.floats(0.55, 1.0),
    st.floats(0.3, 1.0),
)
def test_discharge_runs_hotter_with_worse_compression_and_more_heat_kept(
    refrigerant_id: str,
    evaporating_k: float,
    condensing_k: float,
    superheat: float,
    efficiency: float,
    heat_kept: float,
) -> None:
    gas = fluid(refrigerant_id)
    suction, discharge = gas.dew_pressure_pa(evaporating_k), gas.dew_pressure_pa(condensing_k)
    ideal = isentropic_discharge(gas, suction, superheat, discharge)
    assert ideal.temperature_k > evaporating_k + superheat
    full = discharge_temperature_k(gas, suction, superheat, discharge, efficiency)
    assert full >= ideal.temperature_k - 1e-6
    assert discharge_temperature_k(gas, suction, superheat, discharge, 1.0) == pytest.approx(
        ideal.temperature_k, abs=1e-6
    )
    worse = discharge_temperature_k(gas, suction, superheat, discharge, efficiency * 0.9)
    assert worse > full
    try:
        cooler = discharge_temperature_k(gas, suction, superheat, discharge, efficiency, heat_kept)
    except NotSuperheated:  # so much heat lost that the gas would start to condense
        assert heat_kept < 0.7
    else:
        assert cooler <= full + 1e-9


def test_discharge_rises_with_discharge_pressure_and_falls_with_suction_pressure() -> None:
    base = discharge_temperature_k(GAS, SUCTION_PA, 6.0, DISCHARGE_PA, 0.65)
    assert discharge_temperature_k(GAS, SUCTION_PA, 6.0, 1.1 * DISCHARGE_PA, 0.65) > base
    assert discharge_temperature_k(GAS, 0.9 * SUCTION_PA, 6.0, DISCHARGE_PA, 0.65) > base
    assert discharge_temperature_k(GAS, SUCTION_PA, 9.0, DISCHARGE_PA, 0.65) > base


@pytest.mark.parametrize("share", [0.0, -0.1, 1.01, 65.0, math.nan])
def test_a_share_must_be_a_fraction(share: float) -> None:
    with pytest.raises(OutOfRange, match="fraction, not a percent"):
        discharge_temperature_k(GAS, SUCTION_PA, 6.0, DISCHARGE_PA, share)
    with pytest.raises(OutOfRange, match="fraction, not a percent"):
        discharge_temperature_k(GAS, SUCTION_PA, 6.0, DISCHARGE_PA, 0.7, share)


def test_gas_too_hot_for_the_tables_is_refused() -> None:
    with pytest.raises(OutOfRange, match="above its dew point"):
        discharge_temperature_k(fluid("R-32"), 100_000.0, 40.0, 2_500_000.0, 0.5)
