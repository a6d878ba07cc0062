"""Lines of the list, kept in the transaction that appends the events they follow from.

SQLAlchemy is imported at the head here, so this module is reached only from inside functions.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import fields
from typing import Any

from sqlalchemy import Table, bindparam, func, literal_column, select, text, update
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
_SAME_MACHINE = select(func.max(_SESSIONS.c.number)).where(
    _SESSIONS.c.serial_key == bindparam("serial"),
    literal_column("triage_sessions.serial_key <> ''"),
)
_CHANGE = update(_SESSIONS).where(_SESSIONS.c.session_id == bindparam("changed"))
_FORGET_WORDS = text(
    f"INSERT INTO {schema.NOTES_TABLE}({schema.NOTES_TABLE}, rowid, words) "
    "VALUES ('delete', :number, :words)"
)
_FIND_WORDS = text(f"INSERT INTO {schema.NOTES_TABLE}(rowid, words) VALUES (:number, :words)")
_LINK_LOCKS = {
    _REGISTER.name: schema.APPLICATION_ID + 1,
    schema.purges.name: schema.APPLICATION_ID + 2,
}
_COUNTED = tuple(item.name for item in fields(NodeCounts))


def summary_of(row: RowMapping | Mapping[str, Any]) -> SessionSummary:
    """Return the summary that a row of `triage_sessions` holds."""
    values = {name: row[name] for name in FIELDS}
    cycles = values["had_two_good_cycles"]
    return SessionSummary(
        **values | {"had_two_good_cycles": None if cycles is None else cycles > 0}
    )


def kept_summary(
    connection: Connection, session_id: str, *, is_held: bool = False
) -> SessionSummary | None:
    """Return what the list says of a session, None if it does not have it.

    is_held: whether nobody else may change it until the transaction ends
    """
    statement = _KEPT.with_for_update() if is_held else _KEPT
    row = connection.execute(statement, {"wanted": session_id}).mappings().first()
    return None if row is None else summary_of(row)


def save_line(connection: Connection, before: SessionSummary | None, after: SessionSummary) -> None:
    """Bring the list's line of a session from `before` (None: a new one) to `after`.

    A new line gets the first free number from its own on. Another serial number makes it follow
    another call, and the calls behind it follow anew.
    """
    number = after.number
    if before is None:
        number = _insert_line(connection, row_of(after))
    else:
        old, new = row_of(before), row_of(after)
        changed = {name: value for name, value in new.items() if value != old[name]}
        if changed:
            connection.execute(_CHANGE.values(**changed), {"changed": after.session_id})
    _save_words(connection, number, before.words if before else "", after.words)
    serial_before = before.serial_key if before else ""
    if after.serial_key != serial_before:
        _follow(connection, number, call_before(connection, after.serial_key, number))
        for serial in (serial_before, after.serial_key):
            follow_anew(connection, serial, number)


def _insert_line(connection: Connection, values: dict[str, Any]) -> int:
    """Insert a line under the first free number from its own on, and return that."""
    statement = _insert(connection, _SESSIONS).on_conflict_do_nothing(index_elements=["number"])
    # Asked for in words: the count of rows of such an insert is not told by every driver.
    statement = statement.returning(_SESSIONS.c.number)
    while connection.execute(statement, values).first() is None:
        values["number"] += 1
    return int(values["number"])


def follow_anew(connection: Connection, serial: str, number: int) -> None:
    """Have the first call behind `number` on the same machine follow the one that is before it."""
    behind = _SAME_MACHINE.where(_SESSIONS.c.number > number).with_only_columns(
        func.min(_SESSIONS.c.number)
    )
    following = connection.execute(behind, {"serial": serial}).scalar() if serial else None
    if following is not None:
        _follow(connection, following, call_before(connection, serial, following))


def _follow(connection: Connection, number: int, earlier: int | None) -> None:
    statement = update(_SESSIONS).where(_SESSIONS.c.number == number)
    connection.execute(statement.values(previous_number=earlier))


def call_before(connection: Connection, serial: str, number: int) -> int | None:
    """Return the number of the last call before `number` on the same machine, None if none."""
    if not serial:
        return None
    before = _SAME_MACHINE.where(_SESSIONS.c.number < number)
    return connection.execute(before, {"serial": serial}).scalar()


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
    append_linked(connection, _REGISTER, {"session_id": session_id, "first_hash": first_hash})


def append_linked(connection: Connection, table: Table, row: Mapping[str, Any]) -> None:
    """Append `row` to a table whose rows follow one another."""
    if connection.dialect.name == "postgresql":
        # Calls that begin at once queue here until each other's commit; SQLite has one writer.
        connection.execute(select(func.pg_advisory_xact_lock(_LINK_LOCKS[table.name])))
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


def counts_in(row: Mapping[Any, Any]) -> NodeCounts:
    """Return the counts that a row of `triage_question_months` holds."""
    return NodeCounts(**{name: row[name] for name in _COUNTED})


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
        "last_part": summary.session_id.rpartition("-")[2],
        "time_bin": time_bin(summary.active_s) if summary.result else NOT_ENDED_BIN,
    }
