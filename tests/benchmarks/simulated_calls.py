"""Which calls a benchmark makes, and one such call: the whole tool and the other ways beside it.

A call has one hidden fault (or none) in a virtual machine that is one unit of its model, air and
water as a thermometer shows them, and gauges, watches and eyes that err as stated. All ways of
diagnosing hear the same caller, who says the same words to each.
"""

from __future__ import annotations

import random
from collections import defaultdict
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from functools import cache
from pathlib import Path

from tests.benchmarks.features import features_of
from tests.benchmarks.mismatched import Mismatch, caller_under, content_under, place_under
from tests.benchmarks.other_ways import Way, graph_alone, naive_rule
from tests.conversation import CONTENT_FOLDER, TREE
from triage.dialogue.case import Case, fold
from triage.dialogue.engine import Engine
from triage.dialogue.events import Acknowledged
from triage.dialogue.rank import rank_causes
from triage.dialogue.second_thoughts import is_contradicted
from triage.dialogue.view import (
    END_PROMPTS,
    AskCaution,
    AskQuestion,
    Escalated,
    Finding,
    NotClear,
    Prompt,
    Recommended,
    Verdict,
    Withheld,
)
from triage.drill.population import (
    TRIED,
    Place,
    all_findings,
    can_happen,
    is_plain,
    opened,
    places_of,
    told,
)
from triage.drill.simulated_caller import SimulatedCaller
from triage.tree.content import HEALTHY, Content, Reading, Side
from triage.tree.load import load_content
from triage.tree.priors import content_for

MOST_DRAWS = 8

TOOL, GRAPH, NAIVE = "whole tool", "graph alone", "naive rule"
HAD, ALL = "had", "all"
"""The readings a call had, and all that could be had; the confirming test, which nobody tries
unasked, is among the first alone."""


@dataclass(frozen=True)
class Job:
    """One call to be made."""

    cause: str
    missing: int
    seed: int
    is_licensed: bool = True


@dataclass(frozen=True)
class Batch:
    """The calls from one place, whose bands are then worked out once.

    `drawn` is how often each cause comes at this place, in content order and up to a factor.
    """

    place: Place
    jobs: tuple[Job, ...]
    drawn: tuple[float, ...]
    mismatch: Mismatch = Mismatch.NONE


@dataclass
class Call:
    """How one call went.

    `ways` maps the tool, the graph alone and the naive rule to what they came to. `posteriors` and
    `shown` hold, by `HAD` and `ALL`, what the ranking says of all causes in content order, and the
    readings as `features_of` them.
    """

    cause: str
    missing: int
    machine: str
    severity: float
    not_had: tuple[str, ...]
    hidden_draws: int
    drawn: tuple[float, ...]
    end: str = ""
    ending: str = ""
    is_contradicted: bool = False
    shortlist: tuple[str, ...] = ()
    ways: dict[str, Way] = field(default_factory=dict)
    posteriors: dict[str, tuple[float, ...]] = field(default_factory=dict)
    shown: dict[str, tuple[float, ...]] = field(default_factory=dict)
    outcomes: dict[str, str] = field(default_factory=dict)

    @property
    def tool(self) -> Way:
        """What the whole tool came to."""
        return self.ways[TOOL]


@cache
def engine_of(folder: Path, mismatch: Mismatch = Mismatch.NONE, machine: str = "") -> Engine:
    """Return the engine of a content folder, as calls about a machine meet it."""
    return Engine(content_under(mismatch, _content_of(folder), machine), TREE)


@cache
def _content_of(folder: Path) -> Content:
    return content_for(load_content(folder), TREE)


def content_in_use() -> Content:
    """Return the content that is measured."""
    return _content_of(content_folder())


def content_folder() -> Path:
    """Return the folder of the content that is measured."""
    return _FOLDER[-1]


def use(folder: Path) -> None:
    """Measure the content of this folder from here on, in this process."""
    _FOLDER.append(folder)


_FOLDER = [CONTENT_FOLDER]

# The plan


def plan(
    calls: int,
    seed: int,
    unlicensed: float = 0.0,
    *,
    mismatch: Mismatch = Mismatch.NONE,
    places: int | None = None,
) -> list[Batch]:
    """Return the calls to make by place, every cause as often as the others.

    `unlicensed` is the share of callers who are, `places` how many there are for each machine.
    """
    generator = random.Random(seed)
    content = content_in_use()
    count = places or max(2, min(12, calls // 400))
    everywhere = [
        place_under(mismatch, place)
        for machine in content.machines.values()
        for place in places_of(machine, count, generator)
    ]
    fitting = {
        cause: [
            number
            for number, place in enumerate(everywhere)
            if can_happen(cause, content.machines[place.machine], place)
        ]
        for cause in content.causes
    }
    jobs: dict[int, list[Job]] = defaultdict(list)
    causes = list(content.causes)
    for number in range(calls):
        cause = causes[number % len(causes)]
        job = Job(
            cause,
            generator.randrange(4),
            generator.getrandbits(48),
            generator.random() >= unlicensed,
        )
        jobs[generator.choice(fitting[cause])].append(job)
    return [
        Batch(
            everywhere[number],
            tuple(todo),
            tuple(
                1.0 / len(fitting[cause]) if number in fitting[cause] else 0.0 for cause in causes
            ),
            mismatch,
        )
        for number, todo in sorted(jobs.items())
    ]


# One call


def run_batch(batch: Batch, keep_hidden: bool = False) -> list[Call | None]:
    """Return the calls of one place; None for a fault that stayed hidden in every draw."""
    return [make_call(batch, job, keep_hidden) for job in batch.jobs]


def make_call(batch: Batch, job: Job, keep_hidden: bool) -> Call | None:
    """Return how a call went; None if the fault stayed hidden in every draw."""
    engine = engine_for(batch)
    content = engine.content
    found = caller_for(batch, job, keep_hidden)
    if found is None:
        return None
    caller, draws = found
    call = Call(
        job.cause, job.missing, batch.place.machine, caller.fault.severity,
        tuple(sorted(caller.missing)), draws, batch.drawn,
    )  # fmt: skip
    start = opened(batch.place, TREE, content.version)
    prompt, case, asked = talk(engine, start, caller)
    conclusion = prompt.conclusion
    call.end = type(prompt).__name__.lower()
    call.ending = prompt.node
    call.is_contradicted = is_contradicted(conclusion)
    concluded = () if isinstance(prompt, Escalated) else conclusion.causes
    call.shortlist = () if concluded else (conclusion.causes or conclusion.ending.shortlist)
    named = dict.fromkeys((*concluded, *(item.cause for item in conclusion.ranked)))
    call.ways[TOOL] = Way(
        tuple(named)[:2], concluded, len(asked), sum(reading.minutes for reading in asked)
    )
    call.ways[GRAPH] = graph_alone(engine, start, caller)
    everything = all_findings(content, caller, start)
    obtainable = {
        key: item
        for key, item in everything.items()
        if key not in caller.missing and key != TRIED
    }  # fmt: skip
    call.ways[NAIVE] = naive_rule(obtainable)
    had = {item.reading.id: item for item in engine.findings(case)}
    for name, findings in ((HAD, had), (ALL, obtainable)):
        call.posteriors[name] = posterior_of(content, findings)
        call.shown[name] = features_of(content_in_use(), findings)
    call.outcomes = {
        key: item.outcome for key, item in everything.items() if item.verdict is not Verdict.UNKNOWN
    }
    return call


def talk(
    engine: Engine, case: Case, caller: SimulatedCaller
) -> tuple[Recommended | Withheld | Escalated, Case, list[Reading]]:
    """Return how the engine ends a call with this caller, the case then, and what it asked for."""
    asked: list[Reading] = []
    prompt: Prompt
    while not isinstance(prompt := engine.prompt(case), END_PROMPTS):
        if isinstance(prompt, AskCaution) and prompt.seal:
            # At the gate: every caution acknowledged under its seal, in one go.
            seal = prompt.seal
            case = fold(
                (Acknowledged(key, "yes", seal) for key in engine.content.cautions), case
            )  # fmt: skip
            continue
        line = "yes"
        if isinstance(prompt, AskQuestion):
            asked.append(prompt.reading)
            line = caller.answer(prompt.reading.id)
        turn = engine.turn(case, line)
        if any(isinstance(remark, NotClear) for remark in turn.remarks):
            raise AssertionError(f"the engine does not take {line!r} at {prompt.node}")
        case = fold(turn.events, case)
    return prompt, case, asked


def engine_for(batch: Batch) -> Engine:
    """Return the engine that takes the calls from this place."""
    is_left_out = batch.mismatch is Mismatch.LEFT_OUT
    return engine_of(content_folder(), batch.mismatch, batch.place.machine if is_left_out else "")


def caller_for(
    batch: Batch, job: Job, keep_hidden: bool = False
) -> tuple[SimulatedCaller, int] | None:
    """Return the caller of a job and how many draws stayed hidden before; None if all did."""
    content, place = content_in_use(), batch.place
    machine = content.machines[place.machine]
    noise = random.Random(job.seed)
    case = told(opened(place, TREE, content.version), place, machine)
    said = {} if job.is_licensed else {"caller_qualification": "no"}
    for draws in range(MOST_DRAWS):
        caller = caller_under(
            batch.mismatch, content, place, machine, job.cause, noise, job.missing, said
        )
        if keep_hidden or job.cause == HEALTHY or is_plain(content, caller, case):
            return caller, draws
    return None


def posterior_of(content: Content, findings: Mapping[str, Finding]) -> tuple[float, ...]:
    """Return what the ranking makes of findings: a probability for each cause, in content order."""
    ranked = {item.cause: item.probability for item in rank_causes(content, findings.values())}
    return tuple(ranked.get(cause, 0.0) for cause in content.causes)


@cache
def condemning_causes() -> frozenset[str]:
    """Return the causes of the harvest that call a part bad."""
    return frozenset(
        cause.id
        for cause in content_in_use().causes.values()
        if cause.side is Side.HARVEST and cause.condemns
    )


def is_false_condemnation(cause: str, concluded: Iterable[str]) -> bool:
    """Return whether a harvest part is called bad where the freeze is what is truly unhealthy."""
    is_freeze_fault = content_in_use().causes[cause].side is Side.FREEZE
    return is_freeze_fault and any(item in condemning_causes() for item in concluded)
