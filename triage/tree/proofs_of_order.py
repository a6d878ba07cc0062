"""Properties of the order of a call: nobody is harmed on the way, no sound part is condemned."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from typing import Any

from triage.tree.content import QUALIFICATION, Stage
from triage.tree.graph import NodeKind, caution_node, gate_node, recommendation_node
from triage.tree.machine_parts import is_of_harvest
from triage.tree.proof_case import (
    Case,
    Finding,
    Outcomes,
    and_more,
    path_to,
    reached_without,
)

DISCHARGE_LINE = "discharge_line_temperature"
ICE_PATTERN = "ice_pattern"
FREEZE_SUCTIONS = ("freeze_suction_pressure_early", "freeze_suction_pressure_late")
FREEZE_HEALTH = (
    "freeze_time",
    "ice_bridge_thickness",
    ICE_PATTERN,
    "water_flow_over_plate",
    "water_leaking_into_sump",
    DISCHARGE_LINE,
    *FREEZE_SUCTIONS,
    "freeze_discharge_pressure",
)
"""Readings without which a freeze cannot be called sound; all come before any harvest question."""

SEEN_WITH_THE_MACHINE_OFF = frozenset({"plate_scaled_or_damaged"})
"""Causes of the harvest that a look shows on any freeze; handed over, they may be named."""

_GOOD = frozenset({"within"})
_AFTER_FREEZE = (Stage.HARVEST, Stage.CONFIRM)


def harvest_waits_for_freeze_health(case: Case) -> Iterator[Finding]:
    """No harvest or confirming question is reached without every freeze-health reading asked.

    Questions that can come before the same readings are one finding.
    """
    after = [
        node
        for node in case.of_kind(NodeKind.QUESTION)
        if case.nodes[node]["stage"] in _AFTER_FREEZE
    ]
    reached: dict[str, dict[str, str | None]] = {}
    missing: dict[str, list[str]] = {}
    for reading in FREEZE_HEALTH:
        # A node on both sides does not come before itself.
        passed = case.questions_of.get(reading, frozenset()).difference(after)
        reached[reading] = case.reach(without=passed)
        for node in after:
            if node in reached[reading]:
                missing.setdefault(node, []).append(reading)
    alike: dict[tuple[str, ...], list[str]] = {}
    for node, lacks in missing.items():
        alike.setdefault(tuple(lacks), []).append(node)
    for readings, nodes in alike.items():
        found = reached[readings[0]]
        waiting = frozenset(nodes)
        node = next(each for each in found if each in waiting)
        yield Finding(
            _not_waited_for(node, readings) + and_more(len(nodes)),
            case.place(node),
            path_to(node, found),
        )


def _not_waited_for(node: str, readings: tuple[str, ...]) -> str:
    if len(readings) == 1:
        (reading,) = readings
        return f"question {node} can be asked before {reading}; ask {reading} on every way to it"
    return (
        f"question {node} can be asked before the freeze is known to be sound; lead to it only "
        "from where that is proved (an exit of the part that asks about the freeze), or ask on "
        f"every way to it what can be missing: {', '.join(readings)}"
    )


def harvest_is_entered_on_a_sound_freeze(case: Case) -> Iterator[Finding]:
    """Every edge from before harvest into it is a junction's rule that demands a sound freeze."""
    if case.nodes[case.start]["stage"] in _AFTER_FREEZE:
        yield Finding(
            f"{case.written(case.start)} starts the call in the harvest; start with the freeze",
            case.place(case.start),
            (case.start,),
        )
    for node, ways in case.ways.items():
        if node not in case.reached or case.nodes[node]["stage"] in (None, *_AFTER_FREEZE):
            continue
        for target, facts in ways:
            if case.nodes[target]["stage"] in _AFTER_FREEZE:
                for lack, shows in _lacks_of_edge(case, node, facts):
                    yield Finding(
                        f"the way from {node} into the harvest at {case.written(target)} {lack}",
                        case.place(node),
                        (*path_to(node, case.reached), target),
                        shows or tuple(_unsound_freezes(case)),
                    )


def _lacks_of_edge(
    case: Case, node: str, facts: Mapping[str, Any]
) -> Iterator[tuple[str, tuple[Outcomes, ...]]]:
    """Yield what keeps an edge from standing for a sound freeze, and the outcomes that show it.

    No outcomes are given where those of any freeze that is not sound do.
    """
    if case.nodes[node]["kind"] is not NodeKind.JUNCTION:
        yield "passes no junction; let a junction's rule check the freeze", ()
        return
    demanded = _demanded(case)
    for rule in facts["rules"]:
        if rule is None:
            lack = "is a junction's otherwise; lead otherwise to a freeze ending or an escalation"
            yield lack, ()
            continue
        quote = f'(rule "{rule.says}")'
        for reading_id, healthy in demanded.items():
            if reading_id not in rule.all_of or not rule.all_of[reading_id] <= healthy:
                lack = f"does not demand {reading_id}: {' or '.join(sorted(healthy))}"
                yield (
                    f"{quote} {lack}; add it to its if",
                    (case.outcomes_but({reading_id: healthy}),),
                )
        for reading_id, healthy in case.healthy_in_freeze.items():
            if reading_id in demanded:
                continue
            allowed = rule.all_of.get(reading_id)
            if allowed is not None and allowed <= healthy:
                continue
            if allowed is None and node not in case.unsettled(reading_id):
                continue
            lack = f"lets an unhealthy {reading_id} pass"
            yield (
                f"{quote} {lack}; add {reading_id}: [{', '.join(sorted(healthy))}] to its if",
                (case.outcomes_but({reading_id: healthy}),),
            )
        if not _demands_a_suction(rule.all_of, rule.any_of):
            lack = "does not demand a freeze suction pressure within"
            yield (
                f"{quote} {lack}; add {' or '.join(FREEZE_SUCTIONS)} to its if or if_any",
                (case.outcomes_but(dict.fromkeys(FREEZE_SUCTIONS, _GOOD)),),
            )


def _unsound_freezes(case: Case) -> Iterator[Outcomes]:
    """Yield outcomes each of which says that a freeze is not sound, the plainest first."""
    for reading_id, healthy in _demanded(case).items():
        yield case.outcomes_but({reading_id: healthy})
    yield case.outcomes_but(dict.fromkeys(FREEZE_SUCTIONS, _GOOD))
    for reading_id, healthy in case.healthy_in_freeze.items():
        yield case.outcomes_but({reading_id: healthy})


def _demanded(case: Case) -> dict[str, frozenset[str]]:
    """Return what must be known healthy: reading to the outcomes that are."""
    pattern = case.content.readings.get(ICE_PATTERN)
    return {
        DISCHARGE_LINE: _GOOD,
        ICE_PATTERN: frozenset(pattern.normal if pattern else ()),
    }


def _demands_a_suction(
    all_of: Mapping[str, frozenset[str]], any_of: Mapping[str, frozenset[str]]
) -> bool:
    if any(all_of.get(reading) == _GOOD for reading in FREEZE_SUCTIONS):
        return True
    return bool(any_of) and all(
        reading in FREEZE_SUCTIONS and outcomes == _GOOD for reading, outcomes in any_of.items()
    )


def harvest_causes_need_a_sound_freeze(case: Case) -> Iterator[Finding]:
    """Every ending that blames the harvest lies behind an edge that demands a sound freeze.

    That holds for what it concludes, may settle on, or shortlists for whoever goes on with it.
    """

    def is_unguarded(source: str, _: str, facts: Mapping[str, Any]) -> bool:
        return next(_lacks_of_edge(case, source, facts), None) is not None

    reached = case.reach(is_open=is_unguarded)
    endings = {
        node: case.tree.endings[case.nodes[node]["subject"]]
        for node in reached
        if case.nodes[node]["kind"] is NodeKind.ENDING
    }
    concluded = {node: each.possible_causes for node, each in endings.items()}
    shortlisted = {
        node: [cause for cause in each.shortlist if cause not in SEEN_WITH_THE_MACHINE_OFF]
        for node, each in endings.items()
        if not _of_harvest(case, each.possible_causes)
    }
    for blamed, does, cure in (
        (concluded, "concludes", "reach it"),
        (shortlisted, "shortlists", "drop that, or reach the ending"),
    ):
        found = {node: _of_harvest(case, causes) for node, causes in blamed.items()}
        unguarded = [node for node, causes in found.items() if causes]
        if unguarded:
            nearest = unguarded[0]
            yield Finding(
                f"ending {nearest} {does} {', '.join(found[nearest])} on a freeze not known to be "
                f"sound{and_more(len(unguarded))}; {cure} only through a junction rule that "
                "demands one",
                case.place(nearest),
                path_to(nearest, reached),
                tuple(_unsound_freezes(case)),
            )


def _of_harvest(case: Case, causes: Iterable[str]) -> list[str]:
    return [cause for cause in causes if is_of_harvest(case.content.causes[cause])]


# --- licence, cautions and gates ------------------------------------------------------------------


def licensed_work_waits_for_the_qualification(case: Case) -> Iterator[Finding]:
    """No reading for licensed hands is asked before it is known who is calling."""
    yield from reached_without(
        case,
        case.questions_of.get(QUALIFICATION, frozenset()),
        [
            node
            for node in case.of_kind(NodeKind.QUESTION)
            if case.content.readings[case.reading_of(node)].is_licensed
        ],
        f"question {{node}} is for licensed hands and can be asked before {QUALIFICATION}; ask "
        "that first",
    )


def hazards_wait_for_their_caution(case: Case) -> Iterator[Finding]:
    """Every question is dominated by each caution its reading carries."""
    guarded: dict[str, list[tuple[str, str]]] = {}
    for node in case.of_kind(NodeKind.QUESTION):
        for caution in case.content.readings[case.reading_of(node)].cautions:
            guarded.setdefault(caution, []).append((caution_node(caution, node), node))
    for caution, pairs in guarded.items():
        yield from _dominated(
            case, pairs, f"question {{name}} can be asked without the caution {caution} before it"
        )


def recommendations_wait_for_their_gate(case: Case) -> Iterator[Finding]:
    """Every recommendation is dominated by its gate, and every conclusion leads to one."""
    names = [(case.nodes[node]["subject"], node) for node in case.of_kind(NodeKind.RECOMMENDATION)]
    yield from _dominated(
        case,
        [(gate_node(name), node) for name, node in names],
        "the recommendation of ending {name} can be shown without its gate",
    )
    for ending in case.concluding():
        if recommendation_node(ending) not in case.nodes:
            yield Finding(
                f"ending {ending} has no recommendation",
                case.place(ending),
                path_to(ending, case.reached) if ending in case.reached else (),
            )


def _dominated(case: Case, pairs: list[tuple[str, str]], message: str) -> Iterator[Finding]:
    """Yield one finding if for any (above, node) some path to node avoids above.

    message: with {name} for what the first of them stands for; how many more there are is added.
    """
    broken = [pair for pair in pairs if not _is_dominated(case, *pair)]
    if broken:
        above, node = broken[0]
        yield Finding(
            message.format(name=case.nodes[node]["subject"]) + and_more(len(broken)),
            case.place(node),
            path_to(node, case.reach(without=[above])),
        )


def _is_dominated(case: Case, above: str, node: str) -> bool:
    dominators = case.dominators
    if dominators is None or not dominators.is_reached(node):
        return True
    return dominators.is_reached(above) and dominators.dominates(above, node)
