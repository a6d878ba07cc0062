"""The store itself: sessions in, sessions out, the same on every engine.

SQLAlchemy is imported at the head here, so this module is reached only from inside functions.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import replace
from datetime import datetime
from types import MappingProxyType
from typing import Self

from sqlalchemy import insert, select
from sqlalchemy.engine import Connection, Engine
from sqlalchemy.exc import IntegrityError

from triage.dialogue.events import Event
from triage.store import purge, queries, schema
from triage.store.border import translated
from triage.store.errors import (
    SessionAmbiguous,
    SessionMoved,
    SessionNotFound,
    StoreDamaged,
    StoreError,
    StoreNewer,
    shown,
)
from triage.store.figures import count_figures
from triage.store.guards import OLDER_PROGRAM
from triage.store.lines import add_counts, kept_summary, register, save_line, summary_of
from triage.store.listing import SessionFilter, SessionSummary
from triage.store.purge import Purged
from triage.store.reading import events_in, rows_of, with_faults
from triage.store.record import FIRST_PREVIOUS_HASH, StoredEvent, chain, utc_text
from triage.store.rows import to_row
from triage.store.summary import summarized
from triage.store.tallies import Figures
from triage.store.verify import Heads, Step, Verified, verify, verify_session

_EVENTS = schema.events
_LINES = schema.sessions
_LAST_SIGN = "\U0010ffff"
_SHOWN_WHEN_AMBIGUOUS = 5
_READ_AT_ONCE = 200
"""Sessions read in one go where many are read: bounds memory and the time a cursor stays open."""

EVERYTHING = SessionFilter()
FIRST_NUMBER = -(2**62)
NO_HEADS: Heads = MappingProxyType({})


class Store:
    """Sessions kept append-only on one database.

    Made by `open_store`. A store may be used from several threads and processes at once.
    """

    def __init__(self, engine: Engine, location: str) -> None:
        self._engine = engine
        self.location = location
        """Path or address of the store, for messages; a password is hidden."""

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_exception: object) -> None:
        self.close()

    def close(self) -> None:
        """Let go of the database."""
        self._engine.dispose()

    def append(
        self,
        session_id: str,
        events: Sequence[tuple[str, Event]],
        content_version: str,
        now: datetime,
        expected_length: int,
    ) -> list[StoredEvent]:
        """Return `events`, pairs of speaker and event, once all of them are durably kept.

        All or none are kept, and only if the session still has `expected_length` events (0 begins
        a session). After StoreUnreachable from a server, read the session before going on: the
        answer may have been lost on the way back.
        Raises SessionMoved, StoreFull, StoreBusy, StoreUnreachable, SessionNotFound for a purged
        session, and ValueError if `now` has no zone or an event holds what JSON cannot.
        """
        if not events:
            return []
        with translated(self.location), self._engine.begin() as connection:
            # The line says what the last event is; the database refuses an event that follows
            # another one.
            before = kept_summary(connection, session_id, is_held=True)
            if before is not None and before.purged_at:
                raise _purged(before, self.location)
            length, previous_hash = (
                (before.count, before.head_hash) if before else (0, FIRST_PREVIOUS_HASH)
            )
            if length != expected_length:
                raise _moved(session_id, expected_length, f"it has {length}")
            records = chain(
                session_id, events, content_version, now, expected_length, previous_hash
            )
            try:
                rows = [to_row(record) | {"step": schema.STEP} for record in records]
                connection.execute(insert(_EVENTS), rows)
            except IntegrityError as error:
                if OLDER_PROGRAM in str(error.orig):
                    raise _lifted(self.location) from error
                raise _moved(session_id, expected_length, "now it has more") from error
            summary, counts = summarized(records, before)
            save_line(connection, before, summary)
            add_counts(connection, counts)
            if before is None:  # last: calls that begin at once wait for one another here
                register(connection, session_id, records[0].hash)
        return records

    def events(self, session_id: str) -> list[StoredEvent]:
        """Return all events of a session in order, their chain verified.

        Raises SessionNotFound, StoreDamaged naming the first event that does not fit, StoreBusy
        or StoreUnreachable.
        """
        with self._reading() as connection:
            rows = (
                connection.execute(
                    select(_EVENTS)
                    .where(_EVENTS.c.session_id == session_id)
                    .order_by(_EVENTS.c.sequence)
                )
                .mappings()
                .all()
            )
        if not rows:
            raise self._gone(session_id)
        stored, fault = events_in(rows)
        if fault:
            raise StoreDamaged(
                f"session {shown(session_id)} in {self.location} is damaged: {fault}; restore a "
                "backup, or go on in a new session"
            )
        return stored

    def summary(self, session_id: str) -> SessionSummary:
        """Return the line of one session.

        Raises SessionNotFound, StoreDamaged, StoreBusy or StoreUnreachable.
        """
        with self._reading() as connection:
            found = kept_summary(connection, session_id)
        if found is None:
            raise _not_found(session_id, self.location)
        return found

    def sessions(
        self,
        limit: int | None = 50,
        before: int | None = None,
        where: SessionFilter = EVERYTHING,
    ) -> list[SessionSummary]:
        """Return a line for each session that `where` lets through, the latest started first.

        limit: how many at most [count]; before: the number of the last line of the page before
        The first and the last event of each are held against their hashes; a damaged session is
        listed with its fault. Raises StoreDamaged, StoreBusy or StoreUnreachable.
        """
        with self._reading() as connection:
            rows = connection.execute(queries.page(connection, where, limit, before)).mappings()
            return with_faults(connection, [summary_of(row) for row in rows])

    def each_session(
        self, where: SessionFilter = EVERYTHING, limit: int | None = None
    ) -> Iterator[tuple[SessionSummary, list[StoredEvent]]]:
        """Yield line and events of each session that `where` lets through, the latest first.

        limit: how many at most [count]
        Purged sessions are left out; a damaged one comes with its fault and no events. What is
        appended meanwhile may or may not be seen. Raises StoreBusy or StoreUnreachable.
        """
        before: int | None = None
        left = limit
        while left is None or left > 0:
            wanted = _READ_AT_ONCE if left is None else min(left, _READ_AT_ONCE)
            with self._reading() as connection:
                statement = queries.page(connection, where, wanted, before)
                lines = [summary_of(row) for row in connection.execute(statement).mappings()]
                kept = [line for line in lines if not line.purged_at]
                events = rows_of(connection, [line.session_id for line in kept])
            for line in kept:
                stored, fault = events_in(events.get(line.session_id, []))
                yield replace(line, fault=fault), [] if fault else stored
            if len(lines) < wanted:
                return
            before = lines[-1].number
            left = None if left is None else left - len(kept)

    def parked(self, agent: str = "") -> list[SessionSummary]:
        """Return the parked calls, the first due first; of one agent's desk if named.

        Raises StoreBusy or StoreUnreachable.
        """
        with self._reading() as connection:
            rows = connection.execute(queries.parked(agent)).mappings()
            return [summary_of(row) for row in rows]

    def confirmed_outcomes(self) -> dict[str, dict[str, int]]:
        """Return how many repairs found each cause, by tree, without those that did not hold.

        Raises StoreBusy or StoreUnreachable.
        """
        counts: dict[str, dict[str, int]] = {}
        with self._reading() as connection:
            for tree, outcome, count in connection.execute(queries.confirmed()):
                counts.setdefault(tree, {})[outcome] = count
        return counts

    def verify(
        self,
        against: str = "",
        heads: Heads = NO_HEADS,
        *,
        step: Step = lambda done, of: None,
        keep: Callable[[str, int, str], None] = lambda session_id, count, head_hash: None,
    ) -> Verified:
        """Return every fault of the whole record, as it was when the reading began.

        against: a mark of an earlier time that must still hold, "" for none
        heads: what stood at the end of each session at an earlier time; must still stand there
        step: called now and then with how many sessions are done, and of how many
        keep: called with each session, its count of events and its last hash
        Raises StoreDamaged where the database itself cannot be read, StoreBusy, StoreUnreachable.
        """
        with self._reading(is_steady=True) as connection:
            return verify(connection, against, heads, step, keep)

    def verify_session(self, session_id: str) -> Verified:
        """Return every fault of one session; raises StoreBusy or StoreUnreachable."""
        with self._reading(is_steady=True) as connection:
            return verify_session(connection, session_id)

    def count_purgeable(self, before: datetime) -> int:
        """Return how many calls were last touched before a moment [count]; raises StoreError."""
        with self._reading() as connection:
            return purge.count_purgeable(connection, utc_text(before))

    def purge(self, before: datetime, by: str, reason: str, now: datetime) -> Purged:
        """Delete what was said in calls last touched before a moment.

        In steps that each hold by themselves: interrupted, the rest is done the next time. Calls
        whose events are not as they were written are left. Raises
        StoreFull, StoreBusy or StoreUnreachable.
        """
        calls = events = 0
        damaged: list[str] = []
        behind = FIRST_NUMBER
        while True:
            with translated(self.location), self._engine.begin() as connection:
                lines = purge.purgeable(connection, utc_text(before), purge.AT_ONCE, behind)
                if not lines:
                    purge.blank_months(connection, utc_text(before))
                    break
                sound, others = purge.sound_and_damaged(connection, lines)
                events += purge.purge_lines(connection, sound, by, reason, utc_text(now))
                calls += len(sound)
                damaged += others
                behind = lines[-1].number
        with translated(self.location):
            return Purged(calls, events, purge.wipe(self._engine), tuple(damaged))

    def figures(self, since: datetime | None = None, until: datetime | None = None) -> Figures:
        """Return what calls started from `since` on and before `until` come to; None is no limit.

        Raises StoreBusy or StoreUnreachable, and ValueError for a time without a zone.
        """
        with self._reading() as connection:
            return count_figures(connection, since, until)

    def resolve(self, prefix: str) -> str:
        """Return the full id of the one session whose id begins with `prefix`.

        If none does, the one whose last part, behind a hyphen, is `prefix`.
        A whole id is found even if others begin with it; case and outer spaces do not matter.
        Raises SessionNotFound, SessionAmbiguous, StoreBusy or StoreUnreachable.
        """
        wanted = prefix.strip().lower()
        if not wanted or not wanted.isprintable():
            raise _not_found(prefix, self.location)
        with self._reading() as connection:
            found = connection.scalars(
                select(_LINES.c.session_id)
                .where(
                    _LINES.c.session_id >= wanted,
                    _LINES.c.session_id < wanted + _LAST_SIGN,
                )
                .order_by(_LINES.c.session_id)
                .limit(_SHOWN_WHEN_AMBIGUOUS + 1)
            ).all()
            if not found and wanted.isalnum():
                found = connection.scalars(
                    select(_LINES.c.session_id)
                    .where(_LINES.c.last_part == wanted)
                    .order_by(_LINES.c.session_id)
                    .limit(_SHOWN_WHEN_AMBIGUOUS + 1)
                ).all()
        if not found:
            raise _not_found(prefix, self.location)
        if len(found) == 1 or found[0] == wanted:
            return str(found[0])
        some = ", ".join(shown(session_id) for session_id in found[:_SHOWN_WHEN_AMBIGUOUS])
        more = " and more" if len(found) > _SHOWN_WHEN_AMBIGUOUS else ""
        raise SessionAmbiguous(
            f'"{shown(prefix)}" fits several sessions: {some}{more}; type more of the id'
        )

    def _gone(self, session_id: str) -> StoreError:
        """Return why a session has no events: never there, purged, or taken away by hand."""
        with self._reading() as connection:
            line = kept_summary(connection, session_id)
        if line is None:
            return _not_found(session_id, self.location)
        if line.purged_at:
            return _purged(line, self.location)
        return StoreDamaged(
            f"session {shown(session_id)} in {self.location} is damaged: all its events are gone; "
            "restore a backup"
        )

    @contextmanager
    def _reading(self, *, is_steady: bool = False) -> Iterator[Connection]:
        """Yield a connection that only reads; a steady one sees the record as it was at first."""
        with translated(self.location), self._engine.connect() as connection:
            if is_steady and connection.dialect.name == "postgresql":
                connection.execution_options(isolation_level="REPEATABLE READ")
            yield connection.execution_options(triage_reading=True)


def _moved(session_id: str, expected_length: int, found: str) -> SessionMoved:
    return SessionMoved(
        f"another desk has added to this call: session {shown(session_id)} had {expected_length} "
        f"events here, {found}; nothing was written, resume it to see what was added"
    )


def _lifted(location: str) -> StoreNewer:
    return StoreNewer(
        f"{location} was lifted by a newer version while this one was at it; nothing was written. "
        "Update triage, then resume the session"
    )


def _purged(line: SessionSummary, location: str) -> SessionNotFound:
    return SessionNotFound(
        f"the events of session {shown(line.session_id)} in {location} were purged on "
        f"{line.purged_at[:10]}; only its line in the list is left"
    )


def _not_found(session_id: str, location: str) -> SessionNotFound:
    return SessionNotFound(
        f'no session "{shown(session_id)}" in {location}; `triage log list` shows what is there'
    )
