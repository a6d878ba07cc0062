"""What the commands say of a store they cannot use: exit code 4 and one clear sentence."""

from __future__ import annotations

import contextlib
import io
import json
import resource
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from tests.command_line import answers_file, program
from tests.conversation import FEED_FAILED
from tests.private_server import PrivateServer
from tests.store.samples import result_in_child
from triage.cli import main

COMMANDS = ("list", "show", "call")


@pytest.fixture(scope="module")
def kept(tmp_path_factory: pytest.TempPathFactory) -> tuple[bytes, str]:
    """The bytes of a store with one call, and the id of the call."""
    from tests.store.samples import CALL, CONTENT, NOW, SESSION
    from triage.store.open import open_store

    path = tmp_path_factory.mktemp("kept") / "calls.db"
    with open_store(path) as store:
        store.append(SESSION, CALL, CONTENT, NOW, 0)
    return path.read_bytes(), SESSION


def arguments_of(command: str, path: Path | str, session: str, answers: Path) -> list[str]:
    rows = {
        "list": ["log", "list"],
        "show": ["log", "show", session],
        "call": ["call", "--answers", str(answers)],
    }
    return [*rows[command], "--store", str(path)]


def assert_told(code: int, out: str, err: str, *words: str) -> None:
    """Exit code 4, nothing on the output, one sentence that says what and how to mend it."""
    assert code == 4, (code, out, err)
    assert out == ""
    (sentence,) = err.splitlines()
    assert sentence.startswith("triage: ")
    assert "Traceback" not in err
    assert "; " in sentence, "how to mend it"
    for word in words:
        assert word in sentence


DAMAGES: dict[str, Callable[[bytes], bytes]] = {
    "cut to nothing": lambda whole: b"",
    "cut within its header": lambda whole: whole[:60],
    "cut within a page": lambda whole: whole[:5000],
    "cut to half": lambda whole: whole[: len(whole) // 2],
    "first page blank": lambda whole: bytes(4096) + whole[4096:],
    "all but the first page blank": lambda whole: whole[:4096] + bytes(len(whole) - 4096),
    "another file": lambda whole: b"Call the customer back.\n" * 500,
}


def ran(*arguments: str) -> tuple[int, str, str]:
    """How the command ended, in this process."""
    out, err = io.StringIO(), io.StringIO()
    with contextlib.redirect_stdout(out), contextlib.redirect_stderr(err):
        code = main(arguments)
    return code, out.getvalue(), err.getvalue()


def ran_by_itself(*arguments: str, env: dict[str, str], **how: Any) -> tuple[int, str, str]:
    """How the command ended as a program of its own."""
    ended = program(*arguments, env=env, **how)
    return ended.returncode, ended.stdout, ended.stderr


@pytest.mark.parametrize("damage", DAMAGES)
def test_a_damaged_file_is_refused_in_one_sentence_by_every_command(
    damage: str, kept: tuple[bytes, str], tmp_path: Path, own_folders: dict[str, str]
) -> None:
    whole, session = kept
    path = tmp_path / "calls.db"
    answers = answers_file(tmp_path, FEED_FAILED, acknowledge="all")
    damaged = DAMAGES[damage](whole)
    path.write_bytes(damaged)
    rows = [arguments_of(command, path, session, answers) for command in COMMANDS]
    assert_told(*ran_by_itself(*rows[0], env=own_folders), str(path))
    for row in rows:
        assert_told(*ran(*row), str(path))
    assert path.read_bytes() == damaged


def test_a_folder_for_a_file_is_told(tmp_path: Path, own_folders: dict[str, str]) -> None:
    answers = answers_file(tmp_path, FEED_FAILED, acknowledge="all")
    for command in COMMANDS:
        row = arguments_of(command, tmp_path, "x", answers)
        assert_told(*ran(*row), "is a folder", "--store")
    assert_told(*ran_by_itself(*row, env=own_folders), "is a folder", "--store")


def test_a_server_that_is_down_is_told(
    own_server: PrivateServer, tmp_path: Path, own_folders: dict[str, str]
) -> None:
    address = own_server.new_database(password="hush")
    own_server.stop()
    answers = answers_file(tmp_path, FEED_FAILED, acknowledge="all")
    for command in COMMANDS:
        row = arguments_of(command, address, "x", answers)
        told = ran(*row)
        assert_told(*told, "no answer from", "desk:***@")
        assert "hush" not in told[2]
    assert_told(*ran_by_itself(*row, env=own_folders), "no answer from")


@pytest.mark.parametrize("limit_bytes", [0, 5_000, 300_000])
def test_no_room_for_a_new_store_or_the_next_turn_is_told(
    limit_bytes: int, tmp_path: Path, own_folders: dict[str, str]
) -> None:
    """RLIMIT_FSIZE lets files grow so far and no further, as a full disk does."""
    path = tmp_path / "data" / "calls.db"
    answers = answers_file(tmp_path, FEED_FAILED, acknowledge="all")
    ran("expect")  # the content is remembered from here on
    call = arguments_of("call", path, "", answers)

    def fill_disk() -> None:
        resource.setrlimit(resource.RLIMIT_FSIZE, (limit_bytes, limit_bytes))

    told = ran_by_itself(*call, env=own_folders, before=fill_disk)
    assert_told(*told, "no room to keep the session", "nothing kept before is lost")
    assert list(path.parent.glob(".*")) == []
    if limit_bytes < 300_000:
        assert not path.exists()
    else:  # the store was made, and the log of its file filled up in the middle of the call
        code, out, _ = ran("log", "list", "--store", str(path), "--json")
        (session,) = json.loads(out)["sessions"]
        assert code == 0
        assert session["state"] == "open"
    assert ran(*call)[0] == 0


@pytest.mark.parametrize("command", COMMANDS)
@pytest.mark.parametrize("what", ["file", "folder", "new in folder"])
def test_what_one_may_not_write_is_told(
    command: str,
    what: str,
    kept: tuple[bytes, str],
    open_folder: Path,
    tmp_path: Path,
    own_folders: dict[str, str],
) -> None:
    whole, session = kept
    path = open_folder / "calls.db"
    answers = answers_file(open_folder, FEED_FAILED, acknowledge="all")
    ran(*arguments_of("call", tmp_path / "other.db", "", answers))  # all is imported from here on
    if what != "new in folder":
        path.write_bytes(whole)
        path.chmod(0o444 if what == "file" else 0o666)
    if what != "file":
        open_folder.chmod(0o555)
    try:
        row = arguments_of(command, path, session, answers)
        code, out, err = result_in_child(lambda: ran(*row), is_nobody=True)
    finally:
        open_folder.chmod(0o755)
    assert_told(code, out, err, str(open_folder))
    there = {entry.name for entry in open_folder.iterdir()}
    assert there == {"call.yaml"} | ({"calls.db"} if what != "new in folder" else set())
