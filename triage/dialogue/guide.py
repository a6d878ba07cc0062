"""Where questions stop, and what is asked beyond the path.

The path through the tree asks in its order. This module says when no answer that could still be had
would change the recommendation, and, where the path alone leaves it open, which reading is worth
asking for next. Everything stays within the order of the tree: only questions of stages already
gone through, and only endings that the path itself would come to.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import replace
from typing import TYPE_CHECKING

from triage.dialogue.case import QUALIFICATION, Case
from triage.dialogue.judge import finding_of
from triage.dialogue.second_thoughts import opens_the_circuit
from triage.dialogue.view import ODD, Finding, Source, Verdict
from triage.dialogue.worth import best_decision, worth_asking
from triage.tree.content import UNKNOWN, Cause, Content, Ending, Question, Side, Stage, Tree
from triage.tree.graph import NodeKind, next_node

if TYPE_CHECKING:
    import networkx as nx

_ORDER = tuple(Stage)

SWITCH_OFF_NOW = "high_head"
"""Hazard of a repair that waits behind a machine which must not run for another reading."""


def askable(content: Content, tree: Tree, case: Case, reached: Stage) -> Mapping[str, Question]:
    """Return the questions, by reading, that may be put now without breaking the order.

    Those of stages already gone through, of readings neither had nor refused, for this caller; no
    licensed work while nobody knows who is calling. The confirming test belongs to its place in the
    tree.
    """
    is_caller_known = QUALIFICATION in case.answers
    latest = _ORDER.index(min(reached, Stage.HARVEST, key=_ORDER.index))
    return {
        question.reading: question
        for question in reversed(list(tree.questions.values()))
        if _ORDER.index(Stage.FREEZE) <= _ORDER.index(question.stage) <= latest
        and (is_caller_known or not content.readings[question.reading].is_licensed)
        and finding_of(content, case, question.reading) is None
    }


def next_worth(
    content: Content,
    findings: Mapping[str, Finding],
    open_questions: Mapping[str, Question],
    causes: Collection[str],
) -> Question | None:
    """Return the question most worth its minutes to tell `causes` from the rest, None if none is.

    None means that no single answer still to be had would change what is done.
    """
    worth = worth_asking(content, findings, open_questions.keys(), allowed=causes)
    return open_questions[worth[0].reading] if worth else None


def is_urgent(content: Content, ending: Ending) -> bool:
    """Return whether the machine has to be switched off now, whatever more could be measured."""
    return any(SWITCH_OFF_NOW in content.causes[cause].hazards for cause in ending.causes)


def settled(content: Content, ending: Ending, findings: Mapping[str, Finding]) -> Ending | None:
    """Return the ending with the cause that all readings together settle on, None if none.

    Nothing is blamed while every reading is as it should be, or while none of those was had that
    show it; no circuit is opened and no harvest part blamed without all of them.
    """
    if not ending.settles or not any(item.verdict in ODD for item in findings.values()):
        return None
    decision = best_decision(content, findings, allowed=ending.settles)
    if decision.cause is None:
        return None
    cause = content.causes[decision.cause]
    if not _is_shown(cause, findings):
        return None
    because = "The questions left it open. All readings together speak for this."
    return replace(ending, causes=(decision.cause,), because=because, escalate=None)


def _is_shown(cause: Cause, findings: Mapping[str, Finding]) -> bool:
    had = [
        key in findings and findings[key].verdict is not Verdict.UNKNOWN for key in cause.shown_by
    ]
    if not opens_the_circuit(cause) and cause.side is not Side.HARVEST:
        return any(had) or not had
    # A plate can be misjudged at a look: something else has to be out of order beside it.
    is_borne_out = any(
        item.verdict in ODD for key, item in findings.items() if key not in cause.shown_by
    )
    return all(had) and (is_borne_out or cause.side is not Side.HARVEST)


def worth_before_the_end(
    content: Content,
    ending: Ending,
    findings: Mapping[str, Finding],
    open_questions: Mapping[str, Question],
) -> Question | None:
    """Return what is to be asked before `ending` is told, None if nothing is.

    A conclusion that all readings bear out well enough to act on needs nothing more. Where they may
    settle an open one, what is worth its minutes comes first, then whatever shows the likeliest
    cause directly.
    """
    if not ending.possible_causes:
        return None
    decision = best_decision(content, findings, allowed=ending.possible_causes)
    if ending.causes and decision.cause in ending.causes:
        return None
    worthy = next_worth(content, findings, open_questions, ending.possible_causes)
    if worthy is not None or decision.cause is None:
        return worthy
    return first_look(content, decision.cause, open_questions)


def first_look(
    content: Content, cause: str, open_questions: Mapping[str, Question]
) -> Question | None:
    """Return the first question still open that shows `cause` directly, None if none is."""
    shown_by = content.causes[cause].shown_by
    return next((open_questions[key] for key in shown_by if key in open_questions), None)


def ending_if_nothing_more(graph: nx.DiGraph[str], node: str, outcomes: Mapping[str, str]) -> str:
    """Return the ending a call comes to from `node` if nothing more can be had."""
    while graph.nodes[node]["kind"] is not NodeKind.ENDING:
        reading = graph.nodes[node]["reading"]
        if reading and reading not in outcomes:
            outcomes = {**outcomes, reading: UNKNOWN}
        following = next_node(graph, node, outcomes)
        if following is None:
            break
        node = following
    return node


def beyond_the_path(
    graph: nx.DiGraph[str],
    content: Content,
    tree: Tree,
    case: Case,
    node: str,
    reached: Stage,
    findings: Mapping[str, Finding],
) -> Ending | Question | None:
    """Return the ending the call is at, a question to put before the path's next, or None.

    `node` is where the walk stands, `reached` the latest stage it went through.
    """
    if node in tree.endings:
        return tree.endings[node]
    stage = graph.nodes[node]["stage"]
    if stage is Stage.FREEZE:
        return in_the_freeze(graph, content, tree, case, node, findings)
    if reached is not Stage.FREEZE:
        return None
    # The freeze passes for sound: is a freeze fault still likely enough for one more reading?
    open_questions = askable(content, tree, case, Stage.FREEZE)
    return next_worth(content, findings, open_questions, freeze_causes_of(content))


def _freeze_readings(tree: Tree) -> frozenset[str]:
    return frozenset(
        question.reading for question in tree.questions.values() if question.stage is Stage.FREEZE
    )


def freeze_causes_of(content: Content) -> list[str]:
    """Return the causes of the freeze's side."""
    return [cause.id for cause in content.causes.values() if cause.side is Side.FREEZE]


def in_the_freeze(
    graph: nx.DiGraph[str],
    content: Content,
    tree: Tree,
    case: Case,
    node: str,
    findings: Mapping[str, Finding],
) -> Ending | Question | None:
    """Return what a freeze that shows something calls for: a better question, or its ending.

    The path keeps its order as long as everything can be had. Where a reading of the freeze could
    not be, a question worth its minutes comes before one that is not. Once no single answer would
    change the decision, what shows the cause directly is asked for, and then the call ends, if the
    path comes to such an ending of itself with nothing more to be had. So every proof about the
    path holds.
    """
    if not any(item.verdict in ODD for item in findings.values()):
        return None
    causes = freeze_causes_of(content)
    open_questions = askable(content, tree, case, Stage.FREEZE)
    worth = [
        item.reading
        for item in worth_asking(content, findings, open_questions.keys(), allowed=causes)
    ]
    if worth:
        is_short = any(
            finding.verdict is Verdict.UNKNOWN
            and finding.source is Source.CALLER
            and key in _freeze_readings(tree)
            for key, finding in findings.items()
        )
        own = graph.nodes[node]["reading"]
        return open_questions[worth[0]] if is_short and own not in worth else None
    decision = best_decision(content, findings, allowed=causes)
    outcomes = {reading: finding.outcome for reading, finding in findings.items()}
    ending = tree.endings.get(ending_if_nothing_more(graph, node, outcomes))
    if ending is None or decision.cause not in ending.possible_causes:
        return None
    return first_look(content, decision.cause, open_questions) or ending
