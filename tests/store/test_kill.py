"""A desk killed at any moment loses nothing that was acknowledged to it."""

from __future__ import annotations

import os
import random
import signal
import time
from pathlib import Path

import pytest

from tests.store.samples import CONTENT, NOW, SESSION, STARTED, start_child
from triage.dialogue.events import Noted
from triage.store.errors import SessionNotFound
from triage.store.open import open_store, warm_up
from triage.store.record import event_of

KILLS = 15
LONGEST_LIFE_S = 0.12


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


def test_nothing_acknowledged_is_lost_and_the_chain_holds(lasting_target: str) -> None:
    warm_up()
    if "://" in lasting_target:
        import psycopg  # noqa: F401 (imported before the fork, not in each child)
    chance = random.Random(20261125)
    acknowledged = 0
    for _ in range(KILLS):
        acknowledged = max(acknowledged, life(lasting_target, chance.uniform(0, LONGEST_LIFE_S)))
        # A new desk resumes at once: what was acknowledged, and at most the event under way.
        with open_store(lasting_target) as store:
            if acknowledged:
                stored = store.events(SESSION)
                assert acknowledged <= len(stored) <= acknowledged + 1
                notes = [event_of(item) for item in stored[1:]]
                assert notes == [Noted(f"{place}" * 50) for place in range(1, len(stored))]
    assert acknowledged > 2 * KILLS


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
