"""A store in one SQLite file: made whole or not at all, for its owner only, told from others'.

SQLAlchemy is imported at the head here, so this module is reached only from inside functions.
"""

from __future__ import annotations

import contextlib
import os
import random
import secrets
import sqlite3
import time
from pathlib import Path
from typing import Any
from urllib.parse import quote

from sqlalchemy import create_engine, event
from sqlalchemy.engine import Connection, Engine
from sqlalchemy.pool import QueuePool, StaticPool

from triage.store import migrate, schema
from triage.store.border import translated
from triage.store.errors import StoreDamaged, StoreForeign, StoreUnreachable, shown
from triage.store.private import FILE_MODE, make_private_folder, sync_folder

_SMALLEST_PAGE = 512
_READ_ATTEMPTS = 3
_READ_PAUSE_S = 0.02
_ASK_AGAIN_S = (0.0005, 0.004)


def file_engine(path: Path, patience_s: float) -> Engine:
    """Return an engine on the store at `path`, which is made if nothing is there.

    patience_s: how long to wait for another program's lock [s]
    Raises StoreUnreachable, StoreFull, StoreDamaged or StoreForeign. A file of another program is
    only read.
    """
    location = shown(path)
    with translated(location):
        if not path.exists():
            make_private_folder(path.parent)
            _make_file(path)
        _refuse_what_is_not_ours(path, location)
    return _engine(path, patience_s)


def memory_engine() -> Engine:
    """Return an engine on a new store that lives in memory and ends with it."""
    engine = create_engine(
        "sqlite://",
        poolclass=StaticPool,
        connect_args={"check_same_thread": False, "isolation_level": None},
        hide_parameters=True,
    )
    _listen(engine)
    with engine.begin() as connection:
        migrate.create(connection)
    return engine


def _make_file(path: Path) -> None:
    """Build a whole empty store beside `path` and link it into place.

    So `path` is either absent or a complete store, at whatever moment the program is killed, and
    of two that start together the second finds the first one's.
    """
    draft = path.with_name(f".{path.name}.{secrets.token_hex(6)}.new")
    os.close(os.open(draft, os.O_CREAT | os.O_EXCL | os.O_RDWR, FILE_MODE))
    try:
        engine = _engine(draft, patience_s=1.0)
        try:
            with engine.begin() as connection:
                migrate.create(connection)
        finally:
            engine.dispose()
        # Cannot be set inside a transaction; the file keeps it from here on.
        with contextlib.closing(sqlite3.connect(draft)) as connection_to_draft:
            connection_to_draft.execute("PRAGMA journal_mode = WAL").fetchone()
        with contextlib.suppress(FileExistsError):
            _put_in_place(draft, path)
        sync_folder(path.parent)
    finally:
        draft.unlink(missing_ok=True)


def _put_in_place(draft: Path, path: Path) -> None:
    try:
        path.hardlink_to(draft)
    except FileExistsError:
        raise
    except OSError:
        # Some file systems have no hard links; renaming is as whole, only not exclusive.
        if not path.exists():
            draft.rename(path)


def _refuse_what_is_not_ours(path: Path, location: str) -> None:
    if path.is_dir():
        raise StoreUnreachable(f"{location} is a folder; name a file in it with --store")
    if not path.is_file():
        raise StoreUnreachable(f"{location} is no plain file; name another with --store")
    if path.stat().st_size < _SMALLEST_PAGE:  # SQLite takes such a file for a new, empty database
        raise StoreDamaged(
            f"{location} is empty or too short, which a store never is; restore a backup, or "
            "remove it to begin a new one"
        )
    if not os.access(path, os.R_OK | os.W_OK):
        raise StoreUnreachable(
            f"{location} cannot be read and written by you; give yourself the right, or name "
            "another store with --store"
        )
    if _application_id(path, location) != schema.APPLICATION_ID:
        raise StoreForeign(
            f"{location} is a database of another program and was left as it was; name another "
            "file with --store"
        )


def _application_id(path: Path, location: str) -> int:
    # "immutable" reads the file alone: no lock, no journal played back, nothing made beside it.
    # Reading it without SQLite would not do: closing it drops the locks this process has on it.
    # A checkpoint under way elsewhere can make it look cut short for an instant, hence the retry.
    address = f"file:{quote(str(path))}?immutable=1"
    for attempt in range(1, _READ_ATTEMPTS + 1):
        try:
            with contextlib.closing(sqlite3.connect(address, uri=True)) as connection:
                return int(connection.execute("PRAGMA application_id").fetchone()[0])
        except sqlite3.DatabaseError as error:
            if getattr(error, "sqlite_errorcode", 0) == sqlite3.SQLITE_NOTADB:
                raise StoreDamaged(
                    f"{location} is no database; restore a backup, or name another file with "
                    "--store"
                ) from error
            if attempt == _READ_ATTEMPTS and not _log_of(path).exists():
                raise
        time.sleep(_READ_PAUSE_S)
    # A checkpoint that stopped half way, on a full disk or by a kill, leaves a main file that is
    # sound only together with its log; only opened in earnest does SQLite read the two as one.
    with contextlib.closing(sqlite3.connect(f"file:{quote(str(path))}?mode=ro", uri=True)) as whole:
        return int(whole.execute("PRAGMA application_id").fetchone()[0])


def _log_of(path: Path) -> Path:
    """Return where SQLite keeps the write-ahead log of a file."""
    return path.with_name(f"{path.name}-wal")


def _engine(path: Path, patience_s: float) -> Engine:
    # mode=rw: a file that went away is an error, never a new empty database.
    address = f"file:{quote(str(path))}?mode=rw"

    def connect() -> sqlite3.Connection:
        return sqlite3.connect(
            address, uri=True, timeout=patience_s, isolation_level=None, check_same_thread=False
        )

    engine = create_engine("sqlite://", creator=connect, poolclass=QueuePool, hide_parameters=True)
    _hold_to_its_file(engine, path)
    _listen(engine, patience_s)
    return engine


def _hold_to_its_file(engine: Engine, path: Path) -> None:
    """Refuse to write once the file has been deleted or replaced.

    An open file that lost its name can be written to, and all of it would be gone at closing.
    """

    @event.listens_for(engine, "connect")
    def remember(_connection: sqlite3.Connection, record: Any) -> None:
        record.info["file"] = _identity(path)

    @event.listens_for(engine, "begin")
    def look(connection: Connection) -> None:
        if connection.info.get("file") != _identity(path):
            connection.invalidate()
            raise StoreUnreachable(
                f"{shown(path)} was deleted or replaced while in use; put it back, or name another "
                "store with --store"
            )


def _identity(path: Path) -> tuple[int, int] | None:
    try:
        found = path.stat()
    except OSError:
        return None
    return found.st_dev, found.st_ino


def _listen(engine: Engine, patience_s: float = 0.0) -> None:
    @event.listens_for(engine, "connect")
    def set_pragmas(connection: sqlite3.Connection, _record: Any) -> None:
        # FULL syncs the log at every commit; fullfsync makes that reach the disk on macOS.
        for pragma in ("synchronous = FULL", "fullfsync = ON", "trusted_schema = OFF"):
            connection.execute(f"PRAGMA {pragma}")

    @event.listens_for(engine, "begin")
    def begin(connection: Connection) -> None:
        driver = connection.connection.driver_connection
        assert isinstance(driver, sqlite3.Connection)
        if connection.get_execution_options().get("triage_reading", False):
            driver.execute("BEGIN")
        else:
            # At once: a lock raised from reading fails without waiting.
            _begin_to_write(driver, patience_s)


def _begin_to_write(driver: sqlite3.Connection, patience_s: float) -> None:
    """Take the writer's lock, asking for it every few milliseconds while another has it.

    SQLite by itself asks ever more seldom, in the end ten times a second: of many desks that write
    at once most then sleep while the lock is free, and some never get it in time.
    """
    until = time.monotonic() + patience_s
    driver.execute("PRAGMA busy_timeout = 0")
    try:
        while True:
            try:
                driver.execute("BEGIN IMMEDIATE")
                return
            except sqlite3.OperationalError as error:
                if error.sqlite_errorcode != sqlite3.SQLITE_BUSY or time.monotonic() > until:
                    raise
            time.sleep(random.uniform(*_ASK_AGAIN_S))
    finally:
        driver.execute(f"PRAGMA busy_timeout = {round(1000 * patience_s)}")
