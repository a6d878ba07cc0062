"""A machine that called before: when, what was concluded, what the repair found, whether it held.

The sentence is pure; `RecordBeside` looks into the record for it, for a moment.
"""

from __future__ import annotations

from collections.abc import Callable
from contextlib import suppress
from datetime import datetime
from typing import TYPE_CHECKING, Protocol

from triage.console.when import on_day
from triage.dialogue.events import FOUND_NO_FAULT, FOUND_OTHER
from triage.dialogue.words import plain_text
from triage.store.errors import StoreError
from triage.store.listing import SEVERAL_FAULTS, SessionFilter, SessionSummary
from triage.tree.content import Content

if TYPE_CHECKING:
    from triage.store.sql import Store

_FOUND = {
    FOUND_NO_FAULT: "no fault",
    FOUND_OTHER: "another fault",
    SEVERAL_FAULTS: "several faults",
}


class OtherCalls(Protocol):
    """What the record knows beside the call at hand; each is "" where there is nothing to tell."""

    def called_before(self, serial_number: str) -> str:
        """Return one sentence about the last other call of that machine."""

    def desk_at(self) -> str:
        """Return who has the call at hand now."""


class RecordBeside:
    """Looks into the record beside one call; a store that cannot be had tells nothing."""

    def __init__(
        self,
        open_briefly: Callable[[], Store],
        session_id: str,
        content: Content,
        clock: Callable[[], datetime],
    ) -> None:
        """`open_briefly` opens the store and gives up soon, for somebody waits."""
        self._open = open_briefly
        self._session_id = session_id
        self._content = content
        self._clock = clock

    def called_before(self, serial_number: str) -> str:
        """Return one sentence about the last other call of that machine, "" for none."""
        where = SessionFilter(serial_number=serial_number)
        found: list[SessionSummary] = []
        with suppress(StoreError), self._open() as store:
            found = store.sessions(2, where=where)
        others = (call for call in found if call.session_id != self._session_id)
        call = next(others, None)
        return "" if call is None else before_words(call, self._content, self._clock())

    def desk_at(self) -> str:
        """Return who was at this call last, "" where nobody was named."""
        with suppress(StoreError), self._open() as store:
            return store.summary(self._session_id).desk
        return ""


def before_words(call: SessionSummary, content: Content, now: datetime) -> str:
    """Return when a machine called before, what was concluded, and what came of it."""
    when = f"This machine called {on_day(call.started_at, now)}"
    if not call.result:
        return plain_text(f"{when}, and that call has not ended: triage resume {call.session_id}.")
    cause = _cause(call.cause, content)
    concluded = {
        "recommended": cause,
        "withheld": f"{cause}, the repair withheld" if cause else "the repair withheld",
    }.get(call.result, "it was escalated, no cause told")
    return plain_text(f"{when}: {concluded or 'no cause told'}; {_outcome(call, content)}.")


def _outcome(call: SessionSummary, content: Content) -> str:
    if not call.outcome:
        return "what the repair found is not reported"
    held = {
        True: "the repair held",
        False: "the repair did not hold",
        None: "whether it held is not known",
    }[call.had_two_good_cycles]
    if call.outcome == call.cause:
        return held
    found = _FOUND.get(call.outcome) or _cause(call.outcome, content)
    return f"the repair found {found}; {held}"


def _cause(cause_id: str, content: Content) -> str:
    cause = content.causes.get(cause_id)
    return cause.name if cause else cause_id.replace("_", " ")
