"""What an agent at a real terminal sees when the database goes away under a call."""

from __future__ import annotations

import os
import signal
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from tests.command_line import program
from tests.console.test_terminal import Desk
from tests.private_server import PrivateServer


@pytest.fixture
def start(tmp_path: Path, content_cache: Path) -> Iterator[Callable[..., Desk]]:
    desks: list[Desk] = []

    def spawn(*arguments: str, **details: str) -> Desk:
        desks.append(
            Desk(
                tmp_path / "report.txt",
                program=("triage", *arguments),
                height=40,
                XDG_CACHE_HOME=str(content_cache),
                **details,
            )
        )
        return desks[-1]

    yield spawn
    for desk in desks:
        desk.child.close(force=True)


def environment_of(tmp_path: Path, content_cache: Path) -> dict[str, str]:
    """The folders the desks of these tests have."""
    return {
        **os.environ,
        **{f"XDG_{kind}_HOME": str(tmp_path / kind.lower()) for kind in ("STATE", "DATA")},
        "XDG_CACHE_HOME": str(content_cache),
        "COLUMNS": "80",
    }


def id_on(desk: Desk) -> str:
    return next(line.split()[1] for line in desk.screen.display if line.startswith("Session "))


def begun(start: Callable[..., Desk], store: str) -> tuple[Desk, str]:
    """A call at the question for the complaint, and its session id."""
    desk = start("call", "--store", store)
    desk.see("F1 help")
    session_id = id_on(desk)
    desk.child.send("yes both\r")
    desk.see("do wrong?")
    return desk, session_id


def cut_off(desk: Desk, server: PrivateServer) -> None:
    """Take the database away and say one more line."""
    server.stop("immediate")
    desk.child.send("will not drop\r")
    desk.see("record out of reach: 1 line waiting here")


def flat(desk: Desk) -> str:
    """What is on the screen as running text, without margins and toolbar."""
    return " ".join(line.partition("│")[2].strip() for line in desk.text.splitlines())


def test_an_outage_is_on_the_toolbar_and_in_the_chat_and_its_end_too(
    start: Callable[..., Desk], own_server: PrivateServer, tmp_path: Path, content_cache: Path
) -> None:
    store = own_server.new_database()
    desk, session_id = begun(start, store)
    cut_off(desk, own_server)
    assert "The record is out of reach (no answer from postgresql+psycopg://desk@/" in flat(desk)
    assert "Go on with the call: what is typed waits on this computer" in flat(desk)
    desk.child.send("note rattles\r")
    desk.see("record out of reach: 2 lines waiting here")
    own_server.start()
    desk.see(f"the record is back | {session_id}")
    desk.child.send("note rattles again\r")
    desk.wait(lambda: "The record is back: 2 lines written." in flat(desk), "the end of it")
    desk.child.send("\x04")
    desk.see("is kept; to go on later:")
    shown = program("log", "show", session_id, "--store", store, "--plain",
                    env=environment_of(tmp_path, content_cache))  # fmt: skip
    assert shown.returncode == 0, shown.stderr
    assert shown.stderr == ""
    assert shown.stdout.count("caller: note rattles again") == 1
    assert "will not drop" in shown.stdout


def test_a_desk_killed_in_the_outage_is_gone_on_with_where_it_was(
    start: Callable[..., Desk], own_server: PrivateServer, tmp_path: Path, content_cache: Path
) -> None:
    store = own_server.new_database()
    desk, session_id = begun(start, store)
    cut_off(desk, own_server)
    children = Path(f"/proc/{desk.child.pid}/task/{desk.child.pid}/children")
    os.kill(int(children.read_text(encoding="ascii").split()[0]), signal.SIGKILL)
    env = environment_of(tmp_path, content_cache)
    refused = program("resume", session_id, "--store", store, env=env)
    assert refused.returncode == 4
    assert len(refused.stderr.splitlines()) == 1
    assert (
        "what waits on this computer (1 line) goes in when it is back; start a new call"
        in refused.stderr
    )
    own_server.start()
    again = start("resume", session_id, "--store", store, "--plain")
    again.see("The record is back: 1 line")
    again.see("Take it over? yes or no")
    again.child.send("yes\r")
    again.see("Tell me the machine's model")
    assert f"Session {session_id} resumed" in again.text


@pytest.mark.parametrize("mode", ["--plain", "--color=auto"])
def test_a_call_begun_in_the_outage_says_so_before_the_first_answer_and_is_written_later(
    start: Callable[..., Desk], own_server: PrivateServer, tmp_path: Path, content_cache: Path,
    mode: str,
) -> None:  # fmt: skip
    store = own_server.new_database()
    own_server.stop()
    desk = start("call", "--store", store, mode)
    desk.see("certified")
    session_id = id_on(desk)
    desk.see("The record is out of reach")
    desk.child.send("yes both\r")
    desk.see("do wrong?")
    assert " ".join(desk.text.split()).count("The record is out of reach") == 1
    desk.child.send("\x04")
    desk.see("The record is still out of reach")
    assert "The next triage command on" in desk.text
    own_server.start()
    desk.wait(lambda: not desk.child.isalive(), "the end")
    listed = program("log", "list", "--store", store, env=environment_of(tmp_path, content_cache))
    assert listed.returncode == 0, listed.stderr
    assert (
        listed.stderr == f"triage: The record is back: 3 lines of session {session_id} written.\n"
    )
    assert session_id in listed.stdout
