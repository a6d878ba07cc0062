"""How often the tool is right: simulated calls through the real engine, beside a naive rule.

`python -m tests.benchmarks.accuracy [--calls N] [--seed N] [--content FOLDER] [--signs]
[--unlicensed SHARE] [--keep-hidden]`

Causes come equally often, severities from 0.5 to 1, none to three readings cannot be had. A fault
that puts no reading outside its band and looks like nothing is hidden: nobody would call for it,
and it is drawn anew (the share of such draws is printed) unless told to keep it.

Outcomes are those by which fault diagnosis is judged (Yuill and Braun, Purdue 2012): correct, no
response (escalated or withheld), misdiagnosis, missed detection, false alarm. The naive rule says
"receiver vapor feed" whenever both harvest pressures are below band. Progress goes to standard
error.
"""

from __future__ import annotations

import argparse
import os
import sys
import time
from collections import Counter
from concurrent.futures import ProcessPoolExecutor, as_completed
from pathlib import Path

from tests.benchmarks.accuracy_tables import endings, signs, summary, table, wrongs
from tests.benchmarks.simulated_calls import Call, content_folder, plan, run_cell, use
from tests.conversation import CONTENT_FOLDER


def run(
    calls: int, seed: int, keep_hidden: bool = False, unlicensed: float = 0.0
) -> tuple[list[Call], Counter[str], float]:
    """Return all calls, how often each cause stayed hidden for good, and the seconds taken."""
    work = plan(calls, seed, unlicensed)
    began = time.perf_counter()
    found: list[tuple[int, list[Call | None]]] = []
    done = 0
    with ProcessPoolExecutor(os.cpu_count(), initializer=use, initargs=(content_folder(),)) as pool:
        futures = {
            pool.submit(run_cell, cell, jobs, keep_hidden): (index, jobs)
            for index, (cell, jobs) in enumerate(work)
        }
        for future in as_completed(futures):
            index, jobs = futures[future]
            found.append((index, future.result()))
            done += len(jobs)
            progress(done, calls, time.perf_counter() - began)
    results: list[Call] = []
    hidden: Counter[str] = Counter()
    for index, outcomes in sorted(found, key=lambda item: item[0]):
        for job, call in zip(work[index][1], outcomes, strict=True):
            if call is None:
                hidden[job.cause] += 1
            else:
                results.append(call)
    return results, hidden, time.perf_counter() - began


def progress(done: int, total: int, seconds: float) -> None:
    """Show how far it is, on standard error."""
    end = "\r" if done < total and sys.stderr.isatty() else "\n"
    if sys.stderr.isatty() or done == total:
        left = seconds * (total - done) / max(1, done)
        print(f"{done}/{total} calls, {left:4.0f} s left ", end=end, file=sys.stderr, flush=True)


def main() -> None:
    """Measure and print."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("--calls", type=int, default=1000)
    parser.add_argument("--seed", type=int, default=2026)
    parser.add_argument("--signs", action="store_true", help="print P(outcome | cause) as well")
    parser.add_argument("--keep-hidden", action="store_true", help="keep faults that do not show")
    parser.add_argument("--unlicensed", type=float, default=0.0, help="share of callers, 0 to 1")
    parser.add_argument("--content", type=Path, default=CONTENT_FOLDER, help="folder of trees")
    wanted = parser.parse_args()
    use(wanted.content)
    calls, hidden, seconds = run(wanted.calls, wanted.seed, wanted.keep_hidden, wanted.unlicensed)
    print("\n".join(table(calls, hidden)), "\n")
    print("\n".join(summary(calls, seconds)), "\n")
    print("\n".join(endings(calls)), "\n")
    print("wrong conclusions:")
    print("\n".join(wrongs(calls)))
    if wanted.signs:
        print()
        print("\n".join(signs(calls)))


if __name__ == "__main__":
    main()
