"""Parked calls that should have been gone on with, told in one line at the end of a call."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import datetime

from triage.console.when import clock_time_near, due_words
from triage.dialogue.words import plain_text
from triage.store.listing import SessionSummary


def is_due(call: SessionSummary, now: datetime) -> bool:
    """Return whether the time a parked call waits for has come."""
    return bool(call.due_at) and datetime.fromisoformat(call.due_at) <= now


def overdue_line(
    parked: Iterable[SessionSummary], now: datetime, agent: str, session_id: str
) -> str:
    """Return one line about the calls of `agent` that are due, "" if there is none.

    parked: the parked calls, the first due first; the call at hand, `session_id`, is left out.
    """
    due = [call for call in parked if call.session_id != session_id and is_due(call, now)]
    if not due:
        return ""
    first = due[0]
    count = "1 parked call is" if len(due) == 1 else f"{len(due)} parked calls are"
    whose = f" --agent {_shell_word(agent)}" if agent else ""
    return (
        f"{count} due; first {first.session_id} at {clock_time_near(first.due_at, now)} "
        f"({due_words(first.due_at, now)}). See: triage parked{whose}"
    )


def _shell_word(text: str) -> str:
    import shlex

    return shlex.quote(plain_text(text, 60))
