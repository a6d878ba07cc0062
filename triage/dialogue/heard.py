"""What a typed line says of the readings of a call, in the call's own units and air pressure."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import asdict, replace

from triage.dialogue.breath import Part, take_apart
from triage.dialogue.case import COMPLAINT, LICENSED, QUALIFICATION, Case
from triage.dialogue.events import Answered, Offered
from triage.dialogue.judge import barometric_pressure_of
from triage.dialogue.names import find_exact
from triage.dialogue.reply import (
    Control,
    Unclear,
    Unknown,
    Value,
    YesNo,
    read_confirmation,
    read_reply,
)
from triage.dialogue.view import AskQuestion
from triage.dialogue.words import quoted
from triage.physics.quantity import UnitSystem
from triage.tree.content import Content, Reading, ReadingKind

PLAINLY_LICENSED = (
    "Type yes only if it is both: certified for refrigerant circuits, and qualified for live "
    "electrical tests. Else type no."
)


def read(
    content: Content, case: Case, reading: Reading, typed: str
) -> Value | Unknown | Control | Unclear:
    """Return what `typed` means as the answer to `reading` in this call."""
    reply = read_reply(
        typed,
        reading,
        system=UnitSystem(case.units),
        machines=content.machines,
        barometric_pressure_pa=barometric_pressure_of(case),
    )
    if reading.id != QUALIFICATION:
        return reply
    # "Yes, both were revoked": a license counts only where nothing stands beside it. And "did you
    # mean one or the other?" would be answered with a yes, which is a license here.
    is_claimed = isinstance(reply, Value) and reply.value == LICENSED
    is_torn = isinstance(reply, Unclear) and bool(reply.suggestions)
    if is_torn or (is_claimed and not _stands_by_itself(reading, LICENSED, typed)):
        return Unclear(f"{quoted(typed)} is not plain enough. {PLAINLY_LICENSED}")
    return reply


def parts_of(
    content: Content, case: Case, prompt: AskQuestion, typed: str
) -> tuple[tuple[Part, ...], str]:
    """Return the readings said in one line, the one asked for first, and what is left over.

    `content` is the one its tree has in view.
    """
    # What is still open comes first; an answer already given may be corrected in passing, but not
    # the complaint: its phrases are plain words ("slow") that belong to other answers as well.
    settled = {prompt.reading.id} | ({COMPLAINT} & set(case.answers))
    others = sorted(
        (item for item in readings_heard(content) if item.id not in settled),
        key=lambda item: item.id in case.answers,
    )
    stage = prompt.stage.value
    if prompt.reading.kind is ReadingKind.MACHINE:
        beside = _beside_the_machine(content, case, prompt, others, typed)
        if beside is not None:
            return beside
    parts, leftover = parts_among(content, case, (prompt.reading, *others), stage, typed)
    # An all-clear is never picked out of a line about something else: "no illness but a headache".
    parts = tuple(
        part for part in parts if not _clears(content, part) or part.reading == prompt.reading.id
    )
    if prompt.reading.id == COMPLAINT:
        return _beside_the_complaint(content, case, prompt.reading, parts, typed)
    return parts, leftover


def _clears(content: Content, part: Part) -> bool:
    reading = content.readings[part.reading]
    is_harmless = isinstance(part.value, Value) and part.value.value in reading.normal
    return reading.is_alarming and is_harmless


def _beside_the_machine(
    content: Content, case: Case, prompt: AskQuestion, others: Sequence[Reading], typed: str
) -> tuple[tuple[Part, ...], str] | None:
    """Return the machine and what was said beside it, None if nothing else can be made out."""
    names = {
        name: machine.id
        for machine in content.machines.values()
        for name in (machine.id, machine.name, *machine.spoken)
    }
    for name in sorted(names, key=len, reverse=True):
        found = re.search(rf"(?<!\w){re.escape(name)}(?!\w)", typed, re.IGNORECASE)
        if found is None:
            continue
        rest = f"{typed[: found.start()]} {typed[found.end() :]}".strip(" ,;.")
        parts, leftover = parts_among(content, case, others, prompt.stage.value, rest)
        if not any(isinstance(part.value, Value) for part in parts):
            return None
        said = Value(names[name], found.group())
        return (Part(prompt.reading.id, found.group(), said), *parts), leftover
    return None


def readings_heard(content: Content) -> tuple[Reading, ...]:
    """Return the readings that count when they are said besides: those of the trees in view.

    The words for what another complaint asks would only blur what is meant here.
    """
    asked = {item.reading for tree in content.trees.values() for item in tree.questions.values()}
    return tuple(
        item for item in content.readings.values() if item.id in asked or item.is_volunteered
    )


def _beside_the_complaint(
    content: Content, case: Case, complaint: Reading, parts: Sequence[Part], typed: str
) -> tuple[tuple[Part, ...], str]:
    """Return what a line says besides the complaint, and the complaint from all words left.

    Free words are never cut up: no other choice is looked for in them, so a line without a figure
    or a name gives no parts, and what `read` makes of the whole counts.
    """
    others = [part for part in parts if _stands_beside(content, case, part)]
    if not others:
        return (), ""
    rest = typed
    for part in others:
        rest = rest.replace(part.text, " ; ", 1)
    rest = " ".join(rest.split()).strip(" ,;.")
    # "The freeze takes 50 minutes" is a reading and a complaint at once.
    said = rest or typed
    reply = read(content, case, complaint, said)
    if isinstance(reply, Unclear) and (answer := _only_meaning(content, complaint, reply)):
        reply = replace(answer, typed=said)
    if isinstance(reply, Value):
        return (Part(complaint.id, said, reply), *others), ""
    return tuple(others), rest


def _stands_beside(content: Content, case: Case, part: Part) -> bool:
    """Return whether a part of a line is a figure or a name, or work this caller may not do."""
    reading = content.readings[part.reading]
    if reading.kind is ReadingKind.CHOICE:
        return False
    return isinstance(part.value, Value) or (reading.is_licensed and not case.is_licensed)


def parts_among(
    content: Content, case: Case, readings: Sequence[Reading], stage: str, typed: str
) -> tuple[tuple[Part, ...], str]:
    """Return which of `readings` are said in one line, the first first, and what is left over."""
    return take_apart(
        typed,
        readings,
        system=UnitSystem(case.units),
        machines=content.machines,
        barometric_pressure_pa=barometric_pressure_of(case),
        stage=stage,
    )


def answer_of(reading: Reading, value: Value, minute: float | None) -> Answered:
    """Return the answer that `value` is; `minute` is taken where the caller named none."""
    is_assumed = value.minute_s is None and minute is not None
    minute_s = minute * 60.0 if is_assumed and minute is not None else value.minute_s
    return Answered(
        reading.id, value.typed, value.value, minute_s=minute_s, is_minute_assumed=is_assumed
    )


def meant(content: Content, prompt: AskQuestion, reply: Unclear) -> Answered | None:
    """Return the one answer that "did you mean" proposes, for a yes; never a license."""
    value = _only_meaning(content, prompt.reading, reply)
    return answer_of(prompt.reading, value, prompt.minute) if value else None


def _only_meaning(content: Content, reading: Reading, reply: Unclear) -> Value | None:
    """Return what the only suggestion of `reply` means, if there is only one; never a license."""
    if len(reply.suggestions) != 1:
        return None
    value = read(content, Case(), reading, reply.suggestions[0])
    return value if isinstance(value, Value) and value.value != LICENSED else None


def half_cleared(
    content: Content, prompt: AskQuestion, reply: object, parts: Sequence[Part], typed: str
) -> str:
    """Return why an all-clear does not count, "" where none was given or it stands by itself.

    "No smoke, a slight tingle" is no all-clear, whatever is made of its first words.
    """
    reading = prompt.reading
    if not reading.is_alarming:
        return ""
    found = [reply, *(part.value for part in parts if part.reading == reading.id)]
    if isinstance(reply, Unclear):
        found.append(_only_meaning(content, reading, reply))
    cleared = any(isinstance(each, Value) and each.value in reading.normal for each in found)
    if not cleared or any(_stands_by_itself(reading, value, typed) for value in reading.normal):
        return ""
    dangers = "; ".join(item.label for item in reading.choices if item.id not in reading.normal)
    fine = "; ".join(item.label for item in reading.choices if item.id in reading.normal)
    return f"That may hide a danger. Which is it: {dangers}? If it is none, say only: {fine}."


def _stands_by_itself(reading: Reading, value: str, typed: str) -> bool:
    """Return whether a line is a way to say a choice, or a bare yes or no, and no more."""
    names = {choice.id: (choice.id, choice.label, *choice.spoken) for choice in reading.choices}
    return find_exact(typed, names).id == value or isinstance(read_confirmation(typed), YesNo)


def reconverted(content: Content, case: Case) -> list[Answered]:
    """Return the pressures given so far that read otherwise at the altitude of `case`."""
    again = [with_barometer(content, case, answer) for answer in case.answers.values()]
    return [answer for answer in again if answer != case.answers[answer.reading]]


def with_barometer(content: Content, case: Case, answer: Answered) -> Answered:
    """Return `answer` converted anew at the altitude of `case`, if it is a gauge pressure."""
    reading = content.readings[answer.reading]
    if reading.kind is not ReadingKind.GAUGE_PRESSURE or answer.value is None:
        return answer
    reply = read(content, case, reading, answer.typed)
    return replace(answer, value=reply.value) if isinstance(reply, Value) else answer


def offered(answers: Sequence[Answered], doubt: str = "") -> Offered:
    """Return the event that shows `answers` back for a yes."""
    return Offered(tuple(map(asdict, answers)), doubt)


def claims_license(part: Part) -> bool:
    """Return whether a part of a line says that the caller is licensed."""
    return (
        part.reading == QUALIFICATION
        and isinstance(part.value, Value)
        and part.value.value == LICENSED
    )
