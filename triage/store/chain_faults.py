"""What was done to a session's events: altered, dropped, moved or put in, each named. Pure."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from enum import StrEnum
from typing import Any

from triage.store.record import FIRST_PREVIOUS_HASH, StoredEvent, hash_of, verify_event
from triage.store.rows import RowFault, from_row


class Harm(StrEnum):
    """What was done."""

    ALTERED = "altered"
    DROPPED = "dropped"
    REORDERED = "reordered"
    INSERTED = "inserted"
    UNLISTED = "unlisted"
    UNGUARDED = "unguarded"


@dataclass(frozen=True, slots=True)
class Fault:
    """One thing not as it was written; `sequence` is the event, None for a whole session."""

    session_id: str
    sequence: int | None
    harm: Harm
    words: str


def faults_of_events(
    session_id: str,
    rows: Sequence[Mapping[Any, Any]],
    *,
    count: int | None = None,
    head_hash: str = "",
    first_hash: str = "",
) -> Iterator[Fault]:
    """Yield every fault of one session's rows, in order of their sequence.

    count, head_hash: what the list knows of the last event, None if nothing is known
    first_hash: what the register knows of the first one, "" if nothing is known
    """
    events: list[StoredEvent] = []
    for row in rows:
        try:
            events.append(from_row(row))
        except RowFault as error:
            sequence = row["sequence"] if isinstance(row["sequence"], int) else None
            yield Fault(session_id, sequence, Harm.ALTERED, str(error))
    readable = {event.sequence for event in events}
    garbled = {row["sequence"] for row in rows} - readable
    order = _written_order(events)
    yield from _moved(session_id, order)
    previous: StoredEvent | None = None
    for event in events:
        yield from _gap(session_id, event, previous, garbled)
        yield from _faults_of(session_id, event, previous, order)
        previous = event
    yield from _end(session_id, previous, garbled, count, head_hash)
    if events and first_hash and events[0].sequence == 1 and events[0].hash != first_hash:
        words = "event 1 is not the one the register knows: the session was written anew"
        yield Fault(session_id, 1, Harm.ALTERED, words)


def _written_order(events: Sequence[StoredEvent]) -> dict[int, int]:
    """Return where each event stands today and where its hash says it was written.

    Only those whose hash holds at another place are in it.
    """
    # One behind the last as well: with an event taken out, all behind it may have moved up.
    sequences = range(1, max((event.sequence for event in events), default=0) + 2)
    moved: dict[int, int] = {}
    for event in events:
        if verify_event(event) is None:
            continue
        for sequence in sequences:
            if hash_of(replace(event, sequence=sequence)) == event.hash:
                moved[event.sequence] = sequence
                break
    return moved


def _moved(session_id: str, order: Mapping[int, int]) -> Iterator[Fault]:
    """Yield each run of events that stand as far from their places as the one before."""
    run: list[int] = []
    for here in sorted(order):
        if run and (here != run[-1] + 1 or order[here] - here != order[run[-1]] - run[-1]):
            yield _moved_run(session_id, run, order)
            run = []
        run.append(here)
    if run:
        yield _moved_run(session_id, run, order)


def _moved_run(session_id: str, run: Sequence[int], order: Mapping[int, int]) -> Fault:
    first, last = run[0], run[-1]
    words = (
        f"event {first} was written as event {order[first]}"
        if first == last
        else f"events {first} to {last} were written as events {order[first]} to {order[last]}"
    )
    return Fault(session_id, first, Harm.REORDERED, words)


def _gap(
    session_id: str, event: StoredEvent, previous: StoredEvent | None, garbled: set[object]
) -> Iterator[Fault]:
    expected = 1 if previous is None else previous.sequence + 1
    missing = [number for number in range(expected, event.sequence) if number not in garbled]
    if missing:
        yield Fault(session_id, missing[0], Harm.DROPPED, _missing(missing))


def _faults_of(
    session_id: str, event: StoredEvent, previous: StoredEvent | None, order: Mapping[int, int]
) -> Iterator[Fault]:
    here = event.sequence
    if here in order:
        return
    if verify_event(event) is not None:
        words = f"event {here} was changed after it was written"
        yield Fault(session_id, here, Harm.ALTERED, words)
        return
    if previous is None:
        if here == 1 and event.previous_hash != FIRST_PREVIOUS_HASH:
            words = "event 1 begins no session: what came before it was dropped"
            yield Fault(session_id, 1, Harm.DROPPED, words)
        return
    is_behind = event.previous_hash == previous.hash
    if here == previous.sequence + 1 and not is_behind and previous.sequence not in order:
        words = (
            f"event {here} does not follow event {previous.sequence}: one of the two was put in, "
            "or something between them taken out"
        )
        yield Fault(session_id, here, Harm.INSERTED, words)


def _end(
    session_id: str,
    last: StoredEvent | None,
    garbled: set[object],
    count: int | None,
    head_hash: str,
) -> Iterator[Fault]:
    if count is None:
        return
    have = 0 if last is None else last.sequence
    gone = [number for number in range(have + 1, count + 1) if number not in garbled]
    if gone:
        yield Fault(session_id, gone[0], Harm.DROPPED, f"{_missing(gone)} at the end")
    elif have > count:
        words = f"event {count + 1} was put in behind the last one the list knows"
        yield Fault(session_id, count + 1, Harm.INSERTED, words)
    elif last is not None and last.hash != head_hash and verify_event(last) is None:
        words = f"event {have} is not the one the list knows as the last: it was written anew"
        yield Fault(session_id, have, Harm.ALTERED, words)


def _missing(sequences: Sequence[int]) -> str:
    if len(sequences) == 1:
        return f"event {sequences[0]} is missing"
    return f"events {sequences[0]} to {sequences[-1]} are missing"
