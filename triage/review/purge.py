"""`triage log purge`: what was said in old calls deleted, the rest still provable."""

from __future__ import annotations

import argparse
import json
import sys
from collections.abc import Sequence
from datetime import UTC, datetime

from rich.text import Text

from triage.console.asked import UsageError
from triage.console.screen import screen_of
from triage.dialogue.words import counted, plain_text
from triage.exits import BAD_STORE, DONE, NO_RECOMMENDATION
from triage.review.filters import day_of
from triage.store import open_store
from triage.store.errors import StoreMissing

CONFIRMATION = "purge"
"""The word to type; nothing shorter will do."""


def purge_calls(options: argparse.Namespace) -> int:
    """Purge the calls the options name, once confirmed in words; return the exit code.

    0 if done or nothing was to do, 1 if it was not confirmed. Raises UsageError for a day to come
    or without a terminal to confirm at, and StoreError.
    """
    before = day_of(options.before, "--before")
    now = datetime.now(UTC)
    if before is None or before > now:
        raise UsageError("--before is a day to come; purge calls last touched before a past day")
    try:
        store = open_store(options.store, must_exist=True)
    except StoreMissing:
        if options.store is not None:
            raise
        return _told(options, 0, 0, (), is_wiped=True)
    with store:
        waiting = store.count_purgeable(before)
        if waiting and not options.yes and not _is_confirmed(options, waiting, before):
            screen_of(options).print("Nothing was purged.")
            return NO_RECOMMENDATION
        # Also where no call is left: a purge that was interrupted may have more to clear away.
        purged = store.purge(before, options.by, options.reason, now)
    return _told(options, purged.calls, purged.events, purged.damaged, is_wiped=purged.is_wiped)


def _is_confirmed(options: argparse.Namespace, waiting: int, before: datetime) -> bool:
    if options.json or not (sys.stdin.isatty() and sys.stdout.isatty()):
        raise UsageError("a purge cannot be undone; confirm it at a terminal, or give --yes")
    console = screen_of(options)
    console.print(
        Text(
            f"{counted(waiting, 'call')} last touched before {before:%Y-%m-%d %H:%M} UTC. What was "
            "said in them will be deleted for good; a line without names stays for the figures.",
            style="triage.caution",
        )
    )
    console.print(Text(f"Type {CONFIRMATION} to go on, anything else to leave it."))
    return input("> ").strip().lower() == CONFIRMATION


def _told(
    options: argparse.Namespace,
    calls: int,
    events: int,
    damaged: Sequence[str],
    *,
    is_wiped: bool,
) -> int:
    code = BAD_STORE if damaged else DONE
    if options.json:
        told = {
            "purged_sessions": calls,
            "deleted_events": events,
            "damaged_sessions": list(damaged),
            "is_wiped": is_wiped,
        }
        sys.stdout.write(json.dumps(told, indent=2) + "\n")
        return code
    before = plain_text(options.before, 40)
    words = (
        f"Purged {counted(calls, 'call')} with {events:,} events. triage log verify proves what is "
        "left."
        if calls
        else f"No sound call was last touched before {before}; nothing to purge."
        if damaged
        else f"No call was last touched before {before}; nothing to purge."
    )
    if not is_wiped:
        words += (
            " Another program was reading, so the file still holds bytes of them; run the same "
            "command again once it has ended."
        )
    if damaged:
        words += (
            f" {counted(len(damaged), 'damaged call')} left as found: {', '.join(damaged)}. What "
            "was done to them must not go with them; triage log verify names it."
        )
    screen_of(options).print(Text(plain_text(words, 2000)))
    return code
