"""The counts behind the figures: one statement each, the same on both engines.

Most read an index that holds all they need, in the order they group by, so that a million calls are
counted without looking at their lines. SQLAlchemy is imported at the head here, so
this module is reached only from inside functions.
"""

from __future__ import annotations

from collections.abc import Iterable
from datetime import UTC, date, datetime, time, timedelta

from sqlalchemy import (
    BigInteger,
    ColumnElement,
    and_,
    bindparam,
    case,
    cast,
    func,
    literal_column,
    select,
    true,
)
from sqlalchemy.engine import Connection

from triage.store import schema
from triage.store.record import utc_text
from triage.store.summary import moment_us
from triage.store.tallies import (
    FIRST_DATE,
    MOST_MACHINES,
    REPEAT_DAYS,
    CautionCount,
    EndCount,
    EndingCount,
    Figures,
    FollowedCount,
    MachineRepeats,
    OutcomeCount,
    Period,
    PeriodCount,
    QuestionCount,
    StopCount,
    TimeCount,
    begin_of,
    period_for,
    periods,
)

_S = schema.sessions
_Q = schema.question_months
_COUNT: ColumnElement[int] = func.count()

# Literals, not parameters: only then do partial indexes apply, and only then does a server see
# that what is selected is what is grouped by.
_ENDED: ColumnElement[bool] = literal_column("triage_sessions.result <> ''")
_REPORTED: ColumnElement[bool] = literal_column("triage_sessions.outcome <> ''")
_NOT_ENDED: ColumnElement[bool] = literal_column("triage_sessions.result = ''")
_IDENTIFIED: ColumnElement[bool] = literal_column("triage_sessions.serial_key <> ''")
_REPEAT_US = REPEAT_DAYS * 86_400 * 1_000_000

# A plus keeps SQLite from going through the lines by their number, where an index holds all.
_NUMBER_IN_INDEX: ColumnElement[int] = literal_column("+triage_sessions.number")

_EPOCH = datetime(1970, 1, 1, tzinfo=UTC)
_CALENDAR_ENDS = datetime.max.replace(tzinfo=UTC)


def count_figures(
    connection: Connection, since: datetime | None, until: datetime | None
) -> Figures:
    """Return the counts of calls started from `since` on and before `until`; None is no limit.

    The connection must not have begun: all is counted at one moment, while calls go on.
    """
    if connection.dialect.name == "postgresql":
        connection = connection.execution_options(isolation_level="REPEATABLE READ")
    low = moment_us(utc_text(max(since, FIRST_DATE) if since else FIRST_DATE))
    high = moment_us(utc_text(until or _CALENDAR_ENDS))
    span = _within(_S.c.number, low, high)
    first_us, last_us = connection.execute(
        select(func.min(_S.c.number), func.max(_S.c.number)).where(span)
    ).one()
    undated = 0
    if since is None and until is None:
        undated = connection.execute(select(_COUNT).where(_S.c.number < low)).scalar_one()
    if first_us is None:
        return Figures(since, until, undated=undated)
    first, last = _moment(first_us), _moment(last_us)
    period = period_for(first, last)
    ends = _ends(connection, low, high)
    not_ended, stops = _not_ended(connection, span, period)
    return Figures(
        since,
        until,
        first,
        last,
        undated,
        period,
        volumes=(*_ended_by_period(connection, ends, first, last, period, low, high), *not_ended),
        ends=ends,
        times=_times(connection, low, high),
        outcomes=_outcomes(connection, low, high),
        stops=stops,
        followed=_followed(connection, low, high),
        machines=_machines(connection, low, high),
        questions=_questions(connection, since, until),
        cautions=_cautions(connection, since, until),
        endings=_endings(connection, low, high),
        purged=_purged(connection, since, until, span),
    )


def _ends(connection: Connection, low: int, high: int) -> tuple[EndCount, ...]:
    alike = (_S.c.result, _S.c.cause, _S.c.agreement)
    identified = func.sum(case((_IDENTIFIED, literal_column("1")), else_=literal_column("0")))
    statement = (
        select(*alike, identified, _COUNT)
        .where(_ENDED, _within(_NUMBER_IN_INDEX, low, high))
        .group_by(*alike)
        .order_by(*alike)
    )
    return tuple(EndCount(*row) for row in connection.execute(statement))


def _endings(connection: Connection, low: int, high: int) -> tuple[EndingCount, ...]:
    alike = (_S.c.result, _S.c.ending, _S.c.cause)
    statement = (
        select(*alike, _COUNT)
        .where(_ENDED, _S.c.result != "recommended", _within(_NUMBER_IN_INDEX, low, high))
        .group_by(*alike)
        .order_by(*alike)
    )
    return tuple(EndingCount(*row) for row in connection.execute(statement))


def _ended_by_period(
    connection: Connection,
    ends: Iterable[EndCount],
    first: datetime,
    last: datetime,
    period: Period,
    low: int,
    high: int,
) -> Iterable[PeriodCount]:
    """Count by period and result; each count reads its stretch of one index and nothing else."""
    results = sorted({end.result for end in ends})
    if not results:
        return
    stretch = _within(_S.c.number, bindparam("low"), bindparam("high"))
    counts = [
        select(_COUNT).where(_S.c.result == result, stretch).scalar_subquery() for result in results
    ]
    statement = select(*counts)
    for begins, after in periods(first, last, period):
        end_us = _day_us(after) if after else high
        bounds = {"low": max(low, _day_us(begins)), "high": min(high, end_us)}
        row = connection.execute(statement, bounds).one()
        for result, calls in zip(results, row, strict=True):
            if calls:
                yield PeriodCount(begins, "ended", result, calls)


def _not_ended(
    connection: Connection, span: ColumnElement[bool], period: Period
) -> tuple[tuple[PeriodCount, ...], tuple[StopCount, ...]]:
    """Count calls that have not ended, by the period of their start and by where they stand."""
    day = func.substr(_S.c.started_at, literal_column("1"), literal_column("10"))
    statement = (
        select(_S.c.state, _S.c.node, day, _COUNT)
        .where(_NOT_ENDED, span)
        .group_by(_S.c.state, _S.c.node, day)
    )
    by_period: dict[tuple[date, str], int] = {}
    by_place: dict[tuple[str, str], int] = {}
    for state, node, started, calls in connection.execute(statement):
        begins = begin_of(datetime.fromisoformat(started), period)
        by_period[begins, state] = by_period.get((begins, state), 0) + calls
        by_place[state, node] = by_place.get((state, node), 0) + calls
    return (
        tuple(PeriodCount(*key, "", calls) for key, calls in sorted(by_period.items())),
        tuple(StopCount(*key, calls) for key, calls in sorted(by_place.items())),
    )


def _times(connection: Connection, low: int, high: int) -> tuple[TimeCount, ...]:
    alike = (_S.c.desk, _S.c.result, _S.c.time_bin)
    statement = (
        select(*alike, _COUNT)
        .where(_within(_NUMBER_IN_INDEX, low, high))
        .group_by(*alike)
        .order_by(*alike)
    )
    return tuple(TimeCount(*row) for row in connection.execute(statement))


def _outcomes(connection: Connection, low: int, high: int) -> tuple[OutcomeCount, ...]:
    alike = (
        _S.c.outcome, _S.c.result, _S.c.ending, _S.c.cause, _S.c.likeliest,
        _S.c.had_two_good_cycles, _S.c.desk,
    )  # fmt: skip
    statement = (
        select(*alike, _COUNT)
        .where(_REPORTED, _within(_NUMBER_IN_INDEX, low, high))
        .group_by(*alike)
        .order_by(*alike)
    )
    return tuple(
        OutcomeCount(outcome, result, ending, cause, likeliest, _yes_or_no(cycles), desk, calls)
        for outcome, result, ending, cause, likeliest, cycles, desk, calls in connection.execute(
            statement
        )
    )


def _yes_or_no(number: int | None) -> bool | None:
    return None if number is None else number > 0


def _soon_after(low: int, high: int) -> ColumnElement[bool]:
    """Return the condition that a call is a repeat of one that started in the span."""
    return and_(
        _S.c.previous_number.is_not(None),
        _within(_S.c.previous_number, low, high),
        literal_column(f"triage_sessions.number - triage_sessions.previous_number <= {_REPEAT_US}"),
    )


def _followed(connection: Connection, low: int, high: int) -> tuple[FollowedCount, ...]:
    earlier = _S.alias("earlier")
    statement = (
        select(
            earlier.c.result, earlier.c.cause, func.count(_S.c.previous_number.distinct())
        )
        .join_from(_S, earlier, earlier.c.number == _S.c.previous_number)
        .where(_soon_after(low, high), earlier.c.serial_key != "")
        .group_by(earlier.c.result, earlier.c.cause)
        .order_by(earlier.c.result, earlier.c.cause)
    )  # fmt: skip
    return tuple(FollowedCount(*row) for row in connection.execute(statement))


def _machines(connection: Connection, low: int, high: int) -> tuple[MachineRepeats, ...]:
    serial = _S.c.serial_key
    most = (
        select(serial, _COUNT.label("repeats"))
        .where(_soon_after(low, high), serial != "")
        .group_by(serial)
        .order_by(_COUNT.desc(), serial)
        .limit(MOST_MACHINES)
    )
    repeats: dict[str, int] = {row[0]: row[1] for row in connection.execute(most)}
    if not repeats:
        return ()
    calls = (
        select(serial, func.max(_S.c.machine), _COUNT)
        .where(_IDENTIFIED, serial.in_(list(repeats)), _within(_S.c.number, low, high))
        .group_by(serial)
    )
    found = {row[0]: (row[1], row[2]) for row in connection.execute(calls)}
    return tuple(
        MachineRepeats(number, found[number][0], count, found[number][1])
        for number, count in repeats.items()
        if number in found
    )


def _questions(
    connection: Connection, since: datetime | None, until: datetime | None
) -> tuple[QuestionCount, ...]:
    added = map(_sum_of, ("asked", "unknown", "misunderstood", "looked"))
    statement = (
        select(_Q.c.node, *added, func.sum(_Q.c.seconds), _sum_of("refused"))
        .where(_in_months(since, until))
        .group_by(_Q.c.node)
        .order_by(_Q.c.node)
    )
    return tuple(QuestionCount(*row) for row in connection.execute(statement))


def _cautions(
    connection: Connection, since: datetime | None, until: datetime | None
) -> tuple[CautionCount, ...]:
    alike = (_Q.c.desk, _Q.c.node)
    statement = (
        select(*alike, _sum_of("asked"), _sum_of("refused"))
        .where(_in_months(since, until), _Q.c.node.startswith("caution:"))
        .group_by(*alike)
        .order_by(*alike)
    )
    return tuple(CautionCount(*row) for row in connection.execute(statement))


def _sum_of(name: str) -> ColumnElement[int]:
    return cast(func.sum(_Q.c[name]), BigInteger)  # a server sums to a decimal


def _in_months(since: datetime | None, until: datetime | None) -> ColumnElement[bool]:
    months: ColumnElement[bool] = true()
    if since is not None:
        months = and_(months, _Q.c.month >= utc_text(since)[:7])
    if until is not None:
        months = and_(months, _Q.c.month <= utc_text(until - timedelta(microseconds=1))[:7])
    return months


def _purged(
    connection: Connection,
    since: datetime | None,
    until: datetime | None,
    span: ColumnElement[bool],
) -> int:
    """Count the purged calls of the span by the list of purges, which is short."""
    statement = select(_COUNT).select_from(schema.purges)
    if since is not None or until is not None:
        alike = _S.c.session_id == schema.purges.c.session_id
        statement = select(_COUNT).select_from(schema.purges.join(_S, alike)).where(span)
    return int(connection.execute(statement).scalar_one())


def _within(
    column: ColumnElement[int], low: int | ColumnElement[int], high: int | ColumnElement[int]
) -> ColumnElement[bool]:
    return and_(column >= low, column < high)


def _moment(number: int) -> datetime:
    return _EPOCH + timedelta(microseconds=number)


def _day_us(day: date) -> int:
    return moment_us(utc_text(datetime.combine(day, time(), UTC)))
