"""What can be wrong, as a change of the virtual machine's parts, from 0 (nothing) to 1 (gone).

A fault turns parts away from healthy and nothing else; every number read on the machine then
follows from the physics. `fault_parts` says how far each part goes, `fault_moves` which readings
then move which way and why, `observed` what no equation gives: how the ice looks, what a coil does.

A fault may be there and not show: a condenser short of air on a cold day, a head-pressure control
on a warm one. Readings go with the severity without a jump, save where the supply of a coil is cut
or its winding burned through; but a harvest that no longer melts its way through, or a pump that
leaves the plate dry, comes up steeply.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from types import MappingProxyType

from triage.physics import fault_parts
from triage.physics.errors import OutOfRange, PhysicsError
from triage.physics.fault_moves import DOWN, EITHER, MOVES, UP, Move
from triage.physics.fault_parts import WARMER_AT_WORST_K, Turn, moved, pulled_open, supply_share
from triage.physics.machine import HEALTHY, CondenserKind, Machine, Parts

__all__ = [
    "DOWN",
    "EITHER",
    "FAULTS",
    "UP",
    "WARMER_AT_WORST_K",
    "Fault",
    "FaultDoesNotApply",
    "Move",
    "UnknownFault",
    "faults_of",
    "moves_of",
    "parts_with",
    "pulled_open",
    "supply_share",
    "variants_on",
]


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
class Fault:
    """One cause as a change of parts.

    `turned` gives the parts at a severity for a machine and a variant. `moves` are what the
    equations must give; `judged` says which amounts of the change itself rest on judgement. `needs`
    names the part a machine must have. `variants` are ways it happens that show differently, the
    commonest first.
    """

    turned: Turn
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

_CONTACT = "That a contact comes and goes below half severity and is gone from there on."

_TOLD: Mapping[str, tuple[Turn, str, str, tuple[str, ...]]] = {
    "healthy": (fault_parts.nothing, "", "", ("",)),
    "receiver_vapor_feed_failed": (
        fault_parts.feed_failed,
        "How far a sticking valve opens, how far a regulator drifts; that both are as common.",
        FEED,
        ("solenoid", "regulator"),
    ),
    "harvest_coil_unpowered": (fault_parts.coil_off, _CONTACT, "", ("hot_gas", "feed", "both")),
    "harvest_coil_open": (
        fault_parts.coil_off,
        _CONTACT,
        "",
        ("hot_gas_open", "feed_open", "hot_gas_shorted", "feed_shorted"),
    ),
    "coil_supply_low": (
        fault_parts.low_supply,
        "How far a valve opens at which voltage.",
        "",
        tuple(fault_parts.PULL_IN_SHARE),
    ),
    "hot_gas_valve_not_opening": (
        fault_parts.hot_gas_stuck, "How far a sticking valve opens.", "", ("",),
    ),
    "hot_gas_valve_leaking": (
        moved("hot_gas_leak_fraction", 0.12),
        "The size of a leak; that it meets the refrigerant at the plate's inlet.",
        "",
        ("",),
    ),
    "refrigerant_undercharge": (
        fault_parts.undercharge,
        "Vapor in the line, dry plate and sunken floor per share of charge beyond the reserve.",
        "",
        ("",),
    ),
    "refrigerant_overcharge": (
        fault_parts.overcharge,
        "How much of the condenser extra charge fills; how much air there is, what its film costs, "
        "and that it stays in the condenser in harvest.",
        "",
        ("overcharged", "air"),
    ),
    "condenser_airflow_poor": (
        fault_parts.airflow_lost,
        "How much conductance dirt or a standing fan leaves.",
        AIR,
        ("dirty", "fan_slow", "fan_stopped"),
    ),
    "head_pressure_control_low": (
        moved("head_floor_shift_k", -20.0), "How far the floor sinks.", REMOTE, ("",),
    ),
    "expansion_valve_starving": (
        fault_parts.starving,
        "That clogging and a lost bulb charge act together; how much charge a plate holds.",
        "",
        ("",),
    ),
    "expansion_valve_flooding": (
        fault_parts.flooding, "How much liquid goes along, in freeze and harvest alike.", "", ("",),
    ),
    "compressor_weak": (
        fault_parts.worn_compressor, "How pumping and compression wear together.", "", ("",),
    ),
    "plate_scaled_or_damaged": (
        fault_parts.held_on,
        "How fast scale or damage holds the slab, and how far scale insulates.",
        "",
        ("scaled", "damaged"),
    ),
    "vacuum_break_failed": (
        moved("vacuum_factor", 3.0), "How long a vacuum holds the slab.", BREAK, ("",),
    ),
    "water_inlet_leaking": (fault_parts.water_leak, "The size of a leak.", "", ("",)),
    "water_supply_warm": (moved("water_warmer_k", WARMER_AT_WORST_K), "", "", ("",)),
    "water_flow_poor": (
        fault_parts.water_flow,
        "How much of the plate stays bare, and how the film thins with it.",
        "",
        ("weak", "stopped"),
    ),
    "bridge_set_thick": (moved("bridge_shift_m", 0.004), "", "", ("",)),
    "bridge_set_thin": (moved("bridge_shift_m", -0.0028), "", "", ("",)),
}  # fmt: skip

FAULTS: Mapping[str, Fault] = MappingProxyType(
    {
        cause_id: Fault(turned, MOVES[cause_id], judged, needs, variants)
        for cause_id, (turned, judged, needs, variants) in _TOLD.items()
    }
)
"""Every cause id, how the model makes it, and how its readings move."""


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


def moves_of(cause_id: str, variant: str) -> tuple[Move, ...]:
    """Return what a variant of a cause moves. Raises KeyError for a cause that is not known."""
    return tuple(move for move in FAULTS[cause_id].moves if move.holds_on(variant))


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
