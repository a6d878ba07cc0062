"""Refrigerant properties from shipped tables: microseconds a look-up, no property library loaded.

The tables hold CoolProp's values on a grid; cubic splines fill in between. Range: 203.15 K to 0.985
of the critical temperature along saturation, 0 to 200 K of superheat for vapor. Anywhere in it
saturation temperatures lie within 0.01 K of CoolProp, vapor temperatures within 0.05 K, enthalpies
within 0.3 kJ/kg and densities within 0.2 %; the worst is next to the critical point.

Enthalpies and entropies count from 200 kJ/kg and 1 kJ/(kg K) for boiling liquid at 0 °C: compare
differences with other sources, never the values themselves.
"""

from __future__ import annotations

import json
import math
from functools import cache, cached_property
from pathlib import Path
from typing import Any

from triage.physics.errors import NotSuperheated, OutOfRange, TableUnusable, UnknownRefrigerant
from triage.physics.interpolation import Curve, Surface
from triage.physics.refrigerant import REFRIGERANTS, find_refrigerant

DATA_FOLDER = Path(__file__).parent / "data"


class Fluid:
    """Properties of one refrigerant, in SI units with absolute pressures. Got by `fluid`.

    Every method raises OutOfRange rather than give a number outside the tables. Dew pressure and
    temperature belong to vapor about to condense, bubble ones to liquid about to boil; for a pure
    refrigerant they are the same.
    """

    def __init__(self, table: dict[str, Any]) -> None:
        _check_shape(table)
        self.refrigerant_id: str = table["refrigerant"]
        self.coolprop_version: str = table["coolprop_version"]
        self.critical_temperature_k: float = table["critical_temperature_k"]
        self.critical_pressure_pa: float = table["critical_pressure_pa"]
        self._gas_constant: float = table["gas_constant_j_per_kg_k"]
        self._start: float = table["temperature_start_k"]
        self._step: float = table["temperature_step_k"]
        self._superheat_scale: float = table["superheat_scale_k"]
        self._superheat_step: float = table["superheat_step"]
        self._log_dew = Curve(table["log_dew_pressure"])
        self._log_bubble = Curve(table["log_bubble_pressure"])
        self._table = table
        self._last_dew = (math.nan, math.nan)
        intervals = len(table["log_dew_pressure"]) - 1
        superheat_intervals = len(table["vapor_enthalpy"][0]) - 1
        self.least_temperature_k = self._start
        self.greatest_temperature_k = self._start + self._step * intervals
        self.least_dew_pressure_pa = math.exp(table["log_dew_pressure"][0])
        self.greatest_dew_pressure_pa = math.exp(table["log_dew_pressure"][-1])
        self.least_bubble_pressure_pa = math.exp(table["log_bubble_pressure"][0])
        self.greatest_bubble_pressure_pa = math.exp(table["log_bubble_pressure"][-1])
        # Between these two both dew and bubble temperature can be had.
        self.least_pressure_pa = self.least_bubble_pressure_pa
        self.greatest_pressure_pa = self.greatest_dew_pressure_pa
        self.greatest_superheat_k = self._superheat_scale * math.expm1(
            superheat_intervals * self._superheat_step
        )

    def __repr__(self) -> str:
        return f"<Fluid {self.refrigerant_id}>"

    # Saturation

    def dew_pressure_pa(self, t_k: float) -> float:
        """Return the absolute pressure at which vapor of temperature `t_k` starts to condense.

        >>> round(fluid("R-404A").dew_pressure_pa(273.15) / 1e5, 2)
        6.0
        """
        return math.exp(self._log_dew.at(self._coordinate(t_k)))

    def bubble_pressure_pa(self, t_k: float) -> float:
        """Return the absolute pressure at which liquid of temperature `t_k` starts to boil.

        >>> round(fluid("R-404A").bubble_pressure_pa(273.15) / 1e5, 2)
        6.1
        """
        return math.exp(self._log_bubble.at(self._coordinate(t_k)))

    def dew_temperature_k(self, p_pa: float) -> float:
        """Return the temperature at which vapor condenses at absolute pressure `p_pa`.

        The exact inverse of `dew_pressure_pa`.

        >>> gas = fluid("R-404A")
        >>> round(gas.dew_temperature_k(gas.dew_pressure_pa(280.0)), 9)
        280.0
        """
        return self._start + self._step * self._dew_coordinate(p_pa)

    def bubble_temperature_k(self, p_pa: float) -> float:
        """Return the temperature at which liquid boils at absolute pressure `p_pa`.

        >>> gas = fluid("R-290")
        >>> round(gas.bubble_temperature_k(101_325.0) - 273.15, 2)
        -42.11
        """
        least, greatest = self.least_bubble_pressure_pa, self.greatest_bubble_pressure_pa
        if not least <= p_pa <= greatest:
            raise self._out_of_range("bubble pressure", p_pa, least, greatest, "Pa absolute")
        return self._start + self._step * self._log_bubble.coordinate_of(math.log(p_pa))

    # Boiling liquid

    def liquid_enthalpy_j_per_kg(self, t_k: float) -> float:
        """Return the enthalpy of boiling liquid at `t_k`; subcooled liquid is close to it.

        >>> round(fluid("R-134a").liquid_enthalpy_j_per_kg(273.15))
        200000
        """
        return self._liquid_enthalpy.at(self._coordinate(t_k))

    def liquid_density_kg_per_m3(self, t_k: float) -> float:
        """Return the density of boiling liquid at `t_k`.

        >>> round(fluid("R-134a").liquid_density_kg_per_m3(273.15), 1)
        1294.8
        """
        return self._liquid_density.at(self._coordinate(t_k))

    # Vapor

    def vapor_enthalpy_j_per_kg(self, p_pa: float, superheat_k: float) -> float:
        """Return the enthalpy of vapor at absolute pressure `p_pa`, `superheat_k` above dew.

        >>> gas = fluid("R-134a")
        >>> round(gas.vapor_enthalpy_j_per_kg(140_000.0, 0.0), -2)
        387300.0
        """
        return self._enthalpy.at(
            self._dew_coordinate(p_pa), self._superheat_coordinate(superheat_k)
        )

    def vapor_entropy_j_per_kg_k(self, p_pa: float, superheat_k: float) -> float:
        """Return the entropy of vapor at absolute pressure `p_pa`, `superheat_k` above dew.

        >>> round(fluid("R-134a").vapor_entropy_j_per_kg_k(140_000.0, 0.0))
        1740
        """
        return self._entropy.at(self._dew_coordinate(p_pa), self._superheat_coordinate(superheat_k))

    def vapor_density_kg_per_m3(self, p_pa: float, superheat_k: float) -> float:
        """Return the density of vapor at absolute pressure `p_pa`, `superheat_k` above dew.

        >>> round(fluid("R-134a").vapor_density_kg_per_m3(140_000.0, 0.0), 2)
        7.14
        """
        x = self._dew_coordinate(p_pa)
        compressibility = self._compressibility.at(x, self._superheat_coordinate(superheat_k))
        temperature = self._start + self._step * x + superheat_k
        return p_pa / (compressibility * self._gas_constant * temperature)

    def vapor_temperature_from_enthalpy_k(self, p_pa: float, h_j_per_kg: float) -> float:
        """Return the temperature of vapor at absolute pressure `p_pa` with this enthalpy.

        >>> gas = fluid("R-134a")
        >>> h = gas.vapor_enthalpy_j_per_kg(800_000.0, 20.0)
        >>> round(gas.vapor_temperature_from_enthalpy_k(800_000.0, h) - 273.15, 2)
        51.33
        """
        x = self._dew_coordinate(p_pa)
        superheat = self._superheat(self._enthalpy, x, h_j_per_kg, "vapor enthalpy", "J/kg")
        return self._start + self._step * x + superheat

    def superheat_from_entropy_k(self, p_pa: float, s_j_per_kg_k: float) -> float:
        """Return how far above dew vapor at absolute pressure `p_pa` with this entropy is.

        >>> gas = fluid("R-134a")
        >>> s = gas.vapor_entropy_j_per_kg_k(140_000.0, 0.0)
        >>> round(gas.superheat_from_entropy_k(800_000.0, s), 1)
        7.6
        """
        x = self._dew_coordinate(p_pa)
        return self._superheat(self._entropy, x, s_j_per_kg_k, "vapor entropy", "J/(kg K)")

    # Inner workings

    # Built on first use: a call that only converts pressures never pays for the vapor grids.
    @cached_property
    def _liquid_enthalpy(self) -> Curve:
        return Curve(self._table["liquid_enthalpy"])

    @cached_property
    def _liquid_density(self) -> Curve:
        return Curve(self._table["liquid_density"])

    @cached_property
    def _enthalpy(self) -> Surface:
        return Surface(self._table["vapor_enthalpy"])

    @cached_property
    def _entropy(self) -> Surface:
        return Surface(self._table["vapor_entropy"])

    @cached_property
    def _compressibility(self) -> Surface:
        return Surface(self._table["vapor_compressibility"])

    def _coordinate(self, t_k: float) -> float:
        if not self.least_temperature_k <= t_k <= self.greatest_temperature_k:
            raise self._out_of_range(
                "saturation temperature",
                t_k,
                self.least_temperature_k,
                self.greatest_temperature_k,
                "K",
            )
        return (t_k - self._start) / self._step

    def _dew_coordinate(self, p_pa: float) -> float:
        # Properties of one state are asked for one after the other: the inversion is done once.
        last = self._last_dew
        if last[0] == p_pa:
            return last[1]
        least, greatest = self.least_dew_pressure_pa, self.greatest_dew_pressure_pa
        if not least <= p_pa <= greatest:
            raise self._out_of_range("dew pressure", p_pa, least, greatest, "Pa absolute")
        coordinate = self._log_dew.coordinate_of(math.log(p_pa))
        self._last_dew = (p_pa, coordinate)
        return coordinate

    def _superheat_coordinate(self, superheat_k: float) -> float:
        if not 0.0 <= superheat_k <= self.greatest_superheat_k:
            if superheat_k < 0.0:
                raise NotSuperheated(
                    f"superheat of {self.refrigerant_id}",
                    superheat_k,
                    0.0,
                    self.greatest_superheat_k,
                    "K",
                    "Below zero there is liquid in the vapor: read pressure and temperature again "
                    "at the same place and time.",
                )
            raise self._out_of_range("superheat", superheat_k, 0.0, self.greatest_superheat_k, "K")
        return math.log1p(superheat_k / self._superheat_scale) / self._superheat_step

    def _superheat(
        self, surface: Surface, x: float, value: float, quantity: str, unit: str
    ) -> float:
        y = surface.second_coordinate_of(x, value)
        if y is None:
            greatest_y = len(self._table["vapor_enthalpy"][0]) - 1
            least, greatest = surface.at(x, 0.0), surface.at(x, greatest_y)
            if value < least:
                raise NotSuperheated(
                    f"{quantity} of {self.refrigerant_id}",
                    value,
                    least,
                    greatest,
                    unit,
                    "Below that there is liquid in the vapor, and no single temperature follows.",
                )
            raise OutOfRange(
                f"{quantity} of {self.refrigerant_id}",
                value,
                least,
                greatest,
                unit,
                f"The gas would be more than {self.greatest_superheat_k:.0f} K above its dew point:"
                " no sound machine runs so hot, check the pressures.",
            )
        return self._superheat_scale * math.expm1(y * self._superheat_step)

    def _out_of_range(
        self, quantity: str, value: float, least: float, greatest: float, unit: str
    ) -> OutOfRange:
        return OutOfRange(f"{quantity} of {self.refrigerant_id}", value, least, greatest, unit)


def _check_shape(table: dict[str, Any]) -> None:
    """Raise ValueError if columns of a table differ in length, KeyError if one is missing."""
    rows = len(table["log_dew_pressure"])
    for name in ("log_bubble_pressure", "liquid_enthalpy", "liquid_density"):
        if len(table[name]) != rows:
            raise ValueError(f"{name} has {len(table[name])} values instead of {rows}")
    width = len(table["vapor_enthalpy"][0])
    for name in ("vapor_enthalpy", "vapor_entropy", "vapor_compressibility"):
        if [len(row) for row in table[name]] != [width] * rows:
            raise ValueError(f"{name} is not a grid of {rows} by {width}")


@cache
def fluid(refrigerant_id: str) -> Fluid:
    """Return the properties of a refrigerant by its id, such as `R-404A`; read once, then kept.

    Raises UnknownRefrigerant for any other text and TableUnusable if the shipped file is missing or
    damaged.

    >>> fluid("R-410A").critical_temperature_k
    344.4941
    """
    if refrigerant_id not in REFRIGERANTS:
        nearest: str | None
        try:
            nearest = find_refrigerant(refrigerant_id).id
        except UnknownRefrigerant as error:
            nearest = error.nearest
        raise UnknownRefrigerant(refrigerant_id, nearest, REFRIGERANTS)
    path = DATA_FOLDER / f"{refrigerant_id}.json"
    try:
        return Fluid(json.loads(path.read_text(encoding="ascii")))
    except (OSError, ValueError, KeyError, IndexError, TypeError) as error:
        raise TableUnusable(refrigerant_id, f"{type(error).__name__}: {error}") from error
