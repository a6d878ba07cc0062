"""Counts for the figures: the same on every engine, held against counting by hand in Python.

The reference is the standard library's Counter over each session's line: slow, plain, and with no
statement in common with the store.
"""

from __future__ import annotations

import random
from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from typing import TYPE_CHECKING

import pytest
from sqlalchemy import text

from tests.store.samples import CONTENT, STARTED
from triage.dialogue.events import (
    Answered,
    Asked,
    Concluded,
    Event,
    Identified,
    Looked,
    NotUnderstood,
    Parked,
    Refused,
    RepairReported,
    Resumed,
    Stopped,
)
from triage.store.listing import SessionFilter, SessionSummary
from triage.store.tallies import (
    BIN_S,
    REPEAT_DAYS,
    CautionCount,
    EndingCount,
    Figures,
    Period,
    QuestionCount,
    TimeCount,
    begin_of,
    period_for,
    periods,
    time_bin,
)

if TYPE_CHECKING:
    from triage.store.sql import Store

BEGUN = datetime(2026, 3, 2, 8, 0, tzinfo=UTC)
DESKS = ("Mira Oduya", "mira oduya", "Ana Brandt", "")
CAUSES = ("receiver_vapor_feed_failed", "coil_supply_low", "healthy")
FOUND = (*CAUSES, "no_fault_found", "other_fault")


def put(store: Store, at: datetime, *events: Event, step_s: float = 60.0, name: str = "") -> str:
    """Keep a call that began at `at` with an event each `step_s`; return its id."""
    session_id = name or f"{at:%Y%m%d-%H%M%S%f}"
    for place, event in enumerate(events):
        now = at + timedelta(seconds=place * step_s)
        store.append(session_id, [("bot", event)], CONTENT, now, place)
    return session_id


def ended(result: str, cause: str, agreement: str = "agree") -> Concluded:
    ranked = ({"cause": cause, "probability": 0.9},) if cause else ()
    told = (cause,) if cause and result != "escalated" else ()
    return Concluded("e", result, told, agreement=agreement, ranked=ranked)


def some_calls(store: Store, count: int, days: float) -> None:
    """Keep calls of every kind, drawn anew the same way each time."""
    draw = random.Random(20_261_125)
    for number in range(count):
        at = BEGUN + timedelta(days=days * number / count, seconds=draw.random())
        events: list[Event] = [replace(STARTED, agent=draw.choice(DESKS)), Asked("complaint")]
        if draw.random() < 0.7:
            events.append(Identified(f"GL-{draw.randrange(count // 5):03d}"))
        events.append(Asked(draw.choice(("machine", "freeze_time", "caution:hot_parts@7"))))
        match draw.randrange(8):
            case 0:
                events.append(Stopped("stop"))
            case 1:
                events.append(Parked("wait", (at + timedelta(minutes=20)).isoformat()))
            case 2:
                pass
            case _:
                result = draw.choice(("recommended", "recommended", "withheld", "escalated"))
                cause = draw.choice(CAUSES)
                events.append(ended(result, cause, draw.choice(("agree", "disagree", "open"))))
                if draw.random() < 0.6:
                    found = draw.sample(FOUND, 2 if draw.random() < 0.1 else 1)
                    cycles = draw.choice((True, False, None))
                    events.append(RepairReported(tuple(found), (), cycles))
        put(store, at, *events, step_s=draw.uniform(5.0, 900.0))


def lines(store: Store, since: datetime | None, until: datetime | None) -> list[SessionSummary]:
    return store.sessions(None, None, SessionFilter(since=since, until=until))


def by_hand(found: Sequence[SessionSummary], period: Period) -> Iterator[tuple[str, Counter]]:  # type: ignore[type-arg]
    """Yield each kind of count as it follows from the lines one by one."""
    over = [line for line in found if line.result]
    begins = {line: begin_of(datetime.fromisoformat(line.started_at), period) for line in found}
    yield "volumes", Counter((begins[line], line.state, line.result) for line in found)
    yield "ends", Counter((line.result, line.cause, line.agreement) for line in over)
    yield (
        "times",
        Counter(
            (line.desk, line.result, time_bin(line.active_s) if line.result else -1)
            for line in found
        ),
    )
    yield (
        "outcomes",
        Counter(
            (
                line.outcome, line.result, line.ending, line.cause, line.likeliest,
                line.had_two_good_cycles, line.desk,
            )
            for line in found
            if line.outcome
        ),
    )  # fmt: skip
    yield "stops", Counter((line.state, line.node) for line in found if not line.result)


def as_counter(figures: Figures, kind: str) -> Counter:  # type: ignore[type-arg]
    """Return one kind of count with all but the number of calls as its key."""
    counts: Counter = Counter()  # type: ignore[type-arg]
    for item in getattr(figures, kind):
        key = tuple(
            getattr(item, name)
            for name in item.__dataclass_fields__
            if name not in ("calls", "identified")
        )
        assert key not in counts, "each is told once"
        counts[key] = item.calls
    return counts


@pytest.mark.parametrize(
    ("since", "until"),
    [
        (None, None),
        (BEGUN + timedelta(days=40), None),
        (None, BEGUN + timedelta(days=100)),
        (BEGUN + timedelta(days=25), BEGUN + timedelta(days=110, hours=3)),
    ],
)
def test_every_count_is_what_counting_the_lines_gives(
    store: Store, since: datetime | None, until: datetime | None
) -> None:
    some_calls(store, 120, 200.0)
    figures = store.figures(since, until)
    found = lines(store, since, until)
    assert found
    for kind, expected in by_hand(found, figures.period):
        assert as_counter(figures, kind) == expected, kind
    identified = Counter(line.result for line in found if line.result and line.serial_number)
    told = Counter[str]()
    for end in figures.ends:
        told[end.result] += end.identified
    assert told == identified


def test_a_call_followed_on_the_same_machine_is_counted_by_its_own_start(store: Store) -> None:
    some_calls(store, 120, 200.0)
    since, until = BEGUN + timedelta(days=30), BEGUN + timedelta(days=90)
    every = {line.number: line for line in lines(store, None, None)}
    followed = {
        line.previous_number
        for line in every.values()
        if line.previous_number is not None
        and line.number - line.previous_number <= REPEAT_DAYS * 86_400 * 10**6
    }
    inside = {line.number for line in lines(store, since, until)}
    expected = Counter((every[number].result, every[number].cause) for number in followed & inside)
    figures = store.figures(since, until)
    assert expected
    assert as_counter(figures, "followed") == expected
    assert [item.repeats for item in figures.machines] == sorted(
        (item.repeats for item in figures.machines), reverse=True
    )


def test_thirty_days_to_the_microsecond_make_a_repeat(store: Store) -> None:
    call = (STARTED, Identified("GL-1"), ended("recommended", "coil_supply_low"))
    put(store, BEGUN, *call)
    put(store, BEGUN + timedelta(days=30), *call)
    put(store, BEGUN + timedelta(days=60, microseconds=1), *call)
    figures = store.figures()
    assert [item.calls for item in figures.followed] == [1]
    (machine,) = figures.machines
    assert (machine.serial_number, machine.repeats, machine.calls) == ("GL1", 1, 3)


def test_questions_count_by_the_whole_months_the_span_touches(store: Store) -> None:
    for month in (3, 4, 5):
        put(
            store, datetime(2026, month, 20, 9, tzinfo=UTC), STARTED, Asked("machine"),
            NotUnderstood("machine", "?", "?"), Looked("why", "why", "machine"),
            Answered("machine", "unknown", None), Asked("freeze_time"), step_s=10.0,
        )  # fmt: skip
    april = datetime(2026, 4, 25, tzinfo=UTC)
    may = datetime(2026, 5, 1, tzinfo=UTC)
    assert store.figures(april, may).questions == (), "no call started then"
    figures = store.figures(april - timedelta(days=10), may)
    (machine,) = (item for item in figures.questions if item.node == "machine")
    assert machine == QuestionCount("machine", 1, 1, 1, 1, 40.0)
    whole = store.figures()
    (machine,) = (item for item in whole.questions if item.node == "machine")
    assert machine == QuestionCount("machine", 3, 3, 3, 3, 120.0)


def test_time_parked_is_no_time_to_conclusion(store: Store) -> None:
    name = put(store, BEGUN, STARTED, Asked("machine"), Parked("wait", BEGUN.isoformat()))
    back = BEGUN + timedelta(hours=2)
    store.append(name, [("bot", Resumed(CONTENT, "Ana"))], CONTENT, back, 3)
    last = back + timedelta(seconds=65)
    store.append(
        name, [("bot", ended("recommended", "coil_supply_low"))], CONTENT, last, 4
    )  # fmt: skip
    # Two minutes before it was parked, 65 s after.
    assert store.figures().times == (TimeCount("Ana", "recommended", int(185 / BIN_S), 1),)


def test_an_empty_record_counts_nothing(store: Store) -> None:
    assert store.figures() == Figures(None, None)


def test_a_call_from_a_clock_that_was_not_set_is_told_apart(store: Store) -> None:
    put(store, datetime(1970, 1, 1, 0, 5, tzinfo=UTC), STARTED, name="unset")
    assert store.figures().undated == 1
    put(store, BEGUN, STARTED)
    figures = store.figures()
    assert figures.undated == 1
    assert figures.first is not None
    assert figures.first.year == 2026
    assert sum(item.calls for item in figures.volumes) == 1


def test_a_span_with_a_zone_of_its_own_counts_by_the_same_moments(store: Store) -> None:
    put(store, BEGUN, STARTED)
    moved = BEGUN.astimezone(None)
    assert store.figures(moved, moved + timedelta(microseconds=1)).volumes
    assert not store.figures(moved + timedelta(microseconds=1)).volumes


@pytest.mark.parametrize("period", list(Period))
def test_periods_follow_one_another_without_a_gap(period: Period) -> None:
    last = BEGUN + timedelta(days=1500)
    found = list(periods(BEGUN, last, period))
    assert found[0][0] <= BEGUN.date()
    assert [after for _, after in found[:-1]] == [begins for begins, _ in found[1:]]
    end = found[-1][1]
    assert end is not None
    assert end > last.date()


def test_the_calendar_ends_without_a_fault() -> None:
    end = datetime.max.replace(tzinfo=UTC)
    for period in Period:
        assert list(periods(end, end, period))[-1][1] is None
    assert period_for(datetime.min.replace(tzinfo=UTC), end) is Period.YEAR
    assert begin_of(end, Period.YEAR) == date(9999, 1, 1)


def test_the_counts_of_ends_outcomes_and_times_read_their_index_alone(store: Store) -> None:
    """SQLite says so itself (EXPLAIN QUERY PLAN); a server may choose by its statistics."""
    from triage.store import figures as statements

    some_calls(store, 10, 5.0)
    with store._engine.connect() as connection:
        if connection.dialect.name != "sqlite":
            pytest.skip("what a server chooses depends on its statistics")
        asked: list[str] = []
        connection.connection.driver_connection.set_trace_callback(asked.append)  # type: ignore[union-attr]
        statements.count_figures(connection, None, None)
        connection.connection.driver_connection.set_trace_callback(None)  # type: ignore[union-attr]
        plans = {}
        for statement in asked:
            if statement.startswith("SELECT"):
                rows = connection.execute(
                    text("EXPLAIN QUERY PLAN " + statement.replace(":", r"\:"))
                )
                plans[statement] = " / ".join(row[-1] for row in rows)
    for index in ("ended", "times", "reported"):
        plan = [
            plan for plan in plans.values() if f"COVERING INDEX triage_sessions_{index}" in plan
        ]
        assert plan, index
        assert not any("TEMP B-TREE FOR GROUP BY" in one for one in plan)


def test_refused_cautions_count_by_desk_and_ends_by_where_they_were(store: Store) -> None:
    at_door = Asked("caution:wet_floor@freeze_time")
    put(store, BEGUN, replace(STARTED, agent="Eve"), at_door, Refused("wet_floor", "no"),
        replace(ended("escalated", ""), ending="freeze.freeze_not_proven"))  # fmt: skip
    put(store, BEGUN + timedelta(days=1), replace(STARTED, agent="Eve"), at_door, at_door,
        replace(ended("withheld", CAUSES[0]), ending="harvest.feed_confirmed"))  # fmt: skip
    put(store, BEGUN + timedelta(days=2), replace(STARTED, agent="Hal"), at_door,
        replace(ended("recommended", CAUSES[0]), ending="harvest.feed_confirmed"))  # fmt: skip
    figures = store.figures()
    assert figures.cautions == (
        CautionCount("Eve", "caution:wet_floor", 3, 1),
        CautionCount("Hal", "caution:wet_floor", 1, 0),
    )
    assert [item.refused for item in figures.questions if item.node] == [1]
    assert figures.endings == (
        EndingCount("escalated", "freeze.freeze_not_proven", "", 1),
        EndingCount("withheld", "harvest.feed_confirmed", CAUSES[0], 1),
    )


def test_purged_calls_of_the_span_are_counted(store: Store) -> None:
    for day in range(3):
        put(store, BEGUN + timedelta(days=day), STARTED, ended("recommended", CAUSES[0]))
    assert store.figures().purged == 0
    store.purge(BEGUN + timedelta(days=2), "Ana", "old", BEGUN + timedelta(days=9))
    assert store.figures().purged == 2
    assert store.figures(BEGUN + timedelta(days=1)).purged == 1
