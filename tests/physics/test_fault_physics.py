"""What faults do to the circuit, checked against the physics they stand for."""

import pytest

from tests.machines_on_file import machines, place
from triage.physics.circuit import Circuit
from triage.physics.fault_parts import AIR_AT_WORST_PA
from triage.physics.faults import parts_with
from triage.physics.machine import HEALTHY, Parts
from triage.physics.tables import fluid
from triage.physics.virtual_machine import reading_at, run_cycle

MILD, HOT = place(75.0, 60.0), place(95.0, 75.0)
WITH_RECEIVER = ("gletsch_r500", "nordhang_rv420", "brunnmark_w900")
WITHOUT = ("firnwerk_a200", "klirr_u50", "brunnmark_w250")


# Air in the circuit


@pytest.mark.parametrize("name", ["gletsch_r500", "klirr_u80"])
def test_air_adds_its_partial_pressure_to_that_of_the_refrigerant(name: str) -> None:
    """Dalton: same condenser, same heat, so the same condensing temperature under more pressure."""
    machine = machines()[name]
    usual = Circuit(machine, HOT, HEALTHY)
    airy = Circuit(machine, HOT, Parts(air_pressure_pa=200_000.0))
    for pressure in (1.5e6, 2.0e6):
        assert airy.condensing_k(pressure + 200_000.0) == pytest.approx(
            usual.condensing_k(pressure)
        )
        assert airy.liquid_k(pressure + 200_000.0) == pytest.approx(usual.liquid_k(pressure))
    without, with_air = (
        reading_at(run_cycle(machine, HOT, parts), "freeze_discharge_pressure")
        for parts in (HEALTHY, Parts(air_pressure_pa=200_000.0))
    )
    # A little less flows against the higher pressure, so a little less heat has to go.
    assert with_air - without == pytest.approx(200_000.0, rel=0.15)


@pytest.mark.parametrize("name", ["brunnmark_w250", "brunnmark_w900"])
def test_on_a_head_that_is_held_air_shows_as_subcooling_alone(name: str) -> None:
    """The gauge's bubble point, less that of the refrigerant's own pressure, is not subcooling."""
    machine = machines()[name]
    circuit = Circuit(machine, MILD, parts_with("refrigerant_overcharge", 0.5, machine, "air"))
    airy = run_cycle(machine, MILD, circuit.parts)
    usual = run_cycle(machine, MILD)
    head_pa = reading_at(airy, "freeze_discharge_pressure")
    assert head_pa == pytest.approx(reading_at(usual, "freeze_discharge_pressure"), rel=0.001)
    gas = fluid(machine.refrigerant)
    own_pa = head_pa - 0.5 * AIR_AT_WORST_PA
    seeming_k = gas.bubble_temperature_k(head_pa) - gas.bubble_temperature_k(own_pa)
    more_k = reading_at(airy, "liquid_subcooling") - reading_at(usual, "liquid_subcooling")
    assert more_k == pytest.approx(seeming_k, abs=0.05)


@pytest.mark.parametrize("name", ["gletsch_r500", "firnwerk_a320"])
def test_air_and_too_much_charge_look_alike(name: str) -> None:
    """One repair mends both: recover, evacuate, weigh in."""
    machine = machines()[name]
    usual = run_cycle(machine, HOT)
    for variant in ("overcharged", "air"):
        cycle = run_cycle(
            machine, HOT, parts_with("refrigerant_overcharge", 0.75, machine, variant)
        )
        for reading in ("liquid_subcooling", "freeze_discharge_pressure"):
            assert reading_at(cycle, reading) > 1.05 * reading_at(usual, reading)


# Liquid that the plate does not hold


def starved(name: str, reading: str) -> tuple[float, float]:
    machine = machines()[name]
    parts = parts_with("expansion_valve_starving", 0.75, machine)
    return tuple(reading_at(run_cycle(machine, MILD, found), reading) for found in (HEALTHY, parts))


@pytest.mark.parametrize("name", WITHOUT)
def test_liquid_a_starved_plate_does_not_hold_stands_in_the_condenser(name: str) -> None:
    usual, found = starved(name, "liquid_subcooling")
    assert found > usual + 1.5


@pytest.mark.parametrize("name", WITH_RECEIVER)
def test_a_receiver_takes_up_what_a_starved_plate_does_not_hold(name: str) -> None:
    usual, found = starved(name, "liquid_subcooling")
    assert found == pytest.approx(usual, abs=0.3)


@pytest.mark.parametrize("name", WITHOUT)
def test_too_little_charge_starves_the_plate_without_backing_up_liquid(name: str) -> None:
    machine = machines()[name]
    cycle = run_cycle(machine, MILD, parts_with("refrigerant_undercharge", 0.75, machine))
    assert cycle.freeze.moments[-1].wet_fraction < 0.8
    assert reading_at(cycle, "liquid_subcooling") < 0.5


@pytest.mark.parametrize("name", [*WITH_RECEIVER, *WITHOUT])
def test_what_a_starved_plate_takes_up_is_what_the_refrigerant_fed_to_it_can(name: str) -> None:
    """Energy closes: heat given off is heat taken up and the work left in the gas."""
    machine = machines()[name]
    freeze = run_cycle(machine, MILD, parts_with("expansion_valve_starving", 0.5, machine)).freeze
    compressor = machine.compressor
    work_kept = freeze.electric_energy_j * compressor.motor_efficiency * compressor.heat_kept
    # The suction line's gain from the room makes up for the rest.
    assert 0.98 < freeze.condenser_heat_j / (freeze.evaporator_heat_j + work_kept) < 1.08


# A plate run dry in harvest


@pytest.mark.parametrize("name", sorted(machines()))
def test_behind_a_shut_hot_gas_valve_the_plate_cools_only_by_what_lies_on_it(name: str) -> None:
    """With nothing left to boil, a compressor that pulls a vacuum takes no heat from the plate."""
    machine = machines()[name]
    harvest = run_cycle(machine, MILD, Parts(hot_gas_opening_fraction=0.0)).harvest
    assert not harvest.is_released
    assert min(moment.plate_k for moment in harvest.moments) > harvest.moments[0].plate_k - 8.0


@pytest.mark.parametrize("name", ["firnwerk_a320", "klirr_u50", "brunnmark_w250"])
def test_a_hot_gas_valve_that_opens_in_part_slows_the_harvest_by_degrees(name: str) -> None:
    """What gas does come still warms the plate: no step from a harvest to none at all."""
    machine = machines()[name]
    times = []
    for opening in (1.0, 0.8, 0.7, 0.6, 0.5, 0.4):
        harvest = run_cycle(machine, MILD, Parts(hot_gas_opening_fraction=opening)).harvest
        assert harvest.is_released
        times.append(harvest.duration_s)
    assert times == sorted(times)
    assert times[-1] > 1.3 * times[0]
