"""Many stored calls replayed, or looked at in another way, on all cores in the order they came.

The bands of a machine at some air and water take ten times as long as the rest of a call. So calls
at the same machine, air and water go to one process one after the other, which keeps them.
"""

from __future__ import annotations

import json
import multiprocessing
import os
import signal
import threading
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from concurrent.futures import Future, ProcessPoolExecutor
from itertools import islice
from typing import Any, Generic, Protocol, TypeVar

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

BATCH, LARGEST_BATCH = 8, 32
"""Calls sent to a process at a time; more where they are at the same machine, air and water, which
another process would have to work out again."""

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

Item = TypeVar("Item")
Result = TypeVar("Result")
_Made = TypeVar("_Made", covariant=True)


class Work(Protocol[_Made]):
    """What is made of each call; it is made of a content once in every process."""

    def __call__(self, events: Sequence[Event]) -> _Made:
        """Return what is made of the call of `events`."""

    def unread(self, tree: str, why: str) -> _Made:
        """Return what stands for a call whose events cannot be read."""


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
        try:
            return replay(self._engines[tree], events)
        except UnknownTree as error:
            return Replay(tree, cannot=str(error))

    def unread(self, tree: str, why: str) -> Replay:
        """Return a replay that says why there is none."""
        return Replay(tree, cannot=why)


def replay_many(content: Content, calls: Iterable[Chosen], progress: Progress) -> Iterator[Done]:
    """Yield line and replay of each call, in the order of `calls`.

    A damaged call, or one written by a newer version, comes back with `cannot` set. Raises what
    reading `calls` raises.
    """
    return each_call(Replayer, content, calls, progress)


def each_call(
    make: Callable[[Content], Work[Result]],
    content: Content,
    calls: Iterable[Chosen],
    progress: Progress,
) -> Iterator[tuple[SessionSummary, Result]]:
    """Yield the line of each call and what is made of it, in the order of `calls`.

    More than a few calls are spread over all cores; `make`, what it makes and the results have to
    be such that they can be sent to a process. Raises what reading `calls` raises.
    """
    source = iter(calls)
    window = list(islice(source, FEW))
    if len(window) < FEW or os.cpu_count() == 1:
        work = make(content)
        done = 0
        for part in (window, source):
            for summary, events, cannot in map(_read, part):
                yield summary, work.unread(summary.tree, cannot) if cannot else work(events)
                done += 1
                progress(done, None)
        return
    yield from _on_all_cores(make, content, window, source, progress)


def each_item(
    make: Callable[[Content], Callable[[Item], Result]],
    content: Content,
    items: Sequence[Item],
    progress: Progress,
) -> Iterator[Result]:
    """Yield what is made of each item, in their order: one by one, or many on all cores.

    `make`, what it makes, items and results have to be such that they can be sent to a process.
    """
    progress(0, len(items))
    if len(items) <= BATCH or os.cpu_count() == 1:
        work = make(content)
        for number, item in enumerate(items, start=1):
            yield work(item)
            progress(number, len(items))
        return
    pool = _pool(make, content)
    try:
        for number, result in enumerate(pool.map(_made, items), start=1):
            yield result
            progress(number, len(items))
        pool.shutdown()
    except BaseException:
        pool.shutdown(cancel_futures=True)
        raise


def _pool(make: Callable[[Content], Any], content: Content) -> ProcessPoolExecutor:
    # A fresh process: a forked one would share the open store and the progress bar's thread.
    return ProcessPoolExecutor(
        os.cpu_count(),
        mp_context=multiprocessing.get_context("spawn"),
        initializer=_begin,
        initargs=(make, json.dumps(to_plain(content))),
    )


def _on_all_cores(
    make: Callable[[Content], Work[Result]],
    content: Content,
    begun: list[Chosen],
    source: Iterator[Chosen],
    progress: Progress,
) -> Iterator[tuple[SessionSummary, Result]]:
    pool = _pool(make, content)
    count = _Count(progress)
    work = make(content)
    running: _Window[Result] | None = None
    size = FIRST_WINDOW
    try:
        while True:
            window: _Window[Result] = _Window(
                pool, [*begun, *islice(source, size - len(begun))], size, count
            )
            begun, size = [], min(2 * size, WINDOW)
            if running is not None:
                yield from running.results(work)
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


class _Window(Generic[Result]):
    """Some calls on their way through the processes."""

    def __init__(
        self, pool: ProcessPoolExecutor, calls: list[Chosen], wanted: int, count: _Count
    ) -> None:
        """`wanted` is how many calls it was to have; fewer are the last ones."""
        self.calls = [_read(call) for call in calls]
        count.read += len(calls)
        count.is_all = len(calls) < wanted
        conditions = {
            number: _conditions(events)
            for number, (_, events, cannot) in enumerate(self.calls)
            if not cannot
        }
        count.add(len(calls) - len(conditions))  # those that cannot be read are done with
        self._batches = batches_of(conditions)
        self._futures: list[Future[list[Result]]] = []
        for batch in self._batches:
            future: Future[list[Result]] = pool.submit(
                _worked, [self.calls[number][1] for number in batch]
            )
            future.add_done_callback(_counter(count, len(batch)))
            self._futures.append(future)

    def results(self, work: Work[Result]) -> Iterator[tuple[SessionSummary, Result]]:
        """Yield what came of each call in the order they were read; wait for them."""
        found: dict[int, Result] = {}
        for batch, future in zip(self._batches, self._futures, strict=True):
            found.update(zip(batch, future.result(), strict=True))
        for number, (summary, _, cannot) in enumerate(self.calls):
            yield summary, work.unread(summary.tree, cannot) if cannot else found[number]


def _counter(count: _Count, calls: int) -> Callable[[Future[list[Result]]], None]:
    def add(future: Future[list[Result]]) -> None:
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


def batches_of(conditions: Mapping[int, tuple[str, ...]]) -> list[list[int]]:
    """Return the numbers of calls in batches, those at the same conditions next to each other."""
    batches: list[list[int]] = []
    for number in sorted(conditions, key=conditions.__getitem__):
        if batches:
            last = batches[-1]
            is_same = conditions[last[-1]] == conditions[number]
            if len(last) < BATCH or (is_same and len(last) < LARGEST_BATCH):
                last.append(number)
                continue
        batches.append([number])
    return batches


def _conditions(events: Sequence[Event]) -> tuple[str, ...]:
    found = {
        event.reading: str(event.value)
        for event in events
        if isinstance(event, Answered) and event.reading in _CONDITIONS
    }
    return tuple(found.get(reading, "") for reading in _CONDITIONS)


_work: list[Callable[[Any], Any]] = []


def _begin(make: Callable[[Content], Callable[[Any], Any]], plain: str) -> None:
    """Make the content once for each process; an interruption is the parent's business."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    _work.append(make(content_from_plain(json.loads(plain))))


def _worked(calls: Sequence[Sequence[Event]]) -> list[Any]:
    return [_work[-1](events) for events in calls]


def _made(item: Any) -> Any:
    return _work[-1](item)
