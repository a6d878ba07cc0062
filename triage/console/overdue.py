"""Parked calls that should have been gone on with, told in one line at the end of a call."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import datetime, timedelta
from typing import Protocol

from triage.console.when import clock_time_near, due_words
from triage.dialogue.words import counted, plain_text
from triage.store.listing import OPEN, OPEN_RESULT, STOPPED, SessionFilter, SessionSummary

LEFT_LATELY = timedelta(hours=24)
"""How long a call that broke off is still offered to go on with (judged)."""
LONGEST_CALL = timedelta(hours=24)
"""How long before it broke off a call may have begun (judged)."""
_MOST_OPEN = 500


class Lister(Protocol):
    """What lists the lines of sessions."""

    def sessions(
        self, limit: int = 50, before: int | None = None, where: SessionFilter = ...
    ) -> list[SessionSummary]:
        """Return lines, the latest first."""


def is_due(call: SessionSummary, now: datetime) -> bool:
    """Return whether the time a parked call waits for has come."""
    return bool(call.due_at) and datetime.fromisoformat(call.due_at) <= now


def by_due(calls: Iterable[SessionSummary]) -> list[SessionSummary]:
    """Return parked calls in the order they are due; those without a time come last."""
    return sorted(calls, key=lambda call: (call.due_at == "", call.due_at, call.session_id))


def broken_off(store: Lister, now: datetime, agent: str = "") -> list[SessionSummary]:
    """Return the calls left open or stopped in the last 24 hours, the latest first.

    now: with its zone. agent: only those this agent had, "" for all
    """
    left = now - LEFT_LATELY
    where = SessionFilter(result=OPEN_RESULT, since=left - LONGEST_CALL, agent=agent)
    calls = [
        call
        for call in store.sessions(_MOST_OPEN, where=where)
        if call.state in (OPEN, STOPPED)
        and not call.purged_at
        and left <= datetime.fromisoformat(call.last_at)
    ]
    return sorted(calls, key=lambda call: call.last_at, reverse=True)


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
    count = f"{counted(len(due), 'parked call')} {'is' if len(due) == 1 else 'are'}"
    whose = f" --agent {_shell_word(agent)}" if agent else ""
    return (
        f"{count} due; first {first.session_id} at {clock_time_near(first.due_at, now)} "
        f"({due_words(first.due_at, now)}). See: triage parked{whose}"
    )


def _shell_word(text: str) -> str:
    import shlex

    return shlex.quote(plain_text(text, 60))
