"""`triage tree priors`: how often each cause is expected, by the written priors and the record."""

from __future__ import annotations

import argparse
import json
import sys
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from rich.table import Table
from rich.text import Text

from triage.console.asked import UsageError
from triage.console.cards import Item
from triage.console.look import Prose, look_of
from triage.console.screen import screen_of
from triage.dialogue.words import plain_text
from triage.exits import DONE
from triage.store import open_store
from triage.store.errors import StoreMissing
from triage.tree.content import OUTCOMES, Content
from triage.tree.files import read_files
from triage.tree.load import content_from_files
from triage.tree.priors import corrected_priors, outcomes_text
from triage.tree.where import content_folder, installed_folder

_TABLE_WIDTH = 72
"""Columns from which the causes are a table."""


def show_priors(options: argparse.Namespace) -> int:
    """Show written priors, confirmed counts and corrected priors; with `--write` put them to use.

    Raises ContentErrors, UsageError, StoreError, and OSError for a folder that cannot be written.
    """
    folder = content_folder(options.trees)
    if options.write and (options.trees is None or folder.resolve() == installed_folder()):
        raise UsageError(
            f"--write puts {OUTCOMES} into a content folder of your own; name it with --trees DIR "
            "(the program's own folder is replaced by every update)"
        )
    files = read_files(folder)
    used = content_from_files(folder, files).outcomes
    written = content_from_files(
        folder, {name: data for name, data in files.items() if name != OUTCOMES}
    )
    reported = _reported(options)
    confirmed = {key: count for key, count in reported.items() if key in written.causes and count}
    others = {key: count for key, count in reported.items() if key not in written.causes}
    corrected = corrected_priors(written, confirmed)
    is_written = False
    if options.write and confirmed:
        _write(folder / OUTCOMES, outcomes_text(confirmed))
        is_written = True
    if options.json:
        told = _as_data(written, confirmed, corrected, others, used, is_written=is_written)
        sys.stdout.write(json.dumps(told, indent=2, ensure_ascii=False) + "\n")
        return DONE
    _show(options, written, confirmed, corrected)
    console = screen_of(options)
    for words in (
        f"The written priors weigh as much as {written.stakes.priors_are_worth_calls:g} calls; "
        f"{sum(confirmed.values())} confirmed repairs stand beside them.",
        _others_words(others),
        _use_words(options, folder, confirmed, used, is_written=is_written),
    ):
        if words:
            console.print(Prose(Text(words, style="triage.hint")))
    return DONE


def _reported(options: argparse.Namespace) -> Mapping[str, int]:
    """Return what repairs found by cause or other word [count]: the last report of each call.

    Only where one thing was found, and two good cycles were not seen to fail.
    """
    try:
        with open_store(options.store, must_exist=True) as store:
            return store.confirmed_outcomes()
    except StoreMissing:
        if options.store is not None:
            raise
        return {}


def _show(
    options: argparse.Namespace,
    content: Content,
    confirmed: Mapping[str, int],
    corrected: Mapping[str, float],
) -> None:
    console = screen_of(options)
    ordered = sorted(content.causes.values(), key=lambda cause: -corrected[cause.id])
    if console.width < _TABLE_WIDTH or look_of(console).is_plain:
        for cause in ordered:
            words = f"written {cause.prior:.1%}, confirmed {confirmed.get(cause.id, 0)}, "
            console.print(Item(f"{cause.id}: {words}corrected {corrected[cause.id]:.1%}"))
        return
    table = Table(box=None, pad_edge=False, padding=(0, 2, 0, 0), header_style="triage.heading")
    table.add_column("cause", no_wrap=True)
    for heading in ("written", "confirmed", "corrected"):
        table.add_column(heading, justify="right", no_wrap=True)
    for cause in ordered:
        table.add_row(
            Text(plain_text(cause.id)),
            Text(f"{cause.prior:.1%}"),
            Text(str(confirmed.get(cause.id, 0))),
            Text(f"{corrected[cause.id]:.1%}"),
        )
    console.print(table)


def _others_words(others: Mapping[str, int]) -> str:
    if not others:
        return ""
    listed = ", ".join(f"{plain_text(key, 40)} {count}" for key, count in others.items())
    return f"Not counted, for they name no one cause here: {listed}."


def _use_words(
    options: argparse.Namespace,
    folder: Path,
    confirmed: Mapping[str, int],
    used: Mapping[str, int],
    *,
    is_written: bool,
) -> str:
    if is_written:
        return f"{folder / OUTCOMES}: written; calls with --trees {folder} go by it from now on."
    if options.write:
        return "No repair has confirmed a cause yet, so nothing was written."
    if dict(used) == dict(confirmed):
        return (
            f"{OUTCOMES} of this folder holds just these counts; calls go by them." if used else ""
        )
    if used:
        return f"{OUTCOMES} of this folder counts {sum(used.values())}; --write renews it."
    return "Calls go by the written priors; --trees DIR --write lets them go by the corrected ones."


def _write(path: Path, text: str) -> None:
    unfinished = path.with_suffix(".unfinished")
    unfinished.write_text(text, encoding="utf-8")
    unfinished.replace(path)


def _as_data(
    content: Content,
    confirmed: Mapping[str, int],
    corrected: Mapping[str, float],
    others: Mapping[str, int],
    used: Mapping[str, int],
    *,
    is_written: bool,
) -> dict[str, Any]:
    return {
        "priors_are_worth_calls": content.stakes.priors_are_worth_calls,
        "causes": [
            {
                "cause": cause.id,
                "written_prior": cause.prior,
                "confirmed": confirmed.get(cause.id, 0),
                "corrected_prior": corrected[cause.id],
            }
            for cause in content.causes.values()
        ],
        "not_counted": dict(others),
        "in_use": dict(used),
        "is_written": is_written,
    }
