"""How long a caller waits for an answer to be kept: appends and opening, beside their floors.

Run with `python -m tests.benchmarks.store_append [folder]`; the folder should be on the disk in
question. The server is that of TRIAGE_TEST_POSTGRESQL, as in the tests. The floors are one bare
synced write of as many bytes, and the same insert through the bare database driver.
"""

from __future__ import annotations

import os
import secrets
import sqlite3
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path

from triage.dialogue.events import Answered
from triage.store.open import open_store, warm_up

TURNS = 500
LISTED_SESSIONS = 1000
SERVER = os.environ.get(
    "TRIAGE_TEST_POSTGRESQL", "postgresql+psycopg://postgres@127.0.0.1:5432/test"
)
ANSWER = Answered(
    reading="harvest_suction_pressure", typed="62 psi", value=528_778.6, minute_s=45.0
)


def timed(work: Callable[[int], object], times: int) -> list[float]:
    """Milliseconds of each of `times` calls of `work`."""
    taken = []
    for number in range(times):
        start = time.perf_counter()
        work(number)
        taken.append(1000 * (time.perf_counter() - start))
    return taken


def report(name: str, taken_ms: list[float]) -> None:
    """One line: median, 99th percentile, worst."""
    ordered = sorted(taken_ms)
    p99 = ordered[min(len(ordered) - 1, int(0.99 * len(ordered)))]
    print(
        f"{name:48} median {statistics.median(ordered):8.3f}  p99 {p99:8.3f}  "
        f"worst {ordered[-1]:8.3f} ms"
    )


def floors(folder: Path) -> None:
    """A synced write, and a synced insert through the bare driver."""
    with (folder / "bare").open("wb", buffering=0) as bare:

        def write(_number: int) -> None:
            bare.write(bytes(4096))
            os.fsync(bare.fileno())

        report("floor: write 4096 bytes and sync", timed(write, TURNS))
    connection = sqlite3.connect(folder / "bare.db", isolation_level=None)
    connection.execute("PRAGMA journal_mode = WAL")
    connection.execute("PRAGMA synchronous = FULL")
    connection.execute("CREATE TABLE kept (number INTEGER PRIMARY KEY, data TEXT)")
    data = "x" * 500
    insert = "INSERT INTO kept VALUES (?, ?)"
    report(
        "floor: one row through the bare driver, synced",
        timed(lambda number: connection.execute(insert, (number, data)), TURNS),
    )
    connection.close()


def one_store(name: str, target: str) -> None:
    """Opening, a call of many turns, reading it back, and the list."""
    now = datetime.now(UTC)
    report(f"{name}: open a new one", timed(lambda _number: open_store(target).close(), 1))
    report(f"{name}: open", timed(lambda _number: open_store(target).close(), 20))
    with open_store(target) as store:
        turn = [("bot", ANSWER), ("caller", ANSWER)]
        session_id = "20261125-0931-k7qm"
        report(
            f"{name}: append a turn of two events",
            timed(lambda number: store.append(session_id, turn, "v", now, 2 * number), TURNS),
        )
        report(
            f"{name}: read and verify {2 * TURNS} events",
            timed(lambda _number: store.events(session_id), 10),
        )
        for number in range(LISTED_SESSIONS):
            store.append(f"20261125-{number:04}-zzzz", turn, "v", now, 0)
        report(
            f"{name}: list 50 of {LISTED_SESSIONS + 1} sessions",
            timed(lambda _number: store.sessions(50, 100), 10),
        )
        report(f"{name}: resolve", timed(lambda _number: store.resolve(session_id[:16]), 20))


def main() -> None:
    """Measure and print."""
    start = time.perf_counter()
    code = "import triage.store.open as o; o.warm_up()"
    subprocess.run([sys.executable, "-c", code], check=True)
    warm = time.perf_counter() - start
    start = time.perf_counter()
    subprocess.run([sys.executable, "-c", "pass"], check=True)
    bare = time.perf_counter() - start
    print(f"warm_up in a fresh process {1000 * (warm - bare):.0f} ms over a bare interpreter")
    warm_up()
    with tempfile.TemporaryDirectory(dir=sys.argv[1] if len(sys.argv) > 1 else None) as name:
        floors(Path(name))
        one_store("file", str(Path(name) / "sessions.sqlite3"))

    import sqlalchemy

    schema = f"triage_bench_{secrets.token_hex(6)}"
    admin = sqlalchemy.create_engine(SERVER, isolation_level="AUTOCOMMIT")
    with admin.connect() as connection:
        connection.exec_driver_sql(f"CREATE SCHEMA {schema}")
    try:
        mark = "&" if "?" in SERVER else "?"
        one_store("server", f"{SERVER}{mark}options=-csearch_path%3D{schema}")
    finally:
        with admin.connect() as connection:
            connection.exec_driver_sql(f"DROP SCHEMA {schema} CASCADE")


if __name__ == "__main__":
    main()
