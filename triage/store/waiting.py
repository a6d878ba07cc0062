"""Lines of a call that wait on this computer while the record is out of reach.

One private file a session and outage, in the user's state folder (`triage.store.spool` writes it).
A line of it is what one turn puts on record, all or none, with the time it was said.

A last line without its end was being written when the program was killed, so it was acknowledged
to nobody and does not count.
"""

from __future__ import annotations

import contextlib
import json
import os
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime
from hashlib import sha256
from pathlib import Path
from typing import TYPE_CHECKING, Any, Protocol

from triage.dialogue.events import EVENT_FORMAT, Event, event_from_data, event_to_data
from triage.store.errors import (
    SessionMoved,
    SessionNotFound,
    StoreDamaged,
    StoreNewer,
    shown,
)
from triage.store.record import StoredEvent, canonical_json, utc_text
from triage.store.where import default_store_path

if TYPE_CHECKING:
    from sqlalchemy.engine import URL

WAITING = ".waiting.jsonl"
"""How the name of a file ends that the next command delivers."""
_PLACE_OPTIONS = ("service", "options")
"""Further options of an address that say which record it is; the others may hold a secret."""
_THIS_COMPUTER = ("localhost", "127.0.0.1", "::1")


class Shelf(Protocol):
    """What delivering needs of a store."""

    def append(
        self,
        session_id: str,
        events: Sequence[tuple[str, Event]],
        content_version: str,
        now: datetime,
        expected_length: int,
    ) -> object:
        """Keep events durably, all or none; raises SessionMoved if the length does not fit."""

    def events(self, session_id: str) -> list[StoredEvent]:
        """Return all events of a session; raises SessionNotFound."""


@dataclass(frozen=True, slots=True)
class Place:
    """Which record lines wait for: told by a hash, shown without its password."""

    key: str
    location: str
    is_server: bool


@dataclass(frozen=True, slots=True)
class WaitingLine:
    """What one turn puts on record: pairs of speaker and event, and where they belong."""

    session_id: str
    expected_length: int
    recorded_at: datetime
    content_version: str
    spoken: tuple[tuple[str, Event], ...]

    def is_in(self, stored: Sequence[StoredEvent]) -> bool:
        """Whether exactly this line stands at its place among the events of its session."""
        there = stored[self.expected_length : self.expected_length + len(self.spoken)]
        return [
            (item.speaker, item.kind, item.data, item.recorded_at, item.content_version)
            for item in there
        ] == [
            (speaker, event.kind, _plain(event), utc_text(self.recorded_at), self.content_version)
            for speaker, event in self.spoken
        ]


def place_of(target: str | os.PathLike[str] | None) -> Place:
    """Return which record the target of `open_store` is; raises ValueError if it is none."""
    target = os.fspath(target or default_store_path())
    if "://" in target:
        from sqlalchemy.engine import make_url
        from sqlalchemy.exc import ArgumentError

        try:
            url = make_url(target)
        except ArgumentError:
            raise ValueError("the address cannot be read") from None  # it may quote the password
        if url.drivername.startswith("postgres"):
            location = shown(url.set(query={}).render_as_string(hide_password=True))
            return Place(_key(["server", *_server_name(url)]), location, is_server=True)
        target = url.database or ""
    try:
        path = os.path.realpath(Path(target).expanduser())
    except RuntimeError as error:  # no such user
        raise ValueError(str(error)) from None
    return Place(_key(["file", path]), shown(path), is_server=False)


def _server_name(url: URL) -> list[Any]:
    """Return what tells one server's record from another, whoever's name opens it.

    An option of the address goes before what stands in front of it, as PostgreSQL's client library
    has it ("Parameter Key Words"); a database without a name is called after its user.
    """
    options = {key: str(value) for key, value in url.query.items()}
    host = options.get("hostaddr") or options.get("host") or url.host or ""
    return [
        _THIS_COMPUTER[0] if host.lower() in _THIS_COMPUTER else host.lower(),
        int(options["port"]) if options.get("port", "").isdecimal() else url.port or 5432,
        options.get("dbname") or url.database or url.username,
        *([key, options[key]] for key in _PLACE_OPTIONS if key in options),
    ]


def is_anything_waiting(folder: Path) -> bool:
    """Whether any file waits in `folder`, for whatever record: one look at the folder."""
    return next(_waiting_files(folder), None) is not None


def files_for(place: Place, folder: Path) -> list[Path]:
    """Return the files that wait for a record, in order of their names."""
    return [path for path in sorted(_waiting_files(folder)) if _is_for(place, path)]


def others_waiting(place: Place, folder: Path) -> dict[str, int]:
    """Return how many lines wait for records other than `place`, by where those are [count]."""
    found: dict[str, int] = {}
    for path in sorted(_waiting_files(folder)):
        location = _location_in(path)
        if location is not None and not _is_for(place, path):
            found[location] = found.get(location, 0) + count_of(path)
    return found


def count_of(path: Path) -> int:
    """Return how many lines wait in a file, none where it is gone."""
    try:
        return path.read_bytes().count(b"\n")
    except OSError:
        return 0


def lines_of(path: Path) -> list[WaitingLine]:
    """Return the lines that wait in a file, in order.

    Raises StoreDamaged naming file and line, StoreNewer, or OSError.
    """
    return [
        _line_from(text, path, number)
        for number, text in enumerate(path.read_bytes().split(b"\n")[:-1], start=1)
    ]


def deliver(store: Shelf, lines: Sequence[WaitingLine]) -> Iterator[WaitingLine]:
    """Write lines of one session in order; yield each that is in the record after this.

    What is there already, because an answer was lost on its way back, is not written again.
    Raises SessionMoved at a line that does not fit, and what `append` and `events` raise.
    """
    stored: list[StoredEvent] = []
    for line in lines:
        if not line.is_in(stored):
            try:
                store.append(
                    line.session_id, line.spoken, line.content_version, line.recorded_at,
                    line.expected_length,
                )  # fmt: skip
            except SessionMoved:
                with contextlib.suppress(SessionNotFound):
                    stored = store.events(line.session_id)
                if not line.is_in(stored):
                    raise _misfit(line, len(stored)) from None
        yield line


def _misfit(line: WaitingLine, length: int) -> SessionMoved:
    name = shown(line.session_id)
    if length < line.expected_length:
        return SessionMoved(
            f"the record holds only {length} of the {line.expected_length} events of session "
            f"{name} that go before"
        )
    return SessionMoved(f"another desk has gone on with session {name} meanwhile")


def _key(name: list[Any]) -> str:
    return sha256(canonical_json(name).encode("ascii")).hexdigest()


def _plain(event: Event) -> Any:
    # Through JSON and back, as the store does, so that equal means equal as read.
    return json.loads(canonical_json(event_to_data(event)))


def _waiting_files(folder: Path) -> Iterator[Path]:
    with contextlib.suppress(OSError), os.scandir(folder) as entries:
        yield from [Path(entry) for entry in entries if entry.name.endswith(WAITING)]


def _location_in(path: Path) -> str | None:
    """Return where the record is that a file waits for, as its first line says."""
    try:
        with path.open("rb") as file:
            return str(json.loads(file.readline())["store"]["location"])
    except (OSError, ValueError, LookupError, TypeError):
        return None


def _is_for(place: Place, path: Path) -> bool:
    try:
        with path.open("rb") as file:
            first = file.readline()
        # One that holds nothing is anybody's, to be removed; so is one that cannot be read, to be
        # told of.
        return not first.endswith(b"\n") or json.loads(first)["store"]["key"] == place.key
    except OSError:
        return False
    except (ValueError, LookupError, TypeError):
        return True


def _line_from(text: bytes, path: Path, number: int) -> WaitingLine:
    where = f"{shown(path)} line {number}"
    try:
        data = json.loads(text)
        if data["event_format"] > EVENT_FORMAT:
            raise StoreNewer(f"{where} was written by a newer version; update triage to write it")
        return WaitingLine(
            str(data["session_id"]),
            int(data["expected_length"]),
            datetime.fromisoformat(data["recorded_at"]),
            str(data["content_version"]),
            tuple(
                (str(who), event_from_data(kind, fields)) for who, kind, fields in data["events"]
            ),
        )
    except (ValueError, LookupError, TypeError, AttributeError) as error:
        raise StoreDamaged(
            f"{where} is not as it was written ({shown(error)}); what can be read of it can be "
            "typed again"
        ) from error
