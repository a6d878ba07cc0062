"""What every store does alike: in memory, in a file, on a server."""

from __future__ import annotations

import threading
from dataclasses import replace
from datetime import datetime, timedelta
from typing import TYPE_CHECKING

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from sqlalchemy import text
from sqlalchemy.exc import DBAPIError

from tests.store.samples import (
    ANSWERED,
    CALL,
    CONCLUDED,
    CONTENT,
    NOW,
    SESSION,
    STARTED,
    steady,
    times,
    turns,
)
from triage.dialogue.events import Event, Noted, Stopped
from triage.store import queries
from triage.store.errors import (
    SessionAmbiguous,
    SessionMoved,
    SessionNotFound,
    StoreNewer,
)
from triage.store.listing import SessionFilter
from triage.store.open import open_store
from triage.store.record import verify_chain

if TYPE_CHECKING:
    from triage.store.sql import Store


def test_what_was_appended_is_read_back_and_its_chain_holds(store: Store) -> None:
    written = store.append(SESSION, CALL, CONTENT, NOW, 0)
    read = store.events(SESSION)
    assert read == written
    assert [(item.speaker, item.event) for item in read] == list(CALL)
    assert verify_chain(read) is None


def test_a_session_grows_turn_by_turn(store: Store) -> None:
    for length, turn in enumerate(CALL):
        store.append(SESSION, [turn], CONTENT, NOW + timedelta(seconds=length), length)
    assert [item.sequence for item in store.events(SESSION)] == [1, 2, 3, 4]


def test_appending_nothing_writes_nothing(store: Store) -> None:
    assert store.append(SESSION, [], CONTENT, NOW, 0) == []
    with pytest.raises(SessionNotFound):
        store.events(SESSION)


@pytest.mark.parametrize("expected_length", [0, 1, 3, 5])
def test_a_session_that_moved_is_left_as_it_is(store: Store, expected_length: int) -> None:
    written = store.append(SESSION, CALL, CONTENT, NOW, 0)
    with pytest.raises(SessionMoved, match=r"another desk has added to this call.*resume it"):
        store.append(SESSION, [("bot", STARTED)], CONTENT, NOW, expected_length)
    assert store.events(SESSION) == written


def test_all_events_of_one_append_are_kept_or_none(store: Store) -> None:
    store.append(SESSION, CALL[:1], CONTENT, NOW, 0)
    endless = [("caller", ANSWERED), ("caller", replace(ANSWERED, value=float("nan")))]
    with pytest.raises(ValueError, match="not JSON compliant"):
        store.append(SESSION, endless, CONTENT, NOW, 1)
    assert len(store.events(SESSION)) == 1


def test_a_session_nobody_kept_is_not_found(store: Store) -> None:
    with pytest.raises(SessionNotFound, match=r'no session "20260101-\?0" in .*triage log list'):
        store.events("20260101-\x1b0")


def test_sessions_are_listed_latest_first_with_what_a_list_needs(store: Store) -> None:
    store.append("20261125-0931-aaaa", CALL, CONTENT, NOW, 0)
    later = NOW + timedelta(minutes=7)
    store.append("20261125-0938-bbbb", [("bot", STARTED)], CONTENT, later, 0)
    store.append("20261125-0938-bbbb", [("caller", Stopped())], CONTENT, later, 1)
    store.append("20261125-0931-aaaa", [("agent", Noted("done"))], CONTENT, later, 4)
    second, first = store.sessions(limit=10)
    assert (first.session_id, first.count, first.last_kind) == ("20261125-0931-aaaa", 5, "noted")
    assert (first.tree, first.agent, first.result) == (STARTED.tree, STARTED.agent, "recommended")
    assert first.started_at == "2026-11-25T09:31:07.250000+00:00"
    assert first.last_at == "2026-11-25T09:38:07.250000+00:00"
    assert (second.session_id, second.count, second.last_kind) == (
        "20261125-0938-bbbb",
        2,
        "stopped",
    )
    assert (second.result, second.fault) == ("", "")


def test_the_result_listed_is_that_of_the_last_conclusion(store: Store) -> None:
    withheld = replace(CONCLUDED, result="withheld")
    store.append(SESSION, [*CALL, ("bot", withheld)], CONTENT, NOW, 0)
    assert [line.result for line in store.sessions()] == ["withheld"]


def test_the_list_is_read_in_pages(store: Store) -> None:
    ids = [f"20261125-09{minute:02}-cccc" for minute in range(5)]
    for minute, session_id in enumerate(ids):
        store.append(session_id, CALL[:1], CONTENT, NOW + timedelta(minutes=minute), 0)
    pages = []
    before = None
    while page := store.sessions(limit=2, before=before):
        pages.append([line.session_id for line in page])
        before = page[-1].number
    assert pages == [[ids[4], ids[3]], [ids[2], ids[1]], [ids[0]]]


@pytest.mark.parametrize(
    ("where", "index"),
    [
        (SessionFilter(), "rowid"),
        (SessionFilter(since=NOW, until=NOW + timedelta(days=1)), "PRIMARY KEY"),
        (SessionFilter(agent="Mira"), "triage_sessions_by_agent_key"),
        (SessionFilter(machine="gletsch_r500"), "triage_sessions_by_machine"),
        (SessionFilter(refrigerant="R-404A"), "triage_sessions_by_refrigerant"),
        (SessionFilter(cause="compressor_weak"), "triage_sessions_by_cause"),
        (SessionFilter(result="withheld"), "triage_sessions_by_result"),
        (SessionFilter(outcome="compressor_weak"), "triage_sessions_by_outcome"),
        (SessionFilter(serial_number="GL-7"), "triage_sessions_by_serial_key"),
        (SessionFilter(is_disagreeing=True), "triage_sessions_disagreeing"),
    ],
)
def test_a_page_is_read_along_an_index_and_never_sorted(where: SessionFilter, index: str) -> None:
    """SQLite's plan, and not a clock, says so."""
    with open_store(":memory:") as store, store._engine.connect() as connection:
        statement = queries.page(connection, where, 50, None)
        query = statement.compile(store._engine, compile_kwargs={"literal_binds": True})
        plan = [row[3] for row in connection.execute(text(f"EXPLAIN QUERY PLAN {query}"))]
    assert not any("TEMP B-TREE" in line for line in plan)
    assert any(index in line for line in plan) or plan == ["SCAN triage_sessions"]


def test_an_id_is_found_by_a_beginning_that_fits_it_alone(store: Store) -> None:
    for session_id in ("20261125-0931-k7qm", "20261125-0931-kb22", "20261126-1000-zzzz"):
        store.append(session_id, CALL, CONTENT, NOW, 0)
    assert store.resolve("20261126") == "20261126-1000-zzzz"
    assert store.resolve(" 20261125-0931-K7 ") == "20261125-0931-k7qm"
    with pytest.raises(SessionAmbiguous, match=r"k7qm, 20261125-0931-kb22; type more of the id"):
        store.resolve("20261125-0931-k")


def test_an_id_is_found_by_its_last_part_where_none_begins_so(store: Store) -> None:
    for session_id in ("20261125-0931-k87b", "20261126-0931-k87b", "20261125-1000-zzzz"):
        store.append(session_id, CALL, CONTENT, NOW, 0)
    assert store.resolve("ZZZZ") == "20261125-1000-zzzz"
    with pytest.raises(SessionAmbiguous, match=r"20261125-0931-k87b, 20261126-0931-k87b; type"):
        store.resolve("k87b")
    for part in ("87b", "zz", "_zzz", "-zzzz"):
        with pytest.raises(SessionNotFound):
            store.resolve(part)


def test_a_whole_id_is_found_even_if_another_begins_with_it(store: Store) -> None:
    for session_id in ("20261125", "20261125-0931-k7qm"):
        store.append(session_id, CALL, CONTENT, NOW, 0)
    assert store.resolve("20261125") == "20261125"


def test_of_many_ids_that_fit_only_some_are_named(store: Store) -> None:
    for number in range(9):
        store.append(f"20261125-0931-kk2{number}", CALL, CONTENT, NOW, 0)
    with pytest.raises(SessionAmbiguous, match=r"kk20, .*kk24 and more; type more"):
        store.resolve("2026")


@pytest.mark.parametrize("prefix", ["", "  ", "%", "_", "2026'", "\x1b[2J", "a\0", "\ud800", "ö"])
def test_a_beginning_that_fits_nothing_is_said_so(store: Store, prefix: str) -> None:
    store.append(SESSION, CALL, CONTENT, NOW, 0)
    with pytest.raises(SessionNotFound, match="no session") as caught:
        store.resolve(prefix)
    assert str(caught.value).isprintable()


@pytest.mark.parametrize(
    "statement",
    [
        "UPDATE triage_events SET speaker = 'x' WHERE sequence = 2",
        "DELETE FROM triage_events WHERE sequence = 4",
        "DELETE FROM triage_events",
        "INSERT INTO triage_events SELECT session_id, 6, recorded_at, speaker, content_version, "
        "event_format, kind, data, hash, hash, step FROM triage_events WHERE sequence = 4",
        "INSERT INTO triage_events SELECT session_id, 5, recorded_at, speaker, content_version, "
        "event_format, kind, data, previous_hash, hash, step FROM triage_events WHERE sequence = 4",
        "INSERT INTO triage_events SELECT * FROM triage_events WHERE sequence = 4",
    ],
)
def test_the_database_itself_refuses_anything_but_the_next_event(
    store: Store, statement: str
) -> None:
    written = store.append(SESSION, CALL, CONTENT, NOW, 0)
    with (
        pytest.raises(DBAPIError, match=r"append-only|not the next event"),
        store._engine.begin() as connection,
    ):
        connection.execute(text(statement))
    assert store.events(SESSION) == written


def test_a_store_of_a_newer_version_is_refused_with_the_way_out(lasting_target: str) -> None:
    with open_store(lasting_target) as store, store._engine.begin() as connection:
        connection.execute(text("UPDATE triage_migration SET version_num = '0099'"))
    with pytest.raises(StoreNewer, match=r"version 99.*update triage, or name another store"):
        open_store(lasting_target)


def test_a_store_is_there_again_when_opened_again(lasting_target: str) -> None:
    with open_store(lasting_target) as store:
        written = store.append(SESSION, CALL, CONTENT, NOW, 0)
    with open_store(lasting_target) as store:
        assert store.events(SESSION) == written


def test_of_two_desks_at_one_call_one_is_told_and_nothing_is_mixed(lasting_target: str) -> None:
    with open_store(lasting_target) as here, open_store(lasting_target) as there:
        here.append(SESSION, CALL[:1], CONTENT, NOW, 0)
        moved: list[str] = []
        kept: list[str] = []

        def talk(store: Store, speaker: str) -> None:
            for _ in range(25):
                length = len(store.events(SESSION))
                try:
                    store.append(SESSION, [(speaker, ANSWERED)] * 2, CONTENT, NOW, length)
                    kept.append(speaker)
                except SessionMoved:
                    moved.append(speaker)

        desks = [threading.Thread(target=talk, args=pair) for pair in ((here, "a"), (there, "b"))]
        for desk in desks:
            desk.start()
        for desk in desks:
            desk.join()
        stored = here.events(SESSION)
    assert len(kept) + len(moved) == 50
    assert len(stored) == 1 + 2 * len(kept)
    pairs = zip(stored[1::2], stored[2::2], strict=True)
    assert all(one.speaker == two.speaker for one, two in pairs)


def test_desks_that_open_a_new_store_at_once_all_get_the_same_one(lasting_target: str) -> None:
    from triage.store.open import warm_up

    warm_up()
    barrier = threading.Barrier(6)
    faults: list[Exception] = []

    def start(number: int) -> None:
        try:
            barrier.wait()
            with open_store(lasting_target) as store:
                store.append(f"20261125-0931-bbb{number}", CALL, CONTENT, NOW, 0)
        except Exception as error:  # noqa: BLE001
            faults.append(error)

    desks = [threading.Thread(target=start, args=(number,)) for number in range(6)]
    for desk in desks:
        desk.start()
    for desk in desks:
        desk.join()
    assert faults == []
    with open_store(lasting_target) as store:
        assert len(store.sessions()) == 6


@settings(
    steady,
    max_examples=25,
    suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow],
)
@given(st.lists(st.tuples(st.lists(turns, max_size=4), times), min_size=1, max_size=4))
def test_every_engine_gives_the_same_history(
    every_store: list[Store], appends: list[tuple[list[tuple[str, Event]], datetime]]
) -> None:
    session_id = f"20261125-{len(every_store[0].sessions(limit=10**6)):04}-bbbb"
    length = 0
    first: tuple[list[tuple[str, Event]], datetime] = ([("bot", STARTED)], NOW)
    for spoken, now in [first, *appends]:
        written = [store.append(session_id, spoken, CONTENT, now, length) for store in every_store]
        assert written[0] == written[1] == written[2]
        length += len(spoken)
    histories = [store.events(session_id) for store in every_store]
    assert histories[0] == histories[1] == histories[2]
    assert len(histories[0]) == length
    lists = [store.sessions(limit=5) for store in every_store]
    assert lists[0] == lists[1] == lists[2]
