"""A desk without an engine or a store: a row of prompts, one for each line said."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import UTC, datetime
from types import SimpleNamespace
from typing import Any

from tests.console import sample
from triage.dialogue.view import NotClear, ParkedHere, Prompt, Remark, StoppedHere

BEGAN = datetime(2026, 3, 4, 9, 0, tzinfo=UTC)


class RowDesk:
    """Stands at the next prompt of its row after each line.

    `stop` stops, `park` and more parks, `?` is not understood.
    """

    def __init__(self, *prompts: Prompt) -> None:
        self._prompts: Sequence[Prompt] = prompts
        self._position = 0
        self.session_id = "k7"
        self.case = sample.telling().case
        self.engine: Any = SimpleNamespace(content=sample.CONTENT, findings=lambda case: ())
        self.started_at = BEGAN
        self.said: list[str] = []
        self.is_stopped = False
        self.failures: list[Exception] = []

    @property
    def prompt(self) -> Prompt:
        return self._prompts[self._position]

    @property
    def questions_asked(self) -> int:
        return self._position + 1

    def say(self, text: str) -> tuple[Remark, ...]:
        if self.failures:
            raise self.failures.pop(0)
        self.said.append(text)
        if text == "stop":
            self.is_stopped = True
            return (StoppedHere(),)
        if text == "park 20":
            return (NotClear("What does it wait for?"),)
        if text.startswith("park"):
            self.is_stopped = True
            return (ParkedHere("freeze is running", "2026-03-04T09:20:00+00:00", 1200.0),)
        if text == "?":
            return (NotClear("That cannot be used."),)
        self._position += 1
        return ()

    def stop(self) -> None:
        self.is_stopped = True


class Lines:
    """A line reader that gives what it was told to: texts to return, exceptions to raise."""

    def __init__(self, *steps: str | type[BaseException], is_empty: bool = True) -> None:
        self._steps = list(steps)
        self.was_empty = is_empty

    def read(self) -> str:
        step = self._steps.pop(0)
        if isinstance(step, str):
            return step
        raise step
