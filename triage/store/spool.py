"""The file in which lines of a call wait, as the one that writes or delivers it holds it.

A line is on disk before the turn goes on. The process that writes or delivers a file holds a lock
on it; the system lets go of that with the process, so a file without one is nobody's, and the next
command delivers it. Where a file system has no locks, whoever delivers a file renames it first, and
a call that wrote to it sees that its own is gone and begins another with all its lines: what is
written already is not written twice.
"""

from __future__ import annotations

import contextlib
import os
import re
import secrets
import sys
from enum import Enum
from pathlib import Path

from triage.dialogue.events import EVENT_FORMAT, event_to_data
from triage.store.private import FILE_MODE, make_private_folder, sync_folder
from triage.store.record import canonical_json, utc_text
from triage.store.waiting import WAITING, Place, WaitingLine

_ASIDE = ".not-written.jsonl"


class Spool:
    """A file of waiting lines, locked against other processes until it is closed."""

    def __init__(self, path: Path, descriptor: int) -> None:
        self.path = path
        self._descriptor = descriptor
        self._texts: list[bytes] = []

    @classmethod
    def begin(cls, folder: Path, session_id: str) -> Spool:
        """Return a new, empty file for a session; raises OSError."""
        return cls(*_begun(folder, re.sub(r"[^0-9A-Za-z-]", "_", session_id)))

    @classmethod
    def take(cls, path: Path) -> Spool | None:
        """Return a file left behind, or None if another process has it or it is gone."""
        try:
            descriptor = os.open(path, os.O_RDWR | os.O_APPEND)
        except OSError:
            return None
        lock = _lock(descriptor)
        if lock is _Lock.NOT_TO_BE_HAD:
            # The name is the lock: one of several gets it, and a call that writes here misses it.
            renamed = _fresh(path.parent, _name_in(path))
            try:
                path.rename(renamed)
            except OSError:
                lock = _Lock.HELD_BY_ANOTHER
            path = renamed
        if lock is not _Lock.HELD_BY_ANOTHER and os.fstat(descriptor).st_nlink > 0:
            return cls(path, descriptor)
        os.close(descriptor)
        return None

    def add(self, line: WaitingLine, place: Place) -> None:
        """Put a line on disk; raises OSError with nothing added.

        Where the file was taken away meanwhile, another takes all its lines.
        """
        record = canonical_json(
            {
                "store": {"key": place.key, "location": place.location},
                "session_id": line.session_id,
                "expected_length": line.expected_length,
                "recorded_at": utc_text(line.recorded_at),
                "content_version": line.content_version,
                "event_format": EVENT_FORMAT,
                "events": [[who, event.kind, event_to_data(event)] for who, event in line.spoken],
            }
        )
        text = f"{record}\n".encode("ascii")
        try:
            _write(self._descriptor, text)
        except OSError:
            if self._has_its_name():
                raise
        # After writing: whoever takes the name away from here on reads this line as well.
        if not self._has_its_name():
            self._begin_anew(b"".join([*self._texts, text]))
        self._texts.append(text)

    def _has_its_name(self) -> bool:
        try:
            return os.path.samestat(self.path.stat(), os.fstat(self._descriptor))
        except OSError:
            return False

    def _begin_anew(self, text: bytes) -> None:
        path, descriptor = _begun(self.path.parent, _name_in(self.path))
        try:
            _write(descriptor, text)
        except OSError:
            os.close(descriptor)
            path.unlink(missing_ok=True)
            raise
        self.close()
        self.path, self._descriptor = path, descriptor

    def remove(self) -> None:
        """Take the file away: its lines are in the record."""
        self.close()
        # One that takes it in between finds its lines in the record.
        self.path.unlink(missing_ok=True)

    def set_aside(self) -> Path:
        """Give the file a name no command delivers, and return its path; it stays open.

        Where it cannot be renamed it keeps its name, and a later command tells of it again.
        """
        aside = self.path.with_name(self.path.name.removesuffix(WAITING) + _ASIDE)
        if self.path.name.endswith(WAITING):
            with contextlib.suppress(OSError):
                self.path.rename(aside)
                self.path = aside
                sync_folder(aside.parent)
        return self.path

    def close(self) -> None:
        """Let go of the file; once more does nothing."""
        if self._descriptor >= 0:
            os.close(self._descriptor)
            self._descriptor = -1


def _fresh(folder: Path, name: str) -> Path:
    return folder / f"{name}-{secrets.token_hex(3)}{WAITING}"


def _name_in(path: Path) -> str:
    return path.name.partition(".")[0].rpartition("-")[0]


def _begun(folder: Path, name: str) -> tuple[Path, int]:
    """Return a new, empty file and its descriptor, locked where there are locks."""
    make_private_folder(folder)
    while True:
        path = _fresh(folder, name)
        descriptor = os.open(path, os.O_RDWR | os.O_CREAT | os.O_EXCL | os.O_APPEND, FILE_MODE)
        is_held = _lock(descriptor) is _Lock.HELD_BY_ANOTHER
        if not is_held and os.fstat(descriptor).st_nlink > 0:
            sync_folder(folder)
            return path, descriptor
        os.close(descriptor)  # taken for one left behind, before we had locked it


def _write(descriptor: int, text: bytes) -> None:
    """Put `text` on disk at the end of a file; raises OSError with nothing added."""
    before = os.fstat(descriptor).st_size
    left = memoryview(text)
    try:
        while left:
            left = left[os.write(descriptor, left) :]
        os.fsync(descriptor)
    except OSError:
        os.ftruncate(descriptor, before)
        raise


class _Lock(Enum):
    """What came of locking a file, which may have been delivered and removed by then."""

    OURS = "ours"
    HELD_BY_ANOTHER = "held by another"
    NOT_TO_BE_HAD = "not to be had"


def _lock(descriptor: int) -> _Lock:
    """Take the lock of an open file, without waiting, and say what came of it."""
    if sys.platform == "win32":
        import msvcrt

        # A byte far behind the end: a locked one cannot be read there by others.
        os.lseek(descriptor, 1 << 30, os.SEEK_SET)
        try:
            msvcrt.locking(descriptor, msvcrt.LK_NBLCK, 1)
        except OSError:
            return _Lock.HELD_BY_ANOTHER
        return _Lock.OURS

    import fcntl

    try:
        fcntl.flock(descriptor, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except BlockingIOError:
        return _Lock.HELD_BY_ANOTHER
    except OSError:
        return _Lock.NOT_TO_BE_HAD  # a file system without locks
    return _Lock.OURS
