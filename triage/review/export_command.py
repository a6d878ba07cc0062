"""`triage log export`: stored calls as JSON Lines, CSV, Markdown or pages of HTML."""

from __future__ import annotations

import argparse
import sys
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from pathlib import Path

from triage.console.asked import UsageError
from triage.console.call import content_of, engine_of
from triage.dialogue.engine import Engine
from triage.dialogue.words import counted, plain_text
from triage.exits import BAD_CONTENT, BAD_STORE, DONE
from triage.physics.quantity import UnitSystem
from triage.review.chosen import Chosen, chosen, opened_record
from triage.review.export.call import ExportedCall, exported_call
from triage.review.export.files import make_folder, refuse_to_overwrite, write_new
from triage.review.progress import Progress, progress_bar
from triage.store.errors import StoreError
from triage.tree.content import Content
from triage.tree.errors import UnknownTree

_PAGE_ENDINGS = (".html", ".htm")
_RULE = "\n---\n\n"
"""Between two tickets of one text."""


def export_calls(options: argparse.Namespace) -> int:
    """Write the chosen calls in the form asked for; return the exit code.

    0 if every call was written, 4 if the record of any cannot be read, 3 if the content lacks the
    tree of any. Raises StoreError, TreeError or UsageError.
    """
    is_page = options.form == "html"
    is_folder = is_page and options.to is not None and _is_folder(options.to)
    if options.to is not None and not is_folder:
        refuse_to_overwrite(options.to)
    content = content_of(options)
    run = _Run(options, content)
    with opened_record(options) as store, _bar(options) as progress:
        calls = run.exported(chosen(options, store, content) if store else (), progress)
        if is_folder:
            _write_pages(options.to, calls)
        elif is_page:
            pages = list(_one_page(calls))
            if pages:
                _write(options.to, iter(pages))
        else:
            _write(options.to, _texts(options, content, calls))
    if options.to is not None or run.count == 0:
        where = "" if options.to is None or (is_page and not run.count) else f" to {options.to}"
        sys.stderr.write(f"triage: {counted(run.count, 'call')} written{where}\n")
    return run.code


class _Run:
    """The calls of one export, counted, and what could not be exported told."""

    def __init__(self, options: argparse.Namespace, content: Content) -> None:
        self.options = options
        self.content = content
        self.count = 0
        self.code = DONE
        self._engines: dict[str, Engine] = {}

    def exported(self, calls: Iterable[Chosen], progress: Progress) -> Iterator[ExportedCall]:
        """Yield each call that can be read; say on standard error which cannot, and why."""
        for summary, stored in calls:
            if summary.fault or not stored:
                self._left(summary.session_id, summary.fault or "it has no events", BAD_STORE)
                continue
            try:
                call = exported_call(
                    self._engine(summary.tree),
                    summary,
                    stored,
                    units=self.options.units,
                    with_personal_data=self.options.with_personal_data,
                )
            except UnknownTree as error:
                self._left(summary.session_id, str(error), BAD_CONTENT)
                continue
            except StoreError as error:  # an event of a newer version, or of no known shape
                self._left(summary.session_id, str(error), BAD_STORE)
                continue
            self.count += 1
            yield call
            progress(self.count, None)

    def _engine(self, tree: str) -> Engine:
        if tree not in self._engines:
            self._engines[tree] = engine_of(self.content, tree)
        return self._engines[tree]

    def _left(self, session_id: str, reason: str, code: int) -> None:
        self.code = max(self.code, code)
        sys.stderr.write(f"triage: not exported: {session_id}: {plain_text(reason)}\n")


def _texts(
    options: argparse.Namespace, content: Content, calls: Iterator[ExportedCall]
) -> Iterator[str]:
    """Yield the text of all calls, piece by piece."""
    match options.form:
        case "jsonl":
            from triage.review.export.jsonl import json_line

            yield from map(json_line, calls)
        case "csv":
            from triage.review.export.csv_table import csv_lines

            yield from csv_lines(calls, content, UnitSystem(options.units or "us"))
        case _:
            from triage.review.export.markdown import markdown_of

            for number, call in enumerate(calls):
                yield f"{_RULE if number else ''}{markdown_of(call)}"


def _one_page(calls: Iterator[ExportedCall]) -> Iterator[str]:
    """Yield the page of the only call; raises UsageError if there are more."""
    from triage.review.export.page import page_of

    first = next(calls, None)
    if first is None:
        return
    if next(calls, None) is not None:
        raise UsageError(
            "a page holds one call and there are more; name a folder with --to, or one session"
        )
    yield page_of(first)


def _write_pages(folder: Path, calls: Iterator[ExportedCall]) -> None:
    """Write a file for each call into `folder`; raises UsageError rather than overwrite one."""
    from triage.review.export.page import page_of

    make_folder(folder)
    for call in calls:
        write_new(folder / f"{call.session_id}.html", (page_of(call),))


def _write(path: Path | None, texts: Iterator[str]) -> None:
    """Write to a new file, or to standard output if there is no path."""
    if path is not None:
        write_new(path, texts)
        return
    for text in texts:
        sys.stdout.write(text)


def _is_folder(path: Path) -> bool:
    """Return whether pages go into a folder of this name: there is one, or it is no page's name."""
    return path.is_dir() or path.suffix.lower() not in _PAGE_ENDINGS


@contextmanager
def _bar(options: argparse.Namespace) -> Iterator[Progress]:
    """Show how far the export is, unless the calls themselves run over the screen."""
    if options.to is None and sys.stdout.isatty():
        yield lambda done, whole: None
        return
    with progress_bar("calls exported") as progress:
        yield progress
