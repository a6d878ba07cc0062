"""A store cut short, blanked out, taken apart, full, or told the wrong time."""

from __future__ import annotations

import resource
import shutil
from collections.abc import Callable
from contextlib import suppress
from datetime import datetime, timedelta
from io import StringIO
from pathlib import Path

import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from tests.console.desks import Lines
from tests.conversation import TREE, shipped_engine
from tests.store.samples import CONTENT, NOW, STARTED, result_in_child, steady
from triage.console.chat import Chat
from triage.console.desk import Desk
from triage.console.look import ChatConsole, Look
from triage.dialogue.case import fold
from triage.dialogue.events import Noted, Started
from triage.store.errors import StoreError
from triage.store.kept import KeptRecord
from triage.store.open import open_store, warm_up
from triage.store.record import StoredEvent

SESSIONS = ("20261125-0931-bbbb", "20261125-0932-cccc", "20261125-0933-dddd")
TURNS = 30
Kept = dict[str, list[StoredEvent]]


def fill(path: Path) -> Kept:
    """Three calls of thirty turns, two events each: larger than a page, over several commits."""
    kept: Kept = {}
    with open_store(path) as store:
        for minute, session in enumerate(SESSIONS):
            began = NOW + timedelta(minutes=minute)
            store.append(session, [("bot", STARTED)], CONTENT, began, 0)
            for turn in range(TURNS):
                spoken = [("caller", Noted(f"turn {turn} " + "x" * 150)), ("bot", Noted("yes"))]
                store.append(session, spoken, CONTENT, began, 1 + 2 * turn)
            kept[session] = store.events(session)
    return kept


@pytest.fixture(scope="module")
def sound(tmp_path_factory: pytest.TempPathFactory) -> tuple[bytes, Kept]:
    """The bytes of a store nobody has open, and what was acknowledged."""
    path = tmp_path_factory.mktemp("sound") / "calls.db"
    kept = fill(path)
    assert not path.with_name("calls.db-wal").exists()
    return path.read_bytes(), kept


@pytest.fixture(scope="module")
def in_use(tmp_path_factory: pytest.TempPathFactory) -> tuple[bytes, bytes, Kept]:
    """Main file and log of a store whose program was killed, and what was acknowledged."""
    path = tmp_path_factory.mktemp("in_use") / "calls.db"
    with open_store(path):
        kept = fill(path)
        return path.read_bytes(), path.with_name("calls.db-wal").read_bytes(), kept


def read_anyhow(path: Path, kept: Kept) -> str:
    """Read everything; return "whole", the one sentence of the refusal, or "less".

    What is read of a session is what was acknowledged or a beginning of it cut between two turns;
    anything else fails, and so does any error that is not the store's.
    """
    less = ""
    try:
        with open_store(path) as store:
            listed = {summary.session_id for summary in store.sessions()}
            for session, written in kept.items():
                found: list[StoredEvent] = []
                with suppress_not_found():
                    found = store.events(session)
                assert found == written[: len(found)], session
                assert len(found) % 2 == 1 or not found, "half a turn"
                if len(found) < len(written) or session not in listed:
                    less = "less"
    except StoreError as error:
        message = str(error)
        assert message.isprintable()
        assert str(path) in message
        assert "; " in message, "how to mend it"
        return message
    return less or "whole"


def suppress_not_found() -> suppress:
    from triage.store.errors import SessionNotFound

    return suppress(SessionNotFound)


def assert_whole_or_refused(path: Path, kept: Kept) -> None:
    assert read_anyhow(path, kept) != "less"


@given(where=st.floats(0, 1))
@example(where=0.0)
@example(where=1.0)
@steady
def test_a_file_cut_short_at_any_byte_is_whole_or_refused_in_one_sentence(
    where: float, sound: tuple[bytes, Kept], tmp_path_factory: pytest.TempPathFactory
) -> None:
    content, kept = sound
    path = tmp_path_factory.mktemp("cut") / "calls.db"
    path.write_bytes(content[: round(where * len(content))])
    assert_whole_or_refused(path, kept)


def page_size_of(content: bytes) -> int:
    """SQLite file format, section 1.3.2: two bytes at 16, 1 standing for 65536."""
    size = int.from_bytes(content[16:18], "big")
    return 65536 if size == 1 else size


def test_a_file_cut_short_by_any_number_of_pages_is_whole_or_refused(
    sound: tuple[bytes, Kept], tmp_path: Path
) -> None:
    content, kept = sound
    path = tmp_path / "calls.db"
    size = page_size_of(content)
    for length in range(0, len(content), size):
        path.write_bytes(content[:length])
        assert read_anyhow(path, kept) not in ("less", "whole"), length
    path.write_bytes(content)
    assert read_anyhow(path, kept) == "whole"


def test_a_file_with_any_page_blanked_out_is_whole_or_refused(
    sound: tuple[bytes, Kept], tmp_path: Path
) -> None:
    content, kept = sound
    path = tmp_path / "calls.db"
    size = page_size_of(content)
    refused = 0
    for start in range(0, len(content), size):
        path.write_bytes(content[:start] + bytes(size) + content[start + size :])
        assert_whole_or_refused(path, kept)
        refused += read_anyhow(path, kept) != "whole"
    assert refused > 15


@given(where=st.floats(0, 1))
@example(where=0.0)
@steady
def test_a_file_cut_short_beside_its_log_is_whole_or_refused(
    where: float, in_use: tuple[bytes, bytes, Kept], tmp_path_factory: pytest.TempPathFactory
) -> None:
    main, log, kept = in_use
    path = tmp_path_factory.mktemp("cut") / "calls.db"
    path.write_bytes(main[: round(where * len(main))])
    path.with_name("calls.db-wal").write_bytes(log)
    assert_whole_or_refused(path, kept)


@given(where=st.floats(0, 1))
@example(where=0.0)
@example(where=1.0)
@steady
def test_a_log_cut_short_gives_a_beginning_that_ends_with_a_whole_turn(
    where: float, in_use: tuple[bytes, bytes, Kept], tmp_path_factory: pytest.TempPathFactory
) -> None:
    """SQLite cannot know what a log held that is not there; a mark kept elsewhere shows it."""
    main, log, kept = in_use
    path = tmp_path_factory.mktemp("cut") / "calls.db"
    path.write_bytes(main)
    path.with_name("calls.db-wal").write_bytes(log[: round(where * len(log))])
    outcome = read_anyhow(path, kept)
    assert where < 1 or outcome == "whole"


def test_a_store_without_its_log_is_a_beginning_or_refused_and_goes_on(
    in_use: tuple[bytes, bytes, Kept], tmp_path: Path
) -> None:
    main, _, kept = in_use
    path = tmp_path / "calls.db"
    path.write_bytes(main)
    read_anyhow(path, kept)
    with open_store(path) as store:
        store.append("20261125-0959-zzzz", [("bot", STARTED)], CONTENT, NOW, 0)
        assert len(store.events("20261125-0959-zzzz")) == 1


@pytest.mark.parametrize("what", ["folder", "socket name", "gone folder"])
def test_what_took_the_place_of_the_file_is_named(tmp_path: Path, what: str) -> None:
    path = tmp_path / "data" / "calls.db"
    kept = fill(path)
    if what == "folder":
        path.unlink()
        path.mkdir()
    elif what == "socket name":
        path.unlink()
        path.symlink_to("/dev/null")
    else:
        shutil.rmtree(path.parent)
        path.parent.write_text("x")
    with pytest.raises(StoreError) as caught, open_store(path) as store:
        store.events(next(iter(kept)))
    assert str(caught.value).isprintable()


# In the middle of a call.

STARTED_HERE = Started(TREE, shipped_engine().content.version, "agent", "us", 0.0, "Ada")
SESSION = SESSIONS[0]


class Steps(Lines):
    """Lines, and things that happen before the next one is typed."""

    def __init__(self, *steps: str | type[BaseException] | Callable[[], object]) -> None:
        self.was_empty = True
        self._row = list(steps)

    def read(self) -> str:
        while True:
            step = self._row.pop(0)
            if isinstance(step, str):
                return step
            if isinstance(step, type):
                raise step
            step()


def chatted(path: Path, folder: Path, *steps: str | type[BaseException] | Callable[[], object],
            clock: Callable[[], datetime] = lambda: NOW) -> str:  # fmt: skip
    """What the chat shows of a call on a file, as running text."""
    stream = StringIO()
    with KeptRecord(str(path), lambda: open_store(path), folder=folder, retry_s=0.02) as record:
        desk = Desk.start(shipped_engine(), lambda: record, clock, SESSION, "caller", STARTED_HERE)
        chat = Chat(desk, ChatConsole(Look(), stream, 80), clock, record)
        chat.converse(Steps(*steps))
    return " ".join(line.partition("│")[2].strip() for line in stream.getvalue().splitlines())


def limit_files(size_bytes: int) -> Callable[[], None]:
    """Let no file grow beyond a size, as on a full disk; beyond -1 means without limit."""

    def limit() -> None:
        hard = resource.getrlimit(resource.RLIMIT_FSIZE)[1]
        resource.setrlimit(resource.RLIMIT_FSIZE, (hard if size_bytes < 0 else size_bytes, hard))

    return limit


def chatted_with_room_for(size_bytes: int, tmp_path: Path) -> tuple[str, list[str], list[Path]]:
    """What a call shows during which the disk fills up, which notes it kept, and what waits.

    No file can grow beyond `size_bytes` while two of four notes are typed.
    """
    warm_up()
    path, folder = tmp_path / "calls.db", tmp_path / "waiting"

    def call() -> str:
        return chatted(
            path, folder, "yes both", "note one", limit_files(size_bytes), "note two",
            "note three", limit_files(-1), "note four", EOFError,
        )  # fmt: skip

    shown = result_in_child(call)
    return shown, notes_in(path), list(folder.iterdir()) if folder.exists() else []


def notes_in(path: Path) -> list[str]:
    with open_store(path) as store:
        events = [item.event for item in store.events(SESSION)]
    fold(events)
    return [event.text for event in events if isinstance(event, Noted)]


def test_on_a_full_disk_a_line_is_refused_and_can_be_typed_again(tmp_path: Path) -> None:
    """No room for the store, nor for a line to wait."""
    shown, notes, waiting = chatted_with_room_for(0, tmp_path)
    assert shown.count("no room to keep the session in") == 2
    assert shown.count("That line was not kept. Type it again.") == 2
    assert "The record is out of reach" not in shown
    assert (notes, waiting) == (["one", "four"], [])


def test_with_room_left_beside_the_store_the_call_goes_on(tmp_path: Path) -> None:
    """The store's disk is full and the user's own is not."""
    shown, notes, waiting = chatted_with_room_for(30_000, tmp_path)
    assert shown.count("The record is out of reach (no room to keep the session in") == 1
    assert "The record is back:" in shown
    assert "Type it again" not in shown
    assert (notes, waiting) == (["one", "two", "three", "four"], [])


def test_a_file_moved_away_in_mid_call_is_waited_for_and_told(tmp_path: Path) -> None:
    """What was open would go on writing to a file that nobody finds by its name."""
    path, folder = tmp_path / "calls.db", tmp_path / "waiting"
    names = ("", "-wal", "-shm")

    def take() -> None:
        for name in names:
            Path(f"{path}{name}").rename(tmp_path / f"moved.db{name}")
        path.mkdir()

    def put_back() -> None:
        path.rmdir()
        for name in names:
            if (moved := tmp_path / f"moved.db{name}").exists():
                moved.rename(f"{path}{name}")

    shown = chatted(path, folder, "yes both", take, "note one", put_back, "note two", EOFError)
    assert "was deleted or replaced while in use" in " ".join(shown.split())
    assert "not kept" not in shown
    assert notes_in(path) == ["one", "two"]


@pytest.mark.parametrize("step", [timedelta(hours=-1), timedelta(days=-400), timedelta(hours=2)])
def test_a_clock_set_in_mid_call_leaves_the_session_whole_and_no_time_negative(
    lasting_target: str, tmp_path: Path, step: timedelta
) -> None:
    ticks = iter(range(1000))
    moved = [timedelta(0)]

    def clock() -> datetime:
        return NOW + timedelta(seconds=10 * next(ticks)) + moved[0]

    def set_clock() -> None:
        moved[0] = step

    with KeptRecord(lasting_target, lambda: open_store(lasting_target), folder=tmp_path) as record:
        desk = Desk.start(shipped_engine(), lambda: record, clock, SESSION, "caller", STARTED_HERE)
        for line in ("yes both", "will not drop"):
            desk.say(line)
        set_clock()
        for line in ("note later", "unknown no plate"):
            desk.say(line)
        case = desk.case
    with open_store(lasting_target) as store:
        store.append("20261125-0940-zzzz", [("bot", STARTED)], CONTENT,
                     NOW + timedelta(minutes=9), 0)  # fmt: skip
        assert fold([item.event for item in store.events(SESSION)]) == case
        latest, ours = store.sessions()
        assert (latest.session_id, ours.session_id) == ("20261125-0940-zzzz", SESSION)
        assert ours.fault == ""
        assert ours.active_s >= 0
        assert ours.count == len(store.events(SESSION))
