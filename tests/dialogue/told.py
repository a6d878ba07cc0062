"""Findings as a call would make them, told by grade, by choice or by verdict alone."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

import pytest
from hypothesis import strategies as st

from tests.conversation import shipped_engine
from triage.dialogue.view import Finding, Verdict
from triage.physics.bands import Band, Basis, BasisKind
from triage.tree.content import UNKNOWN, Content

SHIPPED = shipped_engine().view
"""The shipped content, ranked by its computed likelihoods."""

JUDGED = replace(SHIPPED, likelihoods="")
"""The same content, ranked by the judged signs."""

WAYS: Mapping[str, Content] = {"computed": SHIPPED, "judged": JUDGED}
BOTH = pytest.mark.parametrize("way", list(WAYS))
"""For tests of what holds in both ways."""

RESIDUALS: Mapping[str, float] = {
    "far_below": -3.0, "just_below": -1.5, "low": -0.7, "middle": 0.1, "high": 0.7,
    "just_above": 1.5, "far_above": 3.0,
}  # fmt: skip
"""A distance from the middle of the band, in half-widths, well within each grade."""

VERDICTS: Mapping[str, tuple[str, ...]] = {
    "below": ("far_below", "just_below"),
    "within": ("low", "middle", "high"),
    "above": ("just_above", "far_above"),
}
"""What a reading may be of which only the verdict is known."""


def finding(
    reading_id: str, found: str, content: Content = SHIPPED, *, is_typical: bool = False
) -> Finding:
    """Return a finding of a grade, a verdict or a choice, or an unknown one.

    A graded one has a band, of a machine on file or of a typical one.
    """
    reading = content.readings[reading_id]
    if found == UNKNOWN:
        return Finding(reading, None, UNKNOWN, Verdict.UNKNOWN)
    if not reading.is_banded:
        judged = Verdict.WITHIN if found in reading.normal else Verdict.OUTSIDE
        return Finding(reading, found, found, judged if reading.normal else Verdict.NOTED)
    if found in VERDICTS:
        return Finding(reading, None, found, Verdict(found))
    (verdict,) = (word for word, grades in VERDICTS.items() if found in grades)
    kind = BasisKind.ADAPTED if is_typical else BasisKind.MODEL
    return Finding(
        reading, RESIDUALS[found], verdict, Verdict(verdict),
        band=Band(-1.0, 1.0, 0.0, Basis(kind)), residual=RESIDUALS[found],
    )  # fmt: skip


def findings(
    told: Mapping[str, str], content: Content = SHIPPED, *, is_typical: bool = False
) -> list[Finding]:
    """Return one finding for each reading told of, in that order."""
    return [finding(key, found, content, is_typical=is_typical) for key, found in told.items()]


def by_id(
    told: Mapping[str, str], content: Content = SHIPPED, *, is_typical: bool = False
) -> dict[str, Finding]:
    """Return the same findings by their reading."""
    return dict(zip(told, findings(told, content, is_typical=is_typical), strict=True))


def can_be_found(reading_id: str) -> tuple[str, ...]:
    """Return all that can be found of a reading: grades and verdicts, or choices."""
    reading = SHIPPED.readings[reading_id]
    if reading.is_banded:
        return (*RESIDUALS, *VERDICTS)
    return tuple(choice.id for choice in reading.choices)


@st.composite
def told_readings(
    draw: st.DrawFn, readings: tuple[str, ...], most: int = 16, *, verdicts_only: bool = False
) -> dict[str, str]:
    """What some of `readings` show, anything that is possible at all, in any order."""
    chosen = draw(st.lists(st.sampled_from(readings), unique=True, max_size=most))
    return {
        reading_id: draw(
            st.sampled_from(
                tuple(VERDICTS)
                if verdicts_only and SHIPPED.readings[reading_id].is_banded
                else can_be_found(reading_id)
            )
        )
        for reading_id in chosen
    }
