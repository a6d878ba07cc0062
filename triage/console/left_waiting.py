"""What an outage left waiting on this computer goes into the record before a command reads it."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from triage.console.aside import write_aside
from triage.dialogue.events import Said
from triage.dialogue.words import counted, quoted
from triage.store.errors import StoreError, StoreMissing, StoreUnreachable, shown
from triage.store.kept import deliver_left
from triage.store.open import open_store
from triage.store.waiting import (
    WaitingLine,
    count_of,
    files_for,
    is_anything_waiting,
    lines_of,
    others_waiting,
    place_of,
)
from triage.store.where import waiting_folder

if TYPE_CHECKING:
    from triage.store.sql import Store


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
            waited = {path: _lines_in(path) for path in files}
            told = deliver_left(store, place, folder)
            gone = (lines for path, lines in waited.items() if lines and not path.exists())
            told += [words for lines in gone if (words := _not_added(store, lines))]
    except StoreMissing:
        return
    except StoreUnreachable as error:
        waiting = counted(sum(count_of(path) for path in files), "line")
        raise StoreUnreachable(
            f"{error}; what waits on this computer ({waiting}) goes in when it is back"
        ) from error
    for sentence in told:
        write_aside(sentence)


def _lines_in(path: Path) -> list[WaitingLine]:
    try:
        return lines_of(path)
    except (StoreError, OSError):  # told where it is delivered
        return []


def _not_added(store: Store, lines: Sequence[WaitingLine]) -> str:
    """Return what was typed in those of `lines` the record did not take; "" where it has all."""
    session_id = lines[0].session_id
    try:
        stored = store.events(session_id)
    except StoreError:
        stored = []
    typed = [
        quoted(event.text)
        for line in lines
        if not line.is_in(stored)
        for _, event in line.spoken
        if isinstance(event, Said)
    ]
    return f"Typed here, not in session {shown(session_id)}: {'; '.join(typed)}." if typed else ""


def tell_of_others(target: str | None) -> None:
    """Say in one sentence which lines wait on this computer for records other than `target`."""
    folder = waiting_folder()
    if not is_anything_waiting(folder):
        return
    try:
        others = others_waiting(place_of(target), folder)
    except ValueError:
        return  # no target at all, as the command itself will say
    if others:
        listed = ", ".join(
            f"{counted(count, 'line')} for {shown(where)}" for where, count in others.items()
        )
        write_aside(
            f"Not for this record, but waiting on this computer: {listed}; a command with --store "
            "and its address writes them."
        )
