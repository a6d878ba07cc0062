"""A record that takes every line, also while the store is out of reach.

A thread of its own speaks with the store. A line it cannot have there in time goes to a file on
this computer (`triage.store.waiting`), and so does every line after it, at once, until the thread
has delivered them all.
"""

from __future__ import annotations

import queue
import threading
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Self

from triage.dialogue.events import Event
from triage.dialogue.words import counted
from triage.store.errors import (
    LinesSetAside,
    SessionMoved,
    StoreBusy,
    StoreDamaged,
    StoreError,
    StoreFull,
    StoreUnreachable,
    shown,
)
from triage.store.spool import Spool
from triage.store.waiting import (
    Place,
    Shelf,
    WaitingLine,
    deliver,
    files_for,
    is_anything_waiting,
    lines_of,
    place_of,
)
from triage.store.where import waiting_folder

if TYPE_CHECKING:
    from triage.store.sql import Store

PATIENCE_S = 6.0
"""How long a line waits for the store, a little longer than the store for its server [s]."""
RETRY_S = 3.0
"""How often a store out of reach is tried [s]."""
SETTLE_S = 2.0
"""How long a call that ends waits for a last try [s]."""


@dataclass(slots=True)
class _Job:
    """Something for the thread to do; `error` is what came of it."""

    line: WaitingLine | None = None
    is_done: threading.Event = field(default_factory=threading.Event)
    error: Exception | None = None


class KeptRecord:
    """The record of one call, as a desk sees it: each line is kept, in the store or beside it."""

    def __init__(
        self,
        target: str | None,
        open_store: Callable[[], Store],
        *,
        is_known: bool = False,
        folder: Path | None = None,
        patience_s: float = PATIENCE_S,
        retry_s: float = RETRY_S,
    ) -> None:
        """Nothing is opened yet.

        target: what `open_store` opens, for telling records apart
        is_known: the store was there just now, so one out of reach is waited for, not refused
        folder: where lines wait (default: `waiting_folder()`)
        patience_s: how long a line waits for the store [s]
        retry_s: how often a store out of reach is tried [s]
        """
        self._target = target
        self._open_store = open_store
        self._is_known = is_known
        self._folder = folder
        self._patience_s = patience_s
        self._retry_s = retry_s
        self._store: Store | None = None
        self._spool: Spool | None = None
        self._lines: list[WaitingLine] = []
        self._written = 0
        self._misfit: SessionMoved | None = None
        self._is_back = False
        self._news: queue.SimpleQueue[str] = queue.SimpleQueue()
        self._jobs: queue.SimpleQueue[_Job | None] = queue.SimpleQueue()
        self._thread: threading.Thread | None = None
        self._turn = threading.Lock()  # one line after the other
        self._guard = threading.Lock()  # over the spool and its lines; never held over a wait

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_exception: object) -> None:
        self.close()

    @property
    def waiting(self) -> int:
        """How many lines of this call wait on this computer."""
        return max(0, len(self._lines) - self._written)

    @property
    def has_moved(self) -> bool:
        """Whether another desk has gone on with this call, so that what waits has no place."""
        return self._misfit is not None

    @property
    def is_back(self) -> bool:
        """Whether what waited has been written, and `news` has not told it yet."""
        return self._is_back and not self.waiting

    def news(self) -> list[str]:
        """Return what there is to tell since the last time, in sentences."""
        self._is_back = False
        told: list[str] = []
        while not self._news.empty():
            told.append(self._news.get())
        return told

    def append(
        self,
        session_id: str,
        events: Sequence[tuple[str, Event]],
        content_version: str,
        now: datetime,
        expected_length: int,
    ) -> None:
        """Keep events durably, all or none, in the store or to be delivered to it.

        Raises SessionMoved, LinesSetAside once what waited has no place any more, and where lines
        cannot wait (a file that was never there, no room on this computer either) what
        `Store.append` and `open_store` raise.
        """
        line = WaitingLine(session_id, expected_length, now, content_version, tuple(events))
        with self._turn:
            with self._guard:
                if self._spool is not None:
                    self._keep(self._spool, line)
                    return
            error = self._tried(_Job(line), self._patience_s)
            if error is not None:
                self._begin_to_wait(line, error)

    def settle(self) -> None:
        """Try once more to deliver what waits, for a moment; for the end of a call."""
        if self._is_to_deliver:
            self._tried(_Job(), SETTLE_S)

    def close(self) -> None:
        """Let go of the store and of what waits, which stays for the next command."""
        if self._thread is not None:
            self._jobs.put(None)
            self._thread.join(SETTLE_S)  # one that hangs on its server ends with the program
        with self._guard:
            if self._spool is not None:
                self._spool.close()
                self._spool = None

    def _keep(self, spool: Spool, line: WaitingLine) -> None:
        try:
            spool.add(line, self._place())
        except OSError as error:
            raise StoreFull(
                f"no room to let the line wait in {shown(spool.path)} "
                f"({shown(error.strerror or error)})",
                "free some space",
            ) from error
        self._lines.append(line)
        if self._misfit is not None:
            raise set_aside(spool, self._lines[self._written :], self._misfit)

    def _begin_to_wait(self, line: WaitingLine, error: Exception) -> None:
        if not self._may_wait(error):
            raise error
        try:
            spool = Spool.begin(self._folder or waiting_folder(), line.session_id)
        except OSError:
            raise error from None
        with self._guard:
            try:
                self._keep(spool, line)
            except StoreFull:
                spool.remove()
                raise error from None
            self._spool = spool
        self._news.put(
            f"The record is out of reach ({_what(error)}). Go on with the call: what is typed "
            "waits on this computer and goes in when the record is back."
        )
        self._jobs.put(_Job())

    def _may_wait(self, error: Exception) -> bool:
        if isinstance(error, (StoreBusy, _NoAnswer)):
            return True
        # A file that cannot be had from the start is a slip of the hand or a matter of rights.
        if not isinstance(error, (StoreUnreachable, StoreFull)):
            return False
        try:
            return self._is_known or self._place().is_server
        except ValueError:  # no target at all
            return False

    def _place(self) -> Place:
        return place_of(self._target)

    def _tried(self, job: _Job, patience_s: float) -> Exception | None:
        """Let the thread do `job` and return what went wrong, if it took too long that as well."""
        if self._thread is None:
            self._thread = threading.Thread(target=self._work, name="record", daemon=True)
            self._thread.start()
        self._jobs.put(job)
        if not job.is_done.wait(patience_s):
            return _NoAnswer(
                f"no answer from {self._place().location} within {patience_s:g} seconds",
                "check that the server runs",
            )
        return job.error

    @property
    def _is_to_deliver(self) -> bool:
        return self._spool is not None and self._misfit is None

    # The thread.

    def _work(self) -> None:
        while True:
            try:
                job = self._jobs.get(timeout=self._retry_s if self._is_to_deliver else None)
            except queue.Empty:
                job = _Job()
            if job is None:
                break
            try:
                self._do(job.line)
            except Exception as error:  # noqa: BLE001 - handed to the desk, which raises it
                job.error = error
            job.is_done.set()
        if self._store is not None:
            self._store.close()

    def _do(self, line: WaitingLine | None) -> None:
        if self._store is None:
            self._store = self._open_store()
            self._deliver_what_was_left(self._store)
        if line is None:
            self._deliver_ours(self._store)
        else:
            self._store.append(
                line.session_id, line.spoken, line.content_version, line.recorded_at,
                line.expected_length,
            )  # fmt: skip
        self._is_known = True

    def _deliver_ours(self, store: Store) -> None:
        while self._is_to_deliver:
            misfit: SessionMoved | None = None
            try:
                for _ in deliver(store, self._lines[self._written :]):
                    self._written += 1
            except SessionMoved as error:
                misfit = error
            with self._guard:
                spool = self._spool
                if spool is None:
                    return  # the desk closed it meanwhile: the next command sees to the file
                if misfit is not None:
                    set_aside(spool, self._lines[self._written :], misfit)
                    self._misfit = misfit
                elif not self.waiting:
                    spool.remove()
                    self._spool = None
                    self._news.put(back_again(self._written))
                    self._is_back = True
                    self._lines, self._written = [], 0

    def _deliver_what_was_left(self, store: Store) -> None:
        folder = self._folder or waiting_folder()
        if is_anything_waiting(folder):
            spool = self._spool
            ours = None if spool is None else spool.path
            for told in deliver_left(store, self._place(), folder, ours):
                self._news.put(told)


class _NoAnswer(StoreUnreachable):
    """The store took longer than a person on the phone can wait; it may have the line by now."""


def deliver_left(
    store: Shelf, place: Place, folder: Path, besides: Path | None = None
) -> list[str]:
    """Write what earlier calls left waiting for `store`; return what there is to tell.

    A file another process holds is passed over, and so is the one at `besides`; one that is damaged
    or does not fit is set aside. Where the store fails, what was not written stays.
    """
    told: list[str] = []
    for path in files_for(place, folder):
        if path == besides:
            continue
        spool = Spool.take(path)
        if spool is not None:
            try:
                told += _delivered(store, spool)
            finally:
                spool.close()
        elif path.exists():
            told.append(
                f"A call still open on this computer has lines waiting in {shown(path)}; they go "
                "in from there."
            )
    return told


def _delivered(store: Shelf, spool: Spool) -> list[str]:
    try:
        lines = lines_of(spool.path)
    except (StoreDamaged, OSError) as error:
        path = shown(spool.set_aside())
        return [
            f"Lines that waited for the record cannot be read, they are kept in {path}: {error}."
        ]
    count = 0
    try:
        for _ in deliver(store, lines):
            count += 1
    except SessionMoved as error:
        return [f"{_sentence(set_aside(spool, lines[count:], error))}."]
    except StoreError as error:
        waiting = counted(len(lines) - count, "line")
        return [f"{waiting} of session {shown(lines[0].session_id)} still waiting: {error}."]
    spool.remove()
    return [back_again(count, lines[0].session_id)] if lines else []


def back_again(count: int, session_id: str = "") -> str:
    """Return the sentence that tells of lines written after an outage."""
    of_session = f" of session {shown(session_id)}" if session_id else ""
    return f"The record is back: {counted(count, 'line')}{of_session} written."


def set_aside(spool: Spool, lines: Sequence[WaitingLine], error: SessionMoved) -> LinesSetAside:
    """Set a file aside of which `lines` do not fit; return the error that says where and why."""
    path = spool.set_aside()
    return LinesSetAside(
        f"{error}, so {counted(len(lines), 'line')} typed here could not be added and are "
        f"kept in {shown(path)}",
        f"triage resume {shown(lines[0].session_id)} shows where the call stands; type there what "
        "still counts",
    )


def _what(error: Exception) -> str:
    return error.what if isinstance(error, StoreError) else shown(error)


def _sentence(error: Exception) -> str:
    text = str(error)
    return text[:1].upper() + text[1:]
