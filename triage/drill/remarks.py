"""What a drill says to a typed line, as values for a surface to show."""

from __future__ import annotations

from dataclasses import dataclass

from triage.dialogue.view import Explained, Finding, NotClear
from triage.drill.coach import Hint, Slip
from triage.drill.practice import Asking, Kind, Step
from triage.tree.content import Caution


@dataclass(frozen=True, slots=True)
class Heard:
    """The caller answered; `slip` is what was wrong about asking now.

    `is_again`: it was asked before. `judged_again` counts earlier readings whose verdict moved.
    """

    asking: Asking
    finding: Finding
    slip: Slip
    is_again: bool
    judged_again: int


@dataclass(frozen=True, slots=True)
class PutOff:
    """The caller takes no licensed reading before being asked what they may do."""

    asking: Asking
    slip: Slip


@dataclass(frozen=True, slots=True)
class Noted:
    """A word on what was just shown."""

    words: str


@dataclass(frozen=True, slots=True)
class CautionsRead:
    """Cautions were read to the caller; none where all that belong there were read before."""

    cautions: tuple[Caution, ...]


@dataclass(frozen=True, slots=True)
class WhichOne:
    """It is not clear which was meant; the names to choose from."""

    kind: Kind
    names: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class CaseShown:
    """What is known, and what it took of the caller's time."""

    findings: tuple[Finding, ...]
    readings: int
    minutes: float


@dataclass(frozen=True, slots=True)
class BandShown:
    """The band of a reading that was taken, on request."""

    finding: Finding


@dataclass(frozen=True, slots=True)
class HelpShown:
    """What can be typed; `topic` is help, readings, causes or cautions."""

    topic: str


@dataclass(frozen=True, slots=True)
class Judged:
    """A proposal was judged."""

    cause: str
    is_right: bool
    guesses_left: int


@dataclass(frozen=True, slots=True)
class LeftHere:
    """The drill was left."""


Remark = (
    Heard | PutOff | Noted | CautionsRead | WhichOne | CaseShown | BandShown | HelpShown | Judged
    | LeftHere | Hint | Explained | NotClear
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class Response:
    """What a line led to."""

    steps: tuple[Step, ...] = ()
    remarks: tuple[Remark, ...] = ()
