"""Where the content lives: the folder a person names, the installed one, or the checkout's."""

from __future__ import annotations

from pathlib import Path

from triage.tree.errors import ContentFolderMissing

_PACKAGE = Path(__file__).resolve().parent.parent


def content_folder(explicit: Path | None = None) -> Path:
    """Return the folder content is read from; an explicit one wins.

    Without one it is `_trees` inside the installed package, else `trees` beside the package in a
    checkout. Raises ContentFolderMissing if there is no such folder.
    """
    if explicit is not None:
        if not explicit.is_dir():
            raise ContentFolderMissing(explicit)
        return explicit
    installed, checkout = installed_folder(), _PACKAGE.parent / "trees"
    for folder in (installed, checkout):
        if folder.is_dir():
            return folder
    raise ContentFolderMissing(installed)


def installed_folder() -> Path:
    """Return the content folder inside the installed package; an update replaces it."""
    return _PACKAGE / "_trees"
