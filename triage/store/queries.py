"""Reading the list: filters, pages, search, parked calls. Statements only; the store runs them.

SQLAlchemy is imported at the head here, so this module is reached only from inside functions.
"""

from __future__ import annotations

from collections.abc import Iterator
from datetime import datetime
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
)

from triage.store import schema
from triage.store.lines import COLUMNS
from triage.store.listing import (
    ANY_OUTCOME,
    NO_OUTCOME,
    OPEN_RESULT,
    PARKED,
    SessionFilter,
    searchable,
    serial_key,
    storable,
)
from triage.store.record import utc_text
from triage.store.summary import moment_us

_S = schema.sessions

# Literals, not parameters: only then do partial indexes apply.
_IS_PARKED: ColumnElement[bool] = literal_column(f"triage_sessions.state = '{PARKED}'")
_DISAGREES: ColumnElement[bool] = literal_column("triage_sessions.agreement = 'disagree'")
_HAS_SERIAL: ColumnElement[bool] = literal_column("triage_sessions.serial_number <> ''")
_HAS_WORDS: ColumnElement[bool] = literal_column("triage_sessions.words <> ''")

FEW_MATCHES = 5000
"""Up to so many calls with the words searched for are gathered and sorted; of more, the list is
walked from its end and asked whether it has them."""


def page(
    connection: Connection, where: SessionFilter, limit: int | None, before: int | None
) -> Select[Any]:
    """Return the statement for a page of lines, the latest first.

    before: only lines of a smaller number, the way to the next page
    """
    statement = select(*COLUMNS).order_by(_S.c.number.desc())
    if limit is not None:
        statement = statement.limit(limit)
    if before is not None:
        statement = statement.where(_S.c.number < before)
    for condition in _conditions(where):
        statement = statement.where(condition)
    words = searchable(where.text)
    if where.text.strip() and not words:
        return statement.where(text("1 = 0"))
    return statement.where(_has_words(connection, words)) if words else statement


def parked(agent: str) -> Select[Any]:
    """Return the statement for parked calls, the first due first; of one agent's desk if named."""
    statement = select(*COLUMNS).where(_IS_PARKED).order_by(_S.c.due_at, _S.c.number)
    return statement.where(_S.c.desk_key == storable(agent).casefold()) if agent else statement


def confirmed() -> Select[Any]:
    """Return the statement that counts outcomes after which the machine was not seen to fail."""
    held = or_(_S.c.had_two_good_cycles.is_(None), _S.c.had_two_good_cycles == 1)
    return (
        select(_S.c.outcome, func.count())
        .where(_S.c.outcome != "", held)
        .group_by(_S.c.outcome)
        .order_by(_S.c.outcome)
    )


def started_between(since: datetime | None, until: datetime | None) -> ColumnElement[bool]:
    """Return the condition that a call started in a span of time."""
    conditions = []
    if since is not None:
        conditions.append(_S.c.number >= moment_us(utc_text(since)))
    if until is not None:
        conditions.append(_S.c.number < moment_us(utc_text(until)))
    return and_(literal_column("1") == literal_column("1"), *conditions)


def _conditions(where: SessionFilter) -> Iterator[ColumnElement[bool]]:
    if where.since is not None or where.until is not None:
        yield started_between(where.since, where.until)
    if where.agent:
        yield _S.c.agent_key == storable(where.agent).casefold()
    if where.machine:
        yield _S.c.machine == where.machine
    if where.refrigerant:
        asked = _S.c.refrigerant == where.refrigerant
        followed = and_(_S.c.refrigerant == "", _S.c.machine.in_(where.machines_of_refrigerant))
        yield or_(asked, followed) if where.machines_of_refrigerant else asked
    if where.serial_number:
        yield and_(_HAS_SERIAL, _S.c.serial_number == serial_key(where.serial_number))
    if where.cause:
        yield _S.c.cause == where.cause
    if where.result:
        yield _S.c.result == ("" if where.result == OPEN_RESULT else where.result)
    if where.is_disagreeing:
        yield _DISAGREES
    if where.outcome == ANY_OUTCOME:
        yield _S.c.outcome != ""
    elif where.outcome:
        yield _S.c.outcome == ("" if where.outcome == NO_OUTCOME else where.outcome)


def _has_words(connection: Connection, words: list[str]) -> ColumnElement[bool]:
    if connection.dialect.name == "postgresql":
        wanted = " & ".join(f"'{word}':*" for word in words)
        return and_(
            _HAS_WORDS,
            literal_column("triage_sessions.words_found").op("@@")(
                func.to_tsquery(literal_column("'simple'"), wanted)
            ),
        )
    wanted = " AND ".join(f'"{word}"*' for word in words)
    matches = f"SELECT rowid FROM {schema.NOTES_TABLE} WHERE {schema.NOTES_TABLE} MATCH :wanted"
    count = text(f"SELECT count(*) FROM ({matches} LIMIT {FEW_MATCHES + 1})")
    are_few = connection.execute(count, {"wanted": wanted}).scalar_one() <= FEW_MATCHES
    # A plus keeps SQLite from starting at the matches: from the end of the list it can stop early.
    number = "triage_sessions.number" if are_few else "+triage_sessions.number"
    return text(f"{number} IN ({matches})").bindparams(wanted=wanted)  # type: ignore[return-value]
