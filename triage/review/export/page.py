"""A call as one page of HTML that needs nothing but itself: no script, no network, no file."""

from __future__ import annotations

from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING, Any

from triage.dialogue.words import plain_text
from triage.physics.quantity import Dimension, UnitSystem, format_quantity
from triage.review.export.call import ExportedCall
from triage.review.export.cycle import ASSUMED_SUPERHEAT_K, Cycle, CycleOfCall, cycle_of_call
from triage.review.export.cycle_diagram import (
    ENTHALPY_UNIT,
    J_PER_KG_OF,
    PA_OF,
    PRESSURE_UNIT,
    diagram_svg,
)
from triage.review.export.gauge_place import GaugePlace
from triage.review.export.talk import turns_of
from triage.review.export.told import CallWords, moment_words

if TYPE_CHECKING:
    from jinja2 import Template

_STATES = ("suction gas", "discharge gas", "liquid", "behind the valve")

_GAUGE_WIDTH = 120.0
"""Width of a gauge in its own units; its band reaches from 40 to 80."""


def page_of(call: ExportedCall) -> str:
    """Return the page of one call; the same call gives the same text."""
    words = CallWords(call)
    found = {finding.reading.id: finding for finding in words.findings}
    cycle = cycle_of_call(call.engine.content, call.case, found)
    return _template().render(
        call=call,
        words=words,
        started=moment_words(call.lines[0].at),
        serial_number=plain_text(call.case.serial_number),
        agent=plain_text(call.case.agent),
        notes=list(dict.fromkeys(plain_text(note) for note in call.case.notes)),
        turns=turns_of(call, words),
        diagram=_diagram(cycle, words.telling.units),
        repair=None if words.repair is None else _repair(words),
    )


def pointer_of(gauge: GaugePlace) -> dict[str, Any]:
    """Return the shape of a gauge's pointer: a diamond at its place, an arrow beyond the scale."""
    x = 4.0 + gauge.share * (_GAUGE_WIDTH - 8.0)
    if not gauge.is_off:
        points = f"{x:.1f},1 {x + 5:.1f},7 {x:.1f},13 {x - 5:.1f},7"
    elif gauge.share < 0.5:
        points = "0,7 9,1 9,13"
    else:
        points = f"{_GAUGE_WIDTH:.0f},7 {_GAUGE_WIDTH - 9:.0f},1 {_GAUGE_WIDTH - 9:.0f},13"
    return {"points": points}


def _repair(words: CallWords) -> dict[str, Any]:
    assert words.repair is not None
    recommendation = words.repair.recommendation
    return {
        "steps": [plain_text(line) for line in recommendation.repair],
        "together": [plain_text(part) for part in recommendation.replace_together],
        "verify": [plain_text(line) for line in recommendation.verify],
    }


def _diagram(cycle: CycleOfCall, system: UnitSystem) -> dict[str, Any]:
    """Return the drawing with its points in numbers, or the reason why there is none."""
    if cycle.measured is None:
        return {"reason": plain_text(cycle.reason), "svg": ""}
    from markupsafe import Markup

    # The drawing holds our own words and numbers alone; a refrigerant is one of those we know.
    return {
        "reason": "",
        "svg": Markup(diagram_svg(cycle.measured, cycle.healthy, system)),
        "pressure_unit": PRESSURE_UNIT[system],
        "enthalpy_unit": ENTHALPY_UNIT[system],
        "rows": _rows(cycle.measured, system),
        "assumptions": _assumptions(cycle.measured, system),
        "is_compared": cycle.healthy is not None,
    }


def _rows(cycle: Cycle, system: UnitSystem) -> list[tuple[str, str, str, str, str]]:
    decimals = 1 if system is UnitSystem.SI else 0
    return [
        (
            str(number),
            name,
            f"{point.pressure_pa / PA_OF[system]:.{decimals}f}",
            format_quantity(point.temperature_k, Dimension.TEMPERATURE, system),
            f"{point.enthalpy_j_per_kg / J_PER_KG_OF[system]:.0f}",
        )
        for number, (name, point) in enumerate(zip(_STATES, cycle.points, strict=True), start=1)
    ]


def _assumptions(cycle: Cycle, system: UnitSystem) -> list[str]:
    superheat = format_quantity(ASSUMED_SUPERHEAT_K, Dimension.TEMPERATURE_DIFFERENCE, system)
    return [line.format(superheat=superheat) for line in cycle.assumptions]


def _capitalized(text: str) -> str:
    return text[:1].upper() + text[1:]


@cache
def _template() -> Template:
    from jinja2 import Environment, FileSystemLoader, StrictUndefined

    environment = Environment(
        loader=FileSystemLoader(Path(__file__).parent),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
        keep_trailing_newline=True,
    )
    environment.filters["pointer"] = pointer_of
    environment.filters["capitalize_first"] = _capitalized
    return environment.get_template("page.html.j2")
