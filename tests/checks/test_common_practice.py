"""Figures of the trade an R-410A machine with remote condenser must reproduce in a 70 °F room.

All of it common practice, no source; water between 50 and 60 °F.
"""

import pytest

from tests.machines_on_file import fahrenheit, machines, place, psig
from triage.physics.bands import adapt, expected_band, manifold_window
from triage.physics.virtual_machine import HEALTHY, Parts, reading_at, run_cycle

REMOTE = machines()["gletsch_r500"]
WATERS_F = (50.0, 55.0, 60.0)
MIDDLE_SHARE = 0.15


def gauge(pascal: float) -> float:
    return (pascal - psig(0.0)) / (psig(1.0) - psig(0.0))


@pytest.mark.parametrize("water_f", WATERS_F)
@pytest.mark.parametrize(
    ("reading", "low", "high"),
    [
        ("freeze_discharge_pressure", 280.0, 340.0),
        ("harvest_discharge_pressure", 170.0, 180.0),
        ("harvest_suction_pressure", 120.0, 130.0),
        # "From about 75 to about 38 psig": a point is a range of no width.
        ("freeze_suction_pressure_early", 75.0, 75.0),
        ("freeze_suction_pressure_late", 38.0, 38.0),
    ],
)
def test_pressures_are_those_of_the_trade(
    reading: str, low: float, high: float, water_f: float
) -> None:
    band = expected_band(REMOTE, place(70.0, water_f), reading)
    assert gauge(band.low) <= high
    assert gauge(band.high) >= low
    assert gauge(band.centre) == pytest.approx(0.5 * (low + high), rel=MIDDLE_SHARE)


def test_machine_is_the_one_the_figures_are_stated_for() -> None:
    assert REMOTE.refrigerant == "R-410A"
    assert REMOTE.condenser.kind == "remote_air"


@pytest.mark.parametrize("water_f", WATERS_F)
def test_discharge_line_passes_150_fahrenheit_six_minutes_into_freeze(water_f: float) -> None:
    cycle = run_cycle(REMOTE, place(70.0, water_f))
    assert reading_at(cycle, "discharge_line_temperature", 360.0) > fahrenheit(150.0)
    band = expected_band(REMOTE, place(70.0, water_f), "discharge_line_temperature", 360.0)
    assert band.high > fahrenheit(150.0)


def test_discharge_line_rule_is_not_carried_to_another_refrigerant() -> None:
    """The same machine on R-404A runs tens of degrees cooler: one number cannot serve both."""
    cycle = run_cycle(adapt(REMOTE, "R-404A"), place(70.0, 50.0))
    assert reading_at(cycle, "discharge_line_temperature", 360.0) < fahrenheit(150.0)


@pytest.mark.parametrize(
    ("refrigerant", "low", "high"), [("R-410A", 120, 160), ("R-404A", 70, 100)]
)
def test_confirming_test_window_overlaps_what_the_trade_uses(
    refrigerant: str, low: float, high: float
) -> None:
    window = manifold_window(adapt(REMOTE, refrigerant), place(70.0, 50.0))
    overlap = min(gauge(window.high), high) - max(gauge(window.low), low)
    assert overlap > 0.5 * (high - low)


def test_both_harvest_pressures_are_clearly_low_with_the_receiver_vapor_feed_shut() -> None:
    """On a freeze that is sound: the sign by which the trade condemns the feed."""
    conditions = place(70.0, 50.0)
    shut = run_cycle(REMOTE, conditions, Parts(feed_opening_fraction=0.0))
    for reading in ("harvest_suction_pressure", "harvest_discharge_pressure"):
        band = expected_band(REMOTE, conditions, reading)
        assert reading_at(shut, reading) < band.low
        assert reading_at(shut, reading) < 0.8 * band.centre
    for reading in ("freeze_suction_pressure_late", "freeze_discharge_pressure", "freeze_time"):
        band = expected_band(REMOTE, conditions, reading)
        assert band.low <= reading_at(shut, reading) <= band.high


def test_discharge_stays_high_with_the_hot_gas_valve_shut() -> None:
    conditions = place(70.0, 50.0)
    shut = run_cycle(REMOTE, conditions, Parts(hot_gas_opening_fraction=0.0))
    band = expected_band(REMOTE, conditions, "harvest_discharge_pressure")
    assert reading_at(shut, "harvest_discharge_pressure") > band.high
    assert HEALTHY.hot_gas_opening_fraction == 1.0
