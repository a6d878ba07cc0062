"""Whatever is done to the record by hand is found and named."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from datetime import timedelta
from typing import TYPE_CHECKING

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from sqlalchemy import text
from sqlalchemy.exc import DBAPIError

from tests.store.samples import ANSWERED, CALL, CONTENT, NOW, SESSION, STARTED, steady
from triage.dialogue.events import Event, Noted
from triage.store.chain_faults import Harm
from triage.store.guards import create_guards, drop_guards
from triage.store.open import open_store
from triage.store.record import chain
from triage.store.rows import to_row
from triage.store.verify import Verified

if TYPE_CHECKING:
    from triage.store.sql import Store

OTHER = "20261125-1000-bbbb"
LONG: Sequence[tuple[str, Event]] = (*CALL[:3], *(("agent", Noted(f"n{n}")) for n in range(4)))


def by_hand(store: Store, *statements: str) -> Verified:
    """What verify finds after somebody took the guards away for as long as it took."""
    with store._engine.begin() as connection:
        drop_guards(connection)
        for statement in statements:
            connection.execute(text(statement))
        create_guards(connection)
    return store.verify()


def harms(found: Verified) -> set[tuple[str, int | None, Harm]]:
    return {(fault.session_id, fault.sequence, fault.harm) for fault in found.faults}


@pytest.fixture
def kept(store: Store) -> Store:
    """Two calls: one of seven events, one of four."""
    store.append(SESSION, LONG, CONTENT, NOW, 0)
    store.append(OTHER, CALL, CONTENT, NOW + timedelta(hours=1), 0)
    return store


def test_a_sound_record_is_whole(kept: Store) -> None:
    seen: list[tuple[int, int]] = []
    found = kept.verify(step=lambda done, of: seen.append((done, of)))
    assert (found.sessions, found.events, found.purged, found.faults) == (2, 11, 0, ())
    assert seen == [(2, 2)]
    assert kept.verify_session(SESSION).faults == ()


def test_an_empty_record_is_whole(store: Store) -> None:
    assert store.verify().faults == ()


@pytest.mark.parametrize(
    ("statement", "sequence"),
    [
        ("UPDATE triage_events SET speaker = 'x' WHERE sequence = 3 AND session_id = '{}'", 3),
        ("UPDATE triage_events SET data = '{{}}' WHERE sequence = 2 AND session_id = '{}'", 2),
        ("UPDATE triage_events SET data = 'no' WHERE sequence = 2 AND session_id = '{}'", 2),
        ("UPDATE triage_events SET hash = 'x' WHERE sequence = 7 AND session_id = '{}'", 7),
        ("UPDATE triage_events SET recorded_at = '2020-01-01T00:00:00.000000+00:00' "
         "WHERE sequence = 1 AND session_id = '{}'", 1),
    ],
)  # fmt: skip
def test_an_altered_event_is_named(kept: Store, statement: str, sequence: int) -> None:
    found = by_hand(kept, statement.format(SESSION))
    assert (SESSION, sequence, Harm.ALTERED) in harms(found)
    assert {fault.session_id for fault in found.faults} == {SESSION}


@pytest.mark.parametrize("sequence", [1, 3, 7])
def test_a_dropped_event_is_named(kept: Store, sequence: int) -> None:
    statement = (
        f"DELETE FROM triage_events WHERE sequence = {sequence} AND session_id = '{SESSION}'"
    )
    found = by_hand(kept, statement)
    assert (SESSION, sequence, Harm.DROPPED) in harms(found)
    assert f"event {sequence} is missing" in found.faults[0].words


def test_an_end_that_was_cut_off_is_named(kept: Store) -> None:
    found = by_hand(
        kept, f"DELETE FROM triage_events WHERE sequence > 4 AND session_id = '{SESSION}'"
    )
    assert harms(found) == {(SESSION, 5, Harm.DROPPED)}
    assert "events 5 to 7 are missing at the end" in found.faults[0].words


def test_events_that_were_swapped_are_named(kept: Store) -> None:
    move = "UPDATE triage_events SET sequence = {} WHERE sequence = {} AND session_id = '{}'"
    found = by_hand(kept, *(move.format(*pair, SESSION) for pair in ((99, 3), (3, 5), (5, 99))))
    assert {(SESSION, 3, Harm.REORDERED), (SESSION, 5, Harm.REORDERED)} <= harms(found)
    assert "event 3 was written as event 5" in " ".join(fault.words for fault in found.faults)


def test_an_event_put_in_at_the_end_is_named_though_its_hash_holds(kept: Store) -> None:
    last = kept.events(SESSION)[-1]
    forged = chain(SESSION, [("x", ANSWERED)], CONTENT, NOW, last.sequence, last.hash)[0]
    found = by_hand(kept, insertion(to_row(forged)))
    assert harms(found) == {(SESSION, 8, Harm.INSERTED)}


def test_an_event_put_in_between_is_named(kept: Store) -> None:
    before = kept.events(SESSION)[2]
    forged = chain(SESSION, [("x", ANSWERED)], CONTENT, NOW, 3, before.hash)[0]
    make_room = [
        f"UPDATE triage_events SET sequence = {number + 1} WHERE sequence = {number} "
        f"AND session_id = '{SESSION}'"
        for number in (7, 6, 5, 4)
    ]
    found = by_hand(kept, *make_room, insertion(to_row(forged)))
    assert {fault.session_id for fault in found.faults} == {SESSION}
    assert found.faults


def insertion(row: dict[str, object]) -> str:
    quoted = (
        "'" + str(value).replace("'", "''").replace(":", r"\:") + "'" for value in row.values()
    )
    return f"INSERT INTO triage_events ({', '.join(row)}) VALUES ({', '.join(quoted)})"


def test_a_session_whose_events_are_all_gone_is_named(kept: Store) -> None:
    found = by_hand(kept, f"DELETE FROM triage_events WHERE session_id = '{SESSION}'")
    assert harms(found) == {(SESSION, None, Harm.DROPPED)}


def test_a_session_dropped_from_every_table_leaves_a_hole_in_the_register(kept: Store) -> None:
    tables = ("triage_events", "triage_sessions", "triage_register")
    found = by_hand(
        kept, *(f"DELETE FROM {table} WHERE session_id = '{SESSION}'" for table in tables)
    )
    assert [(fault.harm, fault.words) for fault in found.faults] == [
        (Harm.DROPPED, "in triage_register, position 1 was dropped: 2 stands there")
    ]


def test_the_last_session_dropped_from_every_table_is_shown_by_an_earlier_mark(kept: Store) -> None:
    mark = kept.verify().mark
    assert kept.verify(mark).faults == ()
    tables = ("triage_events", "triage_sessions", "triage_register")
    found = by_hand(
        kept, *(f"DELETE FROM {table} WHERE session_id = '{OTHER}'" for table in tables)
    )
    assert "the counts of" in found.faults[0].words
    assert [fault.harm for fault in kept.verify(mark).faults] == [Harm.DROPPED]


def test_a_mark_still_holds_after_more_calls(kept: Store) -> None:
    mark = kept.verify().mark
    kept.append("20261126-0000-cccc", CALL, CONTENT, NOW, 0)
    kept.append(SESSION, [("agent", Noted("more"))], CONTENT, NOW, len(LONG))
    assert kept.verify(mark).faults == ()


def test_a_session_put_in_beside_the_register_is_named(kept: Store) -> None:
    forged = chain("20261125-0000-xxxx", [("x", STARTED)], CONTENT, NOW, 0, "0" * 64)[0]
    found = by_hand(kept, insertion(to_row(forged)))
    assert harms(found) == {("20261125-0000-xxxx", None, Harm.INSERTED)}


def test_a_session_written_anew_is_named(kept: Store) -> None:
    anew = chain(SESSION, [("x", item[1]) for item in LONG], CONTENT, NOW, 0, "0" * 64)
    statements = [f"DELETE FROM triage_events WHERE session_id = '{SESSION}'"]
    statements += [insertion(to_row(record)) for record in anew]
    statements += [
        f"UPDATE triage_sessions SET head_hash = '{anew[-1].hash}' WHERE session_id = '{SESSION}'"
    ]
    found = by_hand(kept, *statements)
    assert (SESSION, 1, Harm.ALTERED) in harms(found)


@pytest.mark.parametrize(
    ("column", "value"), [("result", "'withheld'"), ("cause", "''"), ("questions", "9")]
)
def test_a_list_that_says_otherwise_than_the_events_is_named(
    kept: Store, column: str, value: str
) -> None:
    found = by_hand(
        kept, f"UPDATE triage_sessions SET {column} = {value} WHERE session_id = '{OTHER}'"
    )
    assert harms(found) == {(OTHER, None, Harm.ALTERED)}
    assert f"the list says {column}" in found.faults[0].words


@pytest.mark.parametrize(
    "change",
    [
        "triage_sessions SET agent_key = 'nobody'",
        "triage_sessions SET desk_key = 'nobody'",
        "triage_sessions SET time_bin = 7",
        "triage_sessions SET previous_number = 7",
        "triage_sessions SET number = number - 86400000000",
        "triage_sessions SET purged_at = '2026-11-25T00:00:00.000000+00:00'",
        "triage_question_months SET unknown = unknown + 1",
        "triage_question_months SET seconds = 0 - 1",
    ],
)
def test_whatever_figures_and_filters_go_by_is_held_against_the_events(
    kept: Store, change: str
) -> None:
    assert {fault.harm for fault in by_hand(kept, f"UPDATE {change}").faults} == {Harm.ALTERED}


def test_a_guard_that_was_taken_away_is_named(kept: Store) -> None:
    with kept._engine.begin() as connection:
        drop_guards(connection)
    found = kept.verify()
    assert {fault.harm for fault in found.faults} == {Harm.UNGUARDED}
    assert "triage_events_update is gone or switched off" in " ".join(
        fault.words for fault in found.faults
    )


def test_a_guard_that_was_switched_off_is_named(server_address: str) -> None:
    with open_store(server_address) as store:
        with store._engine.begin() as connection:
            connection.execute(text("ALTER TABLE triage_events DISABLE TRIGGER ALL"))
        assert Harm.UNGUARDED in {fault.harm for fault in store.verify().faults}


def test_a_desks_own_tables_blind_no_guard(server_address: str) -> None:
    """A temporary table is looked at before all others, unless the path says otherwise."""
    with open_store(server_address) as store:
        store.append(SESSION, CALL, CONTENT, NOW, 0)
        with store._engine.connect() as connection:
            connection.execute(text("CREATE TEMP TABLE triage_events (LIKE triage_events)"))
            path = connection.execute(text("SELECT current_schema()")).scalar_one()
            forged = to_row(chain(SESSION, [("x", ANSWERED)], CONTENT, NOW, 99, "0" * 64)[0])
            statement = insertion(forged).replace("triage_events", f"{path}.triage_events")
            with pytest.raises(DBAPIError, match="not the next event"):
                connection.execute(text(statement))


# Heads kept elsewhere show what a chain that was written anew as a whole does not.


def kept_heads(store: Store) -> dict[str, tuple[int, str]]:
    heads: dict[str, tuple[int, str]] = {}

    def keep(session_id: str, count: int, head_hash: str) -> None:
        heads[session_id] = (count, head_hash)

    assert store.verify(keep=keep).faults == ()
    return heads


def cut(store: Store, session_id: str, count: int) -> list[str]:
    """The statements that cut a session's end off and make everything else fit."""
    stored = store.events(session_id)[:count]
    with open_store(":memory:") as other:
        other.append(session_id, [(item.speaker, item.event) for item in stored], CONTENT, NOW, 0)
        line = other.summary(session_id)
    return [
        f"DELETE FROM triage_events WHERE session_id = '{session_id}' AND sequence > {count}",
        f"UPDATE triage_sessions SET count = {count}, head_hash = '{stored[-1].hash}', "
        f"last_kind = '{line.last_kind}', words = '{line.words}', node = '{line.node}', "
        f"questions = {line.questions} WHERE session_id = '{session_id}'",
    ]


def test_heads_kept_earlier_show_an_end_cut_off_without_a_trace(kept: Store) -> None:
    heads, mark = kept_heads(kept), kept.verify().mark
    assert by_hand(kept, *cut(kept, SESSION, 5)).faults == ()
    assert kept.verify(mark).faults == ()
    found = kept.verify(mark, heads)
    assert harms(found) == {(SESSION, 7, Harm.DROPPED)}


def test_heads_kept_earlier_still_stand_after_more_calls_and_a_purge(kept: Store) -> None:
    heads = kept_heads(kept)
    kept.append(SESSION, [("agent", Noted("more"))], CONTENT, NOW, len(LONG))
    kept.append("20261126-0000-cccc", CALL, CONTENT, NOW, 0)
    kept.purge(NOW + timedelta(minutes=30), "Ana", "", NOW)
    assert kept.verify("", heads).faults == ()


def test_a_session_of_the_heads_that_is_gone_is_named(kept: Store) -> None:
    heads = kept_heads(kept) | {"20260101-0000-gone": (3, "x")}
    assert harms(kept.verify("", heads)) == {("20260101-0000-gone", None, Harm.DROPPED)}


def test_a_garbled_event_hides_no_dropped_one(kept: Store) -> None:
    found = by_hand(
        kept,
        f"DELETE FROM triage_events WHERE sequence = 3 AND session_id = '{SESSION}'",
        f"UPDATE triage_events SET data = '{{' WHERE sequence = 6 AND session_id = '{SESSION}'",
    )
    assert {(SESSION, 3, Harm.DROPPED), (SESSION, 6, Harm.ALTERED)} <= harms(found)


def test_a_session_put_in_is_not_whole_by_itself_either(kept: Store) -> None:
    forged = chain("20261125-0000-xxxx", [("x", STARTED)], CONTENT, NOW, 0, "0" * 64)[0]
    by_hand(kept, insertion(to_row(forged)))
    found = kept.verify_session("20261125-0000-xxxx")
    assert Harm.INSERTED in {fault.harm for fault in found.faults}


def test_a_register_that_was_changed_is_named(kept: Store) -> None:
    found = by_hand(kept, "UPDATE triage_register SET first_hash = 'x' WHERE position = 1")
    assert (SESSION, None, Harm.ALTERED) in harms(found)


OWN_TABLES = ("triage_events", "triage_register", "triage_sessions", "triage_purges")


@pytest.mark.parametrize("table", OWN_TABLES)
def test_the_database_itself_lets_nothing_be_deleted(kept: Store, table: str) -> None:
    kept.append("20200101-0000-aaaa", CALL, CONTENT, NOW - timedelta(days=900), 0)
    kept.purge(NOW - timedelta(days=800), "Ana", "two years", NOW)
    with pytest.raises(Exception, match=r"append-only|lines stay"), kept._engine.begin() as hand:
        hand.execute(text(f"DELETE FROM {table}"))
    assert kept.verify().faults == ()


def test_a_line_can_be_set_back_by_nobody(kept: Store) -> None:
    for change in ("count = count - 1", "number = number + 1", "count = count + 1"):
        with pytest.raises(Exception, match="does not fit"), kept._engine.begin() as hand:
            hand.execute(text(f"UPDATE triage_sessions SET {change}"))


ANY_CHANGE: list[Callable[[int], str]] = [
    lambda n: f"DELETE FROM triage_events WHERE sequence = {n} AND session_id = '{SESSION}'",
    lambda n: f"UPDATE triage_events SET speaker = 'y' WHERE sequence = {n} "
    f"AND session_id = '{SESSION}'",
    lambda n: f"UPDATE triage_events SET sequence = {n + 20} WHERE sequence = {n} "
    f"AND session_id = '{SESSION}'",
    lambda n: f"UPDATE triage_events SET session_id = '{OTHER}', sequence = {n + 20} "
    f"WHERE sequence = {n} AND session_id = '{SESSION}'",
]  # fmt: skip


@settings(steady, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(
    changes=st.lists(
        st.tuples(st.sampled_from(ANY_CHANGE), st.integers(1, len(LONG))),
        min_size=1, max_size=3, unique_by=lambda change: change[1],
    )
)  # fmt: skip
def test_no_change_by_hand_goes_unnoticed(
    changes: list[tuple[Callable[[int], str], int]],
) -> None:
    with open_store(":memory:") as store:
        store.append(SESSION, LONG, CONTENT, NOW, 0)
        store.append(OTHER, CALL, CONTENT, NOW, 0)
        found = by_hand(store, *(change(number) for change, number in changes))
        assert SESSION in {fault.session_id for fault in found.faults}
        assert store.verify_session(SESSION).faults


def test_events_that_all_moved_by_one_are_told_in_one_sentence(kept: Store) -> None:
    close = [
        f"UPDATE triage_events SET sequence = {number - 1} WHERE sequence = {number} "
        f"AND session_id = '{SESSION}'"
        for number in (4, 5, 6, 7)
    ]
    drop = f"DELETE FROM triage_events WHERE sequence = 3 AND session_id = '{SESSION}'"
    words = [fault.words for fault in by_hand(kept, drop, *close).faults]
    assert "events 3 to 6 were written as events 4 to 7" in words
    assert len(words) <= 3
