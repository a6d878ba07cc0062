"""The state of a drill as a fold over its steps; the caller's words follow from the call."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, field, replace
from enum import StrEnum
from types import MappingProxyType

from triage.dialogue.case import QUALIFICATION, Case, fold
from triage.dialogue.events import Answered
from triage.dialogue.heard import answer_of, read
from triage.dialogue.judge import minute_of
from triage.dialogue.reply import Unknown, Value
from triage.drill.call import PracticeCall
from triage.physics.machine import CondenserKind, Machine
from triage.tree.content import Reading

MOST_PROPOSALS = 2
"""Causes a trainee may propose."""

NOT_FOR_ME = "unknown I am not licensed for that"
"""What a caller without license says who is asked for licensed work."""

NOT_YET = "I do not know whether I may do that; you did not ask."
"""What any caller says who is asked for licensed work before being asked what they may do."""

_ABSENT: Mapping[str, tuple[Callable[[Machine], bool], str]] = MappingProxyType({
    "manifold_test_result": (
        lambda machine: not machine.has_receiver_vapor_feed,
        "unknown there is no receiver vapor feed",
    ),
    "condenser_air_temperature": (
        lambda machine: machine.condenser.kind is not CondenserKind.REMOTE_AIR,
        "unknown it has no condenser outside",
    ),
})  # fmt: skip
"""Readings of a part that a machine may not have: when it has none, and what the caller says."""

_NOT_TAKEN = frozenset({NOT_FOR_ME, NOT_YET, *(words for _, words in _ABSENT.values())})
"""Words of a caller who does not go to take a reading."""


class Kind(StrEnum):
    """What sort of thing was named."""

    READING = "reading"
    CAUTION = "caution"
    CAUSE = "cause"


# Steps.


@dataclass(frozen=True, slots=True)
class AskedFor:
    """The caller was asked for a reading."""

    reading: str


@dataclass(frozen=True, slots=True)
class ReadOut:
    """Cautions were read to the caller."""

    cautions: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Named:
    """A reading was looked at: why, how, or its band; `cautions` were shown with it."""

    reading: str
    cautions: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class LeftOpen:
    """It was not clear which of `options` was meant, or whether the only one was."""

    kind: Kind
    options: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Hinted:
    """A hint was given that said something new, in short."""

    said: str


@dataclass(frozen=True, slots=True)
class Proposed:
    """The trainee proposed a cause."""

    cause: str


@dataclass(frozen=True, slots=True)
class GaveUp:
    """The trainee wants the answer."""


@dataclass(frozen=True, slots=True)
class Left:
    """The drill was left before its end."""


Step = AskedFor | ReadOut | Named | LeftOpen | Hinted | Proposed | GaveUp | Left


class Outcome(StrEnum):
    """How a drill ended."""

    RIGHT = "right"
    WRONG = "wrong"
    GIVEN_UP = "given up"
    UNFINISHED = "unfinished"


@dataclass(frozen=True, slots=True)
class Asking:
    """A reading that was asked for: the caller's words, and how things stood before.

    `is_taken`: the caller went to take it, in vain or not, rather than refuse. Cautions `read_out`
    to the caller, and `shown` to the trainee alone.
    """

    reading: str
    words: str
    before: Case
    is_taken: bool
    read_out: frozenset[str]
    shown: frozenset[str]


@dataclass(frozen=True, slots=True)
class Practice:
    """How far a drill is.

    `case` is what a call would know. `shown` are cautions the trainee saw, `hinted` what hints said
    in short. `named` is the reading spoken of last, `open` what the next line may choose from.
    """

    case: Case
    asked: tuple[Asking, ...] = ()
    read_out: frozenset[str] = field(default_factory=frozenset)
    shown: frozenset[str] = field(default_factory=frozenset)
    hinted: tuple[str, ...] = ()
    proposals: tuple[str, ...] = ()
    named: str = ""
    open: LeftOpen | None = None
    outcome: Outcome | None = None

    @property
    def hints(self) -> int:
        """How many hints said something new."""
        return len(self.hinted)

    @property
    def guesses_left(self) -> int:
        """How many causes may still be proposed."""
        return MOST_PROPOSALS - len(self.proposals)

    def has_asked(self, reading_id: str) -> bool:
        """Whether a reading was asked for before, and not put off."""
        return any(item.reading == reading_id and item.words != NOT_YET for item in self.asked)


def begin(call: PracticeCall) -> Practice:
    """Return a drill before its first step."""
    return Practice(call.opening)


def fold_steps(
    call: PracticeCall, steps: Iterable[Step], practice: Practice | None = None
) -> Practice:
    """Return the drill after `steps`, from `practice` or from its beginning."""
    state = practice or begin(call)
    for step in steps:
        state = apply(call, state, step)
    return state


def apply(call: PracticeCall, practice: Practice, step: Step) -> Practice:
    """Return `practice` after one more step."""
    practice = replace(practice, open=None)
    match step:
        case AskedFor(reading_id):
            return _asked(call, practice, reading_id)
        case ReadOut(cautions):
            return replace(practice, read_out=practice.read_out.union(cautions))
        case Named(reading_id, cautions):
            return replace(practice, named=reading_id, shown=practice.shown.union(cautions))
        case LeftOpen():
            return replace(practice, open=step)
        case Hinted(said):
            return replace(practice, hinted=(*practice.hinted, said))
        case Proposed(cause):
            proposals = (*practice.proposals, cause)
            outcome = None
            if cause == call.cause:
                outcome = Outcome.RIGHT
            elif len(proposals) >= MOST_PROPOSALS:
                outcome = Outcome.WRONG
            return replace(practice, proposals=proposals, outcome=outcome)
        case GaveUp():
            return replace(practice, outcome=Outcome.GIVEN_UP)
        case Left():
            return replace(practice, outcome=Outcome.UNFINISHED)


def _asked(call: PracticeCall, practice: Practice, reading_id: str) -> Practice:
    practice = replace(practice, named=reading_id)
    if practice.has_asked(reading_id):  # said again, not measured again
        return practice
    reading = call.engine.view.readings[reading_id]
    words = words_for(call, practice.case, reading)
    is_put_off = words == NOT_YET
    if is_put_off and any(item.reading == reading_id for item in practice.asked):
        return practice
    asking = Asking(
        reading_id, words, practice.case, words not in _NOT_TAKEN, practice.read_out, practice.shown
    )  # fmt: skip
    if is_put_off:
        return replace(practice, asked=(*practice.asked, asking))
    case = fold([_answer(call, practice.case, reading, words)], practice.case)
    return replace(practice, case=case, asked=(*practice.asked, asking))


def words_for(call: PracticeCall, case: Case, reading: Reading) -> str:
    """Return what the caller says when asked for a reading.

    Who has not been asked yet what they may do takes no licensed reading, licensed or not.
    """
    if reading.is_licensed and QUALIFICATION not in case.answers:
        return NOT_YET
    return words_given(call, reading)


def words_given(call: PracticeCall, reading: Reading) -> str:
    """Return what the caller says for a reading once it is known what they may do."""
    if reading.is_licensed and not call.is_licensed:
        return NOT_FOR_ME
    if reading.id in _ABSENT:
        is_absent, words = _ABSENT[reading.id]
        if is_absent(call.machine):
            return words
    return call.caller.answer(reading.id)


def can_give(call: PracticeCall, reading: Reading) -> bool:
    """Return whether this caller can take a reading of this machine at all."""
    return reading.id not in call.caller.missing and words_given(call, reading) not in _NOT_TAKEN


def _answer(call: PracticeCall, case: Case, reading: Reading, words: str) -> Answered:
    content = call.engine.view
    reply = read(content, case, reading, words)
    if isinstance(reply, Value):
        questions = call.engine.tree.questions.values()
        question = next((item for item in questions if item.reading == reading.id), None)
        return answer_of(reading, reply, minute_of(question, reading))
    return Answered(
        reading.id, words, None, reply.reason if isinstance(reply, Unknown) else words
    )  # fmt: skip
