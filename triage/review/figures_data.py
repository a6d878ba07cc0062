"""The figures as one plain object, for `--json`."""

from __future__ import annotations

import math
from collections.abc import Mapping
from datetime import datetime
from typing import Any

from triage.review.figures import KINDS, Report, period_name
from triage.review.measures import Share, Times
from triage.store.tallies import BIN_S, REPEAT_DAYS


def figures_data(report: Report) -> dict[str, Any]:
    """Return everything as JSON-ready data; the keys are always the same, times in seconds."""
    figures = report.figures
    ends = report.without_repair
    escalated, withheld = sum(ends.escalated.values()), sum(ends.withheld.values())
    return {
        "since": _time(figures.since),
        "until": _time(figures.until),
        "first_call_at": _time(figures.first),
        "last_call_at": _time(figures.last),
        "calls": report.calls,
        "calls_without_a_date": figures.undated,
        "volumes": {
            "by_end": {kind: report.kinds.get(kind, 0) for kind in _kinds(report)},
            "period": figures.period.value,
            "by_period": [
                {
                    "begins": begins.isoformat(),
                    "period": period_name(begins, figures.period),
                    "calls": sum(counts.values()),
                    "by_end": {kind: counts.get(kind, 0) for kind in _kinds(report)},
                }
                for begins, counts in report.by_period.items()
            ],
            "recommended_by_cause": dict(report.causes),
        },
        "time_to_conclusion": {
            "bin_width_s": BIN_S,
            **report.times.to_data(),
            "by_result": {result: times.to_data() for result, times in report.times_of.items()},
            "histogram": _histogram(report.times),
        },
        "stops": [
            {
                "node": stop.node,
                "stage": stop.stage,
                "calls": stop.all,
                "by_state": dict(stop.calls),
            }
            for stop in report.stops
        ],
        "escalated_by_ending": [
            {
                "ending": ending,
                "because": ends.reasons.get(ending, ""),
                **Share(calls, escalated).to_data(),
            }
            for ending, calls in ends.escalated.items()
        ],
        "withheld_by_ending": [
            {"ending": ending, "cause": cause, **Share(calls, withheld).to_data()}
            for (ending, cause), calls in ends.withheld.items()
        ],
        "cautions": {
            "counted_by": "whole months, by when they were put",
            "by_caution": [
                {
                    "caution": item.node.removeprefix("caution:"),
                    "refused": item.refused.to_data(with_interval=True),
                    "by_desk": [
                        {"desk": desk, **share.to_data()} for desk, share in item.desks.items()
                    ],
                }
                for item in report.cautions
            ],
            "by_desk": [
                {"desk": desk, **share.to_data(with_interval=True)}
                for desk, share in report.refused_at.items()
            ],
        },
        "outcomes": {
            "reported_by_result": _shares(report.reported),
            "found": list(report.found),
            "table": [
                {
                    "result": row.result,
                    "cause": row.cause,
                    "found": dict(row.found),
                    "agreement": row.agreement.to_data(with_interval=True),
                    "several_faults_not_judged": row.unclear,
                    "two_good_cycles": row.good_cycles.to_data(with_interval=True),
                }
                for row in report.rows
            ],
            "agreement_by_result": {
                result: share.to_data(with_interval=True)
                for result, share in report.agreement.items()
            },
            "two_good_cycles": report.good_cycles.to_data(with_interval=True),
            "cycles_not_watched": report.cycles_not_watched,
        },
        "path_and_ranking": dict(report.path_and_ranking),
        "repeats": {
            "within_days": REPEAT_DAYS,
            "purged_calls_left_out": figures.purged,
            "followed": report.repeats.to_data(with_interval=True),
            "by_conclusion": [
                {"result": result, "cause": cause, **share.to_data(with_interval=True)}
                for (result, cause), share in report.repeats_of.items()
            ],
            "machines": [
                {
                    "serial_number": item.serial_number,
                    "machine": item.machine,
                    "repeats": item.repeats,
                    "calls": item.calls,
                }
                for item in report.machines
            ],
        },
        "desks": [
            {
                "desk": desk.name,
                "calls": desk.calls,
                "ended": desk.ended,
                "by_result": {
                    kind: Share(desk.results.get(kind, 0), desk.ended).to_data()
                    for kind in KINDS[:3]
                },
                "time_to_conclusion": desk.times.to_data(),
                "agreement": desk.agreement.to_data(with_interval=True),
            }
            for desk in report.desks
        ],
        "questions": {
            "counted_by": "whole months, by when they were asked",
            "months": report.months,
            "months_not_wholly_in_the_span": list(report.cut_months),
            "by_node": [
                {
                    "node": item.counts.node,
                    "stage": item.stage,
                    "asked": item.counts.asked,
                    "unknown": item.counts.unknown,
                    "unknown_per_asked": item.per_asked(item.counts.unknown),
                    "refused": item.counts.refused,
                    "refused_per_asked": item.per_asked(item.counts.refused),
                    "misunderstood": item.counts.misunderstood,
                    "misunderstood_per_asked": item.per_asked(item.counts.misunderstood),
                    "looked": item.counts.looked,
                    "looked_per_asked": item.per_asked(item.counts.looked),
                    "held_s": item.counts.seconds,
                    "mean_held_s": item.mean_s,
                }
                for item in report.questions
            ],
        },
    }


def _kinds(report: Report) -> list[str]:
    return [*KINDS, *sorted(set(report.kinds) - set(KINDS))]


def _time(at: datetime | None) -> str | None:
    return at.isoformat() if at else None


def _shares(shares: Mapping[str, Share]) -> dict[str, Any]:
    return {name: share.to_data() for name, share in shares.items()}


def _histogram(times: Times) -> list[dict[str, float | None]]:
    return [
        {"from_s": begin_s, "below_s": None if math.isinf(end_s) else end_s, "calls": calls}
        for begin_s, end_s, calls in times.wide_bins()
    ]
