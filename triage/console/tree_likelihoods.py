"""`triage tree likelihoods`: compute how each cause shows, or see whether that is still true."""

from __future__ import annotations

import argparse
import os
import sys
from collections.abc import Iterator
from contextlib import contextmanager

from triage.exits import BAD_CONTENT, DONE
from triage.learning.compute import Plan, Progress, changed_since, compute_likelihoods
from triage.tree.cache import user_cache_folder
from triage.tree.content import LIKELIHOODS
from triage.tree.likelihoods import MEND
from triage.tree.load import load_content
from triage.tree.where import content_folder

_MOST_TOLD = 12


def make_likelihoods(options: argparse.Namespace) -> int:
    """Write `likelihoods.json` into the content folder, or check the one there.

    Raises ContentErrors for content with mistakes, OSError for a folder that cannot be written.
    """
    folder = content_folder(options.trees)
    content = load_content(folder)
    if options.check:
        return _say_what_changed(changed_since(content))
    plan = Plan(options.places, options.draws, options.seed)
    with _progress() as progress:
        kept = user_cache_folder() / "drawn"
        text = compute_likelihoods(content, folder, plan, kept, progress)
    target = folder / LIKELIHOODS
    unfinished = target.with_suffix(".unfinished")
    unfinished.write_text(text, encoding="utf-8")
    unfinished.replace(target)
    sys.stdout.write(f"{target}: written; {len(text) // 1024} kB\n")
    return DONE


def _say_what_changed(changes: list[str]) -> int:
    if not changes:
        sys.stdout.write(f"{LIKELIHOODS} is fresh: made-up calls show what they showed then\n")
        return DONE
    for change in changes[:_MOST_TOLD]:
        sys.stdout.write(f"{change}\n")
    if len(changes) > _MOST_TOLD:
        sys.stdout.write(f"and {len(changes) - _MOST_TOLD} more\n")
    sys.stdout.write(f"{LIKELIHOODS} is not fresh; {MEND}\n")
    return BAD_CONTENT


@contextmanager
def _progress() -> Iterator[Progress]:
    """Show on a terminal how many places are done; elsewhere say nothing."""
    if not sys.stderr.isatty():
        yield lambda done, whole: None
        return
    from rich.console import Console
    from rich.progress import Progress as Bar
    from rich.progress import TimeRemainingColumn

    columns = (*Bar.get_default_columns()[:-1], TimeRemainingColumn())
    with Bar(*columns, console=Console(stderr=True)) as bar:
        task = bar.add_task(f"places, on {os.cpu_count()} cores", total=None)
        yield lambda done, whole: bar.update(task, completed=done, total=whole)
