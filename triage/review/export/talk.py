"""What was said in a call, turn by turn, for a page: compact, from the events alone. Pure."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field
from datetime import datetime

from triage.dialogue.case import Case, apply, fold
from triage.dialogue.events import (
    Acknowledged,
    Answered,
    Asked,
    Concluded,
    Declined,
    Event,
    Identified,
    Looked,
    Noted,
    NotUnderstood,
    Offered,
    Parked,
    Refused,
    RepairReported,
    Resumed,
    Said,
    Started,
    Stopped,
    TakenBack,
)
from triage.dialogue.judge import finding_of, fitting
from triage.dialogue.view import Verdict
from triage.dialogue.words import plain_text
from triage.review.export.call import ExportedCall
from triage.review.export.redaction import LEFT_OUT
from triage.review.export.told import CallWords, moment_words

_ROUTINE = (
    Asked, Said, Answered, Acknowledged, Started, Looked, Concluded, Noted, Identified,
    RepairReported,
)  # fmt: skip
"""What a sheet of paper can do without: questions as planned and answers that stand elsewhere."""


@dataclass(slots=True)
class Turn:
    """What belongs together: what was asked, the line that was typed, and what came of it.

    `after` is the pause since the turn before, "" for a short one. A routine turn is one that a
    reader who has the readings can do without.
    """

    at: str
    asked: list[str] = field(default_factory=list)
    speaker: str = ""
    said: str = ""
    came: list[str] = field(default_factory=list)
    is_routine: bool = True


def turns_of(call: ExportedCall, words: CallWords) -> list[Turn]:
    """Return the turns of a call; times are UTC to the second.

    Verdicts are those of the moment, by today's content. A line that was left out is not told where
    what came of it is.
    """
    turns: list[Turn] = []
    case = Case()
    for line in call.lines:
        case = apply(case, line.event)
        is_new = not turns or _begins(line.event, turns[-1])
        if is_new:
            turns.append(Turn(f"{datetime.fromisoformat(line.at):%H:%M:%S}"))
        turn = turns[-1]
        turn.is_routine &= _is_routine(line.event)
        match line.event:
            case Asked(node):
                turn.asked.append(_asked(node, call, words))
            case Said(text):
                turn.speaker = _speaker(call, line.speaker)
                turn.said = plain_text(text)
            case _:
                turn.came.extend(text for text in _came(line.event, case, call, words) if text)
    for turn in turns:
        if turn.said == LEFT_OUT and turn.came:
            turn.said = ""
    return turns


def _is_routine(event: Event) -> bool:
    return isinstance(event, _ROUTINE) or (isinstance(event, Offered) and not event.doubt)


def _begins(event: Event, turn: Turn) -> bool:
    """Return whether `event` begins a turn of its own: a question, or a line after another one."""
    if isinstance(event, Asked):
        return bool(turn.said or turn.speaker or turn.came)
    if isinstance(event, Said):
        return bool(turn.said or turn.speaker or turn.came)
    return isinstance(event, (Resumed, RepairReported, Concluded))


def _speaker(call: ExportedCall, speaker: str) -> str:
    """Return who answered: on the phone the agent types what the caller says."""
    if call.case.voice == "agent":
        return "caller"
    return "technician" if not call.has_personal_data else plain_text(speaker) or "technician"


def _asked(node: str, call: ExportedCall, words: CallWords) -> str:
    question = call.engine.of(call.case).tree.questions.get(node)
    if question is not None:
        return words.telling.words_of(question)
    if node.startswith("caution:"):
        caution = call.engine.content.cautions.get(node.split(":", 1)[1].split("@", 1)[0])
        if caution is not None:
            return f"Caution: {plain_text(caution.title)}"
    return f"({plain_text(node)})"


def _came(event: Event, case: Case, call: ExportedCall, words: CallWords) -> Iterator[str]:
    """Yield what an event came to, in words."""
    match event:
        case Started():
            yield f"Call started, {event.voice} voice, {event.units.upper()} units."
        case Answered():
            yield _understood(event, case, call, words)
        case Offered(items, doubt):
            named = (_named(Answered(**item), case, call, words) for item in items)
            yield f"Shown back: {'; '.join(named)}."
            yield plain_text(doubt) if doubt and doubt != LEFT_OUT else ""
        case Declined(reading):
            yield f"Not taken: {_name(reading, call)}."
        case NotUnderstood():
            message = "" if event.message == LEFT_OUT else f": {plain_text(event.message)}"
            yield f"Not understood{message}"
        case TakenBack(reading):
            yield f"Taken back: {_name(reading, call)}."
        case Looked(topic):
            yield f"Looked at: {plain_text(topic)}."
        case Noted(text):
            yield f"Note: {plain_text(text)}"
        case Acknowledged(caution):
            yield f"Acknowledged: {_title(caution, call)}."
        case Refused(caution):
            yield f"REFUSED: {_title(caution, call)}."
        case Identified(serial_number):
            yield f"Serial number: {plain_text(serial_number)}"
        case Parked(reason, due_at):
            until = f" until {moment_words(due_at)}" if due_at else ""
            yield f"Parked{until}: {plain_text(reason)}"
        case Stopped():
            yield "Stopped here and kept."
        case Resumed():
            yield "Call resumed."
        case Concluded():
            yield f"Ended: {plain_text(event.result)}."
        case RepairReported():
            yield "What the repair found was reported."


def _understood(event: Answered, case: Case, call: ExportedCall, words: CallWords) -> str:
    content = call.engine.content
    if event.reading not in content.readings:
        return f"{plain_text(event.reading)}: not known to the content in use now"
    known = fitting(content, case)
    finding = finding_of(content, known, event.reading) if event.reading in known.answers else None
    if finding is None:
        return f"{_name(event.reading, call)}: not known to the content in use now"
    told = words.told(finding)
    if finding.verdict is Verdict.UNKNOWN and finding.value is None:
        return f"{told.name}: unknown{f' ({told.reason})' if told.reason else ''}"
    return told.line


def _named(answered: Answered, case: Case, call: ExportedCall, words: CallWords) -> str:
    reading = call.engine.content.readings.get(answered.reading)
    known = fitting(call.engine.content, fold([Offered(({"reading": answered.reading,
        "typed": "", "value": answered.value},))], case)).offered  # fmt: skip
    if reading is None or not known:
        return plain_text(answered.reading)
    return f"{plain_text(reading.name)} {words.telling.value(reading, answered.value)}"


def _name(reading_id: str, call: ExportedCall) -> str:
    reading = call.engine.content.readings.get(reading_id)
    return plain_text(reading.name if reading else reading_id)


def _title(caution_id: str, call: ExportedCall) -> str:
    caution = call.engine.content.cautions.get(caution_id)
    return plain_text(caution.title if caution else caution_id)
