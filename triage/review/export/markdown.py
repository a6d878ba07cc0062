"""A call as a short ticket in Markdown: CommonMark alone, no tables, so that any reader takes it.

What a person typed stands in code spans: no markup, link, mention or HTML can come of it. All other
words are escaped.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator

from triage.dialogue.view import Recommended
from triage.dialogue.words import plain_text
from triage.review.export.call import ExportedCall
from triage.review.export.outcome_words import TYPED
from triage.review.export.told import CallWords, Told, moment_words

_MOST_READINGS = 12
"""Judged readings of a ticket; the rest is in the record (judged: a ticket is read at a glance)."""

_SIGNS_WITH_MEANING = re.compile(r"[\\`*_{}\[\]<>#|~&$!@]")
_LINK_BEGINS = re.compile(r"(?i)\b(https?|ftp|mailto|xmpp):|\b(www)\.")
_LINE_BEGINS = re.compile(r"^(\s*)([-+=]|\d+[.)])")


def markdown_of(call: ExportedCall) -> str:
    """Return the ticket of one call."""
    words = CallWords(call)
    return "\n".join(_lines(call, words)).rstrip() + "\n"


def escaped(text: str) -> str:
    r"""Return `text` so that Markdown shows it as it is.

    Source: CommonMark 0.31, section 2.4: a backslash before any ASCII punctuation takes its
    meaning away.

    >>> escaped("*a* <b> http://x"), escaped("1. not a list")
    ('\\*a\\* \\<b\\> http\\://x', '1\\. not a list')
    """
    plain = _SIGNS_WITH_MEANING.sub(lambda found: f"\\{found[0]}", plain_text(text))
    plain = _LINK_BEGINS.sub(lambda found: f"{found[0][:-1]}\\{found[0][-1]}", plain)
    return _LINE_BEGINS.sub(lambda found: f"{found[1]}{found[2][:-1]}\\{found[2][-1]}", plain)


def as_typed(text: str) -> str:
    """Return what a person typed as a code span that holds exactly its plain text.

    Source: CommonMark 0.31, section 6.1: a fence longer than any run of backticks inside; one blank
    at each end is taken off again.

    >>> as_typed("**bold** `x`")
    '`` **bold** `x` ``'
    """
    plain = plain_text(text)
    if not plain:
        return ""
    longest = max((len(run) for run in re.findall("`+", plain)), default=0)
    fence = "`" * (longest + 1)
    blank = " " if "`" in plain else ""
    return f"{fence}{blank}{plain}{blank}{fence}"


def _lines(call: ExportedCall, words: CallWords) -> Iterator[str]:
    yield f"## {escaped(words.heading)}"
    yield ""
    yield f"- **Call:** {escaped(call.session_id)}, {escaped(moment_words(call.lines[0].at))}"
    serial = call.case.serial_number
    number = f", serial number {as_typed(serial)}" if serial else ""
    yield f"- **Machine:** {escaped(words.machine)}, {escaped(words.refrigerant)}{number}"
    if call.case.agent:
        yield f"- **Agent:** {as_typed(call.case.agent)}"
    yield from _one("Conditions", (f"{name} {value}" for name, value in words.conditions))
    yield f"- **Content:** {escaped(words.content_note)}"
    yield ""
    yield from _conclusion(call, words)
    yield from _readings(words)
    yield from _cautions(words)
    if call.case.notes:
        yield from _section("Notes", (as_typed(note) for note in dict.fromkeys(call.case.notes)))
    if call.case.repair is not None:
        yield from _section("Outcome", _outcome(words))
    yield "The machine's data plate, its own chart and local codes win over this ticket."


def _conclusion(call: ExportedCall, words: CallWords) -> Iterator[str]:
    if words.reason:
        yield escaped(words.reason)
        yield ""
    if call.result == "withheld" and words.causes:
        yield f"The readings point to: {escaped(words.causes)}."
        yield ""
    if words.agreement:
        ranked = "; ".join(words.ranked)
        likeliest = f" Likeliest: {ranked}." if ranked else ""
        yield escaped(f"{words.agreement}{likeliest}")
        yield ""
    if words.no_repair:
        yield escaped(words.no_repair)
        yield ""
    yield from _section("Leave the machine so", map(escaped, words.machine_state))
    if words.repair is not None:
        yield from _repair(words.repair, words)
    elif words.call_whom:
        yield from _section("Whom to call", [escaped(words.call_whom)])


def _repair(end: Recommended, words: CallWords) -> Iterator[str]:
    recommendation = end.recommendation
    yield from _section("Repair", map(escaped, recommendation.repair))
    if recommendation.replace_together:
        parts = map(escaped, recommendation.replace_together)
        yield from _section("Replace together, as one repair", parts)
    yield from _section("Verify after the repair", map(escaped, recommendation.verify))
    yield from _section("Who must do it", [escaped(words.call_whom)])


def _readings(words: CallWords) -> Iterator[str]:
    told = [item for _, group in words.groups for item in group if item.is_judged]
    odd = [item for item in told if item.is_odd]
    sound = [item for item in told if not item.is_odd]
    if odd:
        yield from _section("Not as it should be", (escaped(item.line) for item in odd))
    if sound:
        lines = [escaped(_short(item)) for item in sound[: max(0, _MOST_READINGS - len(odd))]]
        if len(lines) < len(sound):
            lines.append(f"and {len(sound) - len(lines)} more, in the record")
        yield from _section("As it should be", lines)
    if words.not_measured:
        names = "; ".join(name for name, _ in words.not_measured)
        yield from _section("Not measured", [escaped(names)])


def _short(told: Told) -> str:
    """Return a sound reading: its band, and that it lies in it."""
    band = f", {told.verdict} {told.band}" if told.band else f", {told.verdict}"
    joint = " " if told.gauge else ": "
    return f"{told.name}{joint}{told.value}{told.moment}{band}"


def _cautions(words: CallWords) -> Iterator[str]:
    by_answer: dict[str, list[str]] = {}
    for caution in words.cautions:
        by_answer.setdefault(caution.said, []).append(caution.title)
    lines = [f"{said} ({len(titles)}): {'; '.join(titles)}" for said, titles in by_answer.items()]
    if lines:
        yield from _section("Cautions", map(escaped, lines))


def _outcome(words: CallWords) -> Iterator[str]:
    for heading, said in words.outcome:
        yield f"{heading}: {as_typed(said) if heading in TYPED else escaped(said)}"


def _one(heading: str, parts: Iterable[str]) -> Iterator[str]:
    line = "; ".join(parts)
    if line:
        yield f"- **{heading}:** {escaped(line)}"


def _section(heading: str, lines: Iterable[str]) -> Iterator[str]:
    items = list(lines)
    if not items:
        return
    yield f"### {escaped(heading)}"
    yield ""
    yield from (f"- {item}" for item in items)
    yield ""
