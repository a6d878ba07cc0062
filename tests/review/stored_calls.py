"""Stored calls for tests of review: a desk plays them, their events are chained as in a store."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from functools import cache
from pathlib import Path

from tests.conversation import TREE, shipped_engine
from triage.console.answers_file import AnswersFile, load_answers
from triage.console.demo import demo_calls, run_call
from triage.console.desk import Desk
from triage.console.scripted import Script
from triage.dialogue.engine import Engine
from triage.dialogue.events import Event, Started
from triage.store.record import FIRST_PREVIOUS_HASH, StoredEvent, chain

BEGUN = datetime(2026, 11, 25, 9, 31, tzinfo=UTC)
TURN = timedelta(seconds=40)
"""How long a turn takes in a call nobody hurries in."""

TRANSCRIPTS = Path(__file__).parent.parent.parent / "transcripts_demo"


@dataclass
class Chained:
    """A record in memory that chains what a desk puts into it."""

    session_id: str = "20261125-0931-aaaa"
    events: list[StoredEvent] = field(default_factory=list)
    ends: list[int] = field(default_factory=list)
    """After how many events each append was done: where a record can stop."""

    def append(
        self,
        session_id: str,
        events: Sequence[tuple[str, Event]],
        content_version: str,
        now: datetime,
        expected_length: int,
    ) -> None:
        """Keep `events`."""
        previous = self.events[-1].hash if self.events else FIRST_PREVIOUS_HASH
        self.events += chain(
            self.session_id, events, content_version, now, len(self.events), previous
        )
        self.ends.append(len(self.events))


def chained(
    *spoken: tuple[str, Event], version: str = "", begun: datetime = BEGUN, step: timedelta = TURN
) -> list[StoredEvent]:
    """Return events as a store would give them back, each `step` after the one before."""
    record = Chained()
    for number, item in enumerate(spoken):
        version_of = version or shipped_engine().content.version
        record.append("", [item], version_of, begun + number * step, number)
    return record.events


def desk_of(record: Chained, started: Started | None = None, engine: Engine | None = None) -> Desk:
    """Return a desk at the first question whose call goes into `record`, a turn every TURN."""
    engine = engine or shipped_engine()
    version = engine.content.version
    ticks = iter(range(1_000_000))
    return Desk.start(
        engine,
        lambda: record,
        lambda: BEGUN + next(ticks) * TURN,
        record.session_id,
        "agent",
        started or Started(TREE, version, "agent", "us", 0.0, "Mira Oduya"),
        can_mend_end=True,
    )


def call_of(
    answers: Mapping[str, str | Sequence[str]],
    acknowledge: str | tuple[str, ...] = "all",
    refuse: tuple[str, ...] = (),
) -> list[StoredEvent]:
    """Return a whole call in which the caller says `answers`."""
    texts = {
        reading: (text,) if isinstance(text, str) else tuple(text)
        for reading, text in answers.items()
    }
    record = Chained()
    desk = desk_of(record)
    script = Script(AnswersFile(texts, acknowledge, refuse))
    while not desk.is_over:
        desk.say("done" if desk.stage is None else script.line(desk.prompt))
    return record.events


DEMOS = tuple(path.stem for path in demo_calls(TRANSCRIPTS))
"""Names of the shipped demo calls."""


@cache
def demo_record(name: str) -> tuple[StoredEvent, ...]:
    """Return a shipped demo call as a record; played when first asked for."""
    content = shipped_engine().content
    path = (TRANSCRIPTS / name).with_suffix(".yaml")
    _, spoken = run_call(content, load_answers(path, content), name)
    record = Chained(name)
    for number, (at, speaker, event) in enumerate(spoken):
        record.append("", [(speaker, event)], content.version, at, number)
    return tuple(record.events)


def events_of(stored: Sequence[StoredEvent]) -> list[Event]:
    """Return the events of a record."""
    return [item.event for item in stored]
