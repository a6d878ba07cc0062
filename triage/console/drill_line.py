"""Where a trainee's lines come from: a full line at a terminal, a bare one, or a pipe."""

from __future__ import annotations

import io
import sys
from collections.abc import Iterator
from typing import TYPE_CHECKING, TextIO

from rich.console import Console

from triage.console.drill_words import COMMAND_WORDS
from triage.console.line import LineNeeds, LineReader, PlainLine
from triage.console.look import Look
from triage.console.turns import TypedLine
from triage.dialogue.heard import readings_heard
from triage.dialogue.words import plain_text

if TYPE_CHECKING:
    from triage.tree.content import Content

SPEAKER = "you"
"""The word at the margin of what the trainee types."""

LONGEST_LINE = 32_768
"""Characters read of a line from a pipe; what follows counts as the next one."""


class PipedLine:
    """Lines from a file or a pipe, each shown as it is taken."""

    def __init__(self, stream: TextIO, console: Console) -> None:
        self._stream = stream
        self._console = console

    @property
    def was_empty(self) -> bool:
        """Whether the line given up last held nothing; nobody types here."""
        return True

    def read(self) -> str:
        """Return the next line; raise EOFError behind the last."""
        line = self._stream.readline(LONGEST_LINE)
        if not line:
            raise EOFError
        self._console.print(TypedLine(SPEAKER, line))
        return line


def words_to_complete(content: Content) -> Iterator[tuple[str, str]]:
    """Yield what a line in a drill may hold, with its meaning: commands, readings, causes."""
    for words, meaning in COMMAND_WORDS.items():
        for word in words.split(", ") if words[0].isalpha() else ():
            yield word, meaning
    for reading in readings_heard(content):
        yield plain_text(reading.name), "ask for it"
    for cause in content.causes.values():
        yield f"propose {plain_text(cause.name)}", "say that this is wrong"
    for key in dict.fromkeys(key for each in readings_heard(content) for key in each.cautions):
        yield f"caution {plain_text(content.cautions[key].title)}", "read it out"


def line_for(needs: LineNeeds, look: Look, console: Console, *, is_vi: bool) -> LineReader:
    """Return the line reader for these ends: a line is edited only between two terminals."""
    if isinstance(sys.stdin, io.TextIOWrapper):
        sys.stdin.reconfigure(errors="replace")  # bytes that are no text are only not understood
    if not (_is_terminal(sys.stdin) and _is_terminal(sys.stdout)):
        return PipedLine(sys.stdin, console)
    if look.is_plain:
        return PlainLine(needs)
    return _edited(needs, look, is_vi)


def _is_terminal(stream: TextIO) -> bool:
    try:
        return stream.isatty()
    except ValueError:  # closed
        return False


def _edited(needs: LineNeeds, look: Look, is_vi: bool) -> LineReader:
    # The line editor takes a tenth of a second to load; the first screen is there by now.
    from prompt_toolkit.completion import CompleteEvent, Completer, Completion
    from prompt_toolkit.document import Document

    from triage.console.prompt_line import PromptLine

    offers = tuple(words_to_complete(needs.content))

    class DrillCompleter(Completer):
        """Completes the line as a whole."""

        def get_completions(
            self, document: Document, complete_event: CompleteEvent
        ) -> Iterator[Completion]:
            """Yield what fits the text before the cursor, with its meaning beside it."""
            typed = document.text_before_cursor.lstrip()
            for text, meaning in fitting(typed, offers):
                yield Completion(text, start_position=-len(typed), display_meta=meaning)

    line = PromptLine(needs, look, is_vi=is_vi)
    line.session.completer = DrillCompleter()
    line.session.auto_suggest = None
    return line


def fitting(typed: str, offers: tuple[tuple[str, str], ...]) -> Iterator[tuple[str, str]]:
    """Yield the offers that begin with what was typed, then those one of whose words does."""
    wanted = typed.casefold()
    behind = []
    for text, meaning in offers:
        folded = text.casefold()
        if folded.startswith(wanted):
            yield text, meaning
        elif f" {wanted}" in folded:
            behind.append((text, meaning))
    yield from behind
