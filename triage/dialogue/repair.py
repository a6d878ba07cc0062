"""What a repair found, held against what the call concluded and what the machine should show.

Pure: a report is made of what was typed, the content and the call; nothing is stored here.
"""

from __future__ import annotations

import math
import re
from collections.abc import Iterable, Iterator, Mapping, Sequence
from enum import StrEnum
from typing import Any

from triage.dialogue.after_repair import CONDITIONS
from triage.dialogue.events import (
    FOUND_NO_FAULT,
    FOUND_OTHER,
    Concluded,
    RepairReported,
)
from triage.dialogue.names import find_exact, find_named
from triage.dialogue.second_thoughts import JUST_OUT
from triage.dialogue.view import ODD, Verdict
from triage.dialogue.words import fold as folded
from triage.tree.content import Cause, Content, Side

_SPOKEN_OF = {FOUND_NO_FAULT: "no fault", FOUND_OTHER: "another fault"}


# What was found.


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


def is_other_than_concluded(
    concluded: Concluded | None, report: RepairReported, content: Content
) -> bool:
    """Return whether the repair found something else than the call concluded.

    That is about the call; whether the machine runs after the repair is `held_of`.
    """
    return compared(concluded, report.found, content) is Comparison.OTHER


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


def no_parts_words(content: Content, found: Sequence[str]) -> str:
    """Return why "all" names no parts: the repair of what was found replaces none by itself."""
    names = " and ".join(f'"{found_word(one, content)}"' for one in found) or "what was found"
    return f"no parts are on file that the repair of {names} replaces together; name the parts"


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


def number_in(recorded: Mapping[str, Any], name: str) -> float | None:
    """Return a number of a recorded reading, None if there is none; the record may hold anything.

    An open circuit is infinite, not a number is none.
    """
    value = recorded.get(name)
    if isinstance(value, bool) or not isinstance(value, int | float) or math.isnan(value):
        return None
    return float(value)


# Whether it held: about the machine after the repair alone.


class Held(StrEnum):
    """Whether a repair held; without a fault there was nothing to repair."""

    YES = "held"
    NO = "did_not_hold"
    NOT_PROVEN = "not_proven"
    NOTHING_REPAIRED = "nothing_repaired"


_ODD_VERDICTS = {verdict.value for verdict in ODD}

_LEAVE_IT = (
    "Leave the machine off, switched off at the disconnect and tagged, until the cause is found.",
    "Throw away the ice made since. Call the desk back before anything else is replaced, with "
    "these readings at hand.",
)


def held_of(report: RepairReported, content: Content) -> Held:
    """Return whether the repair of a report held: two good cycles, and no reading out of its band.

    One reading only just out, with two good cycles, does not undo it; several leave it open. A hot
    day is no failed repair. What the call concluded plays no part: `is_other_than_concluded`.
    """
    if report.found and all(_is_no_fault(one, content) for one in report.found):
        return Held.NOTHING_REPAIRED
    plainly, just = _odd_of(report)
    if plainly or report.had_two_good_cycles is False:
        return Held.NO
    is_proven = report.had_two_good_cycles is True and len(just) <= 1
    return Held.YES if is_proven else Held.NOT_PROVEN


def is_just_out(recorded: Mapping[str, Any]) -> bool:
    """Return whether a recorded reading is only just out of its band, as it was judged then."""
    residual = number_in(recorded, "residual")
    return (
        recorded.get("verdict") in _ODD_VERDICTS
        and residual is not None
        and abs(residual) <= JUST_OUT
    )


def why_not_sound(report: RepairReported, content: Content) -> tuple[str, ...]:
    """Return what speaks against the machine after the repair, each as a clause; may be empty."""
    plainly, just = _odd_of(report)
    cycles = ["two good cycles did not follow"] if report.had_two_good_cycles is False else []
    out = [f"{_odd_name(item, content)} is {_odd_word(item)}" for item in plainly]
    return (*cycles, *out, *(_just_words(item, content) for item in just))


def just_outside(report: RepairReported, content: Content) -> tuple[str, ...]:
    """Return a clause for each reading only just out of its band, conditions left out."""
    return tuple(_just_words(item, content) for item in _odd_of(report)[1])


def held_words(report: RepairReported, content: Content) -> str:
    """Return in a few words whether the repair held, with the reasons if it did not."""
    reasons = " and ".join(why_not_sound(report, content))
    match held_of(report, content):
        case Held.YES:
            return f"held, with one reading just outside: {reasons}" if reasons else "held"
        case Held.NO:
            return f"did not hold, because {reasons}"
        case Held.NOT_PROVEN:
            return f"not proven: {reasons}" if reasons else "not proven"
        case Held.NOTHING_REPAIRED:
            parts = "though parts were replaced" if report.parts else "so nothing was repaired"
            return f"no fault found, {parts}{f'; {reasons}' if reasons else ''}"


def what_now(report: RepairReported, content: Content) -> tuple[str, ...]:
    """Return what to do after a repair that did not hold, or is not proven, and why."""
    held, just = held_of(report, content), just_outside(report, content)
    reasons = " and ".join(why_not_sound(report, content))
    look_again = f"Look at it again: {' and '.join(just)}." if just else ""
    match held:
        case Held.YES:
            if not just:
                return ()
            return (f"The repair held, with one reading just outside: {just[0]}. "
                    "Look at it again.",)  # fmt: skip
        case Held.NOT_PROVEN:
            not_told = (
                "Whether two good cycles followed is not reported: the repair is not proven until "
                "two, freeze and harvest, were watched. Watch two, and report again."
            )
            if report.had_two_good_cycles is None:
                return (not_told, *filter(None, (look_again,)))
            return (f"The repair is not proven: {' and '.join(just)}. Take each again, and report "
                    "again.",)  # fmt: skip
        case Held.NO:
            return (f"The repair did not hold, because {reasons}.", *_LEAVE_IT)
        case Held.NOTHING_REPAIRED:
            parts = "though parts were replaced" if report.parts else "so nothing was repaired"
            said = f"No fault was found, {parts}."
            if report.had_two_good_cycles is False or _odd_of(report)[0]:
                return (said, f"All the same the machine is not sound, because {reasons}.",
                        *_LEAVE_IT)  # fmt: skip
            return (said, *filter(None, (look_again,)))


def _is_no_fault(found: str, content: Content) -> bool:
    return found == FOUND_NO_FAULT or (found in content.causes and _is_sound(content.causes[found]))


def _odd_of(
    report: RepairReported,
) -> tuple[list[Mapping[str, Any]], list[Mapping[str, Any]]]:
    """Return the readings plainly out of order, and those only just out of their band."""
    odd: list[Mapping[str, Any]] = [
        item
        for item in report.readings
        if item.get("verdict") in _ODD_VERDICTS and item.get("reading") not in CONDITIONS
    ]
    return [item for item in odd if not is_just_out(item)], list(filter(is_just_out, odd))


def _odd_name(recorded: Mapping[str, Any], content: Content) -> str:
    reading = content.readings.get(str(recorded.get("reading")))
    return reading.name if reading else str(recorded.get("reading"))


def _odd_word(recorded: Mapping[str, Any]) -> str:
    verdict = recorded.get("verdict")
    return "not as it should be" if verdict == Verdict.OUTSIDE else f"{verdict} its band"


def _just_words(recorded: Mapping[str, Any], content: Content) -> str:
    return f"{_odd_name(recorded, content)} is just {recorded.get('verdict')} its band"
