"""Calls made to be audited, and what breaks a rule in them."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime, timedelta

from tests.conversation import TREE, shipped_engine
from tests.review.stored_calls import (
    BEGUN,
    Chained,
    chained,
)
from triage.dialogue.events import (
    Answered,
    Asked,
    Concluded,
    Event,
    RepairReported,
    Started,
)
from triage.review.audit import audit
from triage.review.audit_call import AuditFinding
from triage.store.record import StoredEvent

CONTENT = shipped_engine().content
STARTED = ("program", Started(TREE, CONTENT.version, "agent", "us", 0.0, "Mira Oduya"))
LICENSED = ("agent", Answered("caller_qualification", "yes both", "licensed"))
SECOND = timedelta(seconds=1)
CONCLUDED = Concluded("harvest.feed_confirmed", "recommended", ("receiver_vapor_feed_failed",))
Spoken = tuple[str, Event]


def found(
    stored: Sequence[StoredEvent], rule: str, now: datetime = BEGUN + timedelta(hours=2)
) -> list[AuditFinding]:
    """Return what breaks one rule."""
    return [item for item in audit(CONTENT, stored, now) if item.rule == rule]


def of(*spoken: Spoken, step: timedelta = timedelta(seconds=40), version: str = "") -> list[
    StoredEvent
]:  # fmt: skip
    """Return a call of a licensed caller."""
    return chained(STARTED, LICENSED, *spoken, step=step, version=version)


def had(reading: str, value: float | str | None, typed: str = "x", reason: str = "") -> Spoken:
    return ("agent", Answered(reading, typed, value, reason))


def asked(node: str) -> Spoken:
    return ("program", Asked(node))


def report(**fields: object) -> Spoken:
    parts = tuple(CONTENT.causes["receiver_vapor_feed_failed"].replace_together)
    given = {"found": ("receiver_vapor_feed_failed",), "parts": parts, **fields}
    return ("agent", RepairReported(**{"had_two_good_cycles": True, **given}))  # type: ignore[arg-type]


def at(*timed: tuple[float, Spoken]) -> list[StoredEvent]:
    """Return a call whose events stand at these minutes."""
    record = Chained()
    for number, (minute, item) in enumerate(timed):
        when = BEGUN + timedelta(minutes=minute)
        record.append("", [item], CONTENT.version, when, number)
    return record.events
