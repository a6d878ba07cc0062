"""What an outage left waiting on this computer goes into the record before a command reads it."""

from __future__ import annotations

import sys

from triage.store.errors import StoreMissing, StoreUnreachable
from triage.store.kept import counted, deliver_left
from triage.store.open import open_store
from triage.store.waiting import count_of, files_for, is_anything_waiting, place_of
from triage.store.where import waiting_folder


def write_what_waits(target: str | None) -> None:
    """Write the lines earlier calls left waiting for the store at `target`, and say so.

    One look at a folder when nothing waits. Raises StoreError where lines wait and the store cannot
    be opened; one that is not there is left to the command to tell.
    """
    folder = waiting_folder()
    if not is_anything_waiting(folder):
        return
    try:
        place = place_of(target)
    except ValueError:
        return  # no target at all, as the command itself will say
    files = files_for(place, folder)
    if not files:
        return
    try:
        with open_store(target, must_exist=True) as store:
            told = deliver_left(store, place, folder)
    except StoreMissing:
        return
    except StoreUnreachable as error:
        waiting = counted(sum(count_of(path) for path in files))
        raise StoreUnreachable(
            f"{error}; what waits on this computer ({waiting}) goes in when it is back"
        ) from error
    for sentence in told:
        sys.stderr.write(f"triage: {sentence}\n")
