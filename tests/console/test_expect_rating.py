"""`triage expect` tells what a machine makes and uses, beside the published limits."""

from __future__ import annotations

import json
import re
from dataclasses import replace

import pytest

from tests.machines_on_file import machines, place
from triage.cli import main
from triage.console.expect import expected_bands, not_computed
from triage.console.expect_rating import rating_lines
from triage.physics.bands import adapt
from triage.physics.quantity import Dimension, UnitSystem, format_quantity
from triage.physics.rating import RATING_CONDITIONS
from triage.tree.content import Content, Place, Reading, ReadingKind

RATED = {
    "ice_production": ReadingKind.MASS_PER_DAY,
    "energy_use": ReadingKind.ENERGY_PER_MASS,
    "water_use": ReadingKind.VOLUME_PER_MASS,
    "fill_volume": ReadingKind.VOLUME,
}
CONTENT = Content(
    version="",
    readings={
        key: Reading(key, key, kind, Place("here", 1, 1), is_banded=True)
        for key, kind in RATED.items()
    },
    cautions={},
    causes={},
    machines=machines(),
    trees={},
)
ROOM = place(70.0, 50.0)


def test_the_table_has_what_is_made_and_used() -> None:
    machine = machines()["firnwerk_a320"]
    bands = {key: band for key, _, _, _, band in expected_bands(CONTENT, machine, ROOM)}
    for key, kind in RATED.items():
        words = format_quantity(bands[key].centre, Dimension(kind.value), UnitSystem.US)
        assert re.fullmatch(r"[0-9.]+ (lb/24 h|kWh/100 lb|gal/100 lb|gal)", words)
    stand_in = adapt(machine, machine.refrigerant)
    assert set(not_computed(CONTENT, stand_in, ROOM)) == {"fill_volume"}


def told(capsys: pytest.CaptureFixture[str], *arguments: str) -> str:
    assert main(["expect", *arguments]) == 0
    return " ".join(capsys.readouterr().out.split())


def test_a_machine_on_file_is_told_with_its_rating(capsys: pytest.CaptureFixture[str]) -> None:
    """200 - 0.022 H and 5.80 - 0.00191 H, before 2018 7.80 - 0.0055 H: 10 CFR 431.136(c), (b)."""
    out = told(capsys, "brunnmark_w250", "--air", "70 F", "--water", "50 F")
    found = re.search(
        r"Rating by the model, 90 °F air and 70 °F water \(AHRI 810\): ([0-9]+) lb/24 h; at the "
        r"conditions above ([0-9]+) lb/24 h, ([0-9.]+) times as much",
        out,
    )
    assert found is not None, out
    rated, here, factor = (float(number) for number in found.groups())
    assert here / rated == pytest.approx(factor, abs=0.01)
    assert 300.0 < rated < 500.0
    limits = re.search(
        r"Published maximum for it, water-cooled ice-making head \(10 CFR 431.136, at rating "
        r"conditions\): ([0-9.]+) kWh/100 lb, made from 2010 to 2018 ([0-9.]+) kWh/100 lb; "
        r"condenser water ([0-9.]+) gal/100 lb",
        out,
    )
    assert limits is not None, out
    energy, older, water = (float(number) for number in limits.groups())
    assert energy == pytest.approx(5.80 - 0.00191 * rated, abs=0.01)
    assert older == pytest.approx(7.80 - 0.0055 * rated, abs=0.01)
    assert water == pytest.approx(200.0 - 0.022 * rated, abs=0.1)


def test_the_rating_is_told_in_the_units_of_the_caller(
    capsys: pytest.CaptureFixture[str],
) -> None:
    out = told(capsys, "firnwerk_a320", "--units", "si")
    assert "32.2 °C air and 21.1 °C water" in out
    assert re.search(r"air-cooled ice-making head .*: [0-9.]+ kWh/100 kg, made", out)
    assert "condenser water" not in out


def test_nobody_rates_a_machine_that_is_not_on_file(capsys: pytest.CaptureFixture[str]) -> None:
    out = told(capsys, "--refrigerant", "R-404A")
    assert "Rating by the model" not in out
    assert "ice made in 24 hours" not in out
    data = json.loads(told(capsys, "--refrigerant", "R-404A", "--json"))
    assert data["rating"] is None


def test_json_has_the_rating_and_the_published_limits(capsys: pytest.CaptureFixture[str]) -> None:
    """7.97 - 0.00342 H for a remote condenser below 988 lb: 10 CFR 431.136(c), from memory."""
    rating = json.loads(told(capsys, "nordhang_rv300", "--json"))["rating"]
    assert rating["air"] == {"value": 90.0, "unit": "°F"}
    assert rating["water"] == {"value": 70.0, "unit": "°F"}
    assert rating["water_pressure"] == {"value": 30.0, "unit": "psi"}
    made = rating["ice_production"]
    assert made["unit"] == "lb/24 h"
    assert rating["ice_production_here"]["value"] == pytest.approx(
        rating["factor_here"] * made["value"], rel=1e-4
    )
    most = rating["published_maximum"]
    assert most["equipment"] == "RCU without remote compressor"
    assert most["energy_use"] == {
        "value": pytest.approx(7.97 - 0.00342 * made["value"], abs=0.001),
        "unit": "kWh/100 lb",
    }
    assert most["condenser_water_use"] is None


def test_a_size_the_rule_does_not_cover_has_a_rating_and_no_limit() -> None:
    head = machines()["firnwerk_a320"]
    tiny = replace(
        head,
        compressor=replace(head.compressor, displacement_m3_per_s=1e-4),
        evaporator=replace(head.evaporator, plate_area_m2=0.03, water_charge_kg=0.5),
    )
    lines = list(rating_lines(tiny, RATING_CONDITIONS, UnitSystem.US))
    assert len(lines) == 1
    assert lines[0].endswith("1.00 times as much")
