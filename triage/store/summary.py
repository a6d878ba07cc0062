"""What a list says of a session, kept in step with its events one by one. Pure."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from datetime import datetime

from triage.dialogue.events import (
    Answered,
    Asked,
    Concluded,
    Event,
    Identified,
    Looked,
    Noted,
    NotUnderstood,
    Parked,
    Refused,
    RepairReported,
    Resumed,
    Started,
    Stopped,
    TakenBack,
    TreeChosen,
)
from triage.store.listing import (
    ENDED,
    OPEN,
    PARKED,
    SEVERAL_FAULTS,
    STOPPED,
    SessionSummary,
    searchable,
    serial_key,
    storable,
)
from triage.store.record import StoredEvent

_CAUTION = "caution:"


@dataclass(frozen=True, slots=True)
class NodeCounts:
    """How often something was asked and how it went; `seconds` is how long it held calls [s].

    `unknown` is for readings, `refused` for cautions.
    """

    asked: int = 0
    unknown: int = 0
    misunderstood: int = 0
    looked: int = 0
    refused: int = 0
    seconds: float = 0.0

    def __add__(self, other: NodeCounts) -> NodeCounts:
        return NodeCounts(
            self.asked + other.asked,
            self.unknown + other.unknown,
            self.misunderstood + other.misunderstood,
            self.looked + other.looked,
            self.refused + other.refused,
            self.seconds + other.seconds,
        )


CountKey = tuple[str, str, str]
"""Month as `2026-11`, desk, node."""

Counts = dict[CountKey, NodeCounts]


def add_to(counts: Counts, added: Mapping[CountKey, NodeCounts]) -> None:
    """Add `added` to `counts`."""
    for key, node_counts in added.items():
        counts[key] = counts.get(key, NodeCounts()) + node_counts


def summarized(
    records: Iterable[StoredEvent], summary: SessionSummary | None = None
) -> tuple[SessionSummary, Counts]:
    """Return the summary of a session after `records`, and what they add to the counts.

    summary: what is known of it before them, None if they begin the session
    Number and earlier calls are for the store to give. Raises what `StoredEvent.event` raises.
    """
    counts: Counts = {}
    for record in records:
        event = record.event
        before = summary or SessionSummary(
            record.session_id,
            started_at=record.recorded_at,
            last_at=record.recorded_at,
            number=moment_us(record.recorded_at),
        )
        seconds = _passed_s(before, event, record.recorded_at)
        after = replace(
            _after(before, event, record.recorded_at),
            last_at=record.recorded_at,
            count=record.sequence,
            head_hash=record.hash,
            last_kind=record.kind,
            active_s=before.active_s + seconds,
        )
        added = _counted(event)
        node = after.node if isinstance(event, Asked) else before.node
        _count(counts, record.recorded_at, after.desk, node, added)
        if seconds:
            _count(counts, record.recorded_at, after.desk, before.node, NodeCounts(seconds=seconds))
        summary = after
    if summary is None:
        raise ValueError("a session has at least one event")
    return summary, counts


def moment_us(recorded_at: str) -> int:
    """Return a time of the record in microseconds since 1970.

    >>> moment_us("1970-01-01T00:00:01.000002+00:00")
    1000002
    """
    at = datetime.fromisoformat(recorded_at)
    whole_s = int(at.replace(microsecond=0).timestamp())
    return whole_s * 1_000_000 + at.microsecond


def _passed_s(before: SessionSummary, event: Event, recorded_at: str) -> float:
    """Return how long the caller was at it since the event before; a clock set back counts as 0."""
    if before.state != OPEN or isinstance(event, Resumed):
        return 0.0
    passed = datetime.fromisoformat(recorded_at) - datetime.fromisoformat(before.last_at)
    return max(0.0, passed.total_seconds())


def _after(summary: SessionSummary, event: Event, recorded_at: str) -> SessionSummary:
    match event:
        case Started():
            agent = storable(event.agent)
            return replace(
                summary,
                tree=storable(event.tree),
                agent=agent,
                desk=agent,
                voice=storable(event.voice),
                content_version=storable(event.content_version),
            )
        case TreeChosen(tree):
            return replace(summary, tree=storable(tree))
        case Asked(node):
            is_question = not node.startswith(_CAUTION)
            node = _without_place(node)
            return replace(summary, node=node, questions=summary.questions + is_question)
        case Answered(reading="machine"):
            return replace(summary, machine=_word(event.value))
        case Answered(reading="refrigerant"):
            return replace(summary, refrigerant=_word(event.value))
        case TakenBack(reading="machine"):
            return replace(summary, machine="")
        case TakenBack(reading="refrigerant"):
            return replace(summary, refrigerant="")
        case Noted(text):
            words = searchable(f"{summary.words} {text}")
            return replace(summary, words=" ".join(words))
        case Identified(serial_number):
            key = storable(serial_key(serial_number))
            return replace(summary, serial_number=storable(serial_number), serial_key=key)
        case Stopped():
            return replace(summary, state=STOPPED)
        case Parked(reason, due_at):
            return replace(
                summary, state=PARKED, due_at=storable(due_at), park_reason=storable(reason)
            )
        case Resumed():
            desk = storable(event.agent) or summary.desk
            return replace(summary, state=OPEN, due_at="", park_reason="", desk=desk)
        case Concluded():
            return _concluded(summary, event)
        case RepairReported():
            found = SEVERAL_FAULTS if len(event.found) > 1 else "".join(event.found)
            return replace(
                summary,
                outcome=storable(found),
                had_two_good_cycles=event.had_two_good_cycles,
                reported_at=recorded_at,
            )
        case _:
            return summary


def _concluded(summary: SessionSummary, event: Concluded) -> SessionSummary:
    return replace(
        summary,
        state=ENDED,
        result=storable(event.result),
        ending=storable(event.ending),
        cause=storable(event.causes[0]) if event.causes else "",
        likeliest=_word(event.ranked[0].get("cause")) if event.ranked else "",
        agreement=storable(event.agreement),
        machine=storable(event.machine) or summary.machine,
        refrigerant=storable(event.refrigerant) or summary.refrigerant,
    )


def _counted(event: Event) -> NodeCounts:
    match event:
        case Asked():
            return NodeCounts(asked=1)
        case Answered(value=None):
            return NodeCounts(unknown=1)
        case NotUnderstood():
            return NodeCounts(misunderstood=1)
        case Looked():
            return NodeCounts(looked=1)
        case Refused():
            return NodeCounts(refused=1)
        case _:
            return NodeCounts()


def _count(counts: Counts, recorded_at: str, desk: str, node: str, added: NodeCounts) -> None:
    if added != NodeCounts():
        add_to(counts, {(recorded_at[:7], desk, node): added})


def _without_place(node: str) -> str:
    """A caution counts as one, wherever in the tree it was put."""
    return storable(node.split("@", 1)[0] if node.startswith(_CAUTION) else node)


def _word(value: object) -> str:
    return storable(value) if isinstance(value, str) else ""
