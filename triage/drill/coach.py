"""What the program would have done at each step, and hints: all of it asked of the engine."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace

from triage.dialogue.case import LICENSED, QUALIFICATION, Case, fold
from triage.dialogue.engine import Engine
from triage.dialogue.events import Acknowledged
from triage.dialogue.gate import applies
from triage.dialogue.view import AskCaution, AskQuestion
from triage.drill.call import PracticeCall
from triage.drill.practice import Asking, Practice
from triage.tree.content import Reading, Side, Stage

HINT_LEVELS = 3

_ORDER = {stage: number for number, stage in enumerate(Stage)}


def best_next(engine: Engine, case: Case) -> AskQuestion | None:
    """Return what the engine asks next, past the cautions before it; None if it asks nothing."""
    for _ in range(len(engine.content.cautions) + 1):
        prompt = engine.prompt(case)
        if not isinstance(prompt, AskCaution) or prompt.seal:
            break
        case = fold([Acknowledged(prompt.caution.id, "", "")], case)
    return prompt if isinstance(prompt, AskQuestion) else None


def stage_of(engine: Engine, reading_id: str) -> Stage | None:
    """Return the earliest stage whose questions ask for a reading, None if none does."""
    stages = [
        question.stage
        for question in engine.tree.questions.values()
        if question.reading == reading_id
    ]
    return min(stages, key=_ORDER.__getitem__, default=None)


def is_freeze_proven(engine: Engine, case: Case) -> bool:
    """Return whether the engine, told nothing of the harvest, would go on to the harvest."""
    return _goes_on_to(engine, case, Stage.HARVEST)


def is_too_early(engine: Engine, case: Case, reading_id: str) -> bool:
    """Return whether a reading of the harvest or the confirming test comes before its turn.

    Before the freeze was proven sound a harvest reading says nothing; and a part is proven bad
    before a test confirms it.
    """
    stage = stage_of(engine, reading_id)
    if stage is Stage.CONFIRM:
        following = best_next(engine, _without(engine, case, Stage.CONFIRM))
        if following is not None:
            return following.stage is not Stage.CONFIRM
    return stage in (Stage.HARVEST, Stage.CONFIRM) and not is_freeze_proven(engine, case)


def _goes_on_to(engine: Engine, case: Case, stage: Stage) -> bool:
    following = best_next(engine, _without(engine, case, stage))
    return following is not None and _ORDER[following.stage] >= _ORDER[stage]


def _without(engine: Engine, case: Case, stage: Stage) -> Case:
    """Return the case without what belongs to `stage` or a later one."""
    kept = {
        key: answer
        for key, answer in case.answers.items()
        if (own := stage_of(engine, key)) is None or _ORDER[own] < _ORDER[stage]
    }
    return replace(case, answers=kept)


# Cautions.


def cautions_before(
    engine: Engine, case: Case, reading: Reading, read_out: Iterable[str] = ()
) -> tuple[str, ...]:
    """Return the cautions that belong before a reading in this call and were not read out yet."""
    done = frozenset(read_out)
    cautions = engine.content.cautions
    return tuple(
        key
        for key in reading.cautions
        if key not in done and applies(engine.content, case, cautions[key])
    )


@dataclass(frozen=True, slots=True)
class Slip:
    """What was wrong about asking for a reading at that moment.

    `cautions` were not read out before it. `is_unasked`: licensed work before the caller was asked
    what they may do; `is_against`: licensed work after they said that they may not.
    """

    cautions: tuple[str, ...] = ()
    is_unasked: bool = False
    is_against: bool = False
    is_too_early: bool = False

    @property
    def is_unsafe(self) -> bool:
        """Whether somebody could have been hurt."""
        return bool(self.cautions) or self.is_unasked or self.is_against


def slip_of(engine: Engine, asking: Asking) -> Slip:
    """Return what was wrong about asking for a reading when it was asked for."""
    reading = engine.content.readings[asking.reading]
    case = asking.before
    qualification = case.answers.get(QUALIFICATION)
    is_refused = qualification is not None and qualification.value != LICENSED
    is_against = reading.is_licensed and is_refused
    # Work that the caller does not do needs no caution.
    unread = () if is_against else cautions_before(engine, case, reading, asking.read_out)
    return Slip(
        unread,
        is_unasked=reading.is_licensed and qualification is None,
        is_against=is_against,
        is_too_early=is_too_early(engine, case, asking.reading),
    )


# Hints.


@dataclass(frozen=True, slots=True)
class Hint:
    """Help of a level: 1 which half of the cycle, 2 which reading next, 3 which two causes.

    `reading` and `why` are there at level 2, `causes` at level 3.
    """

    level: int
    words: str
    reading: Reading | None = None
    why: str = ""
    causes: tuple[str, ...] = ()


_WHERE = {
    Stage.CALLER: "Neither half yet. Find out first who calls and what the machine does.",
    Stage.MACHINE: "Neither half yet. Find out first what machine it is, and how warm air and "
    "water are: nothing can be judged without.",
    Stage.FREEZE: "Look at the freeze. It is not proven sound yet, so the harvest says nothing.",
    Stage.HARVEST: "The freeze is proven sound. Look at the harvest.",
    Stage.CONFIRM: "Freeze and harvest are known. What is left is to confirm it.",
}

ENOUGH = "What you have is enough. Think over what it says together, and propose a cause."


def hint_for(call: PracticeCall, practice: Practice) -> Hint:
    """Return the next hint: each tells more than the one before, the cause only among two."""
    level = min(practice.hints + 1, HINT_LEVELS)
    following = best_next(call.engine, practice.case)
    if level == HINT_LEVELS:
        return Hint(level, "It is one of these two.", causes=two_left(call))
    if following is None:
        return Hint(level, ENOUGH)
    if level == 1:
        return Hint(level, _WHERE[following.stage])
    return Hint(level, "Ask next for this.", following.reading, following.question.why)


def two_left(call: PracticeCall) -> tuple[str, str]:
    """Return the true cause and the one most like it, in the content's order."""
    causes = call.engine.content.causes
    side = causes[call.cause].side
    alike = [key for key, cause in causes.items() if cause.side is side or side is Side.NONE]
    rival = next(key for key in (*call.model.ranked, *alike, *causes) if key != call.cause)
    first, second = sorted((call.cause, rival), key=list(causes).index)
    return first, second
