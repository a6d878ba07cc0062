"""A line typed by a person, and what its reader has to know; nothing heavy is loaded for it.

The full line editor is in `triage.console.prompt_line`; the bare one for screen readers is here.
"""

from __future__ import annotations

import sys
from collections.abc import Callable
from contextlib import suppress
from dataclasses import dataclass
from datetime import datetime, timedelta
from pathlib import Path
from typing import TYPE_CHECKING, Protocol, TextIO

from triage.console.turns import typed_margin

if TYPE_CHECKING:
    from triage.dialogue.view import Prompt
    from triage.tree.content import Content


class NoTerminal(RuntimeError):
    """A conversation was wanted where input or output is no terminal; says what to use instead."""

    def __init__(self) -> None:
        super().__init__(
            "a conversation needs a terminal for input and output; "
            "off a terminal give the answers with --answers FILE"
        )


class LineReader(Protocol):
    """Where typed lines come from. Ctrl-C raises KeyboardInterrupt, end of input EOFError."""

    def read(self) -> str:
        """Return one line as typed, without its end."""

    @property
    def was_empty(self) -> bool:
        """Whether the line given up last held nothing."""


class AsideLine(LineReader, Protocol):
    """A line beside which something can be shown while it is typed."""

    def interject(self, show: Callable[[], None]) -> None:
        """Have `show` called with the line out of its way, or not at all where none is typed.

        For another thread than the one that reads.
        """


@dataclass(frozen=True, slots=True)
class ToolbarFacts:
    """What the toolbar tells; `record` only where the record is out of reach or just back."""

    session_id: str
    stage: str
    elapsed: timedelta
    questions_asked: int
    record: str = ""


@dataclass(frozen=True, slots=True)
class LineNeeds:
    """What a line has to know of the call; the functions are asked anew at every redraw."""

    content: Content
    speaker: str
    prompt: Callable[[], Prompt]
    facts: Callable[[], ToolbarFacts]


def require_terminals(stdin: TextIO, stdout: TextIO) -> None:
    """Raise NoTerminal unless both ends are terminals."""
    for stream in (stdin, stdout):
        try:
            is_terminal = stream.isatty()
        except ValueError:
            is_terminal = False
        if not is_terminal:
            raise NoTerminal


def default_history_file() -> Path:
    """Return where typed lines are kept: the user's state folder."""
    from platformdirs import user_state_path  # 10 ms, so not before the first question

    return user_state_path("triage") / "history"


class PlainLine:
    """A bare line for screen readers and terminals without cursor codes: nothing is redrawn.

    The line editing is that of the system, where Python has it.
    """

    def __init__(
        self,
        needs: LineNeeds,
        *,
        on_first_drawn: Callable[[], None] | None = None,
        ask: Callable[[str], str] = input,
    ) -> None:
        with suppress(ImportError):
            # Loading it is what gives input() its editing keys.
            import readline  # noqa: F401
        self._margin = typed_margin(needs.speaker, is_plain=True)
        self._on_first_drawn = on_first_drawn
        self._ask = ask
        self._is_reading = False

    @property
    def was_empty(self) -> bool:
        """Whether the line given up last held nothing; not known here, so two in a row leave."""
        return True

    def read(self) -> str:
        """Return one typed line."""
        hook, self._on_first_drawn = self._on_first_drawn, None
        self._is_reading = True
        try:
            if hook is not None:
                hook()
            return self._ask(self._margin)
        finally:
            self._is_reading = False

    def interject(self, show: Callable[[], None]) -> None:
        """Show it under the prompt, and the prompt once more under that."""
        if self._is_reading:
            sys.stdout.write("\n")
            show()
            sys.stdout.write(self._margin)
            sys.stdout.flush()


def elapsed_between(started_at: datetime, now: datetime) -> timedelta:
    """Return the time a call has run; never less than nothing, whatever the clock does."""
    return max(timedelta(0), now - started_at)
