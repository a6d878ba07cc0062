"""How long until the first question is on the screen, beside the bare imports, in one run.

`python -m tests.benchmarks.first_question [rounds]`: starts both in a pseudo-terminal, in turn,
and prints medians and their ratio. The content cache is warm after the first, uncounted round.
"""

from __future__ import annotations

import os
import statistics
import sys
import tempfile
import time
from pathlib import Path

import pexpect

BARE = "import rich.console, prompt_toolkit, networkx, yaml, sqlite3; print('READY')"
ROOT = Path(__file__).resolve().parents[2]


def seconds_until(arguments: list[str], sign: str, environment: dict[str, str]) -> float:
    """Return the seconds from start until `sign` is on the screen."""
    began = time.perf_counter()
    child = pexpect.spawn(
        sys.executable, arguments, env=environment, dimensions=(40, 100), encoding="utf-8",
        timeout=30,
    )  # fmt: skip
    child.expect(sign)
    taken = time.perf_counter() - began
    child.close(force=True)
    return taken


def main() -> None:
    """Measure and print."""
    rounds = int(sys.argv[1]) if len(sys.argv) > 1 else 15
    with tempfile.TemporaryDirectory() as folder:
        environment = {
            **os.environ,
            "PYTHONPATH": str(ROOT),
            "XDG_DATA_HOME": folder,
            "XDG_CACHE_HOME": folder,
            "XDG_STATE_HOME": folder,
            "TERM": "xterm-256color",
        }
        ways = {
            "bare imports": (["-c", BARE], "READY"),
            "first question": (["-m", "triage", "call"], "certified"),
        }
        taken: dict[str, list[float]] = {name: [] for name in ways}
        cold = seconds_until(*ways["first question"], environment)
        for _ in range(rounds):
            for name, (arguments, sign) in ways.items():
                taken[name].append(seconds_until(arguments, sign, environment))
    medians = {name: statistics.median(values) for name, values in taken.items()}
    for name, median in medians.items():
        print(f"{name:<15} {1000 * median:7.0f} ms  (median of {rounds})")
    print(f"{'cold content':<15} {1000 * cold:7.0f} ms  (once)")
    ratio = medians["first question"] / medians["bare imports"]
    print(f"{'ratio':<15} {ratio:7.2f}      (goal: at most 1.5)")


if __name__ == "__main__":
    main()
