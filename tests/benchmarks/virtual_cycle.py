"""How long one virtual cycle and the bands of one call take.

Run with `python -m tests.benchmarks.virtual_cycle`; the floor is a plain loop of float arithmetic
in the same process, so that ratios compare across machines.
"""

from __future__ import annotations

import statistics
import time
from collections.abc import Callable

from tests.machines_on_file import machines, place
from triage.physics.bands import expected_band
from triage.physics.virtual_machine import READING_IDS, run_cycle


def main() -> None:
    floor = _median_ms(_floor)
    print(f"floor, 100 000 float steps     {floor:8.2f} ms")
    for name, machine in sorted(machines().items()):
        conditions = place(70.0, 60.0)
        cycle = _median_ms(lambda: run_cycle(machine, conditions))  # noqa: B023
        print(f"{name:20s} one cycle {cycle:8.2f} ms  {cycle / floor:6.2f} floors", end="")
        start = time.process_time()
        for reading in READING_IDS:
            expected_band(machine, conditions, reading)
        print(f"  all bands {(time.process_time() - start) * 1e3:8.0f} ms")


def _floor() -> None:
    x = 1.0
    for _ in range(100_000):
        x = x * 1.0000001 + 1e-9


def _median_ms(work: Callable[[], object]) -> float:
    times = []
    for _ in range(9):
        start = time.process_time()
        work()
        times.append((time.process_time() - start) * 1e3)
    return statistics.median(times)


if __name__ == "__main__":
    main()
