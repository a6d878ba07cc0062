"""How drills went, kept in a file of their own beside the calls: one line of JSON each.

A line is appended in one write and never changed. A line that cannot be read is told and left out.
"""

from __future__ import annotations

import json
import os
from collections.abc import Mapping
from contextlib import suppress
from dataclasses import MISSING, asdict, dataclass, fields
from pathlib import Path
from typing import Any

from triage.dialogue.words import plain_text
from triage.drill.debrief import PROOF_SHARE, Debrief
from triage.drill.practice import Outcome
from triage.store.errors import StoreFull, StoreUnreachable
from triage.store.where import default_store_path

RESULT_FORMAT = 1
"""Version written in each line."""

RESULTS_FILE_NAME = "drills.jsonl"

LONGEST_NAME = 60
"""Characters of a trainee's name that are kept."""

_FOLDER_MODE = 0o700
_FILE_MODE = 0o600


@dataclass(frozen=True, slots=True)
class Result:
    """One drill as it is kept. `minutes` and `model_minutes` are the caller's time [min].

    `readings` are those the caller went to take, `model_readings` how many the model answer asked;
    0 in lines from before it was kept.
    """

    at: str
    trainee: str
    seed: int
    level: str
    machine: str
    cause: str
    severity: float
    outcome: str
    proposed: tuple[str, ...]
    readings: tuple[str, ...]
    minutes: float
    model_minutes: float
    too_early: int
    cautions_skipped: int
    hints: int
    content: str
    model_readings: int = 0

    @property
    def is_safe(self) -> bool:
        """Whether nobody could have been hurt."""
        return self.cautions_skipped == 0

    @property
    def is_without_proof(self) -> bool:
        """Whether the right cause was proposed on too few readings, as `Debrief` has it."""
        return self.is_right and len(self.readings) < PROOF_SHARE * self.model_readings

    @property
    def is_right(self) -> bool:
        """Whether the right cause was proposed."""
        return self.outcome == Outcome.RIGHT

    @property
    def is_finished(self) -> bool:
        """Whether the drill came to an end."""
        return self.outcome != Outcome.UNFINISHED


@dataclass(frozen=True, slots=True)
class DamagedLine:
    """A line of the file that cannot be read: where, and what is wrong with it."""

    place: str
    problem: str


def result_of(looked_back: Debrief, trainee: str, at: str) -> Result:
    """Return what is kept of a drill that `trainee` ended at the time `at`."""
    call = looked_back.call
    return Result(
        at=at,
        trainee=plain_text(trainee, LONGEST_NAME),
        seed=call.seed,
        level=call.level.value,
        machine=call.machine.id,
        cause=call.cause,
        severity=round(call.caller.fault.severity, 3),
        outcome=looked_back.outcome.value,
        proposed=looked_back.proposals,
        readings=tuple(step.reading.id for step in looked_back.steps if step.is_taken),
        minutes=looked_back.minutes,
        model_minutes=call.model.minutes,
        too_early=looked_back.too_early,
        cautions_skipped=looked_back.cautions_skipped,
        hints=looked_back.hints,
        content=call.engine.view.version,
        model_readings=len(call.model.asked),
    )


def default_results_path() -> Path:
    """Return where results are kept: beside the calls, in the user's data folder."""
    return default_store_path().with_name(RESULTS_FILE_NAME)


def make_ready(path: Path) -> None:
    """Make the file if it is not there, so that a drill need not be lost at its end.

    Raises StoreUnreachable where it cannot be written.
    """
    os.close(_opened(path))


def keep(path: Path, result: Result) -> None:
    """Append one result; it is on disk when this returns.

    Raises StoreFull or StoreUnreachable with the result in the message, so that it is not lost.
    """
    line = json.dumps({"format": RESULT_FORMAT, **asdict(result)}, sort_keys=True) + "\n"
    handle = _opened(path)
    try:
        data = line.encode("ascii")
        if not _ends_a_line(handle):
            # A write that was cut short stays a line of its own; it must not spoil this one.
            data = b"\n" + data
        written = os.write(handle, data)
        if written != len(data):
            raise StoreFull(f"{path}: no room for the result; make room. It was: {line.strip()}")
        os.fsync(handle)
    except OSError as error:
        reason = error.strerror or type(error).__name__
        raise StoreFull(
            f"{path}: the result was not kept ({reason}); make room. It was: {line.strip()}"
        ) from error
    finally:
        os.close(handle)


def read_results(path: Path) -> tuple[list[Result], list[DamagedLine]]:
    """Return all results, oldest first, and the lines that cannot be read; none without a file.

    Raises StoreUnreachable where the file is there and cannot be read.
    """
    try:
        data = path.read_bytes()
    except FileNotFoundError:
        return [], []
    except OSError as error:
        raise StoreUnreachable(
            f"{path}: results cannot be read ({error.strerror}); give yourself the right"
        ) from error
    results: list[Result] = []
    damaged: list[DamagedLine] = []
    for number, line in enumerate(data.split(b"\n"), start=1):
        if not line.strip():
            continue
        try:
            results.append(_result_in(line))
        except (ValueError, RecursionError) as error:
            problem = plain_text(str(error) or type(error).__name__, 100)
            damaged.append(DamagedLine(f"{path}:{number}", problem))
    return results, damaged


def _opened(path: Path) -> int:
    try:
        for missing in reversed([path.parent, *path.parent.parents]):
            if not missing.exists():
                missing.mkdir(mode=_FOLDER_MODE, exist_ok=True)
        flags = os.O_RDWR | os.O_CREAT | os.O_APPEND | getattr(os, "O_CLOEXEC", 0)
        handle = os.open(path, flags, _FILE_MODE)
    except OSError as error:
        raise StoreUnreachable(
            f"{path}: results of drills cannot be kept there ({error.strerror}); "
            "give yourself the right, or set XDG_DATA_HOME to a folder of your own"
        ) from error
    with suppress(OSError, AttributeError):  # a file made by hand may be open to all
        os.fchmod(handle, _FILE_MODE)
    return handle


def _ends_a_line(handle: int) -> bool:
    size = os.lseek(handle, 0, os.SEEK_END)
    if size == 0:
        return True
    os.lseek(handle, size - 1, os.SEEK_SET)
    return os.read(handle, 1) == b"\n"


_TYPES: Mapping[str, type | tuple[type, ...]] = {
    "str": str, "int": int, "float": (int, float), "tuple[str, ...]": list,
}  # fmt: skip


def _result_in(line: bytes) -> Result:
    """Return the result a line holds; raise ValueError saying what is wrong with it."""
    try:
        data: Any = json.loads(line.decode("utf-8"))
    except (UnicodeDecodeError, json.JSONDecodeError) as error:
        raise ValueError("it is no JSON") from error
    if not isinstance(data, dict):
        raise ValueError("it is no result of a drill")
    if data.pop("format", None) != RESULT_FORMAT:
        raise ValueError("its format is not known to this version")
    values: dict[str, Any] = {}
    for item in fields(Result):
        value = data.get(item.name, None if item.default is MISSING else item.default)
        wanted = _TYPES[str(item.type)]
        if not isinstance(value, wanted) or isinstance(value, bool):
            raise ValueError(f"{item.name} is missing or no {item.type}")
        if isinstance(value, list):
            if not all(isinstance(each, str) for each in value):
                raise ValueError(f"{item.name} holds something else than names")
            value = tuple(value)
        values[item.name] = value
    if values["outcome"] not in list(Outcome):
        raise ValueError("outcome is none that is known")
    numbers = [value for value in values.values() if isinstance(value, (int, float))]
    if any(number != number or abs(number) > 1e9 for number in numbers):
        raise ValueError("a number is out of all bounds")
    return Result(**values)
