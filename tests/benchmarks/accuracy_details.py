"""Where simulated calls went wrong, and how often each reading says what under each cause."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Sequence

import numpy

from tests.benchmarks.scoring import Column
from tests.benchmarks.simulated_calls import TOOL, Call, content_in_use, is_false_condemnation

_ODD_LOOKS = (
    "thin_at_outlet", "thin_all_over", "thick_or_bottom_heavy", "patchy", "weak", "stopped",
    "slow_or_cycling", "hot_coil_off", "scaled", "damaged",
)  # fmt: skip


def endings(calls: Sequence[Call], columns: Sequence[Column]) -> Iterator[str]:
    """Yield where calls of each cause end when not right, and what else is ranked first."""
    others = [column for column in columns if column.short.startswith(("drawn", "limit"))]
    for cause in content_in_use().causes:
        numbers = [number for number, call in enumerate(calls) if call.cause == cause]
        ends = Counter(
            calls[number].ending + "*" * calls[number].is_contradicted
            for number in numbers
            if cause not in calls[number].tool.concluded
        )
        firsts = {
            column.short: Counter(
                column.ways[number].named[0]
                for number in numbers
                if column.ways[number].named[0] != cause
            )
            for column in others
        }
        if ends or any(firsts.values()):
            yield cause
            yield f"    ends: {_most(ends)}"
            for short, counter in firsts.items():
                yield f"    first by {short}: {_most(counter)}"


def confusions(calls: Sequence[Call], column: Column, most: int = 12) -> Iterator[str]:
    """Yield the pairs that one way of looking takes for one another most often."""
    pairs = Counter(
        (call.cause, way.named[0])
        for call, way in zip(calls, column.ways, strict=True)
        if way.named and way.named[0] != call.cause
    )
    sizes = Counter(call.cause for call in calls)
    for (cause, taken_for), times in pairs.most_common(most):
        share = 100.0 * times / sizes[cause]
        yield f"    {cause} taken for {taken_for}: {share:.0f} % of its calls"


def wrongs(calls: Sequence[Call], most: int = 40) -> Iterator[str]:
    """Yield calls that ended in a wrong conclusion, false condemnations first."""

    def falsely(call: Call) -> bool:
        return is_false_condemnation(call.cause, call.tool.concluded)

    found = [
        call for call in calls if call.tool.concluded and call.cause not in call.tool.concluded
    ]
    for call in sorted(found, key=lambda call: not falsely(call))[:most]:
        odd = {
            key: outcome
            for key, outcome in call.outcomes.items()
            if outcome in ("below", "above", *_ODD_LOOKS) and key not in call.not_had
        }
        yield (
            f"{'FALSE CONDEMNATION ' * falsely(call)}{call.cause} {call.severity:.2f} on "
            f"{call.machine} -> {call.ending} ({', '.join(call.tool.concluded)}); not had: "
            f"{', '.join(call.not_had) or '-'}; odd: "
            f"{', '.join(f'{key} {outcome}' for key, outcome in odd.items()) or '-'}"
        )
    if len(found) > most:
        yield f"and {len(found) - most} more"


def signs(calls: Sequence[Call]) -> Iterator[str]:
    """Yield the measured chance of each outcome under each cause beside the judged one."""
    content = content_in_use()
    for cause in content.causes.values():
        mine = [call for call in calls if call.cause == cause.id]
        yield f"{cause.id} ({len(mine)} calls)"
        for reading in content.readings.values():
            seen = Counter(
                call.outcomes[reading.id] for call in mine if reading.id in call.outcomes
            )
            total = sum(seen.values())
            if not total or not (reading.is_banded or reading.choices):
                continue
            judged = cause.signs.get(reading.id, {})
            shares = {outcome: seen[outcome] / total for outcome in reading.outcomes[:-1]}
            words = "  ".join(
                f"{outcome} {share:.2f}"
                + (f" ({judged[outcome]:.2f})" if outcome in judged else "")
                for outcome, share in shares.items()
            )
            off = [abs(shares[outcome] - chance) for outcome, chance in judged.items()]
            mark = "*" if max(off, default=0.0) > 0.25 else " "
            yield f"  {mark} {reading.id:32} {words}"


def short_of_limit(calls: Sequence[Call], columns: Sequence[Column]) -> Iterator[str]:
    """Yield how far the tool's first cause lies behind the limit, on the readings it had."""
    limit = next((column for column in columns if column.short == "limit had"), None)
    tool = next(column for column in columns if column.name == TOOL)
    if limit is None:
        return
    shares = [
        numpy.mean(
            [way.named[:1] == (call.cause,) for call, way in zip(calls, column.ways, strict=True)]
        )
        for column in (tool, limit)
    ]
    yield (
        f"right cause first: the tool {100.0 * shares[0]:.1f} %, the limit on the same readings "
        f"{100.0 * shares[1]:.1f} %, {100.0 * (shares[1] - shares[0]):.1f} points short"
    )


def _most(counter: Counter[str]) -> str:
    return ", ".join(f"{name} {times}" for name, times in counter.most_common(5)) or "-"
