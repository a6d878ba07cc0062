"""A store in a file: whose it is, what is refused, what is found when it is damaged."""

from __future__ import annotations

import os
import resource
import sqlite3
import stat
import subprocess
import sys
from functools import partial
from pathlib import Path
from typing import Any

import pytest
from sqlalchemy import event as sqlalchemy_event
from sqlalchemy.engine import Engine

from tests.store.samples import (
    ANSWERED,
    CALL,
    CONTENT,
    NOW,
    SESSION,
    contents,
    result_in_child,
    sqlite_hand,
    tamper,
)
from triage.dialogue.events import Noted
from triage.store.errors import (
    StoreBusy,
    StoreDamaged,
    StoreError,
    StoreForeign,
    StoreFull,
    StoreUnreachable,
)
from triage.store.open import open_store, warm_up
from triage.store.record import StoredEvent
from triage.store.where import default_store_path


def kept_call(path: Path) -> None:
    with open_store(path) as store:
        store.append(SESSION, CALL, CONTENT, NOW, 0)


def mode_of(path: Path) -> int:
    return stat.S_IMODE(path.stat().st_mode)


def test_files_and_folders_made_are_for_their_owner_only(tmp_path: Path) -> None:
    path = tmp_path / "one" / "two" / "sessions.sqlite3"
    before = os.umask(0)
    try:
        with open_store(path) as store:
            store.append(SESSION, CALL, CONTENT, NOW, 0)
            made = {entry.name: mode_of(entry) for entry in path.parent.iterdir()}
    finally:
        os.umask(before)
    assert made == {
        "sessions.sqlite3": 0o600,
        "sessions.sqlite3-wal": 0o600,
        "sessions.sqlite3-shm": 0o600,
    }
    assert mode_of(path.parent) == mode_of(path.parent.parent) == 0o700


def test_a_folder_that_was_there_keeps_its_mode(tmp_path: Path) -> None:
    tmp_path.chmod(0o750)
    kept_call(tmp_path / "s")
    assert mode_of(tmp_path) == 0o750


def test_each_commit_is_synced_to_the_disk_and_readers_do_not_wait(file_path: Path) -> None:
    with open_store(file_path) as store, store._engine.connect() as connection:
        assert connection.exec_driver_sql("PRAGMA journal_mode").scalar() == "wal"
        assert connection.exec_driver_sql("PRAGMA synchronous").scalar() == 2
        assert connection.exec_driver_sql("PRAGMA fullfsync").scalar() == 1


def test_a_file_is_named_by_path_by_address_and_through_a_link(tmp_path: Path) -> None:
    kept_call(tmp_path / "100% ?#.db")
    (tmp_path / "link").symlink_to(tmp_path / "100% ?#.db")
    (tmp_path / "new_link").symlink_to(tmp_path / "new")
    plain = tmp_path / "plain"
    kept_call(plain)
    for target in (tmp_path / "100% ?#.db", tmp_path / "link", f"sqlite:///{plain}"):
        with open_store(target) as store:
            assert len(store.events(SESSION)) == 4
    kept_call(tmp_path / "new_link")
    assert (tmp_path / "new").is_file()


def test_without_a_target_the_store_is_in_the_data_folder(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path))
    assert default_store_path() == tmp_path / "triage" / "sessions.sqlite3"
    with open_store() as store:
        assert store.location == str(tmp_path / "triage" / "sessions.sqlite3")


def test_a_relative_data_folder_is_ignored(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """XDG Base Directory Specification: relative paths are invalid and to be ignored."""
    monkeypatch.setenv("XDG_DATA_HOME", "somewhere")
    monkeypatch.setenv("HOME", str(tmp_path))
    assert default_store_path() == tmp_path / ".local/share/triage/sessions.sqlite3"


def refused(target: object) -> StoreError:
    with pytest.raises(StoreError) as caught:
        open_store(target)  # type: ignore[arg-type]
    assert str(caught.value).isprintable()
    return caught.value


@pytest.mark.parametrize("journal", ["DELETE", "WAL"])
def test_a_database_of_another_program_is_refused_and_not_altered(
    tmp_path: Path, journal: str
) -> None:
    path = tmp_path / "theirs.db"
    with sqlite_hand(path) as connection:
        connection.execute(f"PRAGMA journal_mode = {journal}")
        connection.execute("CREATE TABLE customers (name TEXT)")
        connection.execute("INSERT INTO customers VALUES ('Ines Varga')")
    before = contents(tmp_path)
    error = refused(path)
    assert isinstance(error, StoreForeign)
    assert "database of another program and was left as it was" in str(error)
    assert contents(tmp_path) == before


def test_a_database_in_use_by_another_program_is_refused_and_not_altered(tmp_path: Path) -> None:
    path = tmp_path / "theirs.db"
    with sqlite_hand(path) as connection:
        connection.execute("PRAGMA journal_mode = WAL")
        connection.execute("CREATE TABLE customers (name TEXT)")
        connection.execute("PRAGMA wal_checkpoint")
        connection.execute("INSERT INTO customers VALUES ('Ines Varga')")
        before = contents(tmp_path)
        assert isinstance(refused(path), StoreForeign)
        assert contents(tmp_path) == before


@pytest.mark.parametrize(
    ("content", "message"),
    [
        (b"", "is empty or too short, which a store never is"),
        (b"Call the customer back.\n" * 50, "is no database"),
        (b"x", "is empty or too short"),
        (b"SQLite format 3\0", "is empty or too short"),
        (b"SQLite format 3\0" + bytes(4080), "is no database"),
    ],
)
def test_a_file_that_is_no_database_is_refused_and_not_altered(
    tmp_path: Path, content: bytes, message: str
) -> None:
    path = tmp_path / "notes.txt"
    path.write_bytes(content)
    error = refused(path)
    assert isinstance(error, StoreDamaged)
    assert message in str(error)
    assert str(path) in str(error)
    assert contents(tmp_path) == {"notes.txt": content}


def damage_found(path: Path, written: list[StoredEvent]) -> bool:
    """Whether opening or reading finds the damage; a history that is not the one kept fails."""
    try:
        with open_store(path) as store:
            read = store.events(SESSION)
    except (StoreDamaged, StoreForeign, StoreUnreachable):
        return True
    assert read == written
    return False


def test_a_store_cut_short_is_found_damaged_or_gives_the_whole_history(file_path: Path) -> None:
    with open_store(file_path) as store:
        written = store.append(SESSION, CALL, CONTENT, NOW, 0)
    whole = file_path.read_bytes()
    for length in range(0, len(whole) - 4096, 251):
        file_path.write_bytes(whole[:length])
        assert damage_found(file_path, written), length
    for length in range(len(whole) - 4096, len(whole), 97):
        file_path.write_bytes(whole[:length])
        damage_found(file_path, written)
    file_path.write_bytes(whole)
    assert not damage_found(file_path, written)


def test_a_store_overwritten_anywhere_never_gives_another_history(file_path: Path) -> None:
    with open_store(file_path) as store:
        written = store.append(SESSION, CALL, CONTENT, NOW, 0)
    whole = file_path.read_bytes()
    found = 0
    for start in range(0, len(whole), 61):
        file_path.write_bytes(whole[:start] + b"\x01" * 61 + whole[start + 61 :])
        found += damage_found(file_path, written)
    assert found > 20


@pytest.mark.parametrize(
    ("statement", "fault"),
    [
        ("UPDATE triage_events SET speaker = 'x' WHERE sequence = 2", "event 2 was changed"),
        ("UPDATE triage_events SET data = '{}' WHERE sequence = 3", "event 3 was changed"),
        ("UPDATE triage_events SET data = '{' WHERE sequence = 3", "event 3 was changed"),
        ("UPDATE triage_events SET data = ' ' || data WHERE sequence = 3", "event 3 was changed"),
        ("UPDATE triage_events SET data = x'ff' WHERE sequence = 3", "event 3 was changed"),
        ("UPDATE triage_events SET data = printf('%.*c', 9999, '[') WHERE sequence = 3", "event 3"),
        ("UPDATE triage_events SET kind = 7.5 WHERE sequence = 3", "event 3 was changed"),
        ("UPDATE triage_events SET sequence = 'two' WHERE sequence = 2", "event two was changed"),
        ("UPDATE triage_events SET recorded_at = '2020' WHERE sequence = 1", "event 1 was changed"),
        ("UPDATE triage_events SET hash = 'x' WHERE sequence = 4", "event 4 was changed"),
        ("UPDATE triage_events SET sequence = 9 WHERE sequence = 4", "event 4 is missing"),
        ("DELETE FROM triage_events WHERE sequence = 1", "event 1 is missing"),
        ("DELETE FROM triage_events WHERE sequence = 3", "event 3 is missing"),
    ],
)
def test_a_hand_in_the_file_is_found_and_the_event_named(
    file_path: Path, statement: str, fault: str
) -> None:
    kept_call(file_path)
    tamper(file_path, statement)
    with open_store(file_path) as store, pytest.raises(StoreDamaged) as caught:
        store.events(SESSION)
    assert f"session {SESSION} in {file_path} is damaged: {fault}" in str(caught.value)


def test_text_that_is_no_text_is_found(file_path: Path) -> None:
    kept_call(file_path)
    tamper(file_path, "UPDATE triage_events SET kind = CAST(x'ff' AS TEXT) WHERE sequence = 3")
    with open_store(file_path) as store, pytest.raises(StoreDamaged, match="not a sound store"):
        store.events(SESSION)


def test_a_damaged_session_does_not_hide_the_others_from_the_list(file_path: Path) -> None:
    kept_call(file_path)
    with open_store(file_path) as store:
        store.append("20261125-0930-bbbb", CALL, CONTENT, NOW, 0)
        store.append("20261125-0929-cccc", CALL, CONTENT, NOW, 0)
    tamper(
        file_path,
        "UPDATE triage_events SET data = '{' WHERE (session_id, sequence) IN "
        f"(VALUES ('{SESSION}', 1), ('20261125-0930-bbbb', 4))",
    )
    with open_store(file_path) as store:
        lines = store.sessions()
    assert [(line.session_id, line.fault) for line in lines] == [
        ("20261125-0929-cccc", ""),
        ("20261125-0930-bbbb", "event 4 was changed after it was written (data)"),
        (SESSION, "event 1 was changed after it was written (data)"),
    ]


def test_replacing_an_event_is_refused_as_well(file_path: Path) -> None:
    kept_call(file_path)
    with sqlite_hand(file_path) as connection:
        with pytest.raises(sqlite3.IntegrityError, match="not the next event"):
            connection.execute(
                "INSERT OR REPLACE INTO triage_events SELECT session_id, sequence, recorded_at, "
                "'x', content_version, event_format, kind, data, previous_hash, hash, step "
                "FROM triage_events WHERE sequence = 2"
            )
        with pytest.raises(sqlite3.OperationalError, match="no such column"):
            connection.execute("SELECT rowid FROM triage_events")


def test_a_store_without_its_tables_is_found_damaged(file_path: Path) -> None:
    kept_call(file_path)
    with sqlite_hand(file_path) as connection:
        connection.execute("DROP TABLE triage_migration")
        connection.execute("DROP TABLE triage_schema_version")
    assert isinstance(refused(file_path), StoreDamaged)


def test_a_store_without_its_version_is_found_damaged(file_path: Path) -> None:
    kept_call(file_path)
    with sqlite_hand(file_path) as connection:
        connection.execute("DELETE FROM triage_migration")
    assert isinstance(refused(file_path), StoreDamaged)


@pytest.mark.parametrize("name", ["a_file/sessions.db", "a_file/deeper/sessions.db", ".", "pipe"])
def test_where_no_file_can_be_the_message_says_so(tmp_path: Path, name: str) -> None:
    (tmp_path / "a_file").write_text("x")
    os.mkfifo(tmp_path / "pipe")
    error = refused(tmp_path / name)
    assert isinstance(error, StoreUnreachable)
    assert str(tmp_path) in str(error)
    assert "--store" in str(error)


@pytest.mark.parametrize(
    "target",
    [
        "/proc/nowhere/sessions.db",
        "/dev/null",
        "a\0b",
        "~nobody_of_that_name/x",
        "x" * 5000,
        "\x1b[2J" + "x" * 300,
        "sqlite://host/file",
        "sqlite:///x?mode=memory",
        "mysql://u:hush@h/d",
        "postgresql://u:hu/sh@h:port/d",
        "://",
        "nonsense://",
    ],
)
def test_an_impossible_target_is_one_plain_sentence(target: str) -> None:
    error = refused(target)
    assert isinstance(error, StoreUnreachable)
    assert "hush" not in str(error)
    assert "hu/sh" not in str(error)


def test_a_ring_of_links_is_unreachable(tmp_path: Path) -> None:
    (tmp_path / "one").symlink_to(tmp_path / "two")
    (tmp_path / "two").symlink_to(tmp_path / "one")
    assert isinstance(refused(tmp_path / "one"), StoreUnreachable)


def message_of(path: Path) -> tuple[str, str]:
    try:
        with open_store(path) as store:
            store.append(SESSION, [("bot", ANSWERED)], CONTENT, NOW, 4)
    except StoreError as error:
        return type(error).__name__, str(error)
    return "", ""


def test_a_store_one_may_not_write_is_unreachable(open_folder: Path) -> None:
    warm_up()
    path = open_folder / "sessions.sqlite3"
    kept_call(path)
    path.chmod(0o444)
    name, message = result_in_child(lambda: message_of(path), is_nobody=True)
    assert name == "StoreUnreachable"
    assert "cannot be read and written by you" in message


def test_a_folder_one_may_not_write_is_unreachable(open_folder: Path) -> None:
    warm_up()
    kept_call(open_folder / "sessions.sqlite3")
    (open_folder / "sessions.sqlite3").chmod(0o666)
    open_folder.chmod(0o555)
    try:
        for name in ("sessions.sqlite3", "new.sqlite3", "deeper/new.sqlite3"):
            path = open_folder / name
            error, message = result_in_child(partial(message_of, path), is_nobody=True)
            assert error == "StoreUnreachable", (name, message)
            assert str(open_folder) in message
    finally:
        open_folder.chmod(0o755)
    assert [entry.name for entry in open_folder.iterdir()] == ["sessions.sqlite3"]


def fill(path: Path, limit_bytes: int) -> tuple[int, str, str, int]:
    """Append until nothing fits; then lift the limit and go on."""
    store = open_store(path)
    _, hard = resource.getrlimit(resource.RLIMIT_FSIZE)
    resource.setrlimit(resource.RLIMIT_FSIZE, (limit_bytes, hard))
    length = 4
    note = Noted("x" * 500)
    try:
        while length < 10_000:
            store.append(SESSION, [("bot", note)], CONTENT, NOW, length)
            length += 1
        error: StoreError | None = None
    except StoreError as caught:
        error = caught
    seen = len(store.events(SESSION))
    resource.setrlimit(resource.RLIMIT_FSIZE, (hard, hard))
    store.append(SESSION, [("bot", note)], CONTENT, NOW, length)
    assert seen == length
    return length, type(error).__name__, str(error), len(store.events(SESSION))


@pytest.mark.parametrize("limit_bytes", [33_000, 90_000, 200_001])
def test_with_no_room_left_nothing_kept_is_lost_and_the_call_goes_on_later(
    file_path: Path, limit_bytes: int
) -> None:
    warm_up()
    kept_call(file_path)
    length, error, message, afterwards = result_in_child(lambda: fill(file_path, limit_bytes))
    assert error == "StoreFull"
    assert "free some space and resume the session: nothing kept before is lost" in message
    assert afterwards == length + 1
    with open_store(file_path) as store:
        assert len(store.events(SESSION)) == length + 1


def test_a_full_disk_as_the_database_reports_it_is_full(file_path: Path) -> None:
    """`max_page_count` makes SQLite itself answer SQLITE_FULL, as it does for ENOSPC."""
    kept_call(file_path)

    def limit(connection: sqlite3.Connection, _record: Any) -> None:
        connection.execute("PRAGMA max_page_count = 1")

    sqlalchemy_event.listen(Engine, "connect", limit)
    try:
        with open_store(file_path) as store:
            with pytest.raises(StoreFull, match="no room to keep the session") as caught:
                store.append(SESSION, [("bot", Noted("x" * 20_000))], CONTENT, NOW, 4)
            assert caught.value.__cause__ is not None
            assert len(store.events(SESSION)) == 4
    finally:
        sqlalchemy_event.remove(Engine, "connect", limit)


def test_with_no_room_to_begin_nothing_is_left_behind(file_path: Path) -> None:
    warm_up()

    def begin() -> tuple[str, str]:
        _, hard = resource.getrlimit(resource.RLIMIT_FSIZE)
        resource.setrlimit(resource.RLIMIT_FSIZE, (5000, hard))
        return message_of(file_path)

    name, message = result_in_child(begin)
    assert name == "StoreFull", message
    assert contents(file_path.parent) == {}


def test_a_store_held_by_another_program_is_busy_and_free_again(file_path: Path) -> None:
    kept_call(file_path)
    with open_store(file_path, patience_s=0.05) as store, sqlite_hand(file_path) as connection:
        connection.execute("BEGIN IMMEDIATE")
        with pytest.raises(StoreBusy, match="held by another program; try again"):
            store.append(SESSION, [("bot", ANSWERED)], CONTENT, NOW, 4)
        assert len(store.events(SESSION)) == 4
        connection.execute("ROLLBACK")
        store.append(SESSION, [("bot", ANSWERED)], CONTENT, NOW, 4)


def test_a_store_taken_away_under_a_call_is_never_made_anew(file_path: Path) -> None:
    with open_store(file_path) as store:
        store.close()
        file_path.unlink()
        with pytest.raises(StoreUnreachable):
            store.append(SESSION, CALL, CONTENT, NOW, 0)
        assert not file_path.exists()


def test_opening_again_does_not_drop_the_locks_of_a_store_open_already(file_path: Path) -> None:
    """Closing any handle on a file drops the POSIX locks its process has on it.

    A program of its own, not a fork: that would inherit what SQLite remembers of its locks.
    """
    take_the_file_alone = (
        "import sqlite3, sys; connection = sqlite3.connect(sys.argv[1], timeout=0.05)\n"
        "print(connection.execute('PRAGMA journal_mode = DELETE').fetchone())"
    )
    command = [sys.executable, "-c", take_the_file_alone, str(file_path)]
    kept_call(file_path)
    with open_store(file_path) as store:
        store.append(SESSION, [("bot", ANSWERED)], CONTENT, NOW, 4)
        open_store(file_path).close()
        other = subprocess.run(command, capture_output=True, text=True, check=False)
        assert "database is locked" in other.stderr
    other = subprocess.run(command, capture_output=True, text=True, check=False)
    assert "delete" in other.stdout


def test_a_checkpoint_that_stopped_half_way_is_read_together_with_its_log(tmp_path: Path) -> None:
    # What a full disk or a kill in the middle of a checkpoint leaves: page 1 is already the new one
    # and counts pages that so far only the log holds. Layout of the log: SQLite, file format,
    # section 4 (32 bytes of header, then frames of 24 bytes and a page).
    path, half = tmp_path / "whole.sqlite3", tmp_path / "half.sqlite3"
    with open_store(path) as store:
        store.append(SESSION, CALL, CONTENT, NOW, 0)
        for number in range(20):
            note = [("agent", Noted("x" * 3000))]
            store.append(SESSION, note, CONTENT, NOW, len(CALL) + number)
        main, log = path.read_bytes(), Path(f"{path}-wal").read_bytes()
    size = int.from_bytes(log[8:12], "big")
    frames = range(32, len(log), 24 + size)
    first_pages = [at for at in frames if int.from_bytes(log[at : at + 4], "big") == 1]
    newest = log[first_pages[-1] + 24 :][:size]
    half.write_bytes(newest + main[size:])
    Path(f"{half}-wal").write_bytes(log)
    with pytest.raises(sqlite3.DatabaseError, match="malformed"):
        sqlite3.connect(f"file:{half}?immutable=1", uri=True).execute("PRAGMA application_id")
    with open_store(half) as store:
        assert len(store.events(SESSION)) == len(CALL) + 20


@pytest.mark.parametrize("is_replaced", [False, True])
def test_a_file_deleted_while_in_use_is_told_and_takes_nothing_more(
    file_path: Path, tmp_path: Path, is_replaced: bool
) -> None:
    kept_call(file_path)
    backup = tmp_path / "backup"
    backup.write_bytes(file_path.read_bytes())
    with open_store(file_path) as store:
        store.append("20261125-1200-bbbb", CALL, CONTENT, NOW, 0)
        file_path.unlink()
        if is_replaced:
            backup.rename(file_path)
        with pytest.raises(StoreUnreachable, match="was deleted or replaced while in use"):
            store.append("20261125-1200-bbbb", CALL[-1:], CONTENT, NOW, len(CALL))
        if is_replaced:
            assert SESSION in [line.session_id for line in store.sessions()]
