"""What there is to learn from a drill: each step beside the best one, and what would have told."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from triage.dialogue.case import QUALIFICATION, Case, fold
from triage.dialogue.events import Answered
from triage.dialogue.heard import answer_of
from triage.dialogue.judge import finding_of
from triage.dialogue.reply import Value, read_reply
from triage.dialogue.view import ODD, Finding
from triage.drill.call import PracticeCall
from triage.drill.coach import Slip, best_next, is_freeze_proven, slip_of, stage_of
from triage.drill.population import TRIED, told
from triage.drill.practice import Outcome, Practice
from triage.drill.rehearsal import minutes_of
from triage.tree.content import Reading, Side, Stage

MOST_TELLING = 8
"""Readings shown that tell of the fault; the rest says no more."""


@dataclass(frozen=True, slots=True)
class AskedStep:
    """A reading that was asked for, beside what was best to ask; None: nothing more was needed."""

    reading: Reading
    best: Reading | None
    slip: Slip

    @property
    def is_best(self) -> bool:
        """Whether it was the best next question."""
        return self.best is not None and self.best.id == self.reading.id


@dataclass(frozen=True, slots=True)
class Debrief:
    """A drill looked back at.

    Of what the model answer asked and the trainee did not, `missed_odd` would have shown something
    and `missed_proof` would have been as it should, which proves a part of the machine sound.
    `telling` is what showed on the machine, had or not, the farthest off first; `case` judges it.
    `is_unproven_blame`: a harvest cause was proposed while the freeze was not proven sound. Minutes
    are the caller's time.
    """

    call: PracticeCall
    outcome: Outcome
    proposals: tuple[str, ...]
    steps: tuple[AskedStep, ...]
    hints: int
    minutes: float
    missed_odd: tuple[Reading, ...]
    missed_proof: tuple[Reading, ...]
    telling: tuple[Finding, ...]
    case: Case
    is_unproven_blame: bool

    @property
    def too_early(self) -> int:
        """How many readings were asked too early."""
        return sum(step.slip.is_too_early for step in self.steps)

    @property
    def cautions_skipped(self) -> int:
        """How many readings were asked without what must come first for safety."""
        return sum(step.slip.is_unsafe for step in self.steps)

    @property
    def best_steps(self) -> int:
        """How many readings were the best next question."""
        return sum(step.is_best for step in self.steps)

    @property
    def minutes_over(self) -> float:
        """How much more of the caller's time was taken than by the model answer [min]."""
        return self.minutes - self.call.model.minutes


def debrief(call: PracticeCall, practice: Practice) -> Debrief:
    """Return the look back at a drill that ended; one still open counts as unfinished."""
    engine, content = call.engine, call.engine.content
    steps = []
    for asking in practice.asked:
        following = best_next(engine, asking.before)
        best = following.reading if following else None
        steps.append(AskedStep(content.readings[asking.reading], best, slip_of(engine, asking)))
    case, shown = _shown(call)
    odd = sorted(
        (item for item in shown if item.verdict in ODD), key=lambda item: -abs(_distance(item))
    )
    odd_ones = {item.reading.id for item in odd}
    missed = tuple(_missed(call, practice))
    return Debrief(
        call,
        practice.outcome or Outcome.UNFINISHED,
        practice.proposals,
        tuple(steps),
        practice.hints,
        minutes_of(call, (item.reading for item in practice.asked)),
        tuple(reading for reading in missed if reading.id in odd_ones),
        tuple(reading for reading in missed if reading.id not in odd_ones),
        tuple(odd[:MOST_TELLING]),
        case,
        any(content.causes[cause].side is Side.HARVEST for cause in practice.proposals)
        and not is_freeze_proven(engine, practice.case),
    )


def _missed(call: PracticeCall, practice: Practice) -> Iterator[Reading]:
    """Yield the judged readings that the model answer asked for and had, and the trainee not."""
    for key in call.model.asked:
        reading = call.engine.content.readings[key]
        is_judged = reading.is_banded or bool(reading.normal)
        is_had = key not in call.caller.missing and (call.is_licensed or not reading.is_licensed)
        is_about_machine = stage_of(call.engine, key) is not Stage.MACHINE
        if is_judged and is_had and is_about_machine and not practice.has_asked(key):
            yield reading


def _distance(finding: Finding) -> float:
    """Return how far off a finding is, in half-widths of its band; 2 for one that has no band."""
    return 2.0 if finding.residual is None else min(abs(finding.residual), 1e3)


def _shown(call: PracticeCall) -> tuple[Case, tuple[Finding, ...]]:
    """Return what the machine shows to a licensed caller who can get at everything."""
    content = call.engine.content
    case = told(call.opening, call.place, call.machine)
    answers: list[Answered] = []
    for reading in content.readings.values():
        if reading.id in case.answers or reading.id in (QUALIFICATION, TRIED):
            continue
        words = call.caller.answer_with_all(reading.id)
        reply = read_reply(words, reading, system=call.place.units, machines=content.machines)
        if isinstance(reply, Value):
            answers.append(answer_of(reading, reply, reading.default_minute))
    case = fold(answers, case)
    found = (finding_of(content, case, key) for key in case.answers)
    return case, tuple(item for item in found if item is not None)
