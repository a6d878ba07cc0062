"""How far a long look through the record is, on a terminal's standard error and nowhere else."""

from __future__ import annotations

import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager

Progress = Callable[[int, int | None], None]
"""Called with how many are done, and how many there are once that is known."""


@contextmanager
def progress_bar(what: str) -> Iterator[Progress]:
    """Show how many of `what` are done, how many a second and how long it still takes."""
    if not sys.stderr.isatty():
        yield lambda done, whole: None
        return
    from rich.console import Console
    from rich.progress import (
        BarColumn,
        MofNCompleteColumn,
        ProgressColumn,
        Task,
        TextColumn,
        TimeRemainingColumn,
    )
    from rich.progress import Progress as Bar
    from rich.text import Text

    class Rate(ProgressColumn):
        """How many are done in a second."""

        def render(self, task: Task) -> Text:
            """Return the mean rate since the start."""
            seconds = task.elapsed or 0.0
            return Text(f"{task.completed / seconds:.0f}/s" if seconds > 0.5 else "")

    columns = (
        TextColumn("{task.description}", markup=False), BarColumn(), MofNCompleteColumn(), Rate(),
        TimeRemainingColumn(),
    )  # fmt: skip
    with Bar(*columns, console=Console(stderr=True), transient=True) as bar:
        task = bar.add_task(what, total=None)
        yield lambda done, whole: bar.update(task, completed=done, total=whole)
