"""One kept event, its canonical text and the chain of hashes that ties a session together.

The chain shows a record that was changed, taken out of the middle, put in or moved. It holds no
secret, so it does not show a last event that was cut off, nor a chain rewritten as a whole.
"""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import dataclass, fields
from datetime import UTC, datetime
from hashlib import sha256
from typing import Any

from triage.dialogue.events import (
    EVENT_FORMAT,
    Event,
    EventError,
    event_from_data,
    event_to_data,
)
from triage.store.errors import StoreDamaged, StoreNewer, shown

FIRST_PREVIOUS_HASH = "0" * 64
"""What stands in the place of a hash before the first event of a session."""

_ID_SIGNS = "23456789bcdfghjkmnpqrstvwxz"
"""Digits and consonants that are not taken for one another and spell no words."""
_ID_TAIL = 4
SESSION_ID_LENGTH = len("20261125-0931-") + _ID_TAIL
"""Characters of a session id, which is there to be copied and never broken."""


@dataclass(frozen=True, slots=True)
class StoredEvent:
    """An event as it is kept: who, when, under which content, and its place in the chain.

    `sequence` counts from 1 within the session, `recorded_at` is UTC in ISO 8601 with
    microseconds, `data` is plain JSON data, `hash` covers every other field.
    """

    session_id: str
    sequence: int
    recorded_at: str
    speaker: str
    content_version: str
    event_format: int
    kind: str
    data: dict[str, Any]
    previous_hash: str
    hash: str

    @property
    def event(self) -> Event:
        """The event itself; raises what `event_of` raises."""
        return event_of(self)


def canonical_json(value: Any) -> str:
    r"""Return the one JSON text of `value`: sorted keys, no spaces, ASCII only.

    ASCII keeps NUL and lone surrogates, which a database text column may refuse, as escapes.
    Raises ValueError for what is not finite, TypeError for what JSON cannot hold.

    >>> canonical_json({"b": 1.5, "a": ["°"]})
    '{"a":["\\u00b0"],"b":1.5}'
    """
    return json.dumps(
        value, sort_keys=True, separators=(",", ":"), ensure_ascii=True, allow_nan=False
    )


def hash_of(stored: StoredEvent) -> str:
    """Return the hash `stored` must carry: SHA-256 of the canonical JSON of its other fields."""
    return _hash_of_fields({name: getattr(stored, name) for name in _HASHED})


def chain(
    session_id: str,
    events: Sequence[tuple[str, Event]],
    content_version: str,
    now: datetime,
    length: int,
    previous_hash: str,
) -> list[StoredEvent]:
    """Return `events`, pairs of speaker and event, as the next records of a session.

    session_id: the session they belong to
    content_version: hash of the content they were asked under
    now: time of recording, with its zone
    length: how many events the session has already [count]
    previous_hash: hash of the last of them, FIRST_PREVIOUS_HASH if there is none
    Raises ValueError if `now` has no zone, a name has unprintable signs or a number is not finite.
    """
    recorded_at = utc_text(now)
    records: list[StoredEvent] = []
    for sequence, (speaker, event) in enumerate(events, start=length + 1):
        for text in (session_id, speaker, content_version):
            if not text.isprintable():
                raise ValueError(f"unprintable sign in {text!r}; names in the store are plain text")
        values: dict[str, Any] = {
            "session_id": session_id,
            "sequence": sequence,
            "recorded_at": recorded_at,
            "speaker": speaker,
            "content_version": content_version,
            "event_format": EVENT_FORMAT,
            "kind": event.kind,
            # Through JSON and back, so that what is returned equals what will be read.
            "data": json.loads(canonical_json(event_to_data(event))),
            "previous_hash": previous_hash,
        }
        previous_hash = _hash_of_fields(values)
        records.append(StoredEvent(**values, hash=previous_hash))
    return records


def verify_chain(events: Sequence[StoredEvent]) -> str | None:
    """Return the first fault of a session's events in words, or None if the chain holds.

    The chain must begin at event 1; an end cut off cannot be seen from the events alone.
    """
    previous_hash = FIRST_PREVIOUS_HASH
    for sequence, stored in enumerate(events, start=1):
        if stored.sequence != sequence:
            return (
                f"event {sequence} is missing or out of order: event {stored.sequence} stands there"
            )
        if stored.session_id != events[0].session_id:
            return f"event {sequence} belongs to another session, {shown(stored.session_id)}"
        if stored.previous_hash != previous_hash:
            return f"event {sequence} does not follow the event before it"
        fault = verify_event(stored)
        if fault is not None:
            return fault
        previous_hash = stored.hash
    return None


def verify_event(stored: StoredEvent) -> str | None:
    """Return the fault of one event by itself in words, or None if it is as it was written."""
    try:
        is_sound = hash_of(stored) == stored.hash
    except (TypeError, ValueError, RecursionError):
        is_sound = False
    return None if is_sound else f"event {stored.sequence} was changed after it was written"


def event_of(stored: StoredEvent) -> Event:
    """Return the event kept in `stored`.

    Older formats are to be lifted here, step by step, once there is more than one.
    Raises StoreNewer if a newer version wrote it, StoreDamaged if it is of no known shape.
    """
    where = f"session {shown(stored.session_id)} event {stored.sequence}"
    if stored.event_format > EVENT_FORMAT:
        raise StoreNewer(
            f"{where} was written by a newer version (event format {stored.event_format}, "
            f"this version reads up to {EVENT_FORMAT}); update triage to read it"
        )
    try:
        return event_from_data(stored.kind, stored.data)
    except EventError as error:
        raise StoreDamaged(
            f"{where} cannot be read: {shown(error)}; update triage, or restore a backup"
        ) from error


def new_session_id(now: datetime, random_bytes: bytes) -> str:
    """Return a short id that sorts by time and can be read out on the phone.

    now: when the session starts, with its zone; written in UTC to the minute
    random_bytes: at least four random bytes; 27^4 tails a minute, a clash shows as SessionMoved
    Raises ValueError if `now` has no zone or there are too few bytes.

    >>> new_session_id(datetime(2026, 11, 25, 9, 31, tzinfo=UTC), bytes([0, 1, 2, 3]))
    '20261125-0931-cmc5'
    """
    if len(random_bytes) < _ID_TAIL:
        raise ValueError(f"a session id needs {_ID_TAIL} random bytes, got {len(random_bytes)}")
    number = int.from_bytes(random_bytes, "big")
    tail = ""
    for _ in range(_ID_TAIL):
        number, place = divmod(number, len(_ID_SIGNS))
        tail += _ID_SIGNS[place]
    return f"{_in_utc(now):%Y%m%d-%H%M}-{tail}"


def utc_text(now: datetime) -> str:
    """Return `now` in UTC, ISO 8601 with microseconds, so that text order is time order.

    Raises ValueError if `now` has no zone.

    >>> utc_text(datetime(2026, 11, 25, 9, 31, tzinfo=UTC))
    '2026-11-25T09:31:00.000000+00:00'
    """
    return _in_utc(now).isoformat(timespec="microseconds")


def _in_utc(now: datetime) -> datetime:
    if now.utcoffset() is None:
        raise ValueError("a time of recording needs its zone; pass datetime.now(UTC)")
    return now.astimezone(UTC)


def _hash_of_fields(values: dict[str, Any]) -> str:
    return sha256(canonical_json(values).encode("ascii")).hexdigest()


_HASHED = tuple(item.name for item in fields(StoredEvent) if item.name != "hash")
