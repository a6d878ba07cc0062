"""What is seen, heard and measured on a faulty machine and no equation of the model gives. JUDGED.

Everything here is judgement of the trade, kept in this one place: how ice and water look to an eye,
what a coil does, whether a slab is called loose. Where the model has a number to go by (how much of
the plate ran dry, how long the harvest took), the look follows that number, so that it follows the
severity; elsewhere it follows the cause. All chances are of one person looking once. `JUDGED`
tells what each goes by and which causes plainly show in it.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from types import MappingProxyType

from triage.physics.circuit import Circuit
from triage.physics.fault_parts import CONTACT_GONE_AT, pulled_open, supply_share
from triage.physics.freeze import Freeze
from triage.physics.harvest import LINE_LOSS_FRACTION, run_harvest
from triage.physics.machine import CondenserKind
from triage.physics.virtual_machine import Cycle, reading_at

SHARP_EYE = 0.97
"""Chance that a plain thing is reported as it is [-]; judged."""

WARM_LINE_K = 8.0
"""How far above the room the hot gas line is called warm in the freeze [K]; judged."""

SHORTED_SHARE = 0.03
"""Resistance of a shorted winding over its rated one [-]; judged."""

Chances = Mapping[str, float]


@dataclass(frozen=True, slots=True)
class Sight:
    """One faulty machine as a person finds it.

    `usual_harvest_s` is the harvest time of a healthy machine at the same conditions [s].
    """

    cycle: Cycle
    cause_id: str
    severity: float
    variant: str
    usual_harvest_s: float


def coil_voltage_v(sight: Sight) -> float:
    """Return the voltage at the worse harvest coil [V], at a supply that is exactly nominal."""
    share = supply_share(sight.cause_id, sight.severity)
    return share * sight.cycle.machine.electrical.coil_nominal_voltage_v


def coil_resistance_ohm(sight: Sight) -> float:
    """Return the resistance of the odd harvest coil [ohm], infinite for an open one."""
    rated = sight.cycle.machine.electrical.coil_resistance_ohm
    if sight.cause_id != "harvest_coil_open" or sight.severity < CONTACT_GONE_AT:
        return rated
    return SHORTED_SHARE * rated if sight.variant.endswith("shorted") else math.inf


def chances_of(sight: Sight, reading_id: str) -> Chances:
    """Return the chance of each choice of a reading that is looked at, listened to or felt.

    Raises KeyError for a reading that is none of `LOOKS`.
    """
    return LOOKS[reading_id](sight)


# Ice


def dry_share(freeze: Freeze) -> float:
    """Return the share of the plate that ran dry, on the mean of a freeze's second half [-]."""
    half_s = 0.5 * freeze.duration_s
    late = [1.0 - moment.wet_fraction for moment in freeze.moments if moment.elapsed_s >= half_s]
    return sum(late) / len(late)


def _ice_pattern(sight: Sight) -> Chances:
    cycle = sight.cycle
    parts, evaporator = cycle.parts, cycle.machine.evaporator
    grown = cycle.freeze.ice_thickness_m / evaporator.ice_thickness_m
    excess = cycle.freeze.ice_thickness_m - evaporator.ice_thickness_m
    bare = 0.85 * _ramp(1.0 - parts.water_coverage_fraction, 0.1, 0.35)
    leaking = _ramp(parts.hot_gas_leak_fraction, 0.015, 0.08)
    shares = {
        "patchy": max(bare, 0.5 * leaking),
        "thin_at_outlet": 0.9 * _ramp(dry_share(cycle.freeze), 0.08, 0.3),
        "thin_all_over": max(0.9 * _ramp(1.0 - grown, 0.1, 0.35), 0.3 * leaking),
        "thick_or_bottom_heavy": max(
            0.6 * _ramp(excess, 0.001, 0.0035),
            0.3 * _ramp(parts.liquid_carry_over_fraction, 0.03, 0.15),
        ),
    }
    return _with_rest("even", shares)


def _water_flow(sight: Sight) -> Chances:
    bare = 1.0 - sight.cycle.parts.water_coverage_fraction
    none = SHARP_EYE * _ramp(bare, 0.8, 0.95)
    return _with_rest("even", {"none": none, "weak": SHARP_EYE * _ramp(bare, 0.05, 0.3) - none})


def _water_leak(sight: Sight) -> Chances:
    rate = sight.cycle.parts.water_leak_kg_per_s / sight.cycle.machine.evaporator.water_charge_kg
    return _with_rest("no", {"yes": SHARP_EYE * _ramp(rate, 0.0, 0.0004)})


def _fan(sight: Sight) -> Chances:
    cycle = sight.cycle
    if cycle.machine.condenser.kind is CondenserKind.WATER:
        return {"not_fitted": 1.0}
    match sight.variant:
        case "fan_stopped":
            return {"stopped": SHARP_EYE, "running": 1.0 - SHARP_EYE}
        case "fan_slow":
            return {"slow_or_cycling": 0.9, "running": 0.1}
    # Head held at its floor: a fan that cycles is at it, a head-pressure valve needs no fan to.
    circuit = Circuit(cycle.machine, cycle.conditions, cycle.parts)
    is_held = reading_at(cycle, "freeze_discharge_pressure") < 1.01 * circuit.floor_pressure_pa
    cycling = {CondenserKind.AIR: 0.7, CondenserKind.REMOTE_AIR: 0.2}[cycle.machine.condenser.kind]
    return _with_rest("running", {"slow_or_cycling": cycling if is_held else 0.02})


def _hot_gas_line(sight: Sight) -> Chances:
    """A leak warms the line by what flows through it, as in harvest."""
    area = sight.cycle.parts.hot_gas_leak_fraction
    gas_k = reading_at(sight.cycle, "discharge_line_temperature")
    room_k = sight.cycle.conditions.ambient_air_temperature_k
    warmer_k = (gas_k - room_k) * area / (area + LINE_LOSS_FRACTION)
    warm = SHARP_EYE * _ramp(warmer_k, 0.5 * WARM_LINE_K, WARM_LINE_K)
    return _with_rest("cold", {"hot_coil_off": max(0.02, warm)})


# Harvest


def held_longer(sight: Sight) -> float:
    """Return how many usual harvests this one takes [-], infinite if the slab does not let go."""
    harvest = sight.cycle.harvest
    return harvest.duration_s / sight.usual_harvest_s if harvest.is_released else math.inf


def _ice_released(sight: Sight) -> Chances:
    """The machine's own clock ends the harvest: a slab twice as slow is often still there."""
    late = _ramp(held_longer(sight), 1.5, 2.5)
    broken = 0.6 * (1.0 - _ice_pattern(sight).get("even", 0.0))
    no = 0.8 * late + 0.2 * late * late
    partly = (1.0 - no) * max(broken, 0.7 * late)
    return _with_rest("yes", {"no": SHARP_EYE * no, "partly": SHARP_EYE * partly})


def _slab_loose(sight: Sight) -> Chances:
    loose = 0.06
    if sight.cause_id == "vacuum_break_failed":
        loose = 0.85
    elif sight.cause_id == "plate_scaled_or_damaged":
        loose = 0.4
    elif held_longer(sight) < 1.7:
        loose = 0.25
    return {"yes": loose, "no": 1.0 - loose}


def _pulls_in(sight: Sight) -> Chances:
    clicks = SHARP_EYE
    silent_alone = "no"
    has_feed = sight.cycle.machine.has_receiver_vapor_feed
    match sight.cause_id:
        case "harvest_coil_unpowered" | "harvest_coil_open" if sight.severity >= CONTACT_GONE_AT:
            clicks = 0.04
        case "coil_supply_low":
            clicks = SHARP_EYE * pulled_open(
                supply_share(sight.cause_id, sight.severity), sight.variant
            )
        case "hot_gas_valve_not_opening":
            clicks = 0.65  # the plunger may move and the piston stay
            silent_alone = "feed_only" if has_feed else "no"
        case "receiver_vapor_feed_failed" if sight.variant == "solenoid":
            clicks = 0.55
            silent_alone = "hot_gas_only"
    return {"yes": clicks, silent_alone: 1.0 - clicks}


def _plate(sight: Sight) -> Chances:
    if sight.cause_id != "plate_scaled_or_damaged":
        return {"clean": SHARP_EYE, "scaled": 1.0 - SHARP_EYE}
    seen = SHARP_EYE * _ramp(sight.severity, 0.05, 0.4)
    return {sight.variant: seen, "clean": 1.0 - seen}


def _air_pump(sight: Sight) -> Chances:
    if not sight.cycle.machine.has_vacuum_break:
        return {"not_fitted": 1.0}
    runs = 0.05 if sight.cause_id == "vacuum_break_failed" else SHARP_EYE
    return {"yes": runs, "no": 1.0 - runs}


def _feed_fitted(sight: Sight) -> Chances:
    return {"fitted" if sight.cycle.machine.has_receiver_vapor_feed else "not_fitted": 1.0}


def _presence(sight: Sight) -> Chances:
    return {"none" if supply_share(sight.cause_id, sight.severity) < 0.1 else "some": 1.0}


def _by_hand(sight: Sight) -> Chances:
    """The same harvest, receiver vapor let in by hand up to what the regulator should hold."""
    cycle = sight.cycle
    parts = replace(cycle.parts, feed_opening_fraction=1.0, feed_setpoint_shift_pa=0.0)
    fed = run_harvest(Circuit(cycle.machine, cycle.conditions, parts), cycle.freeze)
    longer = fed.duration_s / sight.usual_harvest_s if fed.is_released else math.inf
    gone = SHARP_EYE * (1.0 - _ramp(longer, 1.5, 2.5))
    return {"slab_released": gone, "no_change": 0.97 - gone, "stopped_at_limit": 0.03}


def _ramp(value: float, low: float, high: float) -> float:
    return min(1.0, max(0.0, (value - low) / (high - low)))


def _with_rest(usual: str, shares: dict[str, float]) -> Chances:
    """Return `shares`, scaled to sum to 1 at most, with the rest for `usual`."""
    total = sum(shares.values())
    if total > SHARP_EYE:
        shares = {key: SHARP_EYE * share / total for key, share in shares.items()}
    return {**shares, usual: 1.0 - sum(shares.values())}


LOOKS: Mapping[str, Callable[[Sight], Chances]] = {
    "ice_pattern": _ice_pattern,
    "water_flow_over_plate": _water_flow,
    "water_leaking_into_sump": _water_leak,
    "condenser_fan_state": _fan,
    "hot_gas_line_in_freeze": _hot_gas_line,
    "ice_released": _ice_released,
    "slab_loose_but_hanging": _slab_loose,
    "receiver_vapor_feed_fitted": _feed_fitted,
    "coil_voltage_presence": _presence,
    "coil_pulls_in": _pulls_in,
    "plate_condition": _plate,
    "vacuum_break_running": _air_pump,
    "manifold_test_result": _by_hand,
}
"""Every choice reading that is looked at, listened to, felt or tried."""


@dataclass(frozen=True, slots=True)
class Judged:
    """On what a look or a measured value of a coil rests, and the causes that plainly change it.

    `follows` is the number of the model that it goes by, or the cause itself.
    """

    follows: str
    causes: tuple[str, ...] = ()


_COILS = ("harvest_coil_unpowered", "harvest_coil_open", "coil_supply_low")
_NO_HARVEST = (*_COILS, "hot_gas_valve_not_opening", "head_pressure_control_low")
_HOLDING = ("plate_scaled_or_damaged", "vacuum_break_failed")

JUDGED: Mapping[str, Judged] = MappingProxyType(
    {
        "ice_pattern": Judged(
            "how much of the plate is dry, bare or leaked on, and how thick the ice is",
            (
                "hot_gas_valve_leaking", "refrigerant_undercharge", "expansion_valve_starving",
                "expansion_valve_flooding", "water_flow_poor", "bridge_set_thick",
                "bridge_set_thin",
            ),
        ),
        "water_flow_over_plate": Judged("the share of the plate left bare", ("water_flow_poor",)),
        "water_leaking_into_sump": Judged("the leak over the charge", ("water_inlet_leaking",)),
        "condenser_fan_state": Judged(
            "the cause; that a head on its floor makes a fan cycle",
            ("condenser_airflow_poor", "water_flow_poor"),
        ),
        "hot_gas_line_in_freeze": Judged("the leak's heat in its line", ("hot_gas_valve_leaking",)),
        "ice_released": Judged(
            "how many usual harvests this one takes, and how broken the slab is",
            (
                "receiver_vapor_feed_failed", *_NO_HARVEST, *_HOLDING, "hot_gas_valve_leaking",
                "refrigerant_undercharge", "expansion_valve_starving", "water_flow_poor",
                "bridge_set_thick", "bridge_set_thin",
            ),
        ),
        "slab_loose_but_hanging": Judged("the cause, else the harvest", ("vacuum_break_failed",)),
        "coil_voltage": Judged(
            "the cause and its severity", ("harvest_coil_unpowered", "coil_supply_low")
        ),
        "coil_voltage_presence": Judged("the coil's voltage", ("harvest_coil_unpowered",)),
        "coil_resistance": Judged("the cause and its variant", ("harvest_coil_open",)),
        "coil_pulls_in": Judged(
            "the cause, for a low supply the coil's voltage",
            ("receiver_vapor_feed_failed", *_COILS, "hot_gas_valve_not_opening"),
        ),
        "receiver_vapor_feed_fitted": Judged("the machine"),
        "plate_condition": Judged("the cause and its severity", ("plate_scaled_or_damaged",)),
        "vacuum_break_running": Judged("the cause", ("vacuum_break_failed",)),
        "manifold_test_result": Judged(
            "the harvest run again with vapor let in by hand: a feed that failed lets go as usual",
            (*_NO_HARVEST, *_HOLDING, "refrigerant_undercharge"),
        ),
    }
)  # fmt: skip
"""Every reading that no equation gives, on what it rests, and the causes that plainly change it."""
