"""Lists made from the events alone: for a store that had none yet.

SQLAlchemy is imported at the head here, so this module is reached only from inside functions.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from sqlalchemy import select
from sqlalchemy.engine import Connection, RowMapping

from triage.store import schema
from triage.store.errors import StoreError
from triage.store.lines import add_counts, kept_summary, register, save_line
from triage.store.listing import SessionSummary
from triage.store.rows import RowFault, from_row
from triage.store.summary import Counts, add_to, summarized

_EVENTS = schema.events


def fill_lists(connection: Connection) -> None:
    """Make register, lines and counts for every session that has no line; in order of starting."""
    firsts = connection.execute(
        select(_EVENTS.c.session_id, _EVENTS.c.hash)
        .where(_EVENTS.c.sequence == 1)
        .order_by(_EVENTS.c.recorded_at, _EVENTS.c.session_id)
    ).all()
    counts: Counts = {}
    for session_id, first_hash in firsts:
        if kept_summary(connection, session_id) is not None:
            continue
        rows = connection.execute(
            select(_EVENTS).where(_EVENTS.c.session_id == session_id).order_by(_EVENTS.c.sequence)
        ).mappings()
        summary, added = _as_far_as_readable(list(rows))
        register(connection, session_id, first_hash)
        save_line(connection, None, summary)
        add_to(counts, added)
    add_counts(connection, counts)


def _as_far_as_readable(
    rows: Sequence[RowMapping],
) -> tuple[SessionSummary, Counts]:
    """Return the summary up to the first damaged event: one bad event closes no store."""
    last = rows[-1]
    summary: SessionSummary | None = None
    counts: Counts = {}
    for row in rows:
        try:
            summary, added = summarized([from_row(row)], summary)
        except (RowFault, StoreError, ValueError):
            break
        add_to(counts, added)
    summary = summary or SessionSummary(str(last["session_id"]))
    return replace(summary, count=last["sequence"], head_hash=last["hash"]), counts
