"""Readings after a repair: read as in the call, judged against this machine's bands. Pure."""

from __future__ import annotations

import math
import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from typing import Any

from triage.dialogue import heard
from triage.dialogue.case import Case, fold
from triage.dialogue.doubts import doubt_about
from triage.dialogue.events import Answered
from triage.dialogue.grades import grade_of
from triage.dialogue.judge import fitting, judge, minute_of
from triage.dialogue.reply import Unclear, Unknown, Value
from triage.dialogue.view import Finding
from triage.physics.quantity import Dimension, UnitSystem, default_unit_of
from triage.tree.content import Content, ReadingKind
from triage.tree.likelihoods import GRADES

CONDITIONS = ("ambient_air_temperature", "condenser_air_temperature", "water_inlet_temperature")
"""The day of the repair: what the bands are computed for, and nothing a repair changes."""


@dataclass(frozen=True, slots=True)
class AfterRepair:
    """A reading after the repair, judged; `doubt` asks about one that cannot well be true.

    `unit_assumed` is the unit taken where a bare number was typed, "" otherwise.
    """

    finding: Finding
    doubt: str = ""
    unit_assumed: str = ""


def read_after_repair(content: Content, case: Case, reading_id: str, typed: str) -> Answered | str:
    """Return what was typed for a reading after the repair, or why it cannot be used.

    It is read as it would be in the call: units, altitude, the minute it was taken.
    """
    reading = content.readings[reading_id]
    reply = heard.read(content, case, reading, typed)
    match reply:
        case Value():
            return heard.answer_of(reading, reply, minute_of(None, reading))
        case Unknown(reason):
            return Answered(reading_id, typed, None, reason)
        case Unclear(message):
            return message
        case _:
            return f'"{typed}" is no value of {reading.name}'


def breath_after_repair(
    content: Content, case: Case, asked: Sequence[str], stage: str, typed: str
) -> tuple[tuple[Answered, ...], str]:
    """Return the readings said in one line, as in the call, and what is left over.

    asked: ids of the readings in question, the one asked for first
    stage: freeze or harvest, which decides between readings that go by the same words
    """
    others = [item.id for item in content.readings.values() if item.is_banded]
    readings = [content.readings[one] for one in dict.fromkeys((*asked, *others))]
    parts, leftover = heard.parts_among(content, case, readings, stage, typed)
    return tuple(
        heard.answer_of(reading, part.value, minute_of(None, reading))
        for part in parts
        if isinstance(part.value, Value)
        for reading in (content.readings[part.reading],)
    ), leftover


def judged_after_repair(
    content: Content, case: Case, answers: Sequence[Answered]
) -> tuple[AfterRepair, ...]:
    """Return the readings after a repair, judged against this machine's bands.

    Conditions among `answers` (air, water) stand in for those of the call; the rest of the call
    stays what the bands are computed from. A doubt arises from the readings after the repair alone.
    """
    before = fitting(content, case)
    after = fold(answers, before)
    # What was measured on the faulty machine is no measure of the mended one.
    kept = {
        key: answer
        for key, answer in before.answers.items()
        if key in CONDITIONS or not content.readings[key].is_banded
    }
    alone = fold(answers, replace(before, answers=kept))
    return tuple(
        AfterRepair(
            judge(content, after, answer),
            doubt_about(content, alone, answer),
            _unit_assumed(content, after, answer),
        )
        for answer in answers
    )


_BARE_NUMBER = re.compile(r"[^A-Za-z:Ω°\"']*[0-9][^A-Za-z:Ω°\"']*")
_SAME_IN_BOTH = frozenset(
    ReadingKind(dimension.value)
    for dimension in Dimension
    if default_unit_of(dimension, UnitSystem.US) == default_unit_of(dimension, UnitSystem.SI)
)


def _unit_assumed(content: Content, case: Case, answer: Answered) -> str:
    """Return the unit that a number without one was taken to have, "" if it came with one."""
    reading = content.readings[answer.reading]
    if not reading.is_banded and reading.id not in CONDITIONS:
        return ""
    if not isinstance(answer.value, float):
        return ""
    is_assumed = bool(_BARE_NUMBER.fullmatch(answer.typed))
    if not is_assumed and reading.kind not in _SAME_IN_BOTH:
        # A number that means something else to people who count in the other units had none.
        us, si = (
            heard.read(content, replace(case, units=system.value), reading, answer.typed)
            for system in UnitSystem
        )
        is_assumed = isinstance(us, Value) and isinstance(si, Value) and us.value != si.value
    if not is_assumed:
        return ""
    return default_unit_of(Dimension(reading.kind.value), UnitSystem(case.units))


def as_recorded(judged: Iterable[AfterRepair]) -> tuple[dict[str, Any], ...]:
    """Return judged readings as they are kept in a report, in SI.

    `residual` is kept where the band has a middle to speak of [half-widths].
    """
    return tuple(
        {
            "reading": item.finding.reading.id,
            "typed": item.finding.typed,
            "value": item.finding.value,
            "minute_s": item.finding.minute_s,
            "verdict": item.finding.verdict.value,
            "low": None if item.finding.band is None else item.finding.band.low,
            "high": None if item.finding.band is None else item.finding.band.high,
            "residual": _residual(item.finding),
            "unit_assumed": item.unit_assumed,
            "is_minute_assumed": item.finding.is_minute_assumed,
        }
        for item in judged
    )


def _residual(finding: Finding) -> float | None:
    is_graded = grade_of(finding) in GRADES and math.isfinite(finding.residual or 0.0)
    return finding.residual if is_graded else None
