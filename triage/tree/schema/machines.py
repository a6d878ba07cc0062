"""The schema of a machine file, made of the same dataclasses the loader fills from it."""

from __future__ import annotations

import dataclasses
from collections.abc import Iterator
from enum import StrEnum
from typing import Any, get_type_hints

from triage.physics.machine import ChartRow, CondenserKind, Machine
from triage.physics.refrigerant import REFRIGERANTS
from triage.physics.units import HINTS, Dimension
from triage.tree.amounts import DIMENSIONAL_KINDS
from triage.tree.load_machine import GREATEST_NUMBER, ID_KEY, SHARES
from triage.tree.schema.bricks import (
    Schema,
    by_name,
    flag,
    name_of,
    number,
    one_of,
    section,
    text,
    texts,
    whole,
)
from triage.tree.schema.known import Known
from triage.tree.schema.lists import amount, layout, two_amounts

KEY_WORDS: dict[str, str] = {
    "name": "What the machine is called.",
    "spoken": "Other words people use for it. No two machines share one.",
    "refrigerant": "The refrigerant on the data plate.",
    "charge_kg": "Charge on the data plate [kg].",
    "charge_reserve_fraction": "Share of the charge that may be missing before vapor reaches the "
    "expansion valve.",
    "compressor": "The compressor.",
    "compressor.displacement_m3_per_s": "Volume it sweeps [m3/s].",
    "compressor.clearance_fraction": "Volume left at the end of a stroke, over the swept one.",
    "compressor.isentropic_efficiency": "Ideal over real work of compression.",
    "compressor.motor_efficiency": "Shaft power over electrical power.",
    "compressor.heat_kept": "Share of the work of compression the gas still carries where the "
    "discharge line temperature is measured.",
    "compressor.body_heat_capacity_j_per_k": "Heat capacity of the metal the hot gas warms [J/K].",
    "compressor.body_coupling_fraction": "How near the gas comes to that metal's temperature: 0 "
    "not at all, 1 fully.",
    "condenser": "The condenser.",
    "condenser.kind": "What cools it.",
    "condenser.conductance_w_per_k": "Heat it passes on for each kelvin [W/K].",
    "condenser.fan_power_w": "Power of its fan [W].",
    "condenser.least_condensing_temperature_k": "Lowest condensing temperature its control lets "
    "it fall to [K].",
    "condenser.subcooling_k": "Subcooling it leaves in the liquid [K].",
    "condenser.standby_fraction": "Share of the conductance left in harvest.",
    "evaporator": "The plate the ice grows on, its expansion valve and its water.",
    "evaporator.plate_area_m2": "Area the ice covers [m2].",
    "evaporator.plate_conductance_w_per_m2_k": "Refrigerant side and plate together [W/(m2 K)].",
    "evaporator.water_film_conductance_w_per_m2_k": "The water running over it [W/(m2 K)].",
    "evaporator.plate_heat_capacity_j_per_k": "Heat capacity of the plate [J/K].",
    "evaporator.suction_superheat_k": "Superheat the expansion valve holds [K].",
    "evaporator.suction_line_gain_fraction": "How far the suction gas warms toward the room on "
    "its way to the compressor: 0 not at all, 1 fully.",
    "evaporator.valve_flow_area_m2": "Expansion valve wide open, discharge coefficient "
    "included [m2].",
    "evaporator.ice_thickness_m": "Mean ice when the bridge has its nominal thickness [m].",
    "evaporator.bridge_thickness_m": "Nominal thickness of the bridge between the cubes [m].",
    "evaporator.water_charge_kg": "Water filled at the start of each freeze [kg].",
    "evaporator.ambient_gain_w_per_k": "Heat the room gives the cold water, for each kelvin [W/K].",
    "evaporator.pump_power_w": "Power of the water pump [W].",
    "evaporator.greatest_freeze_time_s": "Time after which the control ends a freeze [s].",
    "harvest": "What warms the plate in harvest.",
    "harvest.hot_gas_flow_area_m2": "Hot gas valve open, discharge coefficient included [m2].",
    "harvest.feed_flow_area_m2": "Receiver vapor feed wide open, discharge coefficient included "
    "[m2]; 0 for a machine without one.",
    "harvest.feed_setpoint_pa": "Low-side pressure below which the feed opens, absolute at sea "
    "level [Pa].",
    "harvest.feed_band_pa": "How much lower it is wide open [Pa].",
    "harvest.boil_flow_area_m2": "Way for liquid in the condenser to boil back, discharge "
    "coefficient included [m2]; 0 where a check valve stops it.",
    "harvest.receiver_liquid_kg": "Liquid stored at the start of a harvest [kg].",
    "harvest.receiver_heat_capacity_j_per_k": "Heat capacity of what holds it [J/K].",
    "harvest.conductance_w_per_k": "From the gas to the plate, for each kelvin [W/K].",
    "harvest.melt_thickness_m": "Ice that has to melt before the slab lets go [m].",
    "harvest.greatest_harvest_time_s": "Time after which the control ends a harvest [s].",
    "electrical": "Supply and control circuit on the data plate.",
    "electrical.supply_voltage_v": "Supply [V].",
    "electrical.coil_nominal_voltage_v": "Rated voltage of the harvest coils [V].",
    "electrical.coil_resistance_ohm": "Resistance of a sound harvest coil [ohm].",
    "has_vacuum_break": "Whether an air pump breaks the vacuum behind the slab.",
    "least_air_temperature_k": "Coldest room it is made for [K].",
    "greatest_air_temperature_k": "Warmest room it is made for [K].",
    "least_condenser_air_temperature_k": "Coldest air at the condenser it is made for [K].",
    "greatest_condenser_air_temperature_k": "Warmest air at the condenser it is made for [K].",
    "least_water_temperature_k": "Coldest supply water it is made for [K].",
    "greatest_water_temperature_k": "Warmest supply water it is made for [K].",
    "chart": "The chart printed for the machine. It wins over computed bands.",
    "is_generic": "Whether it stands for machines that are not on file.",
    "is_self_contained": "Whether the ice is kept in the same cabinet.",
}
"""What each key of a machine file is, as an editor shows it."""

CONDENSER_WORDS: dict[CondenserKind, str] = {
    CondenserKind.REMOTE_AIR: "air, at a condenser outside or on the roof",
    CondenserKind.AIR: "the air of the room",
    CondenserKind.WATER: "water",
}
"""What each kind of condenser is, as an editor shows it."""


def machine_schema(known: Known) -> Schema:
    """Return the schema of a machine file."""
    schema = _part("One machine, in SI units, as its data plate and its maker state it.",
                   Machine, "", known)  # fmt: skip
    schema["properties"] = {"format": layout(), **schema["properties"]}
    schema["required"] = ["format", *schema["required"]]
    schema["properties"][ID_KEY] = name_of("Id of the machine.")
    schema["properties"]["refrigerant"] = one_of(
        KEY_WORDS["refrigerant"], {item.id: f"safety class {item.safety_class}"
                                   for item in REFRIGERANTS.values()}
    )  # fmt: skip
    return schema


def _part(description: str, cls: type, prefix: str, known: Known) -> Schema:
    hints = get_type_hints(cls)
    fields = dataclasses.fields(cls)
    return section(
        description,
        {
            field.name: _value(prefix + field.name, hints[field.name], known)
            for field in fields
            if field.name != ID_KEY
        },
        required=[
            field.name
            for field in fields
            if field.default is dataclasses.MISSING and field.default_factory is dataclasses.MISSING
        ],
    )


def _value(key: str, hint: Any, known: Known) -> Schema:
    """Return the schema of the value under `key`, as the loader reads it by its type."""
    words = KEY_WORDS[key]
    if hint is bool:
        return flag(words)
    if hint is float:
        return number(words, 0.0, 1.0 if key.endswith(SHARES) else GREATEST_NUMBER)
    if hint is int:
        return whole(words, 0, int(GREATEST_NUMBER))
    if hint is str:
        return text(words)
    if hint == tuple[str, ...]:
        return texts(words, at_least=1)
    if hint == tuple[ChartRow, ...]:
        return _chart(words, known)
    if isinstance(hint, type) and issubclass(hint, StrEnum):
        return one_of(words, {item.value: CONDENSER_WORDS[CondenserKind(item)] for item in hint})
    if isinstance(hint, type) and dataclasses.is_dataclass(hint):
        return _part(words, hint, f"{key}.", known)
    raise TypeError(f"a content file cannot fill {key} of type {hint}")


def _chart(description: str, known: Known) -> Schema:
    row = section(
        "What the chart says at one air and one water temperature.",
        {
            "air": amount("Air temperature with its unit, such as 70 F."),
            "water": amount("Water temperature with its unit, such as 50 F."),
            "ranges": by_name("Each reading with the range printed there.", dict(_ranges(known))),
        },
        required=("air", "water", "ranges"),
    )
    rows = {
        "description": "One row for each air and water temperature.",
        "type": "array",
        "items": row,
        "minItems": 1,
    }
    return section(description, {"rows": rows}, required=("rows",))


def _ranges(known: Known) -> Iterator[tuple[str, Schema]]:
    for name, reading in known.readings.items():
        if reading is None:
            yield name, {}
        elif reading.kind in DIMENSIONAL_KINDS:
            units = HINTS[Dimension(reading.kind.value)]
            told = f"{reading.name}: the least and the greatest, each with its unit: {units}."
            yield name, two_amounts(told, "An amount with its unit.")
