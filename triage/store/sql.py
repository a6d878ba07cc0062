"""The store itself: sessions in, sessions out, the same on every engine.

SQLAlchemy is imported at the head here, so this module is reached only from inside functions.
"""

from __future__ import annotations

import json
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from datetime import datetime
from typing import Any, Self

from sqlalchemy import ColumnElement, Select, and_, func, insert, literal_column, select
from sqlalchemy.engine import Connection, Engine
from sqlalchemy.exc import IntegrityError

from triage.dialogue.events import Concluded, Event
from triage.store import schema
from triage.store.border import translated
from triage.store.errors import (
    SessionAmbiguous,
    SessionMoved,
    SessionNotFound,
    StoreDamaged,
    shown,
)
from triage.store.record import (
    FIRST_PREVIOUS_HASH,
    SessionSummary,
    StoredEvent,
    canonical_json,
    chain,
    verify_chain,
    verify_event,
)

_EVENTS = schema.events
_COLUMNS = tuple(column.name for column in _EVENTS.columns)
_WHOLE_NUMBERS = {"sequence", "event_format"}
# Literals, not parameters: only then do the partial indexes apply.
_FIRST: ColumnElement[int] = literal_column("1")
_CONCLUDED: ColumnElement[str] = literal_column(f"'{Concluded.kind}'")
_LAST_SIGN = "\U0010ffff"
_SHOWN_WHEN_AMBIGUOUS = 5


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
        Raises SessionMoved, StoreFull, StoreBusy, StoreUnreachable, and ValueError if `now` has
        no zone or an event holds what JSON cannot.
        """
        if not events:
            return []
        with translated(self.location), self._engine.begin() as connection:
            last = connection.execute(
                select(_EVENTS.c.sequence, _EVENTS.c.hash)
                .where(_EVENTS.c.session_id == session_id)
                .order_by(_EVENTS.c.sequence.desc())
                .limit(1)
            ).first()
            length, previous_hash = (0, FIRST_PREVIOUS_HASH) if last is None else last
            if length != expected_length:
                raise _moved(session_id, expected_length, f"it has {length}")
            records = chain(
                session_id, events, content_version, now, expected_length, previous_hash
            )
            try:
                connection.execute(insert(_EVENTS), [_to_row(record) for record in records])
            except IntegrityError as error:
                raise _moved(session_id, expected_length, "now it has more") from error
        return records

    def events(self, session_id: str) -> list[StoredEvent]:
        """Return all events of a session in order, their chain verified.

        Raises SessionNotFound, StoreDamaged naming the first event that does not fit, StoreBusy
        or StoreUnreachable.
        """
        with self._reading() as connection:
            rows = connection.execute(
                select(_EVENTS)
                .where(_EVENTS.c.session_id == session_id)
                .order_by(_EVENTS.c.sequence)
            ).all()
        if not rows:
            raise _not_found(session_id, self.location)
        try:
            stored = [_from_row(row._asdict()) for row in rows]
            fault = verify_chain(stored)
        except _RowFault as error:
            fault = str(error)
        if fault is not None:
            raise StoreDamaged(
                f"session {shown(session_id)} in {self.location} is damaged: {fault}; restore a "
                "backup, or go on in a new session"
            )
        return stored

    def sessions(self, limit: int = 50, offset: int = 0) -> list[SessionSummary]:
        """Return a line for each session, the latest started first.

        limit: how many at most [count]; offset: how many to skip [count]
        Reads three events a session, whatever its length. A damaged one is listed with its fault.
        Raises StoreDamaged, StoreBusy or StoreUnreachable.
        """
        with self._reading() as connection:
            rows = connection.execute(_summary_query().limit(limit).offset(offset)).all()
        return [_summary(row._asdict()) for row in rows]

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
                select(_EVENTS.c.session_id)
                .where(
                    _EVENTS.c.session_id >= wanted,
                    _EVENTS.c.session_id < wanted + _LAST_SIGN,
                    _EVENTS.c.sequence == _FIRST,
                )
                .order_by(_EVENTS.c.session_id)
                .limit(_SHOWN_WHEN_AMBIGUOUS + 1)
            ).all()
            if not found and wanted.isalnum():
                found = connection.scalars(
                    select(_EVENTS.c.session_id)
                    .where(
                        _EVENTS.c.session_id.endswith(f"-{wanted}", autoescape=True),
                        _EVENTS.c.sequence == _FIRST,
                    )
                    .order_by(_EVENTS.c.session_id)
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

    @contextmanager
    def _reading(self) -> Iterator[Connection]:
        with translated(self.location), self._engine.connect() as connection:
            yield connection.execution_options(triage_reading=True)


class _RowFault(Exception):
    """A row holds what was never written there; the message says which, in words."""


def _to_row(stored: StoredEvent) -> dict[str, Any]:
    return {name: getattr(stored, name) for name in _COLUMNS} | {
        "data": canonical_json(stored.data)
    }


def _from_row(row: Mapping[str, Any], prefix: str = "") -> StoredEvent:
    values = {name: row[prefix + name] for name in _COLUMNS}
    where = f"event {shown(values['sequence'])}"
    for name, value in values.items():
        # SQLite takes any type in any column, so a hand in the file can leave anything.
        if type(value) is not (int if name in _WHOLE_NUMBERS else str):
            raise _RowFault(f"{where} was changed after it was written ({name})")
    try:
        data = json.loads(values["data"])
        is_as_written = isinstance(data, dict) and canonical_json(data) == values["data"]
    except (ValueError, RecursionError):
        is_as_written = False
    if not is_as_written:
        raise _RowFault(f"{where} was changed after it was written (data)")
    return StoredEvent(**values | {"data": data})


def _summary_query() -> Select[Any]:
    first, last, ending = (_EVENTS.alias(name) for name in ("first", "last", "ending"))
    any_event, any_ending = _EVENTS.alias("any_event"), _EVENTS.alias("any_ending")
    last_sequence = (
        select(func.max(any_event.c.sequence))
        .where(any_event.c.session_id == first.c.session_id)
        .scalar_subquery()
    )
    ending_sequence = (
        select(func.max(any_ending.c.sequence))
        .where(any_ending.c.session_id == first.c.session_id, any_ending.c.kind == _CONCLUDED)
        .scalar_subquery()
    )
    from_clause = first.join(
        last, and_(last.c.session_id == first.c.session_id, last.c.sequence == last_sequence)
    ).outerjoin(
        ending,
        and_(ending.c.session_id == first.c.session_id, ending.c.sequence == ending_sequence),
    )
    return (
        select(
            *(first.c[name].label(f"first_{name}") for name in _COLUMNS),
            *(last.c[name].label(f"last_{name}") for name in _COLUMNS),
            ending.c.data.label("ending_data"),
        )
        .select_from(from_clause)
        .where(first.c.sequence == _FIRST)
        .order_by(first.c.recorded_at.desc(), first.c.session_id.desc())
    )


def _summary(row: Mapping[str, Any]) -> SessionSummary:
    started: dict[str, Any] = {}
    concluded: dict[str, Any] = {}
    try:
        first, last = _from_row(row, "first_"), _from_row(row, "last_")
        fault = verify_event(first) or verify_event(last)
        started = first.data
        concluded = {} if row["ending_data"] is None else dict(json.loads(row["ending_data"]))
    except _RowFault as error:
        fault = str(error)
    except (TypeError, ValueError, RecursionError):
        fault = "its conclusion was changed after it was written"
    return SessionSummary(
        session_id=str(row["first_session_id"]),
        started_at=str(row["first_recorded_at"]),
        last_at=str(row["last_recorded_at"]),
        count=row["last_sequence"],
        tree=str(started.get("tree", "")),
        agent=str(started.get("agent", "")),
        last_kind=str(row["last_kind"]),
        result=str(concluded.get("result", "")),
        fault=fault or "",
    )


def _moved(session_id: str, expected_length: int, found: str) -> SessionMoved:
    return SessionMoved(
        f"another desk has added to this call: session {shown(session_id)} had {expected_length} "
        f"events here, {found}; nothing was written, resume it to see what was added"
    )


def _not_found(session_id: str, location: str) -> SessionNotFound:
    return SessionNotFound(
        f'no session "{shown(session_id)}" in {location}; `triage log list` shows what is there'
    )
