"""A generated record put into a store as fast as its engine takes it, on both cores.

The triggers are out of the way meanwhile and indexes are made after; both stand again at the end.
"""

from __future__ import annotations

import itertools
import multiprocessing
import os
import sqlite3
import sys
import time
from collections.abc import Iterable, Iterator, Sequence
from concurrent.futures import Future, ProcessPoolExecutor
from contextlib import closing, contextmanager
from dataclasses import astuple, dataclass
from typing import Any

from sqlalchemy import Engine, Table, create_engine
from sqlalchemy.engine import Connection, make_url

from tests.benchmarks.record_plan import Plan, vocabulary, word_weights
from tests.benchmarks.record_splice import Row, Splicer
from triage.store import schema
from triage.store.guards import create_guards, drop_guards
from triage.store.lines import row_of
from triage.store.links import FIRST_PREVIOUS_LINK, linked
from triage.store.open import open_store
from triage.store.summary import CountKey, NodeCounts

CHUNK = 2000
_ESCAPES = str.maketrans({"\\": "\\\\", "\t": "\\t", "\n": "\\n", "\r": "\\r"})

Values = Sequence[Any]


@dataclass(frozen=True)
class Chunk:
    """Some sessions in a row: events (none if they were sent already), lines and counts."""

    events: list[Row]
    count: int
    lines: list[Values]
    firsts: list[tuple[str, str]]
    counts: dict[CountKey, NodeCounts]


# What the worker processes inherit by forking.
_plan: list[Plan] = []
_splicers: list[Splicer] = []
_server: list[Any] = []


def load(plan: Plan, target: str) -> int:
    """Put the whole plan into an empty store; return how many events it came to."""
    open_store(target).close()
    _plan[:] = [plan]
    _splicers[:] = [Splicer(plan.templates)]
    vocabulary(), word_weights()  # once, before the processes part
    is_server = "://" in target and not target.startswith("sqlite")
    load_all = _load_server if is_server else _load_file
    return load_all(len(plan.ids), target)


def _chunk(first: int, last: int) -> Chunk:
    events: list[Row] = []
    lines: list[Values] = []
    firsts: list[tuple[str, str]] = []
    counts: dict[CountKey, NodeCounts] = {}
    splicer = _splicers[0]
    for recipe in _plan[0].recipes(first, last):
        session = splicer.session(recipe)
        events += [(*row, schema.STEP) for row in session.rows]
        lines.append(tuple(row_of(session.line).values()))
        firsts.append((recipe.session_id, session.rows[0][-1]))
        for key, added in session.counts.items():
            counts[key] = counts[key] + added if key in counts else added
    return Chunk(events, len(events), lines, firsts, counts)


def _sent_chunk(target: str, first: int, last: int) -> Chunk:
    """Make a chunk and send its events and lines to the server, from a worker of its own."""
    chunk = _chunk(first, last)
    if not _server:
        _server.append(_replica(target))
    connection = _server[0]
    _copy(connection, schema.events, [column.name for column in schema.events.c], chunk.events)
    _copy(connection, schema.sessions, line_columns(), chunk.lines)
    connection.commit()
    return Chunk([], chunk.count, [], chunk.firsts, chunk.counts)


def line_columns() -> list[str]:
    """Return the columns of a line in the order of its values."""
    from triage.store.listing import SessionSummary

    return list(row_of(SessionSummary("")))


def _chunks(sessions: int, work: Any, *arguments: Any) -> Iterator[Chunk]:
    """Yield the chunks in order, made by all cores, a few ahead of who takes them."""
    spans = [(first, min(first + CHUNK, sessions)) for first in range(0, sessions, CHUNK)]
    began = time.perf_counter()
    fork = multiprocessing.get_context("fork")
    with ProcessPoolExecutor(os.cpu_count(), mp_context=fork) as pool:
        waiting = iter(spans)
        ahead: list[Future[Chunk]] = [
            pool.submit(work, *arguments, *span) for span in itertools.islice(waiting, 6)
        ]
        done = 0
        while ahead:
            chunk = ahead.pop(0).result()
            ahead += [pool.submit(work, *arguments, *span) for span in itertools.islice(waiting, 1)]
            yield chunk
            done += len(chunk.firsts)
            if done * 20 // sessions != (done - len(chunk.firsts)) * 20 // sessions:
                print(f"{done} sessions, {time.perf_counter() - began:.0f} s", file=sys.stderr)


class _Rest:
    """What comes in order behind the events: register and counts."""

    def __init__(self) -> None:
        self.counts: dict[CountKey, NodeCounts] = {}
        self.events = 0
        self._position, self._link = 0, FIRST_PREVIOUS_LINK

    def register(self, chunk: Chunk) -> list[Values]:
        """Return the rows of the register for a chunk and count it."""
        self.events += chunk.count
        for key, added in chunk.counts.items():
            self.counts[key] = self.counts[key] + added if key in self.counts else added
        rows: list[Values] = []
        for session_id, first_hash in chunk.firsts:
            row = linked(
                self._position + 1,
                self._link,
                {"session_id": session_id, "first_hash": first_hash},
            )
            self._position, self._link = row["position"], row["link"]
            rows.append([row[column.name] for column in schema.register.c])
        return rows

    def months(self) -> list[Values]:
        """Return the rows of the counts."""
        return [(*key, *astuple(item)) for key, item in sorted(self.counts.items())]


# SQLite


def _load_file(sessions: int, target: str) -> int:
    engine = create_engine(f"sqlite:///{target}")
    with engine.begin() as connection:
        drop_guards(connection)
        _drop_indexes(connection)
    engine.dispose()
    rest = _Rest()
    with closing(sqlite3.connect(target, isolation_level=None)) as connection:
        for pragma in ("journal_mode = OFF", "synchronous = OFF", "cache_size = -1000000"):
            connection.execute(f"PRAGMA {pragma}")
        connection.execute("BEGIN")
        lines = _insert(schema.sessions, line_columns())
        for chunk in _chunks(sessions, _chunk):
            connection.executemany(_insert(schema.events), chunk.events)
            connection.executemany(lines, chunk.lines)
            connection.executemany(_insert(schema.register), rest.register(chunk))
        connection.executemany(_insert(schema.question_months), rest.months())
        connection.execute(
            f"INSERT INTO {schema.NOTES_TABLE}(rowid, words) "
            "SELECT number, words FROM triage_sessions WHERE words <> '' ORDER BY number"
        )
        connection.execute("COMMIT")
    with _told("indexes and statistics"):
        with engine.begin() as made:
            _create_indexes(made)
            create_guards(made)
        with closing(sqlite3.connect(target, isolation_level=None)) as connection:
            connection.execute("PRAGMA journal_mode = WAL").fetchone()
    engine.dispose()
    return rest.events


def _insert(table: Table, columns: Iterable[str] = ()) -> str:
    names = list(columns) or [column.name for column in table.c]
    return f"INSERT INTO {table.name} ({', '.join(names)}) VALUES ({', '.join('?' * len(names))})"


# PostgreSQL


def _load_server(sessions: int, target: str) -> int:
    url = make_url(target).set(drivername="postgresql+psycopg")
    engine = create_engine(url)
    with engine.begin() as connection:
        _drop_indexes(connection)
    rest = _Rest()
    connection = _replica(target)
    for chunk in _chunks(sessions, _sent_chunk, target):
        columns = [column.name for column in schema.register.c]
        _copy(connection, schema.register, columns, rest.register(chunk))
    columns = [column.name for column in schema.question_months.c]
    _copy(connection, schema.question_months, columns, rest.months())
    connection.commit()
    connection.close()
    with _told("indexes and statistics"):
        with engine.begin() as made:
            _create_indexes(made)
        with engine.connect().execution_options(isolation_level="AUTOCOMMIT") as made:
            made.exec_driver_sql("VACUUM ANALYZE")
    engine.dispose()
    return rest.events


def _replica(target: str) -> Any:
    """Return a bare connection for which triggers do not fire."""
    engine: Engine = create_engine(make_url(target).set(drivername="postgresql+psycopg"))
    connection = engine.raw_connection().driver_connection
    assert connection is not None
    with connection.cursor() as cursor:
        cursor.execute("SET session_replication_role = replica")
        cursor.execute("SET synchronous_commit = off")
    connection.commit()
    return connection


def _copy(connection: Any, table: Table, columns: list[str], rows: Iterable[Values]) -> None:
    text = "".join(
        "\t".join(
            "\\N" if value is None
            else value.translate(_ESCAPES) if isinstance(value, str) and "\\" in value
            else str(value)
            for value in row
        ) + "\n"
        for row in rows
    )  # fmt: skip
    with (
        connection.cursor() as cursor,
        cursor.copy(f"COPY {table.name} ({', '.join(columns)}) FROM STDIN") as copy,
    ):
        copy.write(text)


# Both


def _drop_indexes(connection: Connection) -> None:
    for index in schema.sessions.indexes:
        index.drop(connection)
    if connection.dialect.name == "postgresql":
        connection.exec_driver_sql(f"DROP INDEX {schema.NOTES_TABLE}")


def _create_indexes(connection: Connection) -> None:
    for index in schema.sessions.indexes:
        index.create(connection)
    if connection.dialect.name == "postgresql":
        connection.exec_driver_sql(schema.NOTES_INDEX)


@contextmanager
def _told(what: str) -> Iterator[None]:
    began = time.perf_counter()
    yield
    print(f"{what}: {time.perf_counter() - began:.0f} s", file=sys.stderr)
