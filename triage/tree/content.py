"""What the YAML of a content folder becomes: immutable, checked values.

Nothing here reads a file or knows a graph; `triage.tree.load` makes these values and
`triage.tree.graph` links them.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import StrEnum

from triage.physics.machine import Machine

UNKNOWN = "unknown"
"""Outcome of a reading that could not be had; every route table answers it."""

QUALIFICATION, LICENSED = "caller_qualification", "licensed"
"""The reading that says what the caller may do, and its answer for somebody who may do all."""

COMPLAINT = "complaint"
"""The reading whose choices are called like the trees that serve them."""

HEALTHY = "healthy"
"""The cause that stands for a machine without a fault."""

LIKELIHOODS = "likelihoods.json"
"""The file of a content folder that holds computed likelihoods."""

OUTCOMES = "outcomes.json"
"""The file of a content folder that holds how often repairs confirmed each cause."""

BANDED_OUTCOMES = ("below", "within", "above", UNKNOWN)
"""Outcomes of a reading that is judged against a band."""

PLAIN_OUTCOMES = ("known", UNKNOWN)
"""Outcomes of a reading that is only noted (an air temperature, say)."""


class ReadingKind(StrEnum):
    """What sort of answer a reading takes."""

    CHOICE = "choice"
    MACHINE = "machine"
    REFRIGERANT = "refrigerant"
    GAUGE_PRESSURE = "gauge_pressure"
    TEMPERATURE = "temperature"
    TEMPERATURE_DIFFERENCE = "temperature_difference"
    DURATION = "duration"
    LENGTH = "length"
    MASS = "mass"
    VOLTAGE = "voltage"
    RESISTANCE = "resistance"
    MASS_PER_DAY = "mass_per_day"
    ENERGY_PER_MASS = "energy_per_mass"
    VOLUME_PER_MASS = "volume_per_mass"
    CONCENTRATION = "concentration"
    WATER_PRESSURE = "water_pressure"
    CURRENT = "current"
    VOLUME = "volume"
    AGE = "age"


class Stage(StrEnum):
    """Where in the call a question belongs, in the order a call goes through them."""

    CALLER = "caller"
    MACHINE = "machine"
    SITE = "site"
    FREEZE = "freeze"
    HARVEST = "harvest"
    CONFIRM = "confirm"


class Side(StrEnum):
    """Which half of the cycle a cause belongs to.

    `around` is what both halves rest on: water, power, cleanliness, settings, the place.
    """

    FREEZE = "freeze"
    HARVEST = "harvest"
    AROUND = "around"
    NONE = "none"


@dataclass(frozen=True, slots=True)
class Place:
    """A spot in a content file; line and column count from 1."""

    file: str
    line: int
    column: int

    def __str__(self) -> str:
        return f"{self.file}:{self.line}:{self.column}"


@dataclass(frozen=True, slots=True)
class Choice:
    """One allowed answer of a choice reading, with the other words people use for it."""

    id: str
    label: str
    spoken: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Reading:
    """Something the caller can observe or measure.

    `plausible` holds the least and greatest believable value in SI (pressures in pascal gauge,
    temperatures in kelvin, durations in seconds, lengths in metres, masses in kilograms).
    `default_minute` is when into the freeze or the harvest the reading is meant to be taken, if
    the caller names no minute; None for a reading without a moment.
    `is_licensed` readings need a person licensed for the work; for anyone else they are unknown.
    `is_banded` readings are judged against a band, `normal` lists the healthy choices of a choice
    reading (empty: the answer is only noted).
    `cautions` must be acknowledged before the reading is asked for.
    `minutes` is how much of the caller's time it takes.
    `is_volunteered` readings count when the caller names them; no question asks for them.
    `is_alarming` readings ask for danger: their all-clear counts only when it is said by itself.
    """

    id: str
    name: str
    kind: ReadingKind
    place: Place
    choices: tuple[Choice, ...] = ()
    normal: tuple[str, ...] = ()
    spoken: tuple[str, ...] = ()
    plausible: tuple[float, float] | None = None
    default_minute: float | None = None
    is_licensed: bool = False
    is_banded: bool = False
    cautions: tuple[str, ...] = ()
    minutes: float = 1.0
    is_volunteered: bool = False
    is_alarming: bool = False

    @property
    def outcomes(self) -> tuple[str, ...]:
        """Every outcome a route table or rule may name for this reading."""
        if self.kind is ReadingKind.CHOICE:
            return (*(choice.id for choice in self.choices), UNKNOWN)
        return BANDED_OUTCOMES if self.is_banded else PLAIN_OUTCOMES


@dataclass(frozen=True, slots=True)
class Caution:
    """A hazard in plain words, read to the caller and acknowledged by itself.

    `hazards` are the tags that call for it at the gate (a cause's repair and the facts of the
    call carry the same tags).
    """

    id: str
    title: str
    text: str
    hazards: tuple[str, ...]
    place: Place


@dataclass(frozen=True, slots=True)
class Cause:
    """Something that can be wrong, how it shows, and the repair that is safe and complete.

    `signs` maps a reading id to the probability of each outcome named under this cause, as judged
    by the trade; outcomes not named share what is left evenly. They rank the cause where the
    content has no computed likelihoods for it. `minutes` is how long its repair takes, `spoken` how
    people name it beside its name. `shown_by` are the readings that show it most directly.
    `prior` is its share of the calls of one tree: 0 until a tree is in view
    (`triage.tree.priors.content_for`).
    """

    id: str
    name: str
    side: Side
    explanation: str
    signs: Mapping[str, Mapping[str, float]]
    repair: str
    replace_together: tuple[str, ...]
    machine_state: str
    verify: tuple[str, ...]
    who: str
    hazards: tuple[str, ...]
    condemns: tuple[str, ...]
    place: Place
    minutes: float = 120.0
    spoken: tuple[str, ...] = ()
    shown_by: tuple[str, ...] = ()
    prior: float = 0.0


@dataclass(frozen=True, slots=True)
class Stakes:
    """What a wrong word costs, in minutes, and how firmly the priors stand; all judged.

    `hand_over_minutes`: a call that ends without a recommendation. `call_back_minutes`: a repair
    that was the wrong one, on top of its own time. `priors_are_worth_calls`: how many confirmed
    outcomes the written priors weigh as much as.
    """

    hand_over_minutes: float = 60.0
    call_back_minutes: float = 120.0
    priors_are_worth_calls: float = 50.0


@dataclass(frozen=True, slots=True)
class Question:
    """One thing to ask, in both voices, and where each outcome leads."""

    id: str
    reading: str
    stage: Stage
    agent: str
    technician: str
    why: str
    how: str
    if_unknown: str
    routes: Mapping[str, str]
    place: Place
    minute: float | None = None


@dataclass(frozen=True, slots=True)
class Rule:
    """A row of a junction; it holds when all of `all_of` and, if given, one of `any_of` hold."""

    says: str
    all_of: Mapping[str, frozenset[str]]
    any_of: Mapping[str, frozenset[str]]
    then: str
    place: Place


@dataclass(frozen=True, slots=True)
class Junction:
    """A fork decided by findings already made; the first rule that holds wins, else `otherwise`."""

    id: str
    stage: Stage
    rules: tuple[Rule, ...]
    otherwise: str
    place: Place


@dataclass(frozen=True, slots=True)
class Ending:
    """Where a conversation ends: a conclusion (`causes`) or an escalation (`escalate`).

    An escalation says in what state to leave the machine and whom to call; for a conclusion the
    causes do. `settles` are those of its `shortlist` that all readings together may settle on here
    although the questions did not; every proof about a conclusion holds for them too.
    """

    id: str
    causes: tuple[str, ...]
    because: str
    place: Place
    escalate: str | None = None
    shortlist: tuple[str, ...] = ()
    machine_state: str = ""
    call_whom: str = ""
    settles: tuple[str, ...] = ()

    @property
    def possible_causes(self) -> tuple[str, ...]:
        """Causes a call may be told here: those concluded, or those readings may settle on."""
        return (*self.causes, *self.settles)


@dataclass(frozen=True, slots=True)
class Tree:
    """One complaint's decision graph, its parts put in.

    `causes` says of how many of a hundred such calls each cause is behind (weights, judged).
    `parts` maps each namespace to the part that stands in it: the nodes of the part under `freeze`
    are `freeze.ice_pattern` and so on. `places` has where its file says `causes`, and where a part
    is put in: `parts.freeze`.
    """

    id: str
    title: str
    start: str
    most_questions: int
    questions: Mapping[str, Question]
    junctions: Mapping[str, Junction]
    endings: Mapping[str, Ending]
    place: Place
    causes: Mapping[str, float] = field(default_factory=dict)
    parts: Mapping[str, str] = field(default_factory=dict)
    places: Mapping[str, Place] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Content:
    """Everything a content folder holds; `version` is the hash of its files.

    `likelihoods` is the checked text of the file of computed likelihoods, "" where there is none;
    it is taken apart when causes are first ranked (`triage.tree.likelihoods`). `outcomes` counts
    the repairs that confirmed each cause, by tree.
    """

    version: str
    readings: Mapping[str, Reading]
    cautions: Mapping[str, Caution]
    causes: Mapping[str, Cause]
    machines: Mapping[str, Machine]
    trees: Mapping[str, Tree]
    machine_places: Mapping[str, Place] = field(default_factory=dict)
    stakes: Stakes = Stakes()
    likelihoods: str = ""
    outcomes: Mapping[str, Mapping[str, int]] = field(default_factory=dict)
