"""A call in words for a person: what Markdown and the page both tell. Pure; all text is plain."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime
from functools import cached_property

from triage.console.cards import (
    LEAST_SHOWN_PROBABILITY,
    RANKED_SHOWN,
    percent,
    suspects_left,
)
from triage.console.evidence import evidence_lines
from triage.console.telling import Telling, sentence, short_moment, verdict_word
from triage.dialogue.ends import GATE
from triage.dialogue.judge import ALTITUDE, refrigerant_in_use
from triage.dialogue.view import (
    ODD,
    Agreement,
    Escalated,
    Finding,
    Recommended,
    Source,
    Verdict,
    Withheld,
)
from triage.dialogue.words import plain_text
from triage.physics.bands import Band
from triage.review.export.call import UNFINISHED, ExportedCall
from triage.review.export.gauge_place import GaugePlace, gauge_place
from triage.review.export.outcome_words import outcome_rows
from triage.tree.content import Reading, Stage

_STAGES = {
    Stage.FREEZE: "In the freeze",
    Stage.HARVEST: "In the harvest",
    Stage.CONFIRM: "The confirming test",
}
_BESIDES = "Said besides"

_AGREEMENT = {
    Agreement.AGREE: "The questions and all readings together lead to the same cause.",
    Agreement.DISAGREE: "The questions and all readings together do NOT lead to the same cause.",
    Agreement.OPEN: "The questions and the readings leave the cause open.",
    Agreement.READINGS: "The questions alone left it open; all readings together settle it.",
}

_RESULTS = {
    "recommended": "Recommendation",
    "withheld": "Recommendation withheld",
    "escalated": "Handed over: no recommendation",
    UNFINISHED: "Not finished: no conclusion yet",
}


@dataclass(frozen=True, slots=True)
class Told:
    """One reading in words. `gauge` is None for what has no band."""

    name: str
    value: str
    moment: str
    verdict: str
    band: str
    is_odd: bool
    is_judged: bool
    reason: str
    gauge: GaugePlace | None

    @property
    def line(self) -> str:
        """Return the reading in one line."""
        joint = " " if self.gauge else ": "
        verdict = f", {self.verdict}" if self.is_judged else ""
        band = f" (band {self.band})" if self.band else ""
        return f"{self.name}{joint}{self.value}{self.moment}{verdict}{band}"


@dataclass(frozen=True, slots=True)
class ToldCaution:
    """A caution and what became of it; one at the gate stands before a repair."""

    title: str
    text: str
    said: str
    is_at_gate: bool


class CallWords:
    """A call in words, in its own units or those asked for."""

    def __init__(self, call: ExportedCall) -> None:
        self.call = call
        self.content = call.engine.content
        self.telling = Telling(self.content, call.case)

    @cached_property
    def findings(self) -> tuple[Finding, ...]:
        """Return what is known, judged by today's content."""
        return self.call.engine.findings(self.call.case)

    @property
    def heading(self) -> str:
        """Return how the call ended, in a few words, with the cause."""
        heading = _RESULTS.get(self.call.result, plain_text(self.call.result))
        causes = self.causes
        if causes and self.call.result == "recommended":
            return f"{heading}: {causes}"
        parked = self.call.case.parked
        if self.call.result == UNFINISHED and parked is not None:
            return f"{heading}, parked" + (
                f" until {moment_words(parked.due_at)}" if parked.due_at else ""
            )
        return heading

    @property
    def causes(self) -> str:
        """Return the causes concluded, "" where none was."""
        return "; ".join(self.telling.cause(cause) for cause in self.call.causes)

    @property
    def machine(self) -> str:
        """Return the machine's name, or that it is not on file."""
        for finding in self.findings:
            if finding.reading.id == "machine" and finding.value is not None:
                return self.telling.value(finding.reading, finding.value)
        return "not on file"

    @property
    def refrigerant(self) -> str:
        """Return the refrigerant."""
        return plain_text(refrigerant_in_use(self.content, self.call.case) or "not known")

    @property
    def conditions(self) -> list[tuple[str, str]]:
        """Return name and value of what the machine was judged by."""
        skipped = ("machine", "refrigerant")
        told = [
            (plain_text(item.reading.name), self.telling.value(item.reading, item.value))
            for item in self.findings
            if self._stage(item.reading) in (Stage.CALLER, Stage.MACHINE)
            and item.reading.id not in skipped
            and item.value is not None
        ]
        altitude, case = self.content.readings.get(ALTITUDE), self.call.case
        if altitude is not None and ALTITUDE not in case.answers and abs(case.altitude_m) >= 1.0:
            value = self.telling.value(altitude, case.altitude_m)
            told.append((plain_text(altitude.name), value))
        return told

    @property
    def groups(self) -> list[tuple[str, list[Told]]]:
        """Return what was measured and seen, by the part of the call it belongs to."""
        groups: dict[str, list[Told]] = {}
        for finding in self._measured():
            if finding.value is not None:
                stage = self._stage(finding.reading)
                heading = _STAGES.get(stage, _BESIDES) if stage else _BESIDES
                groups.setdefault(heading, []).append(self.told(finding))
        order = [*_STAGES.values(), _BESIDES]
        return sorted(groups.items(), key=lambda item: order.index(item[0]))

    @property
    def not_measured(self) -> list[tuple[str, str]]:
        """Return name and reason of what could not be had."""
        return [
            (plain_text(finding.reading.name), self.telling.reason(finding))
            for finding in self.findings
            if finding.value is None and finding.reading.id != "machine"
        ]

    @property
    def basis(self) -> list[str]:
        """Return what the bands rest on, the commonest first."""
        counts: dict[str, int] = {}
        for finding in self._measured():
            if finding.band is not None and finding.value is not None:
                words = self.telling.basis_at_any_minute(finding.band, finding.reading.id)
                counts[words] = counts.get(words, 0) + 1
        return sorted(counts, key=lambda words: -counts[words])

    def told(self, finding: Finding) -> Told:
        """Return one reading in words."""
        band = finding.band
        value = finding.value
        return Told(
            name=plain_text(finding.reading.name),
            value=self.telling.value(finding.reading, value),
            moment=short_moment(finding),
            verdict=verdict_word(finding),
            band="" if band is None else self.telling.band(band, finding.reading),
            is_odd=finding.verdict in ODD,
            is_judged=finding.verdict not in (Verdict.NOTED, Verdict.UNKNOWN),
            reason=self.telling.reason(finding),
            gauge=None
            if band is None or not isinstance(value, float)
            else gauge_place(value, band.low, band.high),
        )

    # How it ended

    @property
    def agreement(self) -> str:
        """Return how path and ranking compare, "" where nothing was concluded."""
        said = self.call.agreement
        return _AGREEMENT[Agreement(said)] if said in set(Agreement) else ""

    @property
    def ranked(self) -> list[str]:
        """Return the likeliest causes with their probabilities.

        An escalation names only those it is left with: the ranking alone must not blame a part.
        """
        if isinstance(self.call.end, Escalated):
            return suspects_left(self.call.end, self.telling)
        if self.call.result == "escalated":
            return []
        return [
            f"{percent(probability)} {self.telling.cause(cause)}"
            for cause, probability in self.call.ranked[:RANKED_SHOWN]
            if probability >= LEAST_SHOWN_PROBABILITY or cause in self.call.causes
        ]

    @property
    def reason(self) -> str:
        """Return why there is no recommendation."""
        return sentence(plain_text(self.call.reason))

    @property
    def why(self) -> list[str]:
        """Return what speaks for the conclusion and against it."""
        end = self.call.end
        if end is None or isinstance(end, Escalated):
            return []
        against = evidence_lines(end.conclusion.evidence_against, self.telling)
        return [
            *(f"for it: {line}" for line in
              evidence_lines(end.conclusion.evidence_for, self.telling)),
            *(f"against it: {line}" for line in against),
        ]  # fmt: skip

    @property
    def because(self) -> list[str]:
        """Return in words what led there."""
        end = self.call.end
        if end is None or isinstance(end, Withheld):
            return []
        texts = [end.conclusion.ending.because]
        if isinstance(end, Recommended):
            texts += [self.content.causes[cause].explanation for cause in end.conclusion.causes]
        return [sentence(plain_text(text)) for text in texts]

    @property
    def repair(self) -> Recommended | None:
        """Return the recommendation, only where the gate is open and the record ended so."""
        return self.call.end if isinstance(self.call.end, Recommended) else None

    @property
    def machine_state(self) -> list[str]:
        """Return in what state to leave the machine."""
        match self.call.end:
            case Recommended():
                lines = self.call.end.recommendation.machine_state
            case Withheld() | Escalated():
                lines = self.call.end.machine_state
            case _:
                return []
        return [sentence(plain_text(line)) for line in lines]

    @property
    def call_whom(self) -> str:
        """Return who is to be called."""
        match self.call.end:
            case Recommended():
                return " ".join(map(plain_text, self.call.end.recommendation.who))
            case Withheld() | Escalated():
                return plain_text(self.call.end.call_whom)
            case _:
                return ""

    @property
    def no_repair(self) -> str:
        """Return why no repair stands here though the record says one was told, else ""."""
        if self.repair is not None or self.call.result != "recommended":
            return ""
        return (
            "The repair is not shown: the content in use now does not come to this ending for "
            "the answers of this call with the gate open. What was told stands in the content the "
            "call was held with."
        )

    @property
    def content_note(self) -> str:
        """Return which content the call was held with, and which judged it now."""
        now = self.content.version[:12]
        if self.call.held_with == (self.content.version,):
            return f"Held and judged with content {now}."
        held = " and ".join(plain_text(version)[:12] for version in self.call.held_with)
        tail = (
            "" if self.call.is_same_content
            else " Questions, readings and verdicts are shown as the content in use now has them; "
            "the conclusion is that of the record."
        )  # fmt: skip
        return f"Held with content {held}; judged here with content {now}.{tail}"

    def values_to_see(self) -> list[str]:
        """Return the bands to see after the repair."""
        if self.repair is None:
            return []
        return [
            f"{plain_text(item.reading.name)}{_at(item.band)}: "
            f"{self.telling.band(item.band, item.reading)}"
            for item in self.repair.recommendation.expected_after_repair
        ]

    @property
    def outcome(self) -> list[tuple[str, str]]:
        """Return what the repair found, as pairs of heading and words; empty without a report."""
        report = self.call.case.repair
        return [] if report is None else outcome_rows(report, self.call.recorded, self.telling)

    # Cautions

    @property
    def cautions(self) -> list[ToldCaution]:
        """Return each caution that was put to the caller, those before a repair first."""
        case = self.call.case
        asked = [
            node.split(":", 1)[1].split("@", 1)
            for node in case.asked
            if node.startswith("caution:") and "@" in node
        ]
        at_gate = [caution for caution, at in asked if at == GATE]
        match self.call.end:
            case Recommended():
                at_gate = [item.id for item in self.call.end.cautions]
            case Withheld():
                at_gate = [item.id for item, _ in self.call.end.cautions]
        acknowledged = {caution for caution, _ in case.acknowledged}
        refused = {caution for caution, _ in case.refused}
        told = []
        for caution_id in dict.fromkeys([*at_gate, *(caution for caution, _ in asked)]):
            caution = self.content.cautions.get(caution_id)
            said = "acknowledged" if caution_id in acknowledged else "not reached"
            told.append(
                ToldCaution(
                    plain_text(caution.title if caution else caution_id),
                    plain_text(caution.text if caution else ""),
                    "REFUSED" if caution_id in refused else said,
                    caution_id in at_gate,
                )
            )
        return told

    def _measured(self) -> Iterable[Finding]:
        """Yield what belongs to freeze, harvest and test, or was said besides."""
        for finding in self.findings:
            is_context = self._stage(finding.reading) in (Stage.CALLER, Stage.MACHINE)
            if not is_context and finding.source is not Source.WORKED_OUT:
                yield finding

    def _stage(self, reading: Reading) -> Stage | None:
        """Return the part of the call a reading is asked in, None for one that is never asked."""
        if reading.id == ALTITUDE:
            return Stage.MACHINE
        for question in self.call.engine.of(self.call.case).tree.questions.values():
            if question.reading == reading.id:
                return question.stage
        return None


def moment_words(at: str) -> str:
    """Return a time of the record to the minute.

    What is no time is told as it stands.

    >>> moment_words("2026-11-25T09:31:20.000000+00:00")
    '2026-11-25 09:31 UTC'
    """
    try:
        return f"{datetime.fromisoformat(at):%Y-%m-%d %H:%M} UTC"
    except ValueError:
        return plain_text(at)


def _at(band: Band) -> str:
    minute_s = band.basis.minute_s
    return "" if minute_s is None else f" at minute {minute_s / 60.0:g}"
