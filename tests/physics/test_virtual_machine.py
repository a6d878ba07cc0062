"""The healthy virtual machine: balances close, and it moves the way machines move."""

from dataclasses import replace
from itertools import pairwise

import pytest

from tests.machines_on_file import fahrenheit, machines, place
from triage.physics.errors import PhysicsError
from triage.physics.ice import (
    FREEZING_POINT_K,
    ICE_DENSITY_KG_PER_M3,
    ICE_HEAT_CAPACITY_J_PER_KG_K,
    LATENT_HEAT_J_PER_KG,
    WATER_HEAT_CAPACITY_J_PER_KG_K,
)
from triage.physics.machine import CondenserKind, Machine
from triage.physics.tables import fluid
from triage.physics.virtual_machine import READING_IDS, Cycle, Parts, reading_at, run_cycle

NAMES = sorted(machines())


def cycle_of(name: str, air_f: float = 70.0, water_f: float = 60.0, **parts: float) -> Cycle:
    return run_cycle(machines()[name], place(air_f, water_f), Parts(**parts))


@pytest.mark.parametrize("name", NAMES)
def test_heat_taken_by_the_evaporator_is_what_water_plate_and_ice_gave_up(name: str) -> None:
    cycle = cycle_of(name)
    evaporator, freeze = cycle.machine.evaporator, cycle.freeze
    first, last = freeze.moments[0], freeze.moments[-1]
    cooled_k = first.water_k - FREEZING_POINT_K
    water = evaporator.water_charge_kg * WATER_HEAT_CAPACITY_J_PER_KG_K * cooled_k
    metal = evaporator.plate_heat_capacity_j_per_k * cooled_k
    ice = freeze.batch_mass_kg * LATENT_HEAT_J_PER_KG
    mean_below_k = 0.5 * (FREEZING_POINT_K - last.plate_side_k)
    ice += freeze.batch_mass_kg * ICE_HEAT_CAPACITY_J_PER_KG_K * mean_below_k
    expected = water + metal + ice + freeze.water_gain_j
    # 0.5 %: trapezoids over the steps.
    assert freeze.evaporator_heat_j == pytest.approx(expected, rel=0.005)


@pytest.mark.parametrize("name", NAMES)
def test_condenser_gives_off_what_evaporator_room_and_compressor_put_in(name: str) -> None:
    cycle = cycle_of(name)
    compressor, freeze = cycle.machine.compressor, cycle.freeze
    work_kept = freeze.electric_energy_j * compressor.motor_efficiency * compressor.heat_kept
    without_line = freeze.evaporator_heat_j + work_kept
    # The suction line takes a little heat from the room on top.
    assert 1.0 < freeze.condenser_heat_j / without_line < 1.08


@pytest.mark.parametrize("name", NAMES)
def test_heat_into_plate_and_slab_is_what_release_needs(name: str) -> None:
    harvest = cycle_of(name).harvest
    assert harvest.is_released
    assert harvest.plate_heat_j == pytest.approx(harvest.needed_heat_j, rel=1e-6)


@pytest.mark.parametrize("leak", [0.0, 0.004])
def test_water_is_either_ice_or_drained(leak: float) -> None:
    cycle = cycle_of("gletsch_r500", water_leak_kg_per_s=leak)
    filled = cycle.machine.evaporator.water_charge_kg + leak * cycle.freeze.duration_s
    assert cycle.freeze.batch_mass_kg + cycle.drained_water_kg == pytest.approx(filled)
    assert cycle.drained_water_kg > 0.0
    grown = (
        ICE_DENSITY_KG_PER_M3
        * cycle.machine.evaporator.plate_area_m2
        * cycle.freeze.ice_thickness_m
    )
    assert cycle.freeze.batch_mass_kg == pytest.approx(grown)


def test_refrigerant_drawn_from_the_receiver_is_what_went_through_the_feed() -> None:
    moments = cycle_of("gletsch_r500").harvest.moments
    fed = sum(
        0.5 * (before.feed_kg_per_s + after.feed_kg_per_s) * (after.elapsed_s - before.elapsed_s)
        for before, after in pairwise(moments)
    )
    drawn = moments[0].receiver_liquid_kg - moments[-1].receiver_liquid_kg
    assert drawn == pytest.approx(fed, rel=0.15)


@pytest.mark.parametrize("name", NAMES)
def test_warmer_air_means_higher_head_and_longer_freeze(name: str) -> None:
    if machines()[name].condenser.kind is CondenserKind.WATER:
        pytest.skip("its head is held by the water valve")
    cycles = [cycle_of(name, air_f) for air_f in (60.0, 70.0, 80.0, 90.0, 100.0)]
    heads = [reading_at(cycle, "freeze_discharge_pressure") for cycle in cycles]
    times = [reading_at(cycle, "freeze_time") for cycle in cycles]
    assert heads == sorted(heads)
    assert times == sorted(times)
    assert heads[-1] > 1.3 * heads[0]


@pytest.mark.parametrize("name", NAMES)
def test_warmer_water_means_a_longer_freeze(name: str) -> None:
    times = [
        reading_at(cycle_of(name, 75.0, water_f), "freeze_time")
        for water_f in (40.0, 50.0, 60.0, 70.0, 80.0, 90.0)
    ]
    assert times == sorted(times)
    assert times[-1] > 1.1 * times[0]


@pytest.mark.parametrize("name", NAMES)
def test_suction_falls_all_through_the_freeze(name: str) -> None:
    moments = cycle_of(name).freeze.moments
    pressures = [moment.suction_pressure_pa for moment in moments]
    # A hundredth: landing on the first ice leaves a ripple of that size.
    assert all(after <= 1.01 * before for before, after in pairwise(pressures))
    assert pressures[-1] < 0.75 * pressures[0]


def test_discharge_line_warms_up_over_minutes() -> None:
    cycle = cycle_of("gletsch_r500")
    temperatures = [
        reading_at(cycle, "discharge_line_temperature", 60.0 * minute) for minute in (1, 3, 6, 12)
    ]
    assert temperatures == sorted(temperatures)
    assert temperatures[2] - temperatures[0] > 5.0


def test_head_pressure_floor_holds_a_remote_condenser_up_in_the_cold() -> None:
    machine = machines()["gletsch_r500"]
    cold = run_cycle(machine, place(70.0, 60.0, -20.0))
    floor = fluid(machine.refrigerant).bubble_pressure_pa(
        machine.condenser.least_condensing_temperature_k
    )
    found = [moment.discharge_pressure_pa for moment in cold.freeze.moments]
    assert min(found) == pytest.approx(floor, rel=0.01)
    low = run_cycle(machine, place(70.0, 60.0, -20.0), Parts(head_floor_shift_k=-15.0))
    assert reading_at(low, "freeze_discharge_pressure") < 0.8 * floor


@pytest.mark.parametrize("name", NAMES)
def test_every_reading_is_a_number_in_si(name: str) -> None:
    cycle = cycle_of(name)
    for reading in READING_IDS:
        value = reading_at(cycle, reading)
        assert value >= 0.0
        if reading.endswith("_temperature"):
            assert 230.0 < value < 400.0
        if "pressure" in reading:
            assert 1.0e5 < value < 4.0e6


def test_readings_beyond_the_end_are_the_last_ones() -> None:
    cycle = cycle_of("gletsch_r500")
    late = reading_at(cycle, "freeze_suction_pressure_late")
    assert reading_at(cycle, "freeze_suction_pressure_late", 1e6) == late
    assert late == cycle.freeze.moments[-1].suction_pressure_pa
    first = cycle.harvest.moments[0].suction_pressure_pa
    assert reading_at(cycle, "harvest_suction_pressure", 0.0) == first


def test_an_unknown_reading_is_refused_with_those_there_are() -> None:
    with pytest.raises(PhysicsError, match="harvest_time"):
        reading_at(cycle_of("gletsch_r500"), "ice_pattern")


# Parts turned away from healthy: the readings follow, and those with no part in it stay.

SIGNS = [
    ({"feed_opening_fraction": 0.0}, {"harvest_suction_pressure": -1, "harvest_time": 1}),
    ({"hot_gas_opening_fraction": 0.0}, {"harvest_discharge_pressure": 1, "harvest_time": 1}),
    ({"hot_gas_opening_fraction": 0.0}, {"hot_gas_line_temperature": -1}),
    ({"hot_gas_leak_fraction": 0.1}, {"freeze_time": 1, "freeze_suction_pressure_late": 1}),
    ({"charge_fraction": 0.5}, {"freeze_suction_pressure_late": -1, "suction_superheat": 1}),
    ({"charge_fraction": 0.5}, {"harvest_suction_pressure": -1, "liquid_subcooling": -1}),
    ({"charge_fraction": 1.4}, {"freeze_discharge_pressure": 1, "liquid_subcooling": 1}),
    ({"condenser_factor": 0.5}, {"freeze_discharge_pressure": 1, "freeze_time": 1}),
    ({"valve_capacity_factor": 0.3}, {"freeze_suction_pressure_early": -1, "freeze_time": 1}),
    ({"valve_superheat_shift_k": 8.0}, {"suction_superheat": 1}),
    ({"liquid_carry_over_fraction": 0.15}, {"discharge_line_temperature": -1, "freeze_time": 1}),
    ({"volumetric_factor": 0.7}, {"freeze_suction_pressure_late": 1, "freeze_time": 1}),
    ({"plate_conductance_factor": 0.7}, {"freeze_suction_pressure_early": -1, "freeze_time": 1}),
    ({"adhesion_factor": 2.0}, {"harvest_time": 1}),
    ({"vacuum_factor": 2.5}, {"harvest_time": 1}),
    ({"water_coverage_fraction": 0.6}, {"batch_ice_mass": -1, "freeze_suction_pressure_late": -1}),
    ({"water_film_factor": 0.3}, {"freeze_suction_pressure_early": -1}),
    ({"water_leak_kg_per_s": 0.01}, {"freeze_time": 1}),
    ({"water_warmer_k": 10.0}, {"freeze_time": 1, "water_inlet_temperature": 1}),
    ({"bridge_shift_m": 0.003}, {"ice_bridge_thickness": 1, "freeze_time": 1, "batch_ice_mass": 1}),
    ({"bridge_shift_m": -0.002}, {"ice_bridge_thickness": -1, "freeze_time": -1}),
    # What is made in a day, and used for it.
    ({"condenser_factor": 0.5}, {"ice_production": -1, "energy_use": 1}),
    ({"volumetric_factor": 0.7}, {"ice_production": -1}),
    ({"feed_opening_fraction": 0.0}, {"ice_production": -1, "energy_use": 1}),
    ({"water_leak_kg_per_s": 0.01}, {"ice_production": -1, "energy_use": 1, "water_use": 1}),
    ({"water_warmer_k": 10.0}, {"ice_production": -1, "energy_use": 1}),
]


@pytest.mark.parametrize(("parts", "moves"), SIGNS)
def test_readings_follow_the_part_that_is_off(
    parts: dict[str, float], moves: dict[str, int]
) -> None:
    healthy, faulty = cycle_of("gletsch_r500"), cycle_of("gletsch_r500", **parts)
    for reading, direction in moves.items():
        before, after = reading_at(healthy, reading), reading_at(faulty, reading)
        assert (after - before) * direction > 1e-3 * before, reading


@pytest.mark.parametrize(
    "part",
    ["feed_opening_fraction", "hot_gas_opening_fraction", "vacuum_factor", "adhesion_factor"],
)
def test_a_fault_of_harvest_leaves_the_freeze_alone(part: str) -> None:
    healthy = cycle_of("gletsch_r500")
    faulty = cycle_of("gletsch_r500", **{part: 0.4 if part.endswith("fraction") else 2.0})
    for reading in READING_IDS:
        if reading.startswith(("freeze", "ice_b", "batch", "suction", "liquid", "water")):
            assert reading_at(faulty, reading) == pytest.approx(reading_at(healthy, reading))


def test_a_machine_without_a_receiver_vapor_feed_has_none_to_fail() -> None:
    machine = machines()["firnwerk_a200"]
    assert not machine.has_receiver_vapor_feed
    healthy = cycle_of("firnwerk_a200")
    shut = cycle_of("firnwerk_a200", feed_opening_fraction=0.0)
    assert reading_at(shut, "harvest_time") == reading_at(healthy, "harvest_time")


def test_a_freeze_that_cannot_finish_ends_at_the_longest_time() -> None:
    cycle = cycle_of("firnwerk_a200", charge_fraction=0.4)
    assert not cycle.freeze.is_complete
    longest = cycle.machine.evaporator.greatest_freeze_time_s
    assert reading_at(cycle, "freeze_time") == pytest.approx(longest)


def test_a_slab_that_will_not_let_go_ends_at_the_longest_harvest() -> None:
    cycle = cycle_of("gletsch_r500", hot_gas_opening_fraction=0.0)
    assert not cycle.harvest.is_released
    longest = cycle.machine.harvest.greatest_harvest_time_s
    assert reading_at(cycle, "harvest_time") == pytest.approx(longest)


def test_halving_the_plate_halves_the_batch() -> None:
    machine = machines()["gletsch_r500"]
    half: Machine = replace(machine, evaporator=replace(machine.evaporator, plate_area_m2=0.265))
    whole = run_cycle(machine, place(70.0, 60.0)).freeze.batch_mass_kg
    assert run_cycle(half, place(70.0, 60.0)).freeze.batch_mass_kg == pytest.approx(0.5 * whole)


def test_conditions_are_read_back_as_given() -> None:
    cycle = cycle_of("gletsch_r500", 70.0, 60.0, water_warmer_k=3.0)
    assert reading_at(cycle, "ambient_air_temperature") == pytest.approx(fahrenheit(70.0))
    assert reading_at(cycle, "water_inlet_temperature") == pytest.approx(fahrenheit(60.0) + 3.0)
