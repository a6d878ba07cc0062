"""Other ways to a diagnosis beside the whole tool, from the words of the same caller."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from triage.dialogue import heard
from triage.dialogue.case import Case, fold
from triage.dialogue.engine import Engine
from triage.dialogue.events import Acknowledged, Answered
from triage.dialogue.judge import minute_of
from triage.dialogue.reply import Unknown, Value
from triage.dialogue.view import Finding
from triage.dialogue.walk import walk
from triage.drill.simulated_caller import SimulatedCaller
from triage.tree.content import Content, Reading
from triage.tree.graph import NodeKind

FEED = "receiver_vapor_feed_failed"
BOTH_HARVEST_PRESSURES = ("harvest_suction_pressure", "harvest_discharge_pressure")


@dataclass(frozen=True)
class Way:
    """What one way of diagnosing came to on one call.

    `named` are the causes it names, likeliest first; `concluded` those of them it would have
    repaired, none where it hands the call over. `minutes` is the caller's time its questions took.
    """

    named: tuple[str, ...]
    concluded: tuple[str, ...] = ()
    questions: int = 0
    minutes: float = 0.0


def answered(
    content: Content, case: Case, reading: Reading, words: str, minute: float | None
) -> Answered:
    """Return the answer that a caller's words are; AssertionError if they are not understood."""
    reply = heard.read(content, case, reading, words)
    match reply:
        case Value():
            return heard.answer_of(reading, reply, minute)
        case Unknown(reason):
            return Answered(reading.id, words, None, reason)
    raise AssertionError(f"{words!r} is not taken for {reading.id}: {reply}")


def graph_alone(engine: Engine, case: Case, caller: SimulatedCaller) -> Way:
    """Return where the decision graph leads by itself: no ranking looks on, no doubt is raised."""
    content, graph = engine.content, engine.graph
    asked: list[Reading] = []
    while True:
        spot = walk(graph, content, case)
        node = graph.nodes[spot.node]
        match node["kind"]:
            case NodeKind.ENDING:
                break
            case NodeKind.CAUTION:
                case = fold([Acknowledged(node["subject"], "yes")], case)
            case NodeKind.QUESTION:
                reading = content.readings[node["reading"]]
                minute = minute_of(engine.tree.questions[spot.node], reading)
                words = caller.answer(reading.id)
                case = fold([answered(content, case, reading, words, minute)], case)
                asked.append(reading)
            case kind:
                raise AssertionError(f"a call cannot stand at {spot.node}, a {kind}")
    ending = engine.tree.endings[spot.node]
    return Way(
        ending.causes or ending.shortlist,
        ending.causes,
        len(asked),
        sum(reading.minutes for reading in asked),
    )


def naive_rule(findings: Mapping[str, Finding]) -> Way:
    """Return what the rule "both harvest pressures low, so the feed" says of what could be had."""
    low = all(
        reading_id in findings and findings[reading_id].outcome == "below"
        for reading_id in BOTH_HARVEST_PRESSURES
    )
    return Way((FEED,), (FEED,)) if low else Way(())
