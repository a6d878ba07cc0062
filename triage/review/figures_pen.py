"""What the figures on a terminal are drawn with: bars, tables, notes."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from rich.console import RenderableType
from rich.table import Table
from rich.text import Text

from triage.console.cards import Item
from triage.console.look import GREATEST_TEXT_WIDTH, ChatConsole, Prose
from triage.dialogue.words import plain_text

_WIDE = 100
"""Columns from which desks and questions are tables; below, two lines each."""

MOST_LINES = 15
"""How many stops, causes, desks and questions are shown; --json has all."""


class Pen:
    """Draws bars and tables that fit the screen; plain ones are lines of words."""

    def __init__(self, console: ChatConsole) -> None:
        self.width = min(console.width, GREATEST_TEXT_WIDTH)
        self.is_plain = console.look.is_plain
        self.is_wide = self.width >= _WIDE and not self.is_plain
        self._block = "#" if console.look.is_ascii else "█"

    def bar(self, part: int, most: int, width: int) -> str:
        """Return a bar for `part`, `width` columns long for `most`; never empty for a call."""
        if self.is_plain or not part:
            return ""
        return self._block * max(1, round(width * part / most))

    def counts(
        self, lines: Sequence[tuple[str, int, str]], heading: str = ""
    ) -> Iterator[RenderableType]:
        """Yield a line for each name, count and what else is to be said, with bars."""
        if self.is_plain:
            for name, calls, more in lines:
                yield Item(f"{name}: {calls:,}{f' ({more})' if more else ''}")
            return
        names = max(len(name) for name, _, _ in lines)
        numbers = max(len(f"{calls:,}") for _, calls, _ in lines)
        extra = max(len(more) for _, _, more in lines)
        room = max(6, min(40, self.width - names - numbers - extra - 10))
        most = max(calls for _, calls, _ in lines) or 1
        table = table_of("", "", "", *([""] if extra else []), has_head=False)
        for name, calls, more in lines:
            cells = [Text(name), Text(f"{calls:,}", justify="right")]
            if extra:
                cells.append(Text(more))
            table.add_row(*cells, Text(self.bar(calls, most, room), style="triage.bar"))
        yield Prose(table)


def table_of(*headings: str, has_head: bool = True) -> Table:
    """Return an empty table with these headings."""
    table = Table(
        box=None, pad_edge=False, padding=(0, 2, 0, 0), header_style="triage.heading",
        show_header=has_head,
    )  # fmt: skip
    for heading in headings:
        table.add_column(heading, overflow="fold")
    return table


def note(words: str) -> Prose:
    """Return a remark."""
    return Prose(Text(plain_text(words, 2000), style="triage.hint"))


def say(words: str) -> Prose:
    """Return a sentence."""
    return Prose(Text(plain_text(words, 2000)))


def and_more(count: int) -> Iterator[RenderableType]:
    """Yield that there are more than are shown, if so."""
    if count > MOST_LINES:
        yield note(f"and {count - MOST_LINES:,} more; --json has all.")


def under(pen: Pen, words: str) -> Iterator[RenderableType]:
    """Yield a line set in under the one before."""
    yield Item(words, "" if pen.is_plain else "    ")
