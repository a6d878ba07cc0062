"""Which call to go on with, and whether to take it from the desk that may still have it."""

from __future__ import annotations

import argparse
import re
import sys
from collections.abc import Sequence
from datetime import datetime, timedelta
from typing import TYPE_CHECKING

from rich.text import Text

from triage.console.asked import UsageError
from triage.console.cards import Item
from triage.console.look import Margin, Prose, stack
from triage.console.overdue import broken_off, by_due
from triage.console.screen import screen_of
from triage.console.when import due_words, span_words
from triage.dialogue.events import Event, Resumed, Started
from triage.dialogue.standing import ago
from triage.dialogue.words import agreement, plain_text
from triage.store import open_store
from triage.store.errors import SessionAmbiguous, SessionNotFound, StoreError, StoreMissing
from triage.store.listing import OPEN, PARKED, STOPPED, SessionSummary
from triage.tree.content import Content

if TYPE_CHECKING:
    from triage.store.sql import Store

STILL_WARM = timedelta(minutes=30)
"""A call that was neither stopped nor parked so lately may still be held by its desk (judged)."""

STILL_HOT = timedelta(minutes=2)
"""One left so lately is most likely held, so that it is only taken over on a yes (judged)."""

_LISTED = 9


def may_go_on(options: argparse.Namespace, events: Sequence[Event], since: timedelta) -> bool:
    """Return whether to go on with a call that its desk neither stopped nor parked.

    `since` is how long ago its last line came. Says so where its desk may still be on; asks where
    that is most likely.
    """
    if since >= STILL_WARM:
        return True
    names = [event.agent for event in events if isinstance(event, (Started, Resumed))]
    who = f" ({plain_text(names[-1], 40)})" if names[-1] else ""
    lead = (
        f"The desk that had this call{who} neither stopped nor parked it; its last line came "
        f"{ago(since)}."
    )
    is_own = bool(options.agent) and options.agent.casefold() == names[-1].casefold()
    screen = screen_of(options)
    if is_own or since >= STILL_HOT:
        told = f"{lead} If it is still on, it is told that you went on."
        screen.print(Prose(Text(told, style="triage.outside")))
        return True
    screen.print(Prose(Text(lead, style="triage.outside")))
    while True:
        screen.print(Text("Take it over? yes or no", style="triage.ask"))
        try:
            said = agreement(input("> "))
        except EOFError:
            said = False
        if said is not None:
            break
    if not said:
        screen.print(Text("Left where it is."))
    return said


def chosen_session(options: argparse.Namespace, content: Content) -> str:
    """Return the session a person picks at the terminal; the first one waits longest.

    Raises UsageError off a terminal and where nothing is picked, SessionNotFound for no call.
    """
    if not (sys.stdin.isatty() and sys.stdout.isatty()):
        raise UsageError("name the call: triage resume ID; triage parked lists those that wait")
    now = datetime.now().astimezone()
    calls: list[SessionSummary] = []
    try:
        with open_store(options.store, must_exist=True) as store:
            calls = [*by_due(store.parked()), *broken_off(store, now)]
    except StoreMissing:
        if options.store is not None:
            raise
    if not calls:
        raise SessionNotFound(
            "no call is parked, and none broke off in the last 24 hours; triage log list shows "
            "all there are"
        )
    shown = calls[:_LISTED]
    screen = screen_of(options)
    more = len(calls) - len(shown)
    screen.print(
        stack(
            Text("Calls to go on with:", style="triage.heading"),
            *(
                Item(f"{call.session_id}  {in_short(call, content, now)}", f"{number} ")
                for number, call in enumerate(shown, 1)
            ),
            Text(f"and {more} more: triage parked lists them") if more else None,
        )
    )
    while True:
        screen.print(Text("Which one? Enter for 1, its number or id; no leaves.", "triage.ask"))
        try:
            typed = input("> ").strip()
        except EOFError:
            typed = "no"
        if agreement(typed) is False or typed.lower() in ("q", "quit", "stop"):
            raise UsageError("no call was picked, so none is gone on with")
        if not typed or agreement(typed):
            return shown[0].session_id
        if not typed.isdecimal() or len(typed) > 2:
            return typed
        if 1 <= int(typed) <= len(shown):
            return shown[int(typed) - 1].session_id
        screen.print(Margin("sorry", Text(f"There is no number {int(typed)}."), "triage.outside"))


def in_short(call: SessionSummary, content: Content | None, now: datetime) -> str:
    """Return who has a call, its machine, and why it waits or since when."""
    parts = [call.desk or call.agent or "no name", machine_of(call, content)]
    if call.state == PARKED:
        due = f" ({due_words(call.due_at, now)})" if call.due_at else ""
        parts.append(f"parked: {call.park_reason}{due}")
    elif call.result:
        parts.append(call.result)
    else:
        parts.append(f"{'stopped' if call.state == STOPPED else 'broke off'} {since(call, now)}")
    return plain_text(", ".join(parts), 200)


def machine_of(call: SessionSummary, content: Content | None) -> str:
    """Return a call's machine and its serial number in words."""
    machine = content.machines.get(call.machine) if content else None
    name = machine.name if machine else call.machine or call.refrigerant
    number = f"serial {call.serial_number}" if call.serial_number else ""
    return ", ".join(part for part in (name, number) if part) or "machine not known yet"


def since(call: SessionSummary, now: datetime) -> str:
    """Return how long ago the last line of a call came: `12 min ago`."""
    passed_s = (now - datetime.fromisoformat(call.last_at)).total_seconds()
    return f"{span_words(passed_s)} ago"


def is_warm(call: SessionSummary, now: datetime) -> bool:
    """Return whether a call that nobody stopped may still be on at its desk."""
    return call.state == OPEN and now - datetime.fromisoformat(call.last_at) < STILL_WARM


def told_apart(
    error: SessionAmbiguous, wanted: str, store: Store, content: Content | None
) -> SessionAmbiguous:
    """Return `error` with a line for each call it names: its agent, machine and reason."""
    wanted, now = wanted.strip().lower(), datetime.now().astimezone()
    lines = []
    for name in dict.fromkeys(re.findall(r"[\w-]+", error.what)):
        if name == wanted or not (name.startswith(wanted) or name.endswith(f"-{wanted}")):
            continue
        try:
            call = store.summary(name)
        except StoreError:
            continue
        lines.append(f"{name}: {in_short(call, content, now)}")
    return SessionAmbiguous("\n".join([str(error), *lines]))
