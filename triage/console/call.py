"""Taking a call and going on with one: content, engine, store and surface put together."""

from __future__ import annotations

import argparse
import json
import os
import sys
from collections.abc import Callable, Sequence
from contextlib import suppress
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING

from triage.console.aside import write_aside
from triage.console.asked import UsageError, altitude_m
from triage.console.called_before import RecordBeside
from triage.console.desk import Desk
from triage.console.left_waiting import write_what_waits
from triage.console.screen import screen_of
from triage.dialogue.case import fold
from triage.dialogue.engine import Engine
from triage.dialogue.events import Event, Started
from triage.dialogue.steering import serial_number_in
from triage.dialogue.view import Prompt, Recommended
from triage.dialogue.words import plain_text
from triage.exits import BAD_STORE, DONE, INTERRUPTED, NO_RECOMMENDATION
from triage.store import new_session_id, open_store
from triage.store.errors import (
    SessionAmbiguous,
    SessionNotFound,
    StoreError,
    StoreMissing,
    StoreUnreachable,
    shown,
)
from triage.store.kept import KeptRecord
from triage.store.record import StoredEvent
from triage.tree.cache import checked_content
from triage.tree.content import Content
from triage.tree.errors import TreeError
from triage.tree.where import content_folder

if TYPE_CHECKING:
    from triage.store.sql import Store

SCRIPT = "answers file"
"""Who spoke in a scripted call."""

_BRIEF_PATIENCE_S = 1.0


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
    record = KeptRecord(options.store, store_opener(options.store))
    desk = Desk.start(
        engine,
        lambda: record,
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
        serial_number=serial_number_of(options.serial),
        can_mend_end=True,
    )
    return _chat(options, desk, record)


def resume_call(options: argparse.Namespace) -> int:
    """Go on with a stored call; return the exit code."""
    try:
        write_what_waits(options.store)
    except StoreUnreachable as error:
        raise StoreUnreachable(f"{error}; start a new call meanwhile: triage call") from error
    if not options.session:
        from triage.console.resuming import chosen_session

        options.session = chosen_session(options, content_of(options))
    session_id, stored = stored_session(options)
    events = [item.event for item in stored]
    started = started_of(events)
    engine = engine_of(content_of(options), started.tree)
    record = KeptRecord(options.store, store_opener(options.store), is_known=True)
    desk = Desk.resume(
        engine, lambda: record, _now, session_id, started.voice, events, options.agent
    )
    if desk.is_over:
        return _chat(options, desk, record)
    _need_terminal("a terminal; triage log show prints the call so far")
    from triage.dialogue.standing import Times, standing_of

    left = fold(events)
    began_at, left_at = (datetime.fromisoformat(stored[end].recorded_at) for end in (0, -1))
    times = Times(began_at, left_at, _now())
    if not left.is_stopped:
        from triage.console.resuming import may_go_on

        if not may_go_on(options, events, times.now - left_at):
            return NO_RECOMMENDATION
    return _chat(options, desk, record, standing=standing_of(engine, left, times))


def serial_number_of(text: str) -> str:
    """Return a serial number as it is kept, "" if none is given; raises UsageError for no such."""
    number = serial_number_in(text) if text else ""
    if number is None:
        raise UsageError(
            f'"{plain_text(text, 60)}" is no serial number: letters and digits as on the data '
            "plate, at most 40, such as 0451-77"
        )
    return number


def stored_session(options: argparse.Namespace) -> tuple[str, list[StoredEvent]]:
    """Return the id and the events of the session the options name; raises StoreError."""
    try:
        with open_store(options.store, must_exist=True) as store:
            try:
                session_id = store.resolve(options.session)
            except SessionAmbiguous as error:
                from triage.console.resuming import told_apart

                content = _content_if_sound(options)
                raise told_apart(error, options.session, store, content) from None
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


def _content_if_sound(options: argparse.Namespace) -> Content | None:
    """Return the content for its names; None where it has faults, which is another matter."""
    try:
        return checked_content(content_folder(getattr(options, "trees", None)))
    except TreeError:
        return None


def engine_of(content: Content, tree_id: str) -> Engine:
    """Return the engine of one tree; raises UnknownTree."""
    return Engine(content, tree_id)


def started_of(events: Sequence[Event]) -> Started:
    """Return the event a session begins with."""
    first = events[0]
    if not isinstance(first, Started):
        raise UsageError("the session does not begin with its start; it cannot be gone on with")
    return first


def store_opener(target: str | None) -> Callable[[], Store]:
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
    serial_number = serial_number_of(options.serial or answers.serial_number)
    write_what_waits(options.store)
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
        serial_number=serial_number,
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
        write_aside(f"not counted as it stands: {reading}: {plain_text(typed)}")
    if script.unused:
        names = ", ".join(script.unused)
        write_aside(f"not asked for in this call, so not used: {names}")
    return exit_code_at(desk.prompt)


def _chat(
    options: argparse.Namespace, desk: Desk, record: KeptRecord, *, standing: Sequence[str] = ()
) -> int:
    from triage.console.chat import ChatEnd, chat
    from triage.console.line import default_history_file

    console = screen_of(options)
    was_over = desk.is_over
    others = RecordBeside(
        lambda: open_store(options.store, patience_s=_BRIEF_PATIENCE_S, must_exist=True),
        desk.session_id,
        desk.engine.content,
        _now,
    )
    with record:
        end = chat(
            desk,
            console,
            _now,
            is_resumed=bool(standing),
            standing=standing,
            is_vi=options.vi,
            history_file=default_history_file,
            after_first_question=desk.warm_up,
            record=record,
            others=others,
        )
        is_out_of_reach = record.waiting > 0
    if not was_over and not is_out_of_reach:
        _tell_overdue(options, desk.session_id)
    if end is ChatEnd.MOVED:
        return BAD_STORE
    return INTERRUPTED if end is ChatEnd.INTERRUPTED else exit_code_at(desk.prompt)


def _tell_overdue(options: argparse.Namespace, session_id: str) -> None:
    """Mention the agent's parked calls that are due; a store that cannot be read is no matter."""
    from rich.text import Text

    from triage.console.look import Prose
    from triage.console.overdue import overdue_line

    parked = []
    with (
        suppress(StoreError),
        open_store(options.store, patience_s=_BRIEF_PATIENCE_S, must_exist=True) as store,
    ):
        parked = store.parked(options.agent)
    line = overdue_line(parked, _now(), options.agent, session_id)
    if line:
        screen_of(options).print(Prose(Text(line, style="triage.outside")))


def _need_terminal(instead: str) -> None:
    if not (sys.stdin.isatty() and sys.stdout.isatty()):
        raise UsageError(
            f"a call is a conversation and needs a terminal; without one use {instead}"
        )


def _now() -> datetime:
    return datetime.now(UTC)
