"""How far a reading lies from the middle of its band, in steps fit for counting.

A residual (distance in half-widths of the band) travels between machines better than a value does,
and a verdict alone forgets that "just within" leans somewhere.
"""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections.abc import Mapping
from types import MappingProxyType

from triage.dialogue.view import Finding, Verdict
from triage.physics.bands import BasisKind
from triage.tree.content import UNKNOWN
from triage.tree.likelihoods import GRADE_EDGES, GRADES

GRADES_OF: Mapping[str, tuple[str, ...]] = MappingProxyType({
    "below": GRADES[:2], "within": GRADES[2:5], "above": GRADES[5:],
})  # fmt: skip
"""The grades that a verdict alone may stand for."""

_GRADED_BASES = (
    BasisKind.MODEL, BasisKind.ADAPTED, BasisKind.STANDARD, BasisKind.MACHINE_FILE
)  # fmt: skip


def grade_of(finding: Finding) -> str | None:
    """Return the grade of a reading with a residual, the outcome of any other; None if unknown.

    A band that covers a whole working range, or a chart's, has no middle to speak of: there the
    verdict is all there is.
    """
    if finding.verdict is Verdict.UNKNOWN or finding.outcome == UNKNOWN:
        return None
    if finding.residual is None or finding.band is None:
        return finding.outcome
    basis = finding.band.basis
    if basis.kind not in _GRADED_BASES or basis.is_any_condition:
        return finding.outcome
    # On the edge of its band a reading still lies within, above as well as below.
    place = bisect_right if finding.residual < 0.0 else bisect_left
    return GRADES[place(GRADE_EDGES, finding.residual)]
