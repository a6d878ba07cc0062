"""A band: where a healthy machine's reading lies, and what that rests on, in values and words."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

from triage.physics.machine import CondenserKind, Conditions
from triage.physics.quantity import Dimension, UnitSystem, format_quantity


class BasisKind(StrEnum):
    """What a band rests on."""

    MODEL = "model"
    CHART = "chart"
    STANDARD = "standard"
    MACHINE_FILE = "machine_file"
    ADAPTED = "adapted"


@dataclass(frozen=True, slots=True)
class Beside:
    """A figure told beside a band: `words` with a place {} for each of `amounts` (in SI)."""

    words: str
    amounts: tuple[tuple[float, Dimension], ...] = ()

    def shown(self, system: UnitSystem) -> str:
        """Return the words with the amounts in the units of `system`.

        >>> Beside("rated at {}", ((206_843.0, Dimension.WATER_PRESSURE),)).shown(UnitSystem.US)
        'rated at 30 psi'
        """
        return self.words.format(
            *(format_quantity(value, dimension, system) for value, dimension in self.amounts)
        )


@dataclass(frozen=True, slots=True)
class Basis:
    """What a band rests on, as values; `basis_words` puts it in words.

    `minute_s` is the moment it holds for, in seconds. `is_any_condition`: it covers the machine's
    whole working range, because a temperature was not known. `is_beyond_chart`: the machine has a
    chart that does not reach here. `words` say it for standards and the like; `beside` are figures
    to lay beside the band, such as a published limit.
    """

    kind: BasisKind
    machine_name: str = ""
    conditions: Conditions | None = None
    minute_s: float | None = None
    refrigerant: str = ""
    condenser_kind: CondenserKind | None = None
    is_any_condition: bool = False
    is_beyond_chart: bool = False
    is_beyond_limits: bool = False
    words: str = ""
    beside: tuple[Beside, ...] = ()


@dataclass(frozen=True, slots=True)
class Band:
    """Where a healthy machine's reading lies, in SI; pressures are absolute pascal."""

    low: float
    high: float
    centre: float
    basis: Basis


_CONDENSER_WORDS = {
    CondenserKind.REMOTE_AIR: "remote air-cooled",
    CondenserKind.AIR: "air-cooled",
    CondenserKind.WATER: "water-cooled",
}


def basis_words(basis: Basis, system: UnitSystem) -> str:
    """Return in words what a band rests on, amounts in the units of `system`.

    >>> place = Conditions(294.15, 294.15, 289.15)
    >>> basis_words(Basis(BasisKind.MODEL, "x", place, 360.0), UnitSystem.SI)
    'computed for 21 °C air, 16 °C water, minute 6'
    """
    return "; ".join([_own_words(basis, system), *(item.shown(system) for item in basis.beside)])


def _own_words(basis: Basis, system: UnitSystem) -> str:
    match basis.kind:
        case BasisKind.STANDARD:
            return basis.words
        case BasisKind.MACHINE_FILE:
            return "this machine's stated working limits"
        case BasisKind.CHART:
            if basis.is_any_condition:
                return "this machine's own chart, over its whole working range"
            return f"this machine's own chart at {_place_words(basis, system)}"
        case BasisKind.MODEL:
            words = _computed_words(basis, system)
        case BasisKind.ADAPTED:
            condenser = f"{_CONDENSER_WORDS[basis.condenser_kind]} " if basis.condenser_kind else ""
            words = (
                f"a typical {condenser}machine on {basis.refrigerant}; yours is not on file; "
                f"{_computed_words(basis, system)}"
            )
    if basis.is_beyond_chart:
        words += "; its own chart does not reach here"
    if basis.is_beyond_limits and not basis.is_any_condition:
        words += "; outside its stated working limits"
    return words


def _computed_words(basis: Basis, system: UnitSystem) -> str:
    if basis.is_any_condition:
        return "computed over its whole working range" + _minute_words(basis)
    return f"computed for {_place_words(basis, system)}{_minute_words(basis)}"


def _minute_words(basis: Basis) -> str:
    return "" if basis.minute_s is None else f", minute {round(basis.minute_s / 60.0, 1):g}"


def _place_words(basis: Basis, system: UnitSystem) -> str:
    if basis.conditions is None:
        return "the stated conditions"

    def shown(kelvin: float) -> str:
        return format_quantity(round(kelvin, 2), Dimension.TEMPERATURE, system)

    place = basis.conditions
    words = f"{shown(place.ambient_air_temperature_k)} air"
    if abs(place.condenser_air_temperature_k - place.ambient_air_temperature_k) > 0.5:
        words += f", {shown(place.condenser_air_temperature_k)} at the condenser"
    return f"{words}, {shown(place.water_inlet_temperature_k)} water"
