"""Many made-up callers and everything each would say, drawn once and kept, to learn the limit from.

They are drawn as the benchmark draws its own, causes equally often, from other seeds and at other
places. What is kept lies in the user's cache folder, under a name that changes with all that goes
into it; it is always safe to delete.
"""

from __future__ import annotations

import hashlib
import sys
from dataclasses import dataclass
from functools import partial
from pathlib import Path

import numpy

import triage
from tests.benchmarks.features import columns_of, features_of
from tests.benchmarks.in_parallel import over_batches
from tests.benchmarks.simulated_calls import (
    Batch,
    caller_for,
    content_folder,
    content_in_use,
    engine_for,
    plan,
)
from tests.conversation import TREE
from triage.drill.population import TRIED, all_findings, opened
from triage.tree.cache import user_cache_folder

PLACES = 30
"""Places of each machine."""

_BEHIND_A_DRAW = (
    "physics/*.py", "physics/data/*.json", "drill/population.py", "drill/simulated_caller.py",
    "dialogue/judge.py", "dialogue/reply.py",
)  # fmt: skip
_CONTENT_BEHIND_A_DRAW = ("readings.yaml", "machines/*.yaml")


@dataclass(frozen=True)
class Draws:
    """`rows` are calls (one a row) with all readings, `causes` the number of each call's cause."""

    rows: numpy.ndarray
    causes: numpy.ndarray


def draws_kept(callers: int, seed: int, *, keep_hidden: bool = False) -> Draws:
    """Return the draws, made now unless they are kept."""
    where = user_cache_folder() / f"limit-{fingerprint(callers, seed, keep_hidden)}.npz"
    if where.exists():
        with numpy.load(where) as kept:
            return Draws(kept["rows"], kept["causes"])
    print(f"drawing {callers} callers to learn the limit from, once", file=sys.stderr)
    draws = drawn(callers, seed, keep_hidden)
    where.parent.mkdir(parents=True, exist_ok=True)
    partial = where.with_suffix(".part.npz")
    numpy.savez_compressed(partial, rows=draws.rows, causes=draws.causes)
    partial.replace(where)
    return draws


def drawn(callers: int, seed: int, keep_hidden: bool = False) -> Draws:
    """Return new draws; faults that stayed hidden are left out unless told to keep them."""
    work = partial(rows_of, keep_hidden=keep_hidden)
    found = over_batches(work, plan(callers, seed, places=PLACES), "callers")
    numbers = {cause: number for number, cause in enumerate(content_in_use().causes)}
    return Draws(
        numpy.array([row for _, row in found], dtype=numpy.float32),
        numpy.array([numbers[cause] for cause, _ in found], dtype=numpy.int64),
    )


def rows_of(batch: Batch, keep_hidden: bool = False) -> list[tuple[str, tuple[float, ...]]]:
    """Return cause and all readings of each call from a place, the confirming test among them."""
    content = engine_for(batch).content
    start = opened(batch.place, TREE, content.version)
    rows = []
    for job in batch.jobs:
        found = caller_for(batch, job, keep_hidden)
        if found is not None:
            caller, _ = found
            caller.answer_with_all(TRIED)
            rows.append((job.cause, features_of(content, all_findings(content, caller, start))))
    return rows


def fingerprint(callers: int, seed: int, keep_hidden: bool) -> str:
    """Return a short name for everything the draws depend on."""
    asked_for = (callers, seed, keep_hidden, PLACES, columns_of(content_in_use()))
    total = hashlib.sha256(repr(asked_for).encode())
    package = Path(triage.__file__).parent
    here = Path(__file__).parent
    files = [here / name for name in ("simulated_calls.py", "features.py", "limit_draws.py")]
    for folder, patterns in (
        (package, _BEHIND_A_DRAW),
        (content_folder(), _CONTENT_BEHIND_A_DRAW),
    ):
        files += [file for pattern in patterns for file in sorted(folder.glob(pattern))]
    for file in files:
        total.update(file.read_bytes())
    return total.hexdigest()[:16]
