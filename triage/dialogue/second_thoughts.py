"""Second thoughts about a conclusion: why it is not told, although the questions led there.

Nothing is opened, condemned or waved through on thin evidence; what is odd is to be taken again.
"""

from __future__ import annotations

from collections.abc import Mapping

from triage.dialogue.rank import rank_causes
from triage.dialogue.view import ODD, Agreement, Conclusion, Finding
from triage.tree.content import Cause, Content, Side

PLAINLY_LESS = 0.5
"""A path's causes together less likely than this share of the likeliest one are contradicted by the
ranking (judged)."""

OPENS_THE_CIRCUIT = "refrigerant_circuit"
"""Hazard of a repair that recovers the charge and opens the circuit."""

JUST_OUT = 1.15
"""Residual up to which a reading is only just out of its band [half-widths]; judged."""

HARDLY = 0.2
"""A path's causes together less likely than this share of the likeliest of all causes are borne out
by next to nothing (judged)."""

NO_FAULT_AT_LEAST = 1.0 / 3.0
"""That no fault was found is not told where it is less likely than this (judged)."""

_ONLY_JUST_OUT = (
    "Every reading that is out of order is only just out of its band. Take each once more before "
    "a circuit is opened on so little."
)


def why_not(content: Content, conclusion: Conclusion, findings: Mapping[str, Finding]) -> str:
    """Return why a conclusion is handed over instead of told, "" if nothing stands against it."""
    is_fault_seen = is_seen(content, conclusion, findings)
    is_against = is_contradicted(conclusion) or must_not_disagree(content, conclusion)
    if is_against and not is_fault_seen:
        return _contradiction(content, conclusion, findings)
    if is_just_out(content, conclusion, findings):
        return _ONLY_JUST_OUT
    if is_alone(content, conclusion, findings) and not is_fault_seen:
        return _take_again(content, conclusion, findings)
    return ""


def is_contradicted(conclusion: Conclusion) -> bool:
    """Return whether all findings together plainly speak against the path."""
    if conclusion.agreement is not Agreement.DISAGREE:
        return False
    ours = sum(item.probability for item in conclusion.ranked if item.cause in conclusion.causes)
    return ours < PLAINLY_LESS * conclusion.ranked[0].probability


def is_seen(content: Content, conclusion: Conclusion, findings: Mapping[str, Finding]) -> bool:
    """Return whether the fault itself was seen or measured, and its repair condemns no part.

    A coil's supply out of its band, water that keeps running in: mended first, whatever else the
    readings say.
    """
    causes = [content.causes[cause] for cause in conclusion.causes]
    return all(
        not cause.condemns
        and not opens_the_circuit(cause)
        and cause.shown_by
        and all(key in findings and findings[key].verdict in ODD for key in cause.shown_by)
        for cause in causes
    )


def must_not_disagree(content: Content, conclusion: Conclusion) -> bool:
    """Return whether path and ranking disagree about a repair that opens the circuit."""
    return conclusion.agreement is Agreement.DISAGREE and any(
        opens_the_circuit(content.causes[cause]) for cause in conclusion.causes
    )


def is_just_out(content: Content, conclusion: Conclusion, findings: Mapping[str, Finding]) -> bool:
    """Return whether a circuit would be opened on readings that are all only just out of band."""
    if not any(opens_the_circuit(content.causes[cause]) for cause in conclusion.causes):
        return False
    odd = [item for item in findings.values() if item.verdict in ODD]
    return bool(odd) and all(
        item.residual is not None and abs(item.residual) <= JUST_OUT for item in odd
    )


def opens_the_circuit(cause: Cause) -> bool:
    """Return whether the repair recovers the charge and opens the circuit."""
    return OPENS_THE_CIRCUIT in cause.hazards


def is_alone(content: Content, conclusion: Conclusion, findings: Mapping[str, Finding]) -> bool:
    """Return whether a path's conclusion is borne out by next to nothing once all is reckoned with.

    Where the freeze is not proven, the ranking shown leaves harvest causes out; here they count,
    unnamed, so that a reading just out of its band does not become a repair by itself.
    """
    if conclusion.agreement is Agreement.READINGS or not conclusion.causes:
        return False
    chances = {item.cause: item.probability for item in rank_causes(content, findings.values())}
    ours = sum(chances.get(cause, 0.0) for cause in conclusion.causes)
    if all(content.causes[cause].side is Side.NONE for cause in conclusion.causes):
        return ours < NO_FAULT_AT_LEAST
    return ours < HARDLY * max(chances.values())


def _take_again(content: Content, conclusion: Conclusion, findings: Mapping[str, Finding]) -> str:
    """Return why a conclusion that hardly anything bears out is not told, and what to do."""
    if all(content.causes[cause].side is Side.NONE for cause in conclusion.causes):
        return "No fault was found, but the readings do not prove that there is none."
    ours = " and ".join(content.causes[cause].name for cause in conclusion.causes)
    odd = [item.reading.name for item in findings.values() if item.verdict in ODD]
    return (
        f"What is out of order ({', '.join(odd)}) leads to {ours}, and everything else speaks "
        "against it. Take what is out of order once more before anything is done."
    )


def _contradiction(
    content: Content, conclusion: Conclusion, findings: Mapping[str, Finding]
) -> str:
    ours = " and ".join(content.causes[cause].name for cause in conclusion.causes)
    theirs = content.causes[conclusion.ranked[0].cause].name
    settling = conclusion.settling_reading
    ask = f" The reading that would settle it: {settling.name}." if settling else ""
    odd = [item.reading.name for item in findings.values() if item.verdict in ODD]
    if len(odd) == 1:
        ask = f" Only one reading is out of order, {odd[0]}: take it once more first."
    return (
        f"The questions lead to {ours}, all readings together speak for {theirs}. The two must "
        f"not disagree before a part is replaced.{ask}"
    )
