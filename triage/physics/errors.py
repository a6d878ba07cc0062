"""What can go wrong in the physics room.

PhysicsError(ValueError)
├── OutOfRange              a value outside the span a formula or table is good for
│   ├── NotSuperheated      vapor asked for, but liquid is still present
│   └── NotSubcooled        liquid asked for, but vapor is still present
├── UnknownRefrigerant      a name that is none of the refrigerants known here
├── UnknownNominalVoltage   a nominal voltage no table covers
└── TableUnusable           a shipped property table is missing or damaged
"""

from __future__ import annotations

import math
from collections.abc import Iterable


class PhysicsError(ValueError):
    """Root of every error raised by this room."""


class OutOfRange(PhysicsError):
    """A value lies outside the span a formula or table is good for.

    `quantity` names it in words, `value`, `least` and `greatest` are in `unit`; `mend` says what to
    do about it and is kept apart so that a surface can show it on a line of its own.
    """

    def __init__(
        self,
        quantity: str,
        value: float,
        least: float,
        greatest: float,
        unit: str,
        mend: str = "Check the reading and its unit.",
    ) -> None:
        self.quantity = quantity
        self.value = value
        self.least = least
        self.greatest = greatest
        self.unit = unit
        self.mend = mend
        super().__init__(
            f"{quantity} is {_plain(value)} {unit}, "
            f"outside {_plain(least)} to {_plain(greatest)} {unit}. {mend}"
        )


def _plain(value: float) -> str:
    """Return a number as people read it: no exponent for pressures in Pa."""
    return f"{value:,.0f}" if 1e4 <= abs(value) < 1e12 else f"{value:g}"


class NotSuperheated(OutOfRange):
    """The state is wet: vapor was asked for and liquid is still present."""


class NotSubcooled(OutOfRange):
    """The state is not all liquid: vapor is still present."""


class UnknownRefrigerant(PhysicsError):
    """No refrigerant known here goes by this name; `nearest` is the one meant most likely."""

    def __init__(self, text: str, nearest: str | None, known: Iterable[str]) -> None:
        self.text = text
        self.nearest = nearest
        guess = f" Did you mean {nearest}?" if nearest else ""
        super().__init__(
            f"No refrigerant goes by {text[:40]!r} here.{guess} Known: {', '.join(known)}."
        )


class UnknownNominalVoltage(PhysicsError):
    """No tolerance table covers this nominal voltage; `known` are the ones covered, in volts."""

    def __init__(self, nominal_v: float, known: Iterable[float]) -> None:
        self.nominal_v = nominal_v
        self.known = tuple(known)
        listed = ", ".join(f"{volt:g}" for volt in self.known)
        super().__init__(
            f"No tolerance is known for a nominal {nominal_v:g} V. "
            f"Give the nominal voltage from the data plate: {listed} V."
        )


class TableUnusable(PhysicsError):
    """A shipped property table is missing or damaged."""

    def __init__(self, refrigerant_id: str, reason: str) -> None:
        self.refrigerant_id = refrigerant_id
        super().__init__(
            f"The property table of {refrigerant_id} cannot be used: {reason}. "
            "Install the program again, or rebuild it with `python -m triage.physics.build_tables`."
        )


def require_positive(name: str, value: float, unit: str) -> float:
    """Return `value` (in `unit`); raise OutOfRange unless it is finite and above zero."""
    if not 0.0 < value < math.inf:
        raise OutOfRange(name, value, 0.0, math.inf, unit, "Give a value above zero.")
    return value


def require_not_negative(name: str, value: float, unit: str) -> float:
    """Return `value` (in `unit`); raise OutOfRange unless it is finite and not below zero."""
    if not 0.0 <= value < math.inf:
        raise OutOfRange(name, value, 0.0, math.inf, unit, "Give zero or more.")
    return value
