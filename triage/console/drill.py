"""`triage drill`: practice on an invented caller, at a terminal or from a pipe.

The first screen needs rich alone; all else is loaded while it is read.
"""

from __future__ import annotations

import argparse
import os
from pathlib import Path

from triage.console.drill_words import opening
from triage.console.screen import screen_of

GREATEST_DRAWN_SEED = 999_999
"""A drawn seed is short enough to be typed again."""


def drill(options: argparse.Namespace) -> int:
    """Hold a drill, or print results; return the exit code."""
    if options.results:
        from triage.console.drill_results import print_results

        return print_results(options)
    if options.export is not None:
        _refuse_to_overwrite(options.export)
    if options.seed is None:
        options.seed = _drawn_seed()
    console = screen_of(options)
    first = opening(options.seed, options.level)
    # A name or a content folder that is no good is told before anything is shown.
    is_named = any(each is not None for each in (options.machine, options.cause, options.trees))
    if not is_named:
        console.print(first)
    from triage.console.drill_chat import hold, named

    content, machine, cause = named(options)
    return hold(options, console, content, machine, cause, heading=first if is_named else None)


def _refuse_to_overwrite(path: Path) -> None:
    problem = ""
    if path.exists() or path.is_symlink():
        problem = "there is a file of that name; name one that is not there yet"
    elif not path.parent.is_dir():
        problem = "there is no such folder; make it, or name another file"
    if problem:
        from triage.console.asked import UsageError

        raise UsageError(f"{path}: {problem}")


def _drawn_seed() -> int:
    return int.from_bytes(os.urandom(8)) % GREATEST_DRAWN_SEED + 1
