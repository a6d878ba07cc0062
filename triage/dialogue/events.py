"""The record of a call: frozen events with short stable names, to and from plain data.

A session is a list of these and nothing else. Kinds keep their names and fields for good; a new
field needs a default, a changed meaning needs a new kind.
"""

from __future__ import annotations

import math
from dataclasses import asdict, dataclass, fields
from typing import Any, ClassVar

EVENT_FORMAT = 1
"""Version written beside every stored event."""

FOUND_NO_FAULT = "no_fault_found"
FOUND_OTHER = "other_fault"
"""What a repair may find beside a cause of the content."""

OPEN_CIRCUIT = "open_circuit"
"""How an infinite resistance is stored: JSON has no infinity."""


_NUMBERS = {"value", "low", "high"}


class EventError(ValueError):
    """A stored event is of no known kind or its fields do not fit."""


@dataclass(frozen=True, slots=True)
class Started:
    """A call begins."""

    kind: ClassVar[str] = "started"
    tree: str
    content_version: str
    voice: str
    units: str
    altitude_m: float = 0.0
    agent: str = ""


@dataclass(frozen=True, slots=True)
class TreeChosen:
    """The complaint belongs to another tree; the call goes on in it."""

    kind: ClassVar[str] = "tree_chosen"
    tree: str


@dataclass(frozen=True, slots=True)
class Asked:
    """A question, caution or confirmation was put to the caller; `node` is its id in the graph."""

    kind: ClassVar[str] = "asked"
    node: str


@dataclass(frozen=True, slots=True)
class Said:
    """A line as it was typed; the events it led to follow. A replay says these lines again."""

    kind: ClassVar[str] = "said"
    text: str


@dataclass(frozen=True, slots=True)
class Answered:
    """A reading counts from here on; the last one of a reading wins.

    `value` is in SI (pressures absolute pascal), a choice id, or None when unknown; then `reason`
    says why. `minute_s` is when into the freeze or harvest it was taken, `is_minute_assumed` if the
    caller did not say.
    """

    kind: ClassVar[str] = "answered"
    reading: str
    typed: str
    value: float | str | None
    reason: str = ""
    minute_s: float | None = None
    is_minute_assumed: bool = False


@dataclass(frozen=True, slots=True)
class Offered:
    """Readings taken from one breath, or one that needs a second look; each waits for a yes.

    `items` holds `Answered` values as plain data; `doubt` is the plain sentence that asked, empty
    when nothing was doubtful and the readings are only shown back.
    """

    kind: ClassVar[str] = "offered"
    items: tuple[dict[str, Any], ...]
    doubt: str = ""


@dataclass(frozen=True, slots=True)
class Declined:
    """The caller said no to the first reading still offered; it does not count."""

    kind: ClassVar[str] = "declined"
    reading: str
    typed: str


@dataclass(frozen=True, slots=True)
class NotUnderstood:
    """What was typed could not be used; kept so that nothing typed is lost."""

    kind: ClassVar[str] = "not_understood"
    node: str
    typed: str
    message: str


@dataclass(frozen=True, slots=True)
class TakenBack:
    """The caller goes back: this reading is open again."""

    kind: ClassVar[str] = "taken_back"
    reading: str
    typed: str = ""


@dataclass(frozen=True, slots=True)
class Looked:
    """The caller asked why, how, for help or for the case so far (`topic`) while at `node`."""

    kind: ClassVar[str] = "looked"
    topic: str
    typed: str
    node: str


@dataclass(frozen=True, slots=True)
class Noted:
    """A free note."""

    kind: ClassVar[str] = "noted"
    text: str


@dataclass(frozen=True, slots=True)
class Acknowledged:
    """One caution was acknowledged by itself; at the gate `seal` names the exact recommendation."""

    kind: ClassVar[str] = "acknowledged"
    caution: str
    typed: str
    seal: str = ""


@dataclass(frozen=True, slots=True)
class Refused:
    """One caution was refused; at the gate this ends the session."""

    kind: ClassVar[str] = "refused"
    caution: str
    typed: str
    seal: str = ""


@dataclass(frozen=True, slots=True)
class Stopped:
    """The call was left and kept; `resume` goes on from here."""

    kind: ClassVar[str] = "stopped"
    typed: str = ""


@dataclass(frozen=True, slots=True)
class Identified:
    """Which very machine the call is about: the serial number on its data plate."""

    kind: ClassVar[str] = "identified"
    serial_number: str
    typed: str = ""


@dataclass(frozen=True, slots=True)
class Parked:
    """The call waits for the machine: `due_at` (UTC, ISO 8601) is when to go on, and why."""

    kind: ClassVar[str] = "parked"
    reason: str
    due_at: str
    typed: str = ""


@dataclass(frozen=True, slots=True)
class Resumed:
    """The call goes on."""

    kind: ClassVar[str] = "resumed"
    content_version: str
    agent: str = ""


@dataclass(frozen=True, slots=True)
class Concluded:
    """The end was shown: `result` is recommended, withheld or escalated.

    `agreement` is how path and ranking compared, `ranked` the likeliest causes with their
    probabilities as plain data; `machine` and `refrigerant` are what the call was judged with.
    """

    kind: ClassVar[str] = "concluded"
    ending: str
    result: str
    causes: tuple[str, ...]
    reason: str = ""
    agreement: str = ""
    ranked: tuple[dict[str, Any], ...] = ()
    machine: str = ""
    refrigerant: str = ""


@dataclass(frozen=True, slots=True)
class RepairReported:
    """What came of the advice: the last report of a call counts.

    `found` holds cause ids, or one of FOUND_NO_FAULT and FOUND_OTHER; `parts` what was replaced, in
    the reporter's words; `had_two_good_cycles` is None where it was not reported. `readings` are
    those after the repair as plain data: `reading`, `typed`, `value`, `minute_s`, `verdict`, `low`,
    `high`, in SI; later ones also `residual` [half-widths of the band], `unit_assumed`,
    `is_minute_assumed`.
    """

    kind: ClassVar[str] = "repair_reported"
    found: tuple[str, ...]
    parts: tuple[str, ...] = ()
    had_two_good_cycles: bool | None = None
    readings: tuple[dict[str, Any], ...] = ()
    note: str = ""
    reported_by: str = ""


Event = (
    Started
    | TreeChosen
    | Asked
    | Said
    | Answered
    | Offered
    | Declined
    | NotUnderstood
    | TakenBack
    | Looked
    | Noted
    | Acknowledged
    | Refused
    | Stopped
    | Identified
    | Parked
    | Resumed
    | Concluded
    | RepairReported
)

_KINDS: dict[str, type[Event]] = {
    cls.kind: cls
    for cls in (
        Started, TreeChosen, Asked, Said, Answered, Offered, Declined, NotUnderstood, TakenBack,
        Looked, Noted,
        Acknowledged, Refused, Stopped, Identified, Parked, Resumed, Concluded, RepairReported,
    )
}  # fmt: skip


def event_to_data(event: Event) -> dict[str, Any]:
    """Return the fields of `event` as plain JSON-ready data (tuples become lists)."""
    return {name: _to_plain(value) for name, value in asdict(event).items()}


def event_from_data(kind: str, data: dict[str, Any]) -> Event:
    """Return the event of `kind` with the fields `data`; raise EventError if they do not fit."""
    cls = _KINDS.get(kind)
    if cls is None:
        raise EventError(f'stored event kind "{kind}" is not known to this version')
    known = {item.name for item in fields(cls)}
    strange = sorted(set(data) - known)
    if strange:
        raise EventError(f'stored event "{kind}" has unknown field "{strange[0]}"')
    values = {name: _from_plain(name, value) for name, value in data.items()}
    try:
        return cls(**values)
    except TypeError as error:
        raise EventError(f'stored event "{kind}" is incomplete: {error}') from error


def _to_plain(value: Any) -> Any:
    match value:
        case tuple() | list():
            return [_to_plain(item) for item in value]
        case dict():
            return {name: _to_plain(item) for name, item in value.items()}
        case float() if math.isinf(value):
            return OPEN_CIRCUIT
        case _:
            return value


def _from_plain(name: str, value: Any) -> Any:
    match value:
        case list():
            return tuple(_from_plain("", item) for item in value)
        case dict():
            return {key: _from_plain(key, item) for key, item in value.items()}
        case _:
            # A person may type the same word; only a value and its band are ever numbers.
            return math.inf if name in _NUMBERS and value == OPEN_CIRCUIT else value
