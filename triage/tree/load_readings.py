"""Readings, cautions and causes from their files: what can be asked, warned of and concluded."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import fields, replace
from types import MappingProxyType

from triage.tree.amounts import DIMENSIONAL_KINDS, span_in_si
from triage.tree.content import (
    PLAIN_OUTCOMES,
    UNKNOWN,
    Cause,
    Caution,
    Choice,
    Reading,
    ReadingKind,
    Side,
    Stakes,
)
from triage.tree.errors import quoted
from triage.tree.machine_parts import PARTS
from triage.tree.marked_yaml import Scalar, Table
from triage.tree.sections import Section

LONGEST_MINUTE = 240.0
"""Latest minute into a freeze or harvest a reading may be meant for; far past any cycle."""

LONGEST_JOB_MINUTES = 10_000.0
"""Most minutes a reading or a repair may take; a week of work."""

_SUM_TOLERANCE = 1e-6

Names = frozenset[str] | None
"""Ids a reference may name; None when their file could not be read, then nothing is checked."""

Readings = Mapping[str, Reading | None] | None
"""Readings by id; a None among them is one with mistakes, whose outcomes nobody can check yet."""


def read_readings(file: Section, cautions: Names) -> dict[str, Reading | None]:
    """Return the readings of readings.yaml by id, None for those with mistakes."""
    entry = file.table.entries.get("readings")
    in_file_order = entry.value.entries if entry and isinstance(entry.value, Table) else ()
    readings: dict[str, Reading | None] = dict.fromkeys(in_file_order)
    for name, section in file.named_sections("readings", "reading"):
        count = len(file.mistakes.found)
        reading = _reading(name, section, cautions)
        section.finish()
        readings[name] = reading if len(file.mistakes.found) == count else None
    return readings


def names_under(file: Section, key: str) -> Names:
    """Return the keys of the table under `key`, or None if there is none."""
    entry = file.table.entries.get(key)
    return frozenset(entry.value.entries) if entry and isinstance(entry.value, Table) else None


def _reading(name: str, section: Section, cautions: Names) -> Reading:
    title = section.text("name")
    kind = section.member("kind", ReadingKind)
    choices, normal = _choices(section, kind)
    is_banded = section.flag("banded")
    if is_banded and kind not in DIMENSIONAL_KINDS and kind is not None:
        section.complain(
            section.place_of("banded"), f"is a {kind} and has no band; drop banded, or list the "
            "healthy choices under normal"
        )  # fmt: skip
    asked_cautions = section.words("cautions")
    return Reading(
        id=name,
        name=title,
        kind=kind or ReadingKind.CHOICE,
        place=section.place,
        choices=choices,
        normal=normal,
        spoken=section.texts("spoken"),
        plausible=_plausible(section, kind),
        default_minute=section.number("default_minute", 0, LONGEST_MINUTE, is_required=False),
        is_licensed=section.flag("licensed"),
        is_banded=is_banded,
        cautions=tuple(
            word.text for word in asked_cautions if section.known(word, cautions, "caution")
        ),
        minutes=_minutes(section, 1.0),
        is_volunteered=section.flag("volunteered"),
        is_alarming=section.flag("alarming"),
    )


def _choices(
    section: Section, kind: ReadingKind | None
) -> tuple[tuple[Choice, ...], tuple[str, ...]]:
    if kind is not ReadingKind.CHOICE:
        for key in ("choices", "normal"):
            if section.has(key) and kind is not None:
                section.complain(
                    section.place_of(key), f"is a {kind}, and only a choice has {quoted(key)}; "
                    "drop it"
                )  # fmt: skip
        return (), ()
    choices: list[Choice] = []
    taken: dict[str, str] = {}
    for name, inner in section.named_sections("choices", "choice"):
        label = inner.text("label")
        spoken = inner.words("spoken")
        choices.append(Choice(name, label, tuple(word.text.strip() for word in spoken)))
        own = [(name, inner.place), (label, inner.place_of("label"))]
        for said, place in own + [(word.text, word.place) for word in spoken]:
            owner = taken.setdefault(said.strip().casefold(), name)
            if owner != name and said.strip():
                section.complain(
                    place, f"has {quoted(said)} for both {quoted(owner)} and {quoted(name)}; a "
                    "caller saying it means one of them, so keep it in one"
                )  # fmt: skip
    if section.has("choices") and not choices:
        section.complain(section.place_of("choices"), "offers no choice; list at least one")
    names = frozenset(choice.id for choice in choices)
    normal = section.words("normal")
    return tuple(choices), tuple(
        word.text for word in normal if section.known(word, names or None, "choice of it")
    )


def _plausible(section: Section, kind: ReadingKind | None) -> tuple[float, float] | None:
    if not section.has("plausible"):
        return None
    if kind is not None and kind not in DIMENSIONAL_KINDS:
        section.complain(
            section.place_of("plausible"), f"is a {kind}, which has no plausible span; drop it"
        )
        return None
    words = section.words("plausible", at_least=2)
    return span_in_si(section, "plausible", words, kind) if kind and words else None


def read_cautions(file: Section) -> dict[str, Caution]:
    """Return the cautions of cautions.yaml by id."""
    return {
        name: Caution(
            id=name,
            title=section.text("title"),
            text=section.text("text"),
            hazards=section.texts("hazards", at_least=1),
            place=section.place,
        )
        for name, section in file.named_sections("cautions", "caution")
    }


def read_causes(file: Section, readings: Readings, hazards: Names) -> dict[str, Cause]:
    """Return the causes of causes.yaml by id.

    hazards: every hazard some caution warns of; a cause may carry no other, since nothing would be
    read out for it.
    """
    return {
        name: _cause(name, section, readings, hazards)
        for name, section in file.named_sections("causes", "cause")
    }


def _cause(name: str, section: Section, readings: Readings, hazards: Names) -> Cause:
    title = section.text("name")
    side = section.member("side", Side)
    hazard_words = section.words("hazards")
    return Cause(
        id=name,
        name=title,
        side=side or Side.NONE,
        explanation=section.text("explanation"),
        signs=MappingProxyType(dict(_signs(section, readings))),
        repair=section.text("repair"),
        replace_together=section.texts("replace_together"),
        machine_state=section.text("machine_state"),
        verify=section.texts("verify", at_least=0 if side is Side.NONE else 1),
        who=section.text("who"),
        hazards=tuple(
            word.text
            for word in hazard_words
            if section.known(word, hazards, "hazard a caution warns of")
        ),
        condemns=tuple(
            word.text
            for word in section.words("condemns")
            if section.known(word, PARTS, "part a cause may condemn")
        ),
        place=section.place,
        minutes=_minutes(section, 120.0),
        spoken=section.texts("spoken"),
        shown_by=tuple(
            word.text
            for word in section.words("shown_by")
            if section.known(word, None if readings is None else frozenset(readings), "reading")
        ),
    )


def read_stakes(file: Section) -> Stakes:
    """Return what stands under `stakes` in causes.yaml, the usual ones where nothing does."""
    usual = Stakes()
    table = file.table_under("stakes", is_required=False)
    if table is None:
        return usual
    section = Section(table, "stakes", file.mistakes)
    found = {
        item.name: section.number(item.name, 0.0, LONGEST_JOB_MINUTES, is_required=False)
        for item in fields(Stakes)
    }
    section.finish()
    return replace(usual, **{name: value for name, value in found.items() if value is not None})


def _minutes(section: Section, usual: float) -> float:
    minutes = section.number("minutes", 0.1, LONGEST_JOB_MINUTES, is_required=False)
    return usual if minutes is None else minutes


def _signs(section: Section, readings: Readings) -> Iterator[tuple[str, Mapping[str, float]]]:
    for key, value in section.entries("signs", is_required=False):
        names = None if readings is None else frozenset(readings)
        if not section.known(key, names, "reading"):
            continue
        if not isinstance(value, Table):
            section.complain(
                value.place,
                f"wants outcome: probability under {quoted(key.text)}, such as {{below: 0.8}}",
            )
            continue
        reading = readings.get(key.text) if readings is not None else None
        yield key.text, MappingProxyType(dict(_chances(section, key, value, reading)))


def _chances(
    section: Section, key: Scalar, table: Table, reading: Reading | None
) -> Iterator[tuple[str, float]]:
    total = 0.0
    outcomes = _telling_outcomes(reading) if reading else None
    if outcomes is not None and not outcomes:
        section.complain(
            key.place, f"takes {quoted(key.text)} as a sign, but it is only noted; give it a band "
            "or choices, or drop the sign"
        )  # fmt: skip
        return
    for entry in table.entries.values():
        if not section.known(entry.key, outcomes, f"outcome of {key.text} that tells anything"):
            continue
        if not isinstance(entry.value, Scalar):
            section.complain(entry.value.place, "wants a probability here, such as 0.8")
            continue
        chance = section.number_in(entry.value, entry.key.text, 0.0, 1.0)
        if chance is not None:
            total += chance
            yield entry.key.text, chance
    if total > 1.0 + _SUM_TOLERANCE:
        section.complain(
            key.place, f"gives the outcomes of {key.text} probabilities that sum to {total:g}; "
            "lower them to 1 at most"
        )  # fmt: skip
    elif outcomes == frozenset(table.entries) and total < 1.0 - _SUM_TOLERANCE:
        section.complain(
            key.place, f"gives every outcome of {key.text} a probability, yet they sum to "
            f"{total:g}; raise them to 1, or leave one out to take the rest"
        )  # fmt: skip


def _telling_outcomes(reading: Reading) -> frozenset[str]:
    # What could not be had says nothing about causes, so it is no sign.
    return frozenset(reading.outcomes) - {UNKNOWN, *PLAIN_OUTCOMES}
