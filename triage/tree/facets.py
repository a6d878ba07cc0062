"""What each thing of a content says, side by side in words, so that two of it can be compared.

A side is a name and a text, or the phrases that people say for the thing. Two things are the same
to a call if all their sides are. Where something was written, and in which order, is no side of it.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Iterable, Iterator, Mapping, Sequence
from typing import Any

from triage.physics.machine import ChartRow, Machine
from triage.physics.pressure import STANDARD_ATMOSPHERE_PA
from triage.physics.units import Dimension, UnitSystem, default_unit_of, unit_of
from triage.tree.content import (
    Cause,
    Caution,
    Content,
    Ending,
    Question,
    Reading,
    ReadingKind,
    Rule,
)

Sides = Mapping[str, str | frozenset[str]]
"""Name of a side to what it says, "" for nothing, or to phrases."""

PHRASES = "people also say"
"""How a side begins that holds phrases."""

_NUMBERS = frozenset(ReadingKind) - {
    ReadingKind.CHOICE,
    ReadingKind.MACHINE,
    ReadingKind.REFRIGERANT,
}


def question_sides(question: Question) -> Sides:
    """Return what a question says; where its outcomes lead is no side of it."""
    return {
        "asks for the reading": question.reading,
        "stage": question.stage.value,
        "agent's words": question.agent,
        "technician's words": question.technician,
        "why": question.why,
        "how": question.how,
        "if it cannot be had": question.if_unknown,
        "taken at minute": _number(question.minute),
    }


def ending_sides(content: Content, ending: Ending) -> Sides:
    """Return what an ending says."""
    return {
        "concludes": cause_names(content, ending.causes),
        "hands over": ending.escalate or "",
        "suspects": cause_names(content, ending.shortlist),
        "all readings may settle on": cause_names(content, ending.settles),
        "because": ending.because,
        "machine state": ending.machine_state,
        "whom to call": ending.call_whom,
    }


def reading_sides(content: Content, reading: Reading) -> Sides:
    """Return what a reading says."""
    labels = {choice.id: choice.label for choice in reading.choices}
    sides: dict[str, str | frozenset[str]] = {
        "name": reading.name,
        "kind": reading.kind.replace("_", " "),
        PHRASES: frozenset(reading.spoken),
        "as it should be": ", ".join(labels.get(each, each) for each in reading.normal),
        "believable": _amounts(reading.kind, reading.plausible),
        "judged by what a healthy machine shows": _yes(reading.is_banded),
        "only of a licensed caller": _yes(reading.is_licensed),
        "counts without being asked for": _yes(reading.is_volunteered),
        "asks for danger": _yes(reading.is_alarming),
        "cautions before it": _titles(content, reading.cautions),
        "taken at minute": _number(reading.default_minute),
        "minutes it takes": _number(reading.minutes),
    }
    for choice in reading.choices:
        sides[f'answer "{choice.id}"'] = choice.label
        sides[f'{PHRASES} for "{choice.id}"'] = frozenset(choice.spoken)
    return sides


def caution_sides(content: Content, caution: Caution) -> Sides:
    """Return what a caution says."""
    return {
        "title": caution.title,
        "text": caution.text,
        "hazards it is for": ", ".join(sorted(caution.hazards)),
    }


def cause_sides(content: Content, cause: Cause) -> Sides:
    """Return what a cause says."""
    at_gate = [
        caution.title
        for caution in content.cautions.values()
        if set(caution.hazards) & set(cause.hazards)
    ]
    sides: dict[str, str | frozenset[str]] = {
        "name": cause.name,
        "side of the cycle": cause.side.value,
        "explanation": cause.explanation,
        "repair": cause.repair,
        "parts replaced together": ", ".join(cause.replace_together),
        "machine state": cause.machine_state,
        "check after the repair": "; ".join(cause.verify),
        "who may do it": cause.who,
        "hazards": ", ".join(sorted(cause.hazards)),
        "cautions at the gate": ", ".join(at_gate),
        "parts condemned": ", ".join(cause.condemns),
        "minutes the repair takes": _number(cause.minutes),
        PHRASES: frozenset(cause.spoken),
        "shown most directly by": ", ".join(reading_name(content, it) for it in cause.shown_by),
    }
    for reading_id, chances in cause.signs.items():
        shown = (
            f"{outcome_words(content, reading_id, (outcome,))} {chance:.0%}"
            for outcome, chance in sorted(chances.items())
        )
        sides[f"judged to show in {reading_name(content, reading_id)}"] = ", ".join(shown)
    return sides


def machine_sides(content: Content, machine: Machine) -> Sides:
    """Return the figures of a machine by the keys of its file, which end in their units."""
    sides: dict[str, str | frozenset[str]] = dict(_figures(machine, ""))
    for row in machine.chart:
        conditions = _row_words(row)
        for reading_id, span in row.ranges.items():
            reading = content.readings.get(reading_id)
            words = f"chart at {conditions}: {reading_name(content, reading_id)}"
            sides[words] = _amounts(reading.kind, span) if reading else str(span)
    return sides


def rule_words(content: Content, rule: Rule) -> str:
    """Return when a rule holds, in words."""
    parts = [
        f"{reading_name(content, name)} {outcome_words(content, name, wanted)}"
        for name, wanted in rule.all_of.items()
    ]
    any_of = [
        f"{reading_name(content, name)} {outcome_words(content, name, wanted)}"
        for name, wanted in rule.any_of.items()
    ]
    if any_of:
        parts.append(f"at least one of: {', '.join(any_of)}")
    return "; ".join(parts)


def reading_name(content: Content, reading_id: str) -> str:
    """Return what a reading is called, its id where the content does not know it."""
    reading = content.readings.get(reading_id)
    return reading.name if reading else reading_id


def cause_names(content: Content, causes: Iterable[str]) -> str:
    """Return what causes are called, by comma."""
    return ", ".join(content.causes[it].name if it in content.causes else it for it in causes)


def outcome_words(content: Content, reading_id: str, outcomes: Iterable[str]) -> str:
    """Return outcomes of a reading as words, in its own order: a choice by its label."""
    reading = content.readings.get(reading_id)
    wanted = set(outcomes)
    known = reading.outcomes if reading else ()
    labels = {choice.id: choice.label for choice in reading.choices} if reading else {}
    ordered = [*(each for each in known if each in wanted), *sorted(wanted.difference(known))]
    return " or ".join(labels.get(each, each) for each in ordered)


def _figures(part: Any, before: str) -> Iterator[tuple[str, str]]:
    for field in dataclasses.fields(part):
        value = getattr(part, field.name)
        if dataclasses.is_dataclass(value):
            yield from _figures(value, f"{field.name} ")
        elif field.name not in ("id", "chart", "is_generic"):
            name = f"{before}{field.name}"
            if isinstance(value, bool):
                yield name, _yes(value)
            elif isinstance(value, int | float):
                yield name, _number(value)
            else:
                yield name, ", ".join(value) if isinstance(value, tuple) else str(value)


def _row_words(row: ChartRow) -> str:
    air = _amounts(ReadingKind.TEMPERATURE, (row.ambient_air_temperature_k,))
    water = _amounts(ReadingKind.TEMPERATURE, (row.water_inlet_temperature_k,))
    return f"air {air}, water {water}"


def _amounts(kind: ReadingKind, values: Sequence[float] | None) -> str:
    """Return values in SI (pressures gauge) in the units of both systems, told finely."""
    if values is None:
        return ""
    if kind not in _NUMBERS:
        return " to ".join(map(_number, values))
    dimension = Dimension(kind.value)
    both = []
    for system in UnitSystem:
        unit = unit_of(default_unit_of(dimension, system), dimension)
        air_pa = STANDARD_ATMOSPHERE_PA if unit.is_gauge else 0.0
        told = (f"{unit.from_si(value + air_pa, air_pa):.7g}" for value in values)
        both.append(f"{' to '.join(told)} {unit.symbol}")
    return f"{both[0]} ({both[1]})" if both[0] != both[1] else both[0]


def _titles(content: Content, cautions: Iterable[str]) -> str:
    return ", ".join(
        content.cautions[it].title if it in content.cautions else it for it in cautions
    )


def _yes(is_so: bool) -> str:
    return "yes" if is_so else "no"


def _number(value: float | None) -> str:
    return "" if value is None else f"{value:.12g}"
