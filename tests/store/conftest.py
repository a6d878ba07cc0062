"""Stores of every kind; the server's address can be set with TRIAGE_TEST_POSTGRESQL."""

from __future__ import annotations

import os
import secrets
import tempfile
from collections.abc import Iterator
from contextlib import ExitStack
from pathlib import Path
from typing import TYPE_CHECKING

import pytest

from triage.store.open import open_store

if TYPE_CHECKING:
    from triage.store.sql import Store

SERVER = os.environ.get(
    "TRIAGE_TEST_POSTGRESQL", "postgresql+psycopg://postgres@127.0.0.1:5432/test"
)
ENGINES = ("memory", "file", "server")


@pytest.fixture
def server_address() -> Iterator[str]:
    """Address of an empty schema on the PostgreSQL server, dropped afterwards."""
    import sqlalchemy

    schema = f"triage_test_{secrets.token_hex(6)}"
    admin = sqlalchemy.create_engine(SERVER, isolation_level="AUTOCOMMIT")
    with admin.connect() as connection:
        connection.exec_driver_sql(f"CREATE SCHEMA {schema}")
    try:
        mark = "&" if "?" in SERVER else "?"
        yield f"{SERVER}{mark}options=-csearch_path%3D{schema}"
    finally:
        with admin.connect() as connection:
            connection.exec_driver_sql(f"DROP SCHEMA {schema} CASCADE")
        admin.dispose()


@pytest.fixture
def file_path(tmp_path: Path) -> Path:
    return tmp_path / "data" / "sessions.sqlite3"


@pytest.fixture(params=ENGINES)
def store(request: pytest.FixtureRequest, file_path: Path) -> Iterator[Store]:
    """An empty store, on each engine in turn."""
    target = {"memory": ":memory:", "file": str(file_path)}.get(request.param)
    with open_store(target or request.getfixturevalue("server_address")) as opened:
        yield opened


@pytest.fixture(params=ENGINES[1:])
def lasting_target(request: pytest.FixtureRequest, file_path: Path) -> str:
    """Where a store outlives the process, on each such engine in turn; none is made yet."""
    if request.param == "file":
        return str(file_path)
    return str(request.getfixturevalue("server_address"))


@pytest.fixture
def every_store(server_address: str, file_path: Path) -> Iterator[list[Store]]:
    """One empty store of each engine."""
    with ExitStack() as stack:
        yield [
            stack.enter_context(open_store(target))
            for target in (":memory:", file_path, server_address)
        ]


@pytest.fixture
def open_folder() -> Iterator[Path]:
    """A folder that every user can reach."""
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        folder.chmod(0o755)
        yield folder


@pytest.fixture
def waiting(tmp_path: Path) -> Path:
    """The folder lines wait in, apart from where a store in a file lies."""
    folder = tmp_path / "waiting"
    folder.mkdir()
    return folder


@pytest.fixture
def memory() -> Iterator[Store]:
    """An empty store that goes with the test."""
    with open_store(":memory:") as opened:
        yield opened
