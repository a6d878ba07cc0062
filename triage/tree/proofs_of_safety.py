"""Properties of the content that no editor may lose: who may measure what, and what repairs risk.

The tables here are the program's own, on purpose beside the content: an edit that drops a license,
a caution or a hazard there is told, not obeyed.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping

from triage.tree.content import Content, Reading, ReadingKind, Side
from triage.tree.proof_case import Finding

GAUGE_WORK = "gauge_work"
LICENSED_READINGS: Mapping[str, str] = {
    "suction_superheat": GAUGE_WORK,
    "liquid_subcooling": GAUGE_WORK,
    "coil_voltage": "live_measurement",
    "coil_resistance": "mains_voltage",
    "manifold_test_result": "manifold_test",
    "discharge_line_temperature": "hot_parts",
}
"""Readings for licensed callers alone, and a hazard some caution in front of each must warn of.
Every gauge pressure is one as well."""

REFRIGERANT_CIRCUIT, CONTROL_VOLTAGE = "refrigerant_circuit", "control_voltage"
CAUSES: Mapping[str, tuple[Side, frozenset[str]]] = {
    "receiver_vapor_feed_failed": (Side.HARVEST, frozenset({REFRIGERANT_CIRCUIT, "brazing"})),
    "harvest_coil_unpowered": (Side.HARVEST, frozenset({CONTROL_VOLTAGE})),
    "harvest_coil_open": (Side.HARVEST, frozenset({CONTROL_VOLTAGE})),
    "coil_supply_low": (Side.HARVEST, frozenset({CONTROL_VOLTAGE})),
    "hot_gas_valve_not_opening": (Side.HARVEST, frozenset({REFRIGERANT_CIRCUIT, "brazing"})),
    "hot_gas_valve_leaking": (Side.FREEZE, frozenset({REFRIGERANT_CIRCUIT, "brazing"})),
    "refrigerant_undercharge": (Side.FREEZE, frozenset({REFRIGERANT_CIRCUIT})),
    "refrigerant_overcharge": (Side.FREEZE, frozenset({REFRIGERANT_CIRCUIT})),
    "expansion_valve_starving": (Side.FREEZE, frozenset({REFRIGERANT_CIRCUIT})),
    "expansion_valve_flooding": (Side.FREEZE, frozenset({REFRIGERANT_CIRCUIT})),
    "compressor_weak": (Side.FREEZE, frozenset({REFRIGERANT_CIRCUIT, "mains_voltage"})),
}
"""Causes whose half of the cycle and least hazards are settled by what the parts are."""


def readings_are_guarded(content: Content) -> Iterator[Finding]:
    """Yield the hazardous readings that anybody may take, or that no fitting caution precedes."""
    for reading in content.readings.values():
        hazard = _hazard_of(reading)
        if hazard is None:
            continue
        if not reading.is_licensed:
            yield Finding(
                f"reading {reading.id} is work for a licensed technician; write licensed: true",
                reading.place,
            )
        warned = {tag for caution in reading.cautions for tag in content.cautions[caution].hazards}
        if hazard not in warned:
            yield Finding(
                f"no caution in front of reading {reading.id} warns of {hazard}; add one that does",
                reading.place,
            )


def repairs_name_their_hazards(content: Content) -> Iterator[Finding]:
    """Yield the causes on the wrong half of the cycle, or whose repair hides what it risks."""
    for cause_id, (side, hazards) in CAUSES.items():
        cause = content.causes.get(cause_id)
        if cause is None:
            continue
        if cause.side is not side:
            yield Finding(
                f"cause {cause_id} belongs to the {side.value}; write side: {side.value}",
                cause.place,
            )
        for hazard in sorted(hazards.difference(cause.hazards)):
            yield Finding(
                f"the repair of cause {cause_id} has the hazard {hazard}; add it to hazards",
                cause.place,
            )


def _hazard_of(reading: Reading) -> str | None:
    if reading.kind is ReadingKind.GAUGE_PRESSURE:
        return GAUGE_WORK
    return LICENSED_READINGS.get(reading.id)
