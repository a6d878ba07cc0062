"""What a repair found, as pairs of heading and words: from its report alone. Pure."""

from __future__ import annotations

from collections.abc import Iterator

from triage.console.telling import Telling
from triage.dialogue.events import Concluded, RepairReported
from triage.dialogue.judge import barometric_pressure_of
from triage.dialogue.repair import comparison_words, held_words, number_in
from triage.dialogue.words import plain_text
from triage.physics.quantity import Dimension, format_quantity
from triage.tree.content import Reading, ReadingKind

_CYCLES = {True: "yes", False: "no", None: "not reported"}
_WORDS = (ReadingKind.CHOICE, ReadingKind.MACHINE, ReadingKind.REFRIGERANT)

TYPED = ("Parts replaced", "Note", "Reported by")
"""Headings under which words of a person stand."""


def outcome_rows(
    report: RepairReported, concluded: Concluded | None, telling: Telling
) -> list[tuple[str, str]]:
    """Return a report beside what was concluded; headings without words are left out."""
    found = plain_text(comparison_words(concluded, report.found, telling.content))
    rows = [
        ("Found", found.removesuffix(".")),
        ("The repair", plain_text(held_words(report, telling.content))),
        ("Parts replaced", "; ".join(plain_text(part) for part in report.parts)),
        ("Two good cycles followed", _CYCLES[report.had_two_good_cycles]),
        ("Readings after the repair", "; ".join(_after_repair(report, telling))),
        ("Note", plain_text(report.note)),
        ("Reported by", plain_text(report.reported_by)),
    ]
    return [(heading, words) for heading, words in rows if words]


def _after_repair(report: RepairReported, telling: Telling) -> Iterator[str]:
    for item in report.readings:
        reading = telling.content.readings.get(str(item.get("reading")))
        value = item.get("value")
        if reading is None or not isinstance(value, (str, int, float)):
            continue
        verdict = plain_text(str(item.get("verdict", ""))).upper()
        low, high = number_in(item, "low"), number_in(item, "high")
        band = ""
        if low is not None and high is not None and reading.kind not in _WORDS:
            limits = (_single(reading, limit, telling) for limit in (low, high))
            band = f" (band {' to '.join(limits)})"
        words = f"{plain_text(reading.name)} {telling.value(reading, value)}"
        yield f"{words}, {verdict}{band}" if verdict else words


def _single(reading: Reading, value: float, telling: Telling) -> str:
    dimension = Dimension(reading.kind.value)
    return format_quantity(value, dimension, telling.units, barometric_pressure_of(telling.case))
