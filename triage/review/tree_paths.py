"""`triage tree paths`: how many conversations trees hold, how long, and which calls cover them."""

from __future__ import annotations

import argparse
import json
import sys
from typing import Any

from rich.text import Text

from triage.console.aside import write_aside
from triage.console.look import Prose
from triage.console.screen import screen_of
from triage.console.unproved import content_to_look_at, not_proved, refuse_to_go_round
from triage.exits import BAD_STORE, DONE
from triage.review.progress import progress_bar
from triage.review.tree_coverage import Covered, Mark, rule_says
from triage.review.tree_figures import Covers, TreeFigures, figures_of
from triage.review.tree_paths_screen import paths_card
from triage.review.usual_answers import UNKNOWN_SHARE
from triage.tree.content import Content
from triage.tree.errors import ProofFailed, UnknownTree
from triage.tree.paths import Expected, Span, Talk


def show_paths(options: argparse.Namespace) -> int:
    """Count the conversations of one tree or of all, and tell which calls cover them.

    What is not proved is told, and what can be counted is counted all the same. Returns 0, or 4 if
    the record of a call is damaged. Raises StoreError, TreeError or UsageError, among them
    ProofFailed where a path comes back: there is no end to count then.
    """
    content, broken = content_to_look_at(options)
    if options.tree is not None and options.tree not in content.trees:
        raise UnknownTree(options.tree, content.trees)
    if broken:
        _refuse_circles(content)
    wanted = [options.tree] if options.tree else list(content.trees)
    figures = []
    with progress_bar("trees counted") as progress:
        for number, tree in enumerate(wanted):
            progress(number, len(wanted))
            figures.append(figures_of(content, tree))
    covers = Covers()
    covers.add_demo_calls(content, options.tree)
    covers.add_recorded(options, content)
    if options.json:
        told = {"not_proved": list(map(str, broken)), **paths_data(content, figures, covers)}
        sys.stdout.write(json.dumps(told, indent=2, ensure_ascii=False) + "\n")
    else:
        console = screen_of(options)
        if broken:
            console.print(Prose(Text(not_proved(broken), style="triage.stop")))
        console.print(paths_card(content, figures, covers, is_each_wanted=options.tree is not None))
    return BAD_STORE if covers.damaged else DONE


def _refuse_circles(content: Content) -> None:
    """Raise ProofFailed if a path comes back in any tree: demo and recorded calls go there too."""
    try:
        refuse_to_go_round(content, content.trees)
    except ProofFailed:
        write_aside(
            "the paths cannot be counted: one comes back to where it was. Whatever else is not "
            "proved does not stop the count."
        )
        raise


def paths_data(content: Content, figures: list[TreeFigures], covers: Covers) -> dict[str, Any]:
    """Return everything as JSON-ready data; the keys are always the same."""
    return {
        "content_version": content.version,
        "share_not_had": UNKNOWN_SHARE,
        "demo_calls": covers.demo_calls,
        "recorded_calls": covers.recorded_calls,
        "damaged_calls": covers.damaged,
        "not_walked": [
            {"why": why, "calls": calls} for why, calls in covers.not_walked.most_common()
        ],
        "trees": [_tree(content, each, covers) for each in figures],
    }


def _tree(content: Content, figures: TreeFigures, covers: Covers) -> dict[str, Any]:
    lines = covers.lines(content, figures.plan)
    return {
        "tree": figures.tree.id,
        "title": figures.tree.title,
        "graph_paths": _span(figures.paths),
        "conversations": None if figures.talks is None else _span(figures.talks),
        "met_by_no_caller": list(figures.never_met),
        "expected": {who: _expected(hoped) for who, hoped in figures.expected.items()},
        "nodes": [
            {
                **_mark(figures, line.mark),
                "demo_calls": list(line.demo),
                "recorded_calls": line.recorded,
            }
            for line in lines
        ],
        "covered_by_none": [_mark(figures, line.mark) for line in lines if not line.is_covered],
    }


def _span(span: Span) -> dict[str, Any]:
    return {
        "count": span.count,
        "by_ending": dict(span.endings),
        "shortest": _talk(span.shortest),
        "longest": _talk(span.longest),
    }


def _talk(talk: Talk) -> dict[str, Any]:
    return {
        "questions": len(talk.answers),
        "ending": talk.ending,
        "answers": [
            {"question": question, "outcome": outcome} for question, outcome in talk.answers
        ],
    }


def _expected(hoped: Expected) -> dict[str, Any]:
    return {
        "questions": hoped.questions,
        "share_asked": dict(hoped.asked),
        "share_ending": dict(hoped.endings),
    }


def _mark(figures: TreeFigures, mark: Mark) -> dict[str, Any]:
    is_rule = mark.kind is Covered.RULE
    return {
        "kind": mark.kind.value,
        "id": mark.id,
        "rule": mark.rule + 1 if is_rule else None,
        "says": rule_says(figures.tree, mark) if is_rule else None,
    }
