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
from triage.dialogue.case import Case, fold
from triage.dialogue.events import Answered, RepairReported
from triage.dialogue.names import find_exact
from triage.dialogue.repair import (
    AfterRepair,
    as_recorded,
    compared,
    flaw_of,
    found_in,
    found_word,
    held_of,
    judged_after_repair,
    missing_parts,
    parts_in,
    parts_together,
    read_after_repair,
    what_now,
)
from triage.dialogue.result import finding_data
from triage.dialogue.words import plain_text, quoted
from triage.exits import DONE, INTERRUPTED, NO_RECOMMENDATION
from triage.store import open_store
from triage.store.errors import SessionMoved
from triage.tree.content import Content
from triage.tree.errors import nearest

SPEAKER = "repair report"
"""Who speaks in the event; the person is in the report itself."""

_CYCLES = {"yes": True, "no": False, "unknown": None, None: None}
_LONGEST_PART = 200
_LONGEST_NAME = 80


def record_outcome(options: argparse.Namespace) -> int:
    """Append a report of the repair to a session and show it; return the exit code.

    Without options it asks at a terminal, and keeps nothing that was not shown back and confirmed.
    Raises UsageError for what cannot be used, StoreError where it cannot be kept.
    """
    is_told = bool(options.found or options.part or options.reading or options.note)
    is_told = is_told or options.good_cycles is not None
    if not is_told and (options.json or not (sys.stdin.isatty() and sys.stdout.isatty())):
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
    judged: tuple[AfterRepair, ...] = ()
    if is_told:
        report, judged = reported(options, content, case)
    else:
        asked = _asked(options, content, case)
        if not isinstance(asked, RepairReported):
            return asked
        report = asked
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


def reported(
    options: argparse.Namespace, content: Content, case: Case
) -> tuple[RepairReported, tuple[AfterRepair, ...]]:
    """Return the report that the options are, with its readings judged; raises UsageError."""
    found = tuple(dict.fromkeys(found_named(text, content) for text in options.found))
    note = plain_text(options.note)
    flaw = flaw_of(found, note)
    if flaw is not None:
        raise UsageError(f"{flaw.value}; see triage outcome --help")
    parts = [part for text in options.part for part in _parts(text, content, found)]
    answers = _answers(options.reading, content, case)
    judged = judged_after_repair(content, case, answers)
    for item in judged:
        if item.doubt:
            name = item.finding.reading.id
            sys.stderr.write(f"triage: {name} is kept as given, but: {plain_text(item.doubt)}\n")
    report = RepairReported(
        found,
        tuple(parts),
        _CYCLES[options.good_cycles],
        as_recorded(item.finding for item in judged),
        note,
        plain_text(options.by, _LONGEST_NAME),
    )
    return report, judged


def _parts(text: str, content: Content, found: Sequence[str]) -> tuple[str, ...]:
    """Return the parts a text names; "all" are those that the repair replaces together."""
    together = parts_together(content, found)
    plain = plain_text(text, _LONGEST_PART)
    return together if together and plain.casefold() == "all" else parts_in(plain)


def found_named(text: str, content: Content) -> str:
    """Return the cause id, or other word, that `text` means; raises UsageError with the nearest."""
    found = found_in(text, content)
    if found.id is not None:
        return found.id
    if found.near:
        near = " or ".join(f"{one} ({found_word(one, content)})" for one in found.near[:3])
        raise UsageError(f"no cause is called {quoted(text)}; did you mean {near}?")
    hint = nearest(text, content.causes)
    known = ", ".join(content.causes)
    raise UsageError(
        f"no cause is called {quoted(text)}{hint or f'; causes: {known}'}"
        " (or no_fault_found, other_fault)"
    )


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


def _asked(options: argparse.Namespace, content: Content, case: Case) -> RepairReported | int:
    """Ask for the report at the terminal; return it, or the exit code if nothing is to be kept."""
    from triage.review.outcome_talk import RepairTalk, line_asker

    console = screen_of(options)
    talk = RepairTalk(content, case, console, line_asker(console), options.by)
    try:
        report = talk.hold()
    except KeyboardInterrupt:
        console.print(Text("Nothing was kept."))
        return INTERRUPTED
    except EOFError:
        report = None
    if report is None:
        console.print(Text("Nothing was kept."))
        return NO_RECOMMENDATION
    return report


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
        "readings": [finding_data(case, item.finding) for item in judged],
        "note": report.note,
        "reported_by": report.reported_by,
        "concluded": list(concluded.causes) if concluded else [],
        "comparison": compared(concluded, report.found, content).value,
        "held": held_of(report).value,
        "missing_parts": list(missing_parts(content, report.found, report.parts)),
        "what_now": list(what_now(report, content)),
        "takes_the_place_of_an_earlier_report": case.repair is not None,
    }
