"""Where the store is when nobody says."""

from __future__ import annotations

from pathlib import Path

STORE_FILE_NAME = "sessions.sqlite3"


def default_store_path() -> Path:
    """Return the path of the store in the user's data folder; nothing is created.

    XDG_DATA_HOME is honored; a relative one is ignored, as the XDG Base Directory Specification
    asks.
    """
    from platformdirs import user_data_path

    folder = user_data_path("triage", appauthor=False)
    if not folder.is_absolute():
        folder = Path.home() / ".local" / "share" / "triage"
    return folder / STORE_FILE_NAME
