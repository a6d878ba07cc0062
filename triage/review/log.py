"""`triage log list` and `triage log show`: stored calls, read back."""

from __future__ import annotations

import argparse
import json
import os
import shlex
import sys
from collections.abc import Sequence
from dataclasses import asdict
from datetime import datetime
from typing import Any

from rich.console import RenderableType
from rich.table import Table
from rich.text import Text

from triage.console.call import content_of, engine_of, started_of, stored_session
from triage.console.cards import Item
from triage.console.look import ChatConsole, look_of, stack
from triage.console.screen import screen_of
from triage.console.transcript import transcript
from triage.dialogue.case import fold
from triage.dialogue.result import result_of
from triage.dialogue.words import plain_text
from triage.review.call_line import machine_of, standing, who
from triage.review.filters import filter_of
from triage.store import open_store
from triage.store.errors import StoreMissing
from triage.store.listing import OPEN_RESULT, SessionFilter, SessionSummary
from triage.store.record import SESSION_ID_LENGTH
from triage.tree.content import Content

_NOT_LISTED = ("head_hash", "words")

_TABLE_WIDTH = 100
"""Columns from which the list is a table; below, two lines or three a call."""


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
    console.print(_listed(console, shown, content))
    if has_more:
        # To be copied: a command that the screen broke would not run.
        more = Text(f"More: {_next_page(options, shown[-1])}", style="triage.hint")
        console.print(more, soft_wrap=True)
    return 0


def _listed(
    console: ChatConsole, lines: Sequence[SessionSummary], content: Content
) -> RenderableType:
    is_wide = console.width >= _TABLE_WIDTH and not look_of(console).is_plain
    return _table(lines, content) if is_wide else _blocks(lines, content)


def _table(lines: Sequence[SessionSummary], content: Content) -> Table:
    table = Table(box=None, pad_edge=False, collapse_padding=True, header_style="triage.heading")
    # An id is there to be copied, so it is never broken; the rest gives way.
    table.add_column("session", no_wrap=True, overflow="ignore", min_width=SESSION_ID_LENGTH)
    table.add_column("started (UTC)", no_wrap=True)
    for heading in ("agent", "machine", "how it stands"):
        table.add_column(heading, overflow="fold")
    for line in lines:
        table.add_row(*(Text(cell) for cell in _cells(line, content)))
    return table


def _blocks(lines: Sequence[SessionSummary], content: Content) -> RenderableType:
    parts: list[RenderableType] = []
    for line in lines:
        session, started, agent, machine, stands = _cells(line, content)
        parts.append(Text(f"{session}  {started} UTC  {agent}"))
        parts.append(Item(f"{machine}; {stands}" if machine != "-" else stands, "  "))
    return stack(*parts)


def _cells(line: SessionSummary, content: Content) -> tuple[str, ...]:
    cells = (
        line.session_id,
        line.started_at[:16].replace("T", " "),
        who(line) or "-",
        machine_of(line, content) or "-",
        standing(line, content),
    )
    return tuple(map(plain_text, cells))


def _as_data(line: SessionSummary) -> dict[str, Any]:
    values = {name: value for name, value in asdict(line).items() if name not in _NOT_LISTED}
    return values | {"result": line.result or OPEN_RESULT}


def _next_page(options: argparse.Namespace, last: SessionSummary) -> str:
    """Return the command that goes on behind `last`."""
    said = ["triage", "log", "list"]
    said += store_words(options.store)
    for name in ("trees", "since", "until", "agent", "machine", "refrigerant", "serial",
                 "conclusion", "result", "outcome", "text"):  # fmt: skip
        if value := getattr(options, name):
            said += [f"--{name}", str(value)]
    said += ["--disagreement"] if options.disagreement else []
    said += ["--most", str(options.most), "--before", last.session_id]
    return plain_text(shlex.join(said))


def store_words(target: str | None) -> list[str]:
    """Return the option that names the store again, without any password.

    What the environment names is named again by itself. Of an address the options are left out as
    well: one may hold a password.
    """
    if target is None or target == os.environ.get("TRIAGE_STORE"):
        return []
    if "://" in target:
        from sqlalchemy.engine import make_url

        from triage.store.server import address_of

        target = address_of(make_url(target))
    return ["--store", target]


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
