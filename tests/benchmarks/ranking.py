"""How long a ranking update takes, the worth of the next question, and a faulty cycle.

`python -m tests.benchmarks.ranking [--calls N]`: the ranking is made anew after every answer of
simulated calls, as in a real one. Floors of the same run stand beside it: one answer folded and
judged, and a bare loop that multiplies as many numbers as one update looks at. A cycle with each
fault stands beside the healthy one of the same machine.
"""

from __future__ import annotations

import argparse
import statistics
import time
from collections.abc import Callable, Iterator, Mapping, Sequence

from tests.benchmarks.question_order import askable
from tests.benchmarks.simulated_calls import caller_for, content_in_use, engine_for, plan, talk
from tests.conversation import TREE
from tests.machines_on_file import machines, place
from triage.dialogue.beliefs import beliefs_of
from triage.dialogue.case import Case, fold
from triage.dialogue.judge import finding_of
from triage.dialogue.rank import rank_causes
from triage.dialogue.view import Finding
from triage.dialogue.worth import best_decision, worth_asking
from triage.drill.population import opened
from triage.physics.faults import faults_of, parts_with, variants_on
from triage.physics.machine import CondenserKind
from triage.physics.virtual_machine import run_cycle
from triage.tree.content import Content

GOAL_MS = 2.0
SEVERITY = 0.8


State = tuple[Case, Mapping[str, Finding], Sequence[str]]


def states(calls: int, seed: int) -> Iterator[State]:
    """Yield the case, its findings and the questions still open after each answer of some calls."""
    for batch in plan(calls, seed):
        engine = engine_for(batch)
        start = opened(batch.place, TREE, engine.content.version)
        for job in batch.jobs:
            found = caller_for(batch, job)
            if found is None:
                continue
            _, ended, _ = talk(engine, start, found[0])
            case = start
            for answer in ended.answers.values():
                case = fold([answer], case)
                findings = {item.reading.id: item for item in engine.findings(case)}
                yield case, findings, askable(engine.content, engine.tree, findings, True)


def timed_ms(work: Callable[[], object]) -> float:
    """Return the milliseconds one call of `work` takes."""
    began = time.perf_counter()
    work()
    return (time.perf_counter() - began) * 1e3


def line(
    name: str, taken_ms: Sequence[float], floor_ms: float, goal_ms: float | None = None
) -> str:
    """Return one line: median, 95th percentile, and the median in floors."""
    ordered = sorted(taken_ms)
    median = statistics.median(ordered)
    goal = "" if goal_ms is None else f"  (goal: under {goal_ms:.0f} ms)"
    return (
        f"{name:44} median {median:8.3f}  p95 {ordered[int(0.95 * (len(ordered) - 1))]:8.3f} ms"
        f"  {median / floor_ms:7.2f} floors{goal}"
    )


def updates(content: Content, calls: int, seed: int) -> Iterator[str]:
    """Yield how long ranking, worth and decision take."""
    everything = list(states(calls, seed))
    beliefs = beliefs_of(content)
    modes, readings = len(beliefs.shares), len(beliefs.columns)

    def bare() -> None:
        weights = list(beliefs.shares)
        for _ in range(readings):
            weights = [weight * 0.5 for weight in weights]

    floor = statistics.median(timed_ms(bare) for _ in range(500))
    yield f"{len(everything)} answers of {calls} calls; {modes} modes, {readings} readings"
    yield f"{f'floor: {modes} x {readings} products in a bare loop':44} median {floor:8.3f} ms"
    works: dict[str, Callable[[Case, Mapping[str, Finding], Sequence[str]], object]] = {
        "one answer folded and judged": lambda case, *_: _judged_again(content, case),
        "ranking update": lambda _, findings, __: rank_causes(content, findings.values()),
        "worth of every question still open": lambda _, *known: worth_asking(content, *known),
        "best decision": lambda _, findings, __: best_decision(
            content, findings, allowed=content.causes.keys()
        ),
    }
    for name, work in works.items():
        taken = [timed_ms(lambda: work(*state)) for state in everything]  # noqa: B023
        yield line(name, taken, floor, GOAL_MS if name == "ranking update" else None)


def _judged_again(content: Content, case: Case) -> Finding | None:
    last = list(case.answers.values())[-1]
    return finding_of(content, fold([last], case), last.reading)


def cycles() -> Iterator[str]:
    """Yield how long a cycle takes with each fault, over the healthy one of the same machine."""
    ratios: dict[str, list[float]] = {}
    for machine in machines().values():
        roof = 50.0 if machine.condenser.kind is CondenserKind.REMOTE_AIR else None
        weather = place(75.0, 60.0, roof)
        healthy = statistics.median(timed_ms(lambda: run_cycle(machine, weather)) for _ in range(7))  # noqa: B023
        for cause in faults_of(machine):
            for variant in variants_on(cause, machine):
                parts = parts_with(cause, SEVERITY, machine, variant)
                taken = statistics.median(
                    timed_ms(lambda: run_cycle(machine, weather, parts))  # noqa: B023
                    for _ in range(5)
                )
                ratios.setdefault(cause, []).append(taken / healthy)
    yield f"cycle with a fault of severity {SEVERITY} over a healthy one, on every machine:"
    for cause, found in ratios.items():
        yield (
            f"  {cause:28} median {statistics.median(found):5.2f}  worst {max(found):5.2f} times"
        )
    every = [ratio for found in ratios.values() for ratio in found]
    median, worst = statistics.median(every), max(every)
    yield f"  {'all together':28} median {median:5.2f}  worst {worst:5.2f} times"


def main() -> None:
    """Measure and print."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("--calls", type=int, default=63)
    wanted = parser.parse_args()
    content = content_in_use()
    print("\n".join(updates(content, wanted.calls, 1)))
    print("\n".join(cycles()))


if __name__ == "__main__":
    main()
