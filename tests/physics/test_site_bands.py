"""Bands of what is measured around a machine: supply, coils, water, upkeep."""

import pytest

from tests.machines_on_file import machines, place
from triage.physics.banded import banded_readings
from triage.physics.bands import (
    Band,
    BasisKind,
    adapt,
    basis_words,
    coil_resistance_band,
    coil_voltage_band,
    expected_band,
    fill_volume_band,
    practice_band,
    supply_voltage_band,
)
from triage.physics.errors import PhysicsError, UnknownNominalVoltage
from triage.physics.site_bands import SITE_READINGS
from triage.physics.units import UnitSystem
from triage.physics.virtual_machine import READING_IDS

HEAD = machines()["firnwerk_a200"]
ROOM = place(70.0, 60.0)
PSI_PA = 6894.757293168
HALF_A_YEAR_S = 182.5 * 86_400.0


def edges(band: Band | None) -> tuple[float, float]:
    assert band is not None
    return band.low, band.high


@pytest.mark.parametrize("reading", sorted({*READING_IDS, *SITE_READINGS}))
def test_every_reading_that_is_said_to_have_a_band_has_one(reading: str) -> None:
    band = expected_band(HEAD, ROOM, reading)
    assert 0.0 <= band.low < band.centre < band.high
    assert basis_words(band.basis, UnitSystem.US)
    assert reading in banded_readings()


@pytest.mark.parametrize(
    ("plate_v", "low_v", "high_v"),
    [
        # ANSI C84.1-2016 table 1, utilization range A, from memory.
        (120.0, 108.0, 126.0),
        (208.0, 187.0, 218.0),
        (240.0, 216.0, 252.0),
        # Plates of 115 and 200 V belong on 120 and 208 V systems: NEMA MG 1, from memory.
        (115.0, 108.0, 126.0),
        (110.0, 108.0, 126.0),
        (200.0, 187.0, 218.0),
        # IEC 60038: 230 V within 10 %.
        (230.0, 207.0, 253.0),
        (220.0, 207.0, 253.0),
    ],
)
def test_supply_is_judged_by_the_system_its_plate_belongs_to(
    plate_v: float, low_v: float, high_v: float
) -> None:
    assert edges(supply_voltage_band(plate_v)) == (low_v, high_v)


def test_a_plate_voltage_of_no_known_system_is_refused() -> None:
    with pytest.raises(UnknownNominalVoltage, match="nominal 150 V"):
        supply_voltage_band(150.0)


def test_supply_and_coils_of_a_machine_on_file_are_rated_by_its_file() -> None:
    wiring = HEAD.electrical
    supply = expected_band(HEAD, ROOM, "supply_voltage")
    assert edges(supply) == edges(supply_voltage_band(wiring.supply_voltage_v))
    assert supply.basis.kind is BasisKind.STANDARD
    volts = expected_band(HEAD, ROOM, "inlet_coil_voltage")
    assert edges(volts) == edges(coil_voltage_band(wiring.coil_nominal_voltage_v))
    # The resistance in the file is the harvest coil's; the inlet coil's is only that of its kind.
    ohms = expected_band(HEAD, ROOM, "inlet_coil_resistance")
    assert edges(ohms) == edges(coil_resistance_band(wiring.coil_nominal_voltage_v))
    assert edges(expected_band(HEAD, ROOM, "coil_resistance")) != edges(ohms)


def test_water_comes_at_20_to_80_psi() -> None:
    """Common practice, no source; AHRI 810 rates at 30 psig, from memory."""
    band = practice_band("water_supply_pressure")
    assert edges(band) == pytest.approx((20.0 * PSI_PA, 80.0 * PSI_PA))
    assert band is not None
    assert basis_words(band.basis, UnitSystem.US) == (
        "common practice, no source; machines are rated at 30 psi (AHRI 810)"
    )
    assert "rated at 2.1 bar" in basis_words(band.basis, UnitSystem.SI)


@pytest.mark.parametrize(
    ("reading", "greatest"),
    [
        # Judged, a little above what the USGS calls very hard (180 mg/L as CaCO3, from memory).
        ("water_hardness", 0.200),
        # 40 CFR 143.3, from memory.
        ("total_dissolved_solids", 0.500),
        # Common practice, no source: every six months.
        ("cleaning_age", HALF_A_YEAR_S),
        ("filter_age", HALF_A_YEAR_S),
    ],
)
def test_what_has_no_least_has_a_most(reading: str, greatest: float) -> None:
    assert edges(practice_band(reading)) == pytest.approx((0.0, greatest))


def test_a_reading_of_the_machine_itself_is_no_common_practice() -> None:
    assert practice_band("freeze_time") is None


def test_one_fill_is_the_files_charge_of_water() -> None:
    """3.15 kg of water are 3.15 L: 0.83 US gal; within 15 %, judged."""
    assert HEAD.evaporator.water_charge_kg == pytest.approx(3.15)
    band = fill_volume_band(HEAD)
    assert band.centre == pytest.approx(3.153e-3, rel=1e-3)
    assert edges(band) == pytest.approx((0.85 * band.centre, 1.15 * band.centre))


def test_nobody_knows_the_fill_of_a_machine_not_on_file() -> None:
    with pytest.raises(PhysicsError, match="on file alone"):
        expected_band(adapt(HEAD, HEAD.refrigerant), ROOM, "fill_volume")
