"""`triage demo`: invented calls played from start to end, and rendered beside their answers."""

from __future__ import annotations

import argparse
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from io import StringIO
from pathlib import Path

from rich.text import Text

from triage.console.answers_file import AnswersFile, load_answers
from triage.console.asked import UsageError, altitude_m
from triage.console.call import SCRIPT, engine_of
from triage.console.cards import Item
from triage.console.desk import Desk
from triage.console.look import ChatConsole, Look
from triage.console.not_stored import NotStored
from triage.console.screen import screen_of
from triage.console.scripted import Script, run_script
from triage.console.transcript import transcript
from triage.dialogue.events import Event, Started
from triage.tree.cache import checked_content
from triage.tree.content import Content
from triage.tree.errors import nearest, quoted
from triage.tree.where import content_folder

TREE = "will_not_release"
RENDERED_WIDTH = 80

_BEGINNING = datetime(2026, 1, 5, 9, 0, tzinfo=UTC)
_PACKAGE = Path(__file__).resolve().parent.parent


def play_demo(options: argparse.Namespace) -> int:
    """Play one demo call, list them, or render all of a folder; return the exit code."""
    content = checked_content(content_folder())
    if options.write is not None:
        written = list(demo_calls(options.write))
        if not written:
            raise UsageError(
                f"there are no answers files (*.yaml) in {quoted(str(options.write))}; "
                "name a folder of demo calls"
            )
        for answers_path in written:
            rendered = render_call(content, load_answers(answers_path, content), answers_path.stem)
            answers_path.with_suffix(".txt").write_text(rendered, encoding="utf-8")
        return 0
    calls = {path.stem: path for path in demo_calls(demo_folder())}
    console = screen_of(options)
    if options.list:
        for name, path in calls.items():
            console.print(Text(name))
            console.print(Item(load_answers(path, content).about, "  "))
        return 0
    name = options.name or next(iter(calls), "")
    if name not in calls:
        raise UsageError(
            f"no demo call is called {quoted(name)}{nearest(name, calls)}; "
            "triage demo --list names them"
        )
    answers = load_answers(calls[name], content)
    desk, spoken = run_call(content, answers, name)
    console.print(f"Invented call: {answers.about}")
    console.print(transcript(desk.engine, spoken))
    return 0


def demo_folder() -> Path:
    """Return the folder of demo calls: the installed one, else the checkout's."""
    for folder in (_PACKAGE / "_transcripts_demo", _PACKAGE.parent / "transcripts_demo"):
        if folder.is_dir():
            return folder
    raise UsageError("the demo calls are not installed; install the program again")


def demo_calls(folder: Path) -> Iterator[Path]:
    """Yield the answers files of a folder in order of name."""
    yield from sorted(folder.glob("*.yaml"))


def run_call(
    content: Content, answers: AnswersFile, name: str
) -> tuple[Desk, list[tuple[datetime, str, Event]]]:
    """Return the desk at the end of a scripted call and all its events; nothing is stored."""
    script = Script(answers)
    kept = NotStored()
    ticks = iter(range(1_000_000))
    desk = Desk.start(
        engine_of(content, TREE),
        lambda: kept,
        lambda: _BEGINNING + timedelta(seconds=20 * next(ticks)),
        name,
        SCRIPT,
        Started(
            TREE,
            content.version,
            answers.voice or "agent",
            answers.units or "us",
            altitude_m(script.altitude),
        ),
    )
    run_script(desk, script, answers.notes)
    return desk, kept.spoken


def render_call(content: Content, answers: AnswersFile, name: str) -> str:
    """Return the transcript of a demo call as plain text, 80 columns wide."""
    desk, spoken = run_call(content, answers, name)
    out = StringIO()
    console = ChatConsole(Look(), out, width=RENDERED_WIDTH)
    console.print(f"Invented call: {answers.about}")
    console.print(transcript(desk.engine, spoken))
    return "".join(f"{line.rstrip()}\n" for line in out.getvalue().splitlines())
