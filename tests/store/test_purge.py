"""Old calls are purged, nobody in them is named any more, and the rest is still proved whole."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta
from pathlib import Path
from typing import TYPE_CHECKING

import pytest
from sqlalchemy import text

from tests.conversation import TREE
from tests.store.samples import CALL, CONTENT, NOW, STARTED, contents
from triage.dialogue.events import Identified, Noted, Parked, RepairReported
from triage.store.errors import SessionNotFound
from triage.store.guards import create_guards, drop_guards
from triage.store.listing import SessionFilter
from triage.store.open import open_store
from triage.store.purge import Purged
from triage.store.schema import metadata

if TYPE_CHECKING:
    from triage.store.sql import Store

OLD, NEW = "20240101-0000-aaaa", "20261125-0931-bbbb"
LONG_AGO = NOW - timedelta(days=700)
PERSONAL = ("Zebulonia", "quagmiresque", "SN0ZQX77")
SAID = (
    ("program", replace(STARTED, agent=PERSONAL[0])),
    ("agent", Noted(f"ask for {PERSONAL[1]}")),
    ("agent", Identified(PERSONAL[2])),
    ("agent", Parked(f"{PERSONAL[1]} fetches a gauge", "2024-01-01T00:00:00+00:00")),
    *CALL[1:],
    ("agent", RepairReported(("receiver_vapor_feed_failed",), reported_by=PERSONAL[0])),
)
BEFORE = NOW - timedelta(days=365)


@pytest.fixture
def purged(store: Store) -> Store:
    """One call of long ago, purged, and one of today."""
    store.append(OLD, SAID, CONTENT, LONG_AGO, 0)
    store.append(NEW, CALL, CONTENT, NOW, 0)
    assert store.count_purgeable(BEFORE) == 1
    purged = store.purge(BEFORE, "Ana", "two years are over", NOW)
    assert purged == Purged(1, len(SAID), is_wiped=True)
    return store


def test_what_stays_is_still_proved_whole(purged: Store) -> None:
    found = purged.verify()
    assert (found.sessions, found.events, found.purged, found.faults) == (2, len(CALL), 1, ())
    assert purged.verify_session(OLD).faults == ()


def test_a_mark_from_before_the_purge_still_holds(store: Store) -> None:
    store.append(OLD, SAID, CONTENT, LONG_AGO, 0)
    mark = store.verify().mark
    store.purge(BEFORE, "Ana", "", NOW)
    assert store.verify(mark).faults == ()


def test_its_line_stays_for_the_figures_without_names(purged: Store) -> None:
    line = purged.summary(OLD)
    assert (line.result, line.cause) == ("recommended", "receiver_vapor_feed_failed")
    assert line.outcome == "receiver_vapor_feed_failed"
    assert line.purged_at.startswith("2026-11-25")
    assert (line.agent, line.desk, line.serial_number, line.words, line.park_reason) == ("",) * 5
    assert purged.confirmed_outcomes() == {TREE: {"receiver_vapor_feed_failed": 1}}


def test_no_table_names_anybody_any_more(purged: Store) -> None:
    with purged._engine.connect() as connection:
        for table in metadata.sorted_tables:
            rows = str(connection.execute(table.select()).all())
            for name in PERSONAL:
                assert name not in rows
                assert name.casefold() not in rows


def test_no_byte_of_the_file_names_anybody_any_more(file_path: Path) -> None:
    with open_store(file_path) as store:
        store.append(OLD, SAID, CONTENT, LONG_AGO, 0)
        store.append(NEW, CALL, CONTENT, NOW, 0)
        store.purge(BEFORE, "Ana", "", NOW)
    whole = b"".join(contents(file_path.parent).values())
    for name in PERSONAL:
        assert name.encode() not in whole
        assert name.casefold().encode() not in whole


def test_its_words_are_found_no_more(purged: Store) -> None:
    for text_ in (PERSONAL[1], "ask"):
        assert purged.sessions(where=SessionFilter(text=text_)) == []


def test_a_purged_call_says_so_and_is_not_gone_on_with(purged: Store) -> None:
    with pytest.raises(SessionNotFound, match="were purged on 2026-11-25; only its line"):
        purged.events(OLD)
    for length in (0, len(SAID)):
        with pytest.raises(SessionNotFound, match="were purged on"):
            purged.append(OLD, CALL, CONTENT, NOW, length)
    assert [line.session_id for line, _ in purged.each_session()] == [NEW]
    assert purged.verify().faults == ()


def test_purging_again_finds_nothing_to_do(purged: Store) -> None:
    assert purged.purge(BEFORE, "Ana", "", NOW) == Purged(0, 0, True)


def test_who_purged_and_why_is_on_record_for_good(purged: Store) -> None:
    with purged._engine.connect() as connection:
        row = connection.execute(text("SELECT purged_by, reason FROM triage_purges")).one()
    assert tuple(row) == ("Ana", "two years are over")


def test_counts_of_old_months_lose_the_desks_and_keep_their_sums(store: Store) -> None:
    def asked() -> int:
        with store._engine.connect() as connection:
            return int(
                connection.execute(
                    text("SELECT sum(asked) FROM triage_question_months")
                ).scalar_one()
            )

    store.append(OLD, SAID, CONTENT, LONG_AGO, 0)
    store.append("20240101-0000-cccc", CALL, CONTENT, LONG_AGO, 0)
    before = asked()
    store.purge(BEFORE, "Ana", "", NOW)
    assert asked() == before == 2


def test_many_calls_are_purged_in_steps(store: Store, monkeypatch: pytest.MonkeyPatch) -> None:
    from triage.store import purge

    monkeypatch.setattr(purge, "AT_ONCE", 2)
    for number in range(5):
        store.append(f"20240101-0000-aaa{number}", CALL, CONTENT, LONG_AGO, 0)
    assert store.purge(BEFORE, "", "", NOW) == Purged(5, 5 * len(CALL), True)
    assert store.verify().faults == ()


def test_a_damaged_call_is_left_so_that_what_was_done_to_it_stays_seen(store: Store) -> None:
    for name in "ab":
        store.append(f"20240101-0000-{name}", CALL, CONTENT, LONG_AGO, 0)
    with store._engine.begin() as connection:
        drop_guards(connection)
        connection.execute(
            text("DELETE FROM triage_events WHERE session_id LIKE '%-a' AND sequence = 2")
        )
        create_guards(connection)
    assert store.purge(BEFORE, "", "", NOW) == Purged(1, len(CALL), True, ("20240101-0000-a",))
    assert [fault.session_id for fault in store.verify().faults] == ["20240101-0000-a"]
