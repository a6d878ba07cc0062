"""Every fault moves the readings it should, the way it should, and the more the worse it is."""

from __future__ import annotations

from functools import cache
from itertools import pairwise

import pytest

from tests.machines_on_file import machines, place
from triage.physics.bands import expected_band
from triage.physics.errors import OutOfRange
from triage.physics.fault_parts import CONTACT_GONE_AT
from triage.physics.faults import (
    DOWN,
    EITHER,
    FAULTS,
    UP,
    FaultDoesNotApply,
    UnknownFault,
    faults_of,
    moves_of,
    parts_with,
    variants_on,
)
from triage.physics.machine import HEALTHY, CondenserKind, Conditions, Machine, Parts
from triage.physics.observed import (
    JUDGED,
    LOOKS,
    Sight,
    chances_of,
    coil_resistance_ohm,
    coil_voltage_v,
)
from triage.physics.tolerances import INSTRUMENT_LIMITS
from triage.physics.virtual_machine import READING_IDS, Cycle, reading_at, run_cycle

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


def cases(names: tuple[str, ...]) -> list[object]:
    return [
        pytest.param(name, cause, variant, id=f"{name}-{cause}-{variant}".rstrip("-"))
        for name in names
        for cause in faults_of(machines()[name])
        for variant in variants_on(cause, machines()[name])
        if FAULTS[cause].moves
    ]


CASES = cases(NAMES)


@cache
def cycle_with(name: str, parts: Parts, weather: Conditions) -> Cycle:
    return run_cycle(machines()[name], weather, parts)


def cycle_of(name: str, cause: str, severity: float, variant: str, weather: Conditions) -> Cycle:
    return cycle_with(name, parts_with(cause, severity, machines()[name], variant), weather)


def sight_of(
    name: str, cause: str, severity: float, variant: str = "", weather: Conditions | None = None
) -> Sight:
    weather = weather or WEATHER.get(cause, MILD)
    usual_s = cycle_of(name, "healthy", 0.0, "", weather).harvest.duration_s
    cycle = cycle_of(name, cause, severity, variant, weather)
    return Sight(cycle, cause, severity, variant, usual_s)


# Directions and monotony


def hot_and_cold(machine: Machine) -> tuple[Conditions, Conditions]:
    """Return the edges of what machines meet; for a remote condenser a cold roof."""
    if machine.condenser.kind is CondenserKind.REMOTE_AIR:
        return place(90.0, 75.0, 110.0), place(70.0, 55.0, 15.0)
    return place(98.0, 80.0), place(55.0, 45.0)


def in_limits(reading: str, healthy: float, value: float) -> float:
    """Return how far a reading has moved, in limits of error of its instrument."""
    limit = INSTRUMENT_LIMITS[reading](healthy) if reading in INSTRUMENT_LIMITS else 1.0
    return (value - healthy) / limit


@cache
def moved(
    name: str, cause: str, variant: str, reading: str, weather: Conditions, severities: tuple[float]
) -> list[float]:
    """Return how far a reading has moved at each severity, in limits of its instrument."""
    healthy = reading_at(cycle_of(name, cause, 0.0, variant, weather), reading)
    return [
        in_limits(
            reading, healthy, reading_at(cycle_of(name, cause, step, variant, weather), reading)
        )
        for step in severities
    ]


RIPPLE = 0.5
"""How far a reading may turn back between two severities, in limits of its instrument: an eddy that
nobody could measure."""


@pytest.mark.parametrize(("name", "cause", "variant"), cases(tuple(sorted(machines()))))
def test_readings_move_the_way_they_should_and_further_the_worse_it_is(
    name: str, cause: str, variant: str
) -> None:
    hot, cold = hot_and_cold(machines()[name])
    for weather, severities in ((MILD, SEVERITIES), (hot, (0.0, 0.5, 1.0)), (cold, (0.0, 1.0))):
        for move in moves_of(cause, variant):
            if move.direction == EITHER:
                continue
            found = moved(name, cause, variant, move.reading, weather, severities)
            rising = [move.direction * value for value in found]
            if move.is_steady:
                for before, after in pairwise(rising):
                    assert after >= before - RIPPLE, (weather, move, found)
            late = [value for step, value in zip(severities, rising, strict=True) if step >= 0.5]
            assert min(late) > -RIPPLE, (weather, move, found)


@pytest.mark.parametrize(("name", "cause", "variant"), cases(tuple(sorted(machines()))))
def test_where_a_fault_can_show_its_plainest_reading_goes_far_beyond_the_instruments_error(
    name: str, cause: str, variant: str
) -> None:
    plainest, weather = moves_of(cause, variant)[0], WEATHER.get(cause, MILD)
    (found,) = moved(name, cause, variant, plainest.reading, weather, (1.0,))
    assert plainest.is_steady
    assert plainest.direction * found > 2.0, (plainest, found)


@pytest.mark.parametrize("cause", sorted(set(FAULTS) - {"healthy"}))
def test_every_move_goes_beyond_the_instruments_error_somewhere(cause: str) -> None:
    """One that goes either way must be seen off to both sides, beyond what is an eddy."""
    for move in FAULTS[cause].moves:
        far = [
            value
            for name in sorted(machines())
            if cause in faults_of(machines()[name])
            for variant in variants_on(cause, machines()[name])
            if move.holds_on(variant)
            for weather in (MILD, *hot_and_cold(machines()[name]))
            for value in moved(name, cause, variant, move.reading, weather, (0.25, 0.5, 1.0))
        ]
        if move.direction == EITHER:
            assert max(abs(value) for value in far) > 1.0, move
            assert min(far) < -0.5 < 0.5 < max(far), move
        else:
            assert max(move.direction * value for value in far) > 1.0, move


@pytest.mark.parametrize(("name", "cause", "variant"), CASES)
def test_a_mild_fault_leaves_all_other_readings_well_inside_their_bands(
    name: str, cause: str, variant: str
) -> None:
    told = {move.reading for move in moves_of(cause, variant)}
    healthy, weather = cycle_of(name, cause, 0.0, variant, MILD), MILD
    for severity in (0.25, 1.0):
        faulty = cycle_of(name, cause, severity, variant, weather)
        for reading in set(INSTRUMENT_LIMITS) - told:
            band = expected_band(machines()[name], weather, reading)
            share = 0.25 if severity < 1.0 else 0.6
            change = reading_at(faulty, reading) - reading_at(healthy, reading)
            half = 0.5 * (band.high - band.low)
            assert abs(change) < share * half, (reading, severity, change, half)


@pytest.mark.parametrize(
    ("cause", "reading", "direction"),
    [
        # Rules of fault diagnosis for vapor compression with an expansion valve, after Rossi and
        # Braun 1997 and Breuker and Braun 1998 (HVAC&R Research); from memory.
        ("refrigerant_undercharge", "liquid_subcooling", DOWN),
        ("refrigerant_undercharge", "suction_superheat", UP),
        ("refrigerant_undercharge", "freeze_suction_pressure_late", DOWN),
        ("refrigerant_undercharge", "freeze_discharge_pressure", DOWN),
        ("refrigerant_overcharge", "liquid_subcooling", UP),
        ("refrigerant_overcharge", "freeze_discharge_pressure", UP),
        ("refrigerant_overcharge", "discharge_line_temperature", UP),
        ("condenser_airflow_poor", "freeze_discharge_pressure", UP),
        ("condenser_airflow_poor", "discharge_line_temperature", UP),
        # A blocked liquid line, which is what a clogged expansion valve comes to.
        ("expansion_valve_starving", "freeze_suction_pressure_late", DOWN),
        ("expansion_valve_starving", "suction_superheat", UP),
        ("expansion_valve_starving", "liquid_subcooling", UP),
        ("expansion_valve_starving", "discharge_line_temperature", UP),
        # Leaking compressor valves.
        ("compressor_weak", "freeze_suction_pressure_late", UP),
        ("compressor_weak", "freeze_discharge_pressure", DOWN),
        # An evaporator that takes up less heat.
        ("water_flow_poor", "freeze_suction_pressure_late", DOWN),
        ("water_flow_poor", "freeze_discharge_pressure", DOWN),
        # Valves that do not open in harvest; common practice, no source.
        ("hot_gas_valve_not_opening", "harvest_suction_pressure", DOWN),
        ("hot_gas_valve_leaking", "freeze_suction_pressure_late", UP),
    ],
)
def test_directions_are_those_of_the_literature(cause: str, reading: str, direction: int) -> None:
    assert [move.direction for move in FAULTS[cause].moves if move.reading == reading] == [
        direction
    ]


@pytest.mark.parametrize("name", ["gletsch_r500", "firnwerk_a320"])
def test_readings_go_with_the_severity_without_a_jump(name: str) -> None:
    """Between a hundredth more and a hundredth less no reading makes half its whole way.

    Steep places are let off: where the harvest stalls, a pump leaves the plate dry, a valve shuts.
    """
    steep = {
        "hot_gas_valve_not_opening", "coil_supply_low", "harvest_coil_unpowered",
        "harvest_coil_open", "water_flow_poor",
    }  # fmt: skip
    for cause in set(faults_of(machines()[name])) - steep - {"healthy"}:
        variant = variants_on(cause, machines()[name])[0]
        weather = WEATHER.get(cause, MILD)
        for reading in [move.reading for move in moves_of(cause, variant) if move.is_steady]:
            whole = max(2.0, abs(moved(name, cause, variant, reading, weather, (1.0,))[0]))
            for middle in (0.3, 0.4, 0.6, 0.8):
                pair = (middle - 0.01, middle + 0.01)
                below, above = moved(name, cause, variant, reading, weather, pair)
                assert abs(above - below) < 0.15 * whole, (cause, reading, middle, below, above)


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


def test_every_fault_says_what_moves_and_why() -> None:
    for cause, fault in FAULTS.items():
        assert fault.moves or cause == "healthy"
        assert all(move.why and move.reading in READING_IDS for move in fault.moves)
        assert all(any(move.holds_on(name) for name in fault.variants) for move in fault.moves)
        for variant in fault.variants:
            told = [move.reading for move in moves_of(cause, variant)]
            assert len(told) == len(set(told)), (cause, variant)


@pytest.mark.parametrize("name", sorted(machines()))
def test_severity_nought_is_a_healthy_machine_and_the_least_severity_nearly_so(name: str) -> None:
    machine = machines()[name]
    for cause in faults_of(machine):
        for variant in variants_on(cause, machine):
            assert parts_with(cause, 0.0, machine, variant) == HEALTHY
            least = parts_with(cause, 1e-9, machine, variant)
            for part in type(HEALTHY).__dataclass_fields__:
                assert getattr(least, part) == pytest.approx(getattr(HEALTHY, part), abs=0.01)


def test_every_cause_but_health_turns_a_part_and_the_further_the_worse() -> None:
    machine = machines()["nordhang_rv300"]
    for cause in set(FAULTS) - {"healthy"}:
        for variant in variants_on(cause, machine):
            turned = [parts_with(cause, severity, machine, variant) for severity in SEVERITIES]
            for part in type(HEALTHY).__dataclass_fields__:
                away = [abs(getattr(parts, part) - getattr(HEALTHY, part)) for parts in turned]
                assert away == sorted(away), (cause, part)
            assert turned[0] == HEALTHY != turned[2]


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


def plainly_changed(look: str) -> set[str]:
    """Return the causes that, at their worst, change what is said of a look by a quarter."""
    changed = set()
    for name in ("nordhang_rv300", "firnwerk_a320"):
        for cause in set(faults_of(machines()[name])) - {"healthy"}:
            weather = WEATHER.get(cause, MILD)
            usual = chances_of(sight_of(name, "healthy", 0.0, "", weather), look)
            for variant in variants_on(cause, machines()[name]):
                found = chances_of(sight_of(name, cause, 1.0, variant), look)
                choices = set(found) | set(usual)
                apart = sum(abs(found.get(key, 0.0) - usual.get(key, 0.0)) for key in choices)
                if 0.5 * apart > 0.25:
                    changed.add(cause)
    return changed


@pytest.mark.parametrize("look", sorted(LOOKS))
def test_the_causes_told_to_change_a_look_are_those_that_do(look: str) -> None:
    assert plainly_changed(look) == set(JUDGED[look].causes)


def test_everything_that_no_equation_gives_is_told_to_be_judged() -> None:
    assert set(JUDGED) == {*LOOKS, "coil_voltage", "coil_resistance"}
    for judged in JUDGED.values():
        assert set(judged.causes) <= set(FAULTS)
    for cause in JUDGED["coil_voltage"].causes:
        sight = sight_of(
            "gletsch_r500", cause, 1.0, variants_on(cause, machines()["gletsch_r500"])[0]
        )
        assert coil_voltage_v(sight) < 0.5 * coil_voltage_v(
            sight_of("gletsch_r500", "healthy", 0.0)
        )


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
        coil_voltage_v(sight_of("gletsch_r500", "coil_supply_low", severity, "hot_coil"))
        for severity in SEVERITIES
    ]
    assert [DOWN * volts for volts in low] == sorted(DOWN * volts for volts in low)
    # Below, the contact comes and goes, and a meter sees nothing.
    mild = sight_of("gletsch_r500", "harvest_coil_unpowered", CONTACT_GONE_AT - 0.01, "feed")
    assert coil_voltage_v(mild) == nominal
    burnt = sight_of("gletsch_r500", "harvest_coil_open", 1.0, "feed_open")
    assert coil_resistance_ohm(burnt) == float("inf")
    shorted = sight_of("gletsch_r500", "harvest_coil_open", 1.0, "hot_gas_shorted")
    assert coil_resistance_ohm(shorted) < 1.0
