"""The shipped machines, as tests use them."""

from __future__ import annotations

from functools import cache
from pathlib import Path

from triage.physics.machine import CondenserKind, Conditions, Machine
from triage.tree.load import load_content

TREES = Path(__file__).parent.parent / "trees"


@cache
def machines() -> dict[str, Machine]:
    """Return every machine on file by its id."""
    return dict(load_content(TREES).machines)


def fahrenheit(degrees: float) -> float:
    """Return a temperature in K."""
    return (degrees - 32.0) / 1.8 + 273.15


def psig(gauge: float) -> float:
    """Return an absolute pressure at sea level in Pa."""
    return gauge * 6894.757293168 + 101_325.0


def place(air_f: float, water_f: float, condenser_air_f: float | None = None) -> Conditions:
    """Return conditions from °F, the condenser in the room unless said otherwise."""
    at_condenser = air_f if condenser_air_f is None else condenser_air_f
    return Conditions(fahrenheit(air_f), fahrenheit(at_condenser), fahrenheit(water_f))


def corners(machine: Machine) -> list[Conditions]:
    """Return the corners and the middle of a machine's stated working limits."""
    airs = _three(machine.least_air_temperature_k, machine.greatest_air_temperature_k)
    waters = _three(machine.least_water_temperature_k, machine.greatest_water_temperature_k)
    outside: tuple[float | None, ...] = (None,)
    if machine.condenser.kind is CondenserKind.REMOTE_AIR:
        outside = _three(
            machine.least_condenser_air_temperature_k, machine.greatest_condenser_air_temperature_k
        )
    return [
        Conditions(air, air if roof is None else roof, water)
        for air in airs
        for water in waters
        for roof in outside
    ]


def _three(low: float, high: float) -> tuple[float, float, float]:
    return low, 0.5 * (low + high), high
