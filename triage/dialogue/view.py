"""What the engine hands to a surface: findings, what to ask now, and remarks to show.

Plain values in SI; a surface turns them into words, units and colors.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

from triage.dialogue.events import Event
from triage.physics.bands import Band
from triage.tree.content import Caution, Ending, Question, Reading, Stage


class Verdict(StrEnum):
    """What a reading says against what it should be.

    `outside` is for a choice that a healthy machine does not give, `noted` for a reading that is
    not judged.
    """

    BELOW = "below"
    WITHIN = "within"
    ABOVE = "above"
    OUTSIDE = "outside"
    NOTED = "noted"
    UNKNOWN = "unknown"


ODD = frozenset({Verdict.BELOW, Verdict.ABOVE, Verdict.OUTSIDE})
"""Verdicts a healthy machine does not give."""


class Source(StrEnum):
    """Where a value came from.

    `worked_out` follows from the machine's file or from another reading.
    """

    CALLER = "caller"
    WORKED_OUT = "worked_out"
    NOT_ASKED_OF_THIS_CALLER = "not_asked_of_this_caller"


@dataclass(frozen=True, slots=True)
class Finding:
    """One reading, judged.

    `value` is SI (absolute pascal for pressures), a choice, machine or refrigerant id, or None.
    `outcome` is the key it has in route tables; `residual` is the distance from the middle of the
    band in half-widths. `reason` says why a value or a verdict is missing.
    """

    reading: Reading
    value: float | str | None
    outcome: str
    verdict: Verdict
    source: Source = Source.CALLER
    typed: str = ""
    band: Band | None = None
    residual: float | None = None
    minute_s: float | None = None
    is_minute_assumed: bool = False
    reason: str = ""


@dataclass(frozen=True, slots=True)
class RankedCause:
    """A cause with its probability given all findings together."""

    cause: str
    probability: float


@dataclass(frozen=True, slots=True)
class Evidence:
    """A finding that speaks for or against a cause, with its weight (natural log of the odds)."""

    finding: Finding
    weight: float


class Agreement(StrEnum):
    """How the path through the tree and the ranking of causes compare.

    `readings`: the path left it open, and all readings together settled it.
    """

    AGREE = "agree"
    DISAGREE = "disagree"
    OPEN = "open"
    READINGS = "readings"


@dataclass(frozen=True, slots=True)
class Conclusion:
    """What the path reached and what all findings together say."""

    ending: Ending
    causes: tuple[str, ...]
    ranked: tuple[RankedCause, ...]
    agreement: Agreement
    evidence_for: tuple[Evidence, ...]
    evidence_against: tuple[Evidence, ...]
    not_measured: tuple[Finding, ...]
    settling_reading: Reading | None


@dataclass(frozen=True, slots=True)
class Expected:
    """A value to see after the repair."""

    reading: Reading
    band: Band


@dataclass(frozen=True, slots=True)
class Recommendation:
    """The repair, complete and safe, for a caller who acknowledged every caution."""

    repair: tuple[str, ...]
    replace_together: tuple[str, ...]
    machine_state: tuple[str, ...]
    verify: tuple[str, ...]
    expected_after_repair: tuple[Expected, ...]
    who: tuple[str, ...]


# What the call waits for now.


@dataclass(frozen=True, slots=True)
class AskQuestion:
    """Ask `question`; `minute` is when the reading should be taken, if it has a moment.

    `tells_apart` are the causes it is to tell apart where it is asked beyond the order of the path.
    """

    node: str
    stage: Stage
    question: Question
    reading: Reading
    minute: float | None
    tells_apart: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class AskConfirmation:
    """Show `finding` back and wait for a yes; `doubt` is the sentence that asks, if any."""

    node: str
    stage: Stage
    finding: Finding
    doubt: str
    count_waiting: int


@dataclass(frozen=True, slots=True)
class AskCaution:
    """Show a caution and wait for its acknowledgement; `seal` is empty before the gate."""

    node: str
    stage: Stage
    caution: Caution
    seal: str
    number: int = 1
    of: int = 1


@dataclass(frozen=True, slots=True)
class Recommended:
    """The end: the recommendation is open."""

    node: str
    conclusion: Conclusion
    recommendation: Recommendation
    cautions: tuple[Caution, ...]


@dataclass(frozen=True, slots=True)
class Withheld:
    """The end: a conclusion, but its repair is not told; `cautions` maps each to its answer."""

    node: str
    conclusion: Conclusion
    reason: str
    machine_state: tuple[str, ...]
    call_whom: str
    cautions: tuple[tuple[Caution, bool], ...]


@dataclass(frozen=True, slots=True)
class Escalated:
    """The end: the tool cannot tell; why, between which causes, and the machine's safe state."""

    node: str
    ending: Ending
    reason: str
    conclusion: Conclusion
    machine_state: tuple[str, ...]
    call_whom: str


Prompt = AskQuestion | AskConfirmation | AskCaution | Recommended | Withheld | Escalated
"""Exactly one of these is what a call stands at."""

END_PROMPTS = (Recommended, Withheld, Escalated)


# What to show in answer to what was typed.


@dataclass(frozen=True, slots=True)
class Echo:
    """A reading now counts; `advice` is what to do when it could not be had."""

    finding: Finding
    advice: str = ""


@dataclass(frozen=True, slots=True)
class Explained:
    """Why the question is asked or how to measure it (`topic` is "why" or "how")."""

    topic: str
    text: str
    cautions: tuple[Caution, ...] = ()


@dataclass(frozen=True, slots=True)
class NotClear:
    """What was typed could not be used, in one plain sentence that says how to mend it."""

    message: str


@dataclass(frozen=True, slots=True)
class TookBack:
    """A reading is open again."""

    reading: Reading
    typed: str


@dataclass(frozen=True, slots=True)
class NotTaken:
    """The caller said no to a reading that was shown back."""

    reading: Reading
    typed: str


@dataclass(frozen=True, slots=True)
class NoteKept:
    """A note is in the record."""

    text: str


@dataclass(frozen=True, slots=True)
class CaseSoFar:
    """All findings until now, in the order answered, the notes, and which very machine it is.

    `refused` are the cautions that stand refused.
    """

    findings: tuple[Finding, ...]
    notes: tuple[str, ...]
    serial_number: str = ""
    refused: tuple[Caution, ...] = ()


@dataclass(frozen=True, slots=True)
class HelpWanted:
    """Show what can be typed here; `wait` is how a call that waits for its reading is parked."""

    choices: tuple[str, ...]
    wait: str = ""


@dataclass(frozen=True, slots=True)
class CautionAnswered:
    """A caution was acknowledged or refused."""

    caution: Caution
    is_acknowledged: bool


@dataclass(frozen=True, slots=True)
class StoppedHere:
    """The call is kept; it can be resumed."""


@dataclass(frozen=True, slots=True)
class ParkedHere:
    """The call waits until `due_at` (UTC, ISO 8601), `wait_s` from when this was said.

    `due_at` is empty where nobody knew the time.
    """

    reason: str
    due_at: str
    wait_s: float = 0.0


@dataclass(frozen=True, slots=True)
class SerialKept:
    """It is on record which very machine the call is about."""

    serial_number: str


Remark = (
    Echo
    | Explained
    | NotClear
    | TookBack
    | NotTaken
    | NoteKept
    | CaseSoFar
    | HelpWanted
    | CautionAnswered
    | StoppedHere
    | ParkedHere
    | SerialKept
)


@dataclass(frozen=True, slots=True)
class Turn:
    """What a typed line led to: events to store, and what to say about it."""

    events: tuple[Event, ...]
    remarks: tuple[Remark, ...]
