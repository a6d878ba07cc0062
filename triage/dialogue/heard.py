"""What a typed line says of the readings of a call, in the call's own units and air pressure."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import asdict, replace

from triage.dialogue.breath import Part, take_apart
from triage.dialogue.case import LICENSED, QUALIFICATION, Case
from triage.dialogue.events import Answered, Offered
from triage.dialogue.judge import barometric_pressure_of
from triage.dialogue.reply import Control, Unclear, Unknown, Value, read_reply
from triage.dialogue.view import AskQuestion
from triage.physics.quantity import UnitSystem
from triage.tree.content import Content, Reading, ReadingKind


def read(
    content: Content, case: Case, reading: Reading, typed: str
) -> Value | Unknown | Control | Unclear:
    """Return what `typed` means as the answer to `reading` in this call."""
    return read_reply(
        typed,
        reading,
        system=UnitSystem(case.units),
        machines=content.machines,
        barometric_pressure_pa=barometric_pressure_of(case),
    )


def parts_of(
    content: Content, case: Case, prompt: AskQuestion, typed: str
) -> tuple[tuple[Part, ...], str]:
    """Return the readings said in one line, the one asked for first, and what is left over."""
    # What is still open comes first; an answer already given may be corrected in passing.
    others = sorted(
        (item for item in content.readings.values() if item.id != prompt.reading.id),
        key=lambda item: item.id in case.answers,
    )
    return parts_among(content, case, (prompt.reading, *others), prompt.stage.value, typed)


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
    if len(reply.suggestions) != 1:
        return None
    value = read(content, Case(), prompt.reading, reply.suggestions[0])
    if not isinstance(value, Value) or value.value == LICENSED:
        return None
    return answer_of(prompt.reading, value, prompt.minute)


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
