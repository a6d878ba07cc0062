"""Events, times, children and raw hands for the tests of the store. All names are invented."""

from __future__ import annotations

import multiprocessing
import os
import pickle
import sqlite3
import tempfile
from collections.abc import Callable, Iterator, Sequence
from contextlib import closing, contextmanager
from datetime import UTC, datetime, timedelta
from multiprocessing.process import BaseProcess
from pathlib import Path
from typing import Any

from hypothesis import settings
from hypothesis import strategies as st

from triage.dialogue.events import (
    Answered,
    Asked,
    Concluded,
    Event,
    Noted,
    Offered,
    Started,
    Stopped,
    event_to_data,
)

NOW = datetime(2026, 11, 25, 9, 31, 7, 250_000, tzinfo=UTC)
SESSION = "20261125-0931-k7qm"
CONTENT = "c0ffee"
NOBODY = 65534

steady = settings(derandomize=True, deadline=None, max_examples=60)

STARTED = Started(
    tree="will_not_release", content_version=CONTENT, voice="agent", units="us", agent="Mira Oduya"
)
ANSWERED = Answered(
    reading="harvest_suction_pressure", typed="62 psi", value=528_778.6, minute_s=45.0
)
CONCLUDED = Concluded(
    ending="feed", result="recommended", causes=("receiver_vapor_feed_failed",), reason="both low"
)
CALL: Sequence[tuple[str, Event]] = (
    ("bot", STARTED),
    ("bot", Asked(node="harvest_suction_pressure")),
    ("caller", ANSWERED),
    ("bot", CONCLUDED),
)

# Whatever a terminal can hand over: control characters, NUL, lone surrogates, every script.
typed_texts = st.text(st.characters(codec=None, exclude_categories=()), max_size=40)
numbers = st.floats(allow_nan=False, allow_infinity=False)
answers = st.builds(
    Answered,
    reading=st.just("freeze_time"),
    typed=typed_texts,
    value=st.none() | numbers | typed_texts,
    reason=typed_texts,
    minute_s=st.none() | numbers,
    is_minute_assumed=st.booleans(),
)
events: st.SearchStrategy[Event] = st.one_of(
    answers,
    st.builds(Noted, text=typed_texts),
    st.builds(Asked, node=typed_texts),
    st.builds(Offered, items=st.tuples(answers.map(event_to_data)), doubt=typed_texts),
    st.builds(
        Concluded,
        ending=typed_texts,
        result=typed_texts,
        causes=st.lists(typed_texts, max_size=3).map(tuple),
    ),
    st.builds(Stopped, typed=typed_texts),
)
turns = st.tuples(st.sampled_from(["bot", "caller", "agent"]), events)
times = st.integers(0, 10**9).map(lambda moment_us: NOW + timedelta(microseconds=moment_us))


@contextmanager
def sqlite_hand(path: Path) -> Iterator[sqlite3.Connection]:
    """A connection that goes to the file around the store."""
    with closing(sqlite3.connect(path, isolation_level=None)) as connection:
        yield connection


def tamper(path: Path, statement: str) -> None:
    """Change a store file as someone would who removes its triggers first."""
    with sqlite_hand(path) as connection:
        names = connection.execute("SELECT name FROM sqlite_master WHERE type = 'trigger'")
        for (name,) in names.fetchall():
            connection.execute(f"DROP TRIGGER {name}")
        connection.execute(statement)


def contents(folder: Path) -> dict[str, bytes]:
    """Every file in a folder with its bytes."""
    return {entry.name: entry.read_bytes() for entry in folder.iterdir() if entry.is_file()}


def start_child(work: Callable[..., None], *arguments: Any) -> BaseProcess:
    """A process of its own that runs `work`; forked, as importing anew takes half a second."""
    child = multiprocessing.get_context("fork").Process(target=work, args=arguments)
    child.start()
    return child


def result_in_child(work: Callable[[], Any], *, is_nobody: bool = False) -> Any:
    """What `work` returns in a process of its own, as an ordinary user if asked for."""
    with tempfile.TemporaryFile() as pipe:
        os.set_inheritable(pipe.fileno(), True)

        def run() -> None:
            if is_nobody and os.getuid() == 0:
                os.setgroups([])
                os.setgid(NOBODY)
                os.setuid(NOBODY)
            pipe.write(pickle.dumps(work()))
            pipe.flush()

        child = start_child(run)
        child.join(30)
        assert child.exitcode == 0
        pipe.seek(0)
        return pickle.loads(pipe.read())
