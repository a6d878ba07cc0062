"""What the program would have done at each step, and hints: all of it asked of the engine."""

from __future__ import annotations

from collections.abc import Collection, Iterable
from dataclasses import dataclass, replace

from triage.dialogue.case import LICENSED, QUALIFICATION, Case, fold
from triage.dialogue.engine import Engine
from triage.dialogue.events import Acknowledged
from triage.dialogue.gate import FLAMMABLE, applies
from triage.dialogue.judge import refrigerant_in_use
from triage.dialogue.view import AskCaution, AskQuestion
from triage.drill.call import PracticeCall
from triage.drill.practice import Asking, Practice
from triage.tree.content import Reading, Side, Stage

HINT_LEVELS = 3

_CLARIFYING = frozenset({"ice_released"})
"""Plain looks in the harvest that only make the complaint clear; they come at any time."""

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
    if reading_id in _CLARIFYING:
        return False
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


def is_by_unknown_gas(engine: Engine, case: Case, caution: str) -> bool:
    """Return whether a caution warns of fire while nobody knows yet what refrigerant is in."""
    warns_of = engine.content.cautions[caution].hazards
    is_of_fire = bool(warns_of) and frozenset(FLAMMABLE.values()).issuperset(warns_of)
    return is_of_fire and refrigerant_in_use(engine.content, case) is None


@dataclass(frozen=True, slots=True)
class Slip:
    """What was wrong about asking for a reading at that moment.

    `cautions` were not read out before it. Of these the trainee was `shown` some, and those in
    `by_unknown_gas` warn of fire only because nobody knew the refrigerant yet. `is_unasked`:
    licensed work before the caller was asked what they may do; `is_against`: licensed work after
    they said that they may not.
    """

    cautions: tuple[str, ...] = ()
    shown: tuple[str, ...] = ()
    by_unknown_gas: tuple[str, ...] = ()
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
    is_against = (
        reading.is_licensed and qualification is not None and qualification.value != LICENSED
    )
    is_unasked = reading.is_licensed and qualification is None
    # Work that the caller does not do needs no caution.
    is_refused = is_against or is_unasked
    unread = () if is_refused else cautions_before(engine, case, reading, asking.read_out)
    return Slip(
        unread,
        tuple(key for key in unread if key in asking.shown),
        tuple(key for key in unread if is_by_unknown_gas(engine, case, key)),
        is_unasked=is_unasked,
        is_against=is_against,
        is_too_early=is_too_early(engine, case, asking.reading),
    )


# Hints.


@dataclass(frozen=True, slots=True)
class Hint:
    """Help of a level: 1 which half of the cycle, 2 which reading next, 3 which two causes.

    `reading` and `why` are there at level 2, `causes` at level 3. At level 0 nothing new was left
    to say.
    """

    level: int
    words: str
    reading: Reading | None = None
    why: str = ""
    causes: tuple[str, ...] = ()

    @property
    def said(self) -> str:
        """What it says in short: two hints that say the same have the same."""
        if self.causes:
            return f"causes {' '.join(self.causes)}"
        return f"ask {self.reading.id}" if self.reading else self.words


_WHERE = {
    Stage.CALLER: "Neither half yet. Find out first who calls and what the machine does.",
    Stage.MACHINE: "Neither half yet. Find out first what machine it is, and how warm air and "
    "water are: nothing can be judged without.",
    Stage.FREEZE: "Look at the freeze. It is not proven sound yet, so the harvest says nothing.",
    Stage.HARVEST: "The freeze is proven sound. Look at the harvest.",
    Stage.CONFIRM: "Freeze and harvest are known. What is left is to confirm it.",
}

NOTHING_MORE = (
    "Nothing more can be told. Of the two causes named, you proposed one, and it was not that."
)

ENOUGH = "What you have is enough. Think over what it says together, and propose a cause."


def hint_for(call: PracticeCall, practice: Practice) -> Hint:
    """Return the next hint: each tells more than the one before, the cause only among two.

    A level that would only repeat what a hint said is skipped; behind the last nothing is new.
    """
    named = next((said for said in practice.hinted if said.startswith("causes ")), None)
    if named is not None:
        causes = tuple(named.split()[1:])
        if set(causes).intersection(practice.proposals):
            return Hint(0, NOTHING_MORE)
        return Hint(0, "Nothing more can be told. It is one of these two.", causes=causes)
    hints = (
        _hint_of(call, practice, level) for level in range(practice.hints + 1, HINT_LEVELS + 1)
    )
    return next(hint for hint in hints if hint.said not in practice.hinted)


def _hint_of(call: PracticeCall, practice: Practice, level: int) -> Hint:
    following = best_next(call.engine, practice.case)
    if level >= HINT_LEVELS:
        causes = two_left(call, practice.proposals)
        return Hint(HINT_LEVELS, "It is one of these two.", causes=causes)
    if following is None:
        return Hint(level, ENOUGH)
    if level == 1:
        return Hint(level, _WHERE[following.stage])
    return Hint(level, "Ask next for this.", following.reading, following.question.why)


def two_left(call: PracticeCall, wrong: Collection[str] = ()) -> tuple[str, str]:
    """Return the true cause and the one most like it, in the content's order.

    Causes known to be `wrong` are not named.
    """
    causes = call.engine.view.causes
    side = causes[call.cause].side
    alike = [key for key, cause in causes.items() if cause.side is side or side is Side.NONE]
    excluded = {call.cause, *wrong}
    rival = next(key for key in (*call.model.ranked, *alike, *causes) if key not in excluded)
    first, second = sorted((call.cause, rival), key=list(causes).index)
    return first, second
