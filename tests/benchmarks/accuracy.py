"""How often the tool is right: simulated calls through the real engine, other ways beside it.

`python -m tests.benchmarks.accuracy [--calls N] [--seed N] [--content FOLDER] [--signs]
[--unlicensed SHARE] [--keep-hidden] [--limit-callers N] [--mismatch [N]] [--order [N]]`

Causes come equally often, severities from 0.5 to 1, none to three readings cannot be had. A fault
that puts no reading outside its band and looks like nothing is hidden: nobody would call for it,
and it is drawn anew (the share of such draws is printed) unless told to keep it.

On the same calls, by the words of the same callers: the whole tool; the decision graph alone; the
ranking alone, on the readings the call had and on all that could be had; the Bayes limit on the
same readings (see `bayes_limit`); and the rule "both harvest pressures low, so the feed". Ranking
and limit are compared with causes as often as they are drawn here, which is what the learner of the
limit has learned: the ranking's posterior over the content's priors is restated for that.

`--mismatch` repeats the calls in worlds that are not the model's, `--order` counts questions
against the best next question at each step. The exit code is 1 if a harvest part was condemned on
an unhealthy freeze. Progress goes to standard error.
"""

from __future__ import annotations

import argparse
import sys
import textwrap
import time
from collections import Counter
from collections.abc import Iterable, Iterator
from functools import partial
from pathlib import Path

from tests.benchmarks import accuracy_details as details
from tests.benchmarks import accuracy_tables as tables
from tests.benchmarks.bayes_limit import Limit
from tests.benchmarks.in_parallel import over_batches
from tests.benchmarks.mismatched import Mismatch
from tests.benchmarks.scoring import columns_from, limits_learned, score, weights_by_prior
from tests.benchmarks.simulated_calls import (
    Batch,
    Call,
    is_false_condemnation,
    plan,
    run_batch,
    use,
)
from tests.conversation import CONTENT_FOLDER

CALLS, MISMATCHED_CALLS, ORDERED_CALLS, LIMIT_CALLERS = 5000, 1000, 600, 30_000
GOAL_S = 300.0


def run(batches: list[Batch], keep_hidden: bool = False) -> tuple[list[Call], Counter[str], float]:
    """Return all calls, how often each cause stayed hidden for good, and the seconds taken."""
    began = time.perf_counter()
    made = over_batches(partial(run_batch, keep_hidden=keep_hidden), batches, "calls")
    jobs = [job for batch in batches for job in batch.jobs]
    hidden = Counter(job.cause for job, call in zip(jobs, made, strict=True) if call is None)
    return [call for call in made if call is not None], hidden, time.perf_counter() - began


def condemned_falsely(calls: Iterable[Call]) -> int:
    """Return how many calls blame a harvest part where the freeze is unhealthy."""
    return sum(is_false_condemnation(call.cause, call.tool.concluded) for call in calls)


def speed(calls: int, seconds: float) -> str:
    """Return how fast calls were made, end to end and with all ways beside the tool."""
    return (
        f"{calls} calls end to end, bands of their places included, in {seconds / 60.0:.1f} min, "
        f"{calls / seconds:.1f} a second (goal: {CALLS} in {GOAL_S / 60.0:.0f} min)"
    )


def mismatches(calls: int, seed: int) -> Iterator[str]:
    """Yield one line for each way in which the world is not the model's."""
    yield (
        f"When the world is not the model's, {calls} calls each, causes equally often, in percent:"
    )
    yield (
        f"{'':32}{'tool':>8}{'tool':>8}{'graph':>8}{'rank all':>10}{'rank had':>10}{'tool':>8}"
        f"{'tool':>8}{'tool':>8}{'tool':>9}{'Brier':>8}"
    )
    yield (
        f"{'':32}{'right':>8}{'1st':>8}{'right':>8}{'1st':>10}{'1st':>10}{'wrong':>8}"
        f"{'missed':>8}{'handed':>8}{'falsely':>9}{'had':>8}"
    )
    for mismatch in Mismatch:
        made, _, _ = run(plan(calls, seed, mismatch=mismatch))
        by_name = {column.short: column for column in columns_from(made, {})}
        tool, graph = (score(made, by_name[name]) for name in ("tool", "graph"))
        had = score(made, by_name["ranked had"], weights=weights_by_prior(made))
        drawn = [score(made, by_name[name]) for name in ("drawn all", "drawn had")]
        if tool and graph and had and drawn[0] and drawn[1]:
            shares = [tables.percent(each.first) for each in drawn if each]
            yield (
                f"{mismatch.value:32}{tables.percent(tool.repair):>8}"
                f"{tables.percent(tool.first):>8}{tables.percent(graph.repair):>8}"
                f"{shares[0]:>10}{shares[1]:>10}{tables.percent(tool.wrong):>8}"
                f"{tables.percent(tool.missed):>8}{tables.percent(tool.handed_over):>8}"
                f"{tool.condemned:>9}{had.brier:8.3f}"
            )
    yield "rank: causes as often as drawn; Brier: causes as often as their priors say."


def report(calls: list[Call], hidden: Counter[str], limits: dict[str, Limit]) -> list[str]:
    """Return the tables about calls, all ways side by side."""
    columns = columns_from(calls, limits)
    first = "Right cause first, side by side, in percent (drawn: causes as often as drawn here):"
    sections = [
        tables.overall(calls, columns),
        details.short_of_limit(calls, columns),
        tables.by_prior(calls, columns),
        tables.by_missing(calls, columns),
        tables.by_cause(calls, columns, hidden),
        tables.side_by_side(calls, columns, "first", first),
        tables.side_by_side(calls, columns, "in_two", "Right cause in the first two:"),
        tables.calibrated(calls, columns),
        tables.outcome_classes(calls, columns),
        tables.ends(calls),
        details.endings(calls, columns),
    ]
    lines: list[str] = []
    for section in sections:
        lines += [*wrapped(section), ""]
    for name in ("limit all", "drawn all"):
        column = next((column for column in columns if column.short == name), None)
        if column is not None:
            lines += [f"what {name} takes for what:", *details.confusions(calls, column), ""]
    return [*lines, "wrong conclusions:", *wrapped(details.wrongs(calls)), ""]


def wrapped(lines: Iterable[str]) -> Iterator[str]:
    """Yield lines, those too long for the tables' width in several."""
    for line in lines:
        yield from [line] if len(line) <= tables.WIDTH else textwrap.wrap(
            line, tables.WIDTH, subsequent_indent=8 * " "
        )  # fmt: skip


def main() -> int:
    """Measure and print; return the exit code."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("--calls", type=int, default=CALLS)
    parser.add_argument("--seed", type=int, default=2026)
    parser.add_argument("--signs", action="store_true", help="print P(outcome | cause) as well")
    parser.add_argument("--keep-hidden", action="store_true", help="keep faults that do not show")
    parser.add_argument("--unlicensed", type=float, default=0.0, help="share of callers, 0 to 1")
    parser.add_argument("--content", type=Path, default=CONTENT_FOLDER, help="folder of trees")
    parser.add_argument(
        "--limit-callers", type=int, default=LIMIT_CALLERS, metavar="N",
        help="callers the limit is learned from; 0 for no limit",
    )  # fmt: skip
    parser.add_argument(
        "--mismatch", type=int, nargs="?", const=MISMATCHED_CALLS, default=0, metavar="N",
        help="N calls in each world that is not the model's",
    )  # fmt: skip
    parser.add_argument(
        "--order", type=int, nargs="?", const=ORDERED_CALLS, default=0, metavar="N",
        help="N calls against the best order of questions",
    )  # fmt: skip
    wanted = parser.parse_args()
    use(wanted.content)
    calls, hidden, seconds = run(
        plan(wanted.calls, wanted.seed, wanted.unlicensed), wanted.keep_hidden
    )
    limits: dict[str, Limit] = {}
    if wanted.limit_callers:
        from tests.benchmarks.limit_draws import draws_kept

        draws = draws_kept(wanted.limit_callers, wanted.seed + 1, keep_hidden=wanted.keep_hidden)
        limits = limits_learned(calls, draws, wanted.seed)
    print("\n".join(report(calls, hidden, limits)))
    for readings, limit in limits.items():
        tried = ", ".join(f"{name} {loss:.3f}" for name, loss in limit.tried.items())
        print(f"limit, readings {readings}: log-loss {tried}; taken: {limit.name}")
    if wanted.signs:
        print("\n".join(["", *details.signs(calls)]))
    if wanted.mismatch:
        print("\n".join(["", *mismatches(wanted.mismatch, wanted.seed)]))
    if wanted.order:
        from tests.benchmarks.question_order import asked_both_ways, order_table

        print("\n".join(["", *order_table(asked_both_ways(wanted.order, wanted.seed))]))
    falsely = condemned_falsely(calls)
    print(f"\nharvest part condemned on an unhealthy freeze: {falsely} calls (must be 0)")
    print(speed(len(calls), seconds))
    return 1 if falsely else 0


if __name__ == "__main__":
    sys.exit(main())
