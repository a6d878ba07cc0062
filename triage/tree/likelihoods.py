"""How each cause shows, as computed from the virtual machine: `likelihoods.json` of a content.

The file is written by `triage tree likelihoods` and read as part of the content. It says what it
was computed from; content that has changed since is told so, and content it does not fit is ranked
by the judged signs instead.
"""

from __future__ import annotations

import hashlib
import json
import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import Any

from triage.tree.content import LIKELIHOODS, Content, Place, Reading
from triage.tree.errors import Mistakes, quoted

FORMAT = 1

ON_FILE, TYPICAL = "on_file", "typical"
"""Settings: the machine's own model is on file, or a typical machine stands in for it."""

GRADES = ("far_below", "just_below", "low", "middle", "high", "just_above", "far_above")
"""How far from the middle of its band a reading lies; the three in the middle lie within."""

GRADE_EDGES = (-2.5, -1.0, -0.4, 0.4, 1.0, 2.5)
"""Residuals between the grades, in half-widths of the band (judged; -1 and 1 are its edges)."""

MEND = "compute it anew with: triage tree likelihoods"

_SUM_TOLERANCE = 0.01
"""How far chances rounded for the file may be from summing to one."""


@dataclass(frozen=True, slots=True)
class Mode:
    """One way a cause shows: how often, and the chance of each grade or choice of each reading."""

    share: float
    chances: Mapping[str, Mapping[str, float]]


def foreseen(reading: Reading) -> tuple[str, ...]:
    """Return what is counted of a reading: its grades, its choices, or nothing if only noted."""
    return GRADES if reading.is_banded else tuple(choice.id for choice in reading.choices)


MADE_OF_OTHERS = ("ice_production", "energy_use", "water_use")
"""Figures over whole cycles: made of other readings, they would count those a second time."""


def is_modelled(reading_id: str) -> bool:
    """Return whether the virtual machine shows a reading, so that it can be counted."""
    from triage.physics.observed import JUDGED  # not on a call's way
    from triage.physics.virtual_machine import READING_IDS

    shown = (*READING_IDS, *JUDGED, "condenser_kind")
    return reading_id in shown and reading_id not in MADE_OF_OTHERS


def modelled_causes(content: Content) -> tuple[str, ...]:
    """Return the causes of a content that the virtual machine can have, in content order."""
    from triage.physics.faults import FAULTS  # not on a call's way

    return tuple(cause for cause in content.causes if cause in FAULTS)


def fingerprint(content: Content) -> str:
    """Return a hash of all in a content that the likelihoods rest on, as hexadecimal text.

    That is machines, the readings the virtual machine shows with their bands or choices, and which
    of its faults are causes; words, routes and shares may change without them.
    """
    digest = hashlib.sha256(repr((FORMAT, GRADE_EDGES)).encode())
    for reading in sorted(content.readings.values(), key=lambda item: item.id):
        if foreseen(reading) and is_modelled(reading.id):
            facts = (reading.id, foreseen(reading), reading.normal, reading.default_minute)
            digest.update(repr(facts).encode())
    digest.update(repr(sorted(modelled_causes(content))).encode())
    for name in sorted(content.machines):
        digest.update(repr(content.machines[name]).encode())
    return digest.hexdigest()


def check_likelihoods(data: bytes | None, mistakes: Mistakes) -> str:
    """Return the text of the file if it is sound, "" if there is none or with a mistake kept."""
    if data is None:
        return ""
    try:
        text = data.decode()
        found = json.loads(text)
    except UnicodeDecodeError as error:
        line = data[: error.start].count(b"\n") + 1
        mistakes.add(Place(LIKELIHOODS, line, 1), f"the file is not UTF-8 text; {MEND}")
        return ""
    except json.JSONDecodeError as error:
        place = Place(LIKELIHOODS, error.lineno, error.colno)
        mistakes.add(place, f"the file is no JSON ({error.msg}); {MEND}")
        return ""
    except (ValueError, RecursionError):
        message = "the file is no JSON (a number or a nesting without end)"
        mistakes.add(Place(LIKELIHOODS, 1, 1), f"{message}; {MEND}")
        return ""
    flaw = next(_flaws(found), None)
    if flaw is not None:
        mistakes.add(Place(LIKELIHOODS, 1, 1), f"{flaw}; {MEND}")
        return ""
    return text


def _flaws(found: Any) -> Iterator[str]:
    """Yield what is wrong with the shape or the numbers of the file."""
    if not isinstance(found, dict) or found.get("format") != FORMAT:
        yield f"the file is not of format {FORMAT}"
        return
    if found.get("grade_edges") != list(GRADE_EDGES):
        yield "the file was computed with other grades"
        return
    try:
        readings = {name: len(outcomes) for name, outcomes in found["readings"].items()}
        for setting in (ON_FILE, TYPICAL):
            for cause, modes in found["settings"][setting].items():
                if not _are_chances([mode["share"] for mode in modes]):
                    yield f"the modes of {quoted(cause)} do not sum to one"
                for mode in modes:
                    yield from _flaws_of_mode(cause, mode, readings)
        kinds = {"fingerprint": str, "places": int, "draws": int, "seed": int}
        is_whole = all(isinstance(found["provenance"][key], kind) for key, kind in kinds.items())
        for _machine, _cause, shown in found["probes"]:
            is_whole = is_whole and isinstance(shown, dict)
    except (KeyError, TypeError, AttributeError, ValueError):
        is_whole = False
    if not is_whole:
        yield "the file lacks a part or has one of another kind"


def _flaws_of_mode(cause: str, mode: Any, readings: Mapping[str, int]) -> Iterator[str]:
    if mode["chances"].keys() != readings.keys():
        yield f"a mode of {quoted(cause)} has other readings than the file names"
        return
    for reading, chances in mode["chances"].items():
        if len(chances) != readings[reading] or not _are_chances(chances):
            yield (
                f"the chances of {quoted(reading)} under {quoted(cause)} are no chances that sum "
                "to one"
            )


def _are_chances(found: Any) -> bool:
    """Return whether these are numbers from 0 to 1 that sum to one, as rounded for the file."""
    are_numbers = all(isinstance(one, int | float) and 0.0 <= one <= 1.0 for one in found)
    return are_numbers and abs(math.fsum(found) - 1.0) <= _SUM_TOLERANCE


def fitting_modes(content: Content, setting: str) -> Mapping[str, tuple[Mode, ...]] | None:
    """Return the modes of every cause of the file in a setting; None where they do not fit.

    They fit if they count of each reading just what the content foresees. Causes the content does
    not have, or not in view, are among them.
    """
    if not content.likelihoods:
        return None
    found = json.loads(content.likelihoods)
    for reading_id, outcomes in found["readings"].items():
        reading = content.readings.get(reading_id)
        if reading is None or list(foreseen(reading)) != outcomes:
            return None
    by_cause = found["settings"][setting]
    return MappingProxyType(
        {cause: tuple(_modes(modes, found["readings"])) for cause, modes in by_cause.items()}
    )


def _modes(modes: Any, readings: Mapping[str, list[str]]) -> Iterator[Mode]:
    """Yield the modes of one cause; what was rounded for the file sums to one again."""
    whole = math.fsum(mode["share"] for mode in modes)
    for mode in modes:
        chances = {}
        for reading_id, outcomes in readings.items():
            rounded = mode["chances"][reading_id]
            total = math.fsum(rounded)
            chances[reading_id] = MappingProxyType(
                {name: chance / total for name, chance in zip(outcomes, rounded, strict=True)}
            )
        yield Mode(mode["share"] / whole, MappingProxyType(chances))


def staleness(content: Content) -> str:
    """Return in one sentence why the likelihoods do not belong to this content, "" if they do."""
    if not content.likelihoods:
        return "There are no computed likelihoods; causes are ranked by their judged signs."
    modes = fitting_modes(content, ON_FILE)
    if modes is None:
        return (
            f"{LIKELIHOODS} does not cover the readings there are, so causes are ranked by their "
            f"judged signs; {MEND}"
        )
    if not set(modelled_causes(content)) <= modes.keys():
        return (
            f"{LIKELIHOODS} does not cover every cause the virtual machine can have, so some are "
            f"ranked by their judged signs; {MEND}"
        )
    if json.loads(content.likelihoods)["provenance"]["fingerprint"] != fingerprint(content):
        return f"{LIKELIHOODS} was computed before machines, readings or causes changed; {MEND}"
    return ""
