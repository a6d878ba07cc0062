"""The record goes away under a call: the call goes on, and the record has all of it afterwards."""

from __future__ import annotations

import os
import signal
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import UTC, datetime
from io import StringIO
from pathlib import Path

import pytest
from sqlalchemy import text

from tests.console.desks import Lines
from tests.conversation import FEED_FAILED, TREE, shipped_engine
from tests.private_server import PrivateServer
from triage.console.chat import Chat, ChatEnd
from triage.console.desk import Desk
from triage.console.left_waiting import write_what_waits
from triage.console.look import ChatConsole, Look
from triage.console.reach import in_short
from triage.dialogue.case import fold
from triage.dialogue.events import Concluded, Event, Noted, Started
from triage.dialogue.view import END_PROMPTS, AskQuestion
from triage.store.kept import KeptRecord
from triage.store.open import open_store
from triage.store.sql import Store
from triage.store.waiting import is_anything_waiting, lines_of
from triage.store.where import waiting_folder

SESSION = "20261125-0931-k7qm"
VERSION = shipped_engine().content.version
STARTED = Started(TREE, VERSION, "agent", "us", 0.0, "Ada")


def clock() -> datetime:
    return datetime.now(UTC)


@contextmanager
def call_on(target: str, **details: float) -> Iterator[tuple[Desk, KeptRecord]]:
    """A new call whose record is at `target`, as `triage call` has it."""
    with KeptRecord(target, lambda: open_store(target), retry_s=0.05, **details) as record:
        yield (
            Desk.start(shipped_engine(), lambda: record, clock, SESSION, "caller", STARTED),
            record,
        )


def play(desk: Desk, turns: int = 1000) -> None:
    """Say what the failed-feed caller says."""
    for _ in range(turns):
        prompt = desk.prompt
        if isinstance(prompt, END_PROMPTS):
            return
        desk.say(FEED_FAILED[prompt.reading.id] if isinstance(prompt, AskQuestion) else "yes")


def until(condition: Callable[[], bool]) -> None:
    deadline = time.monotonic() + 20
    while not condition():
        assert time.monotonic() < deadline
        time.sleep(0.01)


def kept(target: str) -> list[Event]:
    """The events of the session; the chain is verified on the way."""
    with open_store(target) as store:
        return [item.event for item in store.events(SESSION)]


def assert_whole(target: str, desk: Desk) -> None:
    """The record is the call: it folds to the very case on the desk, and nothing waits."""
    events = kept(target)
    assert fold(events) == desk.case
    assert [event.kind for event in events].count("started") == 1
    assert isinstance(events[-1], Concluded)
    assert events[-1].result == "recommended"
    assert not is_anything_waiting(waiting_folder())


@pytest.fixture
def target(own_server: PrivateServer, own_folders: dict[str, str]) -> str:
    """An empty database on a server that may be stopped."""
    return own_server.new_database()


@pytest.mark.parametrize("mode", ["fast", "immediate"])
def test_a_database_restarted_in_mid_call_costs_nothing_and_is_not_even_seen(
    own_server: PrivateServer, target: str, mode: str
) -> None:
    with call_on(target) as (desk, record):
        play(desk, 8)
        own_server.stop(mode)
        own_server.start()
        play(desk)
        assert record.waiting == 0
    assert_whole(target, desk)


@pytest.mark.parametrize("turns_before", [0, 1, 9])
def test_a_call_goes_on_while_the_database_is_down_and_is_written_when_it_is_back(
    own_server: PrivateServer, target: str, turns_before: int
) -> None:
    with call_on(target) as (desk, record):
        play(desk, turns_before)
        own_server.stop("immediate")
        began = time.monotonic()
        play(desk, 6)
        assert time.monotonic() - began < 5
        assert record.waiting == 6
        assert "The record is out of reach" in record.news()[0]
        own_server.start()
        until(lambda: record.is_back)
        assert record.news() == ["The record is back: 6 lines written."]
        play(desk)
    assert_whole(target, desk)


def test_times_on_record_are_when_it_was_said_not_when_it_was_written(
    own_server: PrivateServer, target: str
) -> None:
    with call_on(target) as (desk, record):
        play(desk, 2)
        own_server.stop()
        play(desk, 3)
        said_by = clock()
        time.sleep(0.05)
        own_server.start()
        until(lambda: record.is_back)
    with open_store(target) as store:
        times = [datetime.fromisoformat(item.recorded_at) for item in store.events(SESSION)]
    assert max(times) <= said_by
    assert times == sorted(times)


def test_a_database_that_goes_away_again_and_again_loses_and_doubles_nothing(
    own_server: PrivateServer, target: str
) -> None:
    with call_on(target) as (desk, record):
        for _ in range(4):
            play(desk, 3)
            own_server.stop("immediate")
            play(desk, 2)
            own_server.start()
        play(desk)
        until(lambda: not record.waiting)
    assert_whole(target, desk)


def terminate_all_lines(target: str) -> None:
    with open_store(target) as other, other._engine.connect() as connection:
        connection.execute(
            text(
                "SELECT pg_terminate_backend(pid) FROM pg_stat_activity "
                "WHERE datname = current_database() AND pid <> pg_backend_pid()"
            )
        )


def test_a_line_to_the_database_cut_between_turns_is_not_even_seen(target: str) -> None:
    with call_on(target) as (desk, record):
        for _ in range(5):
            play(desk, 2)
            terminate_all_lines(target)
        play(desk)
        assert record.news() == []
    assert_whole(target, desk)


@pytest.mark.parametrize("moment", ["before", "after"])
def test_a_line_cut_while_a_turn_is_written_keeps_the_turn_once(
    target: str, moment: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Cut within the transaction, or after its commit with the answer lost on the way back."""
    appended = Store.append
    cuts = iter([False, False, False, True])

    def append(store: Store, *arguments: object, **named: object) -> object:
        is_cut = next(cuts, False)
        if is_cut and moment == "before":
            with store._engine.begin() as connection:
                line = connection.scalar(text("SELECT pg_backend_pid()"))
                with open_store(target) as other, other._engine.connect() as killer:
                    killer.execute(text(f"SELECT pg_terminate_backend({line})"))
                    killer.commit()
                from triage.store.border import translated

                with translated(store.location):
                    connection.execute(text("SELECT 1"))
        done = appended(store, *arguments, **named)  # type: ignore[arg-type]
        if is_cut:
            from triage.store.errors import StoreUnreachable

            raise StoreUnreachable("the answer was lost")
        return done

    monkeypatch.setattr(Store, "append", append)
    with call_on(target) as (desk, record):
        play(desk)
        until(lambda: not record.waiting)
        assert "The record is out of reach" in record.news()[0]
    assert_whole(target, desk)


def test_a_server_that_hangs_holds_the_call_up_once(target: str) -> None:
    with call_on(target, patience_s=0.5) as (desk, record):
        play(desk, 3)
        with open_store(target) as other, other._engine.connect() as connection:
            line = connection.scalar(
                text(
                    "SELECT pid FROM pg_stat_activity WHERE datname = current_database() "
                    "AND application_name = 'triage' AND pid <> pg_backend_pid() LIMIT 1"
                )
            )
        os.kill(line, signal.SIGSTOP)
        try:
            began = time.monotonic()
            play(desk, 5)
            assert time.monotonic() - began < 4
            assert record.waiting == 5
            assert "within 0.5 seconds" in record.news()[0]
        finally:
            os.kill(line, signal.SIGCONT)
        until(lambda: record.is_back)
        play(desk)
    assert_whole(target, desk)


# What the chat shows.


def held(desk: Desk, record: KeptRecord, lines: Lines) -> tuple[ChatEnd, str]:
    stream = StringIO()
    conversation = Chat(desk, ChatConsole(Look(), stream, 80), clock, record)
    return conversation.converse(lines), " ".join(
        line.partition("│")[2].strip() for line in stream.getvalue().splitlines()
    )


@dataclass
class Watched:
    """A record as the toolbar sees it."""

    waiting: int = 0
    has_moved: bool = False
    is_back: bool = False

    def news(self) -> list[str]:
        return []

    def settle(self) -> None:
        """Nothing to try."""


@pytest.mark.parametrize(
    ("record", "words"),
    [
        (None, ""),
        (Watched(), ""),
        (Watched(waiting=1), "record out of reach: 1 line waiting here"),
        (Watched(waiting=12), "record out of reach: 12 lines waiting here"),
        (Watched(is_back=True), "the record is back"),
        (Watched(waiting=3, has_moved=True), "another desk has this call now"),
    ],
)
def test_the_toolbar_says_in_a_few_words_how_the_record_is_reached(
    record: Watched | None, words: str
) -> None:
    assert in_short(record) == words


class Hooked(Lines):
    """Lines with something that happens before one of them is typed."""

    def __init__(self, *steps: object) -> None:
        super().__init__(*[step for step in steps if not callable(step) or isinstance(step, type)])  # type: ignore[arg-type]
        self._all = list(steps)

    def read(self) -> str:
        while callable(self._all[0]) and not isinstance(self._all[0], type):
            self._all.pop(0)()
        self._all.pop(0)
        return super().read()


def test_the_agent_is_told_once_of_the_outage_and_once_of_its_end(
    own_server: PrivateServer, target: str
) -> None:
    with call_on(target) as (desk, record):

        def back() -> None:
            own_server.start()
            until(lambda: record.is_back)

        steps = ["yes both", own_server.stop, "will not drop", "note one", "note two", back,
                 "note three", EOFError]  # fmt: skip
        end, shown = held(desk, record, Hooked(*steps))
    assert end is ChatEnd.STOPPED
    assert shown.count("The record is out of reach (no answer from postgresql+psycopg://") == 1
    assert "Go on with the call: what is typed waits on this computer" in shown
    assert shown.count("The record is back: 3 lines written.") == 1
    assert "still" not in shown.partition("The record is back")[2]
    assert [event.text for event in kept(target) if isinstance(event, Noted)] == [
        "one", "two", "three",
    ]  # fmt: skip


def test_a_call_that_ends_in_the_outage_says_what_waits_and_the_next_command_writes_it(
    own_server: PrivateServer, target: str, capsys: pytest.CaptureFixture[str]
) -> None:
    with call_on(target) as (desk, record):
        steps = ["yes both", own_server.stop, "will not drop", "note one", EOFError]
        end, shown = held(desk, record, Hooked(*steps))
    assert end is ChatEnd.STOPPED
    assert (
        "The record is still out of reach: 3 lines of this call waiting on this computer. The next "
        "triage command on this record writes them; nothing needs to be typed again." in shown
    )
    own_server.start()
    write_what_waits(target)
    assert capsys.readouterr().err == (
        f"triage: The record is back: 3 lines of session {SESSION} written.\n"
    )
    write_what_waits(target)
    assert capsys.readouterr().err == ""
    assert fold(kept(target)) == desk.case


def test_a_call_another_desk_took_over_meanwhile_ends_with_where_its_lines_are(
    own_server: PrivateServer, target: str
) -> None:
    with call_on(target) as (desk, record):

        def other_desk() -> None:
            own_server.start()
            with open_store(target) as store:
                length = len(store.events(SESSION))
                store.append(SESSION, [("agent", Noted("mine now"))], VERSION, clock(), length)

        # The other desk has to be there first, so ours must not try meanwhile.
        record._retry_s = 3600
        steps: list[object] = ["yes both", own_server.stop, "will not drop", "note one",
                 other_desk, record.settle, "note two"]  # fmt: skip
        end, shown = held(desk, record, Hooked(*steps))
    assert end is ChatEnd.MOVED
    (aside,) = waiting_folder().iterdir()
    assert f"Another desk has gone on with session {SESSION} meanwhile, so 3 lines" in shown
    assert "type there what still counts" in shown
    assert aside.name.endswith(".not-written.jsonl")
    typed = [event for line in lines_of(aside) for _, event in line.spoken]
    assert Noted("one") in typed
    assert Noted("two") in typed
    assert Noted("mine now") in kept(target)


def test_a_file_taken_away_in_mid_call_is_waited_for(
    tmp_path: Path, own_folders: dict[str, str]
) -> None:
    path, away = tmp_path / "calls.db", tmp_path / "away.db"
    with call_on(str(path)) as (desk, record):
        play(desk, 4)
        for name in ("", "-wal", "-shm"):
            path.with_name(path.name + name).rename(away.with_name(away.name + name))
        record._store.close()  # type: ignore[union-attr]
        play(desk, 4)
        assert record.waiting == 4
        assert not path.exists()
        for name in ("", "-wal", "-shm"):
            if away.with_name(away.name + name).exists():
                away.with_name(away.name + name).rename(path.with_name(path.name + name))
        until(lambda: record.is_back)
        play(desk)
    assert_whole(str(path), desk)
