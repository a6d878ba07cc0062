"""Voltage bands against ANSI C84.1, IEC 60038, UL 429; sources stand in each row."""

import csv
from pathlib import Path
from typing import cast

import pytest

from triage.physics.electrical import (
    CoilState,
    SupplyPoint,
    SupplySpan,
    coil_band,
    coil_verdict,
    supply_band,
)

DATA = Path(__file__).parent / "data"


def rows(name: str) -> list[dict[str, str]]:
    with (DATA / name).open(newline="", encoding="utf-8") as file:
        return list(csv.DictReader(file))


@pytest.mark.parametrize(
    "row", rows("voltage_ranges.csv"), ids=lambda row: "-".join(list(row.values())[:3])
)
def test_supply_band_is_that_of_ansi_c84_1(row: dict[str, str]) -> None:
    """ANSI C84.1 table 1, from memory except the 120 V service range."""
    point, span = cast(SupplyPoint, row["point"]), cast(SupplySpan, row["range"])
    band = supply_band(float(row["nominal_v"]), point, span)
    assert (band.low_v, band.high_v) == (float(row["minimum_v"]), float(row["maximum_v"]))
    assert band.basis == f"ANSI C84.1 {point} range {span}"


@pytest.mark.parametrize("nominal_v", [120.0, 208.0, 240.0])
def test_service_range_a_is_five_percent_either_way(nominal_v: float) -> None:
    """ANSI C84.1: 0.95 to 1.05 per unit, printed to the volt."""
    band = supply_band(nominal_v, "service", "A")
    assert band.low_v == pytest.approx(0.95 * nominal_v, abs=0.61)
    assert band.high_v == pytest.approx(1.05 * nominal_v, abs=0.61)


@pytest.mark.parametrize(
    "row",
    rows("electrical_tolerances.csv"),
    ids=lambda row: f"{row['quantity']}-{row['nominal_v']}",
)
def test_coil_and_230_v_bands_are_the_standard_ones(row: dict[str, str]) -> None:
    function = coil_band if row["quantity"] == "coil" else supply_band
    band = function(float(row["nominal_v"]))
    assert band.low_v == pytest.approx(float(row["minimum_v"]))
    assert band.high_v == pytest.approx(float(row["maximum_v"]))


def test_208_v_on_a_240_v_coil_is_just_inside_its_band() -> None:
    """Arithmetic: 86.7 % of rated, the edge is 204 V."""
    band = coil_band(240.0)
    assert band.low_v == pytest.approx(204.0)
    share = 208.0 / 240.0
    assert share == pytest.approx(0.867, abs=0.0005)
    assert band.low_v < 208.0 < band.high_v


def test_a_winding_rises_a_fifth_in_resistance_when_it_warms_by_50_k() -> None:
    """IEC 60028: 0.393 % per K for copper; a hot sound coil must not be condemned."""
    hot_ohm = 20.0 * (1.0 + 0.00393 * 50.0)
    assert hot_ohm == pytest.approx(23.93)
    assert coil_verdict(24.0, hot_ohm, rated_ohm=20.0).state is CoilState.PLAUSIBLE
