"""What simulated calls come to: tables by cause, outcome classes, and where calls went wrong."""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Iterable, Iterator, Mapping

from tests.benchmarks.simulated_calls import MOST_DRAWS, Call, engine_in_use, outcome_of
from triage.dialogue.rank import outcome_probability


def percent(part: int, whole: int) -> str:
    """Return a share in percent, a dash for a share of nothing."""
    return f"{100.0 * part / whole:6.1f}" if whole else "     -"


def count(calls: Iterable[Call], claim: str) -> int:
    """Return how many calls had this outcome."""
    return sum(call.outcome == claim for call in calls)


def table(calls: list[Call], hidden: Counter[str]) -> Iterator[str]:
    """Yield the table by cause."""
    by_cause: dict[str, list[Call]] = defaultdict(list)
    for call in calls:
        by_cause[call.cause].append(call)
    yield (
        f"{'cause':28}{'calls':>6}{'hidden':>7} | graph: {'right':>6}{'no resp':>8}{'listed':>7}"
        f"{'wrong':>7}{'missed':>7} | ranked: {'1st':>6}{'in 2':>6} | all read: {'1st':>6}"
        f"{'in 2':>6} | {'asked':>5}"
    )
    for cause in engine_in_use().content.causes:
        yield line(cause, by_cause[cause], hidden[cause])
    yield line("all causes alike", calls, sum(hidden.values()))


def line(name: str, calls: list[Call], hidden: int) -> str:
    """Return one line of the table."""
    size = len(calls)
    silent = [call for call in calls if call.outcome == "no response"]
    wrong = count(calls, "misdiagnosis") + count(calls, "false alarm")
    draws = hidden * MOST_DRAWS + sum(call.hidden_draws for call in calls)
    asked = sum(call.questions for call in calls) / size if size else 0.0
    return (
        f"{name:28}{size:6}{percent(draws, draws + size):>7} |        "
        f"{percent(count(calls, 'correct'), size)}{percent(len(silent), size):>8}"
        f"{percent(sum(call.cause in call.shortlist for call in silent), len(silent)):>7}"
        f"{percent(wrong, size):>7}{percent(count(calls, 'missed detection'), size):>7} |         "
        f"{percent(sum(call.cause == call.ranked[0] for call in calls), size)}"
        f"{percent(sum(call.cause in call.ranked for call in calls), size)} |           "
        f"{percent(sum(call.cause == call.ranked_of_all[0] for call in calls), size)}"
        f"{percent(sum(call.cause in call.ranked_of_all for call in calls), size)} | {asked:5.1f}"
    )


def weighted(calls: list[Call], claim: Mapping[int, bool]) -> float:
    """Return the share of a claim with causes as frequent as the content's priors say."""
    sizes = Counter(call.cause for call in calls)
    causes = engine_in_use().content.causes
    total = sum(causes[cause].prior for cause in sizes)
    return sum(
        causes[call.cause].prior / total / sizes[call.cause] for call in calls if claim[id(call)]
    )


def summary(calls: list[Call], seconds: float) -> Iterator[str]:
    """Yield outcome classes, graph beside the naive rule, and the rest."""
    classes = ("correct", "no response", "misdiagnosis", "missed detection", "false alarm")
    yield f"{'outcome':20}{'graph':>8}{'by prior':>10}{'naive':>8}{'by prior':>10}"
    for name in classes:
        graph = {id(call): call.outcome == name for call in calls}
        naive = {
            id(call): outcome_of(call.cause, (call.naive,), bool(call.naive)) == name
            for call in calls
        }
        yield (
            f"{name:20}{percent(sum(graph.values()), len(calls)):>8}"
            f"{100.0 * weighted(calls, graph):10.1f}{percent(sum(naive.values()), len(calls)):>8}"
            f"{100.0 * weighted(calls, naive):10.1f}"
        )
    first = {id(call): call.ranked[0] == call.cause for call in calls}
    yield f"right cause ranked first, by prior: {100.0 * weighted(calls, first):.1f} %"
    repaired = sum(call.end == "recommended" and call.cause in call.concluded for call in calls)
    yield f"right repair recommended: {percent(repaired, len(calls))} %"
    for kind in ("recommended", "escalated", "withheld"):
        yield f"ended {kind}: {percent(sum(call.end == kind for call in calls), len(calls))} %"
    against = sum(call.is_contradicted for call in calls)
    yield f"escalated because the ranking contradicts the path: {percent(against, len(calls))} %"
    yield (
        "harvest part condemned on an unhealthy freeze: "
        f"{sum(call.is_false_condemnation for call in calls)} calls (must be 0), naive rule "
        f"{sum(call.is_naive_condemnation for call in calls)}"
    )
    yield f"{'missing':8}{'calls':>6}{'right':>7}{'no resp':>8}{'wrong':>7}{'missed':>7}{'1st':>7}"
    for missing in range(4):
        some = [call for call in calls if call.missing == missing]
        wrong = count(some, "misdiagnosis") + count(some, "false alarm")
        yield (
            f"{missing:<8}{len(some):6}{percent(count(some, 'correct'), len(some)):>7}"
            f"{percent(count(some, 'no response'), len(some)):>8}{percent(wrong, len(some)):>7}"
            f"{percent(count(some, 'missed detection'), len(some)):>7}"
            f"{percent(sum(call.ranked[0] == call.cause for call in some), len(some)):>7}"
        )
    yield f"{len(calls)} calls in {seconds:.1f} s, {len(calls) / seconds:.0f} calls per second"


def endings(calls: list[Call]) -> Iterator[str]:
    """Yield where calls of each cause end when not right."""
    for cause in engine_in_use().content.causes:
        ends = Counter(
            call.ending + ("*" if call.is_contradicted else "")
            for call in calls
            if call.cause == cause and call.outcome != "correct"
        )
        mine = [call for call in calls if call.cause == cause]
        firsts = Counter(call.ranked[0] for call in mine if call.ranked[0] != cause)
        of_all = Counter(call.ranked_of_all[0] for call in mine if call.ranked_of_all[0] != cause)
        if ends or firsts or of_all:
            yield cause
            yield f"    ends: {_most(ends)}"
            yield f"    ranked first: {_most(firsts)}"
            yield f"    ranked first on all readings: {_most(of_all)}"


def wrongs(calls: list[Call]) -> Iterator[str]:
    """Yield every call that ended in a wrong conclusion, false condemnations first."""
    found = [call for call in calls if call.concluded and call.outcome != "correct"]
    for call in sorted(found, key=lambda call: not call.is_false_condemnation):
        odd = {
            key: outcome
            for key, outcome in call.outcomes.items()
            if outcome in ("below", "above", *_ODD_LOOKS) and key not in call.not_had
        }
        yield (
            f"{'FALSE CONDEMNATION ' * call.is_false_condemnation}{call.cause} "
            f"{call.severity:.2f} on {call.machine} -> {call.ending}; not had: "
            f"{', '.join(call.not_had) or '-'}; odd: "
            f"{', '.join(f'{key} {outcome}' for key, outcome in odd.items()) or '-'}"
        )


_ODD_LOOKS = (
    "thin_at_outlet", "thin_all_over", "thick_or_bottom_heavy", "patchy", "weak", "stopped",
    "slow_or_cycling", "hot_coil_off", "scaled", "damaged",
)  # fmt: skip


def _most(counter: Counter[str]) -> str:
    return ", ".join(f"{name} {times}" for name, times in counter.most_common(6)) or "-"


def signs(calls: list[Call]) -> Iterator[str]:
    """Yield the measured chance of each outcome under each cause beside the judged one."""
    content = engine_in_use().content
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
            shown, worst = [], 0.0
            for outcome in reading.outcomes[:-1]:
                measured = seen[outcome] / total
                judged = outcome_probability(cause, reading, outcome)
                worst = max(worst, abs(measured - judged))
                shown.append(f"{outcome} {measured:.2f} ({judged:.2f})")
            mark = "*" if worst > 0.25 else " "
            named = "named" if reading.id in cause.signs else "     "
            yield f"  {mark} {named} {reading.id:32} {'  '.join(shown)}"
