"""Invented recorded calls: every node and recommendation of every tree, and how each call is told.

`REWRITE_SNAPSHOTS=1 python -m pytest tests/corpus` writes the pages anew; read the difference then:
it is what a change of content does to calls.
"""

from __future__ import annotations

import os
from collections import defaultdict
from pathlib import Path

import pytest

from tests.corpus.calls import TOLD, content, own_calls, taken
from tests.corpus.telling import line, page
from triage.console.scripted import NOT_CONFIRMED, NOT_UNDERSTOOD
from triage.tree.content import Tree

TREES = sorted(content().trees)
LOST = (NOT_CONFIRMED, NOT_UNDERSTOOD)
LEAST_CALLS = 40
"""Invented recorded calls there have to be at least, shared ones not counted."""


def told() -> dict[Path, str]:
    """Return what stands in each page: one for each own call, one for each tree's shared calls."""
    pages: dict[Path, str] = {}
    shared: dict[str, list[str]] = defaultdict(list)
    for each in taken():
        if "/" in each.call.name:
            shared[each.call.tree].append(line(each))
        else:
            pages[TOLD / each.call.tree / f"{each.call.name}.txt"] = page(each)
    for tree, lines in shared.items():
        pages[TOLD / tree / "shared_parts.txt"] = "\n".join(lines) + "\n"
    return pages


def test_every_call_goes_and_is_told_as_it_was_written_down() -> None:
    pages = told()
    if os.environ.get("REWRITE_SNAPSHOTS"):
        for path in TOLD.glob("*/*.txt"):
            path.unlink()
        for path, text in pages.items():
            path.parent.mkdir(parents=True, exist_ok=True)
            path.write_text(text, encoding="utf-8")
    assert {path.relative_to(TOLD) for path in TOLD.glob("*/*.txt")} == {
        path.relative_to(TOLD) for path in pages
    }
    changed = {
        path.relative_to(TOLD).as_posix(): (path.read_text(encoding="utf-8"), text)
        for path, text in pages.items()
    }
    for name, (before, now) in changed.items():
        assert now == before, f"{name} goes otherwise now; REWRITE_SNAPSHOTS=1 if that is meant"


def test_there_are_enough_calls_and_each_says_that_it_is_invented() -> None:
    calls = list(own_calls())
    assert len(calls) >= LEAST_CALLS
    assert [call.name for call in calls if "nvented" not in call.story] == []


def test_every_line_of_every_call_is_understood() -> None:
    lost = {
        (each.call.tree, each.call.name): [
            item.reading for item in each.case.answers.values() if item.typed in LOST
        ]
        for each in taken()
    }
    assert {name: readings for name, readings in lost.items() if readings} == {}


@pytest.mark.parametrize("tree", TREES)
def test_a_call_is_taken_in_the_tree_it_is_about(tree: str) -> None:
    calls = [each for each in taken() if each.call.tree == tree]
    assert calls
    assert [each.call.name for each in calls if each.case.tree != tree] == []


OUT_OF_REACH = {
    # Nobody unlicensed is to run a machine again that stops on high pressure, so the call ends
    # before the freeze.
    "high_pressure_cutout": {
        "freeze.unlicensed_fan_stopped", "freeze.unlicensed_handover", "freeze.unlicensed_thin_ice",
    },
}  # fmt: skip
"""Nodes of shared parts that no caller of a tree comes to, and why."""


@pytest.mark.parametrize("tree", TREES)
def test_calls_see_every_question_junction_and_ending_of_a_tree(tree: str) -> None:
    seen = {node for each in taken() if each.call.tree == tree for node in each.nodes}
    assert nodes_of(content().trees[tree]) - seen == OUT_OF_REACH.get(tree, set())


@pytest.mark.parametrize("tree", TREES)
def test_calls_are_shown_every_recommendation_of_a_tree(tree: str) -> None:
    shown = {each.recommended for each in taken() if each.call.tree == tree}
    endings = content().trees[tree].endings
    assert sorted({key for key, ending in endings.items() if ending.causes} - shown) == []


def nodes_of(tree: Tree) -> set[str]:
    return {*tree.questions, *tree.junctions, *tree.endings}
