"""Rows of events read back and held against their hashes.

SQLAlchemy is imported at the head here, so this module is reached only from inside functions.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import Any

from sqlalchemy import Integer, Select, Text, and_, column, select, values
from sqlalchemy.engine import Connection, RowMapping

from triage.store import schema
from triage.store.listing import SessionSummary
from triage.store.record import StoredEvent, verify_chain, verify_event
from triage.store.rows import RowFault, from_row

_EVENTS = schema.events
_LOOKED_UP_AT_ONCE = 500
"""Lines whose events are looked up in one statement: databases take some 30 000 values in one."""


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


def _at(places: list[tuple[str, int]]) -> Select[Any]:
    """Return the statement for the events at some places, pairs of session id and sequence.

    A join and no list of pairs: for that, SQLite goes through all events there are.
    """
    ends = (
        values(column("session_id", Text), column("sequence", Integer), name="ends")
        .data(places)
        .cte("ends")
    )
    return select(_EVENTS).join_from(
        ends,
        _EVENTS,
        and_(_EVENTS.c.session_id == ends.c.session_id, _EVENTS.c.sequence == ends.c.sequence),
    )


def with_faults(connection: Connection, lines: Sequence[SessionSummary]) -> list[SessionSummary]:
    """Return `lines` with the fault of each whose first or last event is not as it was written."""
    found: dict[tuple[str, int], RowMapping] = {}
    kept = [line for line in lines if not line.purged_at]
    for first in range(0, len(kept), _LOOKED_UP_AT_ONCE):
        some = kept[first : first + _LOOKED_UP_AT_ONCE]
        ends = {(line.session_id, sequence) for line in some for sequence in (1, line.count)}
        for row in connection.execute(_at(sorted(ends))).mappings():
            found[row["session_id"], row["sequence"]] = row
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
