"""What a repair found, held against what the call concluded and what the machine should show.

Pure: a report is made of what was typed, the content and the call; nothing is stored here.
"""

from __future__ import annotations

import math
import re
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from enum import StrEnum
from typing import Any

from triage.dialogue import heard
from triage.dialogue.case import Case, fold
from triage.dialogue.doubts import doubt_about
from triage.dialogue.events import (
    FOUND_NO_FAULT,
    FOUND_OTHER,
    Answered,
    Concluded,
    RepairReported,
)
from triage.dialogue.judge import fitting, judge, minute_of
from triage.dialogue.names import Found, find_exact, find_named
from triage.dialogue.reply import Unclear, Unknown, Value
from triage.dialogue.view import ODD, Finding, Verdict
from triage.dialogue.words import fold as folded
from triage.tree.content import Cause, Content, Side

_OTHER_NAMES: Mapping[str, tuple[str, ...]] = {
    FOUND_NO_FAULT: ("no fault found", "no fault", "nothing", "nothing found", "nothing wrong"),
    FOUND_OTHER: ("other fault", "another fault", "something else", "other"),
}
_SPOKEN_OF = {FOUND_NO_FAULT: "no fault", FOUND_OTHER: "another fault"}


# What was found, in words that people use.


def found_names(content: Content) -> dict[str, tuple[str, ...]]:
    """Return the words for everything a repair may find, by cause id or other word."""
    names = {cause.id: (cause.id, cause.name, *cause.spoken) for cause in content.causes.values()}
    return {**names, **{id_: (id_, *words) for id_, words in _OTHER_NAMES.items()}}


def found_in(text: str, content: Content) -> Found:
    """Return which cause `text` means, or the ids that come near.

    A cause of the content may be called "no fault found" too; the words for no fault mean none.
    """
    other = find_exact(text, {id_: (id_, *words) for id_, words in _OTHER_NAMES.items()})
    return other if other.id else find_named(text, found_names(content))


def found_word(found: str, content: Content) -> str:
    """Return what was found by its name."""
    cause = content.causes.get(found)
    return cause.name if cause else _SPOKEN_OF.get(found, found)


class FoundFlaw(StrEnum):
    """What keeps a report from being one; the value says how to mend it."""

    NOTHING = "say what the repair found: a cause, no_fault_found or other_fault"
    NO_FAULT_AND_A_FAULT = "no_fault_found stands by itself; leave it or the others out"
    OTHER_WITHOUT_NOTE = "another fault (other_fault) wants a note that says which one"


def flaw_of(found: Sequence[str], note: str) -> FoundFlaw | None:
    """Return what a report of these findings lacks, None if it may be kept."""
    if not found:
        return FoundFlaw.NOTHING
    if FOUND_NO_FAULT in found and len(found) > 1:
        return FoundFlaw.NO_FAULT_AND_A_FAULT
    if FOUND_OTHER in found and not note.strip():
        return FoundFlaw.OTHER_WITHOUT_NOTE
    return None


# Against what was concluded.


class Comparison(StrEnum):
    """How what was found compares with what the call concluded."""

    AS_CONCLUDED = "as_concluded"
    MORE = "more_than_concluded"
    OTHER = "other_than_concluded"
    NO_CONCLUSION = "no_conclusion"
    NOT_ENDED = "not_ended"


def compared(concluded: Concluded | None, found: Iterable[str], content: Content) -> Comparison:
    """Return how `found` compares with the conclusion of the call.

    No fault found is what a cause of neither side of the cycle says: the machine is sound.
    """
    if concluded is None:
        return Comparison.NOT_ENDED
    ours, theirs = set(concluded.causes), set(found)
    if FOUND_NO_FAULT in theirs:
        theirs |= {one for one in ours if one in content.causes and _is_sound(content.causes[one])}
        theirs -= {FOUND_NO_FAULT} if len(theirs) > 1 else set()
    if not ours:
        return Comparison.NO_CONCLUSION
    if not ours & theirs:
        return Comparison.OTHER
    return Comparison.AS_CONCLUDED if theirs <= ours else Comparison.MORE


def comparison_words(concluded: Concluded | None, found: Sequence[str], content: Content) -> str:
    """Return in one sentence how what was found compares with what the call concluded."""
    theirs = " and ".join(f'"{found_word(one, content)}"' for one in found)
    causes = concluded.causes if concluded else ()
    ours = [f'"{found_word(one, content)}"' for one in causes]
    match compared(concluded, found, content):
        case Comparison.AS_CONCLUDED:
            return f"The repair found what was concluded: {theirs}."
        case Comparison.MORE:
            return f"The repair found what was concluded, and more: {theirs}."
        case Comparison.OTHER:
            return f"The repair found other than concluded: {theirs}, not {' or '.join(ours)}."
        case Comparison.NO_CONCLUSION:
            return f"The call named no cause; the repair found {theirs}{_rank(concluded, found)}."
        case Comparison.NOT_ENDED:
            return f"The call has not come to its end; the repair found {theirs}."


def _is_sound(cause: Cause) -> bool:
    return cause.side is Side.NONE


def _rank(concluded: Concluded | None, found: Sequence[str]) -> str:
    """Return where the ranking of the call had what was found, "" if it is not on record."""
    ranked = [item.get("cause") for item in concluded.ranked] if concluded else []
    places = [ranked.index(one) + 1 for one in found if one in ranked]
    return f", number {min(places)} of the readings' ranking" if places else ""


# Parts.


def parts_together(content: Content, found: Iterable[str]) -> tuple[str, ...]:
    """Return the parts that the repair of what was found replaces together."""
    causes = (content.causes[one] for one in found if one in content.causes)
    return tuple(dict.fromkeys(part for cause in causes for part in cause.replace_together))


def part_named(text: str, known: Sequence[str]) -> str | None:
    """Return the one part of `known` that `text` means, None if none or several.

    A part is meant by its name, by words of it that no other part has, or by a near spelling.

    >>> part_named("the solenoid", ["receiver vapor regulator", "solenoid valve with coil"])
    'solenoid valve with coil'
    """
    names = {part: (part,) for part in known}
    exact = find_exact(text, names).id
    if exact:
        return exact
    typed = set(folded(text).split()) - {"the", "a", "an", "new", "and", "its"}
    held = [
        part
        for part in known
        if typed and (typed <= set(folded(part).split()) or set(folded(part).split()) <= typed)
    ]
    if held:
        return held[0] if len(held) == 1 else None
    near = find_named(text, names)
    return near.id or (near.near[0] if len(near.near) == 1 else None)


def parts_in(text: str) -> tuple[str, ...]:
    """Return the parts a line names, split at commas, plus signs and the word and.

    >>> parts_in("regulator, solenoid and filter drier")
    ('regulator', 'solenoid', 'filter drier')
    """
    parts = re.split(r"\s*(?:[,;+&]|\band\b)\s*", text)
    return tuple(part for part in parts if part)


def missing_parts(content: Content, found: Iterable[str], parts: Sequence[str]) -> Iterator[str]:
    """Yield a sentence for each cause whose parts are replaced together but were not all."""
    for cause in (content.causes[one] for one in found if one in content.causes):
        sentence = _missing_of(cause, parts)
        if sentence:
            yield sentence


def _missing_of(cause: Cause, parts: Sequence[str]) -> str:
    together = cause.replace_together
    said = [piece for part in parts for piece in (part, *parts_in(part))]
    done = {part_named(piece, together) for piece in said}
    missing = [part for part in together if part not in done]
    if not missing:
        return ""
    if len(missing) == len(together):
        return (
            f"Of the parts that this repair replaces together none was reported: "
            f"{', '.join(together)}."
        )
    rest = " and ".join(part for part in together if part not in missing)
    was, it_is = ("was", "it is") if len(missing) == 1 else ("were", "they are")
    return f"{' and '.join(missing)} {was} not replaced; {it_is} replaced together with {rest}."


# Readings after the repair.


@dataclass(frozen=True, slots=True)
class AfterRepair:
    """A reading after the repair, judged; `doubt` asks about one that cannot well be true."""

    finding: Finding
    doubt: str = ""


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


def judged_after_repair(
    content: Content, case: Case, answers: Sequence[Answered]
) -> tuple[AfterRepair, ...]:
    """Return the readings after a repair, judged against this machine's bands.

    Conditions among `answers` (air, water) stand in for those of the call; the rest of the call
    stays what the bands are computed from.
    """
    after = fold(answers, fitting(content, case))
    return tuple(
        AfterRepair(judge(content, after, answer), doubt_about(content, after, answer))
        for answer in answers
    )


def as_recorded(findings: Iterable[Finding]) -> tuple[dict[str, Any], ...]:
    """Return judged readings as they are kept in a report, in SI."""
    return tuple(
        {
            "reading": finding.reading.id,
            "typed": finding.typed,
            "value": finding.value,
            "minute_s": finding.minute_s,
            "verdict": finding.verdict.value,
            "low": None if finding.band is None else finding.band.low,
            "high": None if finding.band is None else finding.band.high,
        }
        for finding in findings
    )


def number_in(recorded: Mapping[str, Any], name: str) -> float | None:
    """Return a number of a recorded reading, None if there is none; the record may hold anything.

    An open circuit is infinite, not a number is none.
    """
    value = recorded.get(name)
    if isinstance(value, bool) or not isinstance(value, int | float) or math.isnan(value):
        return None
    return float(value)


# Whether it held.


class Held(StrEnum):
    """Whether a repair held."""

    YES = "held"
    NO = "did_not_hold"
    NOT_KNOWN = "not_known"


_ODD_VERDICTS = {verdict.value for verdict in ODD}

CONDITIONS = ("ambient_air_temperature", "condenser_air_temperature", "water_inlet_temperature")
"""The day of the repair: what the bands are computed for, and nothing a repair changes."""


def held_of(report: RepairReported) -> Held:
    """Return whether the repair of a report held: two good cycles, and no reading out of its band.

    Nobody watched and nothing is odd: not known. A hot day is no failed repair.
    """
    is_odd = any(
        item.get("verdict") in _ODD_VERDICTS and item.get("reading") not in CONDITIONS
        for item in report.readings
    )
    if is_odd or report.had_two_good_cycles is False:
        return Held.NO
    return Held.YES if report.had_two_good_cycles else Held.NOT_KNOWN


def what_now(report: RepairReported, content: Content) -> tuple[str, ...]:
    """Return what to do after a repair that did not hold, or that nobody watched."""
    match held_of(report):
        case Held.YES:
            return ()
        case Held.NOT_KNOWN:
            return (
                "Two good cycles, freeze and harvest, were not watched: the repair is not proven "
                "until they are. Watch two, and report again.",
            )
        case Held.NO:
            states = [content.causes[one].machine_state for one in report.found
                      if one in content.causes]  # fmt: skip
            safe = states or ["Leave the machine off, switched off at the disconnect and tagged."]
            return (
                "The repair did not hold.",
                *dict.fromkeys(safe),
                "Throw away the ice made since. Call the desk back before anything else is "
                "replaced, with these readings at hand.",
            )


def is_judged(finding: Finding) -> bool:
    """Return whether a reading has a verdict to show beside a band."""
    return finding.verdict not in (Verdict.NOTED, Verdict.UNKNOWN)
