"""A desk killed at any moment loses nothing that was acknowledged to it, and leaves no half turn.

The same code as `python -m tests.benchmarks.kills`, which kills hundreds.
"""

from __future__ import annotations

import os
import signal
import time
from pathlib import Path

import pytest

from tests.benchmarks.kills import (
    Count,
    kill_in_outage,
    kill_on_file,
    kill_on_server,
    last_of,
    prepare,
    script,
)
from tests.private_server import PrivateServer
from tests.store.samples import CONTENT, NOW, SESSION, STARTED, start_child
from triage.dialogue.events import Noted
from triage.store.errors import SessionNotFound
from triage.store.open import open_store, warm_up

KILLS = 24
KILLS_IN_OUTAGE = 10  # each leaves files, and delivering those is killed as well


def assert_nothing_lost(count: Count, kills: int = KILLS) -> None:
    assert count.kills == kills
    assert count.faults == []
    assert count.turns_acknowledged >= kills / 2
    assert count.turns_found == count.turns_acknowledged + count.turns_beyond


def test_the_script_is_a_whole_call() -> None:
    assert len(script()) > 25
    assert all(script())


def test_calls_killed_on_a_file_keep_all_that_was_acknowledged(tmp_path: Path) -> None:
    prepare()
    assert_nothing_lost(last_of(kill_on_file(tmp_path, KILLS)))


def test_calls_killed_on_a_server_keep_all_that_was_acknowledged(
    own_server: PrivateServer, tmp_path: Path
) -> None:
    prepare()
    assert_nothing_lost(last_of(kill_on_server(own_server, tmp_path, KILLS)))


def test_calls_killed_while_the_server_is_down_keep_all_that_was_acknowledged(
    own_server: PrivateServer, tmp_path: Path
) -> None:
    prepare()
    count = last_of(kill_in_outage(own_server, tmp_path, KILLS_IN_OUTAGE))
    assert_nothing_lost(count, KILLS_IN_OUTAGE)


def talk(target: str, acknowledged: int) -> None:
    """Append one event after another, writing down each length once it is kept."""
    store = open_store(target)
    try:
        length = len(store.events(SESSION))
    except SessionNotFound:
        store.append(SESSION, [("bot", STARTED)], CONTENT, NOW, 0)
        length = 1
    while True:
        os.write(acknowledged, length.to_bytes(4, "big"))
        store.append(SESSION, [("caller", Noted(f"{length}" * 50))], CONTENT, NOW, length)
        length += 1


def life(target: str, lifetime_s: float) -> int:
    """The last length acknowledged to a desk that was killed after `lifetime_s`."""
    reading, writing = os.pipe()
    os.set_blocking(writing, True)
    child = start_child(talk, target, writing)
    os.close(writing)
    time.sleep(lifetime_s)
    child.kill()
    child.join()
    assert child.exitcode == -signal.SIGKILL
    heard = b""
    while piece := os.read(reading, 65536):
        heard += piece
    os.close(reading)
    return int.from_bytes(heard[-4:], "big")


@pytest.mark.parametrize("delay_ms", range(8))
def test_a_desk_killed_while_the_store_is_made_leaves_none_or_a_whole_one(
    tmp_path: Path, delay_ms: int
) -> None:
    warm_up()
    path = tmp_path / "sessions.sqlite3"
    acknowledged = life(str(path), delay_ms / 1000)
    assert not path.exists() or path.stat().st_size > 0
    with open_store(path) as store:
        if acknowledged:
            assert len(store.events(SESSION)) >= acknowledged
        else:
            assert len(store.sessions()) <= 1
