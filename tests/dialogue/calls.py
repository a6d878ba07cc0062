"""Whole calls for tests: a caller made of outcomes, led through the engine to the end."""

from __future__ import annotations

import random
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from functools import cache
from types import MappingProxyType

from hypothesis import strategies as st

from tests.conversation import opened, shipped_engine
from tests.dialogue.told import RESIDUALS, SHIPPED, can_be_found
from triage.dialogue.case import QUALIFICATION, Case, fold
from triage.dialogue.events import Acknowledged, Answered, Event, Refused
from triage.dialogue.judge import band_of
from triage.dialogue.view import END_PROMPTS, AskCaution, AskQuestion, Prompt
from triage.physics.errors import PhysicsError
from triage.tree.content import UNKNOWN, Reading, Stage

LONGEST_CALL = 400
"""Turns after which a call is taken to go on for ever."""

PLATE: Mapping[str, str | float] = {
    "complaint": "will_not_release",
    "machine": "gletsch_r500",
    "refrigerant": "R-410A",
    "condenser_kind": "remote_air",
    "ambient_air_temperature": 294.25,
    "condenser_air_temperature": 294.25,
    "water_inlet_temperature": 285.95,
    "coil_nominal_voltage": 24.0,
    "receiver_vapor_feed_fitted": "fitted",
}
"""What any caller reads off the machine and the thermometer: an invented machine, a mild day."""

ASKED_LATE = tuple(
    dict.fromkeys(
        question.reading
        for question in shipped_engine().tree.questions.values()
        if question.stage in (Stage.FREEZE, Stage.HARVEST, Stage.CONFIRM)
        and question.reading not in PLATE
    )
)
"""Readings of the freeze, the harvest and the confirming test."""


@dataclass(frozen=True)
class Caller:
    """What a caller finds of each reading; what is not named is as on a sound machine.

    `refuses` are cautions answered with no. Without a model on file (`is_typical`) the machine is
    judged by a typical one.
    """

    finds: Mapping[str, str]
    refuses: frozenset[str] = frozenset()
    is_licensed: bool = True
    is_typical: bool = False

    def answer(self, case: Case, reading: Reading, minute: float | None) -> Answered:
        """Return the answer to a question."""
        if reading.id == QUALIFICATION:
            return Answered(reading.id, "", "licensed" if self.is_licensed else "unlicensed")
        if reading.id == "machine" and self.is_typical:
            return Answered(reading.id, "", None, "plate not readable")
        if reading.id in PLATE:
            return Answered(reading.id, "", PLATE[reading.id])
        found = self.finds.get(reading.id, _sound(reading))
        if found == UNKNOWN:
            return Answered(reading.id, "", None, "not to be had")
        if not reading.is_banded:
            return Answered(reading.id, "", found)
        minute_s = None if minute is None else 60.0 * minute
        try:
            band = band_of(SHIPPED, case, reading, minute_s)
        except PhysicsError:
            band = None
        if band is None:
            return Answered(reading.id, "", None, "nothing to judge by")
        residual = RESIDUALS[found]
        half = band.high - band.centre if residual > 0.0 else band.centre - band.low
        return Answered(reading.id, "", band.centre + residual * half, minute_s=minute_s)


def _sound(reading: Reading) -> str:
    if reading.is_banded:
        return "middle"
    return reading.normal[0] if reading.normal else reading.choices[0].id


@dataclass(frozen=True)
class Turn:
    """A call at one prompt."""

    case: Case
    prompt: Prompt


def turns_of(caller: Caller) -> list[Turn]:
    """Return the call prompt by prompt, the end last; fails if it does not come to one."""
    turns = list(_turns(caller))
    assert isinstance(turns[-1].prompt, END_PROMPTS), "the call goes on for ever"
    return turns


def _turns(caller: Caller) -> Iterator[Turn]:
    engine, case = shipped_engine(), opened()
    for _ in range(LONGEST_CALL):
        prompt = engine.prompt(case)
        yield Turn(case, prompt)
        event: Event
        match prompt:
            case AskQuestion():
                event = caller.answer(case, prompt.reading, prompt.minute)
            case AskCaution():
                made = Refused if prompt.caution.id in caller.refuses else Acknowledged
                event = made(prompt.caution.id, "", prompt.seal)
            case _:
                return
        case = fold([event], case)


@st.composite
def callers(draw: st.DrawFn) -> Caller:
    """A machine with any number of odd readings, and a caller who cannot or will not give some."""
    odd = draw(st.lists(st.sampled_from(ASKED_LATE), unique=True, max_size=8))
    shown = {key: draw(st.sampled_from([*_shown(key), UNKNOWN])) for key in odd}
    missing = draw(st.lists(st.sampled_from(ASKED_LATE), unique=True, max_size=5))
    refuses = draw(st.just(()) | st.lists(st.sampled_from(list(SHIPPED.cautions)), max_size=3))
    return Caller(
        MappingProxyType({**shown, **dict.fromkeys(missing, UNKNOWN)}),
        frozenset(refuses),
        is_licensed=draw(st.sampled_from([True, True, True, False])),
        is_typical=draw(st.sampled_from([False, False, True])),
    )


@cache
def _shown(reading_id: str) -> tuple[str, ...]:
    reading = SHIPPED.readings[reading_id]
    return tuple(RESIDUALS) if reading.is_banded else can_be_found(reading_id)


def caller_by_number(number: int) -> Caller:
    """Return one of any number of callers: sound readings that scatter, some odd, some not had."""
    generator = random.Random(number)
    finds = {}
    for key in ASKED_LATE:
        reading = SHIPPED.readings[key]
        usual = ("low", "middle", "high") if reading.is_banded else reading.normal or _shown(key)
        finds[key] = generator.choice(usual)
    for key in generator.sample(ASKED_LATE, generator.choice((0, 1, 2, 4, 8))):
        finds[key] = generator.choice(_shown(key))
    for key in generator.sample(ASKED_LATE, generator.choice((0, 2, 4, 8))):
        finds[key] = UNKNOWN
    refuses = generator.sample(list(SHIPPED.cautions), generator.choice((0, 0, 1)))
    return Caller(
        MappingProxyType(finds),
        frozenset(refuses),
        is_licensed=generator.random() < 0.85,
        is_typical=generator.random() < 0.3,
    )
