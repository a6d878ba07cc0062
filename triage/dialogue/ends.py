"""What an ending of the graph comes to: a gate caution, a recommendation, or neither."""

from __future__ import annotations

from collections.abc import Mapping

from triage.dialogue.case import Case
from triage.dialogue.conclude import (
    conclude,
    machine_state,
    recommend,
    shortlist,
)
from triage.dialogue.events import Concluded
from triage.dialogue.gate import (
    applies,
    gate_cautions,
    has_measured_unlicensed,
    measured_unlicensed,
    needs_licensed_caller,
    seal_of,
)
from triage.dialogue.guide import askable, is_urgent, settled, worth_before_the_end
from triage.dialogue.judge import minute_of, refrigerant_in_use, word
from triage.dialogue.second_thoughts import why_not
from triage.dialogue.view import (
    AskCaution,
    AskQuestion,
    Conclusion,
    Escalated,
    Finding,
    Prompt,
    Recommended,
    Withheld,
)
from triage.tree.content import Caution, Content, Ending, Question, Side, Stage, Tree
from triage.tree.graph import caution_node

GATE = "gate"
"""Stands for the question in the node id of a caution met at the gate."""

RANKED_KEPT = 5
"""How many of the likeliest causes the record of a conclusion names."""

NOT_LICENSED = "The repair is licensed work and the caller is not licensed for it."


def end_of_call(
    content: Content,
    tree: Tree,
    ending: Ending,
    case: Case,
    findings: Mapping[str, Finding],
    reached: Stage,
) -> Prompt:
    """Return what a call that reached `ending` waits for at the gate, or how it ended.

    `findings` are all there are, `reached` is the latest stage the path went through. What is
    still worth its minutes is asked for first, and where path and ranking disagree the reading that
    would settle it. Where the path leaves it open, all readings together may settle it.
    """
    is_last_word = is_urgent(content, ending)
    open_questions = {} if is_last_word else askable(content, tree, case, reached)
    is_proven = reached in (Stage.HARVEST, Stage.CONFIRM)
    conclusion = conclude(
        content, ending, findings, is_freeze_proven=is_proven, askable=open_questions
    )
    worthy = worth_before_the_end(content, ending, findings, open_questions)
    suspects = tuple(item.cause for item in conclusion.ranked[:2])
    if worthy is not None:
        return asked(content, case, worthy, suspects)
    settling = conclusion.settling_reading
    if ending.escalate is not None:
        found = settled(content, ending, findings)
        if found is None:
            return _escalated(content, case, conclusion, ending.escalate)
        ending, conclusion = found, conclude(content, found, findings, is_freeze_proven=is_proven)
    elif settling is not None and settling.id in open_questions:
        return asked(content, case, open_questions[settling.id], suspects)
    reason = why_not(content, conclusion, findings)
    if reason:
        return _escalated(content, case, conclusion, reason)
    cautions = gate_cautions(content, case, ending)
    if needs_licensed_caller(content, ending) and not case.is_licensed:
        return _withheld(content, case, conclusion, NOT_LICENSED, dict.fromkeys(cautions, False))
    seal = seal_of(content, case, ending, cautions)
    answers = {caution: (caution.id, seal) in case.acknowledged for caution in cautions}
    for number, caution in enumerate(cautions, start=1):
        if (caution.id, seal) in case.refused:
            reason = f'The caution "{caution.title}" was not acknowledged.'
            return _withheld(content, case, conclusion, reason, answers)
        if not answers[caution]:
            node = caution_node(caution.id, GATE)
            return AskCaution(node, Stage.CONFIRM, caution, seal, number, len(cautions))
    return Recommended(ending.id, conclusion, recommend(content, case, ending), cautions)


def concluded(
    content: Content,
    case: Case,
    prompt: Recommended | Withheld | Escalated,
    result: str,
    reason: str = "",
) -> Concluded:
    """Return the event that closes a call at `prompt`, with what a list of calls goes by."""
    conclusion = prompt.conclusion
    return Concluded(
        prompt.node,
        result,
        () if isinstance(prompt, Escalated) else conclusion.causes,
        reason,
        conclusion.agreement.value,
        tuple(
            {"cause": item.cause, "probability": round(item.probability, 4)}
            for item in conclusion.ranked[:RANKED_KEPT]
        ),
        word(case, "machine") or "",
        refrigerant_in_use(content, case) or "",
    )


def asked(
    content: Content, case: Case, question: Question, tells_apart: tuple[str, ...] = ()
) -> Prompt:
    """Return the question, or the first of its cautions that is still open.

    `tells_apart` are the causes it is asked for, beyond the order of the path.
    """
    reading = content.readings[question.reading]
    for caution_id in reading.cautions:
        caution = content.cautions[caution_id]
        if (caution_id, "") not in case.acknowledged and applies(content, case, caution):
            node = caution_node(caution_id, question.id)
            return AskCaution(node, question.stage, caution, "")
    minute = minute_of(question, reading)
    return AskQuestion(question.id, question.stage, question, reading, minute, tells_apart)


def _withheld(
    content: Content,
    case: Case,
    conclusion: Conclusion,
    reason: str,
    answers: Mapping[Caution, bool],
) -> Withheld:
    causes = [content.causes[cause] for cause in conclusion.causes]
    whom = " ".join(dict.fromkeys(cause.who for cause in causes))
    return Withheld(
        conclusion.ending.id,
        conclusion,
        reason,
        (*machine_state(causes), *_hands_off(content, case)),
        whom,
        tuple(answers.items()),
    )


def _escalated(content: Content, case: Case, conclusion: Conclusion, reason: str) -> Escalated:
    ending = conclusion.ending
    suspects = dict.fromkeys((*ending.causes, *shortlist(ending, conclusion.ranked)[:1]))
    likely = [content.causes[cause] for cause in suspects]
    # Where any fault is suspected, a machine is not left as one without.
    likely = [cause for cause in likely if cause.side is not Side.NONE] or likely
    state = (ending.machine_state,) if ending.machine_state else machine_state(likely)
    state = (*state, *_hands_off(content, case))
    whom = ending.call_whom or " ".join(dict.fromkeys(cause.who for cause in likely))
    return Escalated(ending.id, ending, reason, conclusion, state, whom)


def _hands_off(content: Content, case: Case) -> tuple[str, ...]:
    """Return what to add to the machine's state where somebody unlicensed has measured."""
    if not has_measured_unlicensed(content, case):
        return ()
    return tuple(caution.text for caution in measured_unlicensed(content))
