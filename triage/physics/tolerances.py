"""How far a healthy machine, the call's readings and the model's guesses may be off.

Each amount is a limit: values inside it are taken as equally likely. A generic machine, standing in
for one that is not on file, has the second, wider amount.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from enum import StrEnum
from types import MappingProxyType
from typing import Any

from triage.physics.machine import CondenserKind, Conditions, Machine


class Stage(StrEnum):
    """Which half of the cycle a tolerance first acts on."""

    FREEZE = "freeze"
    HARVEST = "harvest"


@dataclass(frozen=True, slots=True)
class Tolerance:
    """One value of a machine file, `part.field`, and how far it may be off.

    `amount` and `generic_amount` are shares of the value, or absolute in its own unit if
    `is_absolute`. `why` says where it comes from.
    """

    part: str
    field: str
    amount: float
    generic_amount: float
    stage: Stage
    why: str
    is_absolute: bool = False

    def moved(self, machine: Machine, share: float) -> Machine | None:
        """Return `machine` moved by `share` of the limit (-1 to 1); None if nothing is there."""
        part: Any = getattr(machine, self.part)
        value: float = getattr(part, self.field)
        amount = self.generic_amount if machine.is_generic else self.amount
        if amount == 0.0 or (value == 0.0 and not self.is_absolute):
            return None
        change = share * amount
        moved = value + change if self.is_absolute else value * (1.0 + change)
        if self.field in _FRACTIONS:
            moved = min(moved, 0.98)
        fields = {self.field: max(moved, 0.0)}
        if machine.is_generic and self.field in _WITH_THE_BATCH:
            # A larger batch is made from more water.
            fields["water_charge_kg"] = machine.evaporator.water_charge_kg * moved / value
        changes: dict[str, Any] = {self.part: replace(part, **fields)}
        return replace(machine, **changes)


_FRACTIONS = frozenset(
    {"heat_kept", "body_coupling_fraction", "isentropic_efficiency", "suction_line_gain_fraction"}
)

_WITH_THE_BATCH = frozenset({"plate_area_m2", "ice_thickness_m"})

_UNIT = "judged: unit to unit, new to middle-aged"
_UNKNOWN = "judged: the model cannot know it better"
_F, _H = Stage.FREEZE, Stage.HARVEST

MACHINE_TOLERANCES: tuple[Tolerance, ...] = (
    Tolerance("compressor", "displacement_m3_per_s", 0.04, 0.12, _F, _UNIT),
    Tolerance("compressor", "isentropic_efficiency", 0.06, 0.12, _F, _UNIT),
    Tolerance("compressor", "heat_kept", 0.18, 0.22, _F, _UNKNOWN),
    Tolerance("compressor", "body_heat_capacity_j_per_k", 0.35, 0.50, _F, _UNKNOWN),
    Tolerance("compressor", "body_coupling_fraction", 0.20, 0.30, _F, _UNKNOWN),
    Tolerance("condenser", "conductance_w_per_k", 0.12, 0.30, _F, f"{_UNIT}, a little dust"),
    Tolerance("condenser", "least_condensing_temperature_k", 1.5, 3.0, _F, _UNIT, True),
    Tolerance("condenser", "subcooling_k", 0.35, 0.45, _F, _UNKNOWN),
    Tolerance("evaporator", "plate_conductance_w_per_m2_k", 0.10, 0.25, _F, _UNIT),
    Tolerance("evaporator", "plate_area_m2", 0.0, 0.30, _F, "judged: size not known"),
    Tolerance("evaporator", "ice_thickness_m", 0.05, 0.25, _F, f"{_UNIT}, bridge as set"),
    Tolerance("evaporator", "bridge_thickness_m", 0.15, 0.40, _F, f"{_UNIT}, bridge as set"),
    Tolerance("evaporator", "water_film_conductance_w_per_m2_k", 0.25, 0.40, _F, _UNKNOWN),
    Tolerance("evaporator", "water_charge_kg", 0.08, 0.25, _F, _UNIT),
    Tolerance("evaporator", "suction_superheat_k", 2.0, 2.5, _F, f"{_UNIT}, valve hunting", True),
    Tolerance("evaporator", "suction_line_gain_fraction", 0.50, 0.60, _F, _UNKNOWN),
    Tolerance("evaporator", "ambient_gain_w_per_k", 0.50, 0.60, _F, _UNKNOWN),
    Tolerance("harvest", "hot_gas_flow_area_m2", 0.10, 0.25, _H, _UNKNOWN),
    Tolerance("harvest", "feed_setpoint_pa", 0.05, 0.08, _H, _UNIT),
    Tolerance("harvest", "feed_flow_area_m2", 0.20, 0.40, _H, _UNKNOWN),
    Tolerance("harvest", "boil_flow_area_m2", 0.30, 0.50, _H, _UNKNOWN),
    Tolerance("harvest", "receiver_liquid_kg", 0.20, 0.30, _H, _UNKNOWN),
    Tolerance("harvest", "receiver_heat_capacity_j_per_k", 0.35, 0.50, _H, _UNKNOWN),
    Tolerance("harvest", "conductance_w_per_k", 0.12, 0.30, _H, _UNIT),
    Tolerance("harvest", "melt_thickness_m", 0.25, 0.40, _H, _UNIT),
    Tolerance("condenser", "standby_fraction", 0.30, 0.50, _H, _UNKNOWN),
)
"""Every value of a machine file that may be off, with its limits."""

AIR_THERMOMETER_K = 1.0
"""Limit of error of an air temperature as read at the machine [K]; judged, a good pocket
thermometer in moving air."""

ROOF_AIR_THERMOMETER_K = 2.0
"""The same at a remote condenser, read elsewhere or in the sun [K]; judged."""

WATER_THERMOMETER_K = 1.0
"""Limit of error of the water supply's temperature [K]; judged."""

FREEZE_MINUTE_S = 30.0
"""How far the stated moment of a freeze reading may be off [s]; judged."""

HARVEST_MINUTE_S = 12.0
"""The same in harvest [s]; judged."""

LATE_S = 60.0
"""A late reading may be taken this long before the freeze ends [s]; judged."""


def condition_moves(
    machine: Machine, conditions: Conditions
) -> tuple[tuple[Conditions, Conditions], ...]:
    """Return the conditions with each thermometer off by its limit, downward and upward."""
    moves: list[dict[str, float]] = []
    room = conditions.ambient_air_temperature_k
    if machine.condenser.kind is CondenserKind.REMOTE_AIR:
        moves.append({"ambient_air_temperature_k": AIR_THERMOMETER_K})
        moves.append({"condenser_air_temperature_k": ROOF_AIR_THERMOMETER_K})
    elif conditions.condenser_air_temperature_k == room:
        moves.append(
            {
                "ambient_air_temperature_k": AIR_THERMOMETER_K,
                "condenser_air_temperature_k": AIR_THERMOMETER_K,
            }
        )
    else:
        moves.append({"ambient_air_temperature_k": AIR_THERMOMETER_K})
    moves.append({"water_inlet_temperature_k": WATER_THERMOMETER_K})

    def moved(move: Mapping[str, float], sign: float) -> Conditions:
        changes = {key: getattr(conditions, key) + sign * value for key, value in move.items()}
        return replace(conditions, **changes)

    return tuple((moved(move, -1.0), moved(move, 1.0)) for move in moves)


LOW_SIDE_GAUGE_PA = 20_000.0
"""Limit of error of the low-side gauge [Pa]: class 1.6 of EN 837-1 on a 12.5 bar span, from
memory."""

HIGH_SIDE_GAUGE_PA = 64_000.0
"""Limit of error of the high-side gauge [Pa]: class 1.6 of EN 837-1 on a 40 bar span, from
memory."""

PIPE_THERMOMETER_K = 2.5
"""Limit of error of a pipe clamp, mostly its contact [K]; judged."""

TEMPERATURE_DIFFERENCE_K = 1.5
"""Limit of error of superheat or subcooling from gauge and clamp [K]; judged."""


def _low(_: float) -> float:
    return LOW_SIDE_GAUGE_PA


def _high(_: float) -> float:
    return HIGH_SIDE_GAUGE_PA


INSTRUMENT_LIMITS: Mapping[str, Callable[[float], float]] = MappingProxyType(
    {
        "freeze_suction_pressure_early": _low,
        "freeze_suction_pressure_late": _low,
        "freeze_discharge_pressure": _high,
        # In harvest the low side stands where the low-side gauge is still in its span.
        "harvest_suction_pressure": _low,
        "harvest_discharge_pressure": _high,
        "discharge_line_temperature": lambda _: PIPE_THERMOMETER_K,
        "hot_gas_line_temperature": lambda _: PIPE_THERMOMETER_K,
        "suction_superheat": lambda _: TEMPERATURE_DIFFERENCE_K,
        "liquid_subcooling": lambda _: TEMPERATURE_DIFFERENCE_K,
        # Stopwatch and judgment of when freeze and harvest begin; ruler; kitchen scale, wet ice.
        "freeze_time": lambda _: 20.0,
        "harvest_time": lambda _: 5.0,
        "ice_bridge_thickness": lambda _: 0.0008,
        "batch_ice_mass": lambda mass_kg: 0.03 + 0.04 * mass_kg,
    }
)
"""Limit of error of the instrument each reading is taken with, for a value in SI; judged where no
standard is named above."""

METER_LIMITS: Mapping[str, Callable[[float], float]] = MappingProxyType(
    {
        # A meter over a counted number of batches, one of them weighed.
        "energy_use": lambda joules_per_kg: 0.06 * joules_per_kg,
        "water_use": lambda m3_per_kg: 0.06 * m3_per_kg,
    }
)
"""Limit of error of what is used per weight of ice, for a value in SI; judged."""

PRODUCTION_PARTS = ("batch_ice_mass", "freeze_time", "harvest_time")
"""The readings that ice in a day is worked out from."""
