"""`triage log list` and `triage log show`: stored calls, read back."""

from __future__ import annotations

import argparse
import json
import shlex
import sys
from collections.abc import Sequence
from dataclasses import asdict
from datetime import datetime
from typing import Any

from rich.table import Table
from rich.text import Text

from triage.console.call import content_of, engine_of, started_of, stored_session
from triage.console.screen import screen_of
from triage.console.transcript import transcript
from triage.dialogue.case import fold
from triage.dialogue.result import result_of
from triage.dialogue.words import plain_text
from triage.review.filters import filter_of
from triage.store import open_store
from triage.store.errors import StoreMissing
from triage.store.listing import OPEN_RESULT, SessionFilter, SessionSummary
from triage.tree.content import Content

_ID_WIDTH = 18
"""Columns of a session id."""

_NOT_LISTED = ("head_hash", "words")


def list_calls(options: argparse.Namespace) -> int:
    """Print a line for each stored call that the filters let through, the latest first."""
    console = screen_of(options)
    content = content_of(options)
    where = filter_of(options, content)
    before: int | None = None
    try:
        with open_store(options.store, must_exist=True) as store:
            if options.before:
                before = store.summary(store.resolve(options.before)).number
            # One more than is shown tells whether there is a next page.
            lines = store.sessions(options.most + 1, before, where)
    except StoreMissing:
        if options.store is not None:  # a slip of the hand, more likely than an empty record
            raise
        lines = []
    shown, has_more = lines[: options.most], len(lines) > options.most
    if options.json:
        told = {"sessions": [_as_data(line) for line in shown], "has_more": has_more}
        sys.stdout.write(json.dumps(told, indent=2, ensure_ascii=False) + "\n")
        return 0
    if not shown:
        is_whole = where == SessionFilter() and before is None
        none = "No call is stored yet; triage call takes one."
        console.print(
            none if is_whole else "No call fits. Leave out a filter, or look further back."
        )
        return 0
    console.print(_table(shown, content))
    if has_more:
        # To be copied: a command that the screen broke would not run.
        more = Text(f"More: {_next_page(options, shown[-1])}", style="triage.hint")
        console.print(more, soft_wrap=True)
    return 0


def _table(lines: Sequence[SessionSummary], content: Content) -> Table:
    table = Table(box=None, pad_edge=False, collapse_padding=True, header_style="triage.heading")
    # An id is there to be copied, so it is never broken; the rest gives way.
    table.add_column("session", no_wrap=True, overflow="ignore", min_width=_ID_WIDTH)
    table.add_column("started (UTC)", no_wrap=True)
    for heading in ("agent", "machine", "how it stands"):
        table.add_column(heading, overflow="fold")
    for line in lines:
        machine = content.machines.get(line.machine)
        cells = (
            line.session_id,
            line.started_at[:16].replace("T", " "),
            line.agent or "-",
            machine.name if machine else line.machine or line.refrigerant or "-",
            standing(line, content),
        )
        table.add_row(*(Text(plain_text(cell)) for cell in cells))
    return table


def standing(line: SessionSummary, content: Content) -> str:
    """Return how a call stands, in a few words: its end, what was concluded, what was found."""
    if line.fault:
        return f"DAMAGED: {line.fault}"
    words = line.result or f"open ({line.last_kind})"
    if line.cause:
        words += f": {_cause(line.cause, content)}"
    if line.agreement == "disagree":
        words += "; path and ranking disagree"
    if line.outcome:
        words += f"; found: {_cause(line.outcome, content)}"
    return f"{words}; purged {line.purged_at[:10]}" if line.purged_at else words


def _cause(cause_id: str, content: Content) -> str:
    cause = content.causes.get(cause_id)
    return cause.name if cause else cause_id.replace("_", " ")


def _as_data(line: SessionSummary) -> dict[str, Any]:
    values = {name: value for name, value in asdict(line).items() if name not in _NOT_LISTED}
    return values | {"result": line.result or OPEN_RESULT}


def _next_page(options: argparse.Namespace, last: SessionSummary) -> str:
    """Return the command that goes on behind `last`."""
    said = ["triage", "log", "list"]
    for name in ("store", "trees", "since", "until", "agent", "machine", "refrigerant", "serial",
                 "conclusion", "result", "outcome", "text"):  # fmt: skip
        if value := getattr(options, name):
            said += [f"--{name}", str(value)]
    said += ["--disagreement"] if options.disagreement else []
    said += ["--most", str(options.most), "--before", last.session_id]
    return plain_text(shlex.join(said))


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
