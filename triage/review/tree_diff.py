"""`triage tree diff`: what changes from one content to another, for whoever takes the calls."""

from __future__ import annotations

import argparse
import json
import sys
from dataclasses import asdict, replace
from pathlib import Path
from types import MappingProxyType
from typing import Any

from triage.console.aside import write_aside
from triage.console.asked import UsageError
from triage.console.screen import screen_of
from triage.exits import BAD_STORE, DONE, NO_RECOMMENDATION
from triage.review.progress import progress_bar
from triage.review.replay_command import end_data
from triage.review.tree_diff_calls import CallsTally, recorded_calls
from triage.review.tree_diff_found import Difference, Side, difference_of
from triage.review.tree_diff_screen import difference_card
from triage.review.tree_partings import TreePartings
from triage.tree.cache import checked_content
from triage.tree.content import Content
from triage.tree.errors import TreeError, quoted
from triage.tree.files import LARGEST_FILE_BYTES, read_files
from triage.tree.where import content_folder


def show_difference(options: argparse.Namespace) -> int:
    """Tell what changes from one content to another; return the exit code.

    0 if calls go alike with both, 1 if anything differs, 4 if the record of a call is damaged.
    Raises TreeError if either content fails, StoreError, UsageError, and OSError for a file that
    cannot be read.
    """
    names = [options.first, options.second]
    if options.second is None:  # what it would be in place of the content in use
        names = [None, options.first]
    before, after = (_side(name, options) for name in names)
    with progress_bar("trees compared") as progress:
        found = difference_of(before, after, progress)
    if options.store is not None and found.changes:
        calls = recorded_calls(options, found.before.content, found.after.content)
        found = replace(found, calls=calls)
    if options.json:
        sys.stdout.write(json.dumps(difference_data(found), indent=2, ensure_ascii=False) + "\n")
    else:
        screen_of(options).print(difference_card(found, options.examples))
    if found.calls is not None and found.calls.damaged:
        return BAD_STORE
    return NO_RECOMMENDATION if found.changes else DONE


def _side(path: Path | None, options: argparse.Namespace) -> Side:
    """Return the content of a folder, or of the folder in use with one tree or part in it."""
    if path is None:
        path = content_folder(options.trees)
    try:
        if path.is_dir():
            return Side(str(path), checked_content(path))
        if path.is_file():
            return Side(str(path), _with_file(content_folder(options.trees), path))
    except TreeError:
        write_aside(f"{path} cannot be compared:")
        raise
    raise UsageError(
        f"there is no content folder and no tree file at {quoted(str(path))}; name one of them"
    )


def _with_file(folder: Path, path: Path) -> Content:
    from triage.tree.draft import draft_in
    from triage.tree.proofs import check_content

    with path.open("rb") as stream:  # never more than it takes to see it is too large
        data = stream.read(LARGEST_FILE_BYTES + 1)
    draft = draft_in(folder, read_files(folder), path.name, data)
    content = draft.content
    if draft.part:  # without the tree that was made up to walk it alone
        trees = {name: tree for name, tree in content.trees.items() if name != draft.tree}
        content = replace(content, trees=MappingProxyType(trees))
    check_content(content)
    return content


def difference_data(found: Difference) -> dict[str, Any]:
    """Return everything as JSON-ready data; the keys are always the same."""
    return {
        "before": {"name": found.before.name, "content_version": found.before.content.version},
        "after": {"name": found.after.name, "content_version": found.after.content.version},
        "is_same": not found.changes,
        "changes": [
            {**asdict(change), "kind": change.kind.value, "trees": list(change.trees)}
            for change in found.changes
        ],
        "conversations": [_conversations(parted) for parted in found.conversations],
        "recorded_calls": None if found.calls is None else _calls(found.calls),
    }


def _conversations(parted: TreePartings) -> dict[str, Any]:
    found = parted.partings
    with_other_causes = parted.ends_otherwise(with_other_causes=True)
    errors = parted.standard_errors or (None,) * len(parted.callers)
    return {
        "tree": parted.tree,
        "are_followed": found is not None,
        "callers": {
            who: None
            if found is None
            else {
                "share_asked_otherwise": found.asks_otherwise[number],
                "share_ending_otherwise": parted.ends_otherwise()[number],
                "share_ending_with_other_causes": with_other_causes[number],
                "standard_error": errors[number],
            }
            for number, who in enumerate(parted.callers)
        },
        "ends": [
            {
                "before": parted.endings[told.before][1].id,
                "after": parted.endings[told.after][1].id,
                "has_same_causes": parted.has_same_causes(told),
                "shares": dict(zip(parted.callers, told.shares, strict=True)),
                "example": [
                    {"reading": reading, "outcome": outcome} for reading, outcome in told.answers
                ],
                "asked_alike": told.alike,
            }
            for told in (found.ends if found else ())
        ],
    }


def _calls(tally: CallsTally) -> dict[str, Any]:
    return {
        "calls": tally.calls,
        "ending_otherwise": len(tally.moved),
        "asked_otherwise": len(tally.asked_otherwise),
        "asked_otherwise_sessions": list(tally.asked_otherwise),
        "damaged": tally.damaged,
        "not_replayed": [
            {"why": why, "calls": calls} for why, calls in tally.not_replayed.most_common()
        ],
        "sessions": [
            {
                "session_id": moved.session_id,
                "tree": moved.tree,
                "before": end_data(moved.before),
                "after": end_data(moved.after),
                "stands_before": moved.stands_before or None,
                "stands_after": moved.stands_after or None,
                "is_asked_otherwise": moved.is_asked_otherwise,
            }
            for moved in tally.moved
        ],
    }
