"""The line a person types on, at the bottom of the terminal, with a toolbar under it.

No line is built unless both ends are terminals: off a terminal a prompt would wait for nobody and
paint cursor codes into a file.
"""

from __future__ import annotations

import os
from collections.abc import Callable, Iterable
from contextlib import suppress
from datetime import timedelta
from pathlib import Path
from typing import TYPE_CHECKING, Any

from prompt_toolkit.application import run_in_terminal
from prompt_toolkit.enums import EditingMode
from prompt_toolkit.filters import Condition
from prompt_toolkit.formatted_text import StyleAndTextTuples
from prompt_toolkit.history import FileHistory, History, InMemoryHistory
from prompt_toolkit.key_binding import KeyBindings, KeyPressEvent
from prompt_toolkit.shortcuts import CompleteStyle, PromptSession
from prompt_toolkit.styles import Style

from triage.console.completion import AnswerCompleter, AnswerSuggest
from triage.console.line import LineNeeds, ToolbarFacts, default_history_file
from triage.console.look import Look, prompt_color_depth
from triage.console.turns import typed_margin
from triage.dialogue.words import control_in

__all__ = [
    "PrivateHistory",
    "PromptLine",
    "clock_text",
    "default_history_file",
    "open_history",
    "toolbar_text",
]

if TYPE_CHECKING:
    from prompt_toolkit.input import Input
    from prompt_toolkit.output import Output

REFRESH_S = 1.0
"""How often the elapsed time in the toolbar moves on."""


def open_history(path: Path | None) -> History:
    """Return a history kept at `path`, for its owner's eyes only, or in memory.

    In memory without a path, and where the file cannot be had: a history is never worth a call.
    """
    if path is None:
        return InMemoryHistory()
    try:
        path.parent.mkdir(parents=True, exist_ok=True, mode=0o700)
        descriptor = os.open(path, os.O_RDWR | os.O_CREAT | os.O_APPEND, 0o600)
        try:
            os.fchmod(descriptor, 0o600)
        finally:
            os.close(descriptor)
    except OSError:
        return InMemoryHistory()
    return PrivateHistory(str(path))


class PrivateHistory(FileHistory):
    """Earlier lines in a private file; notes are left out, they may hold names."""

    def append_string(self, string: str) -> None:
        """Remember a line, unless it is a note."""
        control = control_in(string)
        if control is not None and control[0] == "note":
            return
        super().append_string(string)

    def store_string(self, string: str) -> None:
        """Write a line down; a full disk costs the history, not the call."""
        with suppress(OSError):
            super().store_string(string)


class PromptLine:
    """A full line editor: completion, history, suggestions, toolbar; emacs keys, vi with F4."""

    def __init__(
        self,
        needs: LineNeeds,
        look: Look,
        *,
        history: History | None = None,
        is_vi: bool = False,
        on_first_drawn: Callable[[], None] | None = None,
        terminal_input: Input | None = None,
        terminal_output: Output | None = None,
    ) -> None:
        self._needs = needs
        self._on_first_drawn = on_first_drawn
        self._was_empty = True
        self.session: PromptSession[str] = PromptSession(
            message=[("class:margin", typed_margin(needs.speaker))],
            completer=AnswerCompleter(needs.prompt, needs.content),
            complete_while_typing=False,
            complete_style=CompleteStyle.COLUMN,
            auto_suggest=AnswerSuggest(needs.prompt, needs.content),
            history=history or InMemoryHistory(),
            enable_history_search=False,
            search_ignore_case=True,
            editing_mode=EditingMode.VI if is_vi else EditingMode.EMACS,
            bottom_toolbar=self._toolbar,
            key_bindings=self._key_bindings(),
            refresh_interval=REFRESH_S,
            enable_suspend=True,
            color_depth=prompt_color_depth(look),
            style=_style(look),
            include_default_pygments_style=False,
            reserve_space_for_menu=6,
            input=terminal_input,
            output=terminal_output,
        )
        self.session.app.after_render += self._drawn

    @property
    def is_vi(self) -> bool:
        """Whether vi keys are on."""
        return self.session.editing_mode is EditingMode.VI

    @property
    def was_empty(self) -> bool:
        """Whether the line given up last held nothing."""
        return self._was_empty

    def read(self) -> str:
        """Return one typed line; pasted line breaks become spaces."""
        self._was_empty = True
        try:
            typed = self.session.prompt()
        except KeyboardInterrupt:
            self._was_empty = not self.session.default_buffer.text.strip()
            raise
        return " ".join(typed.splitlines())

    def interject(self, show: Callable[[], None]) -> None:
        """Show it above the line, which stays as it was typed so far."""
        app = self.session.app
        if app.loop is None or not app.is_running:
            return
        with suppress(RuntimeError):  # the line was sent meanwhile, its loop is closed
            app.loop.call_soon_threadsafe(
                lambda: run_in_terminal(show) if app.is_running else None, context=app.context
            )

    def _drawn(self, _: Any) -> None:
        hook, self._on_first_drawn = self._on_first_drawn, None
        if hook is not None:
            hook()

    def _key_bindings(self) -> KeyBindings:
        bindings = KeyBindings()

        @bindings.add("f1")
        def _help(event: KeyPressEvent) -> None:
            event.current_buffer.text = "help"
            event.current_buffer.validate_and_handle()

        @bindings.add("f4")
        def _switch_keys(event: KeyPressEvent) -> None:
            self.session.editing_mode = EditingMode.EMACS if self.is_vi else EditingMode.VI

        @bindings.add("enter", filter=_is_choosing(self))
        def _take_choice(event: KeyPressEvent) -> None:
            # Enter in the menu takes the word into the line; a second one sends it.
            event.current_buffer.complete_state = None

        return bindings

    def _toolbar(self) -> StyleAndTextTuples:
        width = self.session.app.output.get_size().columns
        return [("class:toolbar", toolbar_text(self._needs.facts(), width, is_vi=self.is_vi))]


def toolbar_text(facts: ToolbarFacts, width: int, *, is_vi: bool) -> str:
    """Return the toolbar, `width` columns at most; what matters least goes where room is short.

    >>> from dataclasses import replace
    >>> facts = ToolbarFacts("7f3a", "freeze", timedelta(seconds=192), 6)
    >>> toolbar_text(facts, 80, is_vi=False)
    ' 7f3a | freeze | 3:12 | 6 asked | F1 help | Tab answers | emacs keys (F4) '
    >>> toolbar_text(facts, 40, is_vi=False)
    ' 7f3a | freeze | 3:12 | 6 asked '
    >>> toolbar_text(replace(facts, record="record out of reach"), 40, is_vi=False)
    ' record out of reach | 7f3a | freeze '
    """
    parts = [
        *([facts.record] if facts.record else []),
        facts.session_id,
        facts.stage,
        clock_text(facts.elapsed),
        f"{facts.questions_asked} asked",
        "F1 help",
        "Tab answers",
        "vi keys (F4)" if is_vi else "emacs keys (F4)",
        "Ctrl-D leave",
    ]
    while parts:
        text = f" {' | '.join(parts)} "
        if len(text) <= width:
            return text
        parts.pop()
    return (facts.record or facts.session_id)[:width]


def clock_text(elapsed: timedelta) -> str:
    """Return a span as `3:12`, from an hour on `1:03:12`.

    >>> clock_text(timedelta(seconds=3792))
    '1:03:12'
    """
    seconds = max(0, int(elapsed.total_seconds()))
    minutes, seconds = divmod(seconds, 60)
    hours, minutes = divmod(minutes, 60)
    return f"{hours}:{minutes:02d}:{seconds:02d}" if hours else f"{minutes}:{seconds:02d}"


def _is_choosing(line: PromptLine) -> Condition:
    @Condition
    def is_choosing() -> bool:
        state = line.session.default_buffer.complete_state
        return state is not None and state.current_completion is not None

    return is_choosing


def _style(look: Look) -> Style:
    rules: Iterable[tuple[str, str]] = [("bottom-toolbar", "reverse"), ("margin", "bold")]
    if look.has_color:
        rules = [*rules, ("margin", "bold ansicyan"), ("auto-suggestion", "ansibrightblack")]
    return Style([*rules])
