"""The figures as images: one PNG and one SVG each, readable without color.

Matplotlib takes half a second to import, so this module is reached only from inside functions.
"""

from __future__ import annotations

import math
import warnings
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any

import matplotlib
from matplotlib.axes import Axes
from matplotlib.axis import Axis
from matplotlib.figure import Figure
from matplotlib.ticker import MaxNLocator

from triage.dialogue.words import counted, plain_text
from triage.review.figures import (
    CAUTION,
    Report,
    Stop,
    period_name,
)
from triage.review.figures_ends import ESCALATED, RECOMMENDED, WITHHELD
from triage.review.figures_words import percent
from triage.review.measures import Share
from triage.store.tallies import REPEAT_DAYS

_FORMATS = ("png", "svg")
_DOTS_PER_INCH = 150

# The palette of M. Okabe and K. Ito, "Color universal design" (2002): told apart by people with
# any of the common color deficiencies. Hatching tells the kinds apart in black and white as well.
_BLUE, _ORANGE, _GREEN, _GRAY = "#0072B2", "#E69F00", "#009E73", "#999999"
_KINDS: tuple[tuple[str, str, str], ...] = (
    (RECOMMENDED, _BLUE, ""),
    (WITHHELD, _ORANGE, "//"),
    (ESCALATED, _GREEN, ".."),
    ("not ended", _GRAY, "xx"),
)
_MOST_ROWS = 25
_EXPLAINED = "Bars: 95% interval (Wilson)"


def write_plots(report: Report, folder: Path) -> list[Path]:
    """Draw every figure that has something to show, and return the files, in order.

    The folder is made if it is not there; files of the same name in it are replaced. Raises OSError
    if they cannot be written.
    """
    folder.mkdir(parents=True, exist_ok=True)
    written = []
    settings: dict[str, object] = {
        "svg.fonttype": "none", "svg.hashsalt": "triage", "hatch.linewidth": 0.6,
        "axes.spines.top": False, "axes.spines.right": False, "font.family": "sans-serif",
        "text.parse_math": False,
    }  # fmt: skip
    # The settings of whoever runs this must not show in the images.
    with matplotlib.rc_context(), matplotlib.rc_context(_with_defaults(settings)):
        for name, draw in _PLOTS.items():
            figure = draw(report)
            if figure is None:
                continue
            for form in _FORMATS:
                path = folder / f"{name}.{form}"
                unfinished = folder / f".{name}.unfinished.{form}"
                with warnings.catch_warnings():
                    # A name in letters that the font lacks shows as boxes; the SVG has it as text.
                    warnings.filterwarnings("ignore", message="Glyph .* missing")
                    figure.savefig(
                        unfinished, format=form, dpi=_DOTS_PER_INCH, metadata=_metadata(form)
                    )
                unfinished.replace(path)
                written.append(path)
    return written


def _with_defaults(settings: dict[str, object]) -> dict[Any, Any]:
    known = matplotlib.rcParamsDefault.items()
    return {**{key: value for key, value in known if key != "backend"}, **settings}


def _metadata(form: str) -> dict[str, Any]:
    """Leave out moment and maker: the same figures give the same file."""
    return {"Date": None, "Creator": None} if form == "svg" else {"Software": None}


def _plot(
    report: Report, title: str, height: float, width: float = 8.0, counted_over: str = ""
) -> tuple[Figure, Axes]:
    figure = Figure(figsize=(width, height), layout="constrained")
    axes = figure.add_subplot()
    span = f"{report.figures.first:%Y-%m-%d} to {report.figures.last:%Y-%m-%d}"
    of = counted_over or f"{counted(report.calls, 'call')}, {span}"
    axes.set_title(f"{title}\n{of} (UTC)", fontsize=11, loc="left")
    axes.set_axisbelow(True)
    return figure, axes


def _whole_numbers(axis: Axis) -> None:
    """Keep half a call off an axis of counts."""
    axis.set_major_locator(MaxNLocator(integer=True))


def _rows_of(axes: Axes, names: Sequence[str]) -> None:
    """Name rows from the top down."""
    axes.set_yticks(range(len(names)), [plain_text(name, 60) for name in names])
    axes.set_ylim(len(names) - 0.4, -0.6)


def _height(rows: int) -> float:
    return 1.6 + 0.3 * max(rows, 2)


def _volumes(report: Report) -> Figure | None:
    figures = report.figures
    names = [period_name(begins, figures.period) for begins in report.by_period]
    figure, axes = _plot(report, "Calls and how they ended", 4.5)
    below = [0] * len(names)
    for kind, color, hatch in _KINDS:
        calls = [
            sum(count for name, count in counts.items() if _kind_of(name) == kind)
            for counts in report.by_period.values()
        ]
        if any(calls):
            axes.bar(
                range(len(names)), calls, bottom=below, color=color, hatch=hatch, label=kind,
                edgecolor="white", linewidth=0.5,
            )  # fmt: skip
            below = [low + count for low, count in zip(below, calls, strict=True)]
    step = math.ceil(len(names) / 20)
    shown = range(0, len(names), step)
    axes.set_xticks(shown, [names[place] for place in shown], rotation=60, ha="right")
    axes.set_xlabel({"week": "Week of (Monday)"}.get(figures.period, str(figures.period).title()))
    axes.set_ylabel("Calls started [count]")
    _whole_numbers(axes.yaxis)
    axes.grid(axis="y", linewidth=0.4)
    axes.legend(loc="upper left", bbox_to_anchor=(1.0, 1.0), frameon=False)
    return figure


def _kind_of(name: str) -> str:
    return name if name in {kind for kind, _, _ in _KINDS} else "not ended"


def _times(report: Report) -> Figure | None:
    bins = report.times.wide_bins()
    if not bins:
        return None
    figure, axes = _plot(report, "Time to conclusion", 4.5)
    width = (bins[0][1] - bins[0][0]) / 60.0
    # The last bin may have no end; it is drawn as wide as the others and named.
    for begin_s, end_s, calls in bins:
        axes.bar(
            begin_s / 60.0, calls, width=width, align="edge", color=_BLUE, edgecolor="white",
            hatch="//" if math.isinf(end_s) else "",
        )  # fmt: skip
    most = max(calls for _, _, calls in bins)
    axes.set_ylim(0, 1.3 * most)
    axes.set_xlim(left=0)
    marks = (("half", 0.5, "-"), ("nine in ten", 0.9, "--"))
    for name, fraction, style in marks:
        minutes = (report.times.quantile_s(fraction) or 0.0) / 60.0
        axes.axvline(
            minutes, color="black", linestyle=style, label=f"{name} within {minutes:.1f} min"
        )
    axes.set_xlabel("Time at the call, parked and stopped time left out [min]")
    if math.isinf(bins[-1][1]):
        axes.set_xlabel(f"{axes.get_xlabel()}; last bar: {bins[-1][0] / 60.0:g} and more")
    axes.set_ylabel(f"Calls that ended in each {width:g} min [count]")
    _whole_numbers(axes.yaxis)
    axes.grid(axis="y", linewidth=0.4)
    axes.legend(frameon=False)
    return figure


def _stops(report: Report) -> Figure | None:
    stops = report.stops[:_MOST_ROWS]
    if not stops:
        return None
    figure, axes = _plot(report, "Where calls stand that have not ended", _height(len(stops)))
    bars = axes.barh(range(len(stops)), [stop.all for stop in stops], color=_BLUE)
    axes.bar_label(bars, [f"{stop.all:,}" for stop in stops], padding=3)
    _rows_of(axes, [_place(stop) for stop in stops])
    axes.set_xlabel("Calls [count]")
    _whole_numbers(axes.xaxis)
    axes.set_ylabel("Asked last")
    axes.margins(x=0.1)
    return figure


def _place(stop: Stop) -> str:
    if not stop.node or stop.stage == CAUTION:
        return stop.node or stop.stage
    return f"{stop.stage}: {stop.node}"


def _outcomes(report: Report) -> Figure | None:
    rows = [row for row in report.rows if row.result][: 2 * _MOST_ROWS]
    if not rows:
        return None
    # Causes of the rows first, in their order, so that what agrees lies on a slope.
    ours = dict.fromkeys(row.cause for row in rows if row.cause)
    found = [name for name in ours if name in report.found]
    found += [name for name in report.found if name not in ours]
    figure, axes = _plot(
        report, "Conclusion against what repairs found", max(6.0, 3.0 + 0.27 * len(rows)),
        max(9.0, 4.5 + 0.42 * len(found)),
    )  # fmt: skip  # however few there are, their long names want room
    shares = [[row.found.get(name, 0) / sum(row.found.values()) for name in found] for row in rows]
    image = axes.imshow(shares, cmap="Blues", vmin=0.0, vmax=1.0, aspect="auto")
    for place, row in enumerate(rows):
        for column, name in enumerate(found):
            if count := row.found.get(name, 0):
                is_dark = shares[place][column] > 0.5
                axes.text(
                    column, place, f"{count:,}", ha="center", va="center", fontsize=7,
                    color="white" if is_dark else "black",
                )  # fmt: skip
    names = [f"{row.result}: {row.cause or 'no cause named'}" for row in rows]
    _rows_of(
        axes,
        [f"{name} ({sum(row.found.values()):,})" for name, row in zip(names, rows, strict=True)],
    )
    axes.set_ylim(len(rows) - 0.5, -0.5)
    axes.set_xticks(
        range(len(found)), [plain_text(name, 60) for name in found], rotation=60, ha="right"
    )
    axes.set_xlabel("Found by the repair; numbers in the fields: calls [count]")
    axes.set_ylabel("How the call ended: cause (calls reported)")
    figure.colorbar(image, ax=axes, label="Share of the row", shrink=0.6)
    return figure


def _shares(report: Report, title: str, shares: Sequence[tuple[str, Share]], label: str) -> Figure:
    """Draw shares as points with their intervals and counts."""
    figure, axes = _plot(report, title, _height(len(shares)))
    for place, (_, share) in enumerate(shares):
        low, high = share.interval() or (0.0, 0.0)
        middle = share.fraction or 0.0
        axes.plot([100.0 * low, 100.0 * high], [place, place], color=_BLUE, linewidth=2)
        axes.plot(100.0 * middle, place, "o", color=_BLUE)
        axes.annotate(
            f"{share.count:,} of {share.of:,}, {percent(middle)}", (1.02, place),
            xycoords=("axes fraction", "data"), va="center", fontsize=8,
        )  # fmt: skip
    _rows_of(axes, [name for name, _ in shares])
    axes.set_xlim(-2, 102)
    axes.set_xlabel(f"{label} [%]. {_EXPLAINED}")
    axes.grid(axis="x", linewidth=0.4)
    return figure


def _agreement(report: Report) -> Figure | None:
    shares = [
        (f"{row.result}: {row.cause}", row.agreement)
        for row in report.rows
        if row.result and row.cause and row.agreement.of
    ][: 2 * _MOST_ROWS]
    title = "How often repairs found the cause that was named"
    return _shares(report, title, shares, "Found as named") if shares else None


def _repeats(report: Report) -> Figure | None:
    shares = [
        (f"{result}: {cause}" if cause else result, share)
        for (result, cause), share in report.repeats_of.items()
    ][:_MOST_ROWS]
    title = f"Calls followed on the same machine within {REPEAT_DAYS} days"
    return _shares(report, title, shares, "Followed") if shares else None


def _desks(report: Report) -> Figure | None:
    desks = [desk for desk in report.desks if desk.times.calls][:_MOST_ROWS]
    if not desks:
        return None
    figure, axes = _plot(report, "Time to conclusion by desk", _height(len(desks)))
    for place, desk in enumerate(desks):
        low, half, high, most = (
            (desk.times.quantile_s(fraction) or 0.0) / 60.0 for fraction in (0.25, 0.5, 0.75, 0.9)
        )
        axes.plot([high, most], [place, place], color=_BLUE, linewidth=1)
        axes.plot([low, high], [place, place], color=_BLUE, linewidth=6, solid_capstyle="butt")
        axes.plot(half, place, "|", color="black", markersize=12, markeredgewidth=2)
    _rows_of(axes, [f"{desk.name} ({desk.times.calls:,})" for desk in desks])
    axes.set_xlim(left=0)
    axes.set_xlabel("Time at the call [min]: thick for the middle half of the calls,\n"
                    "mark at its middle, thin up to nine in ten")  # fmt: skip
    axes.set_ylabel("Desk (calls that ended)")
    axes.grid(axis="x", linewidth=0.4)
    return figure


def _questions(report: Report) -> Figure | None:
    questions = [item for item in report.questions if item.counts.seconds > 0.0][:_MOST_ROWS]
    if not questions:
        return None
    months = f"all that was asked in {report.months}" if report.months else ""
    figure, axes = _plot(
        report, "What holds calls longest", _height(len(questions)), counted_over=months
    )
    hours = [item.counts.seconds / 3600.0 for item in questions]
    bars = axes.barh(range(len(questions)), hours, color=_BLUE)
    labels = [
        f"{item.mean_s:.0f} s each, asked {item.counts.asked:,}" if item.mean_s is not None else ""
        for item in questions
    ]
    axes.bar_label(bars, labels, padding=3, fontsize=8)
    _rows_of(axes, [item.counts.node for item in questions])
    axes.set_xlabel("Time it held calls in all [h]")
    axes.margins(x=0.3)
    return figure


_PLOTS: dict[str, Callable[[Report], Figure | None]] = {
    "volumes": _volumes,
    "time_to_conclusion": _times,
    "stops": _stops,
    "outcomes": _outcomes,
    "agreement": _agreement,
    "repeats": _repeats,
    "desks": _desks,
    "questions": _questions,
}
