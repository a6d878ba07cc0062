"""`triage tree check`: read the content, prove it, and say what was proved."""

from __future__ import annotations

import argparse
import os
import shutil
import sys
from collections.abc import Callable, Iterable, Iterator, Sized
from typing import TextIO

from rich.text import Text

from triage.cli_parser import printable
from triage.console.aside import wrapped
from triage.console.failures import exit_code_of
from triage.console.look import ChatConsole, ColorChoice, Look, choose_look
from triage.tree.content import OUTCOMES, Content, Tree
from triage.tree.counterexample import WIDTH, Speaker, told
from triage.tree.errors import ContentErrors, ProofFailed
from triage.tree.graph import plan_tree
from triage.tree.likelihoods import staleness
from triage.tree.load import load_content
from triage.tree.plain_language import sentences_of, texts_of
from triage.tree.proofs import CONTENT_PROPERTIES, PROPERTIES, findings_of
from triage.tree.where import content_folder

NARROWEST = 40
"""Columns below which the calls of a narrow terminal are told as for these (judged)."""

_STYLES = {Speaker.CALLER: "triage.typed", Speaker.CAUTION: "triage.caution"}


def check_trees(options: argparse.Namespace) -> int:
    """Read and prove the content; raises ContentErrors or ProofFailed with every mistake.

    Where standard error may carry color the mistakes are shown here, and the exit code returned.
    """
    try:
        content = load_content(content_folder(options.trees))
        _prove(content)
    except (ContentErrors, ProofFailed) as error:
        look = _look(options, sys.stderr)
        if not look.has_styles:
            raise
        code, message = exit_code_of(error)
        _show(_mistakes(message), look, sys.stderr)
        return code
    _show(map(_proved, _lines(content)), _look(options, sys.stdout), sys.stdout)
    return 0


def _prove(content: Content) -> None:
    findings = findings_of(content)
    if findings:
        width = WIDTH
        if sys.stderr.isatty():
            width = max(shutil.get_terminal_size().columns, NARROWEST)
        raise ProofFailed(findings, told(findings, content, width))


def _look(options: argparse.Namespace, stream: TextIO) -> Look:
    return choose_look(ColorChoice(options.color), stream, os.environ, is_plain=options.plain)


def _show(lines: Iterable[Text], look: Look, stream: TextIO) -> None:
    console = ChatConsole(look, stream)
    for line in lines:
        console.print(line, soft_wrap=True)  # broken already, so that places can be copied


def _proved(line: str) -> Text:
    return Text(line, style="triage.good" if line.startswith("in all ") else "")


def _mistakes(message: str) -> Iterator[Text]:
    """Yield the lines of a message in color: where it is, and who speaks in a call."""
    head, *lines = printable(f"triage: {message}").splitlines()
    yield Text(head, style="triage.stop")
    for line in lines:
        whole = line
        if sys.stderr.isatty():
            whole = wrapped(line, shutil.get_terminal_size().columns)
        text = Text(whole)
        first = line.split(maxsplit=1)[:1]
        if line[:1].strip() and first:
            text.stylize("triage.heading", 0, len(first[0]))
        elif first and first[0] in _STYLES:
            text.stylize(_STYLES[Speaker(first[0])])
        yield text


def _lines(content: Content) -> Iterator[str]:
    """Yield what was proved: of every tree, of what they share, and in all."""
    yield "proved of each tree:"
    yield from _named(PROPERTIES)
    yield "proved of what they share:"
    yield from _named(CONTENT_PROPERTIES)
    for tree in content.trees.values():
        yield f"{tree.id}: {_size(content, tree)}; {len(PROPERTIES)} promises proved"
    sentences = sum(len(sentences_of(text)) for each in texts_of(content) for _, text in each.texts)
    yield (
        f"what they share: {_count(content.readings, 'reading')}, "
        f"{_count(content.causes, 'cause')}, {_count(content.cautions, 'caution')}, "
        f"{_count(content.machines, 'machine')}, {sentences} sentences; "
        f"{len(CONTENT_PROPERTIES)} promises proved"
    )
    total = len(content.trees) * len(PROPERTIES) + len(CONTENT_PROPERTIES)
    yield f"in all {total} promises proved; content {content.version[:12]}"
    if content.outcomes:
        counted = sum(sum(of_tree.values()) for of_tree in content.outcomes.values())
        yield f"priors corrected by {counted} confirmed repairs ({OUTCOMES})"
    stale = staleness(content)
    if stale:
        yield stale


def _named(properties: Iterable[Callable[..., object]]) -> Iterator[str]:
    for each in properties:  # the name of a property says what it proves
        yield f"  {each.__name__.replace('_', ' ')}"


def _size(content: Content, tree: Tree) -> str:
    nodes = plan_tree(content, tree.id).nodes
    parts = f", {_count(tree.parts, 'part')} put in" if tree.parts else ""
    return (
        f"{_count(tree.questions, 'question')}, {_count(tree.junctions, 'junction')}, "
        f"{_count(tree.endings, 'ending')}, {len(nodes)} nodes{parts}"
    )


def _count(items: Sized, word: str) -> str:
    return f"{len(items)} {word}" + ("" if len(items) == 1 else "s")
