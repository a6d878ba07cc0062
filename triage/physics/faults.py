"""What can be wrong, as a change of the virtual machine's parts, from 0 (nothing) to 1 (gone).

A fault turns parts away from healthy and nothing else; every number read on the machine then
follows from the physics. `FAULTS` says for each cause how far each part goes and why, and which
readings move which way; the tests hold the model to those directions. What no equation gives (how
the ice looks, what a coil does) is in `triage.physics.observed`.

How far a part goes at severity 1 is judged throughout: far enough that the trade would call it
plain, not so far that no ice is made. A fault may be there and not show: a condenser short of air
on a cold day, a head-pressure control on a warm one.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from types import MappingProxyType

from triage.physics.errors import OutOfRange, PhysicsError
from triage.physics.machine import HEALTHY, CondenserKind, Machine, Parts

RESERVE_GONE_AT = 0.3
"""Severity at which a wrong charge has used up what the machine can make up for [-]; judged."""

WRONG_CHARGE = 0.35
"""Share of the rest of the charge that is wrong at severity 1 [-]; judged."""

STUCK_AT = 0.8
"""Severity from which a valve that opens badly does not open at all [-]; judged."""

PULL_IN_SHARE = (0.55, 0.75)
"""Share of the rated voltage under which a coil does not lift its valve, and from which it holds it
wide open [-]; judged, below the 85 % at which it must work (UL 429)."""

LOWEST_SUPPLY_SHARE = 0.2
"""Share of the rated voltage left at severity 1 of a low coil supply [-]; judged."""

UP, DOWN = 1, -1


class FaultDoesNotApply(PhysicsError):
    """The machine has no such part to fail; the message names the part that is not there."""

    def __init__(self, cause_id: str, machine: Machine, missing: str) -> None:
        self.cause_id = cause_id
        self.missing = missing
        super().__init__(
            f"{cause_id} cannot happen on {machine.name}: it has no {missing}. "
            "Choose a machine that has one, or another cause."
        )


class UnknownFault(PhysicsError):
    """No fault goes by this cause id or variant; the message lists those there are."""


@dataclass(frozen=True, slots=True)
class Move:
    """A reading, which way it goes as the fault gets worse, and why.

    `is_steady`: it goes further the worse the fault is; else it only stays off to that side.
    """

    reading: str
    direction: int
    why: str
    is_steady: bool = True


@dataclass(frozen=True, slots=True)
class Fault:
    """One cause as a change of parts.

    `turned` gives the parts at a severity for a machine and a variant. `needs` names the part a
    machine must have. `variants` are ways it happens that show differently, the commonest first.
    `moves` are what the equations must give; `judged` says what rests on judgement instead.
    """

    turned: Callable[[float, Machine, str], Parts]
    moves: tuple[Move, ...]
    judged: str = ""
    needs: str = ""
    variants: tuple[str, ...] = ("",)


FEED, REMOTE, AIR, BREAK = (
    "receiver vapor feed", "remote condenser", "air-cooled condenser", "air pump behind the slab"
)  # fmt: skip

_HAS: Mapping[str, Callable[[Machine], bool]] = {
    FEED: lambda machine: machine.has_receiver_vapor_feed,
    REMOTE: lambda machine: machine.condenser.kind is CondenserKind.REMOTE_AIR,
    AIR: lambda machine: machine.condenser.kind is not CondenserKind.WATER,
    BREAK: lambda machine: machine.has_vacuum_break,
}


def parts_with(
    cause_id: str, severity: float, machine: Machine, variant: str | None = None
) -> Parts:
    """Return the parts of `machine` with one fault of `severity` (0 to 1, 0 being healthy).

    `variant` is one of `variants_on(cause_id, machine)`, None for the first. Raises UnknownFault
    for a cause or variant that is not known, FaultDoesNotApply where the machine has no such part,
    OutOfRange for a severity outside 0 to 1.
    """
    if not 0.0 <= severity <= 1.0:
        raise OutOfRange("severity", severity, 0.0, 1.0, "", "Give a share from 0 to 1.")
    known = variants_on(cause_id, machine)
    chosen = known[0] if variant is None else variant
    if chosen not in known:
        raise UnknownFault(
            f'"{chosen}" is no way {cause_id} happens on {machine.name}; use {", ".join(known)}.'
        )
    return HEALTHY if severity == 0.0 else FAULTS[cause_id].turned(severity, machine, chosen)


def variants_on(cause_id: str, machine: Machine) -> tuple[str, ...]:
    """Return the ways a cause can happen on `machine`, ("",) if there is one only.

    Raises UnknownFault and FaultDoesNotApply.
    """
    fault = FAULTS.get(cause_id)
    if fault is None:
        raise UnknownFault(f'"{cause_id}" is no fault known here; use {", ".join(FAULTS)}.')
    if fault.needs and not _HAS[fault.needs](machine):
        raise FaultDoesNotApply(cause_id, machine, fault.needs)
    if machine.has_receiver_vapor_feed:
        return fault.variants
    return tuple(name for name in fault.variants if not name.startswith(("feed", "both")))


def faults_of(machine: Machine) -> tuple[str, ...]:
    """Return the cause ids that can happen on `machine`, "healthy" among them."""
    return tuple(
        cause_id
        for cause_id, fault in FAULTS.items()
        if not fault.needs or _HAS[fault.needs](machine)
    )


def supply_share(cause_id: str, severity: float) -> float:
    """Return the voltage at the worse harvest coil over its rated one [-]."""
    match cause_id:
        case "harvest_coil_unpowered":
            return 0.0 if severity >= 0.5 else 1.0
        case "coil_supply_low":
            return 1.0 - (1.0 - LOWEST_SUPPLY_SHARE) * severity
        case _:
            return 1.0


def pulled_open(share: float) -> float:
    """Return how far a valve opens on the mean of a harvest at `share` of its coil's voltage [-].

    >>> pulled_open(1.0), round(pulled_open(0.65), 2), pulled_open(0.4)
    (1.0, 0.5, 0.0)
    """
    least, full = PULL_IN_SHARE
    return min(1.0, max(0.0, (share - least) / (full - least)))


# How far each part goes


def _coil_off(severity: float, _: Machine, variant: str) -> Parts:
    # Below one half the contact comes and goes: what passes is averaged over the harvest.
    opening = max(0.0, 1.0 - 2.0 * severity)
    if variant.startswith("feed"):
        return Parts(feed_opening_fraction=opening)
    if variant.startswith("both"):
        return Parts(feed_opening_fraction=opening, hot_gas_opening_fraction=opening)
    return Parts(hot_gas_opening_fraction=opening)


def _low_supply(severity: float, _: Machine, __: str) -> Parts:
    opening = pulled_open(supply_share("coil_supply_low", severity))
    return Parts(hot_gas_opening_fraction=opening, feed_opening_fraction=opening)


def _feed_failed(severity: float, machine: Machine, variant: str) -> Parts:
    if variant == "regulator":
        return Parts(feed_setpoint_shift_pa=-0.5 * severity * machine.harvest.feed_setpoint_pa)
    return Parts(feed_opening_fraction=_crack_open(severity))


def _crack_open(severity: float) -> float:
    """Return how far a sticking valve opens: a crack, until it does not open at all."""
    return max(0.0, 1.0 - severity / STUCK_AT) ** 2


def _wrong_charge(severity: float, machine: Machine) -> float:
    reserve = machine.charge_reserve_fraction
    beyond = max(0.0, severity - RESERVE_GONE_AT) / (1.0 - RESERVE_GONE_AT)
    within = min(1.0, severity / RESERVE_GONE_AT)
    return reserve * within + WRONG_CHARGE * (1.0 - reserve) * beyond


def _flooding(severity: float, machine: Machine, _: str) -> Parts:
    lost = min(1.0, severity / 0.4) * machine.evaporator.suction_superheat_k
    carried = 0.2 * max(0.0, severity - 0.4) / 0.6
    return Parts(valve_superheat_shift_k=-lost, liquid_carry_over_fraction=carried)


def _airflow(severity: float, _: Machine, variant: str) -> Parts:
    # Still air over a standing fan carries about a tenth.
    lost = 0.9 if variant == "fan_stopped" else 0.75
    return Parts(condenser_factor=1.0 - lost * severity)


def _plate(severity: float, _: Machine, variant: str) -> Parts:
    insulating = 0.25 * severity if variant == "scaled" else 0.0
    return Parts(adhesion_factor=1.0 + 4.0 * severity, plate_conductance_factor=1.0 - insulating)


def _water_flow(severity: float, _: Machine, variant: str) -> Parts:
    bare = 0.97 * min(1.0, 2.0 * severity) if variant == "stopped" else 0.6 * severity
    return Parts(water_coverage_fraction=1.0 - bare, water_film_factor=1.0 - 0.7 * severity)


def _water_leak(severity: float, machine: Machine, _: str) -> Parts:
    # A whole charge in eight minutes at severity 1.
    return Parts(water_leak_kg_per_s=severity * machine.evaporator.water_charge_kg / 480.0)


def _moved(field: str, by: float) -> Callable[[float, Machine, str], Parts]:
    def turned(severity: float, _: Machine, __: str) -> Parts:
        return replace(HEALTHY, **{field: getattr(HEALTHY, field) + by * severity})

    return turned


# What moves, and why. Numbers and order follow how plainly it shows.

_NO_HOT_GAS = (
    Move("harvest_suction_pressure", DOWN, "no hot gas comes to the plate"),
    Move("harvest_time", UP, "no heat comes to the plate"),
)
_EITHER_SHUT = (
    "Which of the two valves it is decides the discharge pressure: it stands up behind a shut hot "
    "gas valve and sags without the receiver vapor feed. Volts, ohms and the click are judged."
)
_COILS = ("hot_gas", "feed", "both")
_WINDINGS = ("hot_gas_open", "feed_open", "hot_gas_shorted", "feed_shorted")

FAULTS: Mapping[str, Fault] = MappingProxyType({
    "healthy": Fault(lambda *_: HEALTHY, ()),
    "receiver_vapor_feed_failed": Fault(
        _feed_failed,
        (
            Move("harvest_suction_pressure", DOWN, "vapor that condenses is not made good"),
            Move("harvest_discharge_pressure", DOWN, "the compressor has next to no gas to pump"),
            Move("harvest_time", UP, "less gas carries less heat to the plate"),
        ),
        "Solenoid shut or regulator set too low: half each.",
        FEED,
        ("solenoid", "regulator"),
    ),
    "harvest_coil_unpowered": Fault(_coil_off, _NO_HOT_GAS, _EITHER_SHUT, "", _COILS),
    "harvest_coil_open": Fault(_coil_off, _NO_HOT_GAS, _EITHER_SHUT, "", _WINDINGS),
    "coil_supply_low": Fault(
        _low_supply, _NO_HOT_GAS, "How far a valve opens at which voltage, and the click."
    ),
    "hot_gas_valve_not_opening": Fault(
        lambda severity, *_: Parts(hot_gas_opening_fraction=_crack_open(severity)),
        (
            *_NO_HOT_GAS,
            # Highest while some gas still goes round; shut altogether there is less to pump.
            Move("harvest_discharge_pressure", UP, "gas is held up before the valve", False),
        ),
        "Its line turns cold only when it is shut altogether; half open, it is hotter than usual.",
    ),
    "hot_gas_valve_leaking": Fault(
        _moved("hot_gas_leak_fraction", 0.12),
        (
            Move("freeze_suction_pressure_late", UP, "the compressor pumps the leak as well"),
            Move("freeze_suction_pressure_early", UP, "the compressor pumps the leak as well"),
            Move("freeze_time", UP, "the leak's heat has to be taken out again"),
        ),
        "Ice missing where the gas comes in.",
    ),
    "refrigerant_undercharge": Fault(
        lambda severity, machine, _: Parts(charge_fraction=1.0 - _wrong_charge(severity, machine)),
        (
            Move("liquid_subcooling", DOWN, "no liquid stands in the condenser any more"),
            Move("freeze_time", UP, "part of the plate runs dry"),
            Move("suction_superheat", UP, "the dry part warms the gas"),
            # At first it rises a little: liquid that is not subcooled cools less per kilogram.
            Move("freeze_suction_pressure_late", DOWN, "less boils, the compressor pulls", False),
            Move("freeze_discharge_pressure", DOWN, "less heat, and no liquid to hold the head"),
        ),
        "Vapor in the line and dry plate per share of charge missing beyond the reserve.",
    ),
    "refrigerant_overcharge": Fault(
        lambda severity, machine, _: Parts(charge_fraction=1.0 + _wrong_charge(severity, machine)),
        (
            Move("liquid_subcooling", UP, "liquid stands in the condenser and is cooled longer"),
            Move("freeze_discharge_pressure", UP, "less of the condenser is left to condense"),
        ),
        "How much of the condenser a share of extra charge fills.",
    ),
    "condenser_airflow_poor": Fault(
        _airflow,
        (
            Move("freeze_discharge_pressure", UP, "the same heat needs a warmer condenser"),
            Move("discharge_line_temperature", UP, "the gas is compressed further"),
            Move("freeze_time", UP, "warmer liquid and a higher ratio take capacity"),
        ),
        "What the fan looks like.",
        AIR,
        ("dirty", "fan_slow", "fan_stopped"),
    ),
    "head_pressure_control_low": Fault(
        _moved("head_floor_shift_k", -20.0),
        (
            Move("freeze_discharge_pressure", DOWN, "cold air takes the head down"),
            Move("discharge_line_temperature", DOWN, "the gas is compressed less"),
            Move("harvest_suction_pressure", DOWN, "the receiver is colder and gives less vapor"),
            Move("harvest_time", UP, "the harvest has less gas and a cooler machine to draw on"),
        ),
        "",
        REMOTE,
    ),
    "expansion_valve_starving": Fault(
        lambda severity, *_: Parts(
            valve_capacity_factor=1.0 - 0.86 * severity, valve_superheat_shift_k=10.0 * severity
        ),
        (
            Move("suction_superheat", UP, "the plate runs dry before its outlet"),
            Move("freeze_suction_pressure_early", DOWN, "less boils, and the compressor draws on"),
            Move("freeze_suction_pressure_late", DOWN, "less boils, and the compressor draws on"),
            Move("freeze_time", UP, "part of the plate runs dry"),
        ),
        "Clogging and a lost bulb charge act together.",
    ),
    "expansion_valve_flooding": Fault(
        _flooding,
        (
            Move("discharge_line_temperature", DOWN, "liquid boils off in the compressor"),
            Move("suction_superheat", DOWN, "liquid leaves the plate"),
            Move("freeze_time", UP, "what leaves as liquid has cooled nothing"),
        ),
    ),
    "compressor_weak": Fault(
        lambda severity, *_: Parts(
            volumetric_factor=1.0 - 0.55 * severity, isentropic_factor=1.0 - 0.3 * severity
        ),
        (
            Move("freeze_suction_pressure_late", UP, "it takes away less gas"),
            Move("freeze_suction_pressure_early", UP, "it takes away less gas"),
            Move("freeze_time", UP, "it takes away less heat"),
            Move("harvest_discharge_pressure", DOWN, "it pumps less gas round"),
        ),
    ),
    "plate_scaled_or_damaged": Fault(
        _plate,
        (Move("harvest_time", UP, "more has to melt before the slab slides"),),
        "How far scale or damage holds on, and how it looks.",
        "",
        ("scaled", "damaged"),
    ),
    "vacuum_break_failed": Fault(
        _moved("vacuum_factor", 3.0),
        (Move("harvest_time", UP, "more has to melt before air gets behind the slab"),),
        "How long a vacuum holds; that the slab hangs loose.",
        BREAK,
    ),
    "water_inlet_leaking": Fault(
        _water_leak,
        (Move("freeze_time", UP, "the water that runs in is cooled as well"),),
        "That it is seen running.",
    ),
    "water_supply_warm": Fault(
        _moved("water_warmer_k", 18.0),
        (
            Move("water_inlet_temperature", UP, "it is the fault itself"),
            Move("freeze_time", UP, "the charge takes longer to cool"),
            Move("freeze_suction_pressure_early", UP, "warm water boils more refrigerant"),
        ),
    ),
    "water_flow_poor": Fault(
        _water_flow,
        (
            Move("batch_ice_mass", DOWN, "ice grows only where water runs"),
            Move("freeze_suction_pressure_early", DOWN, "a smaller wet plate takes less heat"),
            Move("freeze_suction_pressure_late", DOWN, "a smaller wet plate takes less heat"),
        ),
        "How the water and patchy ice look.",
        "",
        ("weak", "stopped"),
    ),
    "bridge_set_thick": Fault(
        _moved("bridge_shift_m", 0.004),
        (
            Move("ice_bridge_thickness", UP, "it is the fault itself"),
            Move("batch_ice_mass", UP, "more ice grows"),
            Move("freeze_time", UP, "more ice grows"),
            Move("freeze_suction_pressure_late", DOWN, "thick ice insulates the plate"),
        ),
    ),
    "bridge_set_thin": Fault(
        _moved("bridge_shift_m", -0.0028),
        (
            Move("ice_bridge_thickness", DOWN, "it is the fault itself"),
            Move("batch_ice_mass", DOWN, "less ice grows"),
            Move("freeze_time", DOWN, "less ice grows"),
            Move("freeze_suction_pressure_late", UP, "the freeze ends before suction has fallen"),
        ),
    ),
})  # fmt: skip
"""Every cause id, how the model makes it, and how its readings move."""
