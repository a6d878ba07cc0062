"""A call as one plain object, for `--json` and for export."""

from __future__ import annotations

import math
from typing import Any

from triage.dialogue.case import Case
from triage.dialogue.engine import Engine
from triage.dialogue.judge import barometric_pressure_of
from triage.dialogue.view import (
    AskCaution,
    Conclusion,
    Escalated,
    Finding,
    Recommended,
    Withheld,
)
from triage.physics.bands import Band, basis_words
from triage.physics.quantity import Dimension, UnitSystem, default_unit_of
from triage.physics.units import unit_of
from triage.tree.content import ReadingKind

SI_UNITS = {
    ReadingKind.GAUGE_PRESSURE: "Pa absolute",
    ReadingKind.TEMPERATURE: "K",
    ReadingKind.TEMPERATURE_DIFFERENCE: "K",
    ReadingKind.DURATION: "s",
    ReadingKind.LENGTH: "m",
    ReadingKind.MASS: "kg",
    ReadingKind.VOLTAGE: "V",
    ReadingKind.RESISTANCE: "ohm",
    ReadingKind.MASS_PER_DAY: "kg/s",
    ReadingKind.ENERGY_PER_MASS: "J/kg",
    ReadingKind.VOLUME_PER_MASS: "m3/kg",
    ReadingKind.CONCENTRATION: "kg/m3",
    ReadingKind.WATER_PRESSURE: "Pa gauge",
    ReadingKind.CURRENT: "A",
    ReadingKind.VOLUME: "m3",
    ReadingKind.AGE: "s",
}
"""What the values inside are counted in."""


def result_of(engine: Engine, session_id: str, case: Case) -> dict[str, Any]:
    """Return the whole call as JSON-ready data; the keys are always the same.

    `result` is recommended, withheld, escalated or unfinished; numbers stand in the caller's units
    beside their SI value.
    """
    prompt = engine.prompt(case)
    conclusion: Conclusion | None = None
    reason = ""
    recommendation = None
    machine_state: tuple[str, ...] = ()
    call_whom = ""
    result = "unfinished"
    match prompt:
        case Recommended():
            result, conclusion = "recommended", prompt.conclusion
            recommendation = {
                "repair": list(prompt.recommendation.repair),
                "parts_to_replace_together": list(prompt.recommendation.replace_together),
                "machine_state": list(prompt.recommendation.machine_state),
                "verification_after_repair": list(prompt.recommendation.verify),
                "expected_after_repair": [
                    {"reading": item.reading.id, "band": _band(case, item.reading.kind, item.band)}
                    for item in prompt.recommendation.expected_after_repair
                ],
                "who": list(prompt.recommendation.who),
            }
            machine_state = prompt.recommendation.machine_state
            call_whom = " ".join(prompt.recommendation.who)
        case Withheld():
            result, conclusion, reason = "withheld", prompt.conclusion, prompt.reason
            machine_state, call_whom = prompt.machine_state, prompt.call_whom
        case Escalated():
            result, conclusion, reason = "escalated", prompt.conclusion, prompt.reason
            machine_state, call_whom = prompt.machine_state, prompt.call_whom
    return {
        "session_id": session_id,
        "tree": case.tree,
        "content_version": case.content_version,
        "judged_with_content_version": engine.content.version,
        "voice": case.voice,
        "result": result,
        "reason": reason,
        "withheld": reason if result == "withheld" else None,
        "escalated": reason if result == "escalated" else None,
        "path": list(engine.path(case)),
        "findings": [finding_data(case, item) for item in engine.findings(case)],
        "conclusion": _conclusion(conclusion),
        "recommendation": recommendation,
        "machine_state": list(machine_state),
        "call_whom": call_whom,
        "cautions": _cautions(engine, case, prompt),
        "notes": list(case.notes),
        "serial_number": case.serial_number or None,
        "outcome": outcome_of(case),
    }


def outcome_of(case: Case) -> dict[str, Any] | None:
    """Return the last report of the repair as JSON-ready data in SI, None while there is none."""
    report = case.repair
    if report is None:
        return None
    return {
        "found": list(report.found),
        "parts": list(report.parts),
        "had_two_good_cycles": report.had_two_good_cycles,
        "readings": [
            {
                name: _finite(value) if isinstance(value, float) else value
                for name, value in reading.items()
            }
            for reading in report.readings
        ],
        "note": report.note,
        "reported_by": report.reported_by,
    }


def _conclusion(conclusion: Conclusion | None) -> dict[str, Any]:
    if conclusion is None:
        return {
            "cause_ids": [],
            "agreement": None,
            "ranked_causes": [],
            "because": None,
            "shortlist": [],
            "settling_reading": None,
        }
    settling = conclusion.settling_reading
    return {
        "cause_ids": list(conclusion.causes),
        "agreement": conclusion.agreement.value,
        "ranked_causes": [
            {"cause": item.cause, "probability": round(item.probability, 6)}
            for item in conclusion.ranked
        ],
        "because": conclusion.ending.because,
        "shortlist": list(conclusion.ending.shortlist),
        "settling_reading": settling.id if settling else None,
    }


def _cautions(engine: Engine, case: Case, prompt: object) -> list[dict[str, Any]]:
    """Every caution that was put to the caller, on the way and at the gate, with its answer."""
    met = dict.fromkeys(
        node.split(":", 1)[1].split("@", 1)[0] for node in case.asked if node.startswith("caution:")
    )
    if isinstance(prompt, Recommended):
        met.update(dict.fromkeys(caution.id for caution in prompt.cautions))
    gate_answers: dict[str, bool] = {}
    if isinstance(prompt, Recommended):
        gate_answers = {caution.id: True for caution in prompt.cautions}
    elif isinstance(prompt, Withheld):
        gate_answers = {caution.id: is_yes for caution, is_yes in prompt.cautions}
    elif isinstance(prompt, AskCaution) and prompt.seal:
        gate_answers = {caution: (caution, prompt.seal) in case.acknowledged for caution in met}
    ids = dict.fromkeys([*met, *gate_answers])
    return [
        {
            "id": caution,
            "title": _title(engine, caution),
            "at_gate": caution in gate_answers,
            "acknowledged": gate_answers.get(caution, (caution, "") in case.acknowledged),
        }
        for caution in ids
    ]


def _title(engine: Engine, caution_id: str) -> str:
    """Return a caution's title; its id where the content in use now does not know it."""
    caution = engine.content.cautions.get(caution_id)
    return caution.title if caution else caution_id


def finding_data(case: Case, finding: Finding) -> dict[str, Any]:
    """Return one judged reading as JSON-ready data, in the caller's units beside SI."""
    kind = finding.reading.kind
    value: float | str | None = finding.value
    unit = si_value = si_unit = None
    if isinstance(finding.value, float):
        unit = default_unit_of(Dimension(kind.value), UnitSystem(case.units))
        value = _in_unit(case, kind, finding.value)
        si_value, si_unit = _finite(finding.value, kind), SI_UNITS[kind]
    return {
        "reading": finding.reading.id,
        "typed": finding.typed,
        "value": value,
        "unit": unit,
        "si_value": si_value,
        "si_unit": si_unit,
        "minute": None if finding.minute_s is None else finding.minute_s / 60.0,
        "minute_assumed": finding.is_minute_assumed,
        "band": None if finding.band is None else _band(case, kind, finding.band),
        "basis": None
        if finding.band is None
        else basis_words(finding.band.basis, UnitSystem(case.units)),
        "verdict": finding.verdict.value,
        "source": finding.source.value,
        "reason": finding.reason or None,
    }


def _band(case: Case, kind: ReadingKind, band: Band) -> dict[str, Any]:
    return {
        "low": _in_unit(case, kind, band.low),
        "high": _in_unit(case, kind, band.high),
        "unit": default_unit_of(Dimension(kind.value), UnitSystem(case.units)),
        "low_si": _finite(band.low),
        "high_si": _finite(band.high),
        "si_unit": SI_UNITS[kind],
    }


def _in_unit(case: Case, kind: ReadingKind, si_value: float) -> float | str:
    system = UnitSystem(case.units)
    dimension = Dimension(kind.value)
    unit = unit_of(default_unit_of(dimension, system), dimension)
    return _finite(round(unit.from_si(si_value, barometric_pressure_of(case)), 4), kind)


def _finite(value: float, kind: ReadingKind = ReadingKind.RESISTANCE) -> float | str:
    """JSON has no infinity; an open coil reads "open", the age of what never was "never"."""
    if math.isfinite(value):
        return value
    return "never" if kind is ReadingKind.AGE else "open"
