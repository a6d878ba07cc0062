"""Draw made-up calls on all cores, keep what is drawn, and turn it into `likelihoods.json`.

Batches already drawn are read back from the folder of drawn batches, so an interrupted run goes on
where it was. The same content, seed and counts give the same file on any number of cores.
"""

from __future__ import annotations

import hashlib
import json
import os
from collections import defaultdict
from collections.abc import Callable, Iterator, Mapping, Sequence
from concurrent.futures import ProcessPoolExecutor, as_completed
from dataclasses import dataclass
from itertools import chain
from pathlib import Path

import triage
from triage.dialogue.beliefs import judged_chance
from triage.dialogue.grades import GRADES_OF
from triage.learning.draws import (
    MOST_TRIES,
    REACH,
    Batch,
    Draw,
    Setting,
    batches,
    draws_of,
)
from triage.learning.modes import modes_of
from triage.tree.content import Content
from triage.tree.likelihoods import (
    FORMAT,
    GRADE_EDGES,
    Mode,
    fingerprint,
    foreseen,
    modelled_causes,
    staleness,
)
from triage.tree.load import load_content

MODES = 4
"""Modes of a cause; six tell causes apart no better on calls not drawn for them (measured)."""

_DIGITS = 4

_DRAWN_WITH = ("physics", "learning")
_DRAWN_WITH_FILES = ("drill/population.py", "drill/simulated_caller.py", "dialogue/grades.py")


@dataclass(frozen=True, slots=True)
class Probe:
    """What one made-up call showed when the likelihoods were computed."""

    machine: str
    cause: str
    shown: Mapping[str, str]


@dataclass(frozen=True, slots=True)
class Plan:
    """How much is drawn: places for each machine and setting, calls of each cause there."""

    places: int = 10
    draws: int = 8
    seed: int = 1


Progress = Callable[[int, int], None]
"""Called with batches done and batches in all."""


def compute_likelihoods(
    content: Content, folder: Path, plan: Plan, kept: Path, progress: Progress
) -> str:
    """Return the text of `likelihoods.json` for the content of `folder`.

    `kept` is where drawn batches are; it is made if it is missing. Raises OSError if it cannot be
    written.
    """
    drawn = _drawn(content, folder, plan, kept, progress)
    by_setting: dict[str, dict[str, list[Mapping[str, str]]]] = defaultdict(
        lambda: defaultdict(list)
    )
    for batch in batches(content, plan.places):
        for draw in drawn[batch.name]:
            by_setting[batch.setting.value][draw.cause].append(draw.shown)
    calls = [
        shown for causes in by_setting.values() for found in causes.values() for shown in found
    ]
    outcomes = telling(content, calls)
    settings = {
        setting: {
            cause: modes_of(causes[cause], outcomes, MODES, plan.seed)
            if causes[cause]
            else (judged_mode(content, cause, outcomes),)
            for cause in modelled_causes(content)
        }
        for setting, causes in by_setting.items()
    }
    provenance = {
        "command": "triage tree likelihoods "
        f"--places {plan.places} --draws {plan.draws} --seed {plan.seed}",
        "places": plan.places,
        "draws": plan.draws,
        "seed": plan.seed,
        "made_up_calls": len(calls),
        "units_off_by_limits_times": REACH,
        "tries_for_a_fault_that_shows": MOST_TRIES,
        "modes": MODES,
        "fingerprint": fingerprint(content),
    }
    return _text(provenance, outcomes, settings, probes(content, plan))


def judged_mode(content: Content, cause: str, outcomes: Mapping[str, tuple[str, ...]]) -> Mode:
    """Return the one mode of a cause that no call was drawn of, from its judged signs.

    An even spread instead would fit whatever a call shows. A verdict's grades share evenly.
    """
    chances = {}
    for reading_id, found in outcomes.items():
        reading = content.readings[reading_id]
        verdicts = GRADES_OF if reading.is_banded else {choice: (choice,) for choice in found}
        judged = {
            each: judged_chance(content.causes[cause], reading, verdict) / len(each_of)
            for verdict, each_of in verdicts.items()
            for each in each_of
        }
        whole = sum(judged.values())
        chances[reading_id] = {each: chance / whole for each, chance in judged.items()}
    return Mode(1.0, chances)


def probes(content: Content, plan: Plan) -> list[Probe]:
    """Return the first call of each cause at one place of a machine of each kind of condenser.

    They are drawn as they were for the likelihoods, so drawing them again tells whether machines,
    faults or callers have changed since.
    """
    kinds = {
        machine.condenser.kind: name for name, machine in reversed([*content.machines.items()])
    }
    return [
        Probe(name, draw.cause, dict(draw.shown))
        for name in kinds.values()
        for draw in draws_of(
            content,
            Batch(Setting.ON_FILE, name, 0),
            places=plan.places,
            draws=1,
            seed=plan.seed,
        )
    ]


def changed_since(content: Content) -> list[str]:
    """Return in words what made-up calls show that they did not when the file was computed.

    Empty if the likelihoods are fresh. Takes some seconds: the probes are drawn again.
    """
    stale = staleness(content)
    if stale:
        return [stale]
    found = json.loads(content.likelihoods)
    provenance = found["provenance"]
    plan = Plan(provenance["places"], provenance["draws"], provenance["seed"])
    then = {(machine, cause): shown for machine, cause, shown in found["probes"]}
    now = {(probe.machine, probe.cause): probe.shown for probe in probes(content, plan)}
    return [
        f"{reading} of {cause} on {machine}: {_at(then, machine, cause, reading)} then, "
        f"{_at(now, machine, cause, reading)} now"
        for machine, cause in sorted(then.keys() | now.keys())
        for reading in sorted(
            then.get((machine, cause), {}).keys() | now.get((machine, cause), {}).keys()
        )
        if _at(then, machine, cause, reading) != _at(now, machine, cause, reading)
    ]


def _at(
    probes: Mapping[tuple[str, str], Mapping[str, str]], machine: str, cause: str, reading: str
) -> str:
    return probes.get((machine, cause), {}).get(reading, "nothing")


def telling(content: Content, calls: Sequence[Mapping[str, str]]) -> dict[str, tuple[str, ...]]:
    """Return what is counted of each reading that does not show the same in every call."""
    seen: dict[str, set[str]] = defaultdict(set)
    for shown in calls:
        for reading, found in shown.items():
            seen[reading].add(found)
    return {
        reading.id: foreseen(reading)
        for reading in content.readings.values()
        if len(seen[reading.id]) > 1
    }


def _drawn(
    content: Content, folder: Path, plan: Plan, kept: Path, progress: Progress
) -> dict[str, list[Draw]]:
    mark = f"{fingerprint(content)[:16]}-{program_mark()[:16]}"
    kept = kept / f"{mark}-{plan.places}-{plan.draws}-{plan.seed}"
    kept.mkdir(mode=0o700, parents=True, exist_ok=True)
    drawn: dict[str, list[Draw]] = {}
    waiting: list[Batch] = []
    everything = list(batches(content, plan.places))
    for batch in everything:
        found = _read(kept / _file_of(batch))
        if found is None:
            waiting.append(batch)
        else:
            drawn[batch.name] = found
    progress(len(drawn), len(everything))
    if not waiting:
        return drawn
    with ProcessPoolExecutor(os.cpu_count(), initializer=_begin, initargs=(folder,)) as pool:
        futures = {pool.submit(_work, batch, plan): batch for batch in waiting}
        try:
            for future in as_completed(futures):
                batch = futures[future]
                drawn[batch.name] = future.result()
                _write(kept / _file_of(batch), drawn[batch.name])
                progress(len(drawn), len(everything))
        except BaseException:
            pool.shutdown(cancel_futures=True)
            raise
    return drawn


def program_mark() -> str:
    """Return a hash of the sources that calls are made up with; other sources draw other calls."""
    package = Path(triage.__file__).parent
    digest = hashlib.sha256()
    rooms = (sorted((package / room).glob("*.py")) for room in _DRAWN_WITH)
    for path in (*chain(*rooms), *(package / name for name in _DRAWN_WITH_FILES)):
        digest.update(path.read_bytes())
    return digest.hexdigest()


def _file_of(batch: Batch) -> str:
    return f"{batch.setting.value}-{batch.machine}-{batch.number}.jsonl"


def _read(path: Path) -> list[Draw] | None:
    """Return a batch drawn earlier, None if it is not there or was cut short."""
    try:
        count, *lines = map(json.loads, path.read_text(encoding="utf-8").splitlines())
        draws = [Draw(cause, shown) for cause, shown in lines]
        return draws if len(draws) == count else None
    except (OSError, ValueError, TypeError):
        return None


def _write(path: Path, draws: Sequence[Draw]) -> None:
    unfinished = path.with_suffix(".unfinished")
    lines = (json.dumps([draw.cause, dict(draw.shown)]) for draw in draws)
    # The count comes first, so that a file cut between two calls is known as cut.
    text = "".join(f"{line}\n" for line in (len(draws), *lines))
    unfinished.write_text(text, encoding="utf-8")
    unfinished.replace(path)


_content: list[Content] = []


def _begin(folder: Path) -> None:
    """Load the content once for each process."""
    _content.append(load_content(folder))


def _work(batch: Batch, plan: Plan) -> list[Draw]:
    found = draws_of(
        _content[-1], batch, places=plan.places, draws=plan.draws, seed=plan.seed
    )  # fmt: skip
    return list(found)


def _text(
    provenance: Mapping[str, object],
    outcomes: Mapping[str, tuple[str, ...]],
    settings: Mapping[str, Mapping[str, tuple[Mode, ...]]],
    probes: Sequence[Probe],
) -> str:
    """Return the file's text: JSON with one line for each mode, so that a change can be read."""

    def lines() -> Iterator[str]:
        yield "{"
        yield f'"format": {FORMAT},'
        yield f'"grade_edges": {json.dumps(list(GRADE_EDGES))},'
        yield f'"provenance": {json.dumps(provenance, indent=1)},'
        yield f'"readings": {json.dumps({key: list(value) for key, value in outcomes.items()})},'
        yield '"settings": {'
        for number, (setting, causes) in enumerate(settings.items()):
            yield f' "{setting}": {{'
            for position, (cause, modes) in enumerate(causes.items()):
                yield f'  "{cause}": ['
                for place, mode in enumerate(modes):
                    yield f"   {_mode_text(mode)}{_comma(place, modes)}"
                yield f"  ]{_comma(position, causes)}"
            yield f" }}{_comma(number, settings)}"
        yield "},"
        yield '"probes": ['
        for number, probe in enumerate(probes):
            text = json.dumps([probe.machine, probe.cause, dict(probe.shown)])
            yield f" {text}{_comma(number, probes)}"
        yield "]}"

    return "".join(f"{line}\n" for line in lines())


def _mode_text(mode: Mode) -> str:
    chances = {
        reading: [round(chance, _DIGITS) for chance in found.values()]
        for reading, found in mode.chances.items()
    }
    return json.dumps({"share": round(mode.share, _DIGITS), "chances": chances})


def _comma(number: int, items: Sequence[object] | Mapping[str, object]) -> str:
    return "," if number + 1 < len(items) else ""
