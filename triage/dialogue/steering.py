"""Words that steer a call at any prompt: back, change, why, how, note, case, park, stop, help."""

from __future__ import annotations

import re
from datetime import datetime
from typing import TYPE_CHECKING

from triage.dialogue.case import Case, fold
from triage.dialogue.events import (
    Declined,
    Event,
    Identified,
    Looked,
    Noted,
    Parked,
    Stopped,
    TakenBack,
)
from triage.dialogue.heard import reconverted
from triage.dialogue.judge import ALTITUDE
from triage.dialogue.parking import due_at, no_time_in, read_wait
from triage.dialogue.reply import Control
from triage.dialogue.standing import refused_cautions
from triage.dialogue.taking import judged_again, unclear
from triage.dialogue.view import (
    AskCaution,
    AskConfirmation,
    AskQuestion,
    CaseSoFar,
    Escalated,
    Explained,
    HelpWanted,
    NoteKept,
    NotTaken,
    ParkedHere,
    Prompt,
    SerialKept,
    StoppedHere,
    TookBack,
    Turn,
)
from triage.dialogue.words import plain_text
from triage.tree.content import Question, Reading

if TYPE_CHECKING:
    from triage.dialogue.engine import Engine

Open = AskQuestion | AskConfirmation | AskCaution | Escalated
"""The prompts that wait for something; an escalation does until it is closed."""


def steered(engine: Engine, case: Case, prompt: Open, typed: str, control: Control) -> Turn:
    """Return what a steering word, typed as `typed` at `prompt`, leads to."""
    looked = Looked(control.command, typed, prompt.node)
    match control.command:
        case "back":
            return _back(engine, case, prompt, typed)
        case "change":
            return _change(engine, case, prompt, typed, control.argument)
        case "note":
            if not control.argument:
                return unclear(prompt, typed, "Type the note behind the word: note …")
            return Turn((Noted(control.argument),), (NoteKept(control.argument),))
        case "case":
            refused = refused_cautions(engine.content, case)
            so_far = CaseSoFar(engine.findings(case), case.notes, case.serial_number, refused)
            return Turn((looked,), (so_far,))
        case "serial":
            return _identified(prompt, typed, control.argument)
        case "stop":
            return Turn((Stopped(typed),), (StoppedHere(),))
        case "why" | "how":
            return Turn((looked,), (_explained(engine, case, prompt, control.command),))
        case "help":
            return Turn((looked,), (HelpWanted(_choices(prompt), usual_wait(prompt)),))
    return unclear(prompt, typed, "That does not fit here. Type help.")


# Parking, and which very machine it is.


def parked(prompt: Prompt, typed: str, argument: str, now: datetime | None) -> Turn:
    """Return what parking the call at `prompt` leads to; without `now` nothing is due.

    `argument` is what stands behind the word; `now` the time of the desk with its zone.
    """
    wait = read_wait(argument)
    if wait.when is None:
        here = usual_wait(prompt)
        odd = no_time_in(argument)
        message = (
            f"{f'{odd} is not a time. ' if odd else ''}"
            "Say how long it waits, or until when, and what for: park 20 min freeze is running, "
            f"or park until 2:30 pm and why.{f' Here perhaps: {here}.' if here else ''}"
        )
        return unclear(prompt, typed, message)
    due = None if now is None else due_at(wait.when, now)
    if isinstance(due, str):
        return unclear(prompt, typed, f"{due} Type the whole line again: {_like(wait.reason)}")
    if not wait.reason:
        message = (
            "What does it wait for? Type the whole line again, such as: "
            f"park {wait.said} freeze is running"
        )
        return unclear(prompt, typed, message)
    at = "" if due is None else due.isoformat(timespec="microseconds")
    wait_s = 0.0 if due is None or now is None else (due - now).total_seconds()
    return Turn((Parked(wait.reason, at, typed),), (ParkedHere(wait.reason, at, wait_s),))


def _like(reason: str) -> str:
    """Return a line that parks for `reason`, as an example."""
    return f"park 20 min {reason or 'freeze is running'}"


def usual_wait(prompt: Prompt) -> str:
    """Return how to park until the reading asked for can be taken, "" where it has no moment.

    The moment counts from the start of the next freeze or harvest, so it is the least wait.
    """
    if not isinstance(prompt, AskQuestion) or not prompt.minute or prompt.minute < 1.0:
        return ""
    return f"park {prompt.minute:g} min {prompt.reading.name}"


LONGEST_SERIAL_NUMBER = 40


def serial_number_in(text: str) -> str | None:
    """Return the serial number that `text` is, None if it is none: it has a digit, and is short.

    >>> serial_number_in(" 0451-77b "), serial_number_in("is worn off")
    ('0451-77B', None)
    """
    plain = plain_text(text).strip(" .,:#").upper()
    is_short = len(plain) <= LONGEST_SERIAL_NUMBER
    is_number = re.fullmatch(r"[A-Z0-9][A-Z0-9 ./_-]*", plain) and re.search("[0-9]", plain)
    return plain if is_short and is_number else None


def _identified(prompt: Open, typed: str, argument: str) -> Turn:
    number = serial_number_in(argument)
    if number is None:
        message = (
            "Type the serial number behind the word, as it stands on the data plate: serial 0451-77"
        )
        return unclear(prompt, typed, message)
    return Turn((Identified(number, typed),), (SerialKept(number),))


def _explained(engine: Engine, case: Case, prompt: Open, topic: str) -> Explained:
    if isinstance(prompt, AskCaution):
        return Explained(topic, prompt.caution.text)
    if isinstance(prompt, Escalated):
        return Explained(topic, prompt.reason)
    question = _question_at(engine, prompt)
    if question is None:
        return Explained(topic, "This was said besides; no question asks for it.")
    reading = engine.content.readings[question.reading]
    if topic == "how" and reading.is_licensed and not case.is_licensed:
        return Explained(topic, "This measurement is for a licensed technician alone.")
    cautions = tuple(engine.content.cautions[item] for item in reading.cautions)
    text = question.why if topic == "why" else question.how
    return Explained(topic, text, cautions if topic == "how" else ())


def _question_at(engine: Engine, prompt: AskQuestion | AskConfirmation) -> Question | None:
    if isinstance(prompt, AskQuestion):
        return prompt.question
    wanted = prompt.finding.reading.id
    return next((item for item in engine.tree.questions.values() if item.reading == wanted), None)


def _choices(prompt: Open) -> tuple[str, ...]:
    if isinstance(prompt, AskQuestion):
        return tuple(choice.label for choice in prompt.reading.choices)
    if isinstance(prompt, Escalated):
        return ("done",)
    return ("yes", "no")


def _drop(engine: Engine, case: Case) -> Turn:
    waiting = case.offered[0]
    reading = engine.content.readings[waiting.reading]
    return Turn((Declined(waiting.reading, waiting.typed),), (NotTaken(reading, waiting.typed),))


def _back(engine: Engine, case: Case, prompt: Prompt, typed: str) -> Turn:
    if case.offered:
        return _drop(engine, case)
    if not case.answers:
        return unclear(prompt, typed, "There is no answer to go back to yet.")
    return _take_back(engine, case, tuple(case.answers)[-1], typed)


def _change(engine: Engine, case: Case, prompt: Prompt, typed: str, named: str) -> Turn:
    readings = [engine.content.readings[reading_id] for reading_id in case.answers]
    matches = [reading for reading in readings if _is_called(reading, named)] or [
        reading for reading in readings if _has_words(reading, named)
    ]
    if len(matches) == 1:
        return _take_back(engine, case, matches[0].id, typed)
    known = ", ".join(reading.name for reading in matches or readings)
    what = "Which one" if matches else f'No answer so far is called "{named}". Which one'
    return unclear(prompt, typed, f"{what}: {known or 'nothing answered yet'}?")


def _take_back(engine: Engine, case: Case, reading_id: str, typed: str) -> Turn:
    reading = engine.content.readings[reading_id]
    taken_back = TakenBack(reading_id, typed)
    moved = reconverted(engine.content, fold([taken_back], case)) if reading_id == ALTITUDE else []
    dropped = (
        NotTaken(engine.content.readings[waiting.reading], waiting.typed)
        for waiting in case.offered
    )
    events: tuple[Event, ...] = (*moved, taken_back)
    again = judged_again(engine.content, case, fold(events, case), reading_id)
    return Turn(events, (*dropped, TookBack(reading, typed), *again))


def _is_called(reading: Reading, named: str) -> bool:
    """Whether these are exactly the words for a reading."""
    wanted = _plain(named)
    return wanted in {_plain(word) for word in (reading.id, reading.name, *reading.spoken)}


def _has_words(reading: Reading, named: str) -> bool:
    """Whether all of the words, or beginnings of words, occur among those for a reading."""
    wanted = _plain(named).split()
    known = _plain(" ".join((reading.id, reading.name, *reading.spoken))).split()
    # Their ends do not count: "late" is no plate.
    return bool(wanted) and all(any(item.startswith(word) for item in known) for word in wanted)


def _plain(words: str) -> str:
    return " ".join(words.lower().replace("_", " ").replace("the ", "").split())
