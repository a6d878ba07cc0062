"""What there is to learn from a drill: each step beside the best one, and what would have told."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace

from triage.dialogue.case import QUALIFICATION, Case, fold
from triage.dialogue.events import Answered
from triage.dialogue.heard import answer_of, readings_heard
from triage.dialogue.judge import finding_of
from triage.dialogue.reply import Value, read_reply
from triage.dialogue.view import ODD, Finding
from triage.drill.call import PracticeCall
from triage.drill.coach import Slip, best_next, is_freeze_proven, is_too_early, slip_of, stage_of
from triage.drill.population import TRIED, told
from triage.drill.practice import Outcome, Practice, can_give
from triage.drill.rehearsal import minutes_taken
from triage.tree.content import Reading, Side, Stage

PROOF_SHARE = 0.5
"""Share of the model answer's readings below which a right guess is found without proof (judged).

On that few not even the freeze is proven sound, without which no harvest part may be blamed.
"""

MOST_TELLING = 8
"""Readings shown that tell of the fault; the rest says no more."""


@dataclass(frozen=True, slots=True)
class AskedStep:
    """A reading that was asked for, beside what was best to ask; None: nothing more was needed.

    `is_taken`: the caller went to take it.
    """

    reading: Reading
    is_taken: bool
    best: Reading | None
    slip: Slip

    @property
    def is_best(self) -> bool:
        """Whether it was the best next question."""
        return self.best is not None and self.best.id == self.reading.id


@dataclass(frozen=True, slots=True)
class Debrief:
    """A drill looked back at.

    `missed_odd` was never asked, could be had, was off and not too early, the farthest first; what
    the model answer did not need either is no miss where the cause was found with proof.
    `missed_proof` the model answer asked, the trainee not; it was as it should be, which proves a
    part sound.
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
    def is_without_proof(self) -> bool:
        """Whether the cause was found on fewer readings than half of the model answer's (judged).

        Only readings the caller went to take count.
        """
        taken = sum(step.is_taken for step in self.steps)
        return self.outcome is Outcome.RIGHT and taken < PROOF_SHARE * len(self.call.model.asked)

    @property
    def is_compared(self) -> bool:
        """Whether the minutes are laid beside the model answer's: found, and with proof."""
        return self.outcome is Outcome.RIGHT and not self.is_without_proof

    @property
    def minutes_over(self) -> float:
        """How much more of the caller's time was taken than by the model answer [min]."""
        return self.minutes - self.call.model.minutes


def debrief(call: PracticeCall, practice: Practice) -> Debrief:
    """Return the look back at a drill that ended; one still open counts as unfinished."""
    engine, content = call.engine, call.engine.view
    steps = []
    for asking in practice.asked:
        following = best_next(engine, asking.before)
        best = following.reading if following else None
        reading = content.readings[asking.reading]
        steps.append(AskedStep(reading, asking.is_taken, best, slip_of(engine, asking)))
    case, shown = _shown(call)
    odd = sorted(
        (item for item in shown if item.verdict in ODD), key=lambda item: -abs(_distance(item))
    )
    odd_ones = {item.reading.id for item in odd}
    missed_odd = [
        item.reading
        for item in odd
        if _is_missed(call, practice, item.reading)
        and (item.reading.id in call.model.asked or not is_too_early(engine, case, item.reading.id))
    ]
    looked_back = Debrief(
        call,
        practice.outcome or Outcome.UNFINISHED,
        practice.proposals,
        tuple(steps),
        practice.hints,
        minutes_taken(call, practice),
        tuple(missed_odd),
        tuple(item for item in _missed(call, practice) if item.id not in odd_ones),
        tuple(odd[:MOST_TELLING]),
        case,
        any(content.causes[cause].side is Side.HARVEST for cause in practice.proposals)
        and not is_freeze_proven(engine, practice.case),
    )
    if looked_back.is_compared:
        needed = tuple(item for item in missed_odd if item.id in call.model.asked)
        return replace(looked_back, missed_odd=needed)
    return looked_back


def _missed(call: PracticeCall, practice: Practice) -> Iterator[Reading]:
    """Yield the judged readings that the model answer asked for and had, and the trainee not."""
    for key in call.model.asked:
        reading = call.engine.view.readings[key]
        is_judged = reading.is_banded or bool(reading.normal)
        is_about_machine = stage_of(call.engine, key) is not Stage.MACHINE
        if is_judged and is_about_machine and _is_missed(call, practice, reading):
            yield reading


def _is_missed(call: PracticeCall, practice: Practice, reading: Reading) -> bool:
    """Return whether the caller could have given a reading and was never asked for it."""
    return not practice.has_asked(reading.id) and can_give(call, reading)


def _distance(finding: Finding) -> float:
    """Return how far off a finding is, in half-widths of its band; 2 for one that has no band."""
    return 2.0 if finding.residual is None else min(abs(finding.residual), 1e3)


def _shown(call: PracticeCall) -> tuple[Case, tuple[Finding, ...]]:
    """Return what the machine shows to a licensed caller who can get at everything."""
    content = call.engine.view
    case = told(call.opening, call.place, call.machine)
    answers: list[Answered] = []
    for reading in readings_heard(content):
        if reading.id in case.answers or reading.id in (QUALIFICATION, TRIED):
            continue
        words = call.caller.answer_with_all(reading.id)
        reply = read_reply(words, reading, system=call.place.units, machines=content.machines)
        if isinstance(reply, Value):
            answers.append(answer_of(reading, reply, reading.default_minute))
    case = fold(answers, case)
    found = (finding_of(content, case, key) for key in case.answers)
    return case, tuple(item for item in found if item is not None)
