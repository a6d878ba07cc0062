"""Ends without a recommendation, and the cautions refused, for a terminal."""

from __future__ import annotations

from collections.abc import Iterator

from rich.console import RenderableType
from rich.text import Text

from triage.console.cards import Item
from triage.dialogue.words import counted, plain_text
from triage.review.figures import Report
from triage.review.figures_pen import MOST_LINES, Pen, and_more, note, say, under
from triage.review.figures_words import share_words
from triage.review.measures import Share


def without_repair(report: Report) -> Iterator[RenderableType]:
    """Yield where calls were escalated, and of which causes the repair was withheld."""
    ends = report.without_repair
    escalated, withheld = sum(ends.escalated.values()), sum(ends.withheld.values())
    if escalated:
        yield Text(f"Escalated, by ending; {share_words(Share(escalated, report.calls))} of calls:")
        for ending, calls in list(ends.escalated.items())[:MOST_LINES]:
            why = ends.reasons.get(ending, "").removesuffix(".") or ending
            yield Item(f"{plain_text(why, 120)}: {share_words(Share(calls, escalated))}")
        yield from and_more(len(ends.escalated))
    if withheld:
        yield Text(
            f"Withheld, by ending and cause; {share_words(Share(withheld, report.calls))} of calls:"
        )
        for (ending, cause), calls in list(ends.withheld.items())[:MOST_LINES]:
            name = f"{ending}, {cause}" if cause else ending
            yield Item(f"{plain_text(name, 120)}: {share_words(Share(calls, withheld))}")
        yield from and_more(len(ends.withheld))
        if any(item.refused.count for item in report.cautions):
            yield note("Which cautions were refused stands below.")


def cautions_refused(report: Report, pen: Pen) -> Iterator[RenderableType]:
    """Yield which cautions were refused, and at which desks."""
    refused = [item for item in report.cautions if item.refused.count]
    if not refused:
        put = sum(item.refused.of for item in report.cautions)
        yield say(f"None of {put:,}." if put else "No caution was put.")
        return
    yield Text("By caution, and at which desks; in brackets the 95% confidence interval:")
    for item in refused[:MOST_LINES]:
        name = plain_text(item.node.removeprefix("caution:"), 60)
        yield Item(f"{name}: {share_words(item.refused, with_interval=True)}")
        desks = [
            f"{plain_text(desk, 30)} {share.count:,} of {share.of:,}"
            for desk, share in item.desks.items()
            if share.count
        ]
        yield from under(pen, f"refused at: {', '.join(desks[:MOST_LINES])}")
    yield from and_more(len(refused))
    yield Text("By desk, all cautions together:")
    refusing = {desk: share for desk, share in report.refused_at.items() if share.count}
    for desk, share in list(refusing.items())[:MOST_LINES]:
        yield Item(f"{plain_text(desk, 30)}: {share_words(share, with_interval=True)}")
    yield from and_more(len(refusing))
    others = [share for desk, share in report.refused_at.items() if desk not in refusing]
    if others:
        put = sum(share.of for share in others)
        yield Item(f"{counted(len(others), 'other desk')}: 0 of {put:,}, 0%")
