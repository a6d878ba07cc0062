"""`triage tree try`: a call through a tree or part somebody is still writing; nothing is stored."""

from __future__ import annotations

import argparse
import json
import sys
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING

from rich.console import Console, RenderableType
from rich.text import Text

from triage.console.aside import write_aside
from triage.console.asked import UsageError, altitude_m
from triage.console.call import SCRIPT, exit_code_at
from triage.console.cards import Item
from triage.console.desk import Desk
from triage.console.look import Prose
from triage.console.not_stored import NotStored
from triage.console.screen import screen_of
from triage.console.unproved import refuse_to_go_round
from triage.dialogue.drawn import trail_of
from triage.dialogue.engine import Engine
from triage.dialogue.events import Started
from triage.dialogue.view import END_PROMPTS
from triage.dialogue.words import counted, plain_text
from triage.exits import INTERRUPTED
from triage.tree.draft import Draft, broken_by, draft_in
from triage.tree.errors import ProofFailed, quoted
from triage.tree.files import LARGEST_FILE_BYTES, read_files
from triage.tree.where import content_folder

if TYPE_CHECKING:
    from triage.console.answers_file import AnswersFile
    from triage.tree.proof_case import Finding

NAME = "try"
"""Stands where a call has its session id."""

_MOST_FINDINGS = 10
_MOST_UNSEEN = 12
"""Longest lists told on the screen; the rest is counted (judged)."""


def try_tree(options: argparse.Namespace) -> int:
    """Hold a call through the draft, at the terminal or from answers; return the exit code.

    Raises ContentErrors if the draft or the folder with it cannot be read, and ProofFailed if a
    call could go round in it without end; other promises it breaks are told and no hindrance.
    """
    folder = content_folder(options.trees)
    draft = draft_in(folder, read_files(folder), options.file.name, _bytes_of(options.file))
    try:
        refuse_to_go_round(draft.content, (draft.tree,))
    except ProofFailed:
        write_aside(
            f"{draft.file} cannot be tried: a call would go round in it without end. Whatever else "
            "is not proved is told and does not stop a try."
        )
        raise
    broken = broken_by(draft)
    engine = Engine(draft.alone, draft.tree)
    if options.answers is not None:
        return _from_answers(options, draft, engine, broken)
    if options.json:
        raise UsageError("--json prints a finished call; give its answers with --answers FILE")
    if not (sys.stdin.isatty() and sys.stdout.isatty()):
        raise UsageError(
            "a call is a conversation and needs a terminal; without one use --answers FILE"
        )
    from triage.console.try_chat import TryChat

    console = screen_of(options)
    desk = _desk(options, engine, NotStored(), can_mend_end=True)
    _show(console, _opening(draft, broken))
    was_interrupted = TryChat(desk, console, _now).converse()
    _show(console, _closing(draft, tried(engine, desk), broken))
    return INTERRUPTED if was_interrupted else exit_code_at(desk.prompt)


def _bytes_of(path: Path) -> bytes:
    try:
        with path.open("rb") as stream:  # never more than it takes to see it is too large
            return stream.read(LARGEST_FILE_BYTES + 1)
    except OSError as error:
        reason = (error.strerror or "it cannot be read").lower()
        raise UsageError(
            f"the draft {quoted(str(path))} cannot be read: {reason}; name the file of a tree or a "
            "part"
        ) from error


def _desk(
    options: argparse.Namespace,
    engine: Engine,
    record: NotStored,
    answers: AnswersFile | None = None,
    altitude: str | None = None,
    *,
    can_mend_end: bool = False,
) -> Desk:
    voice = options.voice or (answers.voice if answers else None) or "agent"
    units = options.units or (answers.units if answers else None) or "us"
    started = Started(
        engine.tree.id, engine.content.version, voice, units, altitude_m(altitude)
    )  # fmt: skip
    speaker = voice if answers is None else SCRIPT
    return Desk.start(
        engine, lambda: record, _now, NAME, speaker, started, can_mend_end=can_mend_end
    )


def _from_answers(
    options: argparse.Namespace, draft: Draft, engine: Engine, broken: Sequence[Finding]
) -> int:
    from triage.console.answers_file import load_answers
    from triage.console.scripted import Script, run_script

    answers = load_answers(options.answers, engine.content)
    script = Script(answers)
    record = NotStored()
    desk = _desk(options, engine, record, answers, script.altitude)
    lost = run_script(desk, script, answers.notes)
    if options.json:
        from triage.dialogue.result import result_of

        data = {
            **result_of(engine, NAME, desk.case),
            "session_id": None,
            "unused_answers": list(script.unused),
            "not_counted": [{"reading": key, "typed": typed} for key, typed in lost],
            "try": _data(draft, tried(engine, desk), broken),
        }
        sys.stdout.write(json.dumps(data, indent=2, ensure_ascii=False) + "\n")
    else:
        from triage.console.transcript import transcript

        console = screen_of(options)
        _show(console, _opening(draft, broken))
        console.print(transcript(engine, record.spoken))
        _show(console, _closing(draft, tried(engine, desk), broken))
    for reading, typed in lost:
        write_aside(f"not counted as it stands: {reading}: {plain_text(typed)}")
    if script.unused:
        write_aside(f"not asked for in this call, so not used: {', '.join(script.unused)}")
    return exit_code_at(desk.prompt)


# What the conversation went through.


@dataclass(frozen=True, slots=True)
class Tried:
    """Where a call through a draft went.

    `path` are the questions, junctions and the ending it passed, `beside` the questions asked out
    of their order. It stands at `at`, which is an ending if `has_ended`; `has_leapt` tells that all
    readings together ended it and no route.
    """

    path: tuple[str, ...]
    beside: tuple[str, ...]
    at: str
    has_ended: bool
    has_leapt: bool

    def unseen(self, nodes: Sequence[str]) -> tuple[str, ...]:
        """Return those of `nodes` the call came nowhere near."""
        seen = {*self.path, *self.beside, self.at}
        return tuple(node for node in nodes if node not in seen)


def tried(engine: Engine, desk: Desk) -> Tried:
    """Return where the call on a desk went."""
    trail = trail_of(engine, desk.case, NAME)
    tree, prompt = engine.tree, desk.prompt
    written = {*tree.questions, *tree.junctions, *tree.endings}
    path = [node for node in trail.path if node in written]
    if trail.leap is not None:
        path.append(trail.leap.target)
    asked = [node for node in desk.case.asked if node in written]
    return Tried(
        tuple(path),
        tuple(dict.fromkeys(node for node in asked if node not in path)),
        path[-1] if path else prompt.node,
        isinstance(prompt, END_PROMPTS),
        trail.leap is not None,
    )


def _data(draft: Draft, went: Tried, broken: Sequence[Finding]) -> dict[str, object]:
    return {
        "file": draft.file,
        "tree": None if draft.part else draft.tree,
        "part": draft.part or None,
        "replaces": draft.replaces or None,
        "stands_at": draft.shown(went.at),
        "has_ended": went.has_ended,
        "path": _shown(draft, went.path),
        "asked_beside_the_path": _shown(draft, went.beside),
        "nodes": len(draft.own_nodes),
        "not_seen": _shown(draft, went.unseen(draft.own_nodes)),
        "not_proved": [str(finding) for finding in broken],
    }


def _shown(draft: Draft, nodes: Sequence[str]) -> list[str]:
    return [draft.shown(node) for node in nodes]


# What is told before and after.


def _show(console: Console, lines: Iterator[RenderableType]) -> None:
    for line in lines:
        console.print(line)


def _opening(draft: Draft, broken: Sequence[Finding]) -> Iterator[RenderableType]:
    what = f"part {draft.part}" if draft.part else f"tree {draft.tree}"
    instead = ", in place of the one in the folder" if draft.replaces else ""
    yield Prose(
        Text(
            f"TRY of the {what} from {draft.file}{instead}. Nothing is stored, and whatever the "
            "complaint is, the call stays in it. It is for whoever writes the file: nothing said "
            "here is advice for a machine.",
            style="triage.heading",
        )
    )
    if draft.part:
        yield Prose(
            Text(
                f"Used by: {', '.join(draft.users) or 'no tree yet'}. Asked first is what a call "
                "has answered before it comes to the part. A part has no shares of causes, so all "
                "of them count alike.",
                style="triage.hint",
            )
        )
    yield from _promises(draft, broken)
    yield Text("")


def _promises(draft: Draft, broken: Sequence[Finding]) -> Iterator[RenderableType]:
    if not broken:
        if draft.part and not draft.users:
            words = "Nothing is proved: order and cautions are proved in the trees that use a part."
        else:
            words = "Proved: it holds every promise."
        yield Prose(Text(words, style="triage.hint"))
        return
    yield Prose(
        Text(
            f"NOT PROVED: it breaks {counted(len(broken), 'promise')}. The try goes on all the "
            "same, and what it says may be wrong.",
            style="triage.stop",
        )
    )
    for finding in broken[:_MOST_FINDINGS]:
        first, *lines = str(finding).splitlines()
        yield Item(plain_text(first))
        yield from (Text(f"  {plain_text(line)}") for line in lines)
    if len(broken) > _MOST_FINDINGS:
        yield Item(f"and {len(broken) - _MOST_FINDINGS} more")


def _closing(draft: Draft, went: Tried, broken: Sequence[Finding]) -> Iterator[RenderableType]:
    yield Text("")
    ended = "It ended at" if went.has_ended else "It was left at"
    leapt = " by all readings together, past the order of the questions" if went.has_leapt else ""
    yield Prose(
        Text(f"{ended} {draft.shown(went.at)}{leapt}. Nothing was stored.", style="triage.heading")
    )
    yield Prose(Text(f"Path: {' → '.join(_shown(draft, went.path))}"))
    if went.beside:
        yield Prose(Text(f"Asked beside it: {', '.join(_shown(draft, went.beside))}"))
    unseen = _shown(draft, went.unseen(draft.own_nodes))
    nodes = counted(len(draft.own_nodes), "node")
    if unseen:
        more = f" and {len(unseen) - _MOST_UNSEEN} more" if len(unseen) > _MOST_UNSEEN else ""
        names = f"{', '.join(unseen[:_MOST_UNSEEN])}{more}"
        words = (
            f"Of the {nodes} written in {draft.file} this call did not see {len(unseen)}: {names}."
        )
    else:
        words = f"It saw every one of the {nodes} written in {draft.file}."
    yield Prose(Text(words))
    if broken:
        yield Prose(
            Text(f"Still not proved: {counted(len(broken), 'promise')}.", style="triage.stop")
        )


def _now() -> datetime:
    return datetime.now(UTC)
