"""Bands of what a machine makes in a day and uses for its ice, and what stands beside them."""

import random
from collections import Counter
from dataclasses import replace

import pytest

from tests.machines_on_file import machines, place
from tests.physics.test_healthy_is_not_accused import as_it_is, some_place, some_unit, within
from triage.physics.bands import BasisKind, adapt, basis_words, expected_band
from triage.physics.ice_maker_limits import Cooling, Equipment, energy_limit_kwh_per_100_lb
from triage.physics.machine import Machine
from triage.physics.rated import equipment_of, published, rated_production_kg_per_s, site_factor
from triage.physics.rating import RATING_CONDITIONS, production_kg_per_day
from triage.physics.sensitivity import study_of
from triage.physics.tolerances import INSTRUMENT_LIMITS, METER_LIMITS, PRODUCTION_PARTS
from triage.physics.units import Dimension, UnitSystem, unit_of
from triage.physics.virtual_machine import Cycle, reading_at, run_cycle

HEAD, REMOTE, WATER_COOLED = (
    machines()[name] for name in ("firnwerk_a320", "nordhang_rv300", "brunnmark_w900")
)
CHARTED = machines()["firnwerk_a200"]
ROOM = place(70.0, 60.0)
RATING_READINGS = ("ice_production", "energy_use", "water_use")
GREATEST_SHARE = 0.015


def as_read(generator: random.Random, cycle: Cycle, reading: str) -> float:
    if reading == "ice_production":
        batch, freeze, harvest = (
            value + within(generator, INSTRUMENT_LIMITS[part](value))
            for part, value in ((part, reading_at(cycle, part)) for part in PRODUCTION_PARTS)
        )
        return production_kg_per_day(batch, freeze, harvest) / 86_400.0
    value = reading_at(cycle, reading)
    return value + within(generator, METER_LIMITS[reading](value))


@pytest.mark.parametrize("is_generic", [False, True], ids=["on_file", "stand_in"])
def test_a_healthy_machine_is_not_accused_of_its_rating(is_generic: bool) -> None:
    """Machines, thermometers and instruments vary as in `test_healthy_is_not_accused`."""
    generator = random.Random(31)
    outside: Counter[str] = Counter()
    count = 0
    for machine in machines().values():
        model = adapt(machine, machine.refrigerant) if is_generic else machine
        for _ in range(3):
            said = some_place(generator, model)
            for _ in range(12):
                cycle = run_cycle(some_unit(generator, model), as_it_is(generator, said))
                count += 1
                for reading in RATING_READINGS:
                    band = expected_band(model, said, reading)
                    outside[reading] += not (
                        band.low <= as_read(generator, cycle, reading) <= band.high
                    )
    assert all(outside[reading] / count <= GREATEST_SHARE for reading in RATING_READINGS), outside


def test_a_band_of_production_tells_a_fifth_less_from_healthy() -> None:
    """Half a band's width is what its narrowest parts leave; a fifth missing is a complaint."""
    for machine in (HEAD, REMOTE, WATER_COOLED, CHARTED):
        band = expected_band(machine, ROOM, "ice_production")
        assert 0.8 * band.centre < band.low < 0.95 * band.centre


def test_production_is_the_models_batch_over_its_cycle() -> None:
    band = expected_band(HEAD, ROOM, "ice_production")
    batch, freeze, harvest = (expected_band(HEAD, ROOM, part).centre for part in PRODUCTION_PARTS)
    assert band.centre == pytest.approx(production_kg_per_day(batch, freeze, harvest) / 86_400.0)
    assert band.basis.kind is BasisKind.MODEL


def test_the_charts_batch_and_times_win_over_the_model() -> None:
    conditions = place(70.0, 50.0)
    band = expected_band(CHARTED, conditions, "ice_production")
    batch, freeze, harvest = (
        expected_band(CHARTED, conditions, part).centre for part in PRODUCTION_PARTS
    )
    assert band.basis.kind is BasisKind.CHART
    assert band.centre == pytest.approx(production_kg_per_day(batch, freeze, harvest) / 86_400.0)
    model = study_of(CHARTED, conditions).spread("ice_production", None)
    assert (band.centre - band.low) / band.centre == pytest.approx(model.down / model.centre)
    beyond = expected_band(CHARTED, place(45.0, 60.0), "ice_production")
    assert beyond.basis.kind is BasisKind.MODEL


def test_a_machine_not_on_file_may_make_any_amount_such_machines_make() -> None:
    stand_in = adapt(HEAD, HEAD.refrigerant)
    batch, made = (
        expected_band(stand_in, ROOM, reading) for reading in ("batch_ice_mass", "ice_production")
    )
    for band in (batch, made):
        assert band.low / band.centre == pytest.approx(0.1)
        assert band.high / band.centre == pytest.approx(8.0)
    energy = expected_band(stand_in, ROOM, "energy_use")
    assert energy.high > 2.0 * energy.centre
    assert energy.basis.beside == ()


def test_energy_stands_beside_the_published_maximum() -> None:
    """10 CFR 431.136(c): 7.05 - 0.0025 H for an air-cooled head of 300 to 800 lb."""
    pounds = unit_of("lb/24 h", Dimension.MASS_PER_DAY).from_si(
        rated_production_kg_per_s(HEAD), 0.0
    )
    assert 300.0 < pounds < 800.0
    words = basis_words(expected_band(HEAD, ROOM, "energy_use").basis, UnitSystem.US)
    assert words == (
        "computed for 70 °F air, 60 °F water; published maximum at rating conditions "
        f"{7.05 - 0.0025 * pounds:.2f} kWh/100 lb (10 CFR 431.136, air-cooled ice-making head that "
        f"makes {pounds:.0f} lb/24 h)"
    )


def test_water_stands_beside_the_ice_alone_and_the_condensers_limit() -> None:
    """12 gal/100 lb are the ice; 200 - 0.022 H for the condenser (10 CFR 431.136)."""
    pounds = unit_of("lb/24 h", Dimension.MASS_PER_DAY).from_si(
        rated_production_kg_per_s(WATER_COOLED), 0.0
    )
    limit = f"{200.0 - 0.022 * pounds:.1f}".removesuffix(".0")
    words = basis_words(expected_band(WATER_COOLED, ROOM, "water_use").basis, UnitSystem.US)
    assert "the ice alone takes 12 gal/100 lb" in words
    assert f"at most {limit} gal/100 lb at rating conditions (10 CFR 431.136)" in words
    air_cooled = basis_words(expected_band(HEAD, ROOM, "water_use").basis, UnitSystem.SI)
    assert air_cooled.endswith("the ice alone takes 100 L/100 kg")


def test_water_goes_with_the_charge_that_is_filled() -> None:
    """Half as much again is filled: half as much again is used."""
    more = replace(
        HEAD,
        evaporator=replace(HEAD.evaporator, water_charge_kg=1.5 * HEAD.evaporator.water_charge_kg),
    )
    usual, much = (expected_band(machine, ROOM, "water_use") for machine in (HEAD, more))
    assert much.centre / usual.centre == pytest.approx(1.5, rel=0.02)


@pytest.mark.parametrize(
    ("machine", "equipment", "cooling"),
    [
        (HEAD, Equipment.HEAD, Cooling.AIR),
        (REMOTE, Equipment.REMOTE, Cooling.AIR),
        (WATER_COOLED, Equipment.HEAD, Cooling.WATER),
        (
            replace(machines()["klirr_u80"], is_self_contained=True),
            Equipment.SELF_CONTAINED,
            Cooling.AIR,
        ),
    ],
    ids=["head", "remote", "water", "self_contained"],
)
def test_the_limit_is_that_of_how_a_machine_is_built(
    machine: Machine, equipment: Equipment, cooling: Cooling
) -> None:
    found = published(machine)
    assert found is not None
    assert equipment_of(machine) is equipment
    assert (found.equipment, found.cooling) == (equipment, cooling)
    pounds = unit_of("lb/24 h", Dimension.MASS_PER_DAY).from_si(
        rated_production_kg_per_s(machine), 0.0
    )
    kwh = unit_of("kWh/100 lb", Dimension.ENERGY_PER_MASS).from_si(found.energy_j_per_kg, 0.0)
    assert kwh == pytest.approx(energy_limit_kwh_per_100_lb(equipment, cooling, pounds))
    assert (found.condenser_water_m3_per_kg is None) == (cooling is Cooling.AIR)
    older = found.older_energy_j_per_kg
    assert older is None or older >= found.energy_j_per_kg


def test_nobody_knows_the_limit_of_a_machine_not_on_file() -> None:
    assert published(adapt(HEAD, HEAD.refrigerant)) is None


def test_a_machine_too_small_for_the_rule_has_no_limit() -> None:
    tiny = replace(
        HEAD,
        compressor=replace(HEAD.compressor, displacement_m3_per_s=1e-4),
        evaporator=replace(HEAD.evaporator, plate_area_m2=0.03, water_charge_kg=0.5),
    )
    assert rated_production_kg_per_s(tiny) * 86_400.0 / 0.45359237 < 50.0
    assert published(tiny) is None
    assert expected_band(tiny, ROOM, "energy_use").basis.beside == ()


def test_a_rated_production_is_brought_to_the_site_by_the_models_ratio() -> None:
    hot = place(100.0, 85.0)
    here = reading_at(run_cycle(HEAD, hot), "ice_production")
    there = reading_at(run_cycle(HEAD, RATING_CONDITIONS), "ice_production")
    assert site_factor(HEAD, hot) == pytest.approx(here / there)
    assert site_factor(HEAD, hot) < 1.0 < site_factor(HEAD, ROOM)


def test_whether_a_bin_is_built_in_is_no_part_of_what_likelihoods_rest_on() -> None:
    """Their fingerprint hashes machines as they print."""
    assert repr(replace(HEAD, is_self_contained=True)) == repr(HEAD)


def test_a_file_by_which_no_ice_is_made_is_told_without_a_fault() -> None:
    """A compressor a thousand times too small, as a slip of the comma would leave it."""
    dead = replace(HEAD, compressor=replace(HEAD.compressor, displacement_m3_per_s=1e-7))
    assert rated_production_kg_per_s(dead) == 0.0
    assert site_factor(dead, ROOM) is None
    assert published(dead) is None
    for reading in RATING_READINGS:
        band = expected_band(dead, ROOM, reading)
        assert 0.0 <= band.low <= band.centre <= band.high
