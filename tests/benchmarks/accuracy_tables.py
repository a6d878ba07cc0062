"""What simulated calls come to, as tables that fit 120 columns."""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Iterator, Sequence

import numpy

from tests.benchmarks.calibration import (
    brier_score,
    expected_calibration_error,
    reliability,
    reliability_lines,
)
from tests.benchmarks.scoring import (
    Column,
    Score,
    is_missed,
    is_wrong,
    score,
    truths,
    weights_by_prior,
)
from tests.benchmarks.simulated_calls import MOST_DRAWS, TOOL, Call, content_in_use
from triage.tree.content import HEALTHY

WIDTH = 120

MEASURES = (
    ("1st", "first"), ("in 2", "in_two"), ("right", "repair"), ("wrong", "wrong"),
    ("missed", "missed"), ("handed", "handed_over"),
)  # fmt: skip


def percent(share: float | None) -> str:
    """Return a share in percent, a dash for a share of nothing."""
    return "-" if share is None else f"{100.0 * share:.1f}"


def overall(calls: Sequence[Call], columns: Sequence[Column]) -> Iterator[str]:
    """Yield one line for each way, all causes alike."""
    yield "All ways on the same calls, every cause as often as the others, in percent:"
    yield from _ways(calls, columns, None)


def by_prior(calls: Sequence[Call], columns: Sequence[Column]) -> Iterator[str]:
    """Yield the same with causes as often as the content says."""
    yield "The same with causes as often as their priors say:"
    weights = weights_by_prior(calls)
    chosen = [
        column
        for column in columns
        if not column.short.startswith(("drawn", "learner", "limit"))
    ]  # fmt: skip
    yield from _ways(calls, chosen, weights)


def _ways(
    calls: Sequence[Call], columns: Sequence[Column], weights: numpy.ndarray | None
) -> Iterator[str]:
    yield (
        f"{'':32}{''.join(f'{head:>8}' for head, _ in MEASURES)}{'falsely':>9}{'asked':>7}"
        f"{'min':>6}{'Brier':>8}{'cal.err':>9}"
    )
    for column in columns:
        found = score(calls, column, weights=weights)
        if found is not None:
            yield f"{column.name:32}{_measures(column, found)}"
    yield (
        "right: concludes the cause, so its repair is recommended; wrong: another; missed: a fault "
        "called healthy;"
    )
    yield "handed: no conclusion; falsely: harvest parts condemned on an unhealthy freeze (calls)."


def _measures(column: Column, found: Score) -> str:
    shares = "".join(f"{percent(getattr(found, name)):>8}" for _, name in MEASURES)
    asked = f"{found.asked:7.1f}{found.minutes:6.1f}" if column.asks else f"{'-':>7}{'-':>6}"
    rest = (
        f"{'-':>8}{'-':>9}"
        if found.brier is None
        else f"{found.brier:8.3f}{100.0 * (found.calibration_error or 0.0):9.1f}"
    )
    return f"{shares}{found.condemned:9}{asked}{rest}"


def by_missing(calls: Sequence[Call], columns: Sequence[Column]) -> Iterator[str]:
    """Yield how ways do by how many readings could not be had."""
    groups = [
        [number for number, call in enumerate(calls) if call.missing == missing]
        for missing in range(4)
    ]
    yield "By how many readings could not be had (0, 1, 2, 3), in percent:"
    yield f"{'':30}{'1st':^28} | {'right':^28} | {'handed over':^28}"
    sizes = "".join(f"{len(group):7}" for group in groups)
    yield f"{'calls':30}{sizes} | {sizes} | {sizes}"
    for column in columns:
        scores = [score(calls, column, group) for group in groups]
        parts = [
            "".join(f"{percent(item and getattr(item, name)):>7}" for item in scores)
            for name in ("first", "repair", "handed_over")
        ]
        if not column.asks:
            parts[1:] = [f"{'-':>7}" * 4] * 2
        yield f"{column.name:30}{' | '.join(parts)}"
    tool = next(column for column in columns if column.name == TOOL)
    asked = [score(calls, tool, group) for group in groups]
    yield (
        f"{'questions the tool asked':30}"
        f"{''.join(f'{item.asked:7.1f}' if item else '      -' for item in asked)}"
    )


def by_cause(
    calls: Sequence[Call], columns: Sequence[Column], hidden: Counter[str]
) -> Iterator[str]:
    """Yield how the whole tool does for each cause; `hidden` are faults that never showed."""
    tool = next(column for column in columns if column.name == TOOL)
    numbers = _by_cause(calls)
    yield "The whole tool by cause, in percent (hidden: draws of the fault that showed nowhere):"
    yield (
        f"{'':28}{'calls':>6}{'hidden':>8}{''.join(f'{head:>8}' for head, _ in MEASURES)}"
        f"{'listed':>8}{'falsely':>9}{'asked':>7}{'min':>6}"
    )
    for cause in content_in_use().causes:
        yield _cause_line(cause, calls, tool, numbers[cause], hidden[cause])
    everything = list(range(len(calls)))
    yield _cause_line("all causes alike", calls, tool, everything, sum(hidden.values()))


def _cause_line(
    name: str, calls: Sequence[Call], tool: Column, numbers: list[int], hidden: int
) -> str:
    found = score(calls, tool, numbers)
    draws = hidden * MOST_DRAWS + sum(calls[number].hidden_draws for number in numbers)
    total = draws + len(numbers)
    if found is None:
        return f"{name:28}{0:6}{percent(draws / total if total else None):>8}"
    silent = [calls[number] for number in numbers if not tool.ways[number].concluded]
    listed = sum(call.cause in call.shortlist for call in silent)
    return (
        f"{name:28}{len(numbers):6}{percent(draws / total):>8}"
        f"{''.join(f'{percent(getattr(found, attribute)):>8}' for _, attribute in MEASURES)}"
        f"{percent(listed / len(silent) if silent else None):>8}{found.condemned:9}"
        f"{found.asked:7.1f}{found.minutes:6.1f}"
    )


def side_by_side(
    calls: Sequence[Call], columns: Sequence[Column], measure: str, title: str
) -> Iterator[str]:
    """Yield one measure of every way by cause."""
    shown = [column for column in columns if not column.short.startswith("learner")]
    numbers = _by_cause(calls)
    heads = [[*column.short.split(), ""] for column in shown]
    yield title
    for row in range(2):
        yield f"{'':28}{''.join(f'{head[row]:>9}' for head in heads)}"
    for cause in [*content_in_use().causes, ""]:
        mine = numbers[cause] if cause else list(range(len(calls)))
        scores = [score(calls, column, mine) for column in shown]
        cells = "".join(f"{percent(item and getattr(item, measure)):>9}" for item in scores)
        yield f"{cause or 'all causes alike':28}{cells}"


def _by_cause(calls: Sequence[Call]) -> dict[str, list[int]]:
    numbers: dict[str, list[int]] = defaultdict(list)
    for number, call in enumerate(calls):
        numbers[call.cause].append(number)
    return numbers


def outcome_classes(calls: Sequence[Call], columns: Sequence[Column]) -> Iterator[str]:
    """Yield outcomes as fault diagnosis is judged by (Yuill and Braun, Purdue 2012)."""
    weights = weights_by_prior(calls)
    asking = [column for column in columns if column.asks or column.short == "naive"]
    heads = "".join(f"{column.short:>9}{'by prior':>10}" for column in asking)
    yield f"{'outcome, in percent':20}{heads}"
    for name in ("correct", "no response", "misdiagnosis", "missed detection", "false alarm"):
        line = f"{name:20}"
        for column in asking:
            hits = numpy.array(
                [
                    outcome_of(call.cause, way.concluded) == name
                    for call, way in zip(calls, column.ways, strict=True)
                ]
            )
            line += f"{percent(hits.mean()):>9}{percent(float(weights[hits].sum())):>10}"
        yield line


def outcome_of(cause: str, concluded: tuple[str, ...]) -> str:
    """Return the outcome class of a diagnosis, given what was truly wrong."""
    if not concluded:
        return "no response"
    if cause in concluded:
        return "correct"
    return "false alarm" if cause == HEALTHY else "missed detection" if concluded == (
        HEALTHY,
    ) else "misdiagnosis"  # fmt: skip


def ends(calls: Sequence[Call]) -> Iterator[str]:
    """Yield how calls ended."""
    kinds = Counter(call.end for call in calls)
    shares = ", ".join(f"{kind} {percent(count / len(calls))} %" for kind, count in kinds.items())
    yield f"ended {shares}"
    against = sum(call.is_contradicted for call in calls)
    yield f"escalated because the ranking contradicts the path: {percent(against / len(calls))} %"


def calibrated(calls: Sequence[Call], columns: Sequence[Column]) -> Iterator[str]:
    """Yield reliability tables of the ranking, causes as often as the content says."""
    weights = weights_by_prior(calls)
    for column in columns:
        if not column.short.startswith("ranked") or column.probabilities is None:
            continue
        bins = reliability(column.probabilities, truths(calls), weights)
        error = percent(expected_calibration_error(bins))
        brier = brier_score(column.probabilities, truths(calls), weights)
        yield f"{column.name}: Brier {brier:.3f}, calibration error {error} %"
        yield from reliability_lines(bins)


def wrong_calls(calls: Sequence[Call], columns: Sequence[Column]) -> list[Call]:
    """Return the calls that the tool ended in a wrong conclusion or called healthy."""
    tool = next(column for column in columns if column.name == TOOL)
    return [
        call
        for call, way in zip(calls, tool.ways, strict=True)
        if is_wrong(call.cause, way) or is_missed(call.cause, way)
    ]
