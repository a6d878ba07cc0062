"""What can be typed in a drill, and its first screen; nothing but rich is needed to show it."""

from __future__ import annotations

from collections.abc import Collection

from rich.console import Group, RenderableType
from rich.table import Table
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
    table = Table.grid(padding=(0, 2, 0, 0))
    table.add_column(no_wrap=True)
    table.add_column(overflow="fold")
    for word in words:
        table.add_row(Text(word), Text(COMMAND_WORDS[word]))
    return table
