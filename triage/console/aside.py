"""What a command says beside its result: on standard error, as one message a line."""

from __future__ import annotations

import shutil
import sys
import textwrap

from triage.cli_parser import printable


def write_aside(message: str) -> None:
    """Write a message to standard error, broken at blanks to the width of its terminal.

    In a file or a pipe it stays on its line.
    """
    shown = printable(f"triage: {message}")
    if sys.stderr.isatty():
        shown = wrapped(shown, shutil.get_terminal_size().columns)
    sys.stderr.write(f"{shown}\n")


def wrapped(message: str, columns: int) -> str:
    r"""Return `message` broken at blanks to lines of at most `columns`; a longer word stays whole.

    So the file:line:column or path at the beginning of a line can be found and copied.

    >>> wrapped("a.yaml:1:2: no such reading", 16)
    'a.yaml:1:2: no\nsuch reading'
    """
    return "\n".join(
        textwrap.fill(
            line, max(columns, 16), break_long_words=False, break_on_hyphens=False
        )
        for line in message.splitlines()
    )  # fmt: skip
