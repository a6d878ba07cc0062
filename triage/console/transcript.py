"""A stored call as it was on the screen: its events played through the engine once more."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import TYPE_CHECKING

from rich.console import Console, ConsoleOptions, RenderableType, RenderResult
from rich.text import Text

from triage.console.chat import shown_next
from triage.console.look import Card, Margin, Prose, stack
from triage.console.repair_card import repair_card
from triage.console.telling import Telling, sentence
from triage.console.turns import TypedLine, shown_prompt, shown_remark
from triage.console.when import between_words
from triage.dialogue.case import Case, fold
from triage.dialogue.events import (
    Acknowledged,
    Answered,
    Asked,
    Concluded,
    Declined,
    Event,
    Identified,
    Noted,
    NotUnderstood,
    Parked,
    Refused,
    RepairReported,
    Resumed,
    Said,
    Started,
    Stopped,
    TakenBack,
)
from triage.dialogue.view import (
    CautionAnswered,
    Echo,
    Finding,
    NotClear,
    NoteKept,
    NotTaken,
    ParkedHere,
    Remark,
    SerialKept,
    StoppedHere,
    TookBack,
    Verdict,
)
from triage.dialogue.words import control_in, plain_text
from triage.physics.quantity import Dimension, UnitSystem, format_quantity
from triage.tree.content import UNKNOWN, Reading

if TYPE_CHECKING:
    from triage.dialogue.engine import Engine

Spoken = tuple[datetime, str, Event]
"""When, who, what: an event as the store gives it back."""

_BY_ITSELF = (Started, Resumed, Asked, Concluded, RepairReported)
"""Events that no typed line leads to."""


def transcript(
    engine: Engine, events: Iterable[Spoken], *, with_times: bool = False
) -> RenderableType:
    """Return a stored call as it was on the screen; print it on a console of any width.

    `engine` is that of the call's own tree. The same events give the same text. What was held with
    other content than the engine's is shown as the record alone: today's content would judge and
    conclude otherwise.
    """
    return Transcript(engine, tuple(events), with_times)


@dataclass(frozen=True, slots=True)
class Transcript:
    """A whole call, replayed when it is rendered.

    `with_times` adds when each turn came, and how long after the one before.
    """

    engine: Engine
    events: tuple[Spoken, ...]
    with_times: bool = False

    def __rich_console__(self, console: Console, options: ConsoleOptions) -> RenderResult:
        """Yield every turn in order."""
        case = Case()
        is_live = False
        earlier: datetime | None = None
        for at, turn in _turns(self.events):
            first = turn[0]
            after = fold(turn, case)
            if isinstance(first, (Started, Resumed)):
                is_live = first.content_version == self.engine.content.version
            if self.with_times and not isinstance(first, (Asked, Concluded)):
                moment = f"{at.astimezone(UTC):%Y-%m-%d %H:%M:%S} UTC"
                since = f", {between_words(earlier, at)}" if earlier else ""
                yield Text(f"{moment}{since}", style="triage.hint")
                earlier = at
            match first:
                case Started() | Resumed():
                    yield from self._opening(first, after, is_live)
                case Asked() | Concluded():
                    if not is_live:
                        yield from self._as_recorded(first, after)
                case RepairReported():
                    yield repair_card(first, self._telling(case))
                case _:
                    yield from self._typed(at, turn, case, after, is_live)
            case = after

    def _opening(
        self, event: Started | Resumed, case: Case, is_live: bool
    ) -> Iterator[RenderableType]:
        by = f" by {event.agent}" if event.agent else ""
        if isinstance(event, Started):
            words = f"Call started{by}: {event.voice} voice, {event.units.upper()} units"
            number = f", serial number {case.serial_number}" if case.serial_number else ""
            words += f"{_site(event)}{number}."
        else:
            words = f"Call resumed{by}."
        if not is_live:
            words += (
                f" It was held with content {event.content_version[:12]}, which is not the content "
                f"now in use ({self.engine.content.version[:12]}). So what follows is the record "
                "alone: what was asked, typed and understood, without verdicts and cards."
            )
        yield Prose(Text(plain_text(words), style="triage.hint"))
        if is_live:
            yield Text("")
            yield shown_prompt(self.engine.prompt(case), self._telling(case))

    def _typed(
        self, at: datetime, turn: Sequence[Event], before: Case, after: Case, is_live: bool
    ) -> Iterator[RenderableType]:
        """Yield a typed line and what came of it."""
        said = turn[0] if isinstance(turn[0], Said) else None
        if said is not None:
            yield TypedLine(self._telling(before).speaker, said.text)
        remarks: tuple[Remark, ...] = tuple(
            remark for event in turn for remark in self._remarks_from(event, at)
        )
        if said is not None and is_live and not _goes_by_the_clock(said):
            remarks = self.engine.turn(before, said.text).remarks
        telling = self._telling(after)
        yield from (shown_remark(remark, telling) for remark in remarks)
        if is_live and not after.is_stopped:
            prompts = self.engine.prompt(before), self.engine.prompt(after)
            yield from shown_next(remarks, *prompts, telling)

    def _remarks_from(self, event: Event, at: datetime) -> Iterator[Remark]:
        """Yield what an event stored `at` tells by itself, not judged by the content of today."""
        content = self.engine.content
        match event:
            case Answered() if event.reading in content.readings:
                yield Echo(_unjudged(content.readings[event.reading], event))
            case Declined() if event.reading in content.readings:
                yield NotTaken(content.readings[event.reading], event.typed)
            case TakenBack() if event.reading in content.readings:
                yield TookBack(content.readings[event.reading], event.typed)
            case NotUnderstood():
                yield NotClear(event.message)
            case Noted():
                yield NoteKept(event.text)
            case Acknowledged() | Refused() if event.caution in content.cautions:
                is_acknowledged = isinstance(event, Acknowledged)
                yield CautionAnswered(content.cautions[event.caution], is_acknowledged)
            case Stopped():
                yield StoppedHere()
            case Parked(reason, due_at):
                yield ParkedHere(reason, due_at, _wait_s(due_at, at))
            case Identified(serial_number):
                yield SerialKept(serial_number)

    def _as_recorded(self, event: Asked | Concluded, case: Case) -> Iterator[RenderableType]:
        """Yield a question or an end of a call held with other content; never a repair."""
        telling = self._telling(case)
        yield Text("")
        match event:
            case Asked(node):
                yield Margin("ask", Text(self._asked(node, telling)))
            case Concluded():
                causes = ", ".join(telling.cause(cause) for cause in event.causes)
                yield Card(
                    f"ENDED: {plain_text(event.result)}",
                    stack(
                        Text(sentence(causes)) if causes else None,
                        Text(sentence(plain_text(event.reason))) if event.reason else None,
                    ),
                )

    def _asked(self, node: str, telling: Telling) -> str:
        question = self.engine.of(telling.case).tree.questions.get(node)
        if question is not None:
            return telling.words_of(question)
        for caution in self.engine.content.cautions.values():
            if node.startswith(f"caution:{caution.id}@"):
                return f"Caution {plain_text(caution.title)}"
        return f"({plain_text(node)})"

    def _telling(self, case: Case) -> Telling:
        return Telling(self.engine.content, case)


def _goes_by_the_clock(said: Said) -> bool:
    """Return whether what came of a line depended on when it was said, so only the record knows."""
    control = control_in(said.text)
    return control is not None and control[0] == "park"


def _wait_s(due_at: str, at: datetime) -> float:
    """Return how long a call was parked [s]; a time in the record that is none counts as now."""
    try:
        return (datetime.fromisoformat(due_at) - at).total_seconds()
    except (ValueError, TypeError):
        return 0.0


def _site(event: Started) -> str:
    """Return how high the site lies, "" at sea level."""
    if abs(event.altitude_m) < 1.0:
        return ""
    return (
        f", site at {format_quantity(event.altitude_m, Dimension.LENGTH, UnitSystem(event.units))}"
    )


def _unjudged(reading: Reading, event: Answered) -> Finding:
    return Finding(
        reading,
        event.value,
        UNKNOWN if event.value is None else "known",
        Verdict.UNKNOWN if event.value is None else Verdict.NOTED,
        typed=event.typed,
        minute_s=event.minute_s,
        is_minute_assumed=event.is_minute_assumed,
        reason=event.reason,
    )


def _turns(events: Sequence[Spoken]) -> Iterator[tuple[datetime, list[Event]]]:
    """Yield what belongs together: a typed line with what it led to, or one event by itself."""
    turn: list[Event] = []
    began: datetime | None = None
    for at, _, event in events:
        is_led_to = bool(turn) and (
            (isinstance(turn[0], Said) and not isinstance(event, (Said, *_BY_ITSELF)))
            # Known from the start which machine it is: told in the words of the opening.
            or (isinstance(turn[-1], Started) and isinstance(event, Identified))
        )
        if is_led_to:
            turn.append(event)
            continue
        if began is not None:
            yield began, turn
        began, turn = at, [event]
    if began is not None:
        yield began, turn
