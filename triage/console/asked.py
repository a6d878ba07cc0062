"""Command-line values into typed ones, each with a message that says how to mend it."""

from __future__ import annotations

from collections.abc import Mapping

from triage.physics.machine import Machine
from triage.physics.pressure import barometric_pressure_pa
from triage.physics.quantity import Dimension, UnitSystem, default_unit_of, parse_quantity
from triage.tree.errors import nearest, quoted


class UsageError(Exception):
    """The command line asks for something that cannot be done; says what to type instead."""


def altitude_m(text: str | None) -> float:
    """Return a site's height [m], sea level if none is given.

    Raises QuantityError for what is no height and OutOfRange for one without an air pressure.
    """
    if text is None:
        return 0.0
    height_m = parse_quantity(text, Dimension.LENGTH, None).si()
    barometric_pressure_pa(height_m)
    return height_m


def quantity_si(
    text: str, dimension: Dimension, system: UnitSystem, barometric_pressure_pa: float
) -> float:
    """Return a typed quantity in SI, a bare number in the system's unit; raises QuantityError."""
    default = default_unit_of(dimension, system)
    return parse_quantity(text, dimension, default).si(barometric_pressure_pa)


def machine_named(machines: Mapping[str, Machine], text: str) -> Machine:
    """Return the machine on file with this id or name; raises UsageError with the nearest one."""
    wanted = _key(text)
    for machine in machines.values():
        if wanted in {_key(word) for word in (machine.id, machine.name, *machine.spoken)}:
            return machine
    raise UsageError(
        f"no machine on file is called {quoted(text)}{nearest(text, machines)}; "
        "triage expect without a machine lists them"
    )


def _key(text: str) -> str:
    return "".join(char for char in text.casefold() if char.isalnum())
