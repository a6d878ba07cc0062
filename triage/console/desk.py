"""One call on one desk: the engine's turns, stored before anything else is shown."""

from __future__ import annotations

import threading
from collections.abc import Callable, Sequence
from datetime import datetime
from typing import Protocol

from triage.console.when import LOCAL
from triage.dialogue.case import Case, fold
from triage.dialogue.engine import Engine
from triage.dialogue.events import Asked, Event, Identified, Resumed, Started, Stopped
from triage.dialogue.view import (
    END_PROMPTS,
    AskCaution,
    AskQuestion,
    Escalated,
    Prompt,
    Remark,
)
from triage.tree.content import Stage

PROGRAM = "program"
"""Speaker of what the program itself puts on record."""


class Record(Protocol):
    """What a desk needs of a store."""

    def append(
        self,
        session_id: str,
        events: Sequence[tuple[str, Event]],
        content_version: str,
        now: datetime,
        expected_length: int,
    ) -> object:
        """Put events on disk, all or none; they are durable when this returns."""


class Desk:
    """A call in progress.

    The store is opened when first needed, so that the first question need not wait for it; until
    then the opening events are held back and go with the first answer (or with `warm_up`).
    """

    def __init__(
        self,
        engine: Engine,
        open_record: Callable[[], Record],
        clock: Callable[[], datetime],
        session_id: str,
        speaker: str,
        case: Case | None = None,
        length: int = 0,
        *,
        can_mend_end: bool = False,
    ) -> None:
        """`can_mend_end` leaves an escalation open until the caller closes it."""
        self.engine = engine
        self.session_id = session_id
        self.speaker = speaker
        self.case = case or Case()
        self.started_at = clock()
        self._open_record = open_record
        self._record: Record | None = None
        self._clock = clock
        self._length = length
        self._can_mend_end = can_mend_end
        self._held_back: list[tuple[str, Event]] = []
        self._lock = threading.Lock()

    @classmethod
    def start(
        cls,
        engine: Engine,
        open_record: Callable[[], Record],
        clock: Callable[[], datetime],
        session_id: str,
        speaker: str,
        started: Started,
        *,
        serial_number: str = "",
        can_mend_end: bool = False,
    ) -> Desk:
        """Return a desk at the first question of a new call; `serial_number` if it is known."""
        desk = cls(engine, open_record, clock, session_id, speaker, can_mend_end=can_mend_end)
        desk._hold((PROGRAM, started))
        if serial_number:
            desk._hold((PROGRAM, Identified(serial_number)))
        desk._hold_asked()
        return desk

    @classmethod
    def resume(
        cls,
        engine: Engine,
        open_record: Callable[[], Record],
        clock: Callable[[], datetime],
        session_id: str,
        speaker: str,
        events: Sequence[Event],
        agent: str = "",
    ) -> Desk:
        """Return a desk where the call of `events` was left."""
        desk = cls(
            engine,
            open_record,
            clock,
            session_id,
            speaker,
            can_mend_end=True,
            case=fold(events),
            length=len(events),
        )
        if not isinstance(desk.prompt, END_PROMPTS) or desk.case.concluded is None:
            desk._hold((PROGRAM, Resumed(engine.content.version, agent)))
            desk._hold_asked()
        return desk

    @property
    def prompt(self) -> Prompt:
        """What the call waits for now."""
        return self.engine.prompt(self.case)

    @property
    def questions_asked(self) -> int:
        """How many questions were put to the caller so far."""
        return len(self.engine.path(self.case))

    @property
    def stage(self) -> Stage | None:
        """The stage of the call, None at its end."""
        prompt = self.prompt
        return None if isinstance(prompt, END_PROMPTS) else prompt.stage

    @property
    def is_over(self) -> bool:
        """Whether the call ended or was stopped; an escalation ends it once it is closed."""
        prompt = self.prompt
        if isinstance(prompt, Escalated) and self._can_mend_end:
            return self.case.is_stopped or self.case.concluded is not None
        return self.case.is_stopped or isinstance(prompt, END_PROMPTS)

    def say(self, text: str) -> tuple[Remark, ...]:
        """Take a typed line, store what it led to, and return what to show.

        Raises the store's errors with nothing changed on the desk: the line can be said again.
        Times of day in the line are those of this computer's zone.
        """
        now = self._clock()
        turn = self.engine.turn(self.case, text, now.astimezone(LOCAL))
        events: list[tuple[str, Event]] = [(self.speaker, event) for event in turn.events]
        after = fold(turn.events, self.case)
        if not after.is_stopped:
            events.extend((PROGRAM, event) for event in self._following(after))
        self._store(events, now)
        return turn.remarks

    def stop(self) -> None:
        """Leave the call and keep it."""
        if not self.is_over:
            self._store([(self.speaker, Stopped())])

    def warm_up(self) -> None:
        """Load what the next turns need and put the opening on record; for a background thread."""
        self._store([])
        _ = self.engine.of(self.case).graph

    def _following(self, case: Case) -> list[Event]:
        """Return what the program does next: put a question, or close the call."""
        prompt = self.engine.prompt(case)
        if isinstance(prompt, Escalated) and self._can_mend_end:
            return []
        if isinstance(prompt, END_PROMPTS):
            closing = self.engine.end_event(case)
            return [closing] if closing else []
        if isinstance(prompt, (AskQuestion, AskCaution)) and case.asked[-1:] != (prompt.node,):
            return [Asked(prompt.node)]
        return []

    def _hold(self, spoken: tuple[str, Event]) -> None:
        self._held_back.append(spoken)
        self.case = fold([spoken[1]], self.case)

    def _hold_asked(self) -> None:
        for event in self._following(self.case):
            self._hold((PROGRAM, event))

    def _store(self, events: Sequence[tuple[str, Event]], now: datetime | None = None) -> None:
        with self._lock:
            if self._record is None:
                self._record = self._open_record()
            batch = [*self._held_back, *events]
            if batch:
                self._record.append(
                    self.session_id, batch, self.engine.content.version,
                    now or self._clock(), self._length,
                )  # fmt: skip
            self._length += len(batch)
            self._held_back.clear()
            self.case = fold([event for _, event in events], self.case)
