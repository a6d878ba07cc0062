"""An ending of the graph becomes a conclusion, and a conclusion a recommendation."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping

from triage.dialogue.case import Case
from triage.dialogue.judge import band_of, machine_in_use
from triage.dialogue.rank import evidence_about, rank_causes, settling_reading
from triage.dialogue.view import (
    Agreement,
    Conclusion,
    Expected,
    Finding,
    RankedCause,
    Recommendation,
    Verdict,
)
from triage.physics.errors import PhysicsError
from triage.tree.content import Cause, Content, Ending, Reading

AFTER_REPAIR = (
    "discharge_line_temperature",
    "freeze_suction_pressure_late",
    "freeze_discharge_pressure",
    "freeze_time",
    "harvest_suction_pressure",
    "harvest_discharge_pressure",
    "harvest_time",
    "batch_ice_mass",
)
"""What to look at in the two cycles after a repair."""

LONGEST_SHORTLIST = 3
"""Causes named where the tool cannot tell (judged: more is no list to act on)."""


def conclude(
    content: Content,
    ending: Ending,
    findings: Mapping[str, Finding],
    *,
    is_freeze_proven: bool = True,
    askable: Collection[str] = (),
) -> Conclusion:
    """Return the path's conclusion beside what all findings together say.

    `askable` are the readings that can still be asked for here.
    """
    ranked = rank_causes(content, findings.values(), is_freeze_proven=is_freeze_proven)
    causes = ending.causes or shortlist(ending, ranked)
    agreement = agreement_of(ending, ranked)
    evidence_for, evidence_against = evidence_about(content, causes, findings.values())
    signs = {reading for cause in causes for reading in content.causes[cause].signs}
    missing = tuple(
        finding
        for finding in findings.values()
        if finding.verdict is Verdict.UNKNOWN and finding.reading.id in signs
    )
    return Conclusion(
        ending,
        ending.causes,
        ranked,
        agreement,
        evidence_for,
        evidence_against,
        missing,
        _settling(content, causes, ranked, agreement, findings, askable),
    )


def _settling(
    content: Content,
    causes: tuple[str, ...],
    ranked: tuple[RankedCause, ...],
    agreement: Agreement,
    findings: Mapping[str, Finding],
    askable: Collection[str],
) -> Reading | None:
    """Return the reading that would settle an open question between the two likeliest causes.

    Where path and ranking disagree, best one that can still be asked for, else one that shows
    either cause directly. For an escalation
    only one that was asked for and could not be had: others belong to parts of the call that were
    not reached.
    """
    if agreement is Agreement.DISAGREE:
        pair = (content, causes[0], ranked[0].cause, findings)
        direct = {
            key for cause in (causes[0], ranked[0].cause) for key in content.causes[cause].shown_by
        }
        return settling_reading(*pair, among=askable) or settling_reading(*pair, among=direct)
    if agreement is Agreement.OPEN and len(causes) > 1:
        missing = [key for key, item in findings.items() if item.verdict is Verdict.UNKNOWN]
        return settling_reading(content, causes[0], causes[1], findings, among=missing)
    return None


def agreement_of(ending: Ending, ranked: tuple[RankedCause, ...]) -> Agreement:
    """Return whether the likeliest cause is one of the path's; open for an escalation."""
    if not ending.causes:
        return Agreement.OPEN
    if ending.settles:
        return Agreement.READINGS
    return Agreement.AGREE if ranked[0].cause in ending.causes else Agreement.DISAGREE


def shortlist(ending: Ending, ranked: tuple[RankedCause, ...]) -> tuple[str, ...]:
    """Return the likeliest causes of those the ending is left with.

    That is an escalation's own list, which may be empty: nothing is blamed there. A conclusion that
    all readings contradict is left with any.
    """
    allowed = [item.cause for item in ranked if ending.causes or item.cause in ending.shortlist]
    return tuple(allowed[:LONGEST_SHORTLIST])


def recommend(content: Content, case: Case, ending: Ending) -> Recommendation:
    """Return the repair of the ending's causes with what to expect when it is done."""
    causes = [content.causes[cause] for cause in ending.causes]
    return Recommendation(
        repair=tuple(cause.repair for cause in causes),
        replace_together=_once(part for cause in causes for part in cause.replace_together),
        machine_state=machine_state(causes),
        verify=_once(line for cause in causes for line in cause.verify),
        expected_after_repair=expected_after_repair(content, case),
        who=_once(cause.who for cause in causes),
    )


def machine_state(causes: Iterable[Cause]) -> tuple[str, ...]:
    """Return in what state to leave the machine until each of `causes` is repaired."""
    return _once(cause.machine_state for cause in causes)


def expected_after_repair(content: Content, case: Case) -> tuple[Expected, ...]:
    """Return what to see in the cycles after a repair, at the conditions of the call."""
    if machine_in_use(content, case) is None:
        return ()
    expected = []
    for reading_id in AFTER_REPAIR:
        reading = content.readings[reading_id]
        if reading.is_licensed and not case.is_licensed:
            continue
        minute = reading.default_minute
        try:
            band = band_of(content, case, reading, None if minute is None else minute * 60.0)
        except PhysicsError:
            continue
        if band is not None:
            expected.append(Expected(reading, band))
    return tuple(expected)


def _once(lines: Iterable[str]) -> tuple[str, ...]:
    return tuple(dict.fromkeys(lines))
