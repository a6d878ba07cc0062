"""Real calls of the engine that a generated record is made of, each varied a thousandfold later.

A call is held at a desk with a caller before a virtual machine, turn by turn as at a terminal, with
looks, slips, corrections, notes and waits in between. What differs from call to call (names, notes,
times) stands as a placeholder in it.
"""

from __future__ import annotations

import random
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from datetime import UTC, datetime, timedelta
from enum import Enum, auto
from typing import Final

from tests.benchmarks.in_parallel import over_batches
from tests.benchmarks.simulated_calls import (
    Batch,
    Job,
    caller_for,
    content_in_use,
    engine_for,
    plan,
)
from tests.conversation import TREE
from triage.console.desk import Desk
from triage.dialogue.after_repair import as_recorded, judged_after_repair
from triage.dialogue.events import Event, Parked, Resumed, Started
from triage.dialogue.view import END_PROMPTS, AskCaution, AskQuestion, Escalated
from triage.drill.simulated_caller import SimulatedCaller

AGENT, SECOND_AGENT, NOTE = "agentplaceholder", "secondagentplaceholder", "noteplaceholder"
SERIAL, DUE_AT, VERSION = "0SERIALPLACEHOLDER", "dueplaceholder", "versionplaceholder"
"""What stands in a template for what differs; letters only, so JSON writes them as they are."""

_AT: Final = datetime(2026, 1, 1, 12, tzinfo=UTC)
_UNLICENSED, _REFUSING = 0.12, 0.05
"""Shares of callers without a license, and of those who refuse a caution at the gate (judged)."""
_LOOKS, _SLIPS, _BACKS, _PARKS = 0.05, 0.03, 0.015, 0.01
"""How often a question is met with a look, a slip, a correction or a wait instead (judged)."""
_HANDED_ON = 0.15
"""Share of templates about another complaint, which end at once; how often each is used is for the
generator."""
_OTHER_COMPLAINTS = ("too little ice", "makes no ice", "leaks", "something else")
_MOST_LINES = 200


class TurnKind(Enum):
    """What a turn is for the one who varies it."""

    PLAIN = auto()
    QUICK = auto()  # a yes or a caution
    NOTE = auto()  # may be left out
    PARK = auto()
    RESUME = auto()


@dataclass(frozen=True, slots=True)
class TemplateTurn:
    """What one line led to: pairs of speaker and event; `wait` is how long a park waits."""

    kind: TurnKind
    spoken: tuple[tuple[str, Event], ...]
    wait: timedelta = timedelta()


@dataclass(frozen=True, slots=True)
class Template:
    """A whole call; `repair` holds the readings a report of its repair may tell."""

    turns: tuple[TemplateTurn, ...]
    causes: tuple[str, ...]
    hidden_cause: str
    repair: tuple[dict[str, object], ...]

    @property
    def events(self) -> int:
        """How many events it has [count]."""
        return sum(len(turn.spoken) for turn in self.turns)


@dataclass
class _Tape:
    """Stands in for the store at a desk: keeps what is appended, turn by turn."""

    turns: list[TemplateTurn] = field(default_factory=list)
    kind: TurnKind = TurnKind.PLAIN

    def append(
        self,
        _session_id: str,
        events: Sequence[tuple[str, Event]],
        _content_version: str,
        now: datetime,
        _expected_length: int,
    ) -> None:
        """Keep a turn."""
        wait = timedelta()
        spoken = []
        for speaker, event in events:
            if isinstance(event, Parked):
                wait = datetime.fromisoformat(event.due_at) - now
                event = replace(event, due_at=DUE_AT)
            elif isinstance(event, (Started, Resumed)):
                event = replace(event, content_version=VERSION)
            spoken.append((speaker, event))
        self.turns.append(TemplateTurn(self.kind, tuple(spoken), wait))


def make_templates(count: int, seed: int) -> list[Template]:
    """Return about `count` calls; a fault that stays hidden gives none."""
    batches = plan(count, seed, _UNLICENSED, places=3)
    return [made for made in over_batches(_templates_of, batches, "template calls") if made]


def _templates_of(batch: Batch) -> list[Template | None]:
    return [_template(batch, job) for job in batch.jobs]


def _template(batch: Batch, job: Job) -> Template | None:
    found = caller_for(batch, job)
    if found is None:
        return None
    caller = found[0]
    chance = random.Random(job.seed + 1)
    engine, tape = engine_for(batch), _Tape()
    units = batch.place.units.value
    desk = Desk.start(
        engine, lambda: tape, lambda: _AT, "template", "agent",
        Started(TREE, engine.content.version, "agent", units, 0.0, AGENT),
        serial_number=SERIAL, can_mend_end=True,
    )  # fmt: skip
    desk.warm_up()
    has_parked, is_refusing = False, chance.random() < _REFUSING
    complaint = chance.choice(_OTHER_COMPLAINTS) if chance.random() < _HANDED_ON else ""
    for number in range(_MOST_LINES):
        if desk.is_over:
            break
        line, kind = _line(desk, caller, chance, is_refusing, has_parked, complaint)
        has_parked = has_parked or kind is TurnKind.PARK
        if number in (1, 6):
            tape.kind = TurnKind.NOTE
            desk.say(f"note {NOTE}")
        tape.kind = kind
        desk.say(line)
        if kind is TurnKind.PARK:
            tape.kind = TurnKind.RESUME
            events = [event for turn in tape.turns for _, event in turn.spoken]
            desk = Desk.resume(
                engine, lambda: tape, lambda: _AT, "template", "agent", events, SECOND_AGENT
            )
            desk.warm_up()
    if not desk.is_over:
        return None
    concluded = desk.case.concluded
    return Template(
        tuple(tape.turns),
        concluded.causes if concluded else (),
        job.cause,
        _after_repair(desk),
    )


def _line(
    desk: Desk, caller: SimulatedCaller, chance: random.Random, is_refusing: bool,
    has_parked: bool, complaint: str,
) -> tuple[str, TurnKind]:  # fmt: skip
    """Return what is typed next and what kind of turn that makes."""
    prompt = desk.prompt
    match prompt:
        case AskQuestion(reading=reading):
            met = chance.random()
            if met < _LOOKS:
                return chance.choice(("why", "how", "help", "case")), TurnKind.PLAIN
            met -= _LOOKS
            if met < _SLIPS:
                return chance.choice(("hold on he is looking", "say again", "??")), TurnKind.PLAIN
            met -= _SLIPS
            if met < _BACKS and desk.questions_asked > 4:
                return "back", TurnKind.PLAIN
            met -= _BACKS
            if met < _PARKS and not has_parked and desk.questions_asked > 4:
                minutes = chance.choice((15, 20, 25, 30))
                return f"park {minutes} min freeze is running", TurnKind.PARK
            if reading.id == "complaint" and complaint:
                return complaint, TurnKind.PLAIN
            return caller.answer(reading.id), TurnKind.PLAIN
        case AskCaution(seal=seal):
            return "no" if seal and is_refusing else "yes", TurnKind.QUICK
        case Escalated():
            return "done", TurnKind.QUICK
    assert not isinstance(prompt, END_PROMPTS)
    return "yes", TurnKind.QUICK


def _after_repair(desk: Desk) -> tuple[dict[str, object], ...]:
    """Return two numbers of the call as read after the repair, judged."""
    numbers = [
        answer
        for answer in desk.case.answers.values()
        if isinstance(answer.value, float) and answer.minute_s is not None
    ]
    content = content_in_use()
    judged = judged_after_repair(content, desk.case, numbers[:2])
    return as_recorded(judged)
