"""Where a call stood when it was left, in three plain lines to read out on the phone.

What it is about and why it waited; what is proven and what is odd; what is asked now.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import TYPE_CHECKING

from triage.dialogue.case import Case
from triage.dialogue.doubts import show
from triage.dialogue.judge import fitting, word
from triage.dialogue.rank import stages_of
from triage.dialogue.view import (
    ODD,
    AskCaution,
    AskConfirmation,
    AskQuestion,
    Escalated,
    Finding,
    Prompt,
    Verdict,
)
from triage.dialogue.words import counted, plain_text, word_set
from triage.tree.content import Caution, Content, ReadingKind, Stage

if TYPE_CHECKING:
    from triage.dialogue.engine import Engine

ODD_TOLD = 2
"""Odd readings told one by one of each half of the cycle; of more only the number (judged)."""

_AGENT = "agent"
_TO_DO = word_set(
    "ask call check clean clear close count feel find get go have hold let listen look measure "
    "note open press put read run see start stop take test try turn wait watch"
)
"""Words a reason begins with that says what somebody is to do (judged)."""
_AFTER_THE_FREEZE = (Stage.HARVEST, Stage.CONFIRM)


@dataclass(frozen=True, slots=True)
class Times:
    """When a call began, when it was left, and the time now; all with their zone."""

    began_at: datetime
    left_at: datetime
    now: datetime


def standing_of(engine: Engine, case: Case, times: Times) -> tuple[str, str, str]:
    """Return the three lines for a call that was left as `case`, before it is resumed."""
    return _about(engine, case, times), _found(engine, case), _asked(engine, case)


def ago(span: timedelta) -> str:
    """Return how long ago something was, in whole minutes, hours or days.

    >>> ago(timedelta(minutes=22, seconds=40)), ago(timedelta(hours=1, minutes=5))
    ('22 minutes ago', '1 hour 5 minutes ago')
    """
    minutes = int(span.total_seconds() // 60)
    if minutes < 1:
        return "just now"
    hours, minutes = divmod(minutes, 60)
    if hours >= 48:
        return f"{hours // 24} days ago"
    parts = ((hours, "hour"), (minutes, "minute"))
    return f"{' '.join(counted(number, what) for number, what in parts if number)} ago"


# What it is about.


def _about(engine: Engine, case: Case, times: Times) -> str:
    content = engine.content
    machine = content.machines.get(word(case, "machine") or "")
    # Read out to somebody with a bottle in hand: never the one of the machine's file.
    refrigerant = word(fitting(content, case), "refrigerant")
    marks = [refrigerant or "refrigerant not read off the plate yet"]
    if case.serial_number:
        marks.append(f"serial number {case.serial_number}")
    name = machine.name if machine else "ice machine"
    whose = "We are on your" if case.voice == _AGENT else "You are on the"
    complaint = content.readings.get("complaint")
    said = word(case, "complaint")
    trouble = (
        f"the complaint: {show(content, case, complaint, said)}"
        if complaint is not None and said is not None
        else "what is wrong with it is not said yet"
    )
    began, left = ago(times.now - times.began_at), ago(times.now - times.left_at)
    who = "We" if case.voice == _AGENT else "You"
    if case.parked is not None:
        how = f"parked the call {left}{_waited_for(case.parked.reason)}"
    else:
        how = f"{'stopped' if case.is_stopped else 'broke off'} {left}"
    return plain_text(
        f"{whose} {', '.join((name, *marks))}; {trouble}. {who} began {began} and {_closed(how)}"
    )


def _waited_for(reason: str) -> str:
    """Return what a call was parked for; one that begins with something to do is told as such."""
    first = reason.split(maxsplit=1)[0].lower() if reason.strip() else ""
    return f"; you were going to: {reason}" if first in _TO_DO else f": {reason}"


# What is proven and what is odd.


def _found(engine: Engine, case: Case) -> str:
    order = list(Stage)
    stages = stages_of(engine.of(case).view)
    halves: dict[bool, list[Finding]] = {False: [], True: []}
    for finding in engine.findings(case):
        stage = order[stages.get(finding.reading.id, 0)]
        if stage is Stage.FREEZE or stage in _AFTER_THE_FREEZE:
            halves[stage in _AFTER_THE_FREEZE].append(finding)
    prompt = engine.prompt(case)
    is_past = getattr(prompt, "stage", None) in _AFTER_THE_FREEZE
    sentences = (
        _half(engine, case, "Freeze", halves[False], is_proven=is_past),
        _half(engine, case, "Harvest", halves[True], is_proven=False),
    )
    told = " ".join(sentence for sentence in sentences if sentence)
    told = told or "Nothing of the freeze or the harvest has been judged yet."
    titles = "; ".join(caution.title for caution in refused_cautions(engine.content, case))
    return plain_text(f"{told} Refused: {_closed(titles)}" if titles else told)


def refused_cautions(content: Content, case: Case) -> tuple[Caution, ...]:
    """Return the cautions that stand refused, in the order of the content."""
    refused = {caution for caution, _ in case.refused}
    return tuple(caution for key, caution in content.cautions.items() if key in refused)


def _half(
    engine: Engine, case: Case, half: str, findings: Sequence[Finding], *, is_proven: bool
) -> str:
    odd = sorted((one for one in findings if one.verdict in ODD), key=_least_telling)
    sound = [finding for finding in findings if finding.verdict is Verdict.WITHIN]
    judged = len(odd) + len(sound)
    if not judged:
        return ""
    if not odd:
        how = "is proven sound" if is_proven else "looks healthy so far"
        return f"{half} {how} ({counted(judged, 'reading')})."
    names = [_oddity(engine, case, finding) for finding in odd[:ODD_TOLD]]
    if len(odd) > ODD_TOLD:
        names.append(f"and {len(odd) - ODD_TOLD} more")
    count = counted(len(odd), "odd reading")
    lead = f"{half} has {count} of {judged}" if sound else f"{half} has {count}"
    return f"{lead}: {'; '.join(names)}."


def _least_telling(finding: Finding) -> tuple[bool, float]:
    """Return by what odd readings are put in order: measured ones first, the farthest off first."""
    return finding.residual is None, -abs(finding.residual or 0.0)


def _oddity(engine: Engine, case: Case, finding: Finding) -> str:
    reading = finding.reading
    value = show(engine.content, case, reading, finding.value)
    if reading.kind is ReadingKind.CHOICE or finding.band is None:
        return f'{reading.name} "{value}"'
    side = "below" if finding.verdict is Verdict.BELOW else "above"
    return f"{reading.name} {value} is {side} its band"


# What is asked now.


def _asked(engine: Engine, case: Case) -> str:
    return plain_text(_waiting_for(engine, case, engine.prompt(case)))


def _waiting_for(engine: Engine, case: Case, prompt: Prompt) -> str:
    is_agent = case.voice == _AGENT
    match prompt:
        case AskQuestion(stage=Stage.CALLER, question=question):
            return question.agent if is_agent else question.technician
        case AskQuestion(reading=reading, minute=minute):
            at = f", at minute {minute:g}" if minute else ""
            return f"{'What I need from you now' if is_agent else 'Next'}: {reading.name}{at}."
        case AskConfirmation(finding=finding, doubt=doubt):
            value = show(engine.content, case, finding.reading, finding.value)
            check = doubt or f"I heard {finding.reading.name} {value}. Is that right?"
            return f"One answer is still to be checked: {check}"
        case AskCaution(caution=caution):
            return f"Before we go on there is a caution to answer: {caution.title}."
        case Escalated(reason=reason) if case.concluded is None:
            return f"It cannot be told from here: {_closed(reason)} Nothing is closed yet."
        case _:
            return "The call has come to its end."


def _closed(words: str) -> str:
    return words if words[-1:] in ".!?" else f"{words}."
