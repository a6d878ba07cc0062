"""Properties of the order of a call: nobody is harmed on the way, no sound part is condemned."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from typing import Any

from triage.tree.content import Cause, Rule, Side, Stage
from triage.tree.dominators import Dominators
from triage.tree.graph import NodeKind, caution_node, gate_node, recommendation_node
from triage.tree.proof_case import Case, Finding, path_to, reached_without

QUALIFICATION = "caller_qualification"
DISCHARGE_LINE = "discharge_line_temperature"
ICE_PATTERN = "ice_pattern"
COIL_SUPPLY = "coil_voltage"
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

_GOOD = frozenset({"within"})
_AFTER_FREEZE = (Stage.HARVEST, Stage.CONFIRM)
_COIL_DRIVEN = ("solenoid", "hot gas valve", "vapor regulator")
"""Words that name a part which opens because a coil is powered."""

_COIL_CHECKS = {COIL_SUPPLY: _GOOD}
# A valve that should be shut is leaking only if its line is hot while its coil is dead.
_LEAK_CHECKS = {COIL_SUPPLY: _GOOD, "hot_gas_line_in_freeze": frozenset({"hot_coil_off"})}


def harvest_waits_for_freeze_health(case: Case) -> Iterator[Finding]:
    """No harvest or confirming question is reached without every freeze-health reading asked."""
    for reading in FREEZE_HEALTH:
        yield from reached_without(
            case,
            case.questions_of.get(reading, frozenset()),
            [
                node
                for node in case.of_kind(NodeKind.QUESTION)
                if case.nodes[node]["stage"] in _AFTER_FREEZE
            ],
            f"question {{node}} can be asked before {reading}; ask {reading} on every way to it",
        )


def harvest_is_entered_on_a_sound_freeze(case: Case) -> Iterator[Finding]:
    """Every edge from before harvest into it is a junction's rule that demands a sound freeze."""
    reached = case.reach()
    if case.nodes[case.start]["stage"] in _AFTER_FREEZE:
        yield Finding(
            f"{case.start} starts the call in the harvest; start with the freeze",
            case.place(case.start),
            (case.start,),
        )
    for node, ways in case.ways.items():
        if node not in reached or case.nodes[node]["stage"] in (None, *_AFTER_FREEZE):
            continue
        for target, facts in ways:
            if case.nodes[target]["stage"] in _AFTER_FREEZE:
                for lack in _lacks_of_edge(case, node, facts):
                    yield Finding(
                        f"the way from {node} into the harvest at {target} {lack}",
                        case.place(node),
                        (*path_to(node, reached), target),
                    )


def _lacks_of_edge(case: Case, node: str, facts: Mapping[str, Any]) -> Iterator[str]:
    """Yield what keeps an edge from standing for a sound freeze."""
    if case.nodes[node]["kind"] is not NodeKind.JUNCTION:
        yield "passes no junction; let a junction's rule check the freeze"
        return
    demanded = _demanded(case)
    for rule in facts["rules"]:
        if rule is None:
            yield "is a junction's otherwise; lead otherwise to a freeze ending or an escalation"
            continue
        quote = f'(rule "{rule.says}")'
        for reading_id, healthy in demanded.items():
            if reading_id not in rule.all_of or not rule.all_of[reading_id] <= healthy:
                yield (
                    f"{quote} does not demand {reading_id}: {' or '.join(sorted(healthy))}; add it "
                    "to its if"
                )
        for reading_id, healthy in case.healthy_in_freeze.items():
            if reading_id in demanded:
                continue
            allowed = rule.all_of.get(reading_id)
            if allowed is not None and allowed <= healthy:
                continue
            if allowed is None and node not in case.unsettled(reading_id):
                continue
            yield (
                f"{quote} lets an unhealthy {reading_id} pass; add {reading_id}: "
                f"[{', '.join(sorted(healthy))}] to its if"
            )
        if not _demands_a_suction(rule.all_of, rule.any_of):
            yield (
                f"{quote} does not demand a freeze suction pressure within; add "
                f"{' or '.join(FREEZE_SUCTIONS)} to its if or if_any"
            )


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
    """Every ending with a harvest-side cause lies behind an edge that demands a sound freeze."""

    def is_unguarded(source: str, _: str, facts: Mapping[str, Any]) -> bool:
        return next(_lacks_of_edge(case, source, facts), None) is not None

    reached = case.reach(is_open=is_unguarded)
    for ending in case.concluding():
        side_causes = [
            cause
            for cause in case.causes_of(ending)
            if case.content.causes[cause].side is Side.HARVEST
        ]
        if side_causes and ending in reached:
            yield Finding(
                f"ending {ending} concludes {', '.join(side_causes)} on a freeze not known to be "
                "sound; reach it only through a junction rule that demands one",
                case.place(ending),
                path_to(ending, reached),
            )


# --- coil, licence, cautions and gates ------------------------------------------------------------


def valves_are_condemned_on_a_good_coil_check_alone(case: Case) -> Iterator[Finding]:
    """No ending condemns a coil-driven valve while its coil check is missing, bad or unknown."""
    valves = [cause for cause in case.content.causes.values() if _is_coil_driven(cause)]
    for side in Side:
        checks = _LEAK_CHECKS if side is Side.FREEZE else _COIL_CHECKS
        condemned = {cause.id for cause in valves if cause.side is side}
        reached = case.reach(is_open=_unless_checked(case, checks)) if condemned else {}
        for ending in case.concluding():
            found = [cause for cause in case.causes_of(ending) if cause in condemned]
            if found and ending in reached:
                wanted = " or ".join(
                    f"{reading}: {outcome}" for reading, good in checks.items() for outcome in good
                )
                yield Finding(
                    f"ending {ending} concludes {', '.join(found)} without a good coil check "
                    f"({wanted}); lead there from that outcome alone, or by a rule that demands it",
                    case.place(ending),
                    path_to(ending, reached),
                )


def _unless_checked(
    case: Case, checks: Mapping[str, frozenset[str]]
) -> Callable[[str, str, Mapping[str, Any]], bool]:
    """Return the test for edges that can be taken without one of the checks being good."""
    good_by_question = {
        question: good
        for reading, good in checks.items()
        for question in case.questions_of.get(reading, ())
    }

    def is_open(source: str, _: str, facts: Mapping[str, Any]) -> bool:
        if source in good_by_question:
            return not facts["outcomes"] <= good_by_question[source]
        rules: tuple[Rule | None, ...] = facts["rules"]
        return not rules or any(
            rule is None
            or not any(
                reading in rule.all_of and rule.all_of[reading] <= good
                for reading, good in checks.items()
            )
            for rule in rules
        )

    return is_open


def _is_coil_driven(cause: Cause) -> bool:
    parts = [
        part.casefold().replace("_", " ").replace("-", " ")
        for part in (*cause.condemns, *cause.replace_together)
    ]
    return any(word in part for part in parts for word in _COIL_DRIVEN)


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
    yield from _dominated(
        case,
        [
            (caution_node(caution, node), node, f"question {node} can be asked without its caution")
            for node in case.of_kind(NodeKind.QUESTION)
            for caution in case.content.readings[case.reading_of(node)].cautions
        ],
    )


def recommendations_wait_for_their_gate(case: Case) -> Iterator[Finding]:
    """Every recommendation is dominated by its gate, and every conclusion leads to one."""
    names = [(case.nodes[node]["subject"], node) for node in case.of_kind(NodeKind.RECOMMENDATION)]
    yield from _dominated(
        case,
        [(gate_node(name), node, f"{node} can be shown without its gate") for name, node in names],
    )
    for ending in case.concluding():
        if recommendation_node(ending) not in case.nodes:
            yield Finding(f"ending {ending} has no recommendation", case.place(ending))


def _dominated(case: Case, pairs: list[tuple[str, str, str]]) -> Iterator[Finding]:
    """Yield a finding for each (above, node, message) where some path to node avoids above."""
    if not case.is_acyclic:
        return
    dominators = Dominators(case.graph, case.start)
    for above, node, message in pairs:
        if not dominators.is_reached(node):
            continue
        if dominators.is_reached(above) and dominators.dominates(above, node):
            continue
        yield Finding(
            f"{message} ({above})", case.place(node), path_to(node, case.reach(without=[above]))
        )
