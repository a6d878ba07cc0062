"""Every fault moves the readings it should, the way it should, and the more the worse it is."""

from functools import cache
from itertools import pairwise

import pytest

from tests.machines_on_file import machines, place
from triage.physics.bands import expected_band
from triage.physics.errors import OutOfRange
from triage.physics.faults import (
    DOWN,
    FAULTS,
    FaultDoesNotApply,
    Move,
    UnknownFault,
    faults_of,
    parts_with,
    variants_on,
)
from triage.physics.machine import HEALTHY, Conditions, Parts
from triage.physics.observed import LOOKS, Sight, chances_of, coil_resistance_ohm, coil_voltage_v
from triage.physics.virtual_machine import Cycle, reading_at, run_cycle

# R-410A remote, R-404A remote, R-448A air, R-290 air, R-404A water: with and without vapor feed.
NAMES = ("gletsch_r500", "nordhang_rv300", "firnwerk_a320", "klirr_u50", "brunnmark_w900")
SEVERITIES = (0.0, 0.25, 0.5, 0.75, 1.0)

COLD, WARM, MILD = place(75.0, 60.0, 20.0), place(95.0, 70.0), place(75.0, 60.0)
WEATHER = {
    "head_pressure_control_low": COLD,
    "condenser_airflow_poor": WARM,
    "refrigerant_overcharge": WARM,
}
"""Where a fault can show at all; elsewhere mild."""

CASES = [
    pytest.param(name, cause, variant, id=f"{name}-{cause}-{variant}".rstrip("-"))
    for name in NAMES
    for cause in faults_of(machines()[name])
    for variant in variants_on(cause, machines()[name])
    if FAULTS[cause].moves
]


@cache
def cycle_of(name: str, cause: str, severity: float, variant: str, weather: Conditions) -> Cycle:
    machine = machines()[name]
    return run_cycle(machine, weather, parts_with(cause, severity, machine, variant))


def sight_of(name: str, cause: str, severity: float, variant: str = "") -> Sight:
    weather = WEATHER.get(cause, MILD)
    usual_s = cycle_of(name, "healthy", 0.0, "", weather).harvest.duration_s
    cycle = cycle_of(name, cause, severity, variant, weather)
    return Sight(cycle, cause, severity, variant, usual_s)


def values(name: str, cause: str, variant: str, move: Move) -> list[float]:
    weather = WEATHER.get(cause, MILD)
    cycles = [cycle_of(name, cause, severity, variant, weather) for severity in SEVERITIES]
    return [reading_at(cycle, move.reading) for cycle in cycles]


@pytest.mark.parametrize(("name", "cause", "variant"), CASES)
def test_readings_move_the_way_they_should_and_further_the_worse_it_is(
    name: str, cause: str, variant: str
) -> None:
    for move in FAULTS[cause].moves:
        found = values(name, cause, variant, move)
        # A hundredth: half open, a hot gas valve even speeds the harvest by less than that.
        ripple = 0.01 * found[0]
        rising = [move.direction * value for value in found]
        assert rising[-1] > rising[0] + ripple, (move, found)
        if move.is_steady:
            for before, after in pairwise(rising):
                assert after >= before - ripple, (move, found)
        else:
            assert min(rising[2:]) > rising[0], (move, found)


PLAIN = {
    "receiver_vapor_feed_failed": "harvest_suction_pressure",
    "harvest_coil_open": "harvest_suction_pressure",
    "hot_gas_valve_not_opening": "harvest_suction_pressure",
    "hot_gas_valve_leaking": "freeze_time",
    "refrigerant_undercharge": "liquid_subcooling",
    "refrigerant_overcharge": "liquid_subcooling",
    "condenser_airflow_poor": "freeze_discharge_pressure",
    "head_pressure_control_low": "freeze_discharge_pressure",
    "expansion_valve_starving": "suction_superheat",
    "expansion_valve_flooding": "discharge_line_temperature",
    "compressor_weak": "freeze_time",
    "plate_scaled_or_damaged": "harvest_time",
    "vacuum_break_failed": "harvest_time",
    "water_inlet_leaking": "freeze_time",
    "water_flow_poor": "batch_ice_mass",
    "bridge_set_thick": "ice_bridge_thickness",
    "bridge_set_thin": "ice_bridge_thickness",
}
"""For each fault a reading that must leave its band when the fault is severe."""


@pytest.mark.parametrize(("name", "cause", "variant"), CASES)
def test_a_severe_fault_does_not_hide_inside_the_band(name: str, cause: str, variant: str) -> None:
    if cause not in PLAIN:
        pytest.skip("its own reading shows it: volts, ohms or the water's temperature")
    machine, weather, reading = machines()[name], WEATHER.get(cause, MILD), PLAIN[cause]
    value = reading_at(cycle_of(name, cause, 1.0, variant, weather), reading)
    band = expected_band(machine, weather, reading)
    assert not band.low <= value <= band.high


@pytest.mark.parametrize("name", NAMES)
def test_a_leak_runs_the_plate_dry_before_ice_fails_altogether(name: str) -> None:
    """At 70 % of the charge superheat is up, suction and subcooling down, and ice is still made."""
    healthy = cycle_of(name, "healthy", 0.0, "", MILD)
    leaking = run_cycle(machines()[name], MILD, Parts(charge_fraction=0.7))
    assert leaking.freeze.is_complete
    assert reading_at(leaking, "liquid_subcooling") < 0.5
    assert reading_at(leaking, "suction_superheat") > reading_at(healthy, "suction_superheat") + 2.0
    for reading in ("freeze_suction_pressure_late", "freeze_discharge_pressure"):
        assert reading_at(leaking, reading) < reading_at(healthy, reading)
    assert leaking.freeze.moments[-1].wet_fraction < 0.8


@pytest.mark.parametrize("name", NAMES)
def test_a_valve_that_holds_more_superheat_leaves_an_end_of_the_plate_dry(name: str) -> None:
    healthy = cycle_of(name, "healthy", 0.0, "", MILD)
    starved = run_cycle(machines()[name], MILD, Parts(valve_superheat_shift_k=6.0))
    more_k = reading_at(starved, "suction_superheat") - reading_at(healthy, "suction_superheat")
    assert more_k == pytest.approx(6.0, abs=0.1)
    assert starved.freeze.moments[-1].wet_fraction < 0.85


def test_a_fault_of_the_harvest_leaves_the_freeze_alone() -> None:
    for cause in ("receiver_vapor_feed_failed", "hot_gas_valve_not_opening", "harvest_coil_open"):
        variant = variants_on(cause, machines()["gletsch_r500"])[0]
        faulty = cycle_of("gletsch_r500", cause, 1.0, variant, MILD)
        healthy = cycle_of("gletsch_r500", "healthy", 0.0, "", MILD)
        for reading in ("freeze_time", "freeze_discharge_pressure", "freeze_suction_pressure_late"):
            assert reading_at(faulty, reading) == reading_at(healthy, reading)


def test_a_poor_condenser_hides_on_a_cold_day_and_a_low_head_control_on_a_warm_one() -> None:
    machine = machines()["gletsch_r500"]
    for cause, weather in (("condenser_airflow_poor", COLD), ("head_pressure_control_low", WARM)):
        variant = variants_on(cause, machine)[0]
        value = reading_at(
            cycle_of(machine.id, cause, 0.5, variant, weather), "freeze_discharge_pressure"
        )
        band = expected_band(machine, weather, "freeze_discharge_pressure")
        assert band.low <= value <= band.high


def test_every_fault_says_what_moves_or_what_is_judged() -> None:
    for cause, fault in FAULTS.items():
        assert fault.moves or cause == "healthy"
        assert all(move.why for move in fault.moves)


@pytest.mark.parametrize("cause", sorted(FAULTS))
def test_severity_nought_is_a_healthy_machine(cause: str) -> None:
    name = "nordhang_rv300"  # has every part there is
    assert parts_with(cause, 0.0, machines()[name]) == HEALTHY


@pytest.mark.parametrize(
    ("name", "cause", "part"),
    [
        ("firnwerk_a320", "receiver_vapor_feed_failed", "receiver vapor feed"),
        ("firnwerk_a320", "head_pressure_control_low", "remote condenser"),
        ("brunnmark_w900", "head_pressure_control_low", "remote condenser"),
        ("brunnmark_w900", "condenser_airflow_poor", "air-cooled condenser"),
        ("klirr_u50", "vacuum_break_failed", "air pump"),
    ],
)
def test_a_part_that_is_not_there_cannot_fail(name: str, cause: str, part: str) -> None:
    with pytest.raises(FaultDoesNotApply, match=part):
        parts_with(cause, 0.5, machines()[name])
    assert cause not in faults_of(machines()[name])


def test_a_machine_without_a_feed_has_no_feed_coil_to_fail() -> None:
    assert variants_on("harvest_coil_unpowered", machines()["klirr_u50"]) == ("hot_gas",)
    with pytest.raises(UnknownFault, match="hot_gas_open"):
        parts_with("harvest_coil_open", 1.0, machines()["klirr_u50"], "feed_open")


def test_an_unknown_cause_and_a_severity_out_of_range_are_refused() -> None:
    machine = machines()["klirr_u50"]
    with pytest.raises(UnknownFault, match="compressor_weak"):
        parts_with("gremlins", 0.5, machine)
    for severity in (-0.1, 1.1):
        with pytest.raises(OutOfRange, match="severity"):
            parts_with("compressor_weak", severity, machine)


# What is judged


@pytest.mark.parametrize("reading", sorted(LOOKS))
def test_chances_of_a_look_sum_to_one_for_every_fault(reading: str) -> None:
    for name in ("nordhang_rv300", "klirr_u50"):
        for cause in faults_of(machines()[name]):
            for variant in variants_on(cause, machines()[name]):
                for severity in (0.5, 1.0):
                    chances = chances_of(sight_of(name, cause, severity, variant), reading)
                    assert sum(chances.values()) == pytest.approx(1.0)
                    assert min(chances.values()) >= 0.0


LOOKING = [
    ("refrigerant_undercharge", "", "ice_pattern", "thin_at_outlet"),
    ("expansion_valve_starving", "", "ice_pattern", "thin_at_outlet"),
    ("water_flow_poor", "weak", "ice_pattern", "patchy"),
    ("water_flow_poor", "weak", "water_flow_over_plate", "weak"),
    ("water_flow_poor", "stopped", "water_flow_over_plate", "none"),
    ("bridge_set_thick", "", "ice_pattern", "thick_or_bottom_heavy"),
    ("water_inlet_leaking", "", "water_leaking_into_sump", "yes"),
    ("hot_gas_valve_leaking", "", "hot_gas_line_in_freeze", "hot_coil_off"),
    ("plate_scaled_or_damaged", "scaled", "plate_condition", "scaled"),
    ("receiver_vapor_feed_failed", "regulator", "ice_released", "no"),
    ("receiver_vapor_feed_failed", "regulator", "manifold_test_result", "slab_released"),
]


@pytest.mark.parametrize(("cause", "variant", "reading", "choice"), LOOKING)
def test_a_look_gets_plainer_the_worse_the_fault(
    cause: str, variant: str, reading: str, choice: str
) -> None:
    sights = [sight_of("gletsch_r500", cause, severity, variant) for severity in SEVERITIES[1:]]
    found = [chances_of(sight, reading).get(choice, 0.0) for sight in sights]
    assert found == sorted(found)
    assert found[-1] > 0.5


def test_vapor_fed_by_hand_does_not_help_a_shut_hot_gas_valve() -> None:
    shut = sight_of("gletsch_r500", "hot_gas_valve_not_opening", 1.0)
    assert chances_of(shut, "manifold_test_result")["no_change"] > 0.9


def test_volts_and_ohms_follow_the_coils_fault() -> None:
    nominal = machines()["gletsch_r500"].electrical.coil_nominal_voltage_v
    assert coil_voltage_v(sight_of("gletsch_r500", "healthy", 0.0)) == nominal
    assert coil_voltage_v(sight_of("gletsch_r500", "harvest_coil_unpowered", 1.0, "feed")) == 0.0
    low = [
        coil_voltage_v(sight_of("gletsch_r500", "coil_supply_low", severity))
        for severity in SEVERITIES
    ]
    assert [DOWN * volts for volts in low] == sorted(DOWN * volts for volts in low)
    burnt = sight_of("gletsch_r500", "harvest_coil_open", 1.0, "feed_open")
    assert coil_resistance_ohm(burnt) == float("inf")
    shorted = sight_of("gletsch_r500", "harvest_coil_open", 1.0, "hot_gas_shorted")
    assert coil_resistance_ohm(shorted) < 1.0
