"""A stored call as the rules of the audit look at it: who did what when, and what was known then.

Nothing is judged anew by bands: a rule goes by the record, and by today's content only for what a
reading, a caution or a question is.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime
from enum import StrEnum
from functools import cached_property

from triage.dialogue.case import Case, apply
from triage.dialogue.events import (
    Answered,
    Asked,
    Concluded,
    Event,
    Parked,
    Resumed,
    Started,
    Stopped,
)
from triage.dialogue.repair import found_word
from triage.store.record import StoredEvent
from triage.tree.content import Content, Question, Tree


class Weight(StrEnum):
    """What a breach of a rule is about, the gravest first."""

    SAFETY = "safety"
    JUDGEMENT = "judgement"
    CARE = "care"
    FOLLOW_UP = "follow-up"


@dataclass(frozen=True, slots=True)
class AuditFinding:
    """A rule that a call breaks: which event shows it, when it was, and one sentence about it."""

    rule: str
    weight: Weight
    sequence: int
    at: datetime
    text: str
    desk: str = ""
    """Who was at the desk then; empty if the record names nobody."""


@dataclass(frozen=True, slots=True)
class Step:
    """One event with its number, its time, who spoke, and the case before it."""

    sequence: int
    at: datetime
    speaker: str
    event: Event
    before: Case
    content_version: str


Breach = tuple[Step, str]
"""What a rule yields: the event that shows it and the sentence about it."""


@dataclass(frozen=True, slots=True)
class Rule:
    """A rule of a good call: its id, what it says in a line, why it is there, and its check."""

    id: str
    weight: Weight
    title: str
    reason: str
    check: Callable[[StoredCall], Iterator[Breach]]


class StoredCall:
    """A stored call, `now` being the moment of the audit.

    Raises StoreNewer or StoreDamaged for an event that this version cannot read.
    """

    def __init__(self, content: Content, stored: Sequence[StoredEvent], now: datetime) -> None:
        self.content = content
        self.now = now
        self.steps: list[Step] = []
        case = Case()
        for item in stored:
            event = item.event
            self.steps.append(
                Step(
                    item.sequence,
                    datetime.fromisoformat(item.recorded_at),
                    item.speaker,
                    event,
                    case,
                    item.content_version,
                )
            )
            case = apply(case, event)
        self.case = case

    @cached_property
    def tree(self) -> Tree | None:
        """The tree of the call in today's content, None if it is gone."""
        return self.content.trees.get(self.case.tree)

    @cached_property
    def end(self) -> Step | None:
        """The last conclusion, None for a call without one."""
        return next(
            (step for step in reversed(self.steps) if isinstance(step.event, Concluded)), None
        )

    @cached_property
    def content_at_end(self) -> str:
        """Version of the content the call was last held with."""
        versions = [
            step.event.content_version
            for step in self.steps
            if isinstance(step.event, (Started, Resumed))
        ]
        return versions[-1] if versions else ""

    def desk_at(self, step: Step) -> str:
        """Return who was at the desk at a step; empty if the record names nobody."""
        desk = ""
        for earlier in self.of(Started, Resumed):
            if earlier.sequence > step.sequence:
                break
            if isinstance(earlier.event, (Started, Resumed)):
                desk = earlier.event.agent or desk
        return desk

    def question(self, node: str) -> Question | None:
        """Return a question that was asked, None for a caution or one no longer in the content."""
        return self.tree.questions.get(node) if self.tree else None

    def reading_name(self, reading_id: str) -> str:
        """Return what people call a reading, its id if the content no longer has it."""
        reading = self.content.readings.get(reading_id)
        return reading.name if reading else reading_id

    def readings_named(self, reading_ids: Iterable[str]) -> str:
        """Return the names of several readings as a list in words."""
        return listed([self.reading_name(reading_id) for reading_id in reading_ids])

    def causes_named(self, cause_ids: Iterable[str]) -> str:
        """Return the names of several causes as a list in words."""
        return listed([found_word(cause_id, self.content) for cause_id in cause_ids])

    def node_words(self, node: str) -> str:
        """Return what was put to the caller: the reading asked for, or the caution's title."""
        if node.startswith("caution:"):
            caution = self.content.cautions.get(node.removeprefix("caution:").split("@", 1)[0])
            return f'the caution "{caution.title}"' if caution else node
        question = self.question(node)
        return f"the question about {self.reading_name(question.reading)}" if question else node

    def of(self, *kinds: type[Event]) -> Iterator[Step]:
        """Yield the steps of these kinds, in order."""
        return (step for step in self.steps if isinstance(step.event, kinds))

    def visits(self) -> Iterator[Visit]:
        """Yield each stay at something that was put to the caller, in order."""
        begun: Step | None = None
        inside: list[Step] = []
        for step in self.steps:
            if isinstance(step.event, (Asked, Concluded)):
                if begun is not None:
                    yield Visit(begun, tuple(inside), step)
                if isinstance(step.event, Concluded):
                    begun = None
                else:
                    begun, inside = step, []
            elif begun is not None:
                inside.append(step)
        if begun is not None and inside:
            yield Visit(begun, tuple(inside), inside[-1])


@dataclass(frozen=True, slots=True)
class Visit:
    """A stay at one question or caution: when it was put, what happened, what ended it."""

    asked: Step
    inside: tuple[Step, ...]
    left: Step

    @property
    def node(self) -> str:
        """What was put to the caller."""
        return self.asked.event.node if isinstance(self.asked.event, Asked) else ""

    @property
    def held_s(self) -> float:
        """How long it held the call [s]; parked and stopped time is left out, never negative.

        A clock that was set back adds nothing, so the rest of the time still counts.
        """
        held_s, before, is_waiting = 0.0, self.asked, False
        for step in self._asking():
            if not is_waiting:
                held_s += max(0.0, (step.at - before.at).total_seconds())
            if isinstance(step.event, (Parked, Stopped)):
                is_waiting = True
            elif isinstance(step.event, Resumed):
                is_waiting = False
            before = step
        return held_s

    def _asking(self) -> tuple[Step, ...]:
        """Return the steps up to the last answer: it may stand long before the call is closed."""
        steps = (*self.inside, self.left)
        if not isinstance(self.left.event, Concluded):
            return steps
        answers = [place for place, step in enumerate(steps) if isinstance(step.event, Answered)]
        return steps[: answers[-1] + 1] if answers else steps


def listed(names: Sequence[str]) -> str:
    """Return names as a list in words.

    >>> listed(["air", "water", "ice"])
    'air, water and ice'
    """
    return " and ".join([", ".join(names[:-1]), names[-1]] if len(names) > 1 else names)


def time_words(seconds: float) -> str:
    """Return a length of time as a person says it.

    >>> time_words(42.4), time_words(200.0), time_words(5400.0), time_words(260_000.0)
    ('42 s', '3 min 20 s', '1 h 30 min', '3 days')
    """
    whole = round(seconds)
    if whole < 60:
        return f"{whole} s"
    if whole < 3600:
        minutes, rest = divmod(whole, 60)
        return f"{minutes} min {rest} s" if rest else f"{minutes} min"
    if whole < 48 * 3600:
        hours, rest = divmod(whole, 3600)
        return f"{hours} h {rest // 60} min" if rest >= 60 else f"{hours} h"
    return f"{whole // 86_400} days"
