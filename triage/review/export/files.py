"""New files: whole or not at all, for their owner alone, and never over another one."""

from __future__ import annotations

import contextlib
import errno
import os
import secrets
from collections.abc import Iterable
from pathlib import Path

from triage.console.asked import UsageError
from triage.store.private import FILE_MODE, make_private_folder, sync_folder

_NO_LINKS = (errno.EPERM, errno.ENOTSUP, errno.EOPNOTSUPP, errno.ENOSYS, errno.EMLINK)


def refuse_to_overwrite(path: Path) -> None:
    """Raise UsageError if there is something at `path`, or no folder to put it in."""
    problem = ""
    if path.exists() or path.is_symlink():
        problem = "there is a file of that name; name one that is not there yet"
    elif not path.parent.is_dir():
        problem = "there is no such folder; make it, or name another file"
    if problem:
        raise UsageError(f"{path}: {problem}")


def make_folder(folder: Path) -> None:
    """Make a folder for its owner alone, or take the one that is there.

    Raises UsageError for anything else of that name, OSError where none can be made.
    """
    if not folder.is_dir():
        if folder.exists() or folder.is_symlink():
            raise UsageError(f"{folder}: that is no folder; name one, or one that is not there yet")
        make_private_folder(folder)


def write_new(path: Path, texts: Iterable[str]) -> None:
    """Write `texts` one after the other to a new file that its owner alone may read.

    The file is there once it is whole and on disk; until then it has another name. Raises
    UsageError if there is something at `path`, OSError if it cannot be written.
    """
    refuse_to_overwrite(path)
    unfinished = path.with_name(f".{path.name}.{secrets.token_hex(4)}.unfinished")
    descriptor = os.open(unfinished, os.O_WRONLY | os.O_CREAT | os.O_EXCL, FILE_MODE)
    try:
        with os.fdopen(descriptor, "w", encoding="utf-8", newline="") as file:
            for text in texts:
                file.write(text)
            file.flush()
            os.fsync(file.fileno())
        _give_name(unfinished, path)
    finally:
        with contextlib.suppress(FileNotFoundError):
            unfinished.unlink()
    sync_folder(path.parent)


def _give_name(unfinished: Path, path: Path) -> None:
    """Move a file to `path` unless something is there by now."""
    try:
        os.link(unfinished, path)  # a rename would take the place of a file that came up meanwhile
    except FileExistsError as error:
        raise UsageError(f"{path}: a file of that name came up meanwhile; it was left") from error
    except OSError as error:
        if error.errno not in _NO_LINKS:
            raise
        refuse_to_overwrite(path)
        unfinished.replace(path)
