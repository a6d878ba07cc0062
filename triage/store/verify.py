"""Proving the record whole: every hash, every link, the guards, and that lists say what events say.

The search for words is not looked at: it can be made anew from the lines, and proves nothing.
SQLAlchemy is imported at the head here, so this module is reached only from inside functions.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Any

from sqlalchemy import Table, func, select
from sqlalchemy.engine import Connection, RowMapping

from triage.store import schema
from triage.store.chain_faults import Fault, Harm
from triage.store.guards import missing_guards
from triage.store.lines import counts_in
from triage.store.links import FIRST_PREVIOUS_LINK, MARK_SIGNS, link_of, mark_of
from triage.store.reading import rows_of
from triage.store.summary import Counts, NodeCounts, add_to
from triage.store.verify_session import Kept, faults_of_session

_EVENTS, _LINES, _REGISTER, _PURGES, _MONTHS = (
    schema.events, schema.sessions, schema.register, schema.purges, schema.question_months,
)  # fmt: skip
_AT_ONCE = 500
"""Sessions whose events are read in one go."""
_TOLERANCE_S = 0.01
"""Sums of times differ a little by the order in which they were added."""

Step = Callable[[int, int], None]
"""Called with how many sessions are done, and of how many."""

Heads = Mapping[str, tuple[int, str]]
"""Of each session how many events it had, and the hash of the last one."""


@dataclass(frozen=True, slots=True)
class Verified:
    """What was looked at and what was found; `mark` names the register as it is now."""

    sessions: int
    events: int
    purged: int
    faults: tuple[Fault, ...]
    mark: str


def verify(
    connection: Connection,
    against: str,
    heads: Heads,
    step: Step,
    keep: Callable[[str, int, str], None],
) -> Verified:
    """Return every fault of the whole record.

    against: a mark of an earlier time that must still hold, "" for none
    heads: what stood at the end of each session at an earlier time; must still stand there
    keep: called with each session, its count of events and its last hash
    """
    faults = [_guard_gone(name) for name in missing_guards(connection)]
    faults += _faults_of_mark(connection, against)
    faults += _unregistered(connection)
    faults += (
        Fault(session_id, None, Harm.DROPPED, "it is gone, and was there when heads were kept")
        for session_id in _gone(connection, heads)
    )
    of = connection.execute(select(func.count()).select_from(_REGISTER)).scalar_one()
    done = events = 0
    counts: Counts = {}
    position, link = 0, FIRST_PREVIOUS_LINK
    for page in _pages(connection, _REGISTER):
        faults += _faults_of_links(_REGISTER.name, page, position, link)
        position, link = page[-1]["position"], page[-1]["link"]
        for kept in _kept(connection, page):
            events += len(kept.rows)
            found, added = faults_of_session(connection, kept, heads.get(kept.session_id))
            faults += found
            add_to(counts, added)
            if kept.line is not None:
                keep(kept.session_id, kept.line["count"], kept.line["head_hash"])
            done += 1
        step(done, of)
    purged = _purges(connection, faults)
    if not faults:  # with any, the counts differ by what they say already
        faults += _faults_of_months(connection, counts, has_purged=purged > 0)
    return Verified(done, events, purged, tuple(faults), mark_of(position, link))


def verify_session(connection: Connection, session_id: str) -> Verified:
    """Return every fault of one session."""
    row = {"session_id": session_id}
    register = _by_session(connection, _REGISTER, [session_id])
    kept = next(_kept(connection, [register.get(session_id, row)]))
    faults, _ = faults_of_session(connection, kept, None)
    return Verified(1, len(kept.rows), int(kept.purge is not None), tuple(faults), "")


def _kept(connection: Connection, page: Sequence[Mapping[Any, Any]]) -> Iterator[Kept]:
    """Yield what the tables hold of each session of a page of the register."""
    ids = [row["session_id"] for row in page]
    lines = _by_session(connection, _LINES, ids)
    purges = _by_session(connection, _PURGES, ids)
    rows = rows_of(connection, ids)
    for row in page:
        id_ = row["session_id"]
        first_hash = row.get("first_hash")
        yield Kept(id_, rows.get(id_, []), lines.get(id_), first_hash, purges.get(id_))


def _by_session(
    connection: Connection, table: Table, ids: Sequence[str]
) -> dict[str, Mapping[Any, Any]]:
    found = connection.execute(select(table).where(table.c.session_id.in_(ids))).mappings()
    return {row["session_id"]: row for row in found}


def _pages(connection: Connection, table: Table) -> Iterator[Sequence[RowMapping]]:
    """Yield a linked table a page at a time, in order."""
    position = -1
    while True:
        statement = select(table).where(table.c.position > position).order_by(table.c.position)
        page = connection.execute(statement.limit(_AT_ONCE)).mappings().all()
        if not page:
            return
        yield page
        position = page[-1]["position"]


def _faults_of_links(
    name: str, page: Sequence[RowMapping], position: int, link: str
) -> Iterator[Fault]:
    before: Mapping[Any, Any] = {"position": position, "link": link}
    for earlier, row in pairwise([before, *page]):
        here = row["position"]
        if here != earlier["position"] + 1:
            words = (
                f"in {name}, position {earlier['position'] + 1} was dropped: {here} stands there"
            )
            yield Fault("", None, Harm.DROPPED, words)
        elif row["previous_link"] != earlier["link"]:
            words = (
                f"in {name}, position {here} does not follow the one before: one was put in, "
                "dropped or changed"
            )
            yield Fault(row["session_id"], None, Harm.REORDERED, words)
        if _link_of(row) != row["link"]:
            words = f"in {name}, position {here} was changed after it was written"
            yield Fault(row["session_id"], None, Harm.ALTERED, words)


def _link_of(row: Mapping[Any, Any]) -> str:
    try:
        return link_of({str(name): value for name, value in row.items()})
    except (TypeError, ValueError):
        return ""


def _purges(connection: Connection, faults: list[Fault]) -> int:
    """Return how many sessions were purged; add the faults of their list."""
    count, position, link = 0, 0, FIRST_PREVIOUS_LINK
    for page in _pages(connection, _PURGES):
        faults += _faults_of_links(_PURGES.name, page, position, link)
        position, link = page[-1]["position"], page[-1]["link"]
        count += len(page)
    return count


def _guard_gone(name: str) -> Fault:
    words = f"the database's guard {name} is gone or switched off: the record could be changed"
    return Fault("", None, Harm.UNGUARDED, words)


def _faults_of_mark(connection: Connection, against: str) -> Iterator[Fault]:
    if not against:
        return
    position, _, beginning = against.partition("-")
    link = connection.execute(
        select(_REGISTER.c.link).where(_REGISTER.c.position == int(position))
    ).scalar()
    if int(position) and (link is None or link[:MARK_SIGNS] != beginning):
        words = (
            f"the register is not the one of mark {against}: sessions up to position {position} "
            "were dropped or written anew, or the mark is mistyped or of another record"
        )
        yield Fault("", None, Harm.DROPPED, words)


def _unregistered(connection: Connection) -> Iterator[Fault]:
    """Yield sessions that have events or a line but never came in through the register."""
    for table, what in ((_EVENTS, "it has events"), (_LINES, "it is in the list")):
        # Not NOT IN: over a million sessions a server would walk through them for each event.
        is_known = (
            select(_REGISTER.c.position)
            .where(_REGISTER.c.session_id == table.c.session_id)
            .exists()
        )
        statement = select(table.c.session_id).where(~is_known).distinct()
        for session_id in connection.execute(statement).scalars():
            words = f"{what}, but the register does not know it: it was put in"
            yield Fault(str(session_id), None, Harm.INSERTED, words)


def _gone(connection: Connection, heads: Heads) -> Iterator[str]:
    ids = sorted(heads)
    for start in range(0, len(ids), _AT_ONCE):
        asked = ids[start : start + _AT_ONCE]
        known = select(_REGISTER.c.session_id).where(_REGISTER.c.session_id.in_(asked))
        yield from sorted(set(asked) - set(connection.execute(known).scalars()))


def _faults_of_months(
    connection: Connection, counts: Counts, *, has_purged: bool
) -> Iterator[Fault]:
    """Yield where the counts of questions are not those of the events.

    What purged calls added stays and is in no event any more, so then they may be more; names of
    desks go from old months, so there it is the sum over desks that counts.
    """
    kept, told = (
        _by_month_and_node(items) for items in (_kept_months(connection).items(), counts.items())
    )
    for key in sorted(kept.keys() | told.keys()):
        is_so, said = told.get(key, NodeCounts()), kept.get(key, NodeCounts())
        pairs = [(getattr(said, name), getattr(is_so, name)) for name in NodeCounts.__slots__]
        if any(
            one < other - _TOLERANCE_S or (not has_purged and one > other + _TOLERANCE_S)
            for one, other in pairs
        ):
            words = (
                f"the counts of {key[1] or 'no question'} in {key[0]} are not those of the events"
            )
            yield Fault("", None, Harm.ALTERED, words)


def _kept_months(connection: Connection) -> Counts:
    return {
        (row["month"], row["desk"], row["node"]): counts_in(row)
        for row in connection.execute(select(_MONTHS)).mappings()
    }


def _by_month_and_node(items: Any) -> dict[tuple[str, str], NodeCounts]:
    found: dict[tuple[str, str], NodeCounts] = {}
    for (month, _, node), counts in items:
        found[month, node] = found.get((month, node), NodeCounts()) + counts
    return found
