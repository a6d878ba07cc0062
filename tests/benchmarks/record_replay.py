"""How many stored calls are replayed a second on all cores.

Run with `python -m tests.benchmarks.record_replay --store URL [--calls N]`, on a record made by
`record_generator`. The floor is reading and verifying the same calls without replaying them.
"""

from __future__ import annotations

import argparse
import os
import time
from collections import Counter

from tests.benchmarks.simulated_calls import content_in_use
from triage.review.progress import progress_bar
from triage.review.replay_many import replay_many
from triage.store.open import open_store
from triage.store.sql import EVERYTHING


def main() -> None:
    """Replay the latest calls and print the rate."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--store", required=True)
    parser.add_argument("--calls", type=int, default=10_000)
    options = parser.parse_args()
    content = content_in_use()
    with open_store(options.store, must_exist=True) as store:
        began = time.perf_counter()
        read = sum(1 for _ in store.each_session(EVERYTHING, options.calls))
        floor_s = time.perf_counter() - began
        print(f"floor: {read} calls read and verified in {floor_s:.0f} s, {read / floor_s:.0f}/s")
        came: Counter[str] = Counter()
        began = time.perf_counter()
        with progress_bar("calls replayed") as progress:
            calls = store.each_session(EVERYTHING, options.calls)
            for _, replayed in replay_many(content, calls, progress):
                same = "same" if replayed.parting is None else "parted"
                came["cannot" if replayed.cannot else same] += 1
        taken_s = time.perf_counter() - began
    done = sum(came.values())
    print(
        f"{done} calls replayed on {os.cpu_count()} cores in {taken_s:.0f} s: {done / taken_s:.1f} "
        f"a second; {dict(came)}"
    )


if __name__ == "__main__":
    main()
