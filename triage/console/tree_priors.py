"""`triage tree priors`: how often each cause is expected, by the written priors and the record."""

from __future__ import annotations

import argparse
import json
import sys
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
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
from triage.tree.errors import UnknownTree
from triage.tree.load import load_content
from triage.tree.load_outcomes import Confirmed, outcomes_text
from triage.tree.priors import corrected_priors
from triage.tree.where import content_folder, installed_folder

_TABLE_WIDTH = 72
"""Columns from which the causes are a table."""


@dataclass(frozen=True, slots=True)
class _Counted:
    """What a record says of a content, by tree: counts of its causes, and of whatever else."""

    confirmed: Confirmed
    others: Confirmed

    @property
    def total(self) -> int:
        return sum(sum(counts.values()) for counts in self.confirmed.values())


def show_priors(options: argparse.Namespace) -> int:
    """Show written priors, confirmed counts and corrected priors; with `--write` put them to use.

    Raises ContentErrors, UnknownTree, UsageError, StoreError, and OSError for a folder that cannot
    be written.
    """
    folder = content_folder(options.trees)
    if options.write and (options.trees is None or folder.resolve() == installed_folder()):
        raise UsageError(
            f"--write puts {OUTCOMES} into a content folder of your own; name it with --trees DIR "
            "(the program's own folder is replaced by every update)"
        )
    content = load_content(folder)
    if options.tree is not None and options.tree not in content.trees:
        raise UnknownTree(options.tree, content.trees)
    shown = list(content.trees) if options.tree is None else [options.tree]
    counted = _counted(content, _reported(options))
    is_written = bool(options.write and counted.total)
    if is_written:
        _write(folder / OUTCOMES, outcomes_text(counted.confirmed))
    if options.json:
        told = _as_data(content, shown, counted, is_written=is_written)
        sys.stdout.write(json.dumps(told, indent=2, ensure_ascii=False) + "\n")
        return DONE
    for tree_id in shown:
        _show(options, content, tree_id, counted.confirmed.get(tree_id, {}))
    console = screen_of(options)
    for words in (
        f"The written priors of a tree weigh as much as {content.stakes.priors_are_worth_calls:g} "
        f"calls; {counted.total} confirmed repairs stand beside them.",
        _others_words(counted.others),
        _use_words(options, folder, counted, content.outcomes, is_written=is_written),
    ):
        if words:
            console.print(Prose(Text(words, style="triage.hint")))
    return DONE


def _reported(options: argparse.Namespace) -> Confirmed:
    """Return what repairs found by cause or other word, by tree: the last report of each call.

    Only where one thing was found, and two good cycles were not seen to fail.
    """
    try:
        with open_store(options.store, must_exist=True) as store:
            return store.confirmed_outcomes()
    except StoreMissing:
        if options.store is not None:
            raise
        return {}


def _counted(content: Content, reported: Confirmed) -> _Counted:
    confirmed: dict[str, Mapping[str, int]] = {}
    others: dict[str, Mapping[str, int]] = {}
    for tree_id, counts in reported.items():
        tree = content.trees.get(tree_id)
        own = {key: count for key, count in counts.items() if tree and key in tree.causes}
        rest = {key: count for key, count in counts.items() if key not in own}
        confirmed |= {tree_id: own} if own else {}
        others |= {tree_id: rest} if rest else {}
    return _Counted(confirmed, others)


def _show(
    options: argparse.Namespace, content: Content, tree_id: str, confirmed: Mapping[str, int]
) -> None:
    console = screen_of(options)
    written = corrected_priors(content, tree_id, {})
    corrected = corrected_priors(content, tree_id, confirmed)
    ordered = sorted(written, key=lambda cause: -corrected[cause])
    console.print(Text(plain_text(content.trees[tree_id].title), style="triage.heading"))
    if console.width < _TABLE_WIDTH or look_of(console).is_plain:
        for cause in ordered:
            words = f"written {written[cause]:.1%}, confirmed {confirmed.get(cause, 0)}, "
            console.print(Item(f"{cause}: {words}corrected {corrected[cause]:.1%}"))
        return
    table = Table(box=None, pad_edge=False, padding=(0, 2, 0, 0), header_style="triage.heading")
    table.add_column("cause", no_wrap=True)
    for heading in ("written", "confirmed", "corrected"):
        table.add_column(heading, justify="right", no_wrap=True)
    for cause in ordered:
        table.add_row(
            Text(plain_text(cause)),
            Text(f"{written[cause]:.1%}"),
            Text(str(confirmed.get(cause, 0))),
            Text(f"{corrected[cause]:.1%}"),
        )
    console.print(table)


def _others_words(others: Confirmed) -> str:
    if not others:
        return ""
    listed = "; ".join(
        f"{plain_text(tree, 40)}: "
        + ", ".join(f"{plain_text(key, 40)} {count}" for key, count in counts.items())
        for tree, counts in others.items()
    )
    return f"Not counted, for they name no one cause of their tree: {listed}."


def _use_words(
    options: argparse.Namespace,
    folder: Path,
    counted: _Counted,
    used: Confirmed,
    *,
    is_written: bool,
) -> str:
    if is_written:
        return f"{folder / OUTCOMES}: written; calls with --trees {folder} go by it from now on."
    if options.write:
        return "No repair has confirmed a cause yet, so nothing was written."
    if _plain(used) == _plain(counted.confirmed):
        return (
            f"{OUTCOMES} of this folder holds just these counts; calls go by them." if used else ""
        )
    if used:
        total = sum(sum(counts.values()) for counts in used.values())
        return f"{OUTCOMES} of this folder counts {total}; --write renews it."
    return "Calls go by the written priors; --trees DIR --write lets them go by the corrected ones."


def _plain(counts: Confirmed) -> dict[str, dict[str, int]]:
    return {tree: dict(by_cause) for tree, by_cause in counts.items() if by_cause}


def _write(path: Path, text: str) -> None:
    unfinished = path.with_suffix(".unfinished")
    unfinished.write_text(text, encoding="utf-8")
    unfinished.replace(path)


def _as_data(
    content: Content, shown: Sequence[str], counted: _Counted, *, is_written: bool
) -> dict[str, Any]:
    return {
        "priors_are_worth_calls": content.stakes.priors_are_worth_calls,
        "trees": [
            {"tree": tree_id, "causes": _causes_as_data(content, tree_id, counted)}
            for tree_id in shown
        ],
        "not_counted": _plain(counted.others),
        "in_use": _plain(content.outcomes),
        "is_written": is_written,
    }


def _causes_as_data(content: Content, tree_id: str, counted: _Counted) -> list[dict[str, Any]]:
    confirmed = counted.confirmed.get(tree_id, {})
    corrected = corrected_priors(content, tree_id, confirmed)
    return [
        {
            "cause": cause,
            "written_prior": prior,
            "confirmed": confirmed.get(cause, 0),
            "corrected_prior": corrected[cause],
        }
        for cause, prior in corrected_priors(content, tree_id, {}).items()
    ]
