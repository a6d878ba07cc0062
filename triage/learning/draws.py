"""Made-up calls drawn from the virtual machine, and what each would show: the ranking's lessons.

One batch is one place (a machine and its weather) with every fault that can happen there. A batch
has a generator of its own, named by the seed and the batch, so that batches can be drawn in any
order, on any core, today or tomorrow, and come out the same.
"""

from __future__ import annotations

import random
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from enum import StrEnum

from triage.dialogue.grades import grade_of
from triage.dialogue.view import Finding
from triage.drill.population import (
    TRIED,
    Place,
    all_findings,
    caller_at,
    can_happen,
    is_plain,
    opened,
    places_of,
    told,
)
from triage.tree.content import Content
from triage.tree.likelihoods import MADE_OF_OTHERS, ON_FILE, TYPICAL, foreseen, modelled_causes

MOST_TRIES = 8
"""How often a fault that shows nowhere is drawn anew before the place is given up for it."""

REACH = 1.25
"""How far units lie off the model, in their stated limits [-]: more than 1, because the model is
off as well; judged."""


SEVERITIES = (0.2, 1.0)
"""Severities of the faults drawn: from what hardly shows to what is plain; judged."""


class Setting(StrEnum):
    """Whether the machine's own model is on file, or a typical machine has to stand in for it."""

    ON_FILE = ON_FILE
    TYPICAL = TYPICAL


@dataclass(frozen=True, slots=True)
class Batch:
    """One place of one machine model, by number."""

    setting: Setting
    machine: str
    number: int

    @property
    def name(self) -> str:
        """The batch in one word, for seeds and files."""
        return f"{self.setting.value}/{self.machine}/{self.number}"


@dataclass(frozen=True, slots=True)
class Draw:
    """One made-up call: its cause, and the grade or choice of each reading that says anything."""

    cause: str
    shown: Mapping[str, str]


def batches(content: Content, places: int) -> Iterator[Batch]:
    """Yield every batch: `places` and one with warm water for each machine, in both settings."""
    for setting in Setting:
        for machine in content.machines:
            for number in range(places + 1):
                yield Batch(setting, machine, number)


def place_of(content: Content, batch: Batch, places: int, seed: int) -> Place:
    """Return the place a batch stands for."""
    generator = random.Random(f"{seed}/{batch.setting.value}/{batch.machine}/places")
    machine = content.machines[batch.machine]
    is_on_file = batch.setting is Setting.ON_FILE
    return places_of(machine, places, generator, is_on_file=is_on_file)[batch.number]


def draws_of(
    content: Content, batch: Batch, *, places: int, draws: int, seed: int
) -> Iterator[Draw]:
    """Yield `draws` calls of each cause that can happen at the batch's place.

    Faults that stay hidden are left out: nobody calls about them.
    """
    place = place_of(content, batch, places, seed)
    machine = content.machines[batch.machine]
    tree = next(iter(content.trees))
    case = told(opened(place, tree, content.version), place, machine)
    for cause in modelled_causes(content):
        if not can_happen(cause, machine, place):
            continue
        noise = random.Random(f"{seed}/{batch.name}/{cause}")
        for _ in range(draws):
            for _ in range(MOST_TRIES):
                caller = caller_at(place, machine, cause, noise, severities=SEVERITIES, reach=REACH)
                if cause == "healthy" or is_plain(content, caller, case):
                    caller.answer_with_all(TRIED)
                    yield Draw(cause, _shown(content, all_findings(content, caller, case)))
                    break


def _shown(content: Content, findings: Mapping[str, Finding]) -> Mapping[str, str]:
    return {
        key: grade
        for key, finding in findings.items()
        if foreseen(content.readings[key])
        and key not in MADE_OF_OTHERS
        and (grade := grade_of(finding)) is not None
    }
