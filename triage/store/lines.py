"""Lines of the list, kept in the transaction that appends the events they follow from.

SQLAlchemy is imported at the head here, so this module is reached only from inside functions.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import fields, replace
from typing import Any

from sqlalchemy import Table, bindparam, func, select, text, update
from sqlalchemy.dialects import postgresql, sqlite
from sqlalchemy.engine import Connection, RowMapping
from sqlalchemy.sql.dml import Insert

from triage.store import schema
from triage.store.links import FIRST_PREVIOUS_LINK, linked
from triage.store.listing import SessionSummary
from triage.store.summary import CountKey, NodeCounts
from triage.store.tallies import NOT_ENDED_BIN, time_bin

_SESSIONS = schema.sessions
_MONTHS = schema.question_months
_REGISTER = schema.register

FIELDS = tuple(item.name for item in fields(SessionSummary) if item.name != "fault")
"""Fields of a summary that have a column of their name."""

COLUMNS = [_SESSIONS.c[name] for name in FIELDS]

_KEPT = select(*COLUMNS).where(_SESSIONS.c.session_id == bindparam("wanted"))
_EARLIER_CALL = select(func.max(_SESSIONS.c.number)).where(
    _SESSIONS.c.serial_number == bindparam("serial"),
    _SESSIONS.c.serial_number != "",
    _SESSIONS.c.number < bindparam("number"),
)
_CHANGE = update(_SESSIONS).where(_SESSIONS.c.session_id == bindparam("changed"))
_FORGET_WORDS = text(
    f"INSERT INTO {schema.NOTES_TABLE}({schema.NOTES_TABLE}, rowid, words) "
    "VALUES ('delete', :number, :words)"
)
_FIND_WORDS = text(f"INSERT INTO {schema.NOTES_TABLE}(rowid, words) VALUES (:number, :words)")
_REGISTER_LOCK = schema.APPLICATION_ID + 1
_COUNTED = ("asked", "unknown", "misunderstood", "looked", "seconds")


def summary_of(row: RowMapping | Mapping[str, Any]) -> SessionSummary:
    """Return the summary that a row of `triage_sessions` holds."""
    values = {name: row[name] for name in FIELDS}
    cycles = values["had_two_good_cycles"]
    return SessionSummary(
        **values | {"had_two_good_cycles": None if cycles is None else cycles > 0}
    )


def kept_summary(connection: Connection, session_id: str) -> SessionSummary | None:
    """Return what the list says of a session, None if it does not have it."""
    row = connection.execute(_KEPT, {"wanted": session_id}).mappings().first()
    return None if row is None else summary_of(row)


def save_line(connection: Connection, before: SessionSummary | None, after: SessionSummary) -> None:
    """Bring the list's line of a session from `before` (None: a new one) to `after`.

    A new line gets the first free number from its own on; a serial number looks up the call before.
    """
    if after.serial_number and (before is None or before.serial_number != after.serial_number):
        wanted = {"serial": after.serial_number, "number": after.number}
        earlier = connection.execute(_EARLIER_CALL, wanted).scalar()
        after = replace(after, previous_number=earlier)
    values = row_of(after)
    if before is None:
        statement = _insert(connection, _SESSIONS).on_conflict_do_nothing(index_elements=["number"])
        # Asked for in words: the count of rows of such an insert is not told by every driver.
        statement = statement.returning(_SESSIONS.c.number)
        while connection.execute(statement, values).first() is None:
            values["number"] += 1
        _save_words(connection, values["number"], "", after.words)
        return
    _save_words(connection, after.number, before.words, after.words)
    old = row_of(before)
    changed = {name: value for name, value in values.items() if value != old[name]}
    if changed:
        connection.execute(_CHANGE.values(**changed), {"changed": after.session_id})


def _save_words(connection: Connection, number: int, before: str, after: str) -> None:
    """Keep SQLite's text search in step; PostgreSQL does so by itself."""
    if connection.dialect.name != "sqlite" or before == after:
        return
    if before:
        connection.execute(_FORGET_WORDS, {"number": number, "words": before})
    if after:
        connection.execute(_FIND_WORDS, {"number": number, "words": after})


def forget_words(connection: Connection, summary: SessionSummary) -> None:
    """Take the words of a line out of SQLite's text search, before its line is blanked."""
    _save_words(connection, summary.number, summary.words, "")


def register(connection: Connection, session_id: str, first_hash: str) -> None:
    """Put a new session behind the last one in the register."""
    if connection.dialect.name == "postgresql":
        # Calls that begin at once queue here until each other's commit; SQLite has one writer.
        connection.execute(select(func.pg_advisory_xact_lock(_REGISTER_LOCK)))
    append_linked(connection, _REGISTER, {"session_id": session_id, "first_hash": first_hash})


def append_linked(connection: Connection, table: Table, row: Mapping[str, Any]) -> None:
    """Append `row` to a table whose rows follow one another."""
    last = connection.execute(
        select(table.c.position, table.c.link).order_by(table.c.position.desc()).limit(1)
    ).first()
    position, link = (0, FIRST_PREVIOUS_LINK) if last is None else last
    connection.execute(table.insert().values(**linked(position + 1, link, row)))


def add_counts(connection: Connection, counts: Mapping[CountKey, NodeCounts]) -> None:
    """Add to the counts of questions by month and desk."""
    if not counts:
        return
    statement = _insert(connection, _MONTHS)
    statement = statement.on_conflict_do_update(
        index_elements=["month", "desk", "node"],
        set_={name: _MONTHS.c[name] + statement.excluded[name] for name in _COUNTED},
    )
    # In one order on every desk: two that count the same never wait for each other in a ring.
    rows = [
        {"month": month, "desk": desk, "node": node}
        | {name: getattr(added, name) for name in _COUNTED}
        for (month, desk, node), added in sorted(counts.items())
    ]
    connection.execute(statement, rows)


def _insert(connection: Connection, table: Table) -> Any:
    """An insert that can say what to do where the row is there already."""
    is_sqlite = connection.dialect.name == "sqlite"
    made: Insert = sqlite.insert(table) if is_sqlite else postgresql.insert(table)
    return made


def row_of(summary: SessionSummary) -> dict[str, Any]:
    """Return the row of `triage_sessions` that holds a summary."""
    values = {name: getattr(summary, name) for name in FIELDS}
    cycles = summary.had_two_good_cycles
    return values | {
        "had_two_good_cycles": None if cycles is None else int(cycles),
        "agent_key": summary.agent.casefold(),
        "desk_key": summary.desk.casefold(),
        "time_bin": time_bin(summary.active_s) if summary.result else NOT_ENDED_BIN,
    }
