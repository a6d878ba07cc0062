"""The conversation itself: shows what is asked, takes lines, shows what came of them.

The desk stores each line's events before anything moves on the screen, so leaving in any way keeps
the call. The first question needs rich alone; the line editor is loaded after it is shown, and
`after_first_question` runs in the background once the first prompt is drawn and may load the rest.
"""

from __future__ import annotations

import signal
import sys
import threading
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from datetime import datetime
from enum import StrEnum
from pathlib import Path
from types import FrameType
from typing import TYPE_CHECKING, Protocol

from rich.console import Console, RenderableType
from rich.text import Text

from triage.console.line import (
    LineNeeds,
    LineReader,
    PlainLine,
    ToolbarFacts,
    elapsed_between,
    require_terminals,
)
from triage.console.look import Look, Margin, Prose, look_of, stack
from triage.console.reach import RecordWatch, at_the_end, in_short, news
from triage.console.telling import Telling, sentence
from triage.console.turns import (
    how_to_go_on,
    is_only_explained,
    is_only_unclear,
    shown_prompt,
    shown_remark,
)
from triage.dialogue.case import Case
from triage.dialogue.view import (
    END_PROMPTS,
    AskCaution,
    AskQuestion,
    Escalated,
    NotClear,
    ParkedHere,
    Prompt,
    Remark,
    StoppedHere,
)
from triage.dialogue.words import plain_text
from triage.store.errors import LinesSetAside, SessionMoved, StoreBusy, StoreError, StoreFull

if TYPE_CHECKING:
    from triage.dialogue.engine import Engine


WAY_BACK = (
    "Nothing is closed yet. back, or change and what, mends an answer; stop keeps the call open "
    "for later; done ends it."
)


class ChatEnd(StrEnum):
    """How a conversation was left."""

    CONCLUDED = "concluded"
    STOPPED = "stopped"
    INTERRUPTED = "interrupted"
    MOVED = "moved"


class CallDesk(Protocol):
    """What the chat needs of a desk."""

    session_id: str
    case: Case
    engine: Engine
    started_at: datetime

    @property
    def prompt(self) -> Prompt:
        """What the call waits for now."""

    @property
    def questions_asked(self) -> int:
        """How many questions were put so far."""

    def say(self, text: str) -> tuple[Remark, ...]:
        """Take a line, store what it led to, return what to show."""

    def stop(self) -> None:
        """Leave the call and keep it."""


@dataclass(slots=True)
class _Standing:
    """What the call stands at, worked out once a turn: the toolbar is redrawn at every key."""

    prompt: Prompt
    stage: str
    questions_asked: int


class Chat:
    """One conversation between a desk and a terminal."""

    def __init__(
        self,
        desk: CallDesk,
        console: Console,
        clock: Callable[[], datetime],
        record: RecordWatch | None = None,
    ) -> None:
        self._record = record
        self._desk = desk
        self._console = console
        self._clock = clock
        self._standing = self._stand()
        self._draft = ""

    @property
    def line_needs(self) -> LineNeeds:
        """What a line reader has to know of this call."""
        return LineNeeds(
            content=self._desk.engine.content,
            speaker=self._telling().speaker,
            prompt=lambda: self._standing.prompt,
            facts=self._facts,
            draft=lambda: self._draft,
        )

    @property
    def is_over(self) -> bool:
        """Whether the call has come to one of its ends; an escalation does when it is closed."""
        prompt = self._standing.prompt
        if isinstance(prompt, Escalated):
            return self._desk.case.concluded is not None
        return isinstance(prompt, END_PROMPTS)

    def open(self, *, is_resumed: bool = False, standing: Sequence[str] = ()) -> None:
        """Show where the call stands: its id, and the first question.

        For a resumed call `standing` are the lines that repeat where it was left.
        """
        begun = "resumed" if is_resumed else "started"
        self._show(Prose(how_to_go_on(self._desk.session_id, begun)))
        number = self._desk.case.serial_number
        if number and not standing:
            self._show(Prose(Text(f"Serial number {plain_text(number)}.", style="triage.hint")))
        if standing:
            self._show(Margin("so far", stack(*(Text(plain_text(line)) for line in standing))))
        self._show_prompt()

    def converse(self, line: LineReader) -> ChatEnd:
        """Take lines until the call ends or is left, and return how.

        Raises StoreError where a line can never be stored; what was stored before is kept.
        """
        is_warned = False
        while not self.is_over:
            try:
                typed = line.read()
            except KeyboardInterrupt:
                if is_warned and line.was_empty:
                    return self._leave(ChatEnd.INTERRUPTED)
                is_warned = True
                self._show(
                    Margin(
                        "stop",
                        Text(
                            "Line given up. Ctrl-C again on an empty line leaves; the call is kept."
                        ),
                    )
                )
                continue
            except EOFError:
                return self._leave(ChatEnd.STOPPED)
            is_warned = False
            try:
                if self._take(typed):
                    self._show_kept()
                    return ChatEnd.STOPPED
            except SessionMoved as moved:
                return self._show_moved(typed, moved)
        self._show_on_record()
        return ChatEnd.CONCLUDED

    def close(self) -> ChatEnd:
        """Show a call that has ended."""
        self._show_prompt()
        self._show_on_record()
        return ChatEnd.CONCLUDED

    def _show_on_record(self) -> None:
        self._show(*at_the_end(self._record))
        if not (self._record and self._record.waiting):
            self._show(Text(f"Session {self._desk.session_id} is on record.", style="triage.hint"))

    def _take(self, typed: str) -> bool:
        """Say a line at the desk and show what came of it; return whether the call was stopped."""
        before = self._standing.prompt
        with interrupts_held():
            try:
                remarks = self._desk.say(typed)
            except (StoreFull, StoreBusy) as error:
                self._show(
                    Margin("sorry", Text(plain_text(str(error))), "triage.stop"),
                    Margin("ask", Text("That line was not kept. Type it again.")),
                )
                return False
            self._standing = self._stand()
        self._draft = next((item.draft for item in remarks if isinstance(item, NotClear)), "")
        self._show(*news(self._record))
        telling = self._telling()
        self._show(*(shown_remark(remark, telling) for remark in remarks))
        if any(isinstance(remark, StoppedHere | ParkedHere) for remark in remarks):
            return True
        if not self.is_over or self._standing.prompt != before:
            self._show(*shown_next(remarks, before, self._standing.prompt, telling))
        self._show_way_back(before)
        return False

    def _show_way_back(self, before: Prompt | None = None) -> None:
        """Say at an escalation just reached that it can still be mended."""
        prompt = self._standing.prompt
        if isinstance(prompt, Escalated) and not self.is_over and prompt != before:
            self._show(Margin("end?", Text(WAY_BACK)))

    def _leave(self, how: ChatEnd) -> ChatEnd:
        try:
            with interrupts_held():
                self._desk.stop()
        except SessionMoved as moved:
            return self._show_moved("", moved)
        self._show_kept()
        return how

    def _show_moved(self, typed: str, moved: SessionMoved) -> ChatEnd:
        """Tell that another desk has this call now, and what was typed here in vain."""
        if isinstance(moved, LinesSetAside):
            self._show(Margin("sorry", Text(sentence(plain_text(str(moved)))), "triage.stop"))
            return ChatEnd.MOVED
        line = f' Your line "{plain_text(typed)}" was not kept; say it again there.'
        words = (
            "Another desk has gone on with this call, so it has ended at this one."
            f"{line if typed.strip() else ''}"
        )
        go_on = how_to_go_on(self._desk.session_id, "is with another desk")
        self._show(Margin("sorry", Text(words), "triage.stop"), Margin("kept", go_on))
        return ChatEnd.MOVED

    def _show_kept(self) -> None:
        self._show(*at_the_end(self._record))
        self._show(Margin("kept", how_to_go_on(self._desk.session_id, "is kept")))

    def _show_prompt(self) -> None:
        self._show(Text(""), shown_prompt(self._standing.prompt, self._telling()))
        self._show_way_back()

    def _show(self, *parts: RenderableType) -> None:
        for part in parts:
            self._console.print(part)

    def _telling(self) -> Telling:
        return Telling(self._desk.engine.content, self._desk.case)

    def _stand(self) -> _Standing:
        prompt = self._desk.prompt
        stage = "end" if isinstance(prompt, END_PROMPTS) else prompt.stage.value
        return _Standing(prompt, stage, self._desk.questions_asked)

    def _facts(self) -> ToolbarFacts:
        standing = self._standing
        elapsed = elapsed_between(self._desk.started_at, self._clock())
        return ToolbarFacts(
            self._desk.session_id, standing.stage, elapsed, standing.questions_asked,
            in_short(self._record),
        )  # fmt: skip


def chat(
    desk: CallDesk,
    console: Console,
    clock: Callable[[], datetime],
    *,
    is_resumed: bool = False,
    standing: Sequence[str] = (),
    is_vi: bool = False,
    history_file: Callable[[], Path] | Path | None = None,
    after_first_question: Callable[[], None] | None = None,
    record: RecordWatch | None = None,
) -> ChatEnd:
    """Hold the conversation of `desk` on this terminal and return how it was left.

    `standing` repeats where a resumed call was left. `history_file` keeps earlier lines (None: in
    memory only); a function is asked for it once the first question is on the screen. Raises
    NoTerminal off a terminal, before anything is shown, and StoreError where a line can never be
    stored. A call that has ended is only shown, wherever that is.
    """
    conversation = Chat(desk, console, clock, record)
    if conversation.is_over:
        return conversation.close()
    require_terminals(sys.stdin, sys.stdout)
    conversation.open(is_resumed=is_resumed, standing=standing)
    line = _line_for(conversation.line_needs, look_of(console), is_vi, history_file,
                     _in_background(after_first_question))  # fmt: skip
    return conversation.converse(line)


def shown_next(
    remarks: tuple[Remark, ...], before: Prompt, after: Prompt, telling: Telling
) -> Iterator[RenderableType]:
    """Yield what to show after the remarks: the next thing the call waits for.

    What is still in view is not shown again: after a misunderstanding a question repeats its hint
    alone, a caution or a confirmation nothing.
    """
    if isinstance(after, AskCaution) and after == before and is_only_explained(remarks):
        yield shown_prompt(after, telling, is_repeat=True)
        return
    if is_only_unclear(remarks) and after == before:
        if isinstance(after, AskQuestion):
            yield shown_prompt(after, telling, is_repeat=True)
        return
    yield Text("")
    yield shown_prompt(after, telling)


@contextmanager
def interrupts_held() -> Iterator[None]:
    """Hold Ctrl-C back while a line is stored and folded, so that the two never part.

    One pressed meanwhile is let go afterwards: its line has been taken by then.
    """
    if threading.current_thread() is not threading.main_thread():
        yield
        return

    def let_pass(number: int, frame: FrameType | None) -> None:
        """Ignore the signal."""

    earlier = signal.signal(signal.SIGINT, let_pass)
    try:
        yield
    finally:
        signal.signal(signal.SIGINT, earlier)


def _line_for(
    needs: LineNeeds,
    look: Look,
    is_vi: bool,
    history_file: Callable[[], Path] | Path | None,
    on_first_drawn: Callable[[], None] | None,
) -> LineReader:
    if look.is_plain:
        return PlainLine(needs, on_first_drawn=on_first_drawn)
    # The line editor takes a tenth of a second to load; the first question is on screen by now.
    from triage.console.prompt_line import PromptLine, open_history

    return PromptLine(
        needs,
        look,
        history=open_history(history_file() if callable(history_file) else history_file),
        is_vi=is_vi,
        on_first_drawn=on_first_drawn,
    )


def _in_background(work: Callable[[], None] | None) -> Callable[[], None] | None:
    """Return a function that starts `work` in a thread of its own.

    A store that cannot be had is not told from there: the first line typed meets the same error in
    the foreground, where it can be told properly.
    """
    if work is None:
        return None

    def run() -> None:
        with suppress(StoreError):
            work()

    return lambda: threading.Thread(target=run, name="warm-up", daemon=True).start()
