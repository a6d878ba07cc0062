"""The tables of the store as they are now.

How older stores get here is in `migrate.py`, what the database itself refuses in `guards.py`.
SQLAlchemy is imported at the head here, so this module is reached only from inside functions.
"""

from __future__ import annotations

from typing import Any, Final

from sqlalchemy import (
    BigInteger,
    Column,
    Float,
    Index,
    Integer,
    MetaData,
    Table,
    Text,
    text,
)
from sqlalchemy.dialects import postgresql
from sqlalchemy.engine import Connection

APPLICATION_ID: Final = 0x54524941
"""Written in the header of every SQLite file of ours ("TRIA"), to tell it from anyone else's."""

STEP: Final = 2
"""The step of the migrations that these tables stand at."""

metadata = MetaData()

# Byte order, so that ids and times sort and compare alike on both engines.
_ORDERED = Text().with_variant(postgresql.TEXT(collation="C"), "postgresql")
_NUMBER = BigInteger().with_variant(Integer, "sqlite")

# `step` is that of the program that wrote a row: one from before the last lifting would leave out
# what it does not know of, and is refused. Without a row id the key is the only way to a row: no
# replacing by row id around the triggers.
# `data` is text and not a JSON column, because a JSON column may rewrite numbers.
events = Table(
    "triage_events",
    metadata,
    Column("session_id", _ORDERED, primary_key=True),
    Column("sequence", Integer, primary_key=True, autoincrement=False),
    Column("recorded_at", _ORDERED, nullable=False),
    Column("speaker", Text, nullable=False),
    Column("content_version", Text, nullable=False),
    Column("event_format", Integer, nullable=False),
    Column("kind", Text, nullable=False),
    Column("data", Text, nullable=False),
    Column("previous_hash", Text, nullable=False),
    Column("hash", Text, nullable=False),
    Column("step", Integer, nullable=False, server_default=text("0")),
    sqlite_with_rowid=False,
)


def _chained(name: str, *columns: Column[Any]) -> Table:
    """A table whose rows follow one another: each `link` covers its row and the link before."""
    return Table(
        name,
        metadata,
        Column("position", _NUMBER, primary_key=True, autoincrement=False),
        Column("session_id", _ORDERED, nullable=False, unique=True),
        *columns,
        Column("previous_link", Text, nullable=False),
        Column("link", Text, nullable=False),
    )


# Which sessions there are, in the order in which they came, so that none can go unnoticed.
register = _chained("triage_register", Column("first_hash", Text, nullable=False))

# Whose events were deleted on purpose, by whom and why.
purges = _chained(
    "triage_purges",
    Column("purged_at", _ORDERED, nullable=False),
    Column("purged_by", Text, nullable=False),
    Column("reason", Text, nullable=False),
    Column("count", Integer, nullable=False),
    Column("head_hash", Text, nullable=False),
)

# One row a session, kept in the transaction that appends to it, so that lists and figures never
# read events. The key is the moment of starting, so the order of lists is that of the table.
sessions = Table(
    "triage_sessions",
    metadata,
    Column("number", _NUMBER, primary_key=True, autoincrement=False),
    Column("session_id", _ORDERED, nullable=False, unique=True),
    *(
        Column(name, _ORDERED, nullable=False)
        for name in (
            "started_at", "last_at", "head_hash", "tree", "agent", "desk", "voice",
            "content_version", "machine", "refrigerant", "serial_number", "serial_key", "state",
            "node", "last_kind", "result", "ending", "cause", "likeliest", "agreement", "due_at",
            "park_reason", "outcome", "reported_at", "words", "purged_at",
        )
    ),
    Column("count", Integer, nullable=False),
    Column("questions", Integer, nullable=False),
    Column("active_s", Float(53), nullable=False),
    Column("had_two_good_cycles", Integer),
    Column("previous_number", _NUMBER),
    Column("agent_key", _ORDERED, nullable=False),
    Column("desk_key", _ORDERED, nullable=False),
    Column("last_part", _ORDERED, nullable=False, index=True),
    Column("time_bin", Integer, nullable=False),
    # A turn changes no column that an index covers; with room on its page the row stays there.
    postgresql_with={"fillfactor": 70},
)  # fmt: skip

# What lists are narrowed by. Each index is in the order of the list and holds the other ones
# besides, so that where two let much through but little together, no line is read in vain.
_NARROWED_BY = (
    "agent_key", "desk_key", "machine", "refrigerant", "cause", "result", "outcome",
)  # fmt: skip
for _name in _NARROWED_BY:
    _others = (other for other in _NARROWED_BY if other != _name)
    Index(
        f"triage_sessions_by_{_name}",
        *(sessions.c[column] for column in (_name, "number", *_others)),
    )
Index(
    "triage_sessions_by_serial_key",
    sessions.c.serial_key,
    sessions.c.number,
    sqlite_where=text("serial_key <> ''"),
    postgresql_where=text("serial_key <> ''"),
)
Index(
    "triage_sessions_disagreeing",
    *(sessions.c[column] for column in ("agreement", "number", *_NARROWED_BY)),
    sqlite_where=text("agreement = 'disagree'"),
    postgresql_where=text("agreement = 'disagree'"),
)
# A server reckons that two filters let through their product, and would look for a call that has an
# outcome but no end, of which there may be none, in the whole list.
Index(
    "triage_sessions_reported_by_result",
    sessions.c.result,
    sessions.c.number,
    sqlite_where=text("outcome <> ''"),
    postgresql_where=text("outcome <> ''"),
)
Index(
    "triage_sessions_parked",
    sessions.c.state,
    sessions.c.due_at,
    sqlite_where=text("state = 'parked'"),
    postgresql_where=text("state = 'parked'"),
)

# For the figures, each with all that one of them groups by: read in order, without a line of the
# list and without sorting. None holds what a turn changes; `time_bin` is -1 until the call ends.
Index(
    "triage_sessions_times",
    *(sessions.c[_name] for _name in ("desk", "result", "time_bin", "number")),
)
for _name, _where, *_columns in (
    ("ended", "result <> ''", "result", "cause", "agreement", "serial_key", "number"),
    ("by_ending", "result <> ''", "result", "ending", "cause", "number"),
    (
        "reported", "outcome <> ''", "outcome", "result", "ending", "cause", "likeliest",
        "had_two_good_cycles", "desk", "number",
    ),
    ("followed", "previous_number IS NOT NULL", "previous_number", "number", "serial_key"),
):  # fmt: skip
    Index(
        f"triage_sessions_{_name}",
        *(sessions.c[column] for column in _columns),
        sqlite_where=text(_where),
        postgresql_where=text(_where),
    )

# How each question went, by month and desk: figures over a million calls in one short read.
question_months = Table(
    "triage_question_months",
    metadata,
    Column("month", _ORDERED, primary_key=True),
    Column("desk", _ORDERED, primary_key=True),
    Column("node", _ORDERED, primary_key=True),
    *(
        Column(name, _NUMBER, nullable=False)
        for name in ("asked", "unknown", "misunderstood", "looked", "refused")
    ),
    Column("seconds", Float(53), nullable=False),
)

# Text search in notes. Words were split by us, so both engines only look them up.
NOTES_TABLE: Final = "triage_notes"
WORDS_TABLE: Final = "triage_note_words"
"""In SQLite, all words there are and in how many notes each is."""
LONGEST_BEGINNING: Final = 3
"""Beginnings of words up to so many signs have lists of their own in SQLite."""
# Filled by the program and not by triggers: with the schema not trusted, as it should be in a
# file that anybody may have edited, SQLite lets no trigger write to a virtual table.
_SQLITE_NOTES = (
    f"""CREATE VIRTUAL TABLE {NOTES_TABLE} USING fts5(
        words, content='triage_sessions', content_rowid='number',
        tokenize="unicode61 remove_diacritics 0", detail=none, prefix='1 2 3')""",
    f"CREATE VIRTUAL TABLE {WORDS_TABLE} USING fts5vocab({NOTES_TABLE}, row)",
)
NOTES_INDEX: Final = (
    f"CREATE INDEX {NOTES_TABLE} ON triage_sessions USING gin (words_found) WHERE words <> ''"
)
_POSTGRESQL_NOTES = (
    """ALTER TABLE triage_sessions ADD COLUMN words_found tsvector
    GENERATED ALWAYS AS (array_to_tsvector(string_to_array(words, ' '))) STORED""",
    NOTES_INDEX,
)


def create_tables(connection: Connection) -> None:
    """Create all tables, indexes and the text search in a database that has none of them."""
    metadata.create_all(connection, checkfirst=False)
    create_search(connection)


def create_search(connection: Connection) -> None:
    """Create the text search over `triage_sessions`."""
    is_sqlite = connection.dialect.name == "sqlite"
    for statement in _SQLITE_NOTES if is_sqlite else _POSTGRESQL_NOTES:
        connection.exec_driver_sql(statement)
