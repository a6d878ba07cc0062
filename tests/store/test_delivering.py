"""What waited goes into the record: in order, once, and never over what another desk said."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import pytest

from tests.store.samples import (
    ANSWERED,
    CONTENT,
    NOW,
    SESSION,
    result_in_child,
    start_child,
)
from tests.store.waiting_lines import (
    PLACE,
    ROW,
    history,
    history_of,
    spooled,
)
from triage.dialogue.events import Noted
from triage.store.errors import (
    SessionMoved,
)
from triage.store.kept import deliver_left
from triage.store.open import open_store
from triage.store.spool import Spool
from triage.store.waiting import (
    Place,
    WaitingLine,
    deliver,
    files_for,
    is_anything_waiting,
    lines_of,
    others_waiting,
)

if TYPE_CHECKING:
    from triage.store.sql import Store


@pytest.mark.parametrize("there_already", range(len(ROW) + 1))
def test_what_is_in_the_record_already_is_not_written_again(
    store: Store, there_already: int
) -> None:
    for line in ROW[:there_already]:
        store.append(
            SESSION, line.spoken, CONTENT, line.recorded_at, expected_length=line.expected_length
        )
    assert list(deliver(store, ROW)) == ROW
    assert list(deliver(store, ROW)) == ROW
    assert history(store) == history_of(ROW)


def test_lines_behind_which_another_desk_went_on_count_as_written(store: Store) -> None:
    list(deliver(store, ROW))
    store.append(SESSION, [("agent", Noted("further"))], CONTENT, NOW, 9)
    assert list(deliver(store, ROW)) == ROW


@pytest.mark.parametrize(
    "change",
    [
        {"spoken": (("agent", Noted("line 1")), ("program", ANSWERED))},
        {"spoken": (("caller", Noted("Line 1")), ("program", ANSWERED))},
        {"recorded_at": NOW},
        {"content_version": "other"},
    ],
)
def test_what_only_looks_alike_is_not_taken_for_a_line_written_before(
    store: Store, change: dict[str, Any]
) -> None:
    list(deliver(store, ROW[:3]))
    fields = {name: getattr(ROW[2], name) for name in WaitingLine.__slots__}
    with pytest.raises(SessionMoved):
        list(deliver(store, [WaitingLine(**fields | change)]))
    assert history(store) == history_of(ROW[:3])


def test_lines_left_by_a_call_go_in_and_are_told(store: Store, waiting: Path) -> None:
    assert not is_anything_waiting(waiting / "nowhere")
    spooled(waiting, ROW)
    spooled(waiting, ROW, Place("1" * 64, "elsewhere", is_server=True))
    told = deliver_left(store, PLACE, waiting)
    assert told == [f"The record is back: 5 lines of session {SESSION} written."]
    assert history(store) == history_of(ROW)
    assert files_for(PLACE, waiting) == []
    assert len(list(waiting.iterdir())) == 1
    assert deliver_left(store, PLACE, waiting) == []


def test_a_file_nothing_was_acknowledged_in_is_removed_without_a_word(
    store: Store, waiting: Path
) -> None:
    path = spooled(waiting, ROW[:1])
    path.write_bytes(path.read_bytes()[:-1])
    assert deliver_left(store, PLACE, waiting) == []
    assert not is_anything_waiting(waiting)


def test_lines_of_a_call_another_desk_went_on_with_are_kept_aside_and_told_in_one_sentence(
    store: Store, waiting: Path
) -> None:
    list(deliver(store, ROW[:2]))
    spooled(waiting, ROW[2:])
    store.append(SESSION, [("agent", Noted("I went on"))], CONTENT, NOW, 3)
    (told,) = deliver_left(store, PLACE, waiting)
    (aside,) = waiting.iterdir()
    assert told == (
        f"Another desk has gone on with session {SESSION} meanwhile, so 3 lines typed here could "
        f"not be added and are kept in {aside}; triage resume {SESSION} shows where the call "
        "stands; type there what still counts."
    )
    assert aside.name.endswith(".not-written.jsonl")
    assert lines_of(aside) == ROW[2:]
    assert deliver_left(store, PLACE, waiting) == []
    assert len(store.events(SESSION)) == 4


def test_lines_whose_beginning_the_record_has_lost_are_kept_aside(
    store: Store, waiting: Path
) -> None:
    spooled(waiting, ROW[3:])
    (told,) = deliver_left(store, PLACE, waiting)
    assert told.startswith(f"The record holds only 0 of the 5 events of session {SESSION} that go")
    assert [path.name.endswith(".not-written.jsonl") for path in waiting.iterdir()] == [True]


def test_a_damaged_file_is_kept_aside_and_told(store: Store, waiting: Path) -> None:
    path = spooled(waiting, ROW)
    path.write_bytes(b"{}\n" + path.read_bytes())
    (told,) = deliver_left(store, PLACE, waiting)
    assert "cannot be read" in told
    assert not is_anything_waiting(waiting)
    assert len(list(waiting.iterdir())) == 1


def test_what_waits_for_other_records_is_counted_by_where_they_are(waiting: Path) -> None:
    elsewhere = Place("1" * 64, "elsewhere", is_server=True)
    spooled(waiting, ROW)
    assert others_waiting(PLACE, waiting) == {}
    spooled(waiting, ROW, elsewhere)
    spooled(waiting, ROW[:1], elsewhere)
    spooled(waiting, ROW[:2], Place("2" * 64, "/data/calls.db", is_server=False))
    (waiting / "x.waiting.jsonl").write_bytes(b"{}\n")
    assert others_waiting(PLACE, waiting) == {"elsewhere": 6, "/data/calls.db": 2}


def test_a_file_in_use_is_passed_over_and_told(store: Store, waiting: Path) -> None:
    spool = Spool.begin(waiting, SESSION)
    for line in ROW:
        spool.add(line, PLACE)
    (told,) = result_in_child(lambda: deliver_left(store, PLACE, waiting))
    assert told.startswith("A call still open on this computer has lines waiting in")
    spool.close()
    assert len(deliver_left(store, PLACE, waiting)) == 1


def test_several_programs_at_once_deliver_everything_once(
    lasting_target: str, waiting: Path
) -> None:
    folder = waiting / "waiting"
    open_store(lasting_target).close()
    sessions = [f"20261125-0931-{letter * 4}" for letter in "bcdfghjk"]
    for session in sessions:
        spooled(
            folder,
            [
                WaitingLine(session, line.expected_length, line.recorded_at, CONTENT, line.spoken)
                for line in ROW
            ],
        )

    def work() -> None:
        with open_store(lasting_target) as opened:
            while is_anything_waiting(folder):
                deliver_left(opened, PLACE, folder)

    children = [start_child(work) for _ in range(4)]
    for child in children:
        child.join(60)
        assert child.exitcode == 0
    with open_store(lasting_target) as opened:
        for session in sessions:
            assert [item.event for item in opened.events(session)] == [
                event for _, _, event in history_of(ROW)
            ]
