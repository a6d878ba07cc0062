"""The cards a call stops at: cautions, the recommendation, and the other two ways it can end.

A withheld recommendation never passes through here: that card is built from values that do not
hold the repair.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator
from dataclasses import dataclass

from rich.console import Console, ConsoleOptions, RenderableType, RenderResult
from rich.table import Table
from rich.text import Text

from triage.console.evidence import evidence_lines
from triage.console.figures import TELLS_NOTHING_IF_GENERIC
from triage.console.look import Card, look_of, stack
from triage.console.telling import CONTROL_WORDS, Telling, sentence, short_moment, verdict_word
from triage.dialogue.conclude import shortlist
from triage.dialogue.view import (
    Agreement,
    AskCaution,
    CaseSoFar,
    Conclusion,
    Escalated,
    Evidence,
    Expected,
    Finding,
    Recommended,
    Verdict,
    Withheld,
)
from triage.dialogue.words import plain_text
from triage.physics.bands import BasisKind
from triage.tree.content import Caution

RANKED_SHOWN = 3
"""Causes listed on a card; the rest is in the record."""

LEAST_SHOWN_PROBABILITY = 0.01

_TABLE_WIDTH = 64
"""Columns from which the case so far is a table; below, one finding under the other."""


def caution_hint(prompt: AskCaution, telling: Telling) -> Text:
    """Return what to type at a caution."""
    if prompt.seal:
        # Gate cautions come one after the other: what to type is said once, and short.
        lead = "Read out. Type yes" if telling.is_agent else "Type yes"
        words = f"{lead} if understood and kept to; no withholds the repair."
    elif telling.is_agent:
        words = "Read this out. Type yes when the caller says it is understood and will be kept to."
    else:
        words = "Type yes if it is understood and you will keep to it."
    return Text(words, style="triage.ask")


def caution_card(prompt: AskCaution, telling: Telling) -> Card:
    """Return a caution that waits for its own acknowledgement."""
    title = plain_text(prompt.caution.title)
    text = Text(plain_text(prompt.caution.text))
    if prompt.seal:
        was_met = (prompt.caution.id, "") in telling.case.acknowledged
        again = "Once more: " if was_met else ""
        heading = f"CAUTION {prompt.number} of {prompt.of}: {again}{title}"
        return Card(heading, stack(text, caution_hint(prompt, telling)), "triage.caution")
    refusal = Text("Typing no leaves the reading behind it unknown.")
    return Card(
        f"CAUTION: {title}",
        stack(text, caution_hint(prompt, telling), refusal),
        "triage.caution",
    )


def card_of(end: Recommended | Withheld | Escalated, telling: Telling) -> Card:
    """Return the card of an ending."""
    match end:
        case Recommended():
            return _recommendation(end, telling)
        case Withheld():
            return _withheld(end, telling)
        case Escalated():
            return _escalated(end, telling)


def _recommendation(end: Recommended, telling: Telling) -> Card:
    conclusion, repair = end.conclusion, end.recommendation
    causes = [telling.content.causes[cause] for cause in conclusion.causes]
    names = "; ".join(plain_text(cause.name) for cause in causes)
    return Card(
        f"RECOMMENDATION: {names}",
        stack(
            _section("What we believe and why"),
            Text(sentence(plain_text(conclusion.ending.because))),
            *(Text(sentence(plain_text(cause.explanation))) for cause in causes),
            *_reasons(conclusion, telling),
            *_two_ways(conclusion, telling),
            *_listed("Repair", repair.repair),
            *_listed("Replace together, as one repair", repair.replace_together),
            *_listed("Until it is repaired, leave the machine so", repair.machine_state),
            *_listed("Verify after the repair", repair.verify),
            *_values_to_see(repair.expected_after_repair, telling),
            *_listed("Who must do it", repair.who),
            *_titles(f"Cautions acknowledged, all {len(end.cautions)}", end.cautions),
            Text(
                "The machine's data plate, its own chart and local codes win over this card.",
                style="triage.hint",
            ),
        ),
        "triage.good",
    )


def _withheld(end: Withheld, telling: Telling) -> Card:
    suspected = [telling.cause(cause) for cause in end.conclusion.causes]
    said_no = {caution for caution, seal in telling.case.refused if seal}
    acknowledged = [caution for caution, is_done in end.cautions if is_done]
    refused = [caution for caution, _ in end.cautions if caution.id in said_no]
    not_reached = [
        caution for caution, is_done in end.cautions if not is_done and caution not in refused
    ]
    count = f"{len(acknowledged)} of {len(end.cautions)}"
    return Card(
        "RECOMMENDATION WITHHELD",
        stack(
            Text(sentence(plain_text(end.reason)), style="triage.ask"),
            *_listed("The readings point to", suspected),
            *_evidence("Speaks for it", end.conclusion.evidence_for, telling),
            *_listed("Leave the machine so", end.machine_state),
            *_listed("Whom to call", (end.call_whom,) if end.call_whom else ()),
            *_handover(telling),
            *_titles(f"Cautions acknowledged at the gate, {count}", acknowledged),
            *_titles("Not acknowledged", refused),
            *_titles("Not reached", not_reached),
            Text("When the caution can be kept, start a new call.") if refused else None,
        ),
        "triage.stop",
    )


def _escalated(end: Escalated, telling: Telling) -> Card:
    settling = end.conclusion.settling_reading
    return Card(
        "ESCALATED: no recommendation from here",
        stack(
            Text(sentence(plain_text(end.reason)), style="triage.ask"),
            Text(sentence(plain_text(end.ending.because))),
            *_listed("Suspects, likeliest first", suspects_left(end, telling), is_sentence=False),
            *_missing(end.conclusion, telling),
            *_listed(
                "The reading that would settle it",
                (plain_text(settling.name),) if settling else (),
            ),
            *_listed("Leave the machine so", end.machine_state),
            *_listed("Whom to call", (end.call_whom,) if end.call_whom else ()),
            *_handover(telling),
        ),
        "triage.outside",
    )


def _handover(telling: Telling) -> Iterator[RenderableType]:
    """Yield what was found, for whoever takes over: what is not normal first, with its band.

    Then the readings taken that are normal or not judged, in as few lines as they need.
    """
    findings = telling.answered()
    marked = (Verdict.BELOW, Verdict.ABOVE, Verdict.OUTSIDE)
    normal = [item for item in findings if item.verdict is Verdict.WITHIN]
    others = [item for item in findings if item.verdict not in (*marked, Verdict.WITHIN)]
    lines = [
        f"{telling.finding(item)}, {telling.verdict(item)}"
        for item in findings
        if item.verdict in marked
    ]
    if normal:
        lines.append(f"normal: {'; '.join(map(telling.named_value_then, normal))}")
    taken = [item for item in others if item.value is not None]
    if taken:
        lines.append(f"not judged: {'; '.join(map(telling.named_value_then, taken))}")
    heading = "Read these out" if telling.is_agent else "Tell them these readings"
    yield from _listed(heading, lines, is_sentence=False)


def _values_to_see(expected: Iterable[Expected], telling: Telling) -> Iterator[RenderableType]:
    """Yield the bands to see after the repair, under what each group of them rests on."""
    groups: dict[str, list[str]] = {}
    for item in expected:
        is_generic = item.band.basis.kind is BasisKind.ADAPTED
        if is_generic and item.reading.id in TELLS_NOTHING_IF_GENERIC:
            continue
        minute_s = item.band.basis.minute_s
        at = "" if minute_s is None else f" at minute {minute_s / 60.0:g}"
        words = f"{plain_text(item.reading.name)}{at}: {telling.band(item.band, item.reading)}"
        basis = telling.basis_at_any_minute(item.band, item.reading.id)
        groups.setdefault(basis, []).append(words)
    for basis, lines in groups.items():
        yield from _listed(f"Values to see then ({basis})", lines, is_sentence=False)


def _reasons(conclusion: Conclusion, telling: Telling) -> Iterator[RenderableType]:
    yield from _evidence("Speaks for it", conclusion.evidence_for, telling)
    against = evidence_lines(conclusion.evidence_against, telling)
    yield from _listed(
        "Speaks against it", against or ("nothing that was measured",), is_sentence=False
    )
    yield from _missing(conclusion, telling)


def _evidence(
    heading: str, evidence: Iterable[Evidence], telling: Telling
) -> Iterator[RenderableType]:
    yield from _listed(heading, evidence_lines(evidence, telling), is_sentence=False)


def _missing(conclusion: Conclusion, telling: Telling) -> Iterator[RenderableType]:
    yield from _listed(
        "Not measured",
        (
            plain_text(finding.reading.name)
            + (f" ({telling.reason(finding)})" if telling.reason(finding) else "")
            for finding in conclusion.not_measured
        ),
        is_sentence=False,
    )


def _two_ways(conclusion: Conclusion, telling: Telling) -> Iterator[RenderableType]:
    yield _section({
        Agreement.AGREE: "The two ways agree: the questions and all readings together lead to the "
        "same cause",
        Agreement.DISAGREE: "The two ways do NOT agree",
        Agreement.OPEN: "The two ways leave it open",
        Agreement.READINGS: "The questions alone left it open; all readings together settle it",
    }[conclusion.agreement])  # fmt: skip
    if conclusion.agreement is Agreement.DISAGREE and conclusion.ranked:
        ours = " and ".join(telling.cause(cause) for cause in conclusion.causes)
        theirs = telling.cause(conclusion.ranked[0].cause)
        yield Text(
            f'The questions lead to "{ours}"; all readings together put "{theirs}" first.',
            style="triage.outside",
        )
    yield from _items(_ranked(conclusion, telling))
    if conclusion.settling_reading is not None:
        yield from _items(
            [f"the reading that would settle it: {plain_text(conclusion.settling_reading.name)}"]
        )


def _ranked(conclusion: Conclusion, telling: Telling) -> list[str]:
    """Return the likeliest causes, and the path's own wherever they stand."""
    first = conclusion.ranked[:RANKED_SHOWN]
    shown = [item for item in first if item.probability >= LEAST_SHOWN_PROBABILITY]
    own = [item for item in conclusion.ranked if item.cause in conclusion.causes]
    listed = [*shown, *(item for item in own if item not in shown)]
    return [
        f"{percent(item.probability)} {telling.cause(item.cause)}"
        + (" (where the questions lead)" if item in own and item is not listed[0] else "")
        for item in listed
    ]


def suspects_left(end: Escalated, telling: Telling) -> list[str]:
    """Return the causes an escalation is left with, each with its probability.

    Only those the ending itself names, or the two that contradict each other: the ranking alone
    must not blame a harvest part on a freeze that is not known to be sound. An ending that a part
    shares with many trees names few of their causes, so the last line says how much the others
    have where that is most.
    """
    ranked = end.conclusion.ranked
    left = set(shortlist(end.ending, ranked)) if end.ending.shortlist else set(end.ending.causes)
    if end.ending.causes and ranked:
        left.add(ranked[0].cause)
    listed = [
        item
        for item in ranked
        if item.cause in left
        and (item.probability >= LEAST_SHOWN_PROBABILITY or item.cause in end.ending.causes)
    ]
    lines = [f"{percent(item.probability)} {telling.cause(item.cause)}" for item in listed]
    others = math.fsum(item.probability for item in ranked if item not in listed)
    if listed and others > 0.5:  # a list headed "likeliest" must not hide that
        lines.append(f"{percent(others)} all other causes together")
    return lines


def percent(probability: float) -> str:
    """Return a probability in whole percent, `under 1 %` for one that rounds to none.

    Nothing is certain, so neither is one that rounds to all.

    >>> percent(0.873), percent(0.002), percent(0.998)
    ('87 %', 'under 1 %', 'over 99 %')
    """
    if probability >= 0.995:
        return "over 99 %"
    return f"{probability:.0%}".replace("%", " %") if probability >= 0.005 else "under 1 %"


def _titles(heading: str, cautions: Iterable[Caution]) -> Iterator[RenderableType]:
    yield from _listed(heading, (caution.title for caution in cautions), is_sentence=False)


def _section(heading: str) -> Text:
    return Text(f"{heading}:", style="triage.heading")


def _listed(
    heading: str, lines: Iterable[str], *, is_sentence: bool = True
) -> Iterator[RenderableType]:
    """Yield a heading with its lines, nothing if there are none."""
    items = [plain_text(line) for line in lines]
    if items:
        yield _section(heading)
        yield from _items([sentence(item) for item in items] if is_sentence else items)


def _items(lines: Iterable[str]) -> Iterator[RenderableType]:
    for line in lines:
        yield Item(line)


@dataclass(frozen=True, slots=True)
class Item:
    """A line of a list, its later lines indented under the first."""

    words: str
    lead: str = "- "
    style: str = "none"

    def __rich_console__(self, console: Console, options: ConsoleOptions) -> RenderResult:
        """Yield the wrapped lines."""
        width = max(8, options.max_width - len(self.lead))
        for number, line in enumerate(Text(self.words, style=self.style).wrap(console, width)):
            yield Text.assemble(self.lead if number == 0 else " " * len(self.lead), line)


@dataclass(frozen=True, slots=True)
class FindingsTable:
    """All findings until now: a table where there is room, else one under the other."""

    findings: tuple[Finding, ...]
    telling: Telling

    def __rich_console__(self, console: Console, options: ConsoleOptions) -> RenderResult:
        """Yield the table or the lines."""
        telling = self.telling
        if options.max_width < _TABLE_WIDTH or look_of(console).is_plain:
            for finding in self.findings:
                name = plain_text(finding.reading.name)
                value = telling.value(finding.reading, finding.value) + short_moment(finding)
                yield Item(f"{name}: {value}, {telling.verdict(finding)}")
            return
        table = Table(box=None, padding=(0, 2, 0, 0), show_edge=False, header_style="triage.hint")
        table.add_column("reading", overflow="fold", ratio=None)
        table.add_column("value", overflow="fold")
        table.add_column("verdict", overflow="fold")
        for finding in self.findings:
            style = f"triage.{finding.verdict.value}"
            verdict = Text(telling.verdict(finding))
            verdict.stylize(style, 0, len(verdict_word(finding)))
            table.add_row(
                Text(plain_text(finding.reading.name)),
                Text(telling.value(finding.reading, finding.value) + short_moment(finding)),
                verdict,
            )
        yield table


def case_so_far(remark: CaseSoFar, telling: Telling) -> RenderableType:
    """Return all findings until now and the notes."""
    refused = "; ".join(plain_text(caution.title) for caution in remark.refused)
    if not remark.findings and not remark.notes and not remark.serial_number and not refused:
        return Text("Nothing answered yet.")
    number = plain_text(remark.serial_number)
    notes = [Item(f'note: "{plain_text(note)}"') for note in remark.notes]
    return stack(
        Text(f"serial number {number}") if number else None,
        FindingsTable(remark.findings, telling) if remark.findings else None,
        Text(f"Refused: {sentence(refused)}", style="triage.stop") if refused else None,
        *notes,
    )


def help_lines(choices: tuple[str, ...], wait: str = "") -> RenderableType:
    """Return what can be typed at this prompt and at every prompt; `wait` is how to park here."""
    answers = " / ".join(plain_text(choice) for choice in choices)
    return stack(
        Text(f"Answers here: {answers}") if answers else None,
        Text(f"To wait for it: {plain_text(wait)}") if wait else None,
        Text("At any prompt:"),
        *(Item(f"{word}: {meaning}") for word, meaning in CONTROL_WORDS.items()),
        Text(
            "Several readings in one line are taken apart and shown back one by one. "
            "Tab completes, arrows and Ctrl-R bring back earlier lines.",
            style="triage.hint",
        ),
    )
