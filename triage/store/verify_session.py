"""One session held against everything that knows of it: register, list, purges, its own hashes.

SQLAlchemy is imported at the head here, so this module is reached only from inside functions.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from sqlalchemy.engine import Connection

from triage.store.chain_faults import Fault, Harm, faults_of_events
from triage.store.errors import StoreError, shown
from triage.store.lines import call_before, row_of
from triage.store.purge import BLANKED
from triage.store.rows import RowFault, from_row
from triage.store.summary import Counts, summarized

_GIVEN_BY_THE_STORE = {"number", "previous_number", "purged_at"}
_TOLERANCE_S = 1e-3
_MOST_AT_ONE_MOMENT = 1_000_000
"""Numbers are made unique upwards from the moment of starting: by less than a second."""


@dataclass(frozen=True, slots=True)
class Kept:
    """What each table holds of a session; None where it holds nothing."""

    session_id: str
    rows: Sequence[Mapping[Any, Any]]
    line: Mapping[Any, Any] | None
    first_hash: str | None
    purge: Mapping[Any, Any] | None


def faults_of_session(
    connection: Connection, kept: Kept, head: tuple[int, str] | None
) -> tuple[list[Fault], Counts]:
    """Return the faults of one session, and what its events add to the counts of questions.

    head: how many events it had at an earlier time, and the hash of the last of them
    """
    faults = list(_faults_beside(kept))
    if kept.purge is not None:
        faults += _faults_of_purged(kept, head)
        return faults, {}
    if not kept.rows:
        return [*faults, _whole(kept, Harm.DROPPED, "all its events were dropped")], {}
    line = kept.line
    of_events = list(
        faults_of_events(
            kept.session_id,
            kept.rows,
            count=None if line is None else line["count"],
            head_hash="" if line is None else line["head_hash"],
            first_hash=kept.first_hash or "",
        )
    )
    faults += of_events
    if head is not None:
        faults += _faults_of_head(kept, head)
    if of_events or line is None:
        return faults, {}
    try:
        told, counts = summarized(from_row(row) for row in kept.rows)
    except (RowFault, StoreError, ValueError) as error:
        words = f"it cannot be read: {shown(error)}"
        return [*faults, _whole(kept, Harm.ALTERED, words)], {}
    faults += _faults_of_line(kept, line, row_of(told))
    faults += _faults_of_following(connection, kept, line)
    return faults, counts


def _faults_beside(kept: Kept) -> Iterator[Fault]:
    if kept.first_hash is None:
        yield _whole(kept, Harm.INSERTED, "the register does not know it: it was put in")
    if kept.line is None:
        yield _whole(kept, Harm.UNLISTED, "it is missing from the list of sessions")
        return
    purged_at = "" if kept.purge is None else kept.purge["purged_at"]
    if kept.line["purged_at"] != purged_at:
        words = "the list says it was purged, and it was not" if not purged_at else (
            "it was purged, and the list does not say so"
        )  # fmt: skip
        yield _whole(kept, Harm.ALTERED, words)


def _faults_of_purged(kept: Kept, head: tuple[int, str] | None) -> Iterator[Fault]:
    purge, line = kept.purge, kept.line
    if purge is None:
        return
    if kept.rows:
        sequence = kept.rows[0]["sequence"]
        words = f"event {sequence} was put in after the session was purged"
        yield Fault(kept.session_id, sequence, Harm.INSERTED, words)
    if line is not None and (line["count"], line["head_hash"]) != (
        purge["count"], purge["head_hash"],
    ):  # fmt: skip
        words = "the list and the purge do not agree on its last event"
        yield _whole(kept, Harm.ALTERED, words)
    for name, blank in BLANKED.items():
        if line is not None and line[name] != blank:
            words = f"it was purged, and the list still has its {name}"
            yield _whole(kept, Harm.ALTERED, words)
    if head is not None and head[0] > purge["count"]:
        words = f"events {purge['count'] + 1} to {head[0]} were dropped before it was purged"
        yield _whole(kept, Harm.DROPPED, words)
    elif head is not None and head[0] == purge["count"] and head[1] != purge["head_hash"]:
        yield _whole(kept, Harm.ALTERED, "it was written anew before it was purged")


def _faults_of_head(kept: Kept, head: tuple[int, str]) -> Iterator[Fault]:
    count, head_hash = head
    stands = next((row["hash"] for row in kept.rows if row["sequence"] == count), None)
    if stands is None:
        words = f"event {count} was there when heads were kept, and is gone"
        yield Fault(kept.session_id, count, Harm.DROPPED, words)
    elif stands != head_hash:
        words = f"event {count} is not the one that stood there when heads were kept"
        yield Fault(kept.session_id, count, Harm.ALTERED, words)


def _faults_of_line(
    kept: Kept, line: Mapping[Any, Any], told: Mapping[str, Any]
) -> Iterator[Fault]:
    """Yield where the list says otherwise than the events."""
    late = line["number"] - told["number"]
    if not 0 <= late < _MOST_AT_ONE_MOMENT:
        yield _whole(kept, Harm.ALTERED, "the list says another moment of starting than its events")
    for name, is_so in told.items():
        said = line[name]
        is_close = isinstance(is_so, float) and abs(said - is_so) < _TOLERANCE_S
        if name not in _GIVEN_BY_THE_STORE and said != is_so and not is_close:
            words = f'the list says {name} "{shown(said)}", its events "{shown(is_so)}"'
            yield _whole(kept, Harm.ALTERED, words)


def _faults_of_following(
    connection: Connection, kept: Kept, line: Mapping[Any, Any]
) -> Iterator[Fault]:
    earlier = call_before(connection, line["serial_key"], line["number"])
    if line["previous_number"] != earlier:
        words = "the list says it follows another call on its machine than it does"
        yield _whole(kept, Harm.ALTERED, words)


def _whole(kept: Kept, harm: Harm, words: str) -> Fault:
    return Fault(kept.session_id, None, harm, words)
