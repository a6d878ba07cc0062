"""Older stores are lifted whole, and come to the same tables as a new one."""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from datetime import timedelta
from pathlib import Path
from typing import Any

import pytest
from alembic.script import ScriptDirectory
from sqlalchemy import create_engine, insert, inspect, text
from sqlalchemy.engine import Connection, Engine

from tests.store.samples import CALL, CONTENT, NOW, SESSION, STARTED
from triage.dialogue.events import Event, Noted
from triage.store import migrate, schema
from triage.store.errors import StoreDamaged, StoreForeign, StoreNewer
from triage.store.guards import create_guards, drop_guards
from triage.store.open import open_store
from triage.store.record import StoredEvent, chain
from triage.store.rows import to_row

LATER = "20261125-1000-bbbb"
NOTED: Sequence[tuple[str, Event]] = (("bot", STARTED), ("agent", Noted("fan rattles")))


@contextmanager
def engine_on(target: str) -> Iterator[Engine]:
    """A bare engine on a file or server, with no store made yet."""
    if "://" in target:
        engine = create_engine(target)
    else:
        Path(target).parent.mkdir(parents=True)
        with sqlite3.connect(target) as file:
            file.execute(f"PRAGMA application_id = {schema.APPLICATION_ID}")
            file.execute("PRAGMA journal_mode = WAL")
        engine = create_engine(f"sqlite:///{target}")
    try:
        yield engine
    finally:
        engine.dispose()


def records_of_old() -> list[list[StoredEvent]]:
    """Two sessions, the second one started first."""
    return [
        chain(SESSION, CALL, CONTENT, NOW, 0, "0" * 64),
        chain(LATER, NOTED, CONTENT, NOW - timedelta(hours=1), 0, "0" * 64),
    ]


@pytest.fixture
def old_target(lasting_target: str) -> str:
    """A store as it was before there were steps, with two calls in it."""
    with engine_on(lasting_target) as engine, engine.begin() as connection:
        migrate.lift(connection, None, to="0001")
        connection.execute(text("DROP TABLE triage_migration"))
        for records in records_of_old():
            connection.execute(insert(schema.events), [to_row(record) for record in records])
    return lasting_target


def shape_of(connection: Connection) -> dict[str, Any]:
    """Tables with columns, keys and indexes; triggers and functions by name and text."""
    looked = inspect(connection)
    tables = {
        name: (
            [(column["name"], str(column["type"])) for column in looked.get_columns(name)],
            looked.get_pk_constraint(name)["constrained_columns"],
            sorted(str(item["name"]) for item in looked.get_indexes(name)),
        )
        for name in looked.get_table_names()
    }
    if connection.dialect.name == "sqlite":
        triggers = connection.execute(
            text("SELECT name, sql FROM sqlite_master WHERE type = 'trigger' ORDER BY name")
        )
    else:
        triggers = connection.execute(
            text(
                "SELECT tgname, prosrc FROM pg_trigger JOIN pg_proc ON pg_proc.oid = tgfoid "
                "WHERE NOT tgisinternal AND pronamespace = current_schema()::regnamespace "
                "ORDER BY tgname"
            )
        )
    return {"tables": tables, "triggers": [tuple(row) for row in triggers]}


def test_an_older_store_is_lifted_with_all_that_is_in_it(old_target: str) -> None:
    for _ in range(2):
        with open_store(old_target) as store:
            assert store.events(SESSION) == records_of_old()[0]
            assert store.events(LATER) == records_of_old()[1]
            lines = store.sessions()
            assert [(line.session_id, line.result, line.words, line.fault) for line in lines] == [
                (SESSION, "recommended", "", ""),
                (LATER, "", "fan rattles", ""),
            ]
    with open_store(old_target) as store:
        store.append(SESSION, [("agent", Noted("done"))], CONTENT, NOW, len(CALL))
        assert store.summary(SESSION).count == len(CALL) + 1


def test_a_lifted_store_has_the_shape_of_a_new_one(
    old_target: str, server_address: str, tmp_path: Path
) -> None:
    is_file = "://" not in old_target
    new_target = str(tmp_path / "new" / "store.db") if is_file else ":memory:"
    with open_store(old_target) as old, old._engine.connect() as connection:
        lifted = shape_of(connection)
        if is_file:
            with open_store(new_target) as new, new._engine.connect() as other:
                assert shape_of(other) == lifted
            return
        # The same server, one schema: made anew in place of what was lifted.
        migrate_schema = connection.execute(text("SELECT current_schema()")).scalar_one()
    with engine_on(old_target) as engine, engine.begin() as connection:
        connection.execute(text(f"DROP SCHEMA {migrate_schema} CASCADE"))
        connection.execute(text(f"CREATE SCHEMA {migrate_schema}"))
    with open_store(old_target) as new, new._engine.connect() as connection:
        assert shape_of(connection) == lifted


def test_one_damaged_event_closes_no_older_store(old_target: str) -> None:
    with engine_on_existing(old_target) as engine, engine.begin() as connection:
        drop = "DROP TRIGGER triage_events_insert"
        is_file = connection.dialect.name == "sqlite"
        connection.execute(text(drop if is_file else f"{drop} ON triage_events"))
        row = to_row(chain("20261125-1100-cccc", CALL, CONTENT, NOW, 0, "0" * 64)[0])
        connection.execute(insert(schema.events), row | {"data": "{"})
    with open_store(old_target) as store:
        assert len(store.sessions()) == 3
        assert store.events(SESSION) == records_of_old()[0]
        with pytest.raises(StoreDamaged, match="event 1 was changed"):
            store.events("20261125-1100-cccc")


@contextmanager
def engine_on_existing(target: str) -> Iterator[Engine]:
    engine = create_engine(target if "://" in target else f"sqlite:///{target}")
    try:
        yield engine
    finally:
        engine.dispose()


def test_the_last_step_is_the_one_new_stores_are_made_at() -> None:
    steps = ScriptDirectory(str(migrate._STEPS))
    assert steps.get_heads() == [migrate.HEAD]


@pytest.mark.parametrize("found", ["0000", "2", "ahead", ""])
def test_a_version_nobody_had_is_damage(lasting_target: str, found: str) -> None:
    with open_store(lasting_target) as store, store._engine.begin() as connection:
        connection.execute(text("UPDATE triage_migration SET version_num = :it"), {"it": found})
    with pytest.raises(StoreDamaged, match=r"which no version had; restore a backup"):
        open_store(lasting_target)


def test_tables_of_somebody_else_are_left_alone(server_address: str) -> None:
    engine = create_engine(server_address)
    with engine.begin() as connection:
        connection.execute(text("CREATE TABLE triage_events (mine integer)"))
    with pytest.raises(StoreForeign, match="that this program did not make"):
        open_store(server_address)
    engine.dispose()


def test_a_program_from_before_the_lifting_writes_nothing_more(old_target: str) -> None:
    """It would leave out the line and the register, so the database refuses its events."""
    with open_store(old_target) as store:
        next_ = chain(SESSION, [("x", Noted("old"))], CONTENT, NOW, len(CALL),
                      store.events(SESSION)[-1].hash)[0]  # fmt: skip
        new = chain("20261125-1200-dddd", NOTED[:1], CONTENT, NOW, 0, "0" * 64)[0]
        for record in (next_, new):
            with (
                pytest.raises(Exception, match="written by a program of another step"),
                store._engine.begin() as connection,
            ):
                connection.execute(insert(schema.events), to_row(record))
        assert store.verify().faults == ()


def test_a_desk_at_a_store_lifted_meanwhile_is_told(lasting_target: str) -> None:
    with open_store(lasting_target) as store:
        store.append(SESSION, CALL[:1], CONTENT, NOW, 0)
        with store._engine.begin() as connection:
            drop_guards(connection)
            with pytest.MonkeyPatch.context() as patch:
                patch.setattr(schema, "STEP", schema.STEP + 1)
                create_guards(connection)
        with pytest.raises(StoreNewer, match="was lifted by a newer version while this one"):
            store.append(SESSION, CALL[1:], CONTENT, NOW, 1)


def test_a_store_in_the_second_place_of_the_search_path_is_lifted_there(
    server_address: str,
) -> None:
    with engine_on(server_address) as engine, engine.begin() as connection:
        migrate.lift(connection, None, to="0001")
        connection.execute(text("DROP TABLE triage_migration"))
        place = connection.execute(text("SELECT current_schema()")).scalar_one()
        connection.execute(text(f"CREATE SCHEMA {place}_first"))
    try:
        both = server_address.replace(f"%3D{place}", f"%3D{place}_first,{place}")
        with open_store(both) as store:
            store.append(SESSION, CALL, CONTENT, NOW, 0)
            assert store.verify().faults == ()
    finally:
        with engine_on(server_address) as engine, engine.begin() as connection:
            connection.execute(text(f"DROP SCHEMA {place}_first CASCADE"))
