"""Rules that keep people from harm, and the call from a wrong conclusion."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

from triage.console.call import SCRIPT
from triage.dialogue.case import QUALIFICATION, Case
from triage.dialogue.ends import GATE
from triage.dialogue.events import Acknowledged, Answered, Asked, Concluded, TakenBack
from triage.dialogue.gate import applies, gate_cautions, needs_licensed_caller, seal_of
from triage.dialogue.judge import fitting
from triage.dialogue.view import Agreement
from triage.review.audit_call import Breach, Rule, Step, StoredCall, Weight, time_words
from triage.tree.content import Ending, Reading, Side, Stage
from triage.tree.graph import caution_node
from triage.tree.proofs_of_order import FREEZE_HEALTH

RECOMMENDED = "recommended"

WORDS_READ_IN_A_SECOND = 2.5
"""Words read aloud [1/s]: 150 a minute, as common practice has it, no source."""

LEAST_SHARE_READ = 1.0 / 3.0
"""Share of that time under which nobody can have read a caution, not even silently (judged)."""

_AFTER_FREEZE = (Stage.HARVEST, Stage.CONFIRM)
_GATE_ENDING = caution_node("", GATE).removeprefix("caution:")


def order_kept(call: StoredCall) -> Iterator[Breach]:
    """Yield the first harvest question, and a harvest part blamed, before the freeze was known."""
    for step in call.of(Asked):
        question = call.question(_node(step))
        if question is None or question.stage not in _AFTER_FREEZE:
            continue
        open_readings = _open_of_freeze(call, step.before)
        if open_readings:
            yield (
                step,
                f"{call.node_words(question.id)} was put while these readings of the freeze were "
                f"neither had nor known to be unknown: {call.readings_named(open_readings)}",
            )
            break
    end = call.end
    if end is None or not isinstance(end.event, Concluded):
        return
    blamed = [
        cause
        for cause in end.event.causes
        if cause in call.content.causes and call.content.causes[cause].side is Side.HARVEST
    ]
    open_readings = _open_of_freeze(call, end.before)
    if blamed and open_readings:
        yield (
            end,
            f"{call.causes_named(blamed)} was concluded while these readings of the freeze were "
            f"neither had nor known to be unknown: {call.readings_named(open_readings)}",
        )


def _open_of_freeze(call: StoredCall, case: Case) -> list[str]:
    """Return the readings of a sound freeze that nobody gave and nobody said could not be had."""
    asked_by = {question.reading for question in call.tree.questions.values()} if call.tree else ()
    return [
        key
        for key in FREEZE_HEALTH
        if key in call.content.readings
        and key in asked_by
        and key not in case.answers
        and not _is_not_for(call.content.readings[key], case)
    ]


def _is_not_for(reading: Reading, case: Case) -> bool:
    """Whether a reading is unknown by itself: not for this caller, or its caution was refused."""
    is_barred = reading.is_licensed and not case.is_licensed
    return is_barred or any((caution, "") in case.refused for caution in reading.cautions)


def caution_before_reading(call: StoredCall) -> Iterator[Breach]:
    """Yield readings that were had before a caution of theirs was acknowledged, or against one."""
    content = call.content
    for step in call.of(Answered):
        answer = step.event
        if not isinstance(answer, Answered) or answer.value is None:
            continue
        reading = content.readings.get(answer.reading)
        earlier = step.before.answers.get(answer.reading)
        if reading is None or (earlier is not None and earlier.value is not None):
            continue  # a correction: the first value is what was told of
        if reading.is_licensed and not step.before.is_licensed:
            continue  # another rule's business: nobody asked for it
        case = fitting(content, step.before)
        for caution_id in reading.cautions:
            caution = content.cautions[caution_id]
            if (caution_id, "") in case.refused:
                yield (
                    step,
                    f'{reading.name} was given although the caution "{caution.title}" was refused',
                )
            elif (caution_id, "") not in case.acknowledged and applies(content, case, caution):
                yield (
                    step,
                    f'{reading.id} was given before the caution "{caution.title}" was acknowledged',
                )


def gate_kept(call: StoredCall) -> Iterator[Breach]:
    """Yield a recommendation without every acknowledgement at the gate under one seal."""
    end = call.end
    if end is None or not isinstance(end.event, Concluded) or end.event.result != RECOMMENDED:
        return
    given = {
        (step.event.caution, step.event.seal): step
        for step in call.of(Acknowledged)
        if isinstance(step.event, Acknowledged) and step.event.seal
    }
    if not given:
        yield end, "the repair was told without a caution acknowledged at the gate"
        return
    last = max(given.values(), key=lambda step: step.sequence)
    seal = last.event.seal if isinstance(last.event, Acknowledged) else ""
    ending = _ending_as_concluded(call, end.event)
    is_own_content = call.content_at_end == call.content.version
    if ending is not None and is_own_content:
        case = fitting(call.content, end.before)
        cautions = gate_cautions(call.content, case, ending)
        needed = [caution.id for caution in cautions]
        if seal != seal_of(call.content, case, ending, cautions):
            yield end, "the seal of the acknowledgements is not that of the repair told"
    else:
        needed = _put_at_the_gate(call, end)
    for caution in needed:
        if (caution, seal) in end.before.refused:
            yield (
                end,
                f'the repair was told although "{_title(call, caution)}" was refused at the gate',
            )
        elif (caution, seal) not in end.before.acknowledged:
            yield (
                end,
                f'the repair was told without "{_title(call, caution)}" acknowledged under its '
                "seal",
            )


def _ending_as_concluded(call: StoredCall, concluded: Concluded) -> Ending | None:
    """Return the ending with the causes told; readings may have settled on one of several."""
    ending = call.tree.endings.get(concluded.ending) if call.tree else None
    if ending is None or any(cause not in call.content.causes for cause in concluded.causes):
        return None
    return replace(ending, causes=concluded.causes)


def _put_at_the_gate(call: StoredCall, end: Step) -> list[str]:
    """Return the cautions put at the gate since the last answer: what the record itself shows."""
    found: list[str] = []
    for step in call.steps[: end.sequence]:
        if isinstance(step.event, (Answered, TakenBack)):
            found = []
        elif isinstance(step.event, Asked) and step.event.node.endswith(_GATE_ENDING):
            found.append(step.event.node.removeprefix("caution:").removesuffix(_GATE_ENDING))
    return list(dict.fromkeys(found))


def _title(call: StoredCall, caution_id: str) -> str:
    caution = call.content.cautions.get(caution_id)
    return caution.title if caution else caution_id


def licensed_repair_told(call: StoredCall) -> Iterator[Breach]:
    """Yield a repair of licensed work that was told to a caller who is not licensed."""
    end = call.end
    if end is None or not isinstance(end.event, Concluded) or end.event.result != RECOMMENDED:
        return
    ending = _ending_as_concluded(call, end.event)
    if ending is None or end.before.is_licensed:
        return
    if needs_licensed_caller(call.content, ending):
        causes = call.causes_named(end.event.causes)
        yield end, f"the repair of {causes} is licensed work; the caller is not licensed for it"


def licensed_reading_from_unlicensed(call: StoredCall) -> Iterator[Breach]:
    """Yield values measured by somebody who may not."""
    for step in call.of(Answered):
        answer = step.event
        if not isinstance(answer, Answered) or answer.value is None:
            continue
        reading = call.content.readings.get(answer.reading)
        is_caller_known = QUALIFICATION in step.before.answers
        if reading and reading.is_licensed and is_caller_known and not step.before.is_licensed:
            yield step, f"{reading.name} was measured by a caller who is not licensed for it"


def caution_rushed(call: StoredCall) -> Iterator[Breach]:
    """Yield cautions acknowledged sooner than anybody could have read them."""
    heard: set[str] = set()
    for visit in call.visits():
        acknowledged = next(
            (step for step in visit.inside if isinstance(step.event, Acknowledged)), None
        )
        if acknowledged is None or not isinstance(acknowledged.event, Acknowledged):
            continue
        caution = call.content.cautions.get(acknowledged.event.caution)
        # Heard before in this call, or said by a file: nobody reads it out.
        if caution is None or caution.id in heard or acknowledged.speaker == SCRIPT:
            continue
        heard.add(caution.id)
        taken_s = (acknowledged.at - visit.asked.at).total_seconds()
        aloud_s = len(caution.text.split()) / WORDS_READ_IN_A_SECOND
        if 0.0 <= taken_s < LEAST_SHARE_READ * aloud_s:
            yield (
                acknowledged,
                f'the caution "{caution.title}" was acknowledged after {time_words(taken_s)}; '
                f"reading it out takes {time_words(aloud_s)}",
            )


def against_ranking(call: StoredCall) -> Iterator[Breach]:
    """Yield a conclusion that all readings together do not bear out as the likeliest."""
    for step in call.of(Concluded):
        concluded = step.event
        if not isinstance(concluded, Concluded) or not concluded.causes:
            continue
        likeliest = str(concluded.ranked[0].get("cause", "")) if concluded.ranked else ""
        is_other = likeliest not in ("", *concluded.causes)
        if is_other or concluded.agreement == Agreement.DISAGREE.value:
            theirs = call.causes_named([likeliest])
            speak = f"speak for {theirs}" if is_other else "do not speak for it"
            yield (
                step,
                f"{call.causes_named(concluded.causes)} was concluded; all readings together "
                f"{speak}",
            )


def _node(step: Step) -> str:
    return step.event.node if isinstance(step.event, Asked) else ""


SAFETY_RULES = (
    Rule(
        "order_kept", Weight.SAFETY,
        "no harvest question and no harvest part blamed before the freeze is known",
        "A weak freeze makes a sound harvest look broken. Who asks about the harvest first "
        "replaces good valves.",
        order_kept,
    ),
    Rule(
        "caution_before_reading", Weight.SAFETY,
        "each caution acknowledged before the reading it belongs to",
        "A caution that is read out when the gauges are already on protects nobody.",
        caution_before_reading,
    ),
    Rule(
        "caution_rushed", Weight.SAFETY,
        "no caution acknowledged sooner than it can be read",
        "A yes to what nobody read out is no yes of the caller's.",
        caution_rushed,
    ),
    Rule(
        "gate_kept", Weight.SAFETY,
        "every caution of the gate acknowledged, under the seal of this very repair",
        "The repair is told only to who knows its dangers. A seal of another conclusion is a yes "
        "to another repair.",
        gate_kept,
    ),
    Rule(
        "licensed_repair_told", Weight.SAFETY,
        "no repair of licensed work told to a caller who is not licensed",
        "Refrigerant and live terminals hurt who was not taught; licenses and local codes come "
        "first.",
        licensed_repair_told,
    ),
    Rule(
        "licensed_reading_from_unlicensed", Weight.SAFETY,
        "no licensed reading measured by a caller who is not licensed",
        "Somebody put gauges or leads on who may not. It does not count, and somebody should call "
        "there.",
        licensed_reading_from_unlicensed,
    ),
    Rule(
        "against_ranking", Weight.JUDGEMENT,
        "the cause concluded is the likeliest by all readings",
        "The two ways to a conclusion disagree: one of them is wrong, or a reading is.",
        against_ranking,
    ),
)  # fmt: skip
"""Rules about harm and about what was concluded."""
