"""The one border where errors of the database become errors of the store, the cause kept.

SQLAlchemy is imported at the head here, so this module is reached only from inside functions.
"""

from __future__ import annotations

import errno
import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager

from sqlalchemy.exc import DBAPIError, OperationalError, SQLAlchemyError
from sqlalchemy.exc import TimeoutError as PoolTimeout

from triage.store.errors import (
    StoreBusy,
    StoreDamaged,
    StoreError,
    StoreFull,
    StoreUnreachable,
    shown,
)

_MAKE_ROOM = "free some space and resume the session: nothing kept before is lost"
_NO_ROOM = {errno.ENOSPC, errno.EDQUOT, errno.EFBIG}

# A quota or a file size limit reaches SQLite as a failed write, not as a full disk.
_SQLITE_FULL = {
    sqlite3.SQLITE_FULL,
    sqlite3.SQLITE_IOERR_WRITE,
    sqlite3.SQLITE_IOERR_SHMSIZE,
}
_SQLITE_DAMAGED = {sqlite3.SQLITE_CORRUPT, sqlite3.SQLITE_NOTADB}
_SQLITE_BUSY = {sqlite3.SQLITE_BUSY, sqlite3.SQLITE_LOCKED}
_SQLITE_READ_ONLY = {sqlite3.SQLITE_READONLY, sqlite3.SQLITE_PERM, sqlite3.SQLITE_AUTH}


@contextmanager
def translated(location: str) -> Iterator[None]:
    """Turn any database or file error raised inside into a StoreError that names `location`."""
    try:
        yield
    except SQLAlchemyError as error:
        raise from_database(error, location) from error
    except sqlite3.Error as error:
        raise _from_sqlite(error, location) from error
    except OSError as error:
        raise from_system(error, location) from error


def from_system(error: OSError, location: str) -> StoreError:
    """Return the StoreError that stands for an error of the operating system at `location`."""
    reason = shown(error.strerror or error)
    if error.errno in _NO_ROOM:
        return StoreFull(f"no room to keep the session in {location} ({reason})", _MAKE_ROOM)
    return StoreUnreachable(
        f"cannot use {location}: {reason}", "name a folder you may write to with --store"
    )


def from_database(error: SQLAlchemyError, location: str) -> StoreError:
    """Return the StoreError that stands for `error`, raised by SQLAlchemy at `location`."""
    if isinstance(error, PoolTimeout):
        return _busy(location)
    original = error.orig if isinstance(error, DBAPIError) else None
    if isinstance(original, sqlite3.Error):
        return _from_sqlite(original, location)
    if isinstance(error, DBAPIError):
        return _from_postgresql(error, location)
    return _unexpected(error, location)


def _from_sqlite(error: sqlite3.Error, location: str) -> StoreError:
    # Errors of the Python module itself carry no code.
    code: int = getattr(error, "sqlite_errorcode", sqlite3.SQLITE_OK)
    primary = code & 0xFF
    reason = shown(error)
    if code in _SQLITE_FULL:
        return StoreFull(f"no room to keep the session in {location} ({reason})", _MAKE_ROOM)
    if primary in _SQLITE_DAMAGED or "decode" in reason or "no such table" in reason:
        return StoreDamaged(
            f"{location} is not a sound store ({reason}); restore a backup, or move it away to "
            "begin a new one"
        )
    if primary in _SQLITE_BUSY:
        return _busy(location)
    if primary in _SQLITE_READ_ONLY:
        return StoreUnreachable(
            f"{location} cannot be written ({reason})",
            "give yourself the right to write, or name another store with --store",
        )
    if primary in {sqlite3.SQLITE_CANTOPEN, sqlite3.SQLITE_IOERR, sqlite3.SQLITE_PROTOCOL}:
        return StoreUnreachable(
            f"cannot use {location} ({reason})",
            "check the disk, or name another store with --store",
        )
    return _unexpected(error, location)


def _from_postgresql(error: DBAPIError, location: str) -> StoreError:
    state: str = getattr(error.orig, "sqlstate", None) or ""
    diagnosis = getattr(error.orig, "diag", None)
    reason = shown(getattr(diagnosis, "message_primary", None) or error.orig)
    # Where nobody answers, the driver goes on to ask what our own message asks as well.
    reason = reason.partition(" Is the server running")[0].removeprefix("connection is bad: ")
    if state == "53100":  # disk_full
        return StoreFull(f"the server of {location} has no room left ({reason})", _MAKE_ROOM)
    # Class 53: out of connections or memory; the rest: lock or statement timeout, deadlock.
    if state.startswith(("53", "40")) or state in {"55P03", "57014"}:
        return _busy(location)
    if state in {"25006", "42501"}:  # read-only transaction, no privilege
        return StoreUnreachable(
            f"{location} cannot be written ({reason})", "ask who runs the server for the right"
        )
    if state.startswith("XX") or state == "42P01":  # corrupted data, table gone
        return StoreDamaged(f"{location} is not a sound store ({reason}); restore a backup")
    # Without a state there was no answer, unless the driver itself refused a statement of ours;
    # 08, 28, 3D, 57P: connection, login, database, shutdown.
    is_unanswered = not state and (isinstance(error, OperationalError) or error.statement is None)
    if is_unanswered or error.connection_invalidated or state.startswith(("08", "28", "3D", "57P")):
        return StoreUnreachable(
            f"no answer from {location} ({reason})", "check the address and that the server runs"
        )
    return _unexpected(error, location)


def _busy(location: str) -> StoreBusy:
    return StoreBusy(f"{location} is held by another program", "try again in a moment")


def _unexpected(error: Exception, location: str) -> StoreError:
    reason = shown(error.orig if isinstance(error, DBAPIError) else error)
    return StoreError(f"{location} answered with an error we did not expect ({reason})")
