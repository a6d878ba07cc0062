"""A purge and a desk at the same call on a server: one of them waits, and nothing is lost."""

from __future__ import annotations

import threading
from collections.abc import Callable
from datetime import timedelta
from typing import TYPE_CHECKING

import pytest

from tests.store.samples import CALL, CONTENT, NOW
from triage.dialogue.events import Noted
from triage.store import purge
from triage.store.errors import SessionNotFound
from triage.store.open import open_store

if TYPE_CHECKING:
    from triage.store.sql import Store

OLD = "20240101-0000-aaaa"
BEFORE = NOW - timedelta(days=365)
LONG_AGO = NOW - timedelta(days=700)


def meanwhile(work: Callable[[], object]) -> tuple[threading.Thread, list[Exception]]:
    """A thread that does `work`, and what it raised."""
    raised: list[Exception] = []

    def run() -> None:
        try:
            work()
        except Exception as error:  # noqa: BLE001
            raised.append(error)

    thread = threading.Thread(target=run)
    thread.start()
    return thread, raised


def add(store: Store) -> None:
    store.append(OLD, [("agent", Noted("still at it"))], CONTENT, NOW, len(CALL))


def test_a_call_gone_on_with_before_the_purge_reads_it_is_not_purged(server_address: str) -> None:
    with open_store(server_address) as store:
        store.append(OLD, CALL, CONTENT, LONG_AGO, 0)
        add(store)
        assert store.purge(BEFORE, "", "", NOW).calls == 0
        assert len(store.events(OLD)) == len(CALL) + 1


def test_a_desk_that_comes_while_a_purge_is_at_its_call_waits_and_is_told(
    server_address: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    with open_store(server_address) as store, open_store(server_address) as desk:
        store.append(OLD, CALL, CONTENT, LONG_AGO, 0)
        real, begun = purge.purge_lines, []

        def slowly(*arguments: object) -> int:
            begun.append(meanwhile(lambda: add(desk)))
            begun[0][0].join(0.3)
            assert begun[0][0].is_alive(), "the desk waits"
            return real(*arguments)  # type: ignore[arg-type]

        monkeypatch.setattr(purge, "purge_lines", slowly)
        assert store.purge(BEFORE, "", "", NOW).calls == 1
        thread, raised = begun[0]
        thread.join()
        assert [type(error) for error in raised] == [SessionNotFound]
        assert "were purged on" in str(raised[0])
        assert store.verify().faults == ()


def test_two_purges_at_once_share_the_work(server_address: str) -> None:
    with open_store(server_address) as one, open_store(server_address) as other:
        for number in range(30):
            one.append(f"20240101-0000-a{number:03}", CALL, CONTENT, LONG_AGO, 0)
        threads = [
            meanwhile(lambda store=store: store.purge(BEFORE, "", "", NOW))  # type: ignore[misc]
            for store in (one, other)
        ]
        for thread, _ in threads:
            thread.join()
        assert [raised for _, raised in threads] == [[], []]
        assert one.count_purgeable(BEFORE) == 0
        found = one.verify()
        assert (found.purged, found.events, found.faults) == (30, 0, ())
