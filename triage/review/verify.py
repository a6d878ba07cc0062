"""`triage log verify`: the record proved whole, or what was done to it, named."""

from __future__ import annotations

import argparse
import json
import os
import re
import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING

from rich.text import Text

from triage.console.asked import UsageError
from triage.console.screen import screen_of
from triage.dialogue.words import counted, plain_text
from triage.exits import BAD_STORE, DONE
from triage.review.progress import progress_bar
from triage.store import open_store
from triage.store.errors import StoreMissing
from triage.tree.errors import quoted

if TYPE_CHECKING:
    from triage.store.verify import Verified

_WAY_OUT = (
    "Restore a backup, and find out who could write to the record. Until then take no figure and "
    "no call named here for true."
)


def verify_record(options: argparse.Namespace) -> int:
    """Print what was found wrong with the record, or one session; return 0, or 4 if anything.

    Raises UsageError for what is neither mark nor file, and StoreError where the record cannot be
    read.
    """
    mark, heads = _held_against(options.against)
    if options.keep is not None and options.keep.exists():
        raise UsageError(
            f"{options.keep} is there already, and may be the only proof of an earlier time; name "
            "another file with --keep"
        )
    if options.session and (options.against or options.keep):
        raise UsageError("marks and heads are of the whole record; leave out the session")
    try:
        with open_store(options.store, must_exist=True) as store:
            if options.session:
                found = store.verify_session(store.resolve(options.session))
            else:
                with progress_bar("Sessions proved") as step, _kept(options.keep) as keep:
                    found = store.verify(mark, heads, step=step, keep=keep)
    except StoreMissing:
        if options.store is not None or options.session:
            raise
        screen_of(options).print("No call is stored yet; there is nothing to prove.")
        return DONE
    if options.json:
        _print_json(found)
    else:
        _print(options, found)
        if options.keep is not None:
            screen_of(options).print(Text(plain_text(f"Heads are kept in {options.keep}.", 500)))
    return BAD_STORE if found.faults else DONE


def _held_against(text: str | None) -> tuple[str, dict[str, tuple[int, str]]]:
    """Return the mark and the heads that `--against` gives; raises UsageError."""
    text = (text or "").strip()
    if not text or re.fullmatch(r"[0-9]{1,18}-[0-9a-f]{16}", text):
        return text, {}
    path = Path(text)
    if not path.is_file():
        raise UsageError(
            f"{quoted(text)} is no mark and no file; triage log verify prints a mark, such as "
            "12-0123456789abcdef, and writes a file with --keep FILE"
        )
    heads: dict[str, tuple[int, str]] = {}
    with path.open(encoding="utf-8", errors="replace") as lines:
        for number, line in enumerate(lines, start=1):
            try:
                said = json.loads(line)
                heads[str(said["session_id"])] = (int(said["count"]), str(said["head_hash"]))
            except (ValueError, KeyError, TypeError) as error:
                raise UsageError(
                    f"{path}:{number}: not a line that triage log verify --keep writes"
                ) from error
    return "", heads


@contextmanager
def _kept(path: Path | None) -> Iterator[Callable[[str, int, str], None]]:
    """Yield what is told the head of each session; it is all in the file in the end, or no file."""
    if path is None:
        yield lambda session_id, count, head_hash: None
        return
    draft = path.with_name(f".{path.name}.{os.getpid()}.new")
    try:
        with os.fdopen(os.open(draft, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600), "w") as file:

            def write(session_id: str, count: int, head_hash: str) -> None:
                said = {"session_id": session_id, "count": count, "head_hash": head_hash}
                file.write(json.dumps(said) + "\n")

            yield write
        draft.replace(path)
    finally:
        draft.unlink(missing_ok=True)


def _print(options: argparse.Namespace, found: Verified) -> None:
    console = screen_of(options)
    for fault in found.faults:
        where = f"session {fault.session_id}: " if fault.session_id else ""
        line = Text(f"{fault.harm.value.upper()}: ", style="triage.stop")
        line.append(plain_text(f"{where}{fault.words}", 500), style="none")
        console.print(line)
    looked = f"{counted(found.sessions, 'session')}, {counted(found.events, 'event')}"
    looked += f", {found.purged} purged" if found.purged else ""
    if found.faults:
        console.print(Text(f"{looked}: {counted(len(found.faults), 'fault')}. {_WAY_OUT}"))
        return
    console.print(Text(f"{looked}: whole. Nothing in it was altered, dropped, moved or put in."))
    if found.mark and not options.against:
        console.print(
            Text(
                f"Mark: {found.mark}. Kept outside this record, and given to --against later, it "
                "shows that no session up to here was taken away; a file kept with --keep, that "
                "no event was. Nothing in the record itself can show that of its very end.",
                style="triage.hint",
            )
        )


def _print_json(found: Verified) -> None:
    told = {
        "is_whole": not found.faults,
        "sessions": found.sessions,
        "events": found.events,
        "purged": found.purged,
        "mark": found.mark,
        "faults": [
            {
                "session_id": fault.session_id,
                "sequence": fault.sequence,
                "harm": fault.harm.value,
                "words": fault.words,
            }
            for fault in found.faults
        ],
    }
    sys.stdout.write(json.dumps(told, indent=2, ensure_ascii=False) + "\n")
