"""Which version a store carries, and how an older one is lifted, in one transaction.

The steps are Alembic's; Alembic is loaded only where there is something to lift. SQLAlchemy is
imported at the head here, so this module is reached only from inside functions.
"""

from __future__ import annotations

import re
from pathlib import Path
from typing import TYPE_CHECKING, Final

from sqlalchemy import inspect, text
from sqlalchemy.engine import Connection

from triage.store import schema
from triage.store.errors import StoreDamaged, StoreForeign, StoreNewer, shown
from triage.store.guards import create_guards, drop_guards

HEAD: Final = f"{schema.STEP:04}"
"""The step that the tables of this version stand at."""

VERSION_TABLE: Final = "triage_migration"
BEFORE_STEPS: Final = "triage_schema_version"
"""Where stores carried their version before there were steps; programs of that time look there."""

if TYPE_CHECKING:
    from alembic.runtime.migration import RevisionStep

_FIRST: Final = "0001"
_STEPS = Path(__file__).parent / "migrations"


def create(connection: Connection) -> None:
    """Create a whole store of this version in an empty database."""
    schema.create_tables(connection)
    if connection.dialect.name == "sqlite":
        connection.exec_driver_sql(f"PRAGMA application_id = {schema.APPLICATION_ID}")
    create_guards(connection)
    connection.exec_driver_sql(
        f"CREATE TABLE {BEFORE_STEPS} (version INTEGER NOT NULL, PRIMARY KEY (version))"
    )
    connection.exec_driver_sql(f"INSERT INTO {BEFORE_STEPS} VALUES ({int(HEAD)})")
    connection.exec_driver_sql(
        f"CREATE TABLE {VERSION_TABLE} (version_num VARCHAR(32) NOT NULL, "
        f"CONSTRAINT {VERSION_TABLE}_pkc PRIMARY KEY (version_num))"
    )
    connection.exec_driver_sql(f"INSERT INTO {VERSION_TABLE} VALUES ('{HEAD}')")


def version_of(connection: Connection, location: str) -> str | None:
    """Return the step the store stands at, at most HEAD; None if there is no store.

    Raises StoreNewer, StoreDamaged if no version had what is found, and StoreForeign if a table of
    our name is there without our version.
    """
    # A SQLite file was told to be ours by its header, so there a missing table is damage. Elsewhere
    # the events are looked for first: another desk may be creating all tables at once just now, and
    # who sees its events sees its version afterwards.
    is_sqlite = connection.dialect.name == "sqlite"
    has_events = not is_sqlite and _has_table(connection, schema.events.name)
    if _has_table(connection, VERSION_TABLE):
        found = connection.execute(text(f"SELECT version_num FROM {VERSION_TABLE}")).scalar()
    elif is_sqlite or _has_table(connection, BEFORE_STEPS):
        found = connection.execute(text(f"SELECT max(version) FROM {BEFORE_STEPS}")).scalar()
        found = f"{found:04}" if isinstance(found, int) else found
    elif has_events:
        raise StoreForeign(
            f"{location} has a table {schema.events.name} that this program did not make; name "
            "another database or schema"
        )
    else:
        return None
    if not isinstance(found, str) or not re.fullmatch("[0-9]{4}", found) or found < _FIRST:
        raise StoreDamaged(
            f"{location} carries store version {shown(found)}, which no version had; restore a "
            "backup"
        )
    if found > HEAD:
        raise StoreNewer(
            f"{location} was written by a newer version (store version {int(found)}, this version "
            f"knows up to {int(HEAD)}); update triage, or name another store with --store"
        )
    return found


def bring_up_to_date(connection: Connection, location: str) -> None:
    """Create the store if there is none, else lift it to HEAD; within the caller's transaction.

    Raises what `version_of` raises, and StoreDamaged where an event cannot be read.
    """
    if connection.dialect.name == "postgresql":
        # Desks that start together wait for one another here; SQLite has its writer's lock.
        connection.exec_driver_sql(f"SELECT pg_advisory_xact_lock({schema.APPLICATION_ID})")
    found = version_of(connection, location)
    if found is None:
        create(connection)
    elif found != HEAD:
        lift(connection, found)


def lift(connection: Connection, found: str | None, to: str = HEAD) -> None:
    """Run the steps from `found` up to `to`, then renew guards and lists.

    found: the step the store stands at, None for an empty database
    """
    from alembic.operations import Operations
    from alembic.runtime.migration import MigrationContext
    from alembic.script import ScriptDirectory

    if connection.dialect.name == "postgresql" and found is not None:
        # Where the tables are, which may be another place than the first of the search path.
        place = connection.execute(
            text(
                "SELECT quote_ident(nspname) FROM pg_class JOIN pg_namespace ON "
                "pg_namespace.oid = relnamespace WHERE pg_class.oid = 'triage_events'::regclass"
            )
        ).scalar_one()
        connection.execute(text(f"SET LOCAL search_path = {place}"))
    steps = ScriptDirectory(str(_STEPS))
    options = {"version_table": VERSION_TABLE}
    if found is not None and not _has_table(connection, VERSION_TABLE):
        MigrationContext.configure(connection, opts=options).stamp(steps, found)

    def upgrade(revision: str, _context: MigrationContext) -> list[RevisionStep]:
        return steps._upgrade_revs(to, revision)

    context = MigrationContext.configure(connection, opts={**options, "fn": upgrade})
    with Operations.context(context):
        context.run_migrations()
    if to == HEAD:
        from triage.store.fill import fill_lists

        drop_guards(connection)
        create_guards(connection)
        fill_lists(connection)


def _has_table(connection: Connection, name: str) -> bool:
    # Reads the catalog along the search path. to_regclass would not do: it may answer from before
    # the lock, out of the server's own cache.
    return inspect(connection).has_table(name)
