"""The files of a content folder as bytes, and the version that is their hash."""

from __future__ import annotations

import hashlib
from collections.abc import Mapping
from pathlib import Path

from triage.tree.content import LIKELIHOODS, OUTCOMES, Place
from triage.tree.errors import ContentFolderMissing, Mistakes

MACHINES, PARTS = "machines", "parts"
"""Subfolders that hold one file for each machine, and for each part that trees share."""

READINGS, CAUTIONS, CAUSES = "readings", "cautions", "causes"
"""What stands in a file of this name, in files of a subfolder of this name, or in both."""

_FOLDERS = (MACHINES, PARTS, READINGS, CAUTIONS, CAUSES)

LARGEST_FILE_BYTES = 512 * 1024
"""Greatest size of one content file; the largest tree needs a fraction of it (judged)."""


def read_files(folder: Path) -> dict[str, bytes]:
    """Return the bytes of every content file by name relative to the folder, sorted by name.

    Raises ContentFolderMissing if the folder is not there, or ContentErrors for a file that cannot
    be read.
    """
    if not folder.is_dir():
        raise ContentFolderMissing(folder)
    mistakes = Mistakes()
    files: dict[str, bytes] = {}
    written = [folder / LIKELIHOODS, folder / OUTCOMES]
    inner = [path for name in _FOLDERS for path in folder.glob(f"{name}/*.y*ml")]
    found = [*folder.glob("*.y*ml"), *inner, *written]
    for path in sorted(found):
        name = path.relative_to(folder).as_posix()
        if not path.is_file():
            continue
        if path.suffix != ".yaml" and path not in written:
            mistakes.add(Place(shown_name(name), 1, 1), "the file would not be read; name it .yaml")
            continue
        try:
            with path.open("rb") as stream:  # never more than it takes to see it is too large
                files[name] = stream.read(LARGEST_FILE_BYTES + 1)
        except OSError as error:
            mistakes.add(
                Place(shown_name(name), 1, 1),
                f"the file cannot be read ({error.strerror}); mend its permissions or remove it",
            )
    mistakes.raise_if_any(folder)
    return files


def content_version(files: Mapping[str, bytes]) -> str:
    """Return the SHA-256 over sorted names and bytes, as hexadecimal text."""
    digest = hashlib.sha256()
    for name in sorted(files):
        digest.update(f"{name}\0{len(files[name])}\0".encode())
        digest.update(files[name])
    return digest.hexdigest()


def shown_name(name: str) -> str:
    """Return a file name fit for a message, whatever characters it holds."""
    return "".join(char if char.isprintable() else "\ufffd" for char in name)
