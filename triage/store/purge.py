"""Deleting what was said in old calls, so that what stays can still be proved whole.

SQLAlchemy is imported at the head here, so this module is reached only from inside functions.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from sqlalchemy import ColumnElement, and_, delete, func, select, update
from sqlalchemy.engine import Connection, Engine

from triage.store import schema
from triage.store.lines import (
    COLUMNS,
    add_counts,
    append_linked,
    counts_in,
    follow_anew,
    forget_words,
    summary_of,
)
from triage.store.listing import SessionSummary, storable
from triage.store.reading import events_in, rows_of
from triage.store.summary import Counts, add_to

_EVENTS, _LINES, _MONTHS = schema.events, schema.sessions, schema.question_months

AT_ONCE = 200
"""Sessions purged in one transaction: a desk that waits for the lock waits for no more."""

BLANKED = dict.fromkeys(
    (
        "agent", "agent_key", "desk", "desk_key", "serial_number", "serial_key", "park_reason",
        "words",
    ),
    "",
)  # fmt: skip
"""What of a line may name a person; a serial number names a customer's machine."""


@dataclass(frozen=True, slots=True)
class Purged:
    """How many calls and events are gone, and whether the file holds nothing of them any more.

    `damaged` are calls left as they are: what was done to them must not go with them.
    """

    calls: int
    events: int
    is_wiped: bool
    damaged: tuple[str, ...] = ()


def purgeable(connection: Connection, before: str, limit: int, behind: int) -> list[SessionSummary]:
    """Return calls last touched before a moment (UTC, ISO 8601) that are not purged yet.

    behind: only those of a greater number
    They are held until the transaction ends: no desk goes on with one that is being purged.
    """
    statement = (
        select(*COLUMNS)
        .where(_is_due(before), _LINES.c.number > behind)
        .order_by(_LINES.c.number)
        .limit(limit)
    ).with_for_update()
    return [summary_of(row) for row in connection.execute(statement).mappings()]


def count_purgeable(connection: Connection, before: str) -> int:
    """Return how many calls `purgeable` would give [count]."""
    statement = select(func.count()).select_from(_LINES).where(_is_due(before))
    return int(connection.execute(statement).scalar_one())


def _is_due(before: str) -> ColumnElement[bool]:
    # Both times, as a clock set back may have stamped the last event before the first.
    return and_(_LINES.c.last_at < before, _LINES.c.started_at < before, _LINES.c.purged_at == "")


def sound_and_damaged(
    connection: Connection, lines: Sequence[SessionSummary]
) -> tuple[list[SessionSummary], list[str]]:
    """Return the lines whose events are all as they were written, and the ids of the others."""
    rows = rows_of(connection, [line.session_id for line in lines])
    sound: list[SessionSummary] = []
    damaged: list[str] = []
    for line in lines:
        stored, fault = events_in(rows.get(line.session_id, []))
        is_whole = not fault and stored and stored[-1].hash == line.head_hash
        if is_whole and len(stored) == line.count:
            sound.append(line)
        else:
            damaged.append(line.session_id)
    return sound, damaged


def purge_lines(
    connection: Connection, lines: Sequence[SessionSummary], by: str, reason: str, now: str
) -> int:
    """Delete the events of these calls and what names people in their lines; return how many.

    Each is put on the list of purges first: without that the database lets no event be deleted. Its
    number of events and last hash stay, so the chain of purges and register can still be checked.
    """
    deleted = 0
    for line in lines:
        append_linked(
            connection,
            schema.purges,
            {
                "session_id": line.session_id,
                "purged_at": now,
                "purged_by": storable(by),
                "reason": storable(reason),
                "count": line.count,
                "head_hash": line.head_hash,
            },
        )
        forget_words(connection, line)
        connection.execute(
            update(_LINES)
            .where(_LINES.c.session_id == line.session_id)
            .values(purged_at=now, previous_number=None, **BLANKED)
        )
        follow_anew(connection, line.serial_key, line.number)
        deleted += connection.execute(
            delete(_EVENTS).where(_EVENTS.c.session_id == line.session_id)
        ).rowcount
    return deleted


def blank_months(connection: Connection, before: str) -> None:
    """Merge the counts of whole months before a moment over all desks, whose names go."""
    is_old = (_MONTHS.c.month < before[:7]) & (_MONTHS.c.desk != "")
    rows = connection.execute(select(_MONTHS).where(is_old)).mappings().all()
    connection.execute(delete(_MONTHS).where(is_old))
    merged: Counts = {}
    for row in rows:
        key = (row["month"], "", row["node"])
        counts = counts_in(row)
        add_to(merged, {key: counts})
    add_counts(connection, merged)


def wipe(engine: Engine) -> bool:
    """Have a SQLite file overwrite what was deleted; return whether nothing of it is left.

    Not while another program reads: its view is kept for it. A server overwrites in its own time
    (VACUUM).
    """
    if engine.dialect.name != "sqlite":
        return True
    with engine.connect() as connection:
        file = connection.connection.driver_connection
        if file is None:
            return True
        table = schema.NOTES_TABLE
        file.execute(f"INSERT INTO {table}({table}) VALUES ('optimize')")
        file.execute("VACUUM")
        is_busy: int = file.execute("PRAGMA wal_checkpoint(TRUNCATE)").fetchone()[0]
        return not is_busy
