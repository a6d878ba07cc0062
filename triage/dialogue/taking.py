"""What an answer leads to once it is understood: it counts, is asked about, or is refused."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from triage.dialogue import heard
from triage.dialogue.breath import Part
from triage.dialogue.case import LICENSED, QUALIFICATION, Case, fold
from triage.dialogue.doubts import doubt_about
from triage.dialogue.events import Answered, Event, Noted, NotUnderstood
from triage.dialogue.gate import measured_unlicensed
from triage.dialogue.heard import readings_heard
from triage.dialogue.judge import ALTITUDE, finding_of
from triage.dialogue.reply import Unclear, Value
from triage.dialogue.view import AskQuestion, Echo, NotClear, NoteKept, Prompt, Remark, Source, Turn
from triage.tree.content import Content
from triage.tree.likelihoods import MADE_OF_OTHERS

WORKED_OUT = "Worked out from what was said before."
JUDGED_AGAIN = "Judged again with what was just said: the verdict was another one before."


def given(content: Content, case: Case, answer: Answered) -> Turn:
    """Return what an answer leads to: it counts, it is asked about once more, or it is refused."""
    refusal = refuses_to_license(case, answer)
    if refusal:
        return Turn((NotUnderstood(answer.reading, answer.typed, refusal),), (NotClear(refusal),))
    doubt = doubt_about(content, case, answer)
    if doubt:
        return Turn((heard.offered((answer, *case.offered), doubt),), ())
    return taken(content, case, answer)


def taken(content: Content, case: Case, answer: Answered, advice: str = "") -> Turn:
    """Return the events and the echo of an answer that counts from here on.

    `advice` is told with it. `content` is the one its tree has in view.
    """
    events: list[Event] = [answer]
    if answer.reading == ALTITUDE:
        # Before the altitude itself: the last answer is what "back" takes back.
        events = [*heard.reconverted(content, fold(events, case)), answer]
    after = fold(events, case)
    finding = finding_of(content, after, answer.reading)
    echo = (Echo(finding, advice),) if finding else ()
    again = judged_again(content, case, after, answer.reading)
    return Turn(tuple(events), (*echo, *again, *worked_out_now(content, case, after)))


def judged_again(content: Content, before: Case, after: Case, reading_id: str) -> Iterator[Echo]:
    """Yield the earlier findings whose verdict moved with what was just learned."""
    for earlier_id in before.answers:
        if earlier_id == reading_id:
            continue
        was = finding_of(content, before, earlier_id)
        now = finding_of(content, after, earlier_id)
        if was and now and was.verdict is not now.verdict:
            yield Echo(now, JUDGED_AGAIN)


def worked_out_now(content: Content, before: Case, after: Case) -> Iterator[Echo]:
    """Yield the figures over whole cycles that can be worked out since the last answer."""
    for reading in readings_heard(content):
        if reading.id not in MADE_OF_OTHERS or finding_of(content, before, reading.id):
            continue
        finding = finding_of(content, after, reading.id)
        if finding is not None and finding.source is Source.WORKED_OUT:
            yield Echo(finding, WORKED_OUT)


def refuses_to_license(case: Case, answer: Answered) -> str:
    """Return why an answer may not make this call a licensed one, "" if it may or does not."""
    if answer.reading != QUALIFICATION or answer.value != LICENSED:
        return ""
    if not case.is_held_unlicensed:
        return ""
    return (
        "This call was taken as that of a caller who is not licensed; it stays so. "
        "When the licensed technician is there, start a new call."
    )


def breath(
    content: Content,
    case: Case,
    prompt: AskQuestion,
    parts: Sequence[Part],
    leftover: str,
    typed: str,
) -> Turn:
    """Return what several readings said in one line lead to: each is shown back for a yes."""
    if not case.is_licensed and any(
        content.readings[part.reading].is_licensed and isinstance(part.value, Unclear)
        for part in parts
    ):
        warning = " ".join(caution.text for caution in measured_unlicensed(content))
        return unclear(prompt, typed, warning)
    answers = []
    for part in parts:
        reading = content.readings[part.reading]
        if not isinstance(part.value, Value):
            message = f"I took nothing from that. {reading.name}: {part.value.message}"
            return unclear(prompt, typed, message)
        minute = prompt.minute if reading.id == prompt.reading.id else reading.default_minute
        answers.append(heard.answer_of(reading, part.value, minute))
    events: list[Event] = []
    remarks: list[Remark] = []
    if not case.is_licensed:
        # Measured by somebody who may not: on record, never counted, and told to stop.
        measured = [item for item in answers if content.readings[item.reading].is_licensed]
        answers = [item for item in answers if item not in measured]
        warning = " ".join(caution.text for caution in measured_unlicensed(content))
        for item in measured:
            events.append(item)
            finding = finding_of(content, fold(events, case), item.reading)
            if finding is not None:
                remarks.append(Echo(finding, warning if item is measured[-1] else ""))
    if answers:
        events.append(heard.offered(answers))
    if leftover:
        events.append(Noted(leftover))
        remarks.append(NoteKept(leftover))
    return Turn(tuple(events), tuple(remarks))


def unclear(prompt: Prompt, typed: str, message: str) -> Turn:
    """Return the turn that only says why `typed` could not be used."""
    return Turn((NotUnderstood(prompt.node, typed, message),), (NotClear(message),))
