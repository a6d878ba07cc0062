"""A try at the terminal: the turns of a call, with no record behind them."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from datetime import datetime

from rich.console import Console, RenderableType
from rich.text import Text

from triage.console.chat import shown_next
from triage.console.desk import Desk
from triage.console.interrupts import interrupts_held
from triage.console.line import LineNeeds, LineReader, ToolbarFacts, elapsed_between
from triage.console.line_in_use import line_for
from triage.console.look import Margin, look_of
from triage.console.telling import Telling
from triage.console.turns import shown_prompt, shown_remark
from triage.dialogue.view import (
    END_PROMPTS,
    Escalated,
    HelpWanted,
    NoteKept,
    Prompt,
    Remark,
    StoppedHere,
)
from triage.dialogue.words import control_in, plain_text

NOT_IN_A_TRY = frozenset({"park", "serial"})
"""Words that mean something to a record alone."""


class TryChat:
    """One try on one screen; it can be left in any way, as there is nothing to keep."""

    def __init__(self, desk: Desk, console: Console, clock: Callable[[], datetime]) -> None:
        self._desk = desk
        self._console = console
        self._clock = clock

    def converse(self, line: LineReader | None = None) -> bool:
        """Take lines until the call ends or is left; return whether it was interrupted."""
        self._show(shown_prompt(self._desk.prompt, self._telling()))
        line = line or self._line()
        is_warned = False
        while not self._desk.is_over:
            try:
                typed = line.read()
            except KeyboardInterrupt:
                if is_warned and line.was_empty:
                    return True
                is_warned = True
                words = "Line given up. Ctrl-C again on an empty line leaves the try."
                self._show(Margin("stop", Text(words)))
                continue
            except EOFError:
                return False
            is_warned = False
            self.take(typed)
        return False

    def take(self, typed: str) -> None:
        """Take a typed line and show what came of it."""
        control = control_in(typed)
        if control is not None and control[0] in NOT_IN_A_TRY:
            words = f"This is a try: nothing is stored, so there is nothing to {control[0]}."
            if control[0] == "serial":
                words = "This is a try: nothing is stored, so the number is of no use."
            self._show(Margin("sorry", Text(words), "triage.outside"))
            return
        before = self._desk.prompt
        with interrupts_held():
            remarks = self._desk.say(typed)
        telling = self._telling()
        for remark in remarks:
            self._show(*_shown(remark, telling))
        if self._desk.case.is_stopped:
            return
        after = self._desk.prompt
        if not self._desk.is_over or after != before:
            self._show(*shown_next(remarks, before, after, telling))
        if isinstance(after, Escalated) and not self._desk.is_over and after != before:
            words = "back, or change and what, mends an answer; done ends the try."
            self._show(Margin("end?", Text(words)))

    def _line(self) -> LineReader:
        needs = LineNeeds(
            content=self._desk.engine.content,
            speaker=self._telling().speaker,
            prompt=lambda: self._desk.prompt,
            facts=self._facts,
        )
        return line_for(needs, look_of(self._console), False, None, None)

    def _facts(self) -> ToolbarFacts:
        return ToolbarFacts(
            self._desk.session_id,
            _stage(self._desk.prompt),
            elapsed_between(self._desk.started_at, self._clock()),
            self._desk.questions_asked,
        )

    def _telling(self) -> Telling:
        return Telling(self._desk.engine.content, self._desk.case)

    def _show(self, *parts: RenderableType) -> None:
        for part in parts:
            self._console.print(part)


def _stage(prompt: Prompt) -> str:
    return "end" if isinstance(prompt, END_PROMPTS) else prompt.stage.value


def _shown(remark: Remark, telling: Telling) -> Iterator[RenderableType]:
    """Yield what to show in answer to a line, with no word of a record."""
    match remark:
        case StoppedHere():
            yield Margin("stop", Text("Left here."))
        case NoteKept(text):
            yield Margin("note", Text(f'Noted for this try alone: "{plain_text(text)}"'))
        case HelpWanted():
            yield shown_remark(remark, telling)
            yield Margin("help", Text("Nothing is stored in a try: park is no use."))
        case _:
            yield shown_remark(remark, telling)
