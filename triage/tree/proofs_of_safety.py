"""Properties of the content that no editor may lose: who may measure what, and what repairs risk.

The tables here are the program's own, on purpose beside the content: an edit that drops a license,
a caution or a hazard there is told, not obeyed.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping

from triage.tree.content import Content, Reading, ReadingKind, Side
from triage.tree.machine_parts import IN_CIRCUIT, parts_of
from triage.tree.proof_case import Finding

GAUGE_WORK, LIVE, MAINS = "gauge_work", "live_measurement", "mains_voltage"
MANIFOLD = "manifold_test"
LICENSED_READINGS: Mapping[str, str] = {
    "suction_superheat": GAUGE_WORK,
    "liquid_subcooling": GAUGE_WORK,
    "coil_voltage": LIVE,
    "coil_resistance": MAINS,
    "supply_voltage": LIVE,
    "inlet_coil_voltage": LIVE,
    "inlet_coil_resistance": MAINS,
    "compressor_windings": MAINS,
    "manifold_test_result": MANIFOLD,
    "discharge_line_temperature": "hot_parts",
}
"""Readings for licensed callers alone, and a hazard some caution in front of each must warn of."""

LICENSED_KINDS: Mapping[ReadingKind, str] = {
    ReadingKind.GAUGE_PRESSURE: GAUGE_WORK,
    ReadingKind.VOLTAGE: LIVE,
    ReadingKind.CURRENT: LIVE,
    ReadingKind.RESISTANCE: MAINS,
}
"""The same for all readings of a kind, but those printed on a part."""

PRINTED = frozenset(
    {"coil_nominal_voltage", "inlet_coil_nominal_voltage", "supply_nominal_voltage"}
)
"""Readings that are read off a plate or a coil, not measured."""

LICENSED_HAZARDS = frozenset({GAUGE_WORK, LIVE, MANIFOLD})
"""Hazards of a reading that belong to licensed hands, whatever the reading is."""

HAZARDS_OF_CALLS = frozenset({
    "licensed_practice", "data_plate", "food_safety", "flammable_a2l", "flammable_a3",
    "unlicensed_measurement",
})  # fmt: skip
"""Hazards that come from the facts of a call, whatever its repair; `triage.dialogue.gate` finds
them."""

REFRIGERANT_CIRCUIT, CONTROL_VOLTAGE, BRAZING = "refrigerant_circuit", "control_voltage", "brazing"
CAUSES: Mapping[str, tuple[Side, frozenset[str]]] = {
    "receiver_vapor_feed_failed": (Side.HARVEST, frozenset({REFRIGERANT_CIRCUIT, BRAZING})),
    "harvest_coil_unpowered": (Side.HARVEST, frozenset({CONTROL_VOLTAGE})),
    "harvest_coil_open": (Side.HARVEST, frozenset({CONTROL_VOLTAGE})),
    "coil_supply_low": (Side.HARVEST, frozenset({CONTROL_VOLTAGE})),
    "hot_gas_valve_not_opening": (Side.HARVEST, frozenset({REFRIGERANT_CIRCUIT, BRAZING})),
    "hot_gas_valve_leaking": (Side.FREEZE, frozenset({REFRIGERANT_CIRCUIT, BRAZING})),
    "refrigerant_undercharge": (Side.FREEZE, frozenset({REFRIGERANT_CIRCUIT})),
    "refrigerant_overcharge": (Side.FREEZE, frozenset({REFRIGERANT_CIRCUIT})),
    "expansion_valve_starving": (Side.FREEZE, frozenset({REFRIGERANT_CIRCUIT})),
    "expansion_valve_flooding": (Side.FREEZE, frozenset({REFRIGERANT_CIRCUIT})),
    "compressor_weak": (Side.FREEZE, frozenset({REFRIGERANT_CIRCUIT, MAINS})),
}
"""Causes whose half of the cycle and least hazards are settled by what the parts are."""


WORK: Mapping[str, str] = {
    "braz": BRAZING,
    "recover the charge": REFRIGERANT_CIRCUIT,
    "weigh the charge": REFRIGERANT_CIRCUIT,
    "descal": "chemicals",
    "capacitor": MAINS,
    "power off": MAINS,
}
"""Words in a repair or its parts, and the hazard that such work has; common practice, no source."""


def readings_are_guarded(content: Content) -> Iterator[Finding]:
    """Yield the hazardous readings that anybody may take, or that no fitting caution precedes."""
    for reading in content.readings.values():
        warned = {tag for caution in reading.cautions for tag in content.cautions[caution].hazards}
        hazard = _hazard_of(reading)
        if not reading.is_licensed and (hazard is not None or LICENSED_HAZARDS & warned):
            yield Finding(
                f"reading {reading.id} is work for a licensed technician; write licensed: true",
                reading.place,
            )
        if hazard is not None and hazard not in warned:
            yield Finding(
                f"no caution in front of reading {reading.id} warns of {hazard}; add one that does",
                reading.place,
            )


def repairs_name_their_hazards(content: Content) -> Iterator[Finding]:
    """Yield the causes on the wrong half of the cycle, or whose repair hides what it risks."""
    for cause in content.causes.values():
        side, hazards = CAUSES.get(cause.id, (cause.side, frozenset()))
        if cause.side is not side:
            yield Finding(
                f"cause {cause.id} belongs to the {side.value}; write side: {side.value}",
                cause.place,
            )
        work = " ".join((cause.repair, *cause.condemns, *cause.replace_together)).casefold()
        told = {hazard for word, hazard in WORK.items() if word in work}
        if any(part.id in IN_CIRCUIT for part in parts_of(cause)):
            told.add(REFRIGERANT_CIRCUIT)
        for hazard in sorted((hazards | told).difference(cause.hazards)):
            yield Finding(
                f"the repair of cause {cause.id} has the hazard {hazard}; add it to hazards",
                cause.place,
            )


def _hazard_of(reading: Reading) -> str | None:
    if reading.id in PRINTED:
        return None
    return LICENSED_READINGS.get(reading.id) or LICENSED_KINDS.get(reading.kind)
