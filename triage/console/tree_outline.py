"""An outline of a tree on the screen: with lines to the entries, or plain and indented."""

from __future__ import annotations

from collections.abc import Iterator

from rich.console import Console, ConsoleOptions, RenderResult
from rich.text import Text
from rich.tree import Tree

from triage.console.look import Prose, look_of, stack
from triage.tree.drawing.outline import Entry, Role

_STYLES = {
    Role.TITLE: "triage.heading",
    Role.NOTE: "triage.hint",
    Role.STAGE: "triage.heading",
    Role.BOX: "triage.ask",
    Role.ASKS: "none",
    Role.CAUTION: "triage.caution",
    Role.WAY: "none",
    Role.CONCLUDED: "triage.good",
    Role.HANDED_OVER: "triage.outside",
    Role.GATE: "triage.caution",
    Role.MARK: "triage.typed",
}
_INDENT = "  "
_DEEPEST_INDENT = 8
"""Levels after which a plain outline is set in no further, so that a line has room for words."""


class Outline:
    """An outline to print."""

    def __init__(self, entry: Entry) -> None:
        self._entry = entry

    def __rich_console__(self, console: Console, options: ConsoleOptions) -> RenderResult:
        """Yield a tree with lines, or in plain look an indented line an entry."""
        is_plain = look_of(console).is_plain
        yield Prose(stack(*_lines(self._entry, 0)) if is_plain else _tree(self._entry))


def _tree(entry: Entry) -> Tree:
    tree = Tree(_text(entry), guide_style="triage.bar", highlight=False)
    tree.children = [_tree(each) for each in entry.under]
    return tree


def _lines(entry: Entry, depth: int) -> Iterator[Text]:
    text = _text(entry)
    yield Text.assemble(_INDENT * min(depth, _DEEPEST_INDENT), text)
    for each in entry.under:
        yield from _lines(each, depth + 1)


def _text(entry: Entry) -> Text:
    style = _STYLES[entry.role]
    text = Text(entry.words, style=style)
    if entry.is_taken:
        text.stylize("bold")
    return text
