"""Rows of events read back and held against their hashes.

SQLAlchemy is imported at the head here, so this module is reached only from inside functions.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

from sqlalchemy import select, tuple_
from sqlalchemy.engine import Connection, RowMapping

from triage.store import schema
from triage.store.listing import SessionSummary
from triage.store.record import StoredEvent, verify_chain, verify_event
from triage.store.rows import RowFault, from_row

_EVENTS = schema.events


def rows_of(connection: Connection, session_ids: Sequence[str]) -> dict[str, list[RowMapping]]:
    """Return the rows of several sessions in order, by session."""
    found: dict[str, list[RowMapping]] = {}
    rows = connection.execute(
        select(_EVENTS)
        .where(_EVENTS.c.session_id.in_(session_ids))
        .order_by(_EVENTS.c.session_id, _EVENTS.c.sequence)
    ).mappings()
    for row in rows:
        found.setdefault(row["session_id"], []).append(row)
    return found


def events_in(rows: Sequence[RowMapping]) -> tuple[list[StoredEvent], str]:
    """Return the events of a session and the first fault among them, "" if there is none."""
    try:
        stored = [from_row(row) for row in rows]
    except RowFault as error:
        return [], str(error)
    return stored, verify_chain(stored) or ""


def with_faults(connection: Connection, lines: Sequence[SessionSummary]) -> list[SessionSummary]:
    """Return `lines` with the fault of each whose first or last event is not as it was written."""
    ends = {
        (line.session_id, sequence)
        for line in lines
        if not line.purged_at
        for sequence in (1, line.count)
    }
    if not ends:
        return list(lines)
    statement = select(_EVENTS).where(
        tuple_(_EVENTS.c.session_id, _EVENTS.c.sequence).in_(sorted(ends))
    )
    found = {
        (row["session_id"], row["sequence"]): row
        for row in connection.execute(statement).mappings()
    }
    return [
        line if line.purged_at else replace(line, fault=_fault_of_ends(line, found))
        for line in lines
    ]


def _fault_of_ends(line: SessionSummary, found: Mapping[tuple[str, int], RowMapping]) -> str:
    for sequence in (1, line.count):
        row = found.get((line.session_id, sequence))
        if row is None:
            return f"event {sequence} is missing"
        try:
            fault = verify_event(from_row(row))
        except RowFault as error:
            fault = str(error)
        if fault is None and sequence == line.count and row["hash"] != line.head_hash:
            fault = f"event {sequence} is not the one the list knows"
        if fault is not None:
            return fault
    return ""
