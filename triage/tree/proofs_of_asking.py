"""Properties of what is asked, and where: each reading in its half of the cycle, and once.

What belongs to the harvest is told by the reading, whatever stage its question was written for.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping

from triage.tree.content import ReadingKind, Stage
from triage.tree.graph import NodeKind
from triage.tree.proof_case import Case, Finding, path_to, reached_without

HARVEST_READINGS = frozenset({
    "after_the_drop", "coil_nominal_voltage", "coil_pulls_in", "coil_resistance", "coil_voltage",
    "coil_voltage_presence", "harvest_discharge_pressure", "harvest_suction_pressure",
    "harvest_time", "hot_gas_line_temperature", "ice_released", "manifold_test_result",
    "plate_condition", "receiver_vapor_feed_fitted", "slab_loose_but_hanging",
    "vacuum_break_running", "water_over_plate_in_harvest",
})  # fmt: skip
"""Readings of the harvest, its coils and valves, and of the slab as it lets go."""

ALSO_AT_THE_SITE: Mapping[str, str] = {
    "harvest_time": "a day's ice is counted with it, and it blames no part",
    "plate_condition": "a plate is seen with the machine off",
}
"""Those that may be asked in stage site too, and why."""

GAUGE_IDS = frozenset({"suction_superheat", "liquid_subcooling"})
"""Readings worked out from a gauge pressure, beside those that are one."""

_IN_HARVEST = (Stage.HARVEST, Stage.CONFIRM)


def harvest_readings_are_asked_in_the_harvest(case: Case) -> Iterator[Finding]:
    """What belongs to the harvest is asked in stage harvest or confirm, behind a sound freeze."""
    for node in case.of_kind(NodeKind.QUESTION):
        reading, stage = case.reading_of(node), case.nodes[node]["stage"]
        if reading not in HARVEST_READINGS or stage in _IN_HARVEST:
            continue
        if stage is Stage.SITE and reading in ALSO_AT_THE_SITE:
            continue
        yield Finding(
            f"question {node} asks for {reading}, which belongs to the harvest, in stage {stage}; "
            "write stage: harvest, and lead to it only from where the freeze is proved sound",
            case.place(node),
            path_to(node, case.reached) if node in case.reached else (),
        )


def gauges_wait_for_the_refrigerant(case: Case) -> Iterator[Finding]:
    """No gauge reading is asked before the refrigerant: without it none can be judged."""
    readings = case.content.readings
    gases = {each.id for each in readings.values() if each.kind is ReadingKind.REFRIGERANT}
    if not gases:
        return
    asked = frozenset[str]().union(*(case.questions_of.get(gas, frozenset()) for gas in gases))
    gauges = [
        node
        for node in case.of_kind(NodeKind.QUESTION)
        if (reading := readings[case.reading_of(node)]).kind is ReadingKind.GAUGE_PRESSURE
        or reading.id in GAUGE_IDS
    ]
    name = " or ".join(sorted(gases))
    yield from reached_without(
        case,
        asked,
        gauges,
        f"question {{node}} can be asked before {name}, and then no gauge can be judged; ask "
        f"{name} on every way to it, as the part conditions does",
    )


def no_question_comes_too_late(case: Case) -> Iterator[Finding]:
    """No question asks for what a question of the same file asked for on every way to it.

    Other files may: a part asks for what it needs, and what was had before is not asked again.
    """
    if case.dominators is None:
        return
    below: dict[str, list[str]] = {}
    for node, above in case.dominators.immediate().items():
        below.setdefault(above, []).append(node)
    asked: dict[tuple[str, str, str], str] = {}
    # Each node is met a second time once all it dominates are done.
    left: list[tuple[str, bool]] = [(case.start, True)]
    while left:
        node, is_entered = left.pop()
        key = _asks(case, node)
        if not is_entered:
            if key is not None and asked[key] == node:
                del asked[key]
            continue
        left.append((node, False))
        left += ((each, True) for each in below.get(node, ()))
        if key is None:
            continue
        before = asked.setdefault(key, node)
        if before != node:
            yield Finding(
                f"question {node} asks for {key[0]} again: {before} asked for it on every way "
                "here, so nobody is ever asked this; drop it, and lead to where its answer led",
                case.place(node),
                path_to(node, case.reached),
            )


def _asks(case: Case, node: str) -> tuple[str, str, str] | None:
    """Return reading, file and namespace of a question; None for another node."""
    if case.nodes[node]["kind"] is not NodeKind.QUESTION:
        return None
    return case.reading_of(node), case.place(node).file, node.rpartition(".")[0]
