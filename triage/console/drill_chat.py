"""A drill held on a screen: lines taken, what came of them shown, the result kept."""

from __future__ import annotations

import argparse
import shlex
from datetime import UTC, datetime
from pathlib import Path

from rich.console import Console, RenderableType
from rich.text import Text

from triage.console.asked import UsageError, machine_named
from triage.console.drill_debrief import debrief_card
from triage.console.drill_line import SPEAKER, line_for
from triage.console.drill_turns import greeting, shown
from triage.console.interrupts import interrupts_held
from triage.console.line import LineNeeds, LineReader, ToolbarFacts, elapsed_between
from triage.console.look import Margin, Prose, look_of
from triage.dialogue.engine import Engine
from triage.dialogue.words import plain_text, quoted
from triage.drill.call import DrillError, Level, PracticeCall, draw_call
from triage.drill.debrief import debrief
from triage.drill.export import write_answers
from triage.drill.hearing import cause_meant
from triage.drill.practice import Outcome, Practice, begin, fold_steps
from triage.drill.rehearsal import left, respond
from triage.drill.remarks import LeftHere
from triage.drill.results import default_results_path, keep, make_ready, result_of
from triage.exits import DONE, INTERRUPTED, NO_RECOMMENDATION
from triage.physics.machine import Machine
from triage.physics.quantity import UnitSystem
from triage.tree.content import Content
from triage.tree.errors import nearest

TREE = "will_not_release"


def named(options: argparse.Namespace) -> tuple[Content, Machine | None, str | None]:
    """Return the content, and the machine and the cause that the options name.

    Raises UsageError for a name that is not known.
    """
    from triage.console.call import content_of

    content = content_of(options)
    machine = None if options.machine is None else machine_named(content.machines, options.machine)
    cause = None if options.cause is None else _cause_named(content, options.cause)
    return content, machine, cause


def hold(
    options: argparse.Namespace,
    console: Console,
    content: Content,
    machine: Machine | None,
    cause: str | None,
    heading: RenderableType | None = None,
) -> int:
    """Hold a drill behind its first screen, keep what it gave, and return the exit code.

    `heading` is the first screen if it is not shown yet.
    """
    results_path = default_results_path()
    make_ready(results_path)
    try:
        call = draw_call(
            Engine(content, TREE),
            Level(options.level),
            options.seed,
            units=UnitSystem(options.units or "us"),
            machine=machine,
            cause=cause,
        )
    except DrillError as error:
        raise UsageError(str(error)) from error
    if heading is not None:
        console.print(heading)
    conversation = Drill(call, console, is_vi=options.vi)
    try:
        was_interrupted = conversation.converse()
    except KeyboardInterrupt:  # pressed while nothing was read: what was asked is kept all the same
        was_interrupted = True
        conversation.leave()
    looked_back = debrief(call, conversation.practice)
    is_told = looked_back.outcome is not Outcome.UNFINISHED
    if is_told:
        console.print(debrief_card(looked_back))
    at = _now().isoformat(timespec="seconds")
    keep(results_path, result_of(looked_back, options.trainee, at))
    is_kept_back = options.cause is not None and not is_told
    lead = "The same call again, with the --cause you gave behind it:"
    _print_command(
        console,
        lead if is_kept_back else "The same call again:",
        _again(options, call, names_cause=is_told),
    )
    if options.export is not None:
        _export(options.export, call, conversation.practice, console)
    if was_interrupted:
        return INTERRUPTED
    return DONE if looked_back.outcome is Outcome.RIGHT else NO_RECOMMENDATION


class Drill:
    """One drill on one screen."""

    def __init__(self, call: PracticeCall, console: Console, *, is_vi: bool = False) -> None:
        self._call = call
        self._console = console
        self._is_vi = is_vi
        self._started_at = _now()
        self.practice: Practice = begin(call)

    def converse(self, line: LineReader | None = None) -> bool:
        """Take lines until the drill ends; return whether it was interrupted."""
        self._show(greeting(), Text(""))
        line = line or self._line()
        is_warned = False
        while self.practice.outcome is None:
            try:
                typed = line.read()
            except KeyboardInterrupt:
                if is_warned and line.was_empty:
                    self.leave()
                    return True
                is_warned = True
                words = "Line given up. Ctrl-C again on an empty line leaves the drill."
                self._show(Margin("stop", Text(words)))
                continue
            except EOFError:
                self.leave()
                return False
            is_warned = False
            self.take(typed)
        return False

    def take(self, typed: str) -> None:
        """Take a typed line and show what came of it."""
        with interrupts_held():
            response = respond(self._call, self.practice, typed)
            self.practice = fold_steps(self._call, response.steps, self.practice)
        for remark in response.remarks:
            self._show(*shown(remark, self._call, self.practice))
        self._show(Text(""))

    def leave(self) -> None:
        """End the drill where it is, if it has not ended."""
        if self.practice.outcome is not None:
            return
        self.practice = fold_steps(self._call, left(), self.practice)
        self._show(*shown(LeftHere(), self._call, self.practice), Text(""))

    def _line(self) -> LineReader:
        needs = LineNeeds(
            content=self._call.engine.view,
            speaker=SPEAKER,
            prompt=lambda: self._call.engine.prompt(self.practice.case),
            facts=self._facts,
        )
        return line_for(needs, look_of(self._console), self._console, is_vi=self._is_vi)

    def _facts(self) -> ToolbarFacts:
        return ToolbarFacts(
            f"drill {self._call.seed}",
            self._call.level.value,
            elapsed_between(self._started_at, _now()),
            len(self.practice.asked),
        )

    def _show(self, *parts: RenderableType) -> None:
        for part in parts:
            self._console.print(part)


def _cause_named(content: Content, text: str) -> str:
    meant = cause_meant(text, content)
    if meant.ids:
        return meant.ids[0]
    near = f"; did you mean {' or '.join(meant.options)}?" if meant.options else ""
    raise UsageError(f"no cause is called {quoted(text)}{near or nearest(text, content.causes)}")


def _print_command(console: Console, lead: str, command: str) -> None:
    """Print what to type, on a line of its own to be copied."""
    console.print(Prose(Text(lead, style="triage.hint")))
    shown_command = Text(plain_text(command), no_wrap=True, overflow="ignore", style="triage.hint")
    console.print(shown_command, soft_wrap=True)


def _again(options: argparse.Namespace, call: PracticeCall, *, names_cause: bool) -> str:
    """Return how to get the same call again."""
    words = ["triage drill", f"--seed {call.seed}", f"--level {call.level.value}"]
    words.extend(
        f"--{name} {shlex.quote(value)}"
        for name, value in (
            ("machine", options.machine),
            ("cause", options.cause if names_cause else None),
        )
        if value is not None
    )
    if options.units:
        words.append(f"--units {options.units}")
    return " ".join(words)


def _export(path: Path, call: PracticeCall, practice: Practice, console: Console) -> None:
    try:
        write_answers(path, call, practice)
    except FileExistsError as error:
        raise UsageError(f"{path}: a file of that name came up meanwhile; it was left") from error
    command = f"triage call --answers {shlex.quote(str(path))}"
    _print_command(console, "The caller is written down; to play it as a call:", command)


def _now() -> datetime:
    return datetime.now(UTC)
