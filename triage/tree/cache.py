"""Checked and proved content, remembered between calls so that nobody waits for it twice.

Reading YAML, importing networkx and proving take about a third of a second; reading back what was
found good takes milliseconds. The memory is one JSON file per content version in the user's cache
folder: private to its owner, written in one move, ignored unless it is exactly what this program
would have written, and always safe to delete.
"""

from __future__ import annotations

import contextlib
import hashlib
import json
import os
import sys
from collections.abc import Iterator
from pathlib import Path

import triage
from triage.tree.content import Content
from triage.tree.files import content_version, read_files
from triage.tree.plain import content_from_plain, to_plain

FORMAT = 1
"""Version of the layout of the cache file."""

_KEPT_FILES = 8
_LARGEST_CACHE_BYTES = 16 * 1024 * 1024
_ROOMS = ("tree", "physics")


def checked_content(folder: Path, cache_folder: Path | None = None) -> Content:
    """Return the content of a folder, read, checked and proved, or remembered as such.

    cache_folder: where to remember; the user's cache folder if None. A cache that cannot be read or
    written is done without. Raises ContentFolderMissing, ContentErrors or ProofFailed; content that
    raised is never remembered.
    """
    files = read_files(folder)
    version = content_version(files)
    where = (cache_folder or user_cache_folder()) / f"content-{_key(version)}.json"
    content = _remembered(where, version)
    if content is None:
        from triage.tree.load import content_from_files  # these two bring yaml and networkx
        from triage.tree.proofs import check_content

        content = content_from_files(folder, files)
        check_content(content)
        _remember(where, content)
    return content


def user_cache_folder() -> Path:
    """Return the user's cache folder for this program."""
    if sys.platform in ("win32", "darwin"):
        import platformdirs

        return platformdirs.user_cache_path("triage", appauthor=False)
    # What platformdirs would say here, without the 10 ms its import takes.
    named = os.environ.get("XDG_CACHE_HOME", "")
    base = Path(named) if Path(named).is_absolute() else Path.home() / ".cache"
    return base / "triage"


def _key(version: str) -> str:
    """Return the name under which this program remembers content of this version.

    The sources of the rooms that check it are part of the name, so a changed check is never
    answered from memory.
    """
    digest = hashlib.sha256(f"{FORMAT} {triage.__version__} {version}".encode())
    for name, size, changed in _sources():
        digest.update(f"{name} {size} {changed}\n".encode())
    return digest.hexdigest()[:32]


def _sources() -> Iterator[tuple[str, int, int]]:
    package = Path(triage.__file__).parent
    for room in _ROOMS:
        with contextlib.suppress(OSError), os.scandir(package / room) as entries:
            for entry in sorted(entries, key=lambda each: each.name):
                if entry.name.endswith(".py"):
                    facts = entry.stat()
                    yield f"{room}/{entry.name}", facts.st_size, facts.st_mtime_ns


def _remembered(path: Path, version: str) -> Content | None:
    """Return what an earlier call remembered, or None if there is nothing fit for use."""
    try:
        data = _read_private(path)
        if data is None:
            return None
        digest, _, body = data.partition(b"\n")
        if digest.decode("ascii") != hashlib.sha256(body).hexdigest():
            return None
        content = content_from_plain(json.loads(body))
    except (OSError, ValueError, LookupError, TypeError, AttributeError, RecursionError):
        return None
    return content if content.version == version else None


def _read_private(path: Path) -> bytes | None:
    """Return the bytes of a regular file of our own that nobody else can write, else None."""
    descriptor = os.open(path, os.O_RDONLY | getattr(os, "O_NOFOLLOW", 0))
    with os.fdopen(descriptor, "rb") as stream:
        facts = os.fstat(descriptor)
        if hasattr(os, "getuid") and (facts.st_uid != os.getuid() or facts.st_mode & 0o022):
            return None
        if facts.st_size > _LARGEST_CACHE_BYTES:
            return None
        return stream.read()


def _remember(path: Path, content: Content) -> None:
    """Write the content so that a reader sees all of it or none; give up quietly if it cannot."""
    import tempfile

    body = json.dumps(to_plain(content), ensure_ascii=False, separators=(",", ":")).encode()
    data = hashlib.sha256(body).hexdigest().encode() + b"\n" + body
    try:
        path.parent.mkdir(mode=0o700, parents=True, exist_ok=True)
        # A file made this way is readable and writable by its owner alone.
        descriptor, unfinished = tempfile.mkstemp(prefix=".content-", dir=path.parent)
        try:
            with os.fdopen(descriptor, "wb") as stream:
                stream.write(data)
            Path(unfinished).replace(path)
        except OSError:
            Path(unfinished).unlink(missing_ok=True)
            raise
        _forget_old(path.parent)
    except OSError:
        return


def _forget_old(folder: Path) -> None:
    """Delete all but the latest few remembered files."""
    files = sorted(folder.glob("content-*.json"), key=lambda each: each.stat().st_mtime_ns)
    for path in files[:-_KEPT_FILES]:
        path.unlink(missing_ok=True)
