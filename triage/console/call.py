"""Taking a call and going on with one: content, engine, store and surface put together."""

from __future__ import annotations

import argparse
import json
import os
import sys
from collections.abc import Callable, Sequence
from datetime import UTC, datetime
from pathlib import Path

from triage.console.asked import UsageError, altitude_m
from triage.console.desk import Desk, Record
from triage.console.screen import screen_of
from triage.dialogue.engine import Engine
from triage.dialogue.events import Event, Started
from triage.dialogue.view import Prompt, Recommended
from triage.dialogue.words import plain_text
from triage.exits import DONE, INTERRUPTED, NO_RECOMMENDATION
from triage.store import new_session_id, open_store
from triage.store.errors import SessionNotFound, StoreMissing, shown
from triage.store.record import StoredEvent
from triage.tree.cache import checked_content
from triage.tree.content import Content
from triage.tree.where import content_folder

SCRIPT = "answers file"
"""Who spoke in a scripted call."""


def take_call(options: argparse.Namespace) -> int:
    """Take a call at the terminal or from an answers file; return the exit code."""
    content = content_of(options)
    engine = engine_of(content, options.tree)
    if options.answers is not None:
        return _scripted(options, engine)
    if options.json:
        raise UsageError("--json prints a finished call; give its answers with --answers FILE")
    _need_terminal("--answers FILE")
    voice = options.voice or "agent"
    desk = Desk.start(
        engine,
        store_opener(options.store),
        _now,
        fresh_session_id(),
        voice,
        Started(
            engine.tree.id,
            content.version,
            voice,
            options.units or "us",
            altitude_m(options.altitude),
            options.agent,
        ),
        can_mend_end=True,
    )
    return _chat(options, desk)


def resume_call(options: argparse.Namespace) -> int:
    """Go on with a stored call; return the exit code."""
    session_id, stored = stored_session(options)
    events = [item.event for item in stored]
    started = started_of(events)
    engine = engine_of(content_of(options), started.tree)
    desk = Desk.resume(
        engine, store_opener(options.store), _now, session_id, started.voice, events,
        options.agent,
    )  # fmt: skip
    if not desk.is_over:
        _need_terminal("a terminal; triage log show prints the call so far")
    return _chat(options, desk, is_resumed=True)


def stored_session(options: argparse.Namespace) -> tuple[str, list[StoredEvent]]:
    """Return the id and the events of the session the options name; raises StoreError."""
    try:
        with open_store(options.store, must_exist=True) as store:
            session_id = store.resolve(options.session)
            return session_id, store.events(session_id)
    except StoreMissing as error:
        if options.store is not None:
            raise
        raise SessionNotFound(
            f'no session "{shown(options.session)}": no call is stored yet; triage log list shows '
            "those there are"
        ) from error


def content_of(options: argparse.Namespace) -> Content:
    """Return the checked and proved content the options name."""
    return checked_content(content_folder(options.trees))


def engine_of(content: Content, tree_id: str) -> Engine:
    """Return the engine of one tree; raises UnknownTree."""
    return Engine(content, tree_id)


def started_of(events: Sequence[Event]) -> Started:
    """Return the event a session begins with."""
    first = events[0]
    if not isinstance(first, Started):
        raise UsageError("the session does not begin with its start; it cannot be gone on with")
    return first


def store_opener(target: str | None) -> Callable[[], Record]:
    """Return what opens the store when it is first needed."""
    return lambda: open_store(target)


def fresh_session_id() -> str:
    """Return an id no other session has."""
    return new_session_id(_now(), os.urandom(8))


def exit_code_at(prompt: Prompt) -> int:
    """Return the exit code of a call that stands at `prompt`."""
    return DONE if isinstance(prompt, Recommended) else NO_RECOMMENDATION


def _scripted(options: argparse.Namespace, engine: Engine) -> int:
    from triage.console.answers_file import load_answers
    from triage.console.scripted import Script, run_script
    from triage.dialogue.result import result_of

    answers = load_answers(Path(options.answers), engine.content)
    script = Script(answers)
    said_altitude = script.altitude or options.altitude
    store = open_store(options.store)
    desk = Desk.start(
        engine,
        lambda: store,
        _now,
        fresh_session_id(),
        SCRIPT,
        Started(
            engine.tree.id,
            engine.content.version,
            options.voice or answers.voice or "agent",
            options.units or answers.units or "us",
            altitude_m(said_altitude),
            options.agent,
        ),
    )
    with store:
        lost = run_script(desk, script, answers.notes)
        if options.json:
            result = {
                **result_of(engine, desk.session_id, desk.case),
                "unused_answers": list(script.unused),
                "not_counted": [{"reading": key, "typed": typed} for key, typed in lost],
            }
            sys.stdout.write(json.dumps(result, indent=2, ensure_ascii=False) + "\n")
        else:
            from triage.console.transcript import transcript

            spoken = [
                (datetime.fromisoformat(item.recorded_at), item.speaker, item.event)
                for item in store.events(desk.session_id)
            ]
            console = screen_of(options)
            console.print(transcript(engine, spoken))
            console.print(f"Session {desk.session_id} is kept.")
    for reading, typed in lost:
        sys.stderr.write(f"triage: not counted as it stands: {reading}: {plain_text(typed)}\n")
    if script.unused:
        names = ", ".join(script.unused)
        sys.stderr.write(f"triage: not asked for in this call, so not used: {names}\n")
    return exit_code_at(desk.prompt)


def _chat(options: argparse.Namespace, desk: Desk, *, is_resumed: bool = False) -> int:
    from triage.console.chat import ChatEnd, chat
    from triage.console.line import default_history_file

    end = chat(
        desk,
        screen_of(options),
        _now,
        is_resumed=is_resumed,
        is_vi=options.vi,
        history_file=default_history_file,
        after_first_question=desk.warm_up,
    )
    return INTERRUPTED if end is ChatEnd.INTERRUPTED else exit_code_at(desk.prompt)


def _need_terminal(instead: str) -> None:
    if not (sys.stdin.isatty() and sys.stdout.isatty()):
        raise UsageError(
            f"a call is a conversation and needs a terminal; without one use {instead}"
        )


def _now() -> datetime:
    return datetime.now(UTC)
