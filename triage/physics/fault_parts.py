"""How far each fault turns the machine's parts, from 0 (not at all) to 1.

How far a part goes at severity 1 is judged throughout: far enough that the trade would call it
plain, not so far that no ice is made.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import replace
from types import MappingProxyType

from triage.physics.circuit import storable_fraction
from triage.physics.machine import HEALTHY, Machine, Parts

Turn = Callable[[float, Machine, str], Parts]
"""The parts at a severity, on a machine, for a variant."""

RESERVE_GONE_AT = 0.3
"""Severity at which a wrong charge has used up what the machine can make up for [-]; judged."""

MISSING_CHARGE = 0.35
"""Share of the rest of the charge that is missing at severity 1 [-]; judged."""

EXTRA_CHARGE = 0.30
"""Charge too much at severity 1, beyond what the receiver takes up, over the plate's charge [-];
judged: it fills three quarters of a condenser."""

AIR_AT_WORST_PA = 400_000.0
"""Partial pressure of air in the condenser at severity 1 [Pa]: one atmosphere of air left in a
circuit, driven into the quarter of it that is condenser and receiver; judged."""

AIR_FILM = 0.3
"""Share of the condenser's conductance that this air takes, lying on its tubes [-]; judged."""

STUCK_AT = 0.8
"""Severity from which a valve that opens badly does not open at all [-]; judged."""

CONTACT_GONE_AT = 0.5
"""Severity from which a contact or winding is gone for good [-]; judged. Below, it comes and goes:
the valve is open for part of the harvest, and a meter sees nothing wrong."""

PULL_IN_SHARE: Mapping[str, tuple[float, float]] = MappingProxyType({
    "cold_coil": (0.55, 0.75),
    "hot_coil": (0.68, 0.85),
})  # fmt: skip
"""Share of the rated voltage under which a coil does not lift its valve, and from which it holds it
wide open [-]; judged, not above the 85 % at which it must work (UL 429). A hot winding has more
resistance, so it wants more voltage for the same pull."""

LOWEST_SUPPLY_SHARE = 0.2
"""Share of the rated voltage left at severity 1 of a low coil supply [-]; judged."""

WARMER_AT_WORST_K = 18.0
"""How much too warm the supply water is at severity 1 [K]; judged."""

SUPERHEAT_GONE_AT = 0.4
"""Severity at which a flooding expansion valve leaves no superheat, and liquid starts to go along
[-]; judged."""


def supply_share(cause_id: str, severity: float) -> float:
    """Return the voltage at the worse harvest coil over its rated one [-].

    Jumps from 1 to 0 where the contact is gone for good.
    """
    match cause_id:
        case "harvest_coil_unpowered":
            return 0.0 if severity >= CONTACT_GONE_AT else 1.0
        case "coil_supply_low":
            return 1.0 - (1.0 - LOWEST_SUPPLY_SHARE) * severity
        case _:
            return 1.0


def pulled_open(share: float, variant: str) -> float:
    """Return how far a valve opens on the mean of a harvest at `share` of its coil's voltage [-].

    `variant` is one of `PULL_IN_SHARE`.

    >>> pulled_open(1.0, "cold_coil"), round(pulled_open(0.65, "cold_coil"), 2)
    (1.0, 0.5)
    >>> pulled_open(0.65, "hot_coil")
    0.0
    """
    least, full = PULL_IN_SHARE[variant]
    return min(1.0, max(0.0, (share - least) / (full - least)))


def moved(field: str, by: float) -> Turn:
    """Return the turn that moves one part by `by` times the severity."""

    def turn(severity: float, _: Machine, __: str) -> Parts:
        return replace(HEALTHY, **{field: getattr(HEALTHY, field) + by * severity})

    return turn


def nothing(_: float, __: Machine, ___: str) -> Parts:
    """Turn nothing."""
    return HEALTHY


# Harvest


def feed_failed(severity: float, machine: Machine, variant: str) -> Parts:
    """Let less receiver vapor through: by its solenoid, or by the pressure its regulator holds."""
    if variant == "regulator":
        return Parts(feed_setpoint_shift_pa=-0.5 * severity * machine.harvest.feed_setpoint_pa)
    return Parts(feed_opening_fraction=_crack_open(severity))


def coil_off(severity: float, _: Machine, variant: str) -> Parts:
    """Hold one valve or both open for less of the harvest, at last not at all."""
    opening = max(0.0, 1.0 - severity / CONTACT_GONE_AT)
    if variant.startswith("feed"):
        return Parts(feed_opening_fraction=opening)
    if variant.startswith("both"):
        return Parts(feed_opening_fraction=opening, hot_gas_opening_fraction=opening)
    return Parts(hot_gas_opening_fraction=opening)


def low_supply(severity: float, _: Machine, variant: str) -> Parts:
    """Open both valves only as far as their coils' voltage lifts them."""
    opening = pulled_open(supply_share("coil_supply_low", severity), variant)
    return Parts(hot_gas_opening_fraction=opening, feed_opening_fraction=opening)


def hot_gas_stuck(severity: float, _: Machine, __: str) -> Parts:
    """Open the hot gas valve by a crack, at last not at all."""
    return Parts(hot_gas_opening_fraction=_crack_open(severity))


def _crack_open(severity: float) -> float:
    """Return how far a sticking valve opens: a crack, until it does not open at all."""
    return max(0.0, 1.0 - severity / STUCK_AT) ** 2


def held_on(severity: float, _: Machine, variant: str) -> Parts:
    """Hold the slab on the plate; scale also keeps heat from it."""
    insulating = 0.25 * severity if variant == "scaled" else 0.0
    return Parts(adhesion_factor=1.0 + 4.0 * severity, plate_conductance_factor=1.0 - insulating)


# Refrigerant circuit


def undercharge(severity: float, machine: Machine, _: str) -> Parts:
    """Take out what the machine can spare, then what it cannot."""
    reserve = machine.charge_reserve_fraction
    missing = _past_reserve(severity, reserve, MISSING_CHARGE * (1.0 - reserve))
    return Parts(charge_fraction=1.0 - missing)


def overcharge(severity: float, machine: Machine, variant: str) -> Parts:
    """Put in what the receiver can store, then what stands in the condenser; or put in air."""
    if variant == "air":
        return Parts(
            air_pressure_pa=severity * AIR_AT_WORST_PA, condenser_factor=1.0 - AIR_FILM * severity
        )
    extra = _past_reserve(severity, storable_fraction(machine), EXTRA_CHARGE)
    return Parts(charge_fraction=1.0 + extra)


def _past_reserve(severity: float, reserve: float, beyond: float) -> float:
    """Return a wrong share of charge that first uses up `reserve`, then goes `beyond` it [-]."""
    if reserve == 0.0:
        return beyond * severity
    within = min(1.0, severity / RESERVE_GONE_AT)
    past = max(0.0, severity - RESERVE_GONE_AT) / (1.0 - RESERVE_GONE_AT)
    return reserve * within + beyond * past


def airflow_lost(severity: float, _: Machine, variant: str) -> Parts:
    """Take conductance from the condenser; still air over a standing fan carries a tenth."""
    lost = 0.9 if variant == "fan_stopped" else 0.75
    return Parts(condenser_factor=1.0 - lost * severity)


def starving(severity: float, _: Machine, __: str) -> Parts:
    """Close the expansion valve's opening and let it hold more superheat."""
    return Parts(
        valve_capacity_factor=1.0 - 0.86 * severity, valve_superheat_shift_k=10.0 * severity
    )


def flooding(severity: float, machine: Machine, _: str) -> Parts:
    """Take the superheat away, then let liquid go along to the compressor."""
    gone = min(1.0, severity / SUPERHEAT_GONE_AT)
    past = max(0.0, severity - SUPERHEAT_GONE_AT) / (1.0 - SUPERHEAT_GONE_AT)
    return Parts(
        valve_superheat_shift_k=-gone * machine.evaporator.suction_superheat_k,
        liquid_carry_over_fraction=0.2 * past,
    )


def worn_compressor(severity: float, _: Machine, __: str) -> Parts:
    """Pump less, and compress worse what is pumped."""
    return Parts(volumetric_factor=1.0 - 0.55 * severity, isentropic_factor=1.0 - 0.3 * severity)


# Water


def water_leak(severity: float, machine: Machine, _: str) -> Parts:
    """Let water run in: a whole charge in eight minutes at severity 1."""
    return Parts(water_leak_kg_per_s=severity * machine.evaporator.water_charge_kg / 480.0)


def water_flow(severity: float, _: Machine, variant: str) -> Parts:
    """Leave part of the plate bare; a pump that stops leaves all but a streak from half on."""
    bare = 0.97 * min(1.0, 2.0 * severity) if variant == "stopped" else 0.6 * severity
    return Parts(water_coverage_fraction=1.0 - bare, water_film_factor=1.0 - 0.7 * severity)
