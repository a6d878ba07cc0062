"""A stored call shown again: the same as it was on the screen."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from io import StringIO

import pytest

from tests.console.conftest import Shown
from tests.console.desks import Lines
from triage.console.chat import Chat, ChatEnd
from triage.console.desk import Desk
from triage.console.look import ChatConsole, Look
from triage.console.telling import Telling, short_answers
from triage.console.transcript import Spoken, transcript
from triage.dialogue.case import Case
from triage.dialogue.engine import Engine
from triage.dialogue.events import Concluded, Event, Started
from triage.dialogue.reply import Value, read_reply
from triage.physics.quantity import UnitSystem
from triage.tree.cache import checked_content
from triage.tree.content import Content, ReadingKind
from triage.tree.where import content_folder

BEGAN = datetime(2026, 3, 4, 9, 0, tzinfo=UTC)


class Kept:
    """A record kept in memory, one minute between one line and the next."""

    def __init__(self) -> None:
        self.spoken: list[Spoken] = []
        self._now = BEGAN

    def clock(self) -> datetime:
        self._now += timedelta(minutes=1)
        return self._now

    def append(
        self,
        session_id: str,
        events: Sequence[tuple[str, Event]],
        content_version: str,
        now: datetime,
        expected_length: int,
    ) -> None:
        assert expected_length == len(self.spoken)
        self.spoken += [(now, speaker, event) for speaker, event in events]


@pytest.fixture(scope="module")
def content(tmp_path_factory: pytest.TempPathFactory) -> Content:
    return checked_content(content_folder(), tmp_path_factory.mktemp("cache"))


@pytest.fixture(scope="module")
def engine(content: Content) -> Engine:
    return Engine(content, "will_not_release")


LINES = (
    "yes both",
    "what for",
    "won't drop",
    "back",
    "it will not drop",
    "unknown, the plate is painted over",
    "R-404A",
    "air cooled",
    "70 in the room, water 60 F",
    "yes",
    "no",
    "15 C",
    "note [bold]caller\x1b[31m is on a ladder",
    "purple",
    "even",
    "case",
    "help",
    "yes",
    "unknown",
)


def held(engine: Engine, lines: Sequence[str]) -> tuple[Kept, str]:
    """Return the record of a call and what was on its screen but for the lines typed."""
    kept = Kept()
    desk = Desk.start(
        engine,
        lambda: kept,
        kept.clock,
        "k7",
        "agent",
        Started(engine.tree.id, engine.content.version, "agent", "us"),
    )
    stream = StringIO()
    conversation = Chat(desk, ChatConsole(Look(), stream, 80), kept.clock)
    conversation.open()
    assert conversation.converse(Lines(*lines, EOFError)) is ChatEnd.STOPPED
    return kept, stream.getvalue()


def test_transcript_shows_what_was_on_the_screen(engine: Engine, shown: Shown) -> None:
    kept, screen = held(engine, LINES)
    text = shown(transcript(engine, kept.spoken))
    typed = [line for line in text.splitlines() if line.startswith("caller >")]
    assert [line.removeprefix("caller > ") for line in typed] == [
        line.replace("\x1b", "") for line in LINES
    ]
    others = [line for line in text.splitlines() if not line.startswith("caller >")]
    on_screen = screen.splitlines()
    # The opening and the last words differ: they speak of going on, a transcript of the record.
    assert others[0] == "Call started: agent voice, US units."
    assert others[1:-1] == on_screen[2:-2]
    assert others[-1] == "  stop │ Stopped here. Every answer so far is kept."


def test_beginning_of_a_call_gives_the_beginning_of_its_transcript(
    engine: Engine, shown: Shown
) -> None:
    kept, _ = held(engine, LINES)
    whole = shown(transcript(engine, kept.spoken))
    for cut, (_, _, event) in enumerate(kept.spoken):
        if event.kind == "said" and cut % 3 == 0:
            assert whole.startswith(shown(transcript(engine, kept.spoken[:cut])))


def test_transcript_is_the_same_every_time_and_holds_no_times_unless_asked(
    engine: Engine, shown: Shown
) -> None:
    kept, _ = held(engine, LINES[:4])
    first, second = (shown(transcript(engine, kept.spoken)) for _ in range(2))
    assert first == second
    assert "2026" not in first
    timed = shown(transcript(engine, kept.spoken, with_times=True))
    assert "2026-03-04 09:02:00 UTC, 0 s later\ncaller > yes both" in timed


def test_call_held_with_other_content_is_shown_as_the_record_alone(
    engine: Engine, shown: Shown
) -> None:
    kept, _ = held(engine, LINES)
    at, speaker, started = kept.spoken[0]
    assert isinstance(started, Started)
    other = [(at, speaker, replace(started, content_version="another")), *kept.spoken[1:]]
    text = shown(transcript(engine, other))
    assert "the record alone" in " ".join(text.split())
    assert "caller > R-404A" in text
    assert "heard │ Refrigerant: R-404A." in text
    assert "WITHIN" not in text
    assert "┣" not in text


def test_recommendation_of_other_content_is_named_but_its_repair_is_not_told(
    engine: Engine, shown: Shown
) -> None:
    cause = engine.content.causes["receiver_vapor_feed_failed"]
    started = Started(engine.tree.id, "another", "agent", "us")
    ended = Concluded("some_end", "recommended", (cause.id,))
    text = shown(
        transcript(engine, [(BEGAN, "program", started), (BEGAN, "program", ended)]), width=2000
    )
    assert "ENDED: recommended" in text
    assert cause.name in text
    assert cause.repair not in text
    assert not any(part in text for part in cause.replace_together)


def test_every_short_answer_offered_is_understood_as_its_choice(content: Content) -> None:
    for reading in content.readings.values():
        if reading.kind is not ReadingKind.CHOICE:
            continue
        for choice, short in zip(reading.choices, short_answers(reading), strict=True):
            reply = read_reply(short, reading, system=UnitSystem.US)
            assert isinstance(reply, Value), (reading.id, short)
            assert reply.value == choice.id, (reading.id, short)


def test_every_example_in_a_hint_is_understood(engine: Engine, content: Content) -> None:
    for question in engine.tree.questions.values():
        reading = content.readings[question.reading]
        if reading.kind in (ReadingKind.CHOICE, ReadingKind.MACHINE):
            continue
        hint = Telling(content, Case()).hint(reading, question.minute, question.stage)[0]
        examples = hint.split("such as ")[1].split("; or")[0].split(" or ")
        for example in examples:
            reply = read_reply(example, reading, system=UnitSystem.US)
            assert isinstance(reply, Value), (reading.id, example, reply)
