"""`triage log figures`: what the record says in numbers, on the screen, as data, as images."""

from __future__ import annotations

import argparse
import json
import sys
from pathlib import Path

from rich.text import Text

from triage.console.asked import UsageError
from triage.console.call import content_of
from triage.console.look import ChatConsole, Prose
from triage.console.screen import screen_of
from triage.dialogue.words import plain_text
from triage.exits import DONE
from triage.review.figures import Report, report_of
from triage.review.figures_data import figures_data
from triage.review.figures_screen import report_card
from triage.review.filters import day_of
from triage.store import open_store
from triage.store.errors import StoreMissing
from triage.store.tallies import Figures


def show_figures(options: argparse.Namespace) -> int:
    """Show the figures, or print them as one JSON object; with --images also draw them.

    Returns 0, also for a record without calls. Raises UsageError, StoreError, TreeError, and
    OSError for a folder that cannot be written.
    """
    since, until = day_of(options.since, "--since"), day_of(options.until, "--until")
    if since and until and until <= since:
        raise UsageError("--until is the first day left out, so it has to be after --since")
    figures = Figures(since, until)
    try:
        with open_store(options.store, must_exist=True) as store:
            figures = store.figures(since, until)
    except StoreMissing:
        if options.store is not None:  # a slip of the hand, more likely than an empty record
            raise
    report = report_of(figures, content_of(options))
    drawn = _drawn(report, options.images) if options.images and report.calls else []
    if options.json:
        told = figures_data(report) | {"images": [str(path) for path in drawn]}
        sys.stdout.write(json.dumps(told, indent=2, ensure_ascii=False) + "\n")
        return DONE
    _show(screen_of(options), report, drawn)
    return DONE


def _drawn(report: Report, folder: Path) -> list[Path]:
    from triage.review.plots import write_plots

    return write_plots(report, folder)


def _show(console: ChatConsole, report: Report, drawn: list[Path]) -> None:
    if not report.calls:
        console.print(Prose(Text(_nothing(report.figures))))
        return
    console.print(report_card(report, console))
    if drawn:
        words = f"{len(drawn)} images in {drawn[0].parent}: "
        names = ", ".join(sorted({path.stem for path in drawn}))
        console.print(Prose(Text(plain_text(f"{words}{names}, each as PNG and SVG.", 2000))))


def _nothing(figures: Figures) -> str:
    if figures.undated:
        return (
            f"No call has a date to count it by; {figures.undated:,} without one are stored "
            "(a clock that was not set, or a damaged beginning; triage log verify tells)."
        )
    if figures.since is None and figures.until is None:
        return "No call is stored yet; triage call takes one."
    since = f" from {figures.since:%Y-%m-%d %H:%M}" if figures.since else ""
    until = f" before {figures.until:%Y-%m-%d %H:%M}" if figures.until else ""
    return f"No stored call started{since}{until} (UTC)."
