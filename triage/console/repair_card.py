"""What a repair found, as a card: from the record alone, nothing judged anew."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from typing import Any

from rich.console import RenderableType
from rich.text import Text

from triage.console.cards import Item
from triage.console.look import Card, stack
from triage.console.telling import Telling, sentence
from triage.console.turns import VerdictLine
from triage.dialogue.events import RepairReported
from triage.dialogue.repair import (
    Held,
    comparison_words,
    held_of,
    is_just_out,
    missing_parts,
    number_in,
    what_now,
)
from triage.dialogue.view import Finding, Source, Verdict
from triage.dialogue.words import plain_text
from triage.physics.bands import Band, Basis, BasisKind
from triage.tree.content import ReadingKind

_CYCLES: Mapping[bool | None, str] = {
    True: "Two good cycles followed.",
    False: "Two good cycles did NOT follow.",
    None: "Two cycles: not reported.",
}
_HEADINGS = {
    Held.YES: ("REPAIR REPORTED: it held", "triage.good"),
    Held.NO: ("REPAIR REPORTED: it did NOT hold", "triage.stop"),
    Held.NOT_PROVEN: ("REPAIR REPORTED: not proven", "triage.heading"),
    Held.NOTHING_REPAIRED: ("REPAIR REPORTED: no fault found", "triage.heading"),
}


def repair_card(report: RepairReported, telling: Telling) -> Card:
    """Return a report with what the call of `telling` concluded beside it."""
    content, concluded = telling.content, telling.case.concluded
    held = held_of(report, content)
    heading, style = _HEADINGS[held]
    is_bare = held is Held.NOTHING_REPAIRED and not report.parts
    return Card(
        heading,
        stack(
            Text(plain_text(comparison_words(concluded, report.found, content))),
            None
            if is_bare
            else Text(sentence(f"parts replaced: {_joined(report.parts) or 'none named'}")),
            Text(_CYCLES[report.had_two_good_cycles]),
            *_readings(report.readings, telling),
            Text(f'Note: "{plain_text(report.note)}"') if report.note else None,
            Text(f"Reported by {plain_text(report.reported_by)}.") if report.reported_by else None,
            *advice_lines(report, telling),
        ),
        style,
    )


def advice_lines(report: RepairReported, telling: Telling) -> Iterator[RenderableType]:
    """Yield what is missing from the repair, and what to do if it did not hold or is not proven."""
    for words in missing_parts(telling.content, report.found, report.parts):
        yield Text(sentence(plain_text(words)), style="triage.outside")
    for words in what_now(report, telling.content):
        yield Text(plain_text(words), style="triage.ask")


def _joined(parts: Iterable[str]) -> str:
    return ", ".join(plain_text(part, 80) for part in parts)


def _readings(readings: Iterable[Mapping[str, Any]], telling: Telling) -> Iterator[RenderableType]:
    is_first = True
    for recorded in readings:
        if is_first:
            yield Text("Readings after the repair:", style="triage.heading")
            is_first = False
        yield from reading_lines(recorded, telling)


def reading_lines(
    recorded: Mapping[str, Any], telling: Telling, lead: str = "- "
) -> Iterator[RenderableType]:
    """Yield a reading of a report with its verdict, band and gauge as they were recorded."""
    reading = telling.content.readings.get(str(recorded.get("reading")))
    value = number_in(recorded, "value")
    if reading is None:
        yield Item(plain_text(f"{recorded.get('reading')}: {recorded.get('typed')}"))
        return
    known = value if value is not None else recorded.get("value")
    finding = Finding(
        reading,
        known if isinstance(known, str | float) else None,
        "",
        _verdict_of(recorded.get("verdict")),
        source=Source.CALLER,
        typed=str(recorded.get("typed", "")),
        band=_band_of(recorded),
        minute_s=number_in(recorded, "minute_s"),
        is_minute_assumed=recorded.get("is_minute_assumed") is True,
    )
    unit = plain_text(str(recorded.get("unit_assumed") or ""), 20)
    taken_as = f" No unit was given: taken as {unit}." if unit else ""
    yield Item(f"{sentence(telling.finding(finding))}{taken_as}", lead)
    if finding.verdict not in (Verdict.NOTED, Verdict.UNKNOWN):
        yield VerdictLine(finding, telling)
        if is_just_out(recorded):
            yield Text("  only just outside", style="triage.hint")
    elif reading.is_banded and finding.value is not None and reading.kind is not ReadingKind.CHOICE:
        yield Text("  not judged", style="triage.hint")


def _verdict_of(word: object) -> Verdict:
    try:
        return Verdict(str(word))
    except ValueError:
        return Verdict.NOTED


def _band_of(recorded: Mapping[str, Any]) -> Band | None:
    low, high = number_in(recorded, "low"), number_in(recorded, "high")
    if low is None or high is None:
        return None
    return Band(low, high, (low + high) / 2.0, Basis(BasisKind.MODEL))
