"""`triage log list` and `triage log show`: stored calls, read back."""

from __future__ import annotations

import argparse
import json
import sys
from datetime import datetime

from rich.table import Table
from rich.text import Text

from triage.console.call import content_of, engine_of, started_of, stored_session
from triage.console.screen import screen_of
from triage.console.transcript import transcript
from triage.dialogue.case import fold
from triage.dialogue.result import result_of
from triage.dialogue.words import plain_text
from triage.store import open_store
from triage.store.errors import StoreMissing
from triage.store.listing import SessionSummary

_ID_WIDTH = 18
"""Columns of a session id."""


def list_calls(options: argparse.Namespace) -> int:
    """Print a line for each stored call, the latest first."""
    console = screen_of(options)
    try:
        with open_store(options.store, must_exist=True) as store:
            sessions = store.sessions(limit=options.most)
    except StoreMissing:
        if options.store is not None:  # a slip of the hand, more likely than an empty record
            raise
        sessions = []
    if not sessions:
        console.print("No call is stored yet; triage call takes one.")
        return 0
    table = Table(box=None, pad_edge=False, collapse_padding=True, header_style="triage.heading")
    # An id is there to be copied, so it is never broken; the rest gives way.
    table.add_column("session", no_wrap=True, overflow="ignore", min_width=_ID_WIDTH)
    table.add_column("started (UTC)", no_wrap=True)
    table.add_column("events", no_wrap=True, justify="right")
    for heading in ("agent", "ended"):
        table.add_column(heading, overflow="fold")
    for session in sessions:
        table.add_row(
            *(
                Text(plain_text(str(cell)))
                for cell in (
                    session.session_id,
                    str(session.started_at)[:16].replace("T", " "),
                    session.count,
                    session.agent or "-",
                    _ended(session),
                )
            )
        )
    console.print(table)
    return 0


def _ended(session: SessionSummary) -> str:
    if session.fault:
        return f"DAMAGED: {session.fault}"
    return session.result or f"open ({session.last_kind})"


def show_call(options: argparse.Namespace) -> int:
    """Print one stored call as it was on the screen, or as one JSON object."""
    session_id, stored = stored_session(options)
    events = [item.event for item in stored]
    engine = engine_of(content_of(options), started_of(events).tree)
    if options.json:
        result = result_of(engine, session_id, fold(events))
        sys.stdout.write(json.dumps(result, indent=2, ensure_ascii=False) + "\n")
        return 0
    spoken = [
        (datetime.fromisoformat(item.recorded_at), item.speaker, item.event) for item in stored
    ]
    screen_of(options).print(transcript(engine, spoken, with_times=True))
    return 0
