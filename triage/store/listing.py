"""A session as one line of a list, and what a list may be narrowed to. No database here."""

from __future__ import annotations

import unicodedata
from dataclasses import dataclass
from datetime import datetime

ANY_OUTCOME = "any"
NO_OUTCOME = "none"
"""What a list may be narrowed to beside one outcome: whatever was reported, or nothing yet."""

NO_AGENT = "none"
"""What a list may be narrowed to beside a name: calls that nobody put a name to."""

SEVERAL_FAULTS = "several_faults"
"""The outcome of a repair that found more than one cause."""

OPEN_RESULT = "open"
"""Stands for a call that has not ended where results are named."""

OPEN, STOPPED, PARKED, ENDED = "open", "stopped", "parked", "ended"
"""States of a call."""

_LONGEST_WORD = 64
_MOST_WORDS = 2000


@dataclass(frozen=True, slots=True)
class SessionSummary:
    """One session as a list shows it; every field follows from its events.

    `number` is when it started in microseconds since 1970, made unique; lists go by it. Times are
    UTC in ISO 8601, empty where there is none. `count` and `head_hash` are those of the last event.
    `agent` took the call, `desk` was at it last. `node` is what was asked last; `questions` how
    many were put. `active_s` leaves out the time a call was stopped or parked [s]. `result` is
    empty until the call ends; `cause` is the first cause concluded, `likeliest` the one all
    readings ranked first. `outcome` is the cause the repair found, or another word for it, empty
    while nobody reported. `previous_number` is the call before on the same serial number.
    Calls on one machine are matched by `serial_key`. `words` are those of the notes. `fault` is
    empty unless an event was found damaged.
    """

    session_id: str
    number: int = 0
    started_at: str = ""
    last_at: str = ""
    count: int = 0
    head_hash: str = ""
    tree: str = ""
    agent: str = ""
    desk: str = ""
    voice: str = ""
    content_version: str = ""
    machine: str = ""
    refrigerant: str = ""
    serial_number: str = ""
    serial_key: str = ""
    state: str = OPEN
    node: str = ""
    last_kind: str = ""
    result: str = ""
    ending: str = ""
    cause: str = ""
    likeliest: str = ""
    agreement: str = ""
    questions: int = 0
    active_s: float = 0.0
    due_at: str = ""
    park_reason: str = ""
    outcome: str = ""
    had_two_good_cycles: bool | None = None
    reported_at: str = ""
    previous_number: int | None = None
    words: str = ""
    purged_at: str = ""
    fault: str = ""


@dataclass(frozen=True, slots=True)
class SessionFilter:
    """What a list is narrowed to; an empty field lets everything through.

    `since` is the first moment let through and `until` the first that is not. `agent` took the call
    or was at it last; it may be NO_AGENT. `refrigerant` also
    lets through calls that did not end yet on one of `machines_of_refrigerant`. `result` may be
    OPEN_RESULT, `outcome` ANY_OUTCOME or NO_OUTCOME. `text` holds words or beginnings of words that
    must all occur in the notes.
    """

    since: datetime | None = None
    until: datetime | None = None
    agent: str = ""
    machine: str = ""
    refrigerant: str = ""
    machines_of_refrigerant: tuple[str, ...] = ()
    serial_number: str = ""
    cause: str = ""
    result: str = ""
    is_disagreeing: bool = False
    outcome: str = ""
    text: str = ""


def searchable(text: str) -> list[str]:
    """Return the words of `text` as they are searched for: letters and figures, case folded.

    Each once, in order, so that both engines find the same whatever they take for a word.

    >>> searchable("Fan rattles, R-404A; FAN")
    ['fan', 'rattles', 'r', '404a']
    """
    folded = unicodedata.normalize("NFKC", text).casefold()
    plain = "".join(sign if sign.isalnum() else " " for sign in folded)
    words = dict.fromkeys(word[:_LONGEST_WORD] for word in plain.split())
    return list(words)[:_MOST_WORDS]


def serial_key(serial_number: str) -> str:
    """Return a serial number as calls on one machine are matched by it.

    >>> serial_key(" gl-0042 7 ")
    'GL00427'
    """
    return "".join(sign for sign in serial_number.upper() if sign.isalnum())


def storable(text: str) -> str:
    r"""Return `text` as any database takes it: no NUL, no half of a sign.

    >>> storable("a\x00b")
    'a?b'
    """
    whole = text.encode("utf-8", "replace").decode("utf-8")
    return whole.replace("\x00", "?")
