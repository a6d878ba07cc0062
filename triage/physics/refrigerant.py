"""The refrigerants the program knows: names, safety class and what they are made of."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType

from triage.physics.errors import UnknownRefrigerant


@dataclass(frozen=True, slots=True)
class Refrigerant:
    """One refrigerant.

    `coolprop_name` is what the property library calls it, `safety_class` is that of ASHRAE 34
    (A1 no flame propagation, A2L lower flammability, A3 higher flammability), `composition` maps
    component ids to mass fractions, `spoken` are other names people use.
    """

    id: str
    coolprop_name: str
    safety_class: str
    composition: Mapping[str, float]
    spoken: tuple[str, ...] = ()

    @property
    def is_flammable(self) -> bool:
        """Whether its safety class asks for precautions against fire (2L, 2 or 3)."""
        return not self.safety_class.endswith("1")

    @property
    def is_blend(self) -> bool:
        """Whether it is a mixture, so that bubble and dew point may lie apart."""
        return len(self.composition) > 1


def _pure(number: str, coolprop_name: str, safety_class: str, *spoken: str) -> Refrigerant:
    name = f"R-{number}"
    return Refrigerant(name, coolprop_name, safety_class, MappingProxyType({name: 1.0}), spoken)


def _blend(number: str, safety_class: str, percent: Mapping[str, float]) -> Refrigerant:
    composition = {f"R-{component}": share / 100.0 for component, share in percent.items()}
    return Refrigerant(f"R-{number}", f"R{number}.mix", safety_class, MappingProxyType(composition))


# Safety classes and compositions by mass: ASHRAE 34 designations.
REFRIGERANTS: Mapping[str, Refrigerant] = MappingProxyType(
    {
        refrigerant.id: refrigerant
        for refrigerant in (
            _pure("134a", "R134a", "A1", "tetrafluoroethane"),
            _pure("290", "n-Propane", "A3", "propane"),
            _pure("22", "R22", "A1", "chlorodifluoromethane"),
            _pure("32", "R32", "A2L", "difluoromethane"),
            _blend("404A", "A1", {"125": 44, "143a": 52, "134a": 4}),
            _blend("507A", "A1", {"125": 50, "143a": 50}),
            _blend("410A", "A1", {"32": 50, "125": 50}),
            _blend("407A", "A1", {"32": 20, "125": 40, "134a": 40}),
            _blend("448A", "A1", {"32": 26, "125": 26, "1234yf": 20, "134a": 21, "1234ze(E)": 7}),
            _blend("449A", "A1", {"32": 24.3, "125": 24.7, "1234yf": 25.3, "134a": 25.7}),
            _blend("452A", "A1", {"32": 11, "125": 59, "1234yf": 30}),
            _blend("454B", "A2L", {"32": 68.9, "1234yf": 31.1}),
            _blend("454C", "A2L", {"32": 21.5, "1234yf": 78.5}),
        )
    }
)
"""Every refrigerant by its id, such as `R-404A`."""


def _key(text: str) -> str:
    return re.sub(r"[^a-z0-9]", "", text.lower())


_BY_KEY: Mapping[str, Refrigerant] = {
    key: refrigerant
    for refrigerant in REFRIGERANTS.values()
    for key in (
        _key(refrigerant.id),
        _key(refrigerant.id).removeprefix("r"),
        *map(_key, refrigerant.spoken),
    )
}


def find_refrigerant(text: str) -> Refrigerant:
    """Return the refrigerant meant by what a person typed.

    Case, spaces, hyphens and the leading R do not matter; plain chemical names work for pure ones.
    Raises UnknownRefrigerant, naming the nearest one, when nothing fits exactly: a wrong gas is
    never guessed.

    >>> find_refrigerant("r 404 a").id
    'R-404A'
    >>> find_refrigerant("Propane").id
    'R-290'
    """
    key = _key(text).removeprefix("refrigerant")
    key = re.sub(r"^(hfc|hcfc|hfo|hc)(?=\d)", "", key)
    found = _BY_KEY.get(key)
    if found is None:
        raise UnknownRefrigerant(text, _nearest(key), REFRIGERANTS)
    return found


def _nearest(key: str) -> str | None:
    """Return the id nearest to a squeezed name, or None when nothing is close."""
    from difflib import get_close_matches

    candidates = get_close_matches(key[:20], list(_BY_KEY), n=1, cutoff=0.6)
    return _BY_KEY[candidates[0]].id if candidates else None
