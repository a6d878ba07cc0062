"""Reading the list: filters, pages, search, parked calls. Statements only; the store runs them.

SQLAlchemy is imported at the head here, so this module is reached only from inside functions.
"""

from __future__ import annotations

from collections.abc import Iterator
from datetime import datetime
from itertools import product
from typing import Any

from sqlalchemy import (
    ColumnElement,
    Connection,
    Select,
    and_,
    func,
    literal_column,
    or_,
    select,
    text,
    true,
    union_all,
)

from triage.store import schema
from triage.store.lines import COLUMNS
from triage.store.listing import (
    ANY_OUTCOME,
    NO_AGENT,
    NO_OUTCOME,
    OPEN_RESULT,
    PARKED,
    SessionFilter,
    searchable,
    serial_key,
    storable,
)
from triage.store.notes import search_for
from triage.store.record import utc_text
from triage.store.summary import moment_us

_S = schema.sessions

# Literals, not parameters: only then do partial indexes apply.
_IS_PARKED: ColumnElement[bool] = literal_column(f"triage_sessions.state = '{PARKED}'")
_DISAGREES: ColumnElement[bool] = literal_column("triage_sessions.agreement = 'disagree'")
_REPORTED: ColumnElement[bool] = literal_column("triage_sessions.outcome <> ''")
_HAS_SERIAL: ColumnElement[bool] = literal_column("triage_sessions.serial_key <> ''")


def page(
    connection: Connection, where: SessionFilter, limit: int | None, before: int | None
) -> Select[Any]:
    """Return the statement for a page of lines, the latest first.

    before: only lines of a smaller number, the way to the next page
    """
    words = searchable(where.text)
    if where.text.strip() and not words:
        return select(*COLUMNS).where(text("1 = 0"))
    conditions = list(_conditions(where))
    search = (
        search_for(connection, words, bool(conditions or where.agent or where.refrigerant))
        if words
        else None
    )
    number = search.number if search else _S.c.number
    within = [] if before is None else [number < before]
    if where.since is not None or where.until is not None:
        within.append(_started_between(number, where.since, where.until))
    kinds = [and_(*kind) for kind in product(_kinds_of_agent(where), _kinds_of_refrigerant(where))]
    if search and search.is_led_by_notes:
        return search.of(select(*COLUMNS).where(*within, *conditions, or_(*kinds)).limit(limit))
    if search:
        conditions.append(search.condition)
    if len(kinds) > 1:
        # Each kind in the order of the list, then the pages of all put together: at once they
        # would have to be sorted whole.
        pages = (_numbers([*within, *conditions, kind], limit) for kind in kinds)
        within, conditions, kinds = [_S.c.number.in_(union_all(*pages))], [], []
    statement = select(*COLUMNS).where(*within, *conditions, *kinds).limit(limit)
    return statement.order_by(_S.c.number.desc())


def _numbers(conditions: list[ColumnElement[bool]], limit: int | None) -> Select[Any]:
    page = select(_S.c.number).where(*conditions).order_by(_S.c.number.desc()).limit(limit)
    return select(page.subquery().c.number)


def parked(agent: str) -> Select[Any]:
    """Return the statement for parked calls, the first due first; of one agent's desk if named."""
    waits = and_(_IS_PARKED, _S.c.purged_at == "")
    statement = select(*COLUMNS).where(waits).order_by(_S.c.due_at, _S.c.number)
    return statement.where(_S.c.desk_key == storable(agent).casefold()) if agent else statement


def confirmed() -> Select[Any]:
    """Return the statement that counts, by tree, outcomes that were not seen to fail again."""
    held = or_(_S.c.had_two_good_cycles.is_(None), _S.c.had_two_good_cycles == 1)
    return (
        select(_S.c.tree, _S.c.outcome, func.count())
        .where(_S.c.outcome != "", held)
        .group_by(_S.c.tree, _S.c.outcome)
        .order_by(_S.c.tree, _S.c.outcome)
    )


def _started_between(
    number: ColumnElement[int], since: datetime | None, until: datetime | None
) -> ColumnElement[bool]:
    conditions = []
    if since is not None:
        conditions.append(number >= moment_us(utc_text(since)))
    if until is not None:
        conditions.append(number < moment_us(utc_text(until)))
    return and_(*conditions)


def _kinds_of_agent(where: SessionFilter) -> list[ColumnElement[bool]]:
    """Return the ways in which a call is an agent's, no two of which a call can be."""
    if not where.agent:
        return [true()]
    name = "" if where.agent == NO_AGENT else storable(where.agent).casefold()
    took = _S.c.agent_key == name
    return [took] if not name else [took, and_(_S.c.desk_key == name, _S.c.agent_key != name)]


def _kinds_of_refrigerant(where: SessionFilter) -> list[ColumnElement[bool]]:
    """Return the ways in which a call is on a refrigerant, no two of which a call can be."""
    if not where.refrigerant:
        return [true()]
    return [
        _S.c.refrigerant == where.refrigerant,
        *(
            and_(_S.c.refrigerant == "", _S.c.machine == machine)
            for machine in where.machines_of_refrigerant
            if where.machine in ("", machine)
        ),
    ]


def _conditions(where: SessionFilter) -> Iterator[ColumnElement[bool]]:
    if where.machine:
        yield _S.c.machine == where.machine
    if where.serial_number:
        yield and_(_HAS_SERIAL, _S.c.serial_key == serial_key(where.serial_number))
    if where.cause:
        yield _S.c.cause == where.cause
    if where.result:
        yield _S.c.result == ("" if where.result == OPEN_RESULT else where.result)
    if where.is_disagreeing:
        yield _DISAGREES
    if where.outcome == ANY_OUTCOME:
        yield _REPORTED
    elif where.outcome:
        yield _S.c.outcome == ("" if where.outcome == NO_OUTCOME else where.outcome)
