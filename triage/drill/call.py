"""Which call a drill is about: a seed, a level and a machine make one, and always the same one."""

from __future__ import annotations

import random
from collections.abc import Mapping
from dataclasses import dataclass, replace
from enum import StrEnum
from types import MappingProxyType

from triage.dialogue.case import QUALIFICATION, Case
from triage.dialogue.engine import Engine
from triage.dialogue.judge import ALTITUDE
from triage.drill.model_answer import ModelAnswer, model_answer
from triage.drill.population import (
    Place,
    caller_at,
    can_happen,
    is_plain,
    opened,
    places_of,
    told,
)
from triage.drill.simulated_caller import SimulatedCaller
from triage.physics.faults import FAULTS, faults_of, variants_on
from triage.physics.machine import Machine
from triage.physics.quantity import Dimension, UnitSystem, format_quantity
from triage.tree.content import HEALTHY

NOT_LICENSED = "no, I am the manager"
"""What a caller says who may not measure."""

_SEA_LEVEL = {UnitSystem.US: "0 ft", UnitSystem.SI: "0 m"}

_PLACES = 3
"""Weathers drawn for a machine, warm water apart."""

_ATTEMPTS = 60
"""Calls drawn before a drill is given up; nine in ten easy ones and half of the hard ones are good
for practice (measured)."""


class DrillError(ValueError):
    """There is no such drill; says what to ask for instead."""


class Level(StrEnum):
    """How hard a drill is."""

    EASY = "easy"
    USUAL = "usual"
    HARD = "hard"


@dataclass(frozen=True, slots=True)
class Terms:
    """What a level asks of the trainee; all judged.

    `severities` of the fault, 0 to 1. `missing` readings at least and at most that cannot be had.
    `shows_verdicts` judges each reading on the screen. `tells_at_once` says a mistake when it is
    made, not only at the end. `is_awkward`: the machine is not on file, or the caller not licensed.
    """

    severities: tuple[float, float]
    missing: tuple[int, int]
    shows_verdicts: bool = True
    tells_at_once: bool = False
    is_awkward: bool = False


TERMS: Mapping[Level, Terms] = MappingProxyType({
    Level.EASY: Terms((0.85, 1.0), (0, 0), tells_at_once=True),
    Level.USUAL: Terms((0.65, 0.85), (1, 2)),
    Level.HARD: Terms((0.5, 0.65), (1, 3), shows_verdicts=False, is_awkward=True),
})  # fmt: skip


@dataclass(frozen=True, slots=True)
class PracticeCall:
    """One call to practice on: who calls, what is truly wrong, and how the program takes it."""

    engine: Engine
    level: Level
    seed: int
    machine: Machine
    place: Place
    caller: SimulatedCaller
    is_licensed: bool
    model: ModelAnswer

    @property
    def cause(self) -> str:
        """What is truly wrong."""
        return self.caller.fault.cause

    @property
    def terms(self) -> Terms:
        """What the level asks of the trainee."""
        return TERMS[self.level]

    @property
    def opening(self) -> Case:
        """The case before anything was asked."""
        return opening_of(self.engine, self.place)


def opening_of(engine: Engine, place: Place) -> Case:
    """Return the case of a call from `place` before anything was asked."""
    return opened(place, engine.tree.id, engine.content.version)


def draw_call(
    engine: Engine,
    level: Level,
    seed: int,
    *,
    units: UnitSystem = UnitSystem.US,
    machine: Machine | None = None,
    cause: str | None = None,
) -> PracticeCall:
    """Return the call of a seed: its fault shows, and the program itself can find it.

    `machine` and `cause` are drawn where they are None, causes by the content's priors. A machine
    that is named gives the call the same seed gives where that machine is drawn. Raises DrillError
    where nothing fits.
    """
    machine = _machine_for(engine, _chance(seed, level), machine, cause)
    unclear: PracticeCall | None = None
    for attempt in range(_ATTEMPTS):
        call = _drawn(engine, level, seed, units, machine, cause, attempt)
        if call is None:
            continue
        is_found = call.cause in call.model.causes
        if not is_found and (cause is None or unclear is not None):
            continue
        if not _shows(call):
            continue
        if is_found:
            return call
        unclear = call
    if unclear is not None:  # it shows, and the program hands it over: a lesson of its own
        return unclear
    what = f"{cause} at level {level}" if cause else f"a fault at level {level}"
    raise DrillError(
        f"{what} does not come about on {machine.name}; name another cause, machine or level"
    )


def _chance(seed: int, level: Level, *more: object) -> random.Random:
    """Return the source of chance for one part of a drill."""
    return random.Random(" ".join(map(str, (seed, level.value, *more))))


def _machine_for(
    engine: Engine, noise: random.Random, machine: Machine | None, cause: str | None
) -> Machine:
    machines = list(engine.content.machines.values())
    if cause is not None:
        if cause not in FAULTS:
            raise DrillError(f"no virtual machine can have {cause}; name another cause")
        if machine is not None:
            variants_on(cause, machine)  # says which part is not there
        machines = [each for each in machines if cause in faults_of(each)]
    if machine is None and not machines:
        raise DrillError("no machine on file can have that; name another cause")
    return machine or noise.choice(machines)


def _drawn(
    engine: Engine,
    level: Level,
    seed: int,
    units: UnitSystem,
    machine: Machine,
    cause: str | None,
    attempt: int,
) -> PracticeCall | None:
    """Return a call as chance has it, None if the weather cannot show the cause that is wanted."""
    terms, noise = TERMS[level], _chance(seed, level, machine.id, attempt)
    is_licensed = not terms.is_awkward or noise.random() < 0.5
    is_on_file = not (terms.is_awkward and is_licensed)
    places = places_of(machine, _PLACES, noise, is_on_file=is_on_file)
    fitting = {
        key: [place for place in places if can_happen(key, machine, place)]
        for key in engine.view.causes
        if cause in (None, key)
    }
    known = [key for key, where in fitting.items() if where]
    if not known:
        return None
    hidden = noise.choices(known, [engine.view.causes[key].prior for key in known])[0]
    place = _told_in(noise.choice(fitting[hidden]), units)
    said = {ALTITUDE: _SEA_LEVEL[units]}
    if not is_licensed:
        said[QUALIFICATION] = NOT_LICENSED
    caller = caller_at(
        place, machine, hidden, noise, missing=noise.randint(*terms.missing),
        severities=terms.severities, said=said,
    )  # fmt: skip
    model = model_answer(engine, caller, opening_of(engine, place))
    return PracticeCall(engine, level, seed, machine, place, caller, is_licensed, model)


def _told_in(place: Place, units: UnitSystem) -> Place:
    """Return a place whose temperatures are told in `units`."""
    return replace(
        place,
        units=units,
        temperatures={
            key: format_quantity(place.kelvin(key), Dimension.TEMPERATURE, units)
            for key in place.temperatures
        },
    )


def _shows(call: PracticeCall) -> bool:
    if call.cause == HEALTHY:
        return True
    case = told(call.opening, call.place, call.machine)
    return is_plain(call.engine.view, call.caller, case)
