"""The state of a drill as a fold over its steps; the caller's words follow from the call."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field, replace
from enum import StrEnum

from triage.dialogue.case import LICENSED, QUALIFICATION, Case, fold
from triage.dialogue.events import Answered
from triage.dialogue.heard import answer_of, read
from triage.dialogue.judge import minute_of
from triage.dialogue.reply import Unknown, Value
from triage.drill.call import PracticeCall
from triage.tree.content import Reading

MOST_PROPOSALS = 2
"""Causes a trainee may propose."""

NOT_FOR_ME = "unknown I am not licensed for that"
"""What a caller says who was asked for licensed work after saying that they are not licensed."""


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
    """A reading was looked at: why, how, or its band."""

    reading: str


@dataclass(frozen=True, slots=True)
class LeftOpen:
    """It was not clear which of `options` was meant, or whether the only one was."""

    kind: Kind
    options: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Hinted:
    """A hint was given."""


@dataclass(frozen=True, slots=True)
class Proposed:
    """The trainee proposed a cause."""

    cause: str


@dataclass(frozen=True, slots=True)
class GaveUp:
    """The trainee wants the answer."""


@dataclass(frozen=True, slots=True)
class Left:
    """The drill was left before its end; `is_told` if the trainee is shown the answer."""

    is_told: bool


Step = AskedFor | ReadOut | Named | LeftOpen | Hinted | Proposed | GaveUp | Left


class Outcome(StrEnum):
    """How a drill ended."""

    RIGHT = "right"
    WRONG = "wrong"
    GIVEN_UP = "given up"
    UNFINISHED = "unfinished"


@dataclass(frozen=True, slots=True)
class Asking:
    """A reading that was asked for: the caller's words, and how things stood before."""

    reading: str
    words: str
    before: Case
    read_out: frozenset[str]


@dataclass(frozen=True, slots=True)
class Practice:
    """How far a drill is.

    `case` is what a call would know. `named` is the reading spoken of last. `open` is what the
    next line may choose from.
    """

    case: Case
    asked: tuple[Asking, ...] = ()
    read_out: frozenset[str] = field(default_factory=frozenset)
    hints: int = 0
    proposals: tuple[str, ...] = ()
    named: str = ""
    open: LeftOpen | None = None
    outcome: Outcome | None = None

    @property
    def guesses_left(self) -> int:
        """How many causes may still be proposed."""
        return MOST_PROPOSALS - len(self.proposals)

    def has_asked(self, reading_id: str) -> bool:
        """Whether a reading was asked for before."""
        return any(item.reading == reading_id for item in self.asked)


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
        case Named(reading_id):
            return replace(practice, named=reading_id)
        case LeftOpen():
            return replace(practice, open=step)
        case Hinted():
            return replace(practice, hints=practice.hints + 1)
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
    reading = call.engine.content.readings[reading_id]
    words = words_for(call, practice.case, reading)
    asking = Asking(reading_id, words, practice.case, practice.read_out)
    case = fold([_answer(call, practice.case, reading, words)], practice.case)
    return replace(practice, case=case, asked=(*practice.asked, asking))


def words_for(call: PracticeCall, case: Case, reading: Reading) -> str:
    """Return what the caller says when asked for a reading.

    Who has not been asked yet what they may do does what they are told; after a plain no, not.
    """
    qualification = case.answers.get(QUALIFICATION)
    is_known_unlicensed = qualification is not None and qualification.value != LICENSED
    if reading.is_licensed and is_known_unlicensed:
        return NOT_FOR_ME
    return call.caller.answer(reading.id)


def _answer(call: PracticeCall, case: Case, reading: Reading, words: str) -> Answered:
    content = call.engine.content
    reply = read(content, case, reading, words)
    if isinstance(reply, Value):
        questions = call.engine.tree.questions.values()
        question = next((item for item in questions if item.reading == reading.id), None)
        return answer_of(reading, reply, minute_of(question, reading))
    return Answered(
        reading.id, words, None, reply.reason if isinstance(reply, Unknown) else words
    )  # fmt: skip
