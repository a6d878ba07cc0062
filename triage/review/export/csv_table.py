"""Calls as comma-separated values (RFC 4180), a row a call, safe to open in a spreadsheet.

The columns depend on the content and the units alone, never on the calls: two exports can be put
one under the other.
"""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import replace

from triage.dialogue.case import Case
from triage.dialogue.judge import ALTITUDE, refrigerant_in_use
from triage.dialogue.words import plain_text
from triage.physics.pressure import STANDARD_ATMOSPHERE_PA
from triage.physics.quantity import Dimension, UnitSystem, default_unit_of
from triage.physics.units import unit_of
from triage.review.export.call import ExportedCall
from triage.review.export.jsonl import judged
from triage.tree.content import Content, Reading, ReadingKind

_ALTITUDE_UNITS = {UnitSystem.US: "ft", UnitSystem.SI: "m"}
"""Lengths at a machine are told in inches; no one tells a mountain so."""

Cell = str | int | float | bool | None

_FORMULA_STARTS = "=+-@"
"""What makes a spreadsheet take a cell for a formula; tab and line ends are no text of ours."""

_WORDS = (ReadingKind.CHOICE, ReadingKind.MACHINE, ReadingKind.REFRIGERANT)


def csv_lines(calls: Iterable[ExportedCall], content: Content, units: UnitSystem) -> Iterator[str]:
    """Yield the header and a line for each call, their line ends (CR LF) included.

    units: those of the readings' columns, whatever units a call was held in
    """
    columns = columns_of(content, units)
    yield _line(columns)
    for call in calls:
        cells = row_of(call, units)
        yield _line(cells.get(column) for column in columns)


def columns_of(content: Content, units: UnitSystem) -> list[str]:
    """Return the names of the columns; one that holds a quantity names its unit in brackets."""
    columns = [
        "session_id", "started_at [UTC]", "last_event_at [UTC]", "state", "result", "reason",
        "tree", "content_held_with", "content_judged_with", "agent", "voice", "serial_number",
        "refrigerant_judged_with",
        "questions", "active_time [s]", "events", "conclusion", "agreement", "likeliest_cause",
        "likeliest_probability [0 to 1]", "cautions_acknowledged", "cautions_not_acknowledged",
        "notes", "outcome_found", "outcome_parts", "outcome_two_good_cycles", "outcome_note",
        "outcome_reported_by",
    ]  # fmt: skip
    for reading in content.readings.values():
        columns.append(_value_column(reading, units))
        if reading.is_banded:
            columns += _band_columns(reading, units)
        if reading.is_banded or reading.normal:
            columns.append(f"{reading.id} verdict")
    return columns


def row_of(call: ExportedCall, units: UnitSystem) -> dict[str, Cell]:
    """Return the cells of one call by the names of their columns, its readings in `units`."""
    call = replace(call, case=replace(call.case, units=units.value))
    summary, report = call.summary, call.case.repair
    result = judged(call)
    said_yes = [item["id"] for item in result["cautions"] if item["acknowledged"]]
    likeliest = call.ranked[0] if call.ranked else None
    cells: dict[str, Cell] = {
        "session_id": call.session_id,
        "started_at [UTC]": call.lines[0].at,
        "last_event_at [UTC]": call.lines[-1].at,
        "state": summary.state,
        "result": call.result,
        "reason": call.reason,
        "tree": call.case.tree,
        "content_held_with": " ".join(call.held_with),
        "content_judged_with": call.engine.content.version,
        "agent": call.case.agent,
        "voice": call.case.voice,
        "serial_number": call.case.serial_number,
        "refrigerant_judged_with": refrigerant_in_use(call.engine.content, call.case) or "",
        "questions": summary.questions,
        "active_time [s]": round(summary.active_s, 1),
        "events": summary.count,
        "conclusion": " ".join(call.causes),
        "agreement": call.agreement,
        "likeliest_cause": likeliest[0] if likeliest else "",
        "likeliest_probability [0 to 1]": likeliest[1] if likeliest else None,
        "cautions_acknowledged": " ".join(said_yes),
        "cautions_not_acknowledged": " ".join(
            item["id"] for item in result["cautions"] if not item["acknowledged"]
        ),
        "notes": _joined(call.case.notes),
    }
    if report is not None:
        cells |= {
            "outcome_found": " ".join(report.found),
            "outcome_parts": _joined(report.parts),
            "outcome_two_good_cycles": report.had_two_good_cycles,
            "outcome_note": report.note,
            "outcome_reported_by": report.reported_by,
        }
    readings = call.engine.content.readings
    for finding in result["findings"]:
        cells.update(_reading_cells(readings[finding["reading"]], finding, units))
    if ALTITUDE in readings:
        cells[_value_column(readings[ALTITUDE], units)] = _altitude(call.case, units)
    return cells


def neutral(text: str) -> str:
    """Return `text` so that no spreadsheet takes it for a formula: an apostrophe goes before it.

    Source: OWASP, CSV Injection: cells beginning with = + - @ (also full-width ones), tab, carriage
    return or line feed. Control characters and full-width forms are gone before that.

    >>> neutral("=1+2"), neutral("62 psi"), neutral(" @SUM(A1)")
    ("'=1+2", '62 psi', "'@SUM(A1)")
    """
    plain = plain_text(text)
    return f"'{plain}" if plain[:1] and plain[0] in _FORMULA_STARTS else plain


def _line(cells: Iterable[Cell]) -> str:
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\r\n")
    writer.writerow([_written(cell) for cell in cells])
    return out.getvalue()


def _written(cell: Cell) -> str:
    """Return a cell's text; a number stays a number, also below zero."""
    match cell:
        case None:
            return ""
        case bool():
            return "yes" if cell else "no"
        case int() | float():
            return repr(cell)
        case _:
            return neutral(cell)


def _reading_cells(
    reading: Reading, finding: Mapping[str, object], units: UnitSystem
) -> Iterator[tuple[str, Cell]]:
    yield _value_column(reading, units), _as_cell(finding["value"])
    band = finding["band"]
    if reading.is_banded and isinstance(band, Mapping):
        low, high = _band_columns(reading, units)
        yield low, _as_cell(band["low"])
        yield high, _as_cell(band["high"])
    yield f"{reading.id} verdict", str(finding["verdict"])


def _as_cell(value: object) -> Cell:
    return value if isinstance(value, (str, int, float)) else None


def _value_column(reading: Reading, units: UnitSystem) -> str:
    return reading.id if reading.kind in _WORDS else f"{reading.id} [{_unit(reading, units)}]"


def _band_columns(reading: Reading, units: UnitSystem) -> list[str]:
    unit = _unit(reading, units)
    return [f"{reading.id} band low [{unit}]", f"{reading.id} band high [{unit}]"]


def _altitude(case: Case, units: UnitSystem) -> float:
    """Return the altitude that a call was judged at, said in it or before; 0 is the sea level."""
    answer = case.answers.get(ALTITUDE)
    said = answer.value if answer is not None else None
    altitude_m = said if isinstance(said, float) else case.altitude_m
    unit = unit_of(_ALTITUDE_UNITS[units], Dimension.LENGTH)
    return round(unit.from_si(altitude_m, STANDARD_ATMOSPHERE_PA), 1)


def _unit(reading: Reading, units: UnitSystem) -> str:
    if reading.id == ALTITUDE:
        return _ALTITUDE_UNITS[units]
    return default_unit_of(Dimension(reading.kind.value), units)


def _joined(texts: Iterable[str]) -> str:
    """Return several texts in one cell; what was left out is said once."""
    return "; ".join(text for text in dict.fromkeys(texts) if text) or ""
