"""Rules of a careful call: what was entered, how long it took, how it was followed up."""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from itertools import pairwise

from triage.dialogue.case import Case
from triage.dialogue.doubts import doubt_about
from triage.dialogue.events import (
    Answered,
    Concluded,
    Declined,
    NotUnderstood,
    Offered,
    Refused,
    RepairReported,
    Resumed,
    Started,
    TakenBack,
)
from triage.dialogue.judge import fitting
from triage.dialogue.repair import Comparison, compared, comparison_words, missing_parts
from triage.dialogue.view import ODD
from triage.dialogue.words import quoted, unknown_reason
from triage.review.audit_call import Breach, Rule, Step, StoredCall, Weight, time_words
from triage.review.audit_safety import RECOMMENDED

LEAST_HELD_S = 300.0
"""A question that held a call no longer than this is no time sink [s]; judged."""

TIMES_ITS_MINUTES = 3.0
"""How many times the minutes a reading is said to take it may hold a call (judged)."""

OUTCOME_WITHIN = timedelta(days=14)
"""How long a repair may take until it is reported (judged)."""

OPEN_WITHIN = timedelta(days=1)
"""How long a call may lie without an end, counted from when it was due (judged)."""

OFTEN_NOT_UNDERSTOOD = 3
"""So many lines not understood at one question are too many (judged)."""

_CONDITION = re.compile(r"\b(if|where|when|unless)\b", re.IGNORECASE)

_ODD = {verdict.value for verdict in ODD}

NO_REASON = ("", unknown_reason("?"))
"""What stands in the record where nobody said why a reading could not be had."""


def entered_twice(call: StoredCall) -> Iterator[Breach]:
    """Yield readings that counted with one value and later with another, or were given up."""
    first: dict[str, tuple[Step, Answered]] = {}
    for step in call.of(Answered):
        answer = step.event
        if not isinstance(answer, Answered):
            continue
        before = first.get(answer.reading)
        if before is None:
            if answer.value is not None:
                first[answer.reading] = (step, answer)
            continue
        earlier, was = before
        # The same words at another altitude are the same reading.
        if was.value != answer.value and was.typed != answer.typed:
            first[answer.reading] = (step, answer)
            now = quoted(_said(answer)) if answer.value is not None else "unknown"
            yield (
                step,
                f"{call.reading_name(answer.reading)} was entered as {quoted(_said(was))} "
                f"(event {earlier.sequence}), "
                f"then as {now}",
            )


def _said(answer: Answered) -> str:
    return answer.typed or str(answer.value)


def implausible_accepted(call: StoredCall) -> Iterator[Breach]:
    """Yield doubtful values that were asked about and counted on a yes."""
    waiting: tuple[Offered, Answered, Step] | None = None
    for step in call.of(Offered, Answered, Declined, TakenBack):
        event = step.event
        if isinstance(event, Offered):
            is_doubtful = bool(event.doubt and event.items)
            waiting = (event, Answered(**event.items[0]), step) if is_doubtful else None
            continue
        if isinstance(event, Answered) and waiting is not None:
            offered, answer, asked = waiting
            is_same = (event.reading, event.value) == (answer.reading, answer.value)
            if is_same and _is_about_the_value(call, asked, answer):
                yield (
                    step,
                    f"{call.reading_name(answer.reading)} counts on a yes to: {offered.doubt}",
                )
        waiting = None


def _is_about_the_value(call: StoredCall, asked: Step, answer: Answered) -> bool:
    """Whether the value was in doubt, and not only what the words meant."""
    case = fitting(call.content, replace(asked.before, offered=(answer,)))
    if not case.offered:
        return isinstance(answer.value, float)
    if doubt_about(call.content, replace(case, offered=(), doubt=""), answer):
        return True
    return isinstance(answer.value, float) and asked.content_version != call.content.version


def unknown_without_reason(call: StoredCall) -> Iterator[Breach]:
    """Yield readings that could not be had, nobody knows why."""
    for step in call.of(Answered):
        answer = step.event
        if isinstance(answer, Answered) and answer.value is None and answer.reason in NO_REASON:
            yield step, f"{call.reading_name(answer.reading)} is unknown and no reason was given"


def caution_refused(call: StoredCall) -> Iterator[Breach]:
    """Yield each caution that was refused, once on the way and once at the gate."""
    seen = set()
    for step in call.of(Refused):
        if not isinstance(step.event, Refused):
            continue
        key = step.event.caution, bool(step.event.seal)
        if key not in seen:
            seen.add(key)
            caution = call.content.cautions.get(step.event.caution)
            title = caution.title if caution else step.event.caution
            where = "at the gate" if step.event.seal else "before a reading"
            desk = call.desk_at(step) or "an agent without a name"
            yield step, f'the caution "{title}" was refused {where}, with {desk} at the desk'


def time_sink(call: StoredCall) -> Iterator[Breach]:
    """Yield questions that held the call far longer than they take; parked time does not count."""
    for visit in call.visits():
        question = call.question(visit.node)
        reading = call.content.readings.get(question.reading) if question else None
        minutes = reading.minutes if reading else 0.0
        limit_s = max(LEAST_HELD_S, TIMES_ITS_MINUTES * 60.0 * minutes)
        held_s = visit.held_s
        if held_s > limit_s:
            lines = sum(isinstance(step.event, NotUnderstood) for step in visit.inside)
            unclear = f"; {lines} lines were not understood" if lines > 1 else ""
            yield (
                visit.asked,
                f"{call.node_words(visit.node)} held the call for {time_words(held_s)}, "
                f"more than {time_words(limit_s)}{unclear}",
            )


def often_not_understood(call: StoredCall) -> Iterator[Breach]:
    """Yield questions at which line after line could not be used."""
    for visit in call.visits():
        lost = [step for step in visit.inside if isinstance(step.event, NotUnderstood)]
        if len(lost) >= OFTEN_NOT_UNDERSTOOD and isinstance(lost[0].event, NotUnderstood):
            yield (
                lost[-1],
                f"{len(lost)} lines were not understood at {call.node_words(visit.node)}, "
                f"the first {quoted(lost[0].event.typed)}",
            )


def resumed_under_other_content(call: StoredCall) -> Iterator[Breach]:
    """Yield where a call went on with other content than it was held with until then."""
    version = ""
    for step in call.of(Started, Resumed):
        event = step.event
        if not isinstance(event, (Started, Resumed)):
            continue
        if version and event.content_version != version:
            yield (
                step,
                f"the call went on with content {event.content_version[:12]}; until then it was "
                f"held with {version[:12]}",
            )
        version = event.content_version


def clock_set_back(call: StoredCall) -> Iterator[Breach]:
    """Yield events stamped earlier than the one before them."""
    for before, step in pairwise(call.steps):
        if step.at < before.at:
            back = time_words((before.at - step.at).total_seconds())
            yield step, f"it is stamped {back} earlier than event {before.sequence} before it"


def no_outcome(call: StoredCall) -> Iterator[Breach]:
    """Yield a repair that was told long ago and that nobody reported on."""
    end = call.end
    if end is None or not isinstance(end.event, Concluded) or call.case.repair is not None:
        return
    age = call.now - end.at
    if end.event.result == RECOMMENDED and age > OUTCOME_WITHIN:
        yield (
            end,
            f"the repair was told {time_words(age.total_seconds())} ago and nobody reported what "
            "came of it; triage outcome takes the report",
        )


def left_open(call: StoredCall) -> Iterator[Breach]:
    """Yield a call that lies without an end."""
    if call.end is not None or not call.steps:
        return
    last = call.steps[-1]
    due = _due_at(call.case)
    since = max(step_at for step_at in (last.at, due) if step_at is not None)
    age = call.now - since
    if age > OPEN_WITHIN:
        where = call.node_words(call.case.asked[-1]) if call.case.asked else "its start"
        was = "was due" if since == due and due != last.at else "was touched last"
        yield (
            last,
            f"the call stands at {where} without an end; it {was} "
            f"{time_words(age.total_seconds())} ago",
        )


def _due_at(case: Case) -> datetime | None:
    if case.parked is None:
        return None
    try:
        due = datetime.fromisoformat(case.parked.due_at)
    except ValueError:
        return None
    return due if due.tzinfo else due.replace(tzinfo=UTC)


def conclusion_was_wrong(call: StoredCall) -> Iterator[Breach]:
    """Yield a last report that found other than the call concluded."""
    for step, report in _last_report(call):
        concluded = call.case.concluded
        if compared(concluded, report.found, call.content) is Comparison.OTHER:
            words = comparison_words(concluded, report.found, call.content)
            yield step, words.removesuffix(".")


def repair_did_not_hold(call: StoredCall) -> Iterator[Breach]:
    """Yield, once a call, what the last report says against the repair."""
    for step, report in _last_report(call):
        against = []
        if report.had_two_good_cycles is False:
            against.append("two good cycles did not follow the repair")
        odd = [
            str(item.get("reading", "")) for item in report.readings if item.get("verdict") in _ODD
        ]
        if odd:
            against.append(f"out of its band after the repair: {call.readings_named(odd)}")
        if against:
            yield step, "; ".join(against)


def _last_report(call: StoredCall) -> Iterator[tuple[Step, RepairReported]]:
    """Yield the report that counts, nothing if there is none."""
    for step in reversed(call.steps):
        if isinstance(step.event, RepairReported):
            yield step, step.event
            return


def good_cycles_not_watched(call: StoredCall) -> Iterator[Breach]:
    """Yield a report that does not say whether two good cycles followed."""
    for step, report in _last_report(call):
        if report.had_two_good_cycles is None:
            yield step, "nobody watched whether two good cycles followed the repair"


def parts_left_in(call: StoredCall) -> Iterator[Breach]:
    """Yield parts that are replaced together and were not; those on a condition are passed over."""
    for step, report in _last_report(call):
        causes = {
            name: replace(cause, replace_together=tuple(filter(_is_always, cause.replace_together)))
            for name, cause in call.content.causes.items()
            if name in report.found
        }
        content = replace(call.content, causes=causes)
        for sentence in missing_parts(content, report.found, report.parts):
            yield step, sentence.removesuffix(".")


def _is_always(part: str) -> bool:
    """Whether a part is replaced whatever is found: the record does not tell what was found.

    >>> _is_always("filter drier"), _is_always("only if it gives no air: air pump")
    (True, False)
    """
    return _CONDITION.search(part) is None


CARE_RULES = (
    Rule(
        "implausible_accepted", Weight.JUDGEMENT,
        "no doubtful value counts on a mere yes",
        "A number that can hardly be true, taken all the same, can turn the conclusion.",
        implausible_accepted,
    ),
    Rule(
        "entered_twice", Weight.JUDGEMENT,
        "no reading entered with two values",
        "Two values of one reading: a slip, or a reading made to fit. The reviewer should know "
        "which.",
        entered_twice,
    ),
    Rule(
        "unknown_without_reason", Weight.CARE,
        "every reading that could not be had has a reason",
        "Why it could not be had tells whether to send a gauge, a ladder or a lesson.",
        unknown_without_reason,
    ),
    Rule(
        "caution_refused", Weight.CARE,
        "no caution is refused",
        "A no is the caller's right, and the call goes without that reading or repair. A desk that "
        "has many reads cautions badly, or past people.",
        caution_refused,
    ),
    Rule(
        "time_sink", Weight.CARE,
        "no question holds the call far longer than it takes",
        "A line is held while nothing is learned. Park the call, or word the question better.",
        time_sink,
    ),
    Rule(
        "often_not_understood", Weight.CARE,
        "no question at which line after line is not understood",
        "Caller and program talk past each other: a word is missing in the content, or a lesson.",
        often_not_understood,
    ),
    Rule(
        "resumed_under_other_content", Weight.CARE,
        "a call is held with one content from start to end",
        "Its first half was asked and judged by other rules than its second.",
        resumed_under_other_content,
    ),
    Rule(
        "clock_set_back", Weight.CARE,
        "no event is stamped earlier than the one before it",
        "A desk's clock was set back, so times in this call cannot be trusted.",
        clock_set_back,
    ),
    Rule(
        "left_open", Weight.FOLLOW_UP,
        "no call lies without an end for more than a day",
        "A machine stands still, and somebody waits for a call that nobody makes.",
        left_open,
    ),
    Rule(
        "no_outcome", Weight.FOLLOW_UP,
        "what came of a repair is reported within two weeks",
        "Without outcomes nobody learns whether the advice was right, and priors stay guesses.",
        no_outcome,
    ),
    Rule(
        "conclusion_was_wrong", Weight.FOLLOW_UP,
        "the repair found what was concluded",
        "A wrong conclusion sends the wrong part. Replay the call and look at its readings.",
        conclusion_was_wrong,
    ),
    Rule(
        "repair_did_not_hold", Weight.FOLLOW_UP,
        "two good cycles follow the repair, all readings in their bands",
        "The machine comes back to the phone: the repair was not finished, or not the right one.",
        repair_did_not_hold,
    ),
    Rule(
        "good_cycles_not_watched", Weight.FOLLOW_UP,
        "two cycles are watched after a repair",
        "A repair is proven by two good cycles and by nothing else.",
        good_cycles_not_watched,
    ),
    Rule(
        "parts_left_in", Weight.FOLLOW_UP,
        "parts that are replaced together were",
        "The part that was left in takes the new one with it, and the caller back to the phone.",
        parts_left_in,
    ),
)  # fmt: skip
"""Rules about care and follow-up."""
