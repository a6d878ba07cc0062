"""How many questions the tool asks, beside the best next question at each step.

The order to compare with follows no graph: after the context (caller, machine, temperatures) it
asks at each step for the reading that is expected to save most minutes over what it takes, as long
as one does, and then decides. It keeps the rules that no order may break: harvest readings and the
confirming test wait until the freeze is proven sound by the tree's own rule; no valve is repaired
before its coil was seen to have its voltage, and none is called leaking before its line was felt
with the coil dead. Where nothing is worth asking but one of these rules forbids what should be
done, it asks for what the rule still lacks, the least time first.

Looking one step ahead misses what only two readings together can tell. So where no single answer
would save its minutes and the call would be handed over, it asks for what tells most about the
cause for each minute, until that is next to nothing. This is not the best order there is, but
nothing better can be computed, and the tool has the same beliefs. `fewest` goes below any order:
with hindsight, readings are left out one by one as long as the decision stays the same.
"""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass

from tests.benchmarks.in_parallel import over_batches
from tests.benchmarks.other_ways import answered
from tests.benchmarks.simulated_calls import (
    Batch,
    caller_for,
    content_in_use,
    engine_for,
    is_false_condemnation,
    plan,
    talk,
)
from tests.conversation import TREE
from triage.dialogue.beliefs import beliefs_of, measured, scaled, setting_of
from triage.dialogue.case import Case, fold
from triage.dialogue.engine import Engine
from triage.dialogue.events import Acknowledged
from triage.dialogue.judge import finding_of, minute_of
from triage.dialogue.view import Escalated, Finding
from triage.dialogue.walk import walk
from triage.dialogue.worth import best_decision, minutes_of, worth_asking
from triage.drill.population import TRIED, opened
from triage.drill.simulated_caller import SimulatedCaller
from triage.tree.content import UNKNOWN, Content, Question, Rule, Side, Stage, Tree
from triage.tree.graph import NodeKind, is_met

GOAL_RATIO = 1.15

LEAST_TOLD = 0.05
"""A reading expected to tell less about the cause is not asked for by itself [nat]; judged."""

_ORDER = tuple(Stage)
_COIL_DRIVEN = ("valve", "solenoid", "regulator")
_HARVEST = (Stage.HARVEST, Stage.CONFIRM)
LEAKING = ("hot_gas_valve_leaking",)
_PROOFS: Sequence[frozenset[str]] = (
    frozenset({"discharge_line_temperature"}),
    frozenset({"ice_pattern"}),
    frozenset({"freeze_suction_pressure_early", "freeze_suction_pressure_late"}),
    frozenset({"freeze_time", "ice_bridge_thickness"}),
)
"""What must be known of a sound freeze: one of each."""
_PROOF_REMOTE = frozenset({"freeze_discharge_pressure"})


@dataclass(frozen=True)
class Asked:
    """What one way asked on one call, and how it ended: right, wrong or handed over.

    `is_false` is a harvest part condemned on an unhealthy freeze.
    """

    questions: int
    minutes: float
    is_right: bool
    is_handed_over: bool
    is_false: bool


@dataclass(frozen=True)
class Pair:
    """One call asked by the tool and in the best order; `fewest` counts with hindsight."""

    cause: str
    context: int
    tool: Asked
    best: Asked
    fewest: int


def asked_both_ways(calls: int, seed: int) -> list[Pair]:
    """Return calls of a plan, each asked by the tool and in the best order."""
    return over_batches(pairs_of, plan(calls, seed), "calls in two orders")


def order_table(pairs: Sequence[Pair]) -> Iterator[str]:
    """Yield the questions of the tool against the best order, by cause and overall."""
    by_cause: dict[str, list[Pair]] = defaultdict(list)
    for pair in pairs:
        by_cause[pair.cause].append(pair)
    yield f"Questions asked, context included, on {len(pairs)} calls:"
    yield (
        f"{'':26}{'calls':>6}{'tool':>7}{'best':>7}{'ratio':>7}{'fewest':>8} |{'minutes':>8}"
        f"{'best':>7}{'ratio':>7} |{'right':>7}{'best':>7} |{'handed':>7}{'best':>7}"
    )
    for cause in content_in_use().causes:
        if by_cause[cause]:
            yield _line(cause, by_cause[cause])
    yield _line("all causes alike", pairs)
    both_right = [pair for pair in pairs if pair.tool.is_right and pair.best.is_right]
    yield f"the tool asks {_times(pairs)} times what the best order does (goal: {GOAL_RATIO:.2f});"
    yield f"context left out of both, {_times(pairs, is_context_left_out=True)} times;"
    yield f"on the {len(both_right)} calls that both end right, {_times(both_right)} times;"
    falsely = [sum(getattr(pair, way).is_false for pair in pairs) for way in ("tool", "best")]
    yield f"harvest parts condemned on an unhealthy freeze: tool {falsely[0]}, best {falsely[1]}"


def _times(pairs: Sequence[Pair], *, is_context_left_out: bool = False) -> str:
    context = _mean([pair.context for pair in pairs]) if is_context_left_out else 0.0
    tool = _mean([pair.tool.questions for pair in pairs]) - context
    best = _mean([pair.best.questions for pair in pairs]) - context
    return f"{tool / best:.2f}" if best > 0.0 else "-"


def _line(name: str, pairs: Sequence[Pair]) -> str:
    tool, best = [pair.tool for pair in pairs], [pair.best for pair in pairs]
    asked = [_mean([each.questions for each in way]) for way in (tool, best)]
    minutes = [_mean([each.minutes for each in way]) for way in (tool, best)]
    right = [100.0 * _mean([each.is_right for each in way]) for way in (tool, best)]
    handed = [100.0 * _mean([each.is_handed_over for each in way]) for way in (tool, best)]
    return (
        f"{name:26}{len(pairs):6}{asked[0]:7.1f}{asked[1]:7.1f}{asked[0] / asked[1]:7.2f}"
        f"{_mean([pair.fewest for pair in pairs]):8.1f} |{minutes[0]:8.1f}{minutes[1]:7.1f}"
        f"{minutes[0] / minutes[1]:7.2f} |{right[0]:7.1f}{right[1]:7.1f} |"
        f"{handed[0]:7.1f}{handed[1]:7.1f}"
    )


def _mean(values: Sequence[float]) -> float:
    return sum(values) / len(values) if values else 0.0


def pairs_of(batch: Batch) -> list[Pair]:
    """Return the calls from one place, each asked both ways."""
    engine = engine_for(batch)
    start = opened(batch.place, TREE, engine.content.version)
    pairs = []
    for job in batch.jobs:
        found = caller_for(batch, job)
        if found is not None:
            caller, _ = found
            prompt, _, asked = talk(engine, start, caller)
            concluded = () if isinstance(prompt, Escalated) else prompt.conclusion.causes
            tool = Asked(
                len(asked), sum(reading.minutes for reading in asked),
                job.cause in concluded, not concluded, is_false_condemnation(job.cause, concluded),
            )  # fmt: skip
            pairs.append(Pair(job.cause, *in_best_order(engine, start, caller, tool)))
    return pairs


def in_best_order(
    engine: Engine, case: Case, caller: SimulatedCaller, tool: Asked
) -> tuple[int, Asked, Asked, int]:
    """Return how many questions the context takes, both ways of asking, and the fewest needed."""
    content = engine.content
    case = _context(engine, case, caller)
    context = len(case.answers)
    sound = rule_into_harvest(engine.tree)
    while True:
        findings = _findings(content, case)
        is_proven = is_freeze_proven(sound, findings)
        allowed = may_be_repaired(content, findings, is_proven)
        following = next_reading(content, engine.tree, case, findings, is_proven)
        if following is None:
            break
        reading = content.readings[following]
        words = caller.answer(following)
        minute = minute_of(None, reading)
        case = fold([answered(content, case, reading, words, minute)], case)
    decision = best_decision(content, findings, allowed=allowed)
    best = Asked(
        len(case.answers),
        sum(content.readings[key].minutes for key in case.answers),
        decision.cause == caller.fault.cause,
        decision.cause is None,
        decision.cause is not None and is_false_condemnation(caller.fault.cause, (decision.cause,)),
    )
    asked = list(case.answers)[context:]
    return context, tool, best, context + len(_fewest(content, findings, asked, allowed))


def next_reading(
    content: Content, tree: Tree, case: Case, findings: Mapping[str, Finding], is_proven: bool
) -> str | None:
    """Return the reading to ask for next, None to decide now."""
    open_readings = askable(content, tree, findings, is_proven)
    worth = worth_asking(content, findings, open_readings)
    if worth:
        return worth[0].reading
    wanted = best_decision(content, findings, allowed=content.causes.keys()).cause
    if wanted in may_be_repaired(content, findings, is_proven):
        return None
    needed: Sequence[str] = ()
    if wanted in LEAKING:
        needed = ("hot_gas_line_in_freeze",)
    elif not is_proven:
        needed = _lacking(findings) or ()
    elif wanted is not None:
        needed = ("coil_nominal_voltage", "coil_voltage")
    could_be_asked = [reading for reading in needed if reading in open_readings]
    if could_be_asked:
        return min(could_be_asked, key=lambda key: content.readings[key].minutes)
    return most_telling(content, findings, open_readings) if wanted is None else None


def most_telling(
    content: Content, findings: Mapping[str, Finding], open_readings: Sequence[str]
) -> str | None:
    """Return the reading that tells most about the cause for each minute, None if none does."""
    known = measured(findings.values())
    beliefs = beliefs_of(content, setting_of(known))
    weights = beliefs.after(beliefs.shares, known)
    now = _entropy(beliefs.by_cause(weights))
    best: tuple[float, str | None] = (0.0, None)
    for reading_id in open_readings:
        told = now
        for column in beliefs.whole_columns.get(reading_id, ()):
            joint = [weight * chance for weight, chance in zip(weights, column, strict=True)]
            total = sum(joint)
            told -= total * _entropy(beliefs.by_cause(scaled(joint))) if total > 0.0 else 0.0
        rate = told / minutes_of(content.readings[reading_id])
        if reading_id in beliefs.whole_columns and told > LEAST_TOLD and rate > best[0]:
            best = (rate, reading_id)
    return best[1]


def _entropy(chances: Sequence[float]) -> float:
    return -sum(chance * math.log(chance) for chance in chances if chance > 0.0)


def _lacking(findings: Mapping[str, Finding]) -> list[str] | None:
    """Return what a proof of the freeze still lacks; None where it cannot be had any more."""
    kind = findings.get("condenser_kind")
    is_remote = kind is not None and kind.outcome == "remote_air"
    lacking: list[str] = []
    for group in (*_PROOFS, *([_PROOF_REMOTE] if is_remote else [])):
        outcomes = [findings[key].outcome for key in group if key in findings]
        if any(outcome != UNKNOWN for outcome in outcomes):
            continue
        if len(outcomes) == len(group):
            return None
        lacking += [key for key in group if key not in findings]
    return sorted(lacking)


def askable(
    content: Content, tree: Tree, findings: Mapping[str, Finding], is_proven: bool
) -> list[str]:
    """Return the readings that may be asked for without breaking the order."""
    stages: dict[str, Stage] = {}
    for question in tree.questions.values():
        stages[question.reading] = min(
            question.stage, stages.get(question.reading, question.stage), key=_ORDER.index
        )
    return [
        reading_id
        for reading_id, stage in stages.items()
        if reading_id not in findings
        and _ORDER.index(stage) >= _ORDER.index(Stage.FREEZE)
        and (is_proven or stage not in _HARVEST)
        and (stage is not Stage.CONFIRM or _may_be_tried(reading_id, findings))
    ]


def _may_be_tried(reading_id: str, findings: Mapping[str, Finding]) -> bool:
    feed = findings.get("receiver_vapor_feed_fitted")
    is_there = feed is None or feed.outcome != "not_fitted"
    return reading_id == TRIED and is_there and _has_voltage(findings)


def _has_voltage(findings: Mapping[str, Finding]) -> bool:
    voltage = findings.get("coil_voltage")
    return voltage is not None and voltage.outcome == "within"


def may_be_repaired(
    content: Content, findings: Mapping[str, Finding], is_proven: bool
) -> list[str]:
    """Return the causes that may be repaired on what is known."""
    line = findings.get("hot_gas_line_in_freeze")
    is_dead_and_hot = line is not None and line.outcome == "hot_coil_off"
    allowed = []
    for cause in content.causes.values():
        is_coil_driven = any(word in part for part in cause.condemns for word in _COIL_DRIVEN)
        if cause.side is not Side.FREEZE:
            if is_proven and (_has_voltage(findings) or not is_coil_driven):
                allowed.append(cause.id)
        elif cause.id not in LEAKING or is_dead_and_hot:
            allowed.append(cause.id)
    return allowed


def rule_into_harvest(tree: Tree) -> Rule:
    """Return the rule of the tree by which a sound freeze leads into the harvest."""
    harvest = {item.id for item in tree.questions.values() if item.stage is Stage.HARVEST}
    return next(
        rule
        for junction in tree.junctions.values()
        if junction.stage is Stage.FREEZE
        for rule in junction.rules
        if rule.then in harvest
    )


def is_freeze_proven(sound: Rule, findings: Mapping[str, Finding]) -> bool:
    """Return whether the tree's rule for a sound freeze holds and nothing it needs lacks."""
    outcomes = {key: finding.outcome for key, finding in findings.items()}
    return is_met(sound, outcomes) and _lacking(findings) == []


def _context(engine: Engine, case: Case, caller: SimulatedCaller) -> Case:
    """Return the case with everything told that comes before the freeze."""
    content, graph = engine.content, engine.graph
    while True:
        spot = walk(graph, content, case)
        node = graph.nodes[spot.node]
        if node["stage"] not in (Stage.CALLER, Stage.MACHINE):
            return case
        if node["kind"] is NodeKind.CAUTION:
            case = fold([Acknowledged(node["subject"], "yes")], case)
            continue
        question: Question = engine.tree.questions[spot.node]
        reading = content.readings[question.reading]
        minute = minute_of(question, reading)
        words = caller.answer(reading.id)
        case = fold([answered(content, case, reading, words, minute)], case)


def _findings(content: Content, case: Case) -> Mapping[str, Finding]:
    found = {key: finding_of(content, case, key) for key in content.readings}
    return {key: item for key, item in found.items() if item is not None}


def _fewest(
    content: Content,
    findings: Mapping[str, Finding],
    asked: Sequence[str],
    allowed: Collection[str],
) -> list[str]:
    """Return which of the readings asked for are left when none can go without another decision."""
    wanted = best_decision(content, findings, allowed=allowed).cause
    kept = dict(findings)
    for reading_id in sorted(asked, key=lambda key: -content.readings[key].minutes):
        without = {key: item for key, item in kept.items() if key != reading_id}
        if best_decision(content, without, allowed=allowed).cause == wanted:
            kept = without
    return [reading_id for reading_id in asked if reading_id in kept]
