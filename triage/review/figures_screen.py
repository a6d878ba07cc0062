"""The figures for a terminal: words and numbers, bars beside them that nothing hangs on."""

from __future__ import annotations

from collections.abc import Iterator, Mapping

from rich.console import RenderableType
from rich.text import Text

from triage.console.cards import Item
from triage.console.look import ChatConsole, Prose, stack
from triage.dialogue.view import Agreement
from triage.dialogue.words import counted, plain_text
from triage.review.figures import (
    CAUTION,
    KINDS,
    Desk,
    QuestionFigures,
    Report,
    Row,
    period_name,
)
from triage.review.figures_ends import ESCALATED, RECOMMENDED, WITHHELD
from triage.review.figures_ends_screen import cautions_refused, without_repair
from triage.review.figures_pen import MOST_LINES, Pen, and_more, note, say, table_of, under
from triage.review.figures_words import percent, share_words, span_words, time_words
from triage.review.measures import Share, Times
from triage.store.listing import OPEN, PARKED, STOPPED
from triage.store.tallies import BIN_S, REPEAT_DAYS

_NARROW = 76
"""Columns below which times are lines of words as well."""

_AGREEMENT_WORDS = {
    Agreement.AGREE.value: "path and ranking agree",
    Agreement.DISAGREE.value: "they disagree",
    Agreement.READINGS.value: "the path left it open, all readings settled it",
    Agreement.OPEN.value: "left open: no cause concluded",
}

_NAMED_WORDS = {
    RECOMMENDED: "Recommended: found as concluded",
    WITHHELD: "Withheld: found as concluded but not told",
    ESCALATED: "Escalated: found as ranked likeliest",
}


def report_card(report: Report, console: ChatConsole) -> RenderableType:
    """Return all sections under each other, for the width and look of `console`."""
    pen = Pen(console)
    parts: list[RenderableType] = []
    for heading, body in (
        ("VOLUMES", _volumes(report, pen)),
        ("TIME TO CONCLUSION", _times(report, pen)),
        ("WHERE CALLS STOP", _stops(report, pen)),
        ("CONCLUSION AGAINST OUTCOME", _outcomes(report, pen)),
        ("PATH AGAINST RANKING", _path_and_ranking(report, pen)),
        ("REPEAT CALLS ON A MACHINE", _repeats(report, pen)),
        ("DESKS", _desks(report, pen)),
        (f"CAUTIONS REFUSED{_months(report)}", cautions_refused(report, pen)),
        (f"QUESTIONS{_months(report)}", _questions(report, pen)),
    ):
        if parts:
            parts.append(Text())
        parts.append(Text(f"{heading}." if pen.is_plain else heading, style="triage.heading"))
        parts.extend(body)
    return stack(*parts)


# Sections.


def _volumes(report: Report, pen: Pen) -> Iterator[RenderableType]:
    figures = report.figures
    calls = counted(report.calls, "call")
    yield say(f"{calls}, started {figures.first:%Y-%m-%d} to {figures.last:%Y-%m-%d} (UTC).")
    if figures.undated:
        yield note(
            f"Left out: {figures.undated:,} without a date (a clock that was not set, or a damaged "
            "beginning)."
        )
    kinds = [*KINDS, *sorted(set(report.kinds) - set(KINDS))]
    yield from pen.counts(
        [
            (plain_text(kind, 40), count, percent(count / report.calls))
            for kind in kinds
            if (count := report.kinds[kind])
        ]
    )
    yield Text(f"By {figures.period}{' (its Monday)' if figures.period == 'week' else ''}:")
    yield from pen.counts(
        [
            (period_name(begins, figures.period), sum(counts.values()), _ends_words(counts))
            for begins, counts in report.by_period.items()
        ]
    )


def _ends_words(counts: Mapping[str, int]) -> str:
    waiting = sum(counts.get(state, 0) for state in (OPEN, STOPPED, PARKED))
    words = [f"{counts[kind]:,} {kind}" for kind in KINDS[:3] if counts.get(kind)]
    return ", ".join([*words, *([f"{waiting:,} not ended"] if waiting else [])])


def _times(report: Report, pen: Pen) -> Iterator[RenderableType]:
    if not report.times.calls:
        yield say("No call has ended yet.")
        return
    yield note(
        f"Time spent on the call, without the time it was parked or stopped; to {BIN_S:g} s."
    )
    groups = {"all that ended": report.times, **report.times_of}
    if pen.is_plain or pen.width < _NARROW:
        for name, times in groups.items():
            yield Item(
                f"{plain_text(name, 40)}: {counted(times.calls, 'call')}; {_quantile_words(times)}"
            )
    else:
        table = table_of("", "calls", "a quarter by", "half by", "three quarters", "nine in ten")
        for name, times in groups.items():
            quantiles = (times.quantile_s(fraction) for fraction in (0.25, 0.5, 0.75, 0.9))
            table.add_row(
                Text(plain_text(name, 40)), f"{times.calls:,}", *map(time_words, quantiles)
            )
        yield Prose(table)
    yield Text("How many took how long:")
    yield from pen.counts(
        [(span_words(a, b), calls, "") for a, b, calls in report.times.wide_bins()]
    )


def _quantile_words(times: Times) -> str:
    words = ("a quarter", "half", "three quarters", "nine in ten")
    return ", ".join(
        f"{word} within {time_words(times.quantile_s(fraction))}"
        for word, fraction in zip(words, (0.25, 0.5, 0.75, 0.9), strict=True)
    )


def _stops(report: Report, pen: Pen) -> Iterator[RenderableType]:
    yield from _not_ended(report, pen)
    yield from without_repair(report)


def _not_ended(report: Report, pen: Pen) -> Iterator[RenderableType]:
    if not report.stops:
        yield say("Every call has ended.")
        return
    stages: dict[str, int] = {}
    for stop in report.stops:
        stages[stop.stage] = stages.get(stop.stage, 0) + stop.all
    waiting = sum(stages.values())
    yield say(f"{waiting:,} of {report.calls:,} calls have not ended. By stage:")
    ordered = sorted(stages.items(), key=lambda item: (-item[1], item[0]))
    yield from pen.counts([(stage, calls, percent(calls / waiting)) for stage, calls in ordered])
    yield Text("By what was asked last:")
    yield from pen.counts(
        [
            (plain_text(stop.node or "(nothing yet)", 44), stop.all, _state_words(stop.calls))
            for stop in report.stops[:MOST_LINES]
        ]
    )
    yield from and_more(len(report.stops))


def _state_words(calls: Mapping[str, int]) -> str:
    return ", ".join(f"{calls[state]:,} {state}" for state in calls)


def _outcomes(report: Report, pen: Pen) -> Iterator[RenderableType]:
    for result, share in report.reported.items():
        yield Item(
            f"{plain_text(result, 40)}: a repair was reported for {share_words(share)}; "
            f"{share.of - share.count:,} without a report yet"
        )
    if not report.rows:
        yield say("No repair is reported yet; triage outcome does it.")
        return
    yield Text("In brackets the 95% confidence interval of the share (Wilson's):")
    for result, words in _NAMED_WORDS.items():
        share = report.agreement.get(result, Share())
        if share.of or report.unclear.get(result):
            unclear = _unclear_words(report.unclear.get(result, 0))
            yield Item(f"{words}: {share_words(share, with_interval=True)}{unclear}")
    cycles = share_words(report.good_cycles, with_interval=True)
    watched = f"; not watched: {report.cycles_not_watched:,}"
    yield Item(f"Two good cycles followed: {cycles}{watched}")
    shown = report.rows[: 2 * MOST_LINES]
    for place, row in enumerate(shown):
        if place == 0 or shown[place - 1].result != row.result:
            yield Text(_row_heading(row), style="triage.heading")
        yield from _row_lines(row, pen)
    if len(report.rows) > len(shown):
        yield note(f"and {len(report.rows) - len(shown):,} more; --json has all.")


def _unclear_words(calls: int) -> str:
    return f"; several faults, not judged: {calls:,}" if calls else ""


def _row_heading(row: Row) -> str:
    return {
        RECOMMENDED: "Cause recommended, and what was found instead:",
        WITHHELD: "Cause concluded but withheld, and what was found instead:",
        ESCALATED: "Escalated, by the cause ranked likeliest, and what was found instead:",
    }.get(row.result, "Not ended:")


def _row_lines(row: Row, pen: Pen) -> Iterator[RenderableType]:
    cause = plain_text(row.cause or "no cause named", 60)
    all_found = sum(row.found.values())
    if row.cause and row.agreement.of:
        words = f"{cause}: {share_words(row.agreement, with_interval=True)}"
    else:
        words = f"{cause}: {all_found:,} reported"
    words += _unclear_words(row.unclear)
    if row.good_cycles.of:
        words += f"; good cycles {share_words(row.good_cycles)}"
    yield Item(words)
    others = {found: calls for found, calls in row.found.items() if found not in row.same}
    if others:
        listed = ", ".join(f"{plain_text(found, 60)} {calls:,}" for found, calls in others.items())
        yield Item(f"found: {listed}", "" if pen.is_plain else "    ")


def _path_and_ranking(report: Report, pen: Pen) -> Iterator[RenderableType]:
    if not report.ended:
        yield say("No call has ended yet.")
        return
    yield from pen.counts(
        [
            (
                _AGREEMENT_WORDS.get(word, plain_text(word, 40) or "not on record"), calls,
                percent(calls / report.ended),
            )
            for word, calls in report.path_and_ranking.items()
        ]
    )  # fmt: skip


def _repeats(report: Report, pen: Pen) -> Iterator[RenderableType]:
    if report.figures.purged:
        are = "have no number and are" if report.figures.purged > 1 else "has no number and is"
        yield note(f"{counted(report.figures.purged, 'purged call')} {are} left out.")
    if not report.repeats.of:
        yield say("No call that ended has the serial number of its machine on record.")
        return
    yield say(
        f"Another call on the same serial number within {REPEAT_DAYS} days followed "
        f"{share_words(report.repeats, with_interval=True)}, of calls that ended and have the "
        "number. The latest may still be followed."
    )
    yield Text("By how the earlier call ended:")
    for (result, cause), share in list(report.repeats_of.items())[:MOST_LINES]:
        name = f"{result} {cause}" if cause else result
        yield Item(f"{plain_text(name, 80)}: {share_words(share, with_interval=True)}")
    yield from and_more(len(report.repeats_of))
    if report.machines:
        yield Text("Machines with most repeats:")
    for item in report.machines:
        machine = f" ({plain_text(item.machine, 40)})" if item.machine else ""
        repeats, calls = counted(item.repeats, "repeat"), counted(item.calls, "call")
        yield Item(f"serial {plain_text(item.serial_number, 40)}{machine}: {repeats}, {calls}")


def _desks(report: Report, pen: Pen) -> Iterator[RenderableType]:
    desks = report.desks[:MOST_LINES]
    if pen.is_wide:
        table = table_of(
            "desk",
            "calls",
            "ended",
            "recommended",
            "withheld",
            "escalated",
            "half by",
            "found as concluded",
        )
        for desk in desks:
            table.add_row(*(Text(cell) for cell in _desk_cells(desk)))
        yield Prose(table)
    else:
        for desk in desks:
            name, _, ended, recommended, withheld, escalated, half, found = _desk_cells(desk)
            calls = counted(desk.calls, "call")
            yield Item(f"{name}: {calls}, {ended} ended, half by {half}")
            yield from under(
                pen,
                f"recommended {recommended}; withheld {withheld}; escalated {escalated}; "
                f"as concluded {found}",
            )
    yield from and_more(len(report.desks))


def _desk_cells(desk: Desk) -> tuple[str, ...]:
    ends = (_short(Share(desk.results.get(kind, 0), desk.ended)) for kind in KINDS[:3])
    return (
        plain_text(desk.name, 30), f"{desk.calls:,}", f"{desk.ended:,}", *ends,
        time_words(desk.times.quantile_s(0.5)), share_words(desk.agreement),
    )  # fmt: skip


def _short(share: Share) -> str:
    return "-" if share.fraction is None else f"{share.count:,} ({percent(share.fraction)})"


def _months(report: Report) -> str:
    """Return the months that cautions and questions are counted over, as part of a heading."""
    return f", IN ALL OF {report.months.upper()}" if report.months else ""


def _questions(report: Report, pen: Pen) -> Iterator[RenderableType]:
    if report.cut_months:
        yield note(
            "These are counted by whole months: all of "
            f"{' and '.join(report.cut_months)} is in them, also what lies outside the span."
        )
    if not report.questions:
        yield say("Nothing was asked.")
        return
    yield note("What held calls longest in all comes first; shares are of the times it was asked.")
    questions = report.questions[:MOST_LINES]
    if pen.is_wide:
        table = table_of(
            "question",
            "asked",
            "held each",
            "in all",
            "unknown",
            "not understood",
            "why, how",
        )
        for question in questions:
            table.add_row(*(Text(cell) for cell in _question_cells(question)))
        yield Prose(table)
    else:
        for question in questions:
            name, asked, each, in_all, unknown, missed, looked = _question_cells(question)
            yield Item(f"{name}: asked {asked}, held {each} each, {in_all} in all")
            what = "" if question.stage == CAUTION else "unknown "
            yield from under(
                pen, f"{what}{unknown}; not understood {missed}; asked why or how {looked}"
            )
    yield from and_more(len(report.questions))


def _question_cells(question: QuestionFigures) -> tuple[str, ...]:
    counts = question.counts
    unknown, missed, looked = (
        f"{count:,}" + ("" if rate is None else f" ({percent(rate)})")
        for count in (counts.unknown, counts.misunderstood, counts.looked)
        for rate in (question.per_asked(count),)
    )
    if question.stage == CAUTION:  # it is never unknown: it is acknowledged or refused
        unknown = f"refused {counts.refused:,} of {counts.asked:,}"
    return (
        plain_text(counts.node, 44), f"{counts.asked:,}", time_words(question.mean_s),
        time_words(counts.seconds), unknown, missed, looked,
    )  # fmt: skip
