"""Quantities and bases in the words of the console."""

from __future__ import annotations

from dataclasses import replace

import pytest

from tests.console import sample
from triage.console.figures import AIR, WATER, basis_of
from triage.physics.bands import Band, Basis, BasisKind, coil_resistance_band, coil_voltage_band
from triage.physics.quantity import Dimension, UnitSystem, format_quantity

US, SI = UnitSystem.US, UnitSystem.SI
ANYWHERE = replace(sample.BASIS, is_any_condition=True)


@pytest.mark.parametrize(
    ("metres", "system", "words"),
    [
        (0.0254 / 8, US, "0.125 in"),
        (0.0254 * 3 / 32, US, "0.094 in"),
        (0.003175, SI, "3.2 mm"),
        (1524.0, US, "5000 ft"),
        (1524.0, SI, "1524 m"),
    ],
)
def test_a_length_is_shown_as_finely_as_a_ruler_reads(
    metres: float, system: UnitSystem, words: str
) -> None:
    assert format_quantity(metres, Dimension.LENGTH, system) == words


def test_the_one_condition_nobody_knows_is_named_as_any() -> None:
    band = Band(1.0, 3.0, 2.0, ANYWHERE)
    assert basis_of(band, "freeze_time", US, unknown=[WATER]) == (
        "computed for 70 °F air, any inlet water within its limits, minute 12"
    )
    assert basis_of(band, "freeze_time", US, unknown=[AIR]) == (
        "computed for any air temperature within its limits, 60 °F water, minute 12"
    )
    both = basis_of(band, "freeze_time", US, unknown=[AIR, WATER])
    assert both == "computed over its whole working range, minute 12"


def test_a_coils_band_names_what_the_coil_is_rated_for() -> None:
    # UL 429 and IEC 60730-2-8: 85 to 110 % of the rated voltage.
    words = basis_of(coil_voltage_band(24.0), "coil_voltage", US)
    assert words == "85 to 110 % of the rated 24 V"
    on_file = coil_resistance_band(24.0, 15.0)
    assert "machine's file" in basis_of(on_file, "coil_resistance", US)


def test_limits_of_a_machine_not_on_file_are_the_usual_ones() -> None:
    band = Band(280.0, 310.0, 295.0, Basis(BasisKind.MACHINE_FILE, "Invented 200"))
    assert "this machine's" in basis_of(band, AIR, US)
    usual = basis_of(band, AIR, US, is_on_file=False)
    assert usual == "usual limits of such machines"
