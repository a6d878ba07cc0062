"""Many stored calls replayed on all cores, in the order they came.

The bands of a machine at some air and water take ten times as long as the rest of a call. So calls
at the same machine, air and water go to one process one after the other, which keeps them.
"""

from __future__ import annotations

import json
import multiprocessing
import os
import signal
import threading
from collections.abc import Callable, Iterable, Iterator, Sequence
from concurrent.futures import Future, ProcessPoolExecutor
from itertools import islice

from triage.dialogue.engine import Engine
from triage.dialogue.events import Answered, Event, Started
from triage.review.chosen import Chosen
from triage.review.progress import Progress
from triage.review.replay import replay
from triage.review.replayed import Replay
from triage.store.errors import StoreError
from triage.store.listing import SessionSummary
from triage.tree.content import Content
from triage.tree.errors import UnknownTree
from triage.tree.plain import content_from_plain, to_plain

FEW = 24
"""So many calls are sooner replayed than a second process has begun (judged)."""

FIRST_WINDOW, WINDOW = 64, 1024
"""Calls held in memory at a time, at first and later: one lot is read while one is replayed."""

BATCH = 8
"""Calls sent to a process at a time."""

_CONDITIONS = (
    "machine",
    "refrigerant",
    "condenser_kind",
    "site_altitude",
    "ambient_air_temperature",
    "water_inlet_temperature",
    "condenser_air_temperature",
)
"""Readings that decide which bands a call is judged by."""

Done = tuple[SessionSummary, Replay]


class Replayer:
    """Replays calls of any tree of one content."""

    def __init__(self, content: Content) -> None:
        self.content = content
        self._engines: dict[str, Engine] = {}

    def __call__(self, events: Sequence[Event]) -> Replay:
        """Return what `events` come to; a tree the content lacks is told in `cannot`."""
        tree = events[0].tree if events and isinstance(events[0], Started) else ""
        if tree not in self._engines:
            try:
                self._engines[tree] = Engine(self.content, tree)
            except UnknownTree as error:
                if tree:
                    return Replay(tree, cannot=str(error))
                return Replay("", cannot="the session does not begin with its start")
        return replay(self._engines[tree], events)


def replay_many(content: Content, calls: Iterable[Chosen], progress: Progress) -> Iterator[Done]:
    """Yield line and replay of each call, in the order of `calls`.

    A damaged call, or one written by a newer version, comes back with `cannot` set. More than a few
    calls are spread over all cores. Raises what reading `calls` raises.
    """
    source = iter(calls)
    window = list(islice(source, FEW))
    if len(window) < FEW or os.cpu_count() == 1:
        replayer = Replayer(content)
        done = 0
        for part in (window, source):
            for summary, events, cannot in map(_read, part):
                yield summary, Replay(summary.tree, cannot=cannot) if cannot else replayer(events)
                done += 1
                progress(done, None)
        return
    yield from _on_all_cores(content, window, source, progress)


def _on_all_cores(
    content: Content, begun: list[Chosen], source: Iterator[Chosen], progress: Progress
) -> Iterator[Done]:
    # A fresh process: a forked one would share the open store and the progress bar's thread.
    pool = ProcessPoolExecutor(
        os.cpu_count(),
        mp_context=multiprocessing.get_context("spawn"),
        initializer=_begin,
        initargs=(json.dumps(to_plain(content)),),
    )
    count = _Count(progress)
    running: _Window | None = None
    size = FIRST_WINDOW
    try:
        while True:
            window = _Window(pool, [*begun, *islice(source, size - len(begun))], size, count)
            begun, size = [], min(2 * size, WINDOW)
            if running is not None:
                yield from running.results()
            if not window.calls:
                break
            running = window
        pool.shutdown()
    except BaseException:
        pool.shutdown(cancel_futures=True)
        raise


class _Count:
    """How many calls are done, told as they are."""

    def __init__(self, progress: Progress) -> None:
        self._progress = progress
        self._done = 0
        self._lock = threading.Lock()
        self.read = 0
        self.is_all = False

    def add(self, calls: int) -> None:
        """Count `calls` more; how many there are is known once all are read."""
        with self._lock:  # processes report in a thread of the pool
            self._done += calls
            self._progress(self._done, self.read if self.is_all else None)


class _Window:
    """Some calls on their way through the processes."""

    def __init__(
        self, pool: ProcessPoolExecutor, calls: list[Chosen], wanted: int, count: _Count
    ) -> None:
        """`wanted` is how many calls it was to have; fewer are the last ones."""
        self.calls = [_read(call) for call in calls]
        count.read += len(calls)
        count.is_all = len(calls) < wanted
        order = sorted(
            (number for number, call in enumerate(self.calls) if not call[2]),
            key=lambda number: _conditions(self.calls[number][1]),
        )
        count.add(len(calls) - len(order))  # those that cannot be read are done with
        self._batches = [order[first : first + BATCH] for first in range(0, len(order), BATCH)]
        self._futures: list[Future[list[Replay]]] = []
        for batch in self._batches:
            future = pool.submit(_work, [self.calls[number][1] for number in batch])
            future.add_done_callback(_counter(count, len(batch)))
            self._futures.append(future)

    def results(self) -> Iterator[Done]:
        """Yield what came of each call in the order they were read; wait for them."""
        found: dict[int, Replay] = {}
        for batch, future in zip(self._batches, self._futures, strict=True):
            found.update(zip(batch, future.result(), strict=True))
        for number, (summary, _, cannot) in enumerate(self.calls):
            yield summary, Replay(summary.tree, cannot=cannot) if cannot else found[number]


def _counter(count: _Count, calls: int) -> Callable[[Future[list[Replay]]], None]:
    def add(future: Future[list[Replay]]) -> None:
        if not future.cancelled():
            count.add(calls)

    return add


def _read(call: Chosen) -> tuple[SessionSummary, list[Event], str]:
    """Return the events of a call, or why it has none that can be read."""
    summary, stored = call
    if summary.fault:
        return summary, [], f"the record of this call is damaged: {summary.fault}"
    try:
        return summary, [item.event for item in stored], ""
    except StoreError as error:
        return summary, [], str(error)


def _conditions(events: Sequence[Event]) -> tuple[str, ...]:
    found = {
        event.reading: str(event.value)
        for event in events
        if isinstance(event, Answered) and event.reading in _CONDITIONS
    }
    return tuple(found.get(reading, "") for reading in _CONDITIONS)


_replayer: list[Replayer] = []


def _begin(plain: str) -> None:
    """Make the content once for each process; an interruption is the parent's business."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    _replayer.append(Replayer(content_from_plain(json.loads(plain))))


def _work(calls: Sequence[Sequence[Event]]) -> list[Replay]:
    return [_replayer[-1](events) for events in calls]
