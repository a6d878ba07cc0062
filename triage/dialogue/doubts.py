"""Second looks: a reading that cannot well be true, or that contradicts another, asked about once.

A doubt is one plain sentence. It never changes a value and never blocks one: the caller's yes lets
the reading count.
"""

from __future__ import annotations

import math
from collections.abc import Iterator

from triage.dialogue.case import Case
from triage.dialogue.events import Answered
from triage.dialogue.judge import (
    RATED_BY,
    barometric_pressure_of,
    machine_in_use,
    number,
    refrigerant_in_use,
    word,
)
from triage.physics.quantity import Dimension, UnitSystem, format_quantity
from triage.physics.refrigerant import REFRIGERANTS
from triage.physics.tables import fluid
from triage.tree.content import Content, Reading, ReadingKind

SWAPPED_PAIRS = (
    ("freeze_suction_pressure_early", "freeze_discharge_pressure"),
    ("freeze_suction_pressure_late", "freeze_discharge_pressure"),
    ("harvest_suction_pressure", "harvest_discharge_pressure"),
)
"""Low side and high side of the same moment: the first is never above the second."""

COIL_VOLTAGES = ("coil_voltage", "inlet_coil_voltage")

COIL_FAR_ABOVE_NOMINAL = 1.5
"""Share of nominal from which a voltage belongs to another circuit (judged; coils stand 1.1)."""


def doubt_about(content: Content, case: Case, answer: Answered) -> str:
    """Return the sentence that asks about `answer`, or "" if nothing is odd about it."""
    if answer.value is None:
        return ""
    for check in (
        _impossible_moment,
        _implausible,
        _beyond_refrigerant,
        _contradiction,
        _against_machine_file,
    ):
        sentence = check(content, case, answer)
        if sentence:
            return sentence
    return ""


def show(content: Content, case: Case, reading: Reading, value: float | str | None) -> str:
    """Return a value in the caller's units, or the label of a choice."""
    if value is None:
        return "unknown"
    if isinstance(value, str):
        for choice in reading.choices:
            if choice.id == value:
                return choice.label
        machine = content.machines.get(value)
        return machine.name if machine else value
    return format_quantity(
        value,
        Dimension(reading.kind.value),
        UnitSystem(case.units),
        barometric_pressure_of(case),
    )


def _impossible_moment(content: Content, case: Case, answer: Answered) -> str:
    """A minute later than the machine's longest freeze or harvest belongs to another phase."""
    machine = machine_in_use(content, case)
    if machine is None or answer.minute_s is None:
        return ""
    is_harvest = answer.reading.startswith(("harvest_", "hot_gas_line_t"))
    longest_s = (
        machine.harvest.greatest_harvest_time_s
        if is_harvest
        else machine.evaporator.greatest_freeze_time_s
    )
    if answer.minute_s <= longest_s:
        return ""
    phase = "harvest" if is_harvest else "freeze"
    return (
        f"Minute {answer.minute_s / 60.0:g} is past the longest {phase} of this machine "
        f"({longest_s / 60.0:g} minutes). Was that {content.readings[answer.reading].name}?"
    )


def _implausible(content: Content, case: Case, answer: Answered) -> str:
    reading = content.readings[answer.reading]
    if reading.plausible is None or not isinstance(answer.value, float):
        return ""
    if math.isinf(answer.value):  # an open circuit, the meter's own answer
        return ""
    offset = 0.0
    if reading.kind is ReadingKind.GAUGE_PRESSURE:
        offset = barometric_pressure_of(case)
    least, greatest = (limit + offset for limit in reading.plausible)
    if least <= answer.value <= greatest:
        return ""
    side, limit = ("more", greatest) if answer.value > greatest else ("less", least)
    return (
        f"{_capital(show(content, case, reading, answer.value))} is {side} than "
        f"{_article(reading.name)} can be (limit {show(content, case, reading, limit)}). "
        "Did you read it so?"
    )


def _beyond_refrigerant(content: Content, case: Case, answer: Answered) -> str:
    reading = content.readings[answer.reading]
    refrigerant = refrigerant_in_use(content, case)
    if reading.kind is not ReadingKind.GAUGE_PRESSURE or refrigerant not in REFRIGERANTS:
        return ""
    greatest = fluid(refrigerant).greatest_pressure_pa
    if not isinstance(answer.value, float) or answer.value <= greatest:
        return ""
    return (
        f"{_capital(show(content, case, reading, answer.value))} is near or above the critical "
        f"pressure of {refrigerant}; no ice machine runs there. Did you read it so?"
    )


def _contradiction(content: Content, case: Case, answer: Answered) -> str:
    for find in (_swapped, _rising_suction, _wrong_circuit):
        for sentence in find(content, case, answer):
            return sentence
    return ""


def _swapped(content: Content, case: Case, answer: Answered) -> Iterator[str]:
    for low_id, high_id in SWAPPED_PAIRS:
        if answer.reading not in (low_id, high_id):
            continue
        values = {reading_id: number(content, case, reading_id) for reading_id in (low_id, high_id)}
        values[answer.reading] = _as_number(answer)
        low, high = values[low_id], values[high_id]
        if low is not None and high is not None and low >= high:
            yield (
                f"Suction {show(content, case, content.readings[low_id], low)} is not below "
                f"discharge {show(content, case, content.readings[high_id], high)}. "
                "Are the two gauges swapped, or did you read it so?"
            )


def _rising_suction(content: Content, case: Case, answer: Answered) -> Iterator[str]:
    early_id, late_id = "freeze_suction_pressure_early", "freeze_suction_pressure_late"
    if answer.reading not in (early_id, late_id):
        return
    early, late = number(content, case, early_id), number(content, case, late_id)
    if answer.reading == early_id:
        early = _as_number(answer)
    else:
        late = _as_number(answer)
    if early is not None and late is not None and late > early:
        yield (
            f"Suction late in the freeze, {show(content, case, content.readings[late_id], late)}, "
            f"is above early, {show(content, case, content.readings[early_id], early)}. "
            "It falls as ice grows. Did you read it so?"
        )


def _wrong_circuit(content: Content, case: Case, answer: Answered) -> Iterator[str]:
    for measured_id in COIL_VOLTAGES:
        nominal_id = RATED_BY[measured_id]
        if answer.reading not in (measured_id, nominal_id):
            continue
        values = {key: number(content, case, key) for key in (measured_id, nominal_id)}
        values[answer.reading] = _as_number(answer)
        measured, nominal = values[measured_id], values[nominal_id]
        if nominal and measured and measured > COIL_FAR_ABOVE_NOMINAL * nominal:
            yield (
                f"{measured:.0f} V at a {nominal:.0f} V coil is another circuit's voltage. "
                "Did you read it at the coil's own terminals?"
            )


def _against_machine_file(content: Content, case: Case, answer: Answered) -> str:
    said: dict[str, str | None]
    if answer.reading == "machine":
        machine = content.machines.get(str(answer.value))
        said = {name: word(case, name) for name in ("refrigerant", "condenser_kind")}
    elif answer.reading in ("refrigerant", "condenser_kind"):
        machine = content.machines.get(word(case, "machine") or "")
        said = {answer.reading: str(answer.value)}
    else:
        return ""
    if machine is None:
        return ""
    on_file = {
        "refrigerant": machine.refrigerant,
        "condenser_kind": machine.condenser.kind.value,
    }
    names = {"refrigerant": "refrigerant", "condenser_kind": "condenser"}
    for reading_id, value in said.items():
        if value is not None and value != on_file[reading_id]:
            reading = content.readings[reading_id]
            return (
                f"Our file for {machine.name} has {names[reading_id]} "
                f"{show(content, case, reading, on_file[reading_id])}, you say "
                f"{show(content, case, reading, value)}. The data plate wins: is it so on the "
                "plate?"
            )
    return ""


def _as_number(answer: Answered) -> float | None:
    return answer.value if isinstance(answer.value, float) else None


def _capital(words: str) -> str:
    return words[:1].upper() + words[1:]


def _article(name: str) -> str:
    return f"{'an' if name[:1].lower() in 'aeiou' else 'a'} {name}"
