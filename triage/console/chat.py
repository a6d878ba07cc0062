"""The conversation itself: shows what is asked, takes lines, shows what came of them.

The desk stores each line's events before anything moves on the screen, so leaving in any way keeps
the call. The first question needs rich alone; the line editor is loaded after it is shown, and
`after_first_question` runs in the background once the first prompt is drawn and may load the rest.
"""

from __future__ import annotations

import queue
import sys
from collections.abc import Callable, Iterator, Sequence
from contextlib import suppress
from dataclasses import dataclass
from datetime import datetime
from enum import StrEnum
from pathlib import Path
from typing import TYPE_CHECKING, Protocol

from rich.console import Console, RenderableType
from rich.text import Text

from triage.console.called_before import OtherCalls
from triage.console.cards import Item
from triage.console.interrupts import interrupts_held
from triage.console.line import (
    AsideLine,
    LineNeeds,
    LineReader,
    ToolbarFacts,
    elapsed_between,
    require_terminals,
)
from triage.console.line_in_use import in_background, line_for
from triage.console.look import Margin, Prose, look_of, stack
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
    CaseSoFar,
    Escalated,
    ParkedHere,
    Prompt,
    Recommended,
    Remark,
    SerialKept,
    StoppedHere,
)
from triage.dialogue.words import plain_text
from triage.store.errors import LinesSetAside, SessionMoved, StoreBusy, StoreFull

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
        others: OtherCalls | None = None,
    ) -> None:
        self._record = record
        self._others = others
        self._called_before = ""
        self._meanwhile: queue.SimpleQueue[RenderableType] = queue.SimpleQueue()
        self._typed_waiting: list[str] = []
        self._desk = desk
        self._console = console
        self._clock = clock
        self._standing = self._stand()

    @property
    def line_needs(self) -> LineNeeds:
        """What a line reader has to know of this call."""
        return LineNeeds(
            content=self._desk.engine.content,
            speaker=self._telling().speaker,
            prompt=lambda: self._standing.prompt,
            facts=self._facts,
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
            self._look_up_machine()
            lines = [*standing, *([self._called_before] if self._called_before else [])]
            self._show(Margin("so far", stack(*(Text(plain_text(line)) for line in lines))))
        self._show_prompt()

    def look_up_machine(self) -> None:
        """Find out whether the machine called before, to be told by `meanwhile`; may take a moment.

        Not where it was told already, nor while the record is out of reach.
        """
        if not self._called_before and self._look_up_machine():
            self._meanwhile.put(self._before())

    def tell_meanwhile(self, line: AsideLine) -> None:
        """Show beside the line being typed what came up; where none is, the next turn shows it."""
        for margin in news(self._record):
            self._meanwhile.put(margin)
        if not self._meanwhile.empty():
            line.interject(self._show_meanwhile)

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
        if self._record and self._record.waiting:
            return
        self._show(Text(f"Session {self._desk.session_id} is on record.", style="triage.hint"))
        if isinstance(self._standing.prompt, Recommended) and self._desk.case.repair is None:
            later = f"triage outcome {self._desk.session_id} records what the repair found."
            self._show(Text(later, style="triage.hint"))

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
        is_out_of_reach = self._record is not None and self._record.waiting > 0
        self._typed_waiting = [*self._typed_waiting, typed] if is_out_of_reach else []
        self._show(*news(self._record))
        self._show_meanwhile()
        telling = self._telling()
        self._show(*(shown_remark(remark, telling) for remark in remarks))
        is_serial_kept = any(isinstance(remark, SerialKept) for remark in remarks)
        is_case_shown = any(isinstance(remark, CaseSoFar) for remark in remarks)
        if (is_serial_kept and self._look_up_machine()) or (is_case_shown and self._called_before):
            self._show(self._before())
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
        who = plain_text(self._others.desk_at() if self._others else "", 40)
        if isinstance(moved, LinesSetAside):
            lines = [line for line in (*self._typed_waiting, typed) if line.strip()]
            told = stack(
                Text(sentence(plain_text(str(moved)))),
                Text(f"{who} has the call now.") if who else None,
                Text("Typed here since the record was out of reach:") if lines else None,
                *(Item(plain_text(line)) for line in lines),
            )
            self._show(Margin("sorry", told, "triage.stop"))
            return ChatEnd.MOVED
        line = f' Your line "{plain_text(typed)}" was not kept; say it again there.'
        words = (
            f"Another desk{f' ({who})' if who else ''} has gone on with this call, so it has ended "
            "at this one."
            f"{line if typed.strip() else ''}"
        )
        go_on = how_to_go_on(self._desk.session_id, "is with another desk")
        self._show(Margin("sorry", Text(words), "triage.stop"), Margin("kept", go_on))
        return ChatEnd.MOVED

    def _show_kept(self) -> None:
        self._show(*at_the_end(self._record))
        self._show(Margin("kept", how_to_go_on(self._desk.session_id, "is kept")))

    def _look_up_machine(self) -> bool:
        """Ask the record for an earlier call of the machine; return whether there is one."""
        number = self._desk.case.serial_number
        is_out_of_reach = self._record is not None and self._record.waiting > 0
        if self._others is None or not number or is_out_of_reach:
            return False
        self._called_before = self._others.called_before(number)
        return bool(self._called_before)

    def _before(self) -> Margin:
        return Margin("before", Text(plain_text(self._called_before)), "triage.outside")

    def _show_meanwhile(self) -> None:
        with suppress(queue.Empty):
            while True:
                self._show(self._meanwhile.get_nowait())

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
    others: OtherCalls | None = None,
) -> ChatEnd:
    """Hold the conversation of `desk` on this terminal and return how it was left.

    `standing` repeats where a resumed call was left. `history_file` keeps earlier lines (None: in
    memory only); a function is asked for it once the first question is on the screen. Raises
    NoTerminal off a terminal, before anything is shown, and StoreError where a line can never be
    stored. A call that has ended is only shown, wherever that is.
    """
    conversation = Chat(desk, console, clock, record, others)
    if conversation.is_over:
        return conversation.close()
    require_terminals(sys.stdin, sys.stdout)
    conversation.open(is_resumed=is_resumed, standing=standing)
    warm_up = [after_first_question] if after_first_question else []
    # The line is asked for what to do before it is there, and needs it only once it is.
    line = line_for(
        conversation.line_needs,
        look_of(console),
        is_vi,
        history_file,
        in_background(
            *warm_up, conversation.look_up_machine, lambda: conversation.tell_meanwhile(line)
        ),
    )
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
