"""What can be typed in a drill, and its first screen; nothing but rich is needed to show it."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass

from rich.console import Console, ConsoleOptions, Group, RenderableType, RenderResult
from rich.text import Text

COMMAND_WORDS = {
    "(a reading)": "ask the caller for it: late suction, fan, how long is a freeze",
    "caution": "read out the cautions of the reading named last; caution fan, caution gauges",
    "propose": "say what is wrong: propose weak compressor; two guesses at most",
    "hint": "help; each one tells more than the one before",
    "why, how": "why a reading is asked for, how it is taken: how late suction",
    "band": "where a healthy machine lies: band late suction",
    "case": "everything known so far",
    "readings": "all readings by name",
    "causes": "all causes by name",
    "give up": "end it and see the answer",
    "stop": "leave without the answer",
    "help": "all of what can be typed",
}
"""What can be typed in a drill, with its meaning."""

_AT_FIRST = ("(a reading)", "caution", "propose", "hint", "give up", "stop", "help")
"""What is worth knowing before the first word."""


def opening(seed: int, level: str) -> RenderableType:
    """Return the first screen: what this is and what to type."""
    return Group(
        Text(f"Drill {seed}, level {level}. The caller is invented; nothing here is a real call."),
        Text("A machine has a hidden fault. Find it by asking, as on the phone."),
        Text(""),
        commands(_AT_FIRST),
        Text(""),
    )


def commands(words: Collection[str]) -> RenderableType:
    """Return commands with their meaning, one under the other."""
    return _Commands(tuple(words))


@dataclass(frozen=True, slots=True)
class _Commands:
    words: tuple[str, ...]

    def __rich_console__(self, console: Console, options: ConsoleOptions) -> RenderResult:
        """Yield the lines; a table would fill them with blanks, which a pipe keeps."""
        indent = max(map(len, self.words)) + 2
        width = max(8, options.max_width - indent)
        for word in self.words:
            lines = Text(COMMAND_WORDS[word]).wrap(console, width)
            for number, line in enumerate(lines):
                line.rstrip()
                yield Text.assemble(f"{word if number == 0 else '':<{indent}}", line)
