"""Where the store is when nobody says, and where what cannot reach it waits."""

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


def waiting_folder() -> Path:
    """Return the folder, in the user's state folder, of lines that wait for the store.

    Nothing is created; XDG_STATE_HOME is honored as XDG_DATA_HOME is.
    """
    from platformdirs import user_state_path

    folder = user_state_path("triage", appauthor=False)
    if not folder.is_absolute():
        folder = Path.home() / ".local" / "state" / "triage"
    return folder / "waiting"
