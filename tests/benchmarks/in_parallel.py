"""Work spread over all cores, with a count of what is done on standard error."""

from __future__ import annotations

import os
import sys
import time
from collections.abc import Callable, Sequence
from concurrent.futures import ProcessPoolExecutor, as_completed
from typing import TypeVar

from tests.benchmarks.simulated_calls import Batch, content_folder, use

Result = TypeVar("Result")

TENTHS = 10
"""How often progress is told where standard error is no terminal."""


def over_batches(
    work: Callable[[Batch], Sequence[Result]], batches: Sequence[Batch], what: str
) -> list[Result]:
    """Return what `work` makes of every batch, one after the other in the order of the batches."""
    total = sum(len(batch.jobs) for batch in batches)
    began, done = time.perf_counter(), 0
    found: dict[int, Sequence[Result]] = {}
    folder = content_folder()
    with ProcessPoolExecutor(os.cpu_count(), initializer=use, initargs=(folder,)) as pool:
        futures = {pool.submit(work, batch): number for number, batch in enumerate(batches)}
        for future in as_completed(futures):
            number = futures[future]
            found[number] = future.result()
            before, done = done, done + len(batches[number].jobs)
            if sys.stderr.isatty() or TENTHS * before // total != TENTHS * done // total:
                progress(done, total, time.perf_counter() - began, what)
    return [item for number in range(len(batches)) for item in found[number]]


def progress(done: int, total: int, seconds: float, what: str) -> None:
    """Show how far it is on standard error: one line on a terminal, else now and then a new one."""
    is_terminal = sys.stderr.isatty()
    left = seconds * (total - done) / max(1, done)
    line = f"{done}/{total} {what}, {left:4.0f} s left "
    print(line, end="\r" if is_terminal and done < total else "\n", file=sys.stderr, flush=True)
