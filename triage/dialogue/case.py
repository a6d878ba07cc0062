"""The state of a call as a fold over its events; folding reads nothing and never fails."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace
from types import MappingProxyType

from triage.dialogue.events import (
    Acknowledged,
    Answered,
    Asked,
    Concluded,
    Declined,
    Event,
    Identified,
    Noted,
    Offered,
    Parked,
    Refused,
    RepairReported,
    Resumed,
    Started,
    Stopped,
    TakenBack,
    TreeChosen,
)
from triage.tree.content import COMPLAINT, LICENSED, QUALIFICATION

__all__ = ["COMPLAINT", "LICENSED", "QUALIFICATION", "Case", "apply", "fold"]


_NOTHING: Mapping[str, Answered] = MappingProxyType({})


@dataclass(frozen=True, slots=True)
class Case:
    """What is known of a call so far; `tree` is the one it is in by now.

    `answers` holds the reading that counts, the latest of each id; `reopened` those taken back and
    not answered again, the last one next; `offered` those waiting for a
    yes, the first one next, with the `doubt` that was raised about it. `acknowledged` and `refused`
    hold (caution, seal); a seal is empty for cautions met on the way. `is_held_unlicensed` is set
    for good once anybody not licensed has answered something: such a call never becomes a licensed
    one. A parked call is a stopped one that says when to go on.
    """

    tree: str = ""
    content_version: str = ""
    voice: str = "agent"
    units: str = "us"
    altitude_m: float = 0.0
    agent: str = ""
    answers: Mapping[str, Answered] = field(default_factory=lambda: _NOTHING)
    reopened: tuple[str, ...] = ()
    offered: tuple[Answered, ...] = ()
    doubt: str = ""
    acknowledged: frozenset[tuple[str, str]] = frozenset()
    refused: frozenset[tuple[str, str]] = frozenset()
    notes: tuple[str, ...] = ()
    asked: tuple[str, ...] = ()
    is_held_unlicensed: bool = False
    is_stopped: bool = False
    serial_number: str = ""
    parked: Parked | None = None
    concluded: Concluded | None = None
    repair: RepairReported | None = None

    @property
    def is_licensed(self) -> bool:
        """Whether the caller may be asked for licensed work."""
        answer = self.answers.get(QUALIFICATION)
        return not self.is_held_unlicensed and answer is not None and answer.value == LICENSED


def fold(events: Iterable[Event], case: Case | None = None) -> Case:
    """Return the case after `events`, starting from `case` or from nothing."""
    state = case or Case()
    for event in events:
        state = apply(state, event)
    return state


def apply(case: Case, event: Event) -> Case:
    """Return `case` after one more `event`."""
    match event:
        case Started():
            return replace(
                case,
                tree=event.tree,
                content_version=event.content_version,
                voice=event.voice,
                units=event.units,
                altitude_m=event.altitude_m,
                agent=event.agent,
            )
        case TreeChosen(tree):
            return replace(case, tree=tree)
        case Asked(node):
            return replace(case, asked=(*case.asked, node))
        case Answered():
            return _answered(case, event)
        case Offered(items, doubt):
            return replace(case, offered=tuple(Answered(**item) for item in items), doubt=doubt)
        case Declined():
            return replace(case, offered=case.offered[1:], doubt="")
        case TakenBack(reading):
            answers = {key: value for key, value in case.answers.items() if key != reading}
            reopened = (*(item for item in case.reopened if item != reading), reading)
            return replace(
                case,
                answers=MappingProxyType(answers),
                reopened=reopened,
                offered=(),
                doubt="",
            )
        case Acknowledged(caution, _, seal):
            return replace(
                case,
                acknowledged=case.acknowledged | {(caution, seal)},
                refused=case.refused - {(caution, seal)},
            )
        case Refused(caution, _, seal):
            return replace(
                case,
                refused=case.refused | {(caution, seal)},
                acknowledged=case.acknowledged - {(caution, seal)},
            )
        case Noted(text):
            return replace(case, notes=(*case.notes, text))
        case Stopped():
            return replace(case, is_stopped=True)
        case Identified(serial_number):
            return replace(case, serial_number=serial_number)
        case Parked():
            return replace(case, is_stopped=True, parked=event)
        case Resumed():
            return replace(case, is_stopped=False, parked=None)
        case Concluded():
            return replace(case, concluded=event)
        case RepairReported():
            return replace(case, repair=event)
        case _:
            return case


def _answered(case: Case, event: Answered) -> Case:
    offered = case.offered
    doubt = case.doubt
    if offered and offered[0].reading == event.reading:
        offered, doubt = offered[1:], ""
    # Order of insertion is order of answering: taking back looks at the last one.
    answers = {key: value for key, value in case.answers.items() if key != event.reading}
    answers[event.reading] = event
    qualification = answers.get(QUALIFICATION)
    is_held = case.is_held_unlicensed or (
        event.reading != QUALIFICATION
        and qualification is not None
        and qualification.value != LICENSED
    )
    return replace(
        case,
        answers=MappingProxyType(answers),
        reopened=tuple(item for item in case.reopened if item != event.reading),
        offered=offered,
        doubt=doubt,
        is_held_unlicensed=is_held,
    )
