"""`triage log verify`: the record proved whole, or what was done to it, named."""

from __future__ import annotations

import argparse
import json
import re
import sys
from typing import TYPE_CHECKING

from rich.text import Text

from triage.console.asked import UsageError
from triage.console.screen import screen_of
from triage.dialogue.words import plain_text
from triage.exits import BAD_STORE, DONE
from triage.review.progress import progress_bar
from triage.store import open_store
from triage.store.errors import StoreMissing
from triage.tree.errors import quoted

if TYPE_CHECKING:
    from triage.store.verify import Verified

_WAY_OUT = (
    "Restore a backup, and find out who could write to the record. Until then take no figure and "
    "no call named here for true."
)


def verify_record(options: argparse.Namespace) -> int:
    """Print what was found wrong with the record, or one session; return 0, or 4 if anything.

    Raises UsageError for a mark that is none, and StoreError where the record cannot be read.
    """
    against = (options.against or "").strip()
    if against and not re.fullmatch(r"[0-9]{1,18}-[0-9a-f]{16}", against):
        raise UsageError(
            f"{quoted(against)} is no mark; triage log verify prints one, such as "
            "12-0123456789abcdef"
        )
    if against and options.session:
        raise UsageError("a mark is of the whole record; leave out the session, or --against")
    try:
        with open_store(options.store, must_exist=True) as store:
            if options.session:
                found = store.verify_session(store.resolve(options.session))
            else:
                with progress_bar("Sessions proved") as progress:
                    found = store.verify(against, progress)
    except StoreMissing:
        if options.store is not None or options.session:
            raise
        screen_of(options).print("No call is stored yet; there is nothing to prove.")
        return DONE
    if options.json:
        _print_json(found)
    else:
        _print(options, found)
    return BAD_STORE if found.faults else DONE


def _print(options: argparse.Namespace, found: Verified) -> None:
    console = screen_of(options)
    for fault in found.faults:
        where = f"session {fault.session_id}: " if fault.session_id else ""
        line = Text(f"{fault.harm.value.upper()}: ", style="triage.stop")
        line.append(plain_text(f"{where}{fault.words}", 500), style="none")
        console.print(line)
    looked = f"{_counted(found.sessions, 'session')}, {_counted(found.events, 'event')}"
    looked += f", {found.purged} purged" if found.purged else ""
    if found.faults:
        console.print(Text(f"{looked}: {_counted(len(found.faults), 'fault')}. {_WAY_OUT}"))
        return
    console.print(Text(f"{looked}: whole. Nothing was altered, dropped, moved or put in."))
    if found.mark:
        console.print(
            Text(
                f"Mark: {found.mark}. Keep it outside this record: triage log verify --against "
                "with it shows later that no session up to here was taken away.",
                style="triage.hint",
            )
        )


def _print_json(found: Verified) -> None:
    told = {
        "is_whole": not found.faults,
        "sessions": found.sessions,
        "events": found.events,
        "purged": found.purged,
        "mark": found.mark,
        "faults": [
            {
                "session_id": fault.session_id,
                "sequence": fault.sequence,
                "harm": fault.harm.value,
                "words": fault.words,
            }
            for fault in found.faults
        ],
    }
    sys.stdout.write(json.dumps(told, indent=2, ensure_ascii=False) + "\n")


def _counted(number: int, what: str) -> str:
    return f"{number:,} {what}" if number == 1 else f"{number:,} {what}s"
