"""One simulated call through the real engine, and which calls a benchmark makes.

A call has one hidden fault (or none) in a virtual machine that is one unit of its model, air and
water as a thermometer shows them, and gauges, watches and eyes that err as stated.
"""

from __future__ import annotations

import random
from collections import defaultdict
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from functools import cache
from pathlib import Path

from tests.conversation import CONTENT_FOLDER, TREE
from triage.dialogue.case import Case, fold
from triage.dialogue.conclude import is_contradicted
from triage.dialogue.engine import Engine
from triage.dialogue.events import Acknowledged, Answered, Started
from triage.dialogue.judge import finding_of
from triage.dialogue.rank import rank_causes
from triage.dialogue.reply import Value, read_reply
from triage.dialogue.view import (
    END_PROMPTS,
    AskCaution,
    AskQuestion,
    Escalated,
    Finding,
    NotClear,
    Recommended,
    Verdict,
    Withheld,
)
from triage.drill.simulated_caller import SimulatedCaller, conditions_behind, some_unit
from triage.physics.faults import faults_of, supply_share
from triage.physics.machine import CondenserKind, Conditions, Machine
from triage.physics.observed import LOOKS, chances_of, coil_resistance_ohm
from triage.physics.quantity import UnitSystem, format_quantity, parse_quantity
from triage.physics.tolerances import INSTRUMENT_LIMITS
from triage.physics.units import Dimension
from triage.physics.virtual_machine import DEFAULT_MOMENT_S, reading_at
from triage.tree.content import Side
from triage.tree.load import load_content

HEALTHY = "healthy"
FEED = "receiver_vapor_feed_failed"
MOST_DRAWS = 8
WARM_WATER = "water_supply_warm"
TRIED = "manifold_test_result"
CAN_BE_MISSING = (
    *sorted(INSTRUMENT_LIMITS), "ice_pattern", "water_flow_over_plate", "water_leaking_into_sump",
    "condenser_fan_state", "ice_released", "slab_loose_but_hanging", "coil_voltage",
    "coil_resistance", "coil_pulls_in", "plate_condition", "vacuum_break_running",
    "hot_gas_line_in_freeze", "manifold_test_result",
)  # fmt: skip


@dataclass(frozen=True)
class Cell:
    """A machine and the air and water temperatures as told, so that its bands are made once."""

    machine: str
    units: UnitSystem
    temperatures: Mapping[str, str]
    is_cold_outside: bool
    has_warm_water: bool


@dataclass(frozen=True)
class Job:
    """One call to be made."""

    cause: str
    missing: int
    seed: int
    is_licensed: bool = True


@dataclass
class Call:
    """How one call went."""

    cause: str
    missing: int
    end: str = ""
    ending: str = ""
    concluded: tuple[str, ...] = ()
    shortlist: tuple[str, ...] = ()
    is_contradicted: bool = False
    ranked: tuple[str, ...] = ()
    ranked_of_all: tuple[str, ...] = ()
    top_probability: float = 0.0
    is_false_condemnation: bool = False
    naive: str = ""
    is_naive_condemnation: bool = False
    questions: int = 0
    outcomes: dict[str, str] = field(default_factory=dict)
    hidden_draws: int = 0
    machine: str = ""
    severity: float = 0.0
    not_had: tuple[str, ...] = ()

    @property
    def outcome(self) -> str:
        """The class of the graph's result."""
        return outcome_of(self.cause, self.concluded, self.end == "recommended")


def outcome_of(cause: str, concluded: tuple[str, ...], is_response: bool) -> str:
    """Return the outcome class of a diagnosis, given what was truly wrong."""
    if not is_response:
        return "no response"
    if cause in concluded:
        return "correct"
    if cause == HEALTHY:
        return "false alarm"
    return "missed detection" if concluded == (HEALTHY,) else "misdiagnosis"


@cache
def engine_of(folder: Path) -> Engine:
    """Return the engine of a content folder."""
    return Engine(load_content(folder), TREE)


def engine_in_use() -> Engine:
    """Return the engine that is measured."""
    return engine_of(content_folder())


def content_folder() -> Path:
    """Return the folder of the content that is measured."""
    return _FOLDER[-1]


def use(folder: Path) -> None:
    """Measure the content of this folder from here on, in this process."""
    _FOLDER.append(folder)


_FOLDER = [CONTENT_FOLDER]

# One call


def make_call(cell: Cell, job: Job, keep_hidden: bool) -> Call | None:
    """Return how a call went; None if the fault stayed hidden in every draw."""
    engine = engine_in_use()
    content = engine.content
    machine = content.machines[cell.machine]
    noise = random.Random(job.seed)
    draws = 0
    while True:
        caller = caller_for(cell, job, machine, noise)
        if keep_hidden or job.cause == HEALTHY or is_plain(caller, cell):
            break
        draws += 1
        if draws >= MOST_DRAWS:
            return None
    call = Call(
        job.cause, job.missing, hidden_draws=draws, machine=cell.machine,
        severity=caller.fault.severity, not_had=tuple(sorted(caller.missing)),
    )  # fmt: skip
    case = opened(cell)
    while not isinstance(prompt := engine.prompt(case), END_PROMPTS):
        if isinstance(prompt, AskCaution) and prompt.seal:
            # At the gate: every caution acknowledged under its seal, in one go.
            case = fold((Acknowledged(key, "yes", prompt.seal) for key in content.cautions), case)
            continue
        line = "yes"
        if isinstance(prompt, AskQuestion):
            call.questions += 1
            line = caller.answer(prompt.reading.id)
        turn = engine.turn(case, line)
        if any(isinstance(remark, NotClear) for remark in turn.remarks):
            raise AssertionError(f"the engine does not take {line!r} at {prompt.node}")
        case = fold(turn.events, case)
    conclusion = prompt.conclusion
    call.end = {Recommended: "recommended", Withheld: "withheld", Escalated: "escalated"}[
        type(prompt)
    ]
    call.ending = prompt.node
    call.concluded = conclusion.causes if call.end != "escalated" else ()
    call.is_contradicted = is_contradicted(conclusion)
    call.shortlist = () if call.concluded else (conclusion.causes or conclusion.ending.shortlist)
    call.ranked = tuple(item.cause for item in conclusion.ranked[:2])
    call.top_probability = conclusion.ranked[0].probability
    call.is_false_condemnation = condemns_harvest(call.concluded) and is_freeze_fault(job.cause)
    everything = all_findings(caller, opened(cell))
    ranked = rank_causes(
        content, (item for key, item in everything.items() if key not in caller.missing)
    )
    call.ranked_of_all = tuple(item.cause for item in ranked[:2])
    pressures = ("harvest_suction_pressure", "harvest_discharge_pressure")
    is_naive = all(
        everything[key].outcome == "below" and key not in caller.missing for key in pressures
    )
    call.naive = FEED if is_naive else ""
    call.is_naive_condemnation = is_naive and is_freeze_fault(job.cause)
    call.outcomes = {
        key: item.outcome for key, item in everything.items() if item.verdict is not Verdict.UNKNOWN
    }
    return call


def caller_for(cell: Cell, job: Job, machine: Machine, noise: random.Random) -> SimulatedCaller:
    """Return a caller of this cell with the job's fault at some severity."""
    severity = noise.uniform(0.5, 1.0)
    said = told_conditions(cell)
    true = conditions_behind(said, machine, noise)
    if job.cause == WARM_WATER:
        # The cell's water is the warm one; what it should be lies below.
        true = Conditions(
            true.ambient_air_temperature_k, true.condenser_air_temperature_k,
            true.water_inlet_temperature_k - 18.0 * severity,
        )  # fmt: skip
    return SimulatedCaller(
        machine, true, job.cause, severity, noise,
        missing=noise.sample(CAN_BE_MISSING, job.missing), units=cell.units,
        said=said_by(cell, job), unit=some_unit(machine, noise),
    )  # fmt: skip


def said_by(cell: Cell, job: Job) -> dict[str, str]:
    """Return what the caller says in fixed words."""
    papers = {} if job.is_licensed else {"caller_qualification": "no"}
    return {**cell.temperatures, **papers}


def is_plain(caller: SimulatedCaller, cell: Cell) -> bool:
    """Return whether a perfect instrument or a good look would find anything at all."""
    content = engine_in_use().content
    case = told(opened(cell), cell, caller)
    if supply_share(caller.fault.cause, caller.fault.severity) < 0.85:
        return True
    if coil_resistance_ohm(caller.sight) != caller.machine.electrical.coil_resistance_ohm:
        return True
    for reading_id in (*INSTRUMENT_LIMITS, "water_inlet_temperature"):
        moment_s = DEFAULT_MOMENT_S.get(reading_id)
        value = reading_at(caller.cycle, reading_id, moment_s)
        case_with = fold([Answered(reading_id, "", value, minute_s=moment_s)], case)
        finding = finding_of(content, case_with, reading_id)
        if finding is not None and finding.verdict in (Verdict.BELOW, Verdict.ABOVE):
            return True
    for reading_id in LOOKS:
        normal = content.readings[reading_id].normal
        if normal and reading_id != TRIED:
            chances = chances_of(caller.sight, reading_id)
            if sum(chances.get(choice, 0.0) for choice in normal) < 0.5:
                return True
    return False


def all_findings(caller: SimulatedCaller, case: Case) -> dict[str, Finding]:
    """Return what every reading would say, asked or not, none missing."""
    engine = engine_in_use()
    missing, caller.missing = caller.missing, frozenset()
    answers = []
    for reading in engine.content.readings.values():
        if reading.id == TRIED and TRIED not in caller.told:
            continue  # nobody tries it without being asked, and it costs a harvest
        reply = read_reply(
            caller.answer(reading.id), reading, system=caller.units,
            machines=engine.content.machines,
        )  # fmt: skip
        if isinstance(reply, Value):
            minute = reading.default_minute
            minute_s = None if minute is None else 60.0 * minute
            answers.append(Answered(reading.id, "", reply.value, minute_s=minute_s))
    caller.missing = missing
    case = fold(answers, case)
    found = {answer.reading: finding_of(engine.content, case, answer.reading) for answer in answers}
    return {key: item for key, item in found.items() if item is not None}


def opened(cell: Cell) -> Case:
    """Return a case at its first question."""
    version = engine_in_use().content.version
    return fold([Started(TREE, version, "agent", cell.units.value)])


def told(case: Case, cell: Cell, caller: SimulatedCaller) -> Case:
    """Return the case with machine and temperatures told."""
    known: dict[str, float | str] = {
        "caller_qualification": "licensed",
        "machine": caller.machine.id,
        **{key: kelvin(text, cell.units) for key, text in cell.temperatures.items()},
    }
    return fold([Answered(key, "", value) for key, value in known.items()], case)


@cache
def condemning_causes() -> frozenset[str]:
    """Return the causes of the harvest that call a part bad."""
    return frozenset(
        cause.id
        for cause in engine_in_use().content.causes.values()
        if cause.side is Side.HARVEST and cause.condemns
    )


def condemns_harvest(causes: Iterable[str]) -> bool:
    """Return whether a harvest part is called bad."""
    return any(cause in condemning_causes() for cause in causes)


def is_freeze_fault(cause: str) -> bool:
    """Return whether the freeze is what is truly unhealthy."""
    return engine_in_use().content.causes[cause].side is Side.FREEZE


# The plan


def kelvin(text: str, units: UnitSystem) -> float:
    """Return a temperature as the engine takes it."""
    default = "°F" if units is UnitSystem.US else "°C"
    return parse_quantity(text, Dimension.TEMPERATURE, default).si()


def told_conditions(cell: Cell) -> Conditions:
    """Return the conditions as told."""
    said = {key: kelvin(text, cell.units) for key, text in cell.temperatures.items()}
    air = said["ambient_air_temperature"]
    return Conditions(
        air, said.get("condenser_air_temperature", air), said["water_inlet_temperature"]
    )


def cells_of(machine: Machine, count: int, generator: random.Random) -> list[Cell]:
    """Return `count` places for a machine, the first of them cold outside.

    One more has warm water.
    """

    def cell(index: int, has_warm_water: bool) -> Cell:
        units = UnitSystem.US if index % 2 == 0 else UnitSystem.SI
        top = machine.greatest_air_temperature_k
        air = generator.uniform(machine.least_air_temperature_k, top)
        water = generator.uniform(
            machine.least_water_temperature_k, machine.greatest_water_temperature_k
        )
        if has_warm_water:
            water = machine.greatest_water_temperature_k + generator.uniform(2.0, 8.0)
        temperatures = {"ambient_air_temperature": air, "water_inlet_temperature": water}
        is_cold = False
        if machine.condenser.kind is CondenserKind.REMOTE_AIR:
            low = machine.least_condenser_air_temperature_k
            is_cold = index % 3 == 0
            floor = machine.condenser.least_condensing_temperature_k
            edge = floor - 25.0
            high = machine.greatest_condenser_air_temperature_k
            roof = generator.uniform(low, edge) if is_cold else generator.uniform(edge, high)
            temperatures["condenser_air_temperature"] = roof
        texts = {
            key: format_quantity(value, Dimension.TEMPERATURE, units)
            for key, value in temperatures.items()
        }
        return Cell(machine.id, units, texts, is_cold, has_warm_water)

    return [cell(index, False) for index in range(count)] + [cell(1, True)]


def fits(cause: str, cell: Cell) -> bool:
    """Return whether this weather can show the fault at all."""
    match cause:
        case "water_supply_warm":
            return cell.has_warm_water
        case "head_pressure_control_low":
            return cell.is_cold_outside
        case "condenser_airflow_poor" | "refrigerant_overcharge":
            return not (cell.is_cold_outside or cell.has_warm_water)
        case _:
            return not cell.has_warm_water


def plan(calls: int, seed: int, unlicensed: float = 0.0) -> list[tuple[Cell, list[Job]]]:
    """Return the calls to make by cell, every cause as often as the others."""
    generator = random.Random(seed)
    content = engine_in_use().content
    count = max(2, min(12, calls // 400))
    cells = [
        cell
        for machine in content.machines.values()
        for cell in cells_of(machine, count, generator)
    ]
    places = {
        cause: [
            cell
            for cell in cells
            if cause in faults_of(content.machines[cell.machine]) and fits(cause, cell)
        ]
        for cause in content.causes
    }
    jobs: dict[int, list[Job]] = defaultdict(list)
    order = {id(cell): index for index, cell in enumerate(cells)}
    for number in range(calls):
        cause = list(content.causes)[number % len(content.causes)]
        cell = generator.choice(places[cause])
        job = Job(
            cause, generator.randrange(4), generator.getrandbits(48),
            generator.random() >= unlicensed,
        )  # fmt: skip
        jobs[order[id(cell)]].append(job)
    return [(cells[index], todo) for index, todo in sorted(jobs.items())]


def run_cell(cell: Cell, jobs: list[Job], keep_hidden: bool) -> list[Call | None]:
    """Return the calls of one cell."""
    return [make_call(cell, job, keep_hidden) for job in jobs]
