"""How long lists, pages, search and figures take on records of growing size, on both engines.

Run with `python -m tests.benchmarks.record_scale [--sessions 10000 100000 1000000] [--folder DIR]
[--engine sqlite|postgresql] [--keep]`. Records that are not there yet are generated: files in the
folder, schemas on the server of TRIAGE_TEST_POSTGRESQL. Beside each figure stand floors of the
same run: one row by its key through the bare driver, and the count of all lines.
"""

from __future__ import annotations

import argparse
import os
import statistics
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from contextlib import suppress
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path

from sqlalchemy import Engine, create_engine
from sqlalchemy.engine import make_url

from tests.benchmarks.record_cases import Case, cases
from tests.benchmarks.record_generator import TEMPLATES, generate, templates_of
from tests.benchmarks.store_append import SERVER
from triage.store.listing import ANY_OUTCOME, SessionFilter
from triage.store.open import open_store
from triage.store.sql import Store

PAGE = 50
RUNS = 7
GOAL_MS, GOAL_FIGURES_MS = 100.0, 5000.0
SQLITE, POSTGRESQL = "sqlite", "postgresql"


@dataclass(frozen=True, slots=True)
class Taken:
    """How long something took: median and worst of some runs [ms], and what came of it."""

    median_ms: float
    worst_ms: float
    found: int


def taken(work: Callable[[], int], runs: int = RUNS) -> Taken:
    """Return how long `work` takes once it has run before."""
    found = work()
    times = []
    for _ in range(runs):
        began = time.perf_counter()
        work()
        times.append(1000 * (time.perf_counter() - began))
    return Taken(statistics.median(times), max(times), found)


def measured(target: str, number: int) -> Iterator[tuple[str, Taken, float]]:
    """Yield name, time and goal [ms, 0 for none] of everything asked of the store at `target`.

    number: of a line somewhere in the middle, for the floors and for pages deep in the list
    """
    engine = _bare_engine(target)
    with engine.connect() as connection:
        raw = connection.connection.driver_connection
        assert raw is not None
        mark = "?" if engine.dialect.name == "sqlite" else "%s"
        by_key = f"SELECT * FROM triage_sessions WHERE number = {mark}"
        yield (
            "floor: a line by its key",
            taken(lambda: len(raw.execute(by_key, (number,)).fetchall()), 50),
            0.0,
        )
        count = "SELECT count(*) FROM triage_sessions"
        yield "floor: count of lines", taken(lambda: int(raw.execute(count).fetchone()[0]), 3), 0.0
    engine.dispose()
    yield "open the store", taken(lambda: open_store(target).close() or 1, 5), GOAL_MS
    with open_store(target) as store:
        yield from _pages(store, number)
        line = store.sessions(1, number)[0]
        yield "summary of a call", taken(lambda: store.summary(line.session_id).count), GOAL_MS
        for name, prefix in (("whole id", line.session_id), ("last part", line.session_id[-4:])):
            yield f"resolve: {name}", taken(lambda prefix=prefix: _resolved(store, prefix)), GOAL_MS
        yield "resolve: no such", taken(lambda: _resolved(store, "20990101")), GOAL_MS
        yield "parked", taken(lambda: len(store.parked())), GOAL_MS
        yield "parked of a desk", taken(lambda: len(store.parked(line.agent))), GOAL_MS
        yield "confirmed outcomes", taken(lambda: len(store.confirmed_outcomes()), 3), GOAL_MS
        now = datetime.fromtimestamp(number / 1_000_000, UTC)
        yield "figures", taken(lambda: len(store.figures().ends), 3), GOAL_FIGURES_MS
        yield (
            "figures of a year",
            taken(lambda: len(store.figures(now, now + timedelta(days=365)).ends), 3),
            GOAL_FIGURES_MS,
        )


def _pages(store: Store, number: int) -> Iterator[tuple[str, Taken, float]]:
    for case in cases(store):
        for place, before in (("first page", None), ("deep", number)):

            def read(case: Case = case, before: int | None = before) -> int:
                return len(store.sessions(PAGE, before, case.where))

            yield f"{case.name}; {place}", taken(read), GOAL_MS


def _resolved(store: Store, prefix: str) -> int:
    with suppress(Exception):
        return len(store.resolve(prefix))
    return 0


def _bare_engine(target: str) -> Engine:
    if "://" in target:
        return create_engine(make_url(target).set(drivername="postgresql+psycopg"))
    return create_engine(f"sqlite:///{target}")


def cold_file(path: str) -> float:
    """Return how long the first page takes of a file the system holds nothing of [ms]."""
    handle = os.open(path, os.O_RDONLY)
    try:
        os.fsync(handle)
        os.posix_fadvise(handle, 0, 0, os.POSIX_FADV_DONTNEED)
    finally:
        os.close(handle)
    began = time.perf_counter()
    with open_store(path) as store:
        store.sessions(PAGE, None, SessionFilter(outcome=ANY_OUTCOME))
    return 1000 * (time.perf_counter() - began)


def middle(store: Store) -> int:
    """Return the moment in the middle between the first call and the last [us since 1970]."""
    low, high = store.sessions(1)[0].number, store.sessions(1)[0].number
    step = 365 * 86_400_000_000
    while (older := store.sessions(1, low - step)) and older[0].number < low:
        low = older[0].number
    return (low + high) // 2


def report(target: str, title: str) -> dict[str, float]:
    """Measure one store, print the table, and return the medians by name."""
    with open_store(target) as store:
        number = middle(store)
    print(f"\n{title}\n{'':58} {'median':>9} {'worst':>9}  {'found':>7}")
    medians = {}
    for name, one, goal in measured(target, number):
        missed = "  MISSED" if goal and one.median_ms > goal else ""
        print(f"{name:58} {one.median_ms:9.2f} {one.worst_ms:9.2f}  {one.found:7}{missed}")
        sys.stdout.flush()
        medians[name] = one.median_ms
    if "://" not in target:
        print(f"{'cold: open, and the first page of calls with an outcome':58} ", end="")
        print(f"{cold_file(target):9.2f}")
    return medians


def growth(by_size: dict[int, dict[str, float]]) -> None:
    """Print how each median grew from the smallest record to the largest."""
    least, most = min(by_size), max(by_size)
    print(f"\nGrowth from {least} to {most} sessions, {most / least:.0f} times as many")
    grown = sorted(
        ((by_size[most][name] / by_size[least][name], name) for name in by_size[most]),
        reverse=True,
    )
    for times, name in grown[:12]:
        note = "  MORE THAN LINEAR" if times > most / least else ""
        print(f"{name:58} {times:9.1f} times{note}")


def server_target(sessions: int) -> str:
    """Return the address of the schema a record of this size lies in, made if need be."""
    name = f"triage_scale_{sessions}"
    admin = create_engine(SERVER, isolation_level="AUTOCOMMIT")
    with admin.connect() as connection:
        connection.exec_driver_sql(f"CREATE SCHEMA IF NOT EXISTS {name}")
    admin.dispose()
    mark = "&" if "?" in SERVER else "?"
    return f"{SERVER}{mark}options=-csearch_path%3D{name}"


def drop_schema(sessions: int) -> None:
    """Drop what `server_target` made."""
    admin = create_engine(SERVER, isolation_level="AUTOCOMMIT")
    with admin.connect() as connection:
        connection.exec_driver_sql(f"DROP SCHEMA IF EXISTS triage_scale_{sessions} CASCADE")
    admin.dispose()


def main() -> None:
    """Generate what is missing, measure, and clean up."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--sessions", type=int, nargs="+", default=[10_000, 100_000, 1_000_000])
    parser.add_argument("--folder", type=Path)
    parser.add_argument("--engine", choices=[SQLITE, POSTGRESQL], action="append")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--keep", action="store_true")
    options = parser.parse_args()
    with tempfile.TemporaryDirectory() as temporary:
        folder = options.folder or Path(temporary)
        for engine in options.engine or [SQLITE, POSTGRESQL]:
            by_size = {}
            for sessions in options.sessions:
                path = folder / f"record_{sessions}.sqlite3"
                target = str(path) if engine == SQLITE else server_target(sessions)
                if not (path.exists() if engine == SQLITE else _has_lines(target)):
                    templates = templates_of(TEMPLATES, options.seed, folder / "templates.pickle")
                    generate(target, sessions, options.seed, templates)
                by_size[sessions] = report(target, f"{engine}, {sessions} sessions")
                if not options.keep:
                    path.unlink(missing_ok=True)
                    if engine == POSTGRESQL:
                        drop_schema(sessions)
            if len(by_size) > 1:
                growth(by_size)


def _has_lines(target: str) -> bool:
    with open_store(target) as store:
        return bool(store.sessions(1))


if __name__ == "__main__":
    main()
