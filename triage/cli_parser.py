"""The parser of the command line, and the types of its options; nothing heavy is loaded."""

from __future__ import annotations

import argparse
import re
import sys
from difflib import get_close_matches
from typing import Any, NoReturn

from triage.exits import BAD_INPUT


class Parser(argparse.ArgumentParser):
    """Argument parser that names the nearest valid word for a mistyped one.

    `-20C` is a value to it, not an option.
    """

    def __init__(self, *arguments: Any, **options: Any) -> None:
        super().__init__(*arguments, **options)
        self._negative_number_matcher = re.compile(r"-\.?[0-9]")

    def parse_known_args(self, args: Any = None, namespace: Any = None) -> Any:
        """Parse, and leave at once for a word that is not known.

        Here, as the usage to show is that of the command it was given to.
        """
        options, unknown = super().parse_known_args(args, namespace)
        if unknown:
            self.error(f"unrecognized arguments: {' '.join(unknown)}")
        return options, unknown

    def error(self, message: str) -> NoReturn:
        """Leave with `message` and the nearest valid word."""
        refused = re.search(r"argument (\S+): invalid choice: '(.*?)'", message)
        for action in self._actions if refused else ():
            if refused and refused[1] in (action.metavar, *action.option_strings):
                near = get_close_matches(refused[2], [str(item) for item in action.choices or ()])
                if near:
                    message += f"\ndid you mean {near[0]}?"
        self.print_usage(sys.stderr)
        self.exit(BAD_INPUT, printable(f"{self.prog}: {message}\n"))


def printable(message: str) -> str:
    """Return `message` without control characters: it may quote a name or a file's text."""
    return "".join(sign if sign.isprintable() or sign == "\n" else "?" for sign in message)


def count(text: str) -> int:
    """Return the whole number from 1 to 100000 that `text` is; for argparse."""
    if not text.isdigit() or not 0 < int(text) <= 100_000:
        raise argparse.ArgumentTypeError(f"{text} is no count from 1 to 100000")
    return int(text)


def seed(text: str) -> int:
    """Return the whole number from 0 that `text` is; for argparse."""
    if not (text.isascii() and text.isdigit() and len(text) <= 18):
        raise argparse.ArgumentTypeError(f"{text} is no whole number of at most 18 digits")
    return int(text)
