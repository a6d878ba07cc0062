"""`triage outcome`: what the repair of a call found, put on record behind the call."""

from __future__ import annotations

import argparse
import json
import sys
from collections.abc import Iterable, Sequence
from dataclasses import replace
from datetime import UTC, datetime
from typing import Any

from rich.text import Text

from triage.console.asked import UsageError
from triage.console.call import content_of, started_of, stored_session
from triage.console.look import Prose
from triage.console.repair_card import repair_card
from triage.console.screen import screen_of
from triage.console.telling import Telling
from triage.dialogue.after_repair import (
    AfterRepair,
    as_recorded,
    judged_after_repair,
    read_after_repair,
)
from triage.dialogue.case import Case, fold
from triage.dialogue.events import Answered, RepairReported
from triage.dialogue.found import found_in
from triage.dialogue.names import find_exact
from triage.dialogue.repair import (
    compared,
    flaw_of,
    found_word,
    held_of,
    is_just_out,
    is_other_than_concluded,
    missing_parts,
    no_parts_words,
    parts_in,
    parts_together,
    what_now,
    why_not_sound,
)
from triage.dialogue.result import finding_data
from triage.dialogue.words import plain_text, quoted
from triage.exits import DONE, INTERRUPTED, NO_RECOMMENDATION
from triage.review.outcome_talk import RepairTalk, settled_reading
from triage.review.questions import Left, Questions
from triage.store import open_store
from triage.store.errors import SessionMoved
from triage.tree.content import Content
from triage.tree.errors import nearest

SPEAKER = "repair report"
"""Who speaks in the event; the person is in the report itself."""

_CYCLES = {"yes": True, "no": False, "unknown": None, None: None}
_LONGEST_PART = 200
_LONGEST_NAME = 80
_OFFERED = 3


def record_outcome(options: argparse.Namespace) -> int:
    """Append a report of the repair to a session and show it; return the exit code.

    Without options it asks at a terminal, and keeps nothing that was not shown back and confirmed.
    With options it asks there about what is not clear; elsewhere that is refused.
    Raises UsageError for what cannot be used, StoreError where it cannot be kept.
    """
    is_told = bool(options.found or options.part or options.reading or options.note)
    is_told = is_told or options.good_cycles is not None
    is_terminal = not options.json and sys.stdin.isatty() and sys.stdout.isatty()
    if not is_told and not is_terminal:
        raise UsageError(
            "say what the repair found: --found CAUSE (or no_fault_found, other_fault), and "
            "--part, --good-cycles, --reading, --note; without any it asks at a terminal"
        )
    session_id, stored = stored_session(options)
    events = [item.event for item in stored]
    started_of(events)
    content = content_of(options)
    case = fold(events)
    if options.units:
        case = replace(case, units=options.units)
    questions = _questions_of(options) if is_terminal else None
    try:
        if case.concluded is None and not options.although_open:
            _settle_open(session_id, questions)
        if is_told or questions is None:
            report, judged = reported(options, content, case, questions)
        else:
            report, judged = RepairTalk(content, case, questions, options.by).hold(), ()
    except (KeyboardInterrupt, EOFError, Left) as error:
        screen_of(options).print(Text("Nothing was kept."))
        return INTERRUPTED if isinstance(error, KeyboardInterrupt) else NO_RECOMMENDATION
    _keep(options, session_id, report, content, len(stored))
    if options.json:
        told = _as_json(session_id, report, judged, content, case)
        sys.stdout.write(json.dumps(told, indent=2, ensure_ascii=False) + "\n")
        return DONE
    console = screen_of(options)
    if is_told:  # otherwise it was shown before it was confirmed
        console.print(repair_card(report, Telling(content, case)))
    again = " It takes the place of the report before; both stay on record." if case.repair else ""
    console.print(Prose(Text(f"Kept with session {session_id}.{again}", style="triage.hint")))
    return DONE


def _questions_of(options: argparse.Namespace) -> Questions:
    from triage.review.questions import line_asker

    console = screen_of(options)
    return Questions(console, line_asker(console))


def _settle_open(session_id: str, questions: Questions | None) -> None:
    """Ask whether to report on a call without an end; raises UsageError where nobody can say."""
    if questions is None:
        raise UsageError(
            f"the call of session {session_id} has not come to its end, so nothing was kept; end "
            f"it first with: triage resume {session_id} (or report all the same with "
            "--although-open)"
        )
    is_meant = questions.yes_or_no(
        "This call has not come to its end: there is no conclusion to hold the repair against. "
        "Report on it all the same?",
        f"no keeps nothing; triage resume {session_id} leads the call to its end.",
    )
    if not is_meant:
        raise Left


def reported(
    options: argparse.Namespace, content: Content, case: Case, questions: Questions | None = None
) -> tuple[RepairReported, tuple[AfterRepair, ...]]:
    """Return the report that the options are, with its readings judged.

    What is not clear is asked with `questions`. Raises UsageError where there are none, and Left
    where the person would rather keep nothing.
    """
    concluded = case.concluded.causes if case.concluded else ()
    found = tuple(
        dict.fromkeys(found_named(text, content, concluded, questions) for text in options.found)
    )
    note = plain_text(options.note)
    flaw = flaw_of(found, note)
    if flaw is not None:
        raise UsageError(f"{flaw.value}; see triage outcome --help")
    parts = [part for text in options.part for part in _parts(text, content, found)]
    answers = _answers(options.reading, content, case)
    judged = _not_odd(options, content, case, answers, questions)
    report = RepairReported(
        found,
        tuple(parts),
        _CYCLES[options.good_cycles],
        as_recorded(judged),
        note,
        plain_text(options.by, _LONGEST_NAME),
    )
    return report, judged


def _parts(text: str, content: Content, found: Sequence[str]) -> tuple[str, ...]:
    """Return the parts a text names; "all" are those that the repair replaces together."""
    plain = plain_text(text, _LONGEST_PART)
    if plain.casefold() != "all":
        return parts_in(plain)
    together = parts_together(content, found)
    if not together:
        raise UsageError(f"--part all: {plain_text(no_parts_words(content, found))}")
    return together


def found_named(
    text: str, content: Content, first: Sequence[str] = (), questions: Questions | None = None
) -> str:
    """Return the cause id, or other word, that `text` means, asked for if it is not clear.

    first: cause ids that come first among what may be meant. Raises UsageError with the nearest.
    """
    found = found_in(text, content, first)
    if found.id is not None:
        return found.id
    if found.near and questions is not None:
        chosen = questions.which_fault(text, found.near, content)
        if chosen is not None:
            return chosen
    if found.near:
        near = " or ".join(f"{one} ({found_word(one, content)})" for one in found.near[:_OFFERED])
        raise UsageError(f"no cause is called {quoted(text)}; did you mean {near}?")
    hint = nearest(text, content.causes)
    known = ", ".join(content.causes)
    raise UsageError(
        f"no cause is called {quoted(text)}{hint or f'; causes: {known}'}"
        " (or no_fault_found, other_fault)"
    )


def _not_odd(
    options: argparse.Namespace,
    content: Content,
    case: Case,
    answers: Sequence[Answered],
    questions: Questions | None,
) -> tuple[AfterRepair, ...]:
    """Return the readings judged, none of them odd unless that was accepted.

    Raises UsageError for an odd one that nobody can be asked about.
    """
    settled: list[Answered] = []
    for answer in answers:
        if questions is None or options.accept_odd_readings:
            settled.append(answer)
            continue
        meant = settled_reading(content, case, answer, settled, questions)
        if meant is None:
            raise Left
        settled.append(meant)
    judged = judged_after_repair(content, case, settled)
    for item in judged if questions is None or options.accept_odd_readings else ():
        if not item.doubt:
            continue
        said = f"{item.finding.reading.id}: {plain_text(item.doubt)}"
        if not options.accept_odd_readings:
            raise UsageError(
                f"--reading {said} Nothing was kept; give the right value, or "
                "--accept-odd-readings if it was read so"
            )
        sys.stderr.write(f"triage: kept as given: {said}\n")
    return judged


def _answers(texts: Iterable[str], content: Content, case: Case) -> list[Answered]:
    """Return the readings given as ID=VALUE; a later one of the same id counts."""
    answers: dict[str, Answered] = {}
    for text in texts:
        name, is_given, typed = text.partition("=")
        if not is_given or not typed.strip():
            raise UsageError(
                f"--reading {quoted(text)} is no ID=VALUE; write it as "
                '"harvest_suction_pressure=120 psi at 1 min"'
            )
        reading_id = _reading_named(name.strip(), content)
        answer = read_after_repair(content, case, reading_id, plain_text(typed))
        if isinstance(answer, str):
            raise UsageError(f"--reading {reading_id}: {plain_text(answer)}")
        answers[reading_id] = answer
    return list(answers.values())


def _reading_named(text: str, content: Content) -> str:
    names = {item.id: (item.id, item.name) for item in content.readings.values()}
    found = find_exact(text, names).id
    if found is None:
        raise UsageError(
            f"no reading is called {quoted(text)}{nearest(text, names)}; use an id of readings.yaml"
        )
    return found


def _keep(
    options: argparse.Namespace, session_id: str, report: RepairReported, content: Content,
    length: int,
) -> None:  # fmt: skip
    with open_store(options.store, must_exist=True) as store:
        try:
            store.append(
                session_id, [(SPEAKER, report)], content.version, datetime.now(UTC), length
            )
        except SessionMoved as error:
            raise SessionMoved(
                f"another desk has added to session {session_id} meanwhile, so this report was "
                "not kept; look at it with triage log show, then report again"
            ) from error


def _as_json(
    session_id: str,
    report: RepairReported,
    judged: Sequence[AfterRepair],
    content: Content,
    case: Case,
) -> dict[str, Any]:
    concluded = case.concluded
    return {
        "session_id": session_id,
        "found": list(report.found),
        "parts": list(report.parts),
        "had_two_good_cycles": report.had_two_good_cycles,
        "readings": [
            {
                **finding_data(case, item.finding),
                "unit_assumed": item.unit_assumed or None,
                "only_just_outside": is_just_out(recorded),
            }
            for item, recorded in zip(judged, report.readings, strict=True)
        ],
        "note": report.note,
        "reported_by": report.reported_by,
        "concluded": list(concluded.causes) if concluded else [],
        "comparison": compared(concluded, report.found, content).value,
        "found_other_than_concluded": is_other_than_concluded(concluded, report, content),
        "held": held_of(report, content).value,
        "because": list(why_not_sound(report, content)),
        "missing_parts": list(missing_parts(content, report.found, report.parts)),
        "what_now": list(what_now(report, content)),
        "takes_the_place_of_an_earlier_report": case.repair is not None,
    }
