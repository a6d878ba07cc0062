"""Proving the record whole: every hash, every link, and that lists say what events say.

SQLAlchemy is imported at the head here, so this module is reached only from inside functions.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, fields, replace
from typing import Any

from sqlalchemy import Table, select
from sqlalchemy.engine import Connection, RowMapping

from triage.store import schema
from triage.store.chain_faults import Fault, Harm, faults_of_events
from triage.store.errors import StoreError, shown
from triage.store.lines import COLUMNS, summary_of
from triage.store.links import FIRST_PREVIOUS_LINK, MARK_SIGNS, link_of, mark_of
from triage.store.listing import SessionSummary
from triage.store.reading import rows_of
from triage.store.rows import RowFault, from_row
from triage.store.summary import summarized

_EVENTS, _LINES, _REGISTER, _PURGES = (
    schema.events,
    schema.sessions,
    schema.register,
    schema.purges,
)
_AT_ONCE = 500
"""Sessions whose events are read in one go."""

# The store gives these; purging blanks what it must.
_NOT_FROM_EVENTS = {"number", "previous_number", "purged_at", "fault"}
_COMPARED = tuple(item.name for item in fields(SessionSummary) if item.name not in _NOT_FROM_EVENTS)
_TOLERANCE_S = 1e-3

Progress = Callable[[int, int], None]
"""Called with how many sessions are done, and of how many."""


@dataclass(frozen=True, slots=True)
class Verified:
    """What was looked at and what was found; `mark` names the register as it is now."""

    sessions: int
    events: int
    purged: int
    faults: tuple[Fault, ...]
    mark: str


def verify(connection: Connection, against: str, progress: Progress) -> Verified:
    """Return every fault of the whole record.

    against: a mark of an earlier time that must still hold, "" for none
    """
    faults: list[Fault] = []
    registered, mark = _links(connection, _REGISTER, "register", faults)
    purged, _ = _links(connection, _PURGES, "list of purges", faults)
    faults += _faults_of_mark(connection, against)
    faults += _unregistered(connection)
    events = 0
    for done, (session_id, line, rows) in enumerate(_sessions(connection), start=1):
        events += len(rows)
        faults += faults_of_session(
            session_id, line, rows, registered.get(session_id), purged.get(session_id)
        )
        progress(done, len(registered))
    return Verified(len(registered), events, len(purged), tuple(faults), mark)


def verify_session(connection: Connection, session_id: str) -> Verified:
    """Return every fault of one session."""
    wanted = [session_id]
    line = _lines(connection, wanted).get(session_id)
    rows = rows_of(connection, wanted).get(session_id, [])
    register, purge = (
        connection.execute(select(table).where(table.c.session_id == session_id)).mappings().first()
        for table in (_REGISTER, _PURGES)
    )
    faults = faults_of_session(session_id, line, rows, register, purge)
    return Verified(1, len(rows), 0 if purge is None else 1, tuple(faults), "")


def faults_of_session(
    session_id: str,
    line: SessionSummary | None,
    rows: Sequence[RowMapping],
    register: RowMapping | None,
    purge: RowMapping | None,
) -> list[Fault]:
    """Return the faults of one session against the list, the register and the purges."""
    if purge is not None:
        return list(_faults_of_purged(session_id, line, rows, purge))
    faults = list(
        faults_of_events(
            session_id,
            rows,
            count=None if line is None else line.count,
            head_hash="" if line is None else line.head_hash,
            first_hash="" if register is None else register["first_hash"],
        )
    )
    if not rows:
        words = "all its events were dropped"
        return [Fault(session_id, None, Harm.DROPPED, words)]
    if line is None:
        words = "it is missing from the list of sessions"
        faults.append(Fault(session_id, None, Harm.UNLISTED, words))
    elif not faults:
        faults += _faults_of_line(line, rows)
    return faults


def _faults_of_purged(
    session_id: str, line: SessionSummary | None, rows: Sequence[RowMapping], purge: RowMapping
) -> Iterator[Fault]:
    if rows:
        words = f"event {rows[0]['sequence']} was put in after the session was purged"
        yield Fault(session_id, rows[0]["sequence"], Harm.INSERTED, words)
    if line is None:
        words = "it is missing from the list of sessions"
        yield Fault(session_id, None, Harm.UNLISTED, words)
    elif (line.count, line.head_hash) != (purge["count"], purge["head_hash"]):
        words = "the list and the purge do not agree on its last event"
        yield Fault(session_id, None, Harm.ALTERED, words)


def _faults_of_line(line: SessionSummary, rows: Sequence[RowMapping]) -> Iterator[Fault]:
    """Yield where the list says otherwise than the events."""
    try:
        told, _ = summarized(from_row(row) for row in rows)
    except (RowFault, StoreError, ValueError) as error:
        yield Fault(line.session_id, None, Harm.ALTERED, f"it cannot be read: {shown(error)}")
        return
    if abs(told.active_s - line.active_s) < _TOLERANCE_S:
        told = replace(told, active_s=line.active_s)
    for name in _COMPARED:
        said, is_so = getattr(line, name), getattr(told, name)
        if said != is_so:
            words = f'the list says {name} "{shown(said)}", its events "{shown(is_so)}"'
            yield Fault(line.session_id, None, Harm.ALTERED, words)


def _links(
    connection: Connection, table: Table, name: str, faults: list[Fault]
) -> tuple[dict[str, RowMapping], str]:
    """Return the rows of a linked table by session, and its mark; add its own faults."""
    found: dict[str, RowMapping] = {}
    position, link = 0, FIRST_PREVIOUS_LINK
    for row in connection.execute(select(table).order_by(table.c.position)).mappings():
        expected = position + 1
        where = f"in the {name}, position {expected}"
        if row["position"] != expected:
            words = f"{where} was dropped: {row['position']} stands there"
            faults.append(Fault("", None, Harm.DROPPED, words))
        elif row["previous_link"] != link:
            words = f"{where} does not follow the one before: one was put in, dropped or changed"
            faults.append(Fault(row["session_id"], None, Harm.REORDERED, words))
        if _link_of_row(row) != row["link"]:
            words = f"in the {name}, position {row['position']} was changed after it was written"
            faults.append(Fault(row["session_id"], None, Harm.ALTERED, words))
        position, link = row["position"], row["link"]
        found[row["session_id"]] = row
    return found, mark_of(position, link)


def _link_of_row(row: Mapping[Any, Any]) -> str:
    try:
        return link_of({str(name): value for name, value in row.items()})
    except (TypeError, ValueError):
        return ""


def _faults_of_mark(connection: Connection, against: str) -> Iterator[Fault]:
    if not against:
        return
    position, _, beginning = against.partition("-")
    link = connection.execute(
        select(_REGISTER.c.link).where(_REGISTER.c.position == int(position))
    ).scalar()
    if int(position) and (link is None or link[:MARK_SIGNS] != beginning):
        words = (
            f"the register is not the one of mark {shown(against)}: sessions up to position "
            f"{position} were dropped or written anew"
        )
        yield Fault("", None, Harm.DROPPED, words)


def _unregistered(connection: Connection) -> Iterator[Fault]:
    """Yield sessions that have events or a line but never came in through the register."""
    known = select(_REGISTER.c.session_id)
    for table, what in ((_EVENTS, "it has events"), (_LINES, "it is in the list")):
        statement = select(table.c.session_id).where(table.c.session_id.not_in(known)).distinct()
        for session_id in connection.execute(statement).scalars():
            words = f"{what}, but the register does not know it: it was put in"
            yield Fault(str(session_id), None, Harm.INSERTED, words)


def _sessions(
    connection: Connection,
) -> Iterator[tuple[str, SessionSummary | None, list[RowMapping]]]:
    """Yield each registered session with its line and its rows."""
    position = 0
    while True:
        page = connection.execute(
            select(_REGISTER.c.position, _REGISTER.c.session_id)
            .where(_REGISTER.c.position > position)
            .order_by(_REGISTER.c.position)
            .limit(_AT_ONCE)
        ).all()
        if not page:
            return
        ids = [row.session_id for row in page]
        lines, rows = _lines(connection, ids), rows_of(connection, ids)
        for session_id in ids:
            yield session_id, lines.get(session_id), rows.get(session_id, [])
        position = page[-1].position


def _lines(connection: Connection, ids: Sequence[str]) -> dict[str, SessionSummary]:
    statement = select(*COLUMNS).where(_LINES.c.session_id.in_(ids))
    found = connection.execute(statement).mappings()
    return {row["session_id"]: summary_of(row) for row in found}
