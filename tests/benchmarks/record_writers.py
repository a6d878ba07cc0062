"""Many desks writing at once: what they get through, what they wait, and that nothing is lost.

Run with `python -m tests.benchmarks.record_writers [--engine sqlite|postgresql] [--writers N]
[--calls N] [--pause SECONDS]`. Each writer is a process with a store of its own, as each desk is.
It takes calls turn by turn, and now and then all of them want the same session, where all but one
must be told. Afterwards every event that was acknowledged is looked for, and the whole record is
verified. The floor is as many processes that put one row each through the bare driver.
"""

from __future__ import annotations

import argparse
import multiprocessing
import os
import random
import secrets
import sqlite3
import statistics
import tempfile
import time
from collections import Counter
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field
from datetime import UTC, datetime
from multiprocessing.synchronize import Barrier
from pathlib import Path
from queue import Empty
from typing import Any

from sqlalchemy import create_engine
from sqlalchemy.engine import make_url

from tests.benchmarks.record_scale import POSTGRESQL, SQLITE
from tests.benchmarks.store_append import SERVER
from triage.dialogue.events import Answered, Asked, Concluded, Event, Noted, Said, Started
from triage.store.errors import SessionMoved, SessionNotFound, StoreBusy
from triage.store.open import open_store
from triage.store.record import new_session_id
from triage.store.sql import Store

WRITERS = {SQLITE: 16, POSTGRESQL: 100}
QUESTIONS = 12
FIGHT_EVERY = 5
FLOOR_S = 4.0
FOUGHT_OVER = "20261125-0931-fght"
_AT_MOST_S = 900.0

Spoken = Sequence[tuple[str, Event]]


@dataclass
class Result:
    """What one writer saw."""

    appended: dict[str, list[str]] = field(default_factory=dict)
    taken_ms: list[float] = field(default_factory=list)
    open_ms: float = 0.0
    moved: int = 0
    busy: int = 0
    failures: list[str] = field(default_factory=list)


def turns_of(writer: int) -> list[Spoken]:
    """Return a call turn by turn, as long as many are."""
    agent = f"Desk {writer}"
    turns: list[Spoken] = [
        [("program", Started("will_not_release", "v", "agent", "us", 0.0, agent)),
         ("program", Asked("question 0"))],
    ]  # fmt: skip
    for number in range(QUESTIONS):
        answered = Answered(f"reading {number}", "62 psi", 528_778.6, minute_s=45.0)
        turns.append(
            [("agent", Said("62 psi")), ("agent", answered),
             ("program", Asked(f"question {number + 1}"))]
        )  # fmt: skip
    turns.append([("agent", Said("note loud fan")), ("agent", Noted("loud fan"))])
    ending = Concluded("feed", "recommended", ("receiver_vapor_feed_failed",))
    turns.append([("agent", Said("yes")), ("program", ending)])
    return turns


def write(
    target: str, writer: int, calls: int, pause_s: float, start: Barrier, results: Any
) -> None:
    """Take calls at one desk and report what came of each append."""
    result, chance = Result(), random.Random(writer)
    try:
        began = time.perf_counter()
        store = open_store(target)
        result.open_ms = 1000 * (time.perf_counter() - began)
        start.wait(120)
        time.sleep(pause_s * chance.random())
        with store:
            for _ in range(calls):
                _one_call(store, writer, pause_s, chance, result)
    except Exception as error:  # noqa: BLE001 - the parent tells it
        result.failures.append(f"{type(error).__name__}: {error}")
    results.put(result)


def _one_call(
    store: Store, writer: int, pause_s: float, chance: random.Random, result: Result
) -> None:
    session_id = f"{new_session_id(datetime.now(UTC), secrets.token_bytes(8))}{writer:03}"
    length = 0
    for number, spoken in enumerate(turns_of(writer)):
        length += _append(store, session_id, spoken, length, result)
        if number % FIGHT_EVERY == FIGHT_EVERY - 1:
            _fight(store, writer, result)
        if pause_s:
            time.sleep(pause_s * (0.5 + chance.random()))


def _append(store: Store, session_id: str, spoken: Spoken, length: int, result: Result) -> int:
    """Append one turn, again where the store was busy, and return how many events it was."""
    while True:
        began = time.perf_counter()
        try:
            kept = store.append(session_id, spoken, "v", datetime.now(UTC), length)
        except StoreBusy:
            result.busy += 1
            continue
        finally:
            result.taken_ms.append(1000 * (time.perf_counter() - began))
        result.appended.setdefault(session_id, []).extend(record.hash for record in kept)
        return len(kept)


def _fight(store: Store, writer: int, result: Result) -> None:
    """Add to the session that all want, as it was found; whoever comes second must be told."""
    try:
        length = store.summary(FOUGHT_OVER).count
    except SessionNotFound:
        length = 0
    spoken = [("agent", Noted(f"desk {writer}")), ("agent", Said(f"desk {writer}"))]
    try:
        _append(store, FOUGHT_OVER, spoken, length, result)
    except SessionMoved:
        result.moved += 1


def run(target: str, writers: int, calls: int, pause_s: float) -> list[Result]:
    """Let all writers write and return what each saw."""
    fork = multiprocessing.get_context("fork")
    results, start = fork.Queue(), fork.Barrier(writers + 1)
    processes = [
        fork.Process(target=write, args=(target, writer, calls, pause_s, start, results))
        for writer in range(writers)
    ]
    for process in processes:
        process.start()
    start.wait(120)
    began = time.perf_counter()
    found = [results.get(timeout=_AT_MOST_S) for _ in processes]
    taken_s = time.perf_counter() - began
    for process in processes:
        process.join()
    _tell(found, writers, taken_s)
    return found


def _tell(found: Sequence[Result], writers: int, taken_s: float) -> None:
    appends = sorted(ms for result in found for ms in result.taken_ms)
    opened = sorted(result.open_ms for result in found)
    kept = sum(len(hashes) for result in found for hashes in result.appended.values())
    print(
        f"{writers} writers: {len(appends)} appends, {kept} events in {taken_s:.1f} s: "
        f"{len(appends) / taken_s:.0f} appends a second"
    )
    print(
        f"  an append: median {statistics.median(appends):.1f}, "
        f"p99 {appends[int(0.99 * len(appends))]:.1f}, worst {appends[-1]:.1f} ms; opening a "
        f"store all at once: median {statistics.median(opened):.0f}, worst {opened[-1]:.0f} ms"
    )
    print(
        f"  told that another desk had gone on: {sum(result.moved for result in found)}; "
        f"found the store busy: {sum(result.busy for result in found)}"
    )


def proven(target: str, found: Sequence[Result]) -> bool:
    """Print and return whether all that was acknowledged is there, in one piece, and no more."""
    failures = [failure for result in found for failure in result.failures]
    for failure, times in Counter(failures).most_common(5):
        print(f"  FAILED {times} times: {failure}")
    hashes: dict[str, list[str]] = {}
    for result in found:
        for session_id, kept in result.appended.items():
            hashes.setdefault(session_id, []).extend(kept)
    lost = strange = broken = 0
    with open_store(target) as store:
        for session_id, kept in hashes.items():
            stored = store.events(session_id)  # in order and chained, or this raises
            there = [record.hash for record in stored]
            lost += len(set(kept) - set(there))
            strange += len(set(there) - set(kept))
            if session_id == FOUGHT_OVER:
                speakers = [_desk_of(record.data) for record in stored]
                broken = sum(one != two for one, two in zip(speakers[::2], speakers[1::2]))  # noqa: B905
            elif there != kept:
                broken += 1
        verified = store.verify()
    print(
        f"  {sum(map(len, hashes.values()))} acknowledged events: {lost} lost, {strange} never "
        f"acknowledged, {broken} interleaved; verified {verified.sessions} sessions with "
        f"{verified.events} events: {len(verified.faults)} faults"
    )
    for fault in verified.faults[:5]:
        print(f"    {fault}")
    return not (failures or lost or strange or broken or verified.faults)


def _desk_of(data: dict[str, Any]) -> object:
    return data["text"]


# The floor: the same number of processes, one row and one commit at a time.


def floor(connect: Callable[[], Any], insert: str, writers: int) -> None:
    """Print how many single rows as many processes put through the bare driver."""
    fork = multiprocessing.get_context("fork")
    counts, start = fork.Queue(), fork.Barrier(writers)
    processes = [
        fork.Process(target=_insert, args=(connect, insert, writer, start, counts))
        for writer in range(writers)
    ]
    for process in processes:
        process.start()
    taken: list[float] = []
    for _ in processes:
        try:
            taken += counts.get(timeout=120)
        except Empty:
            print("  floor: a process gave up")
    for process in processes:
        process.join()
    taken.sort()
    print(
        f"  floor, bare inserts by as many processes: {len(taken) / FLOOR_S:.0f} a second, median "
        f"{statistics.median(taken):.1f}, p99 {taken[int(0.99 * len(taken))]:.1f} ms"
    )


def _insert(
    connect: Callable[[], Any], insert: str, writer: int, start: Barrier, counts: Any
) -> None:
    connection, taken = connect(), []
    start.wait(120)
    until = time.perf_counter() + FLOOR_S
    number = 0
    while (began := time.perf_counter()) < until:
        number += 1
        connection.execute(insert, (1_000_000 * writer + number, "x" * 500))
        taken.append(1000 * (time.perf_counter() - began))
    counts.put(taken)


def _connect_file(path: str) -> Any:
    connection = sqlite3.connect(path, isolation_level=None, timeout=30.0)
    connection.execute("PRAGMA synchronous = FULL")
    return connection


def _connect_server(target: str) -> Any:
    engine = create_engine(make_url(target).set(drivername="postgresql+psycopg"))
    connection: Any = engine.raw_connection().driver_connection
    connection.autocommit = True
    return connection


@contextmanager
def file_target() -> Iterator[tuple[str, Callable[[], Any], str]]:
    """A new file, how to connect to a bare one beside it, and the insert."""
    with tempfile.TemporaryDirectory() as folder:
        bare = str(Path(folder) / "bare.sqlite3")
        with sqlite3.connect(bare) as connection:
            connection.execute("PRAGMA journal_mode = WAL")
            connection.execute("CREATE TABLE bare (number INTEGER PRIMARY KEY, data TEXT)")
        yield (
            str(Path(folder) / "sessions.sqlite3"),
            lambda: _connect_file(bare),
            "INSERT INTO bare VALUES (?, ?)",
        )


@contextmanager
def server_target() -> Iterator[tuple[str, Callable[[], Any], str]]:
    """A new schema on the server, how to connect to it, and the insert."""
    schema = f"triage_bench_{secrets.token_hex(6)}"
    admin = create_engine(SERVER, isolation_level="AUTOCOMMIT")
    mark = "&" if "?" in SERVER else "?"
    target = f"{SERVER}{mark}options=-csearch_path%3D{schema}"
    with admin.connect() as connection:
        connection.exec_driver_sql(f"CREATE SCHEMA {schema}")
        connection.exec_driver_sql(f"CREATE TABLE {schema}.bare (n bigint PRIMARY KEY, d text)")
    try:
        yield target, lambda: _connect_server(target), "INSERT INTO bare VALUES (%s, %s)"
    finally:
        with admin.connect() as connection:
            connection.exec_driver_sql(f"DROP SCHEMA {schema} CASCADE")
        admin.dispose()


def main() -> int:
    """Measure, prove, print; return 1 if anything was lost."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--engine", choices=[SQLITE, POSTGRESQL], action="append")
    parser.add_argument("--writers", type=int)
    parser.add_argument("--calls", type=int, default=5)
    parser.add_argument("--pause", type=float, default=0.0, help="between turns, as in life [s]")
    options = parser.parse_args()
    is_sound = True
    for engine in options.engine or [SQLITE, POSTGRESQL]:
        writers = options.writers or WRITERS[engine]
        made = file_target if engine == SQLITE else server_target
        with made() as (target, connect, insert):
            print(f"{engine}, {os.cpu_count()} cores, pause {options.pause:g} s")
            floor(connect, insert, writers)
            found = run(target, writers, options.calls, options.pause)
            is_sound = proven(target, found) and is_sound
    return 0 if is_sound else 1


if __name__ == "__main__":
    raise SystemExit(main())
