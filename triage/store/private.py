"""Folders and files for their owner alone, and names that are on disk when it matters."""

from __future__ import annotations

import contextlib
import os
from pathlib import Path

FOLDER_MODE = 0o700
FILE_MODE = 0o600


def make_private_folder(folder: Path) -> None:
    """Make `folder` and what is missing above it, each for its owner alone; raises OSError."""
    # Path.mkdir gives its mode to the last folder only; the ones above would be open to all.
    for missing in reversed([folder, *folder.parents]):
        if not missing.exists():
            missing.mkdir(mode=FOLDER_MODE, exist_ok=True)


def sync_folder(folder: Path) -> None:
    """Put the names in `folder` on disk, where the system lets a folder be opened."""
    with contextlib.suppress(OSError):
        handle = os.open(folder, os.O_RDONLY)
        try:
            os.fsync(handle)
        finally:
            os.close(handle)
