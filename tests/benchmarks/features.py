"""A call's readings as a row of numbers, for learners that know nothing of ice machines."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping

from triage.dialogue.view import Finding, Verdict
from triage.tree.content import UNKNOWN, Content, Reading, ReadingKind

FARTHEST = 8.0
"""Residuals are cut off this many half-widths from the middle of the band."""

TEMPERATURES_TOLD = (
    "ambient_air_temperature", "condenser_air_temperature", "water_inlet_temperature"
)  # fmt: skip

NOT_SHOWN = ("caller_qualification", "complaint")
"""Choices that are the same in every call."""


def columns_of(content: Content) -> tuple[tuple[str, str], ...]:
    """Return what each number of a row is: the reading and, for a yes-or-no column, the choice."""
    return tuple(_columns(content))


def _columns(content: Content) -> Iterator[tuple[str, str]]:
    for reading in content.readings.values():
        if reading.id in NOT_SHOWN:
            continue
        for choice in _choices(content, reading):
            yield reading.id, choice
        if reading.is_banded:
            yield reading.id, ""
        if reading.id in TEMPERATURES_TOLD:
            yield reading.id, "K"


def _choices(content: Content, reading: Reading) -> tuple[str, ...]:
    if reading.kind is ReadingKind.MACHINE:
        return tuple(content.machines)
    return tuple(choice.id for choice in reading.choices)


def features_of(content: Content, findings: Mapping[str, Finding]) -> tuple[float, ...]:
    """Return the row of a call; NaN for what is not known.

    Residuals count in half-widths of the band, choices are 0 and 1, told temperatures [K].
    """
    return tuple(
        math.nan if finding is None or finding.outcome == UNKNOWN else _feature(finding, kind)
        for reading_id, kind in columns_of(content)
        for finding in (findings.get(reading_id),)
    )


def _feature(finding: Finding, kind: str) -> float:
    if kind == "":
        if finding.residual is None or finding.verdict is Verdict.UNKNOWN:
            return math.nan
        return max(-FARTHEST, min(FARTHEST, finding.residual))
    if kind == "K":
        return float(finding.value) if isinstance(finding.value, float) else math.nan
    return float(finding.value == kind)
