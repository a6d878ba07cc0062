"""A reading becomes a finding: its value, the band it should lie in, and the verdict."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import replace
from types import MappingProxyType

from triage.dialogue.case import QUALIFICATION, Case
from triage.dialogue.events import Answered
from triage.dialogue.view import Finding, Source, Verdict
from triage.physics.bands import (
    Band,
    adapt,
    coil_resistance_band,
    coil_voltage_band,
    expected_band,
    fill_volume_band,
    manifold_window,
    practice_band,
    supply_voltage_band,
    typical_machine,
)
from triage.physics.electrical import CoilState, coil_verdict
from triage.physics.errors import OutOfRange, PhysicsError
from triage.physics.machine import CondenserKind, Machine
from triage.physics.pressure import barometric_pressure_pa
from triage.physics.rating import production_kg_per_day
from triage.physics.refrigerant import REFRIGERANTS
from triage.physics.tolerances import PRODUCTION_PARTS
from triage.physics.units import DAY_S
from triage.physics.virtual_machine import Conditions
from triage.tree.content import UNKNOWN, Content, Question, Reading, ReadingKind

ALTITUDE = "site_altitude"

NO_VOLTAGE_SHARE = 0.1
"""Share of the nominal voltage under which a coil has none: induced voltage only (judged)."""

PRODUCTION = "ice_production"
"""Ice in a day: as weighed, else as the measured cycle would make it. A weighed day comes first: it
also knows the hours the machine stood."""

FILL = "fill_volume"

RATED_BY: Mapping[str, str] = MappingProxyType({
    "coil_voltage": "coil_nominal_voltage",
    "coil_resistance": "coil_nominal_voltage",
    "inlet_coil_voltage": "inlet_coil_nominal_voltage",
    "inlet_coil_resistance": "inlet_coil_nominal_voltage",
    "supply_voltage": "supply_nominal_voltage",
})  # fmt: skip
"""Readings judged by a rated voltage, and the reading that tells it."""

_NO_MACHINE = "neither the machine nor its refrigerant is known, so there is nothing to judge by"
_NO_RATED_VOLTAGE = "the rated voltage is not known, so there is nothing to judge by"
_NOT_ON_FILE = "the machine is not on file, so there is nothing to judge by"


def fitting(content: Content, case: Case) -> Case:
    """Return `case` without what this content does not know: it was edited since the call began.

    Such a reading is open again, so a resumed call asks anew instead of failing.
    """
    if all(_fits(content, answer) for answer in (*case.answers.values(), *case.offered)):
        return case
    return replace(
        case,
        answers={key: item for key, item in case.answers.items() if _fits(content, item)},
        offered=tuple(item for item in case.offered if _fits(content, item)),
    )


def _fits(content: Content, answer: Answered) -> bool:
    reading = content.readings.get(answer.reading)
    if reading is None or answer.value is None:
        return reading is not None
    match reading.kind:
        case ReadingKind.CHOICE:
            return answer.value in reading.outcomes
        case ReadingKind.MACHINE:
            return answer.value in content.machines
        case ReadingKind.REFRIGERANT:
            return answer.value in REFRIGERANTS
        case _:
            return isinstance(answer.value, float)


def finding_of(content: Content, case: Case, reading_id: str) -> Finding | None:
    """Return what is known of a reading, judged, or None while it is still open.

    A caller who is not licensed has no licensed readings: they are unknown, whatever was typed.
    A reading whose caution was refused is unknown too, but for one that asks for danger: that is
    asked whatever was refused.
    """
    reading = content.readings[reading_id]
    answer = case.answers.get(reading_id)
    typed = answer.typed if answer else ""
    if reading.is_licensed and not case.is_licensed and (answer or QUALIFICATION in case.answers):
        return Finding(
            reading,
            None,
            UNKNOWN,
            Verdict.UNKNOWN,
            source=Source.NOT_ASKED_OF_THIS_CALLER,
            typed=typed,
            reason="this measurement is for a licensed technician",
        )
    for caution in () if reading.is_alarming else reading.cautions:
        if (caution, "") in case.refused:
            return Finding(
                reading,
                None,
                UNKNOWN,
                Verdict.UNKNOWN,
                typed=typed,
                reason=f'the caution "{content.cautions[caution].title}" was refused',
            )
    if answer is not None:
        return judge(content, case, answer)
    value = _worked_out(content, case, reading_id)
    if value is None:
        return None
    derived = judge(content, case, Answered(reading_id, "", value))
    return replace(derived, source=Source.WORKED_OUT)


def judge(content: Content, case: Case, answer: Answered) -> Finding:
    """Return the finding that `answer` is, given everything else in `case`."""
    reading = content.readings[answer.reading]
    finding = Finding(
        reading,
        answer.value,
        "known",
        Verdict.NOTED,
        typed=answer.typed,
        minute_s=answer.minute_s,
        is_minute_assumed=answer.is_minute_assumed,
        reason=answer.reason,
    )
    if answer.value is None:
        return replace(finding, outcome=UNKNOWN, verdict=Verdict.UNKNOWN)
    if reading.kind is ReadingKind.CHOICE:
        choice = str(answer.value)
        verdict = Verdict.NOTED
        if reading.normal:
            verdict = Verdict.WITHIN if choice in reading.normal else Verdict.OUTSIDE
        return replace(finding, outcome=choice, verdict=verdict)
    if not reading.is_banded or isinstance(answer.value, str):
        return finding
    try:
        band = band_of(content, case, reading, answer.minute_s)
    except PhysicsError as error:
        return replace(finding, outcome=UNKNOWN, verdict=Verdict.UNKNOWN, reason=str(error))
    if band is None:
        reason = _nothing_to_judge_by(reading.id)
        return replace(finding, outcome=UNKNOWN, verdict=Verdict.UNKNOWN, reason=reason)
    verdict = _verdict(answer.value, band)
    return replace(
        finding,
        outcome=verdict.value,
        verdict=verdict,
        band=band,
        residual=_residual(answer.value, band),
    )


def band_of(content: Content, case: Case, reading: Reading, minute_s: float | None) -> Band | None:
    """Return the band of a reading at the call's conditions, None if nothing is known to go by.

    Where a condition is unknown the band covers the machine's whole working range of it.
    """
    machine = machine_in_use(content, case)
    if reading.id in RATED_BY:
        nominal = number(content, case, RATED_BY[reading.id])
        return None if nominal is None else _rated_band(reading.id, nominal, machine)
    if reading.id == FILL:  # its own file's, also where the data plate names another refrigerant
        on_file = content.machines.get(word(case, "machine") or "")
        return None if on_file is None else fill_volume_band(on_file)
    usual = practice_band(reading.id)
    if usual is not None or machine is None:
        return usual
    return _hull(
        expected_band(machine, conditions, reading.id, minute_s)
        for conditions in _conditions(content, case, machine)
    )


def _rated_band(reading_id: str, nominal_v: float, machine: Machine | None) -> Band:
    """Return the band of one of `RATED_BY`; raise UnknownNominalVoltage for an odd voltage."""
    match reading_id:
        case "supply_voltage":
            return supply_voltage_band(nominal_v)
        case "coil_voltage" | "inlet_coil_voltage":
            return coil_voltage_band(nominal_v)
        case _:
            return coil_resistance_band(nominal_v, _plate_ohm(reading_id, machine))


def _nothing_to_judge_by(reading_id: str) -> str:
    if reading_id in RATED_BY:
        return _NO_RATED_VOLTAGE
    return _NOT_ON_FILE if reading_id == FILL else _NO_MACHINE


def coil_state_of(
    content: Content, case: Case, measured_ohm: float, reading_id: str = "coil_resistance"
) -> CoilState | None:
    """Return what a coil's resistance says of its winding, None if its voltage is not known."""
    nominal = number(content, case, RATED_BY[reading_id])
    if nominal is None:
        return None
    plate_ohm = _plate_ohm(reading_id, machine_in_use(content, case))
    try:
        return coil_verdict(nominal, measured_ohm, plate_ohm).state
    except PhysicsError:
        return None


def _plate_ohm(reading_id: str, machine: Machine | None) -> float | None:
    """Return the harvest coil's rated resistance; None for another, or a machine not on file."""
    if machine is None or machine.is_generic or reading_id != "coil_resistance":
        return None
    return machine.electrical.coil_resistance_ohm


def manifold_window_of(content: Content, case: Case) -> Band | None:
    """Return the low-side window of the confirming test at the call's conditions, if known."""
    machine = machine_in_use(content, case)
    if machine is None:
        return None
    try:
        return _hull(
            manifold_window(machine, conditions)
            for conditions in _conditions(content, case, machine)
        )
    except PhysicsError:
        return None


def machine_in_use(content: Content, case: Case) -> Machine | None:
    """Return the machine to judge by: the one on file, adapted to its plate, or a typical one."""
    machine = content.machines.get(word(case, "machine") or "")
    refrigerant = word(case, "refrigerant")
    if machine is None:
        if refrigerant is None:
            return None
        kind = word(case, "condenser_kind") or CondenserKind.AIR.value
        return typical_machine(content.machines.values(), refrigerant, CondenserKind(kind))
    if refrigerant is not None and refrigerant != machine.refrigerant:
        return adapt(machine, refrigerant)
    return machine


def refrigerant_in_use(content: Content, case: Case) -> str | None:
    """Return the refrigerant id of the call: the data plate's, else the machine file's."""
    machine = content.machines.get(word(case, "machine") or "")
    return word(case, "refrigerant") or (machine.refrigerant if machine else None)


def barometric_pressure_of(case: Case) -> float:
    """Return the local barometric pressure [Pa] at the site's altitude."""
    answer = case.answers.get(ALTITUDE)
    altitude_m = answer.value if answer and isinstance(answer.value, float) else case.altitude_m
    try:
        return barometric_pressure_pa(altitude_m)
    except OutOfRange as error:
        # A height nobody works at was asked about and confirmed; the call must go on all the same.
        return barometric_pressure_pa(min(max(altitude_m, error.least), error.greatest))


def minute_of(question: Question | None, reading: Reading) -> float | None:
    """Return the minute at which a reading is meant to be taken, None for no moment."""
    if question is not None and question.minute is not None:
        return question.minute
    return reading.default_minute


def number(content: Content, case: Case, reading_id: str) -> float | None:
    """Return a numeric reading [SI], from the caller or the machine file; None if not known."""
    answer = case.answers.get(reading_id)
    value = answer.value if answer else _worked_out(content, case, reading_id)
    return float(value) if isinstance(value, (int, float)) else None


def _production_kg_per_s(content: Content, case: Case) -> float | None:
    """Return the ice in a day [kg/s] from the measured cycle, None while a part is not known."""
    parts = [number(content, case, part) for part in PRODUCTION_PARTS]
    if any(part is None for part in parts):
        return None
    batch_kg, freeze_s, harvest_s = (part or 0.0 for part in parts)
    if freeze_s + harvest_s <= 0.0:
        return None
    return production_kg_per_day(batch_kg, freeze_s, harvest_s) / DAY_S


def word(case: Case, reading_id: str) -> str | None:
    """Return a choice, machine or refrigerant id the caller gave; None if not known."""
    answer = case.answers.get(reading_id)
    return answer.value if answer and isinstance(answer.value, str) else None


def _worked_out(content: Content, case: Case, reading_id: str) -> float | str | None:
    """Return what needs no asking: it follows from the machine's file or another reading."""
    if reading_id == "coil_voltage_presence":
        nominal = number(content, case, "coil_nominal_voltage")
        measured = number(content, case, "coil_voltage")
        if nominal is None or measured is None:
            return None
        return "none" if measured < NO_VOLTAGE_SHARE * nominal else "some"
    if reading_id == PRODUCTION:
        return _production_kg_per_s(content, case)
    kind = word(case, "condenser_kind")
    machine = content.machines.get(word(case, "machine") or "")
    if machine is not None:
        kind = kind or machine.condenser.kind.value
        known: dict[str, Callable[[Machine], float | str | None]] = {
            "condenser_kind": lambda found: found.condenser.kind.value,
            "coil_nominal_voltage": lambda found: found.electrical.coil_nominal_voltage_v,
            "inlet_coil_nominal_voltage": lambda found: found.electrical.coil_nominal_voltage_v,
            "supply_nominal_voltage": lambda found: found.electrical.supply_voltage_v,
            "receiver_vapor_feed_fitted": lambda found: (
                "fitted" if found.has_receiver_vapor_feed else "not_fitted"
            ),
            "vacuum_break_running": lambda found: None if found.has_vacuum_break else "not_fitted",
        }
        if reading_id in known:
            return known[reading_id](machine)
    if reading_id == "condenser_fan_state" and kind == CondenserKind.WATER.value:
        return "not_fitted"
    return None


def _conditions(content: Content, case: Case, machine: Machine) -> Iterator[Conditions]:
    """Yield the call's conditions, or the corners of the machine's range where one is unknown."""
    air = number(content, case, "ambient_air_temperature")
    airs = (air,) if air is not None else (
        machine.least_air_temperature_k,
        machine.greatest_air_temperature_k,
    )  # fmt: skip
    water = number(content, case, "water_inlet_temperature")
    waters = (water,) if water is not None else (
        machine.least_water_temperature_k,
        machine.greatest_water_temperature_k,
    )  # fmt: skip
    is_remote = machine.condenser.kind is CondenserKind.REMOTE_AIR
    condenser_air = number(content, case, "condenser_air_temperature") if is_remote else None
    # Readings rise or fall with both temperatures alike; where both are unknown the two ends of
    # that line hold the extremes, and two model runs do for four.
    pairs = (
        zip(airs, waters, strict=True)
        if len(airs) == len(waters)
        else ((air_k, water_k) for air_k in airs for water_k in waters)
    )
    for air_k, water_k in pairs:
        yield Conditions(
            ambient_air_temperature_k=air_k,
            condenser_air_temperature_k=air_k if condenser_air is None else condenser_air,
            water_inlet_temperature_k=water_k,
            barometric_pressure_pa=barometric_pressure_of(case),
        )


def _hull(bands: Iterator[Band]) -> Band:
    found = list(bands)
    if len(found) == 1:
        return found[0]
    low = min(band.low for band in found)
    high = max(band.high for band in found)
    return replace(
        found[0],
        low=low,
        high=high,
        centre=(low + high) / 2.0,
        basis=replace(found[0].basis, is_any_condition=True),
    )


def _verdict(value: float, band: Band) -> Verdict:
    if value < band.low:
        return Verdict.BELOW
    return Verdict.ABOVE if value > band.high else Verdict.WITHIN


def _residual(value: float, band: Band) -> float:
    half = band.high - band.centre if value >= band.centre else band.centre - band.low
    return (value - band.centre) / half if half > 0.0 else 0.0
