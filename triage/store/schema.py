"""The tables of the store, the triggers that keep them append-only, and the version they carry.

SQLAlchemy is imported at the head here, so this module is reached only from inside functions.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Final

from sqlalchemy import (
    Column,
    Index,
    Integer,
    MetaData,
    Table,
    Text,
    func,
    insert,
    inspect,
    select,
    text,
)
from sqlalchemy.dialects import postgresql
from sqlalchemy.engine import Connection

from triage.store.errors import StoreDamaged, StoreForeign, StoreNewer
from triage.store.record import FIRST_PREVIOUS_HASH

SCHEMA_VERSION: Final = 1
APPLICATION_ID: Final = 0x54524941
"""Written in the header of every SQLite file of ours ("TRIA"), to tell it from anyone else's."""

metadata = MetaData()

# Byte order, so that ids and times sort and compare alike on both engines.
_ORDERED = Text().with_variant(postgresql.TEXT(collation="C"), "postgresql")

schema_version = Table(
    "triage_schema_version",
    metadata,
    Column("version", Integer, primary_key=True, autoincrement=False),
)

# Without a row id the key is the only way to a row: no replacing by row id around the triggers.
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
    sqlite_with_rowid=False,
)

Index(
    "triage_events_started",
    events.c.recorded_at,
    events.c.session_id,
    sqlite_where=text("sequence = 1"),
    postgresql_where=text("sequence = 1"),
)
Index(
    "triage_events_concluded",
    events.c.kind,  # constant here, but without it SQLite prefers to walk through the session
    events.c.session_id,
    events.c.sequence,
    sqlite_where=text("kind = 'concluded'"),
    postgresql_where=text("kind = 'concluded'"),
)

_NOT_NEXT = f"""
    NEW.sequence <> coalesce(
        (SELECT max(sequence) FROM triage_events WHERE session_id = NEW.session_id), 0) + 1
    OR NEW.previous_hash <> coalesce(
        (SELECT hash FROM triage_events WHERE session_id = NEW.session_id
         ORDER BY sequence DESC LIMIT 1), '{FIRST_PREVIOUS_HASH}')
"""

# The trigger before an insert also stops INSERT OR REPLACE, which fires no delete trigger.
_SQLITE_TRIGGERS: tuple[str, ...] = (
    f"""CREATE TRIGGER triage_events_insert BEFORE INSERT ON triage_events WHEN {_NOT_NEXT}
    BEGIN SELECT RAISE(ABORT, 'triage_events: not the next event of its session'); END""",
    """CREATE TRIGGER triage_events_update BEFORE UPDATE ON triage_events
    BEGIN SELECT RAISE(ABORT, 'triage_events is append-only'); END""",
    """CREATE TRIGGER triage_events_delete BEFORE DELETE ON triage_events
    BEGIN SELECT RAISE(ABORT, 'triage_events is append-only'); END""",
)

# The functions keep the search path of their creation: they look at the table beside them.
_POSTGRESQL_TRIGGERS: tuple[str, ...] = (
    f"""CREATE FUNCTION triage_events_insert() RETURNS trigger LANGUAGE plpgsql
    SET search_path FROM CURRENT AS $$ BEGIN
        IF {_NOT_NEXT} THEN
            RAISE EXCEPTION 'triage_events: not the next event of its session'
                USING ERRCODE = 'unique_violation';
        END IF;
        RETURN NEW;
    END $$""",
    """CREATE FUNCTION triage_events_refuse() RETURNS trigger LANGUAGE plpgsql AS $$ BEGIN
        RAISE EXCEPTION 'triage_events is append-only' USING ERRCODE = 'restrict_violation';
    END $$""",
    """CREATE TRIGGER triage_events_insert BEFORE INSERT ON triage_events
    FOR EACH ROW EXECUTE FUNCTION triage_events_insert()""",
    """CREATE TRIGGER triage_events_change BEFORE UPDATE OR DELETE ON triage_events
    FOR EACH ROW EXECUTE FUNCTION triage_events_refuse()""",
    """CREATE TRIGGER triage_events_truncate BEFORE TRUNCATE ON triage_events
    FOR EACH STATEMENT EXECUTE FUNCTION triage_events_refuse()""",
)

UPGRADES: Mapping[int, Callable[[Connection], None]] = {}
"""For each older version, the step that lifts a store from it to the next one."""


def create(connection: Connection) -> None:
    """Create tables, indexes, triggers and the version in an empty database."""
    metadata.create_all(connection, checkfirst=False)
    if connection.dialect.name == "sqlite":
        connection.exec_driver_sql(f"PRAGMA application_id = {APPLICATION_ID}")
        triggers = _SQLITE_TRIGGERS
    else:
        triggers = _POSTGRESQL_TRIGGERS
    for statement in triggers:
        connection.exec_driver_sql(statement)
    connection.execute(insert(schema_version).values(version=SCHEMA_VERSION))


def version_of(connection: Connection, location: str) -> int | None:
    """Return the version the store carries, at most SCHEMA_VERSION; None if there is no store.

    Raises StoreNewer, StoreDamaged if no step of UPGRADES leads on from the version found, and
    StoreForeign if a table of our name is there without our version.
    """
    # A SQLite file was told to be ours by its header, so there a missing table is damage. Elsewhere
    # the events are looked for first: another desk may be creating all tables at once just now, and
    # who sees its events sees its version afterwards.
    has_events = connection.dialect.name != "sqlite" and _has_table(connection, events.name)
    if connection.dialect.name != "sqlite" and not _has_table(connection, schema_version.name):
        if has_events:
            raise StoreForeign(
                f"{location} has a table {events.name} that this program did not make; name "
                "another database or schema"
            )
        return None
    found = connection.execute(select(func.max(schema_version.c.version))).scalar()
    if isinstance(found, int) and found > SCHEMA_VERSION:
        raise StoreNewer(
            f"{location} was written by a newer version (store version {found}, this version "
            f"knows up to {SCHEMA_VERSION}); update triage, or name another store with --store"
        )
    if not isinstance(found, int) or any(
        step not in UPGRADES for step in range(found, SCHEMA_VERSION)
    ):
        raise StoreDamaged(
            f"{location} carries store version {found}, which no version had; restore a backup"
        )
    return found


def bring_up_to_date(connection: Connection, location: str) -> None:
    """Create the store if there is none, else lift it to SCHEMA_VERSION, in one transaction.

    Raises what `version_of` raises.
    """
    if connection.dialect.name == "postgresql":
        # Desks that start together wait for one another here; SQLite has its writer's lock.
        connection.exec_driver_sql(f"SELECT pg_advisory_xact_lock({APPLICATION_ID})")
    found = version_of(connection, location)
    if found is None:
        create(connection)
        return
    for version in range(found, SCHEMA_VERSION):
        UPGRADES[version](connection)
        connection.execute(insert(schema_version).values(version=version + 1))


def _has_table(connection: Connection, name: str) -> bool:
    # Reads the catalog along the search path. to_regclass would not do: it may answer from before
    # the lock, out of the server's own cache.
    return inspect(connection).has_table(name)
