"""What an ending of the graph comes to: a gate caution, a recommendation, or neither."""

from __future__ import annotations

from collections.abc import Mapping

from triage.dialogue.case import Case
from triage.dialogue.conclude import (
    conclude,
    is_contradicted,
    machine_state,
    recommend,
    shortlist,
)
from triage.dialogue.gate import gate_cautions, needs_licensed_caller, seal_of
from triage.dialogue.view import (
    AskCaution,
    Conclusion,
    Escalated,
    Finding,
    Prompt,
    Recommended,
    Withheld,
)
from triage.tree.content import Caution, Content, Ending, Stage
from triage.tree.graph import caution_node

GATE = "gate"
"""Stands for the question in the node id of a caution met at the gate."""

NOT_LICENSED = "The repair is licensed work and the caller is not licensed for it."


def end_of_call(
    content: Content, ending: Ending, case: Case, findings: Mapping[str, Finding]
) -> Prompt:
    """Return what a call that reached `ending` waits for at the gate, or how it ended."""
    conclusion = conclude(content, case, ending, findings)
    if ending.escalate is not None:
        return _escalated(content, conclusion, ending.escalate)
    if is_contradicted(conclusion):
        return _escalated(content, conclusion, _contradiction(content, conclusion))
    cautions = gate_cautions(content, case, ending)
    if needs_licensed_caller(content, ending) and not case.is_licensed:
        return _withheld(content, conclusion, NOT_LICENSED, dict.fromkeys(cautions, False))
    seal = seal_of(content, case, ending, cautions)
    answers = {caution: (caution.id, seal) in case.acknowledged for caution in cautions}
    for number, caution in enumerate(cautions, start=1):
        if (caution.id, seal) in case.refused:
            reason = f'The caution "{caution.title}" was refused.'
            return _withheld(content, conclusion, reason, answers)
        if not answers[caution]:
            node = caution_node(caution.id, GATE)
            return AskCaution(node, Stage.CONFIRM, caution, seal, number, len(cautions))
    return Recommended(ending.id, conclusion, recommend(content, case, ending), cautions)


def _withheld(
    content: Content, conclusion: Conclusion, reason: str, answers: Mapping[Caution, bool]
) -> Withheld:
    causes = [content.causes[cause] for cause in conclusion.causes]
    whom = " ".join(dict.fromkeys(cause.who for cause in causes))
    return Withheld(
        conclusion.ending.id,
        conclusion,
        reason,
        machine_state(causes),
        whom,
        tuple(answers.items()),
    )


def _escalated(content: Content, conclusion: Conclusion, reason: str) -> Escalated:
    ending = conclusion.ending
    likely = [content.causes[cause] for cause in shortlist(ending, conclusion.ranked)[:1]]
    state = (ending.machine_state,) if ending.machine_state else machine_state(likely)
    whom = ending.call_whom or " ".join(cause.who for cause in likely)
    return Escalated(ending.id, ending, reason, conclusion, state, whom)


def _contradiction(content: Content, conclusion: Conclusion) -> str:
    ours = " and ".join(content.causes[cause].name for cause in conclusion.causes)
    theirs = content.causes[conclusion.ranked[0].cause].name
    settling = conclusion.settling_reading
    ask = f" The reading that would settle it: {settling.name}." if settling else ""
    return (
        f"The questions lead to {ours}, all readings together speak for {theirs}. The two must "
        f"not disagree before a part is replaced.{ask}"
    )
