"""What the counts of the record say: rates, times, a confusion table. Pure."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from enum import StrEnum

from triage.dialogue.events import FOUND_NO_FAULT
from triage.review.figures_cautions import (
    NAMELESS,
    CautionFigures,
    cautions_by_desk,
    cautions_of,
)
from triage.review.figures_ends import ESCALATED, RECOMMENDED, WITHHELD, Ends, ends_of
from triage.review.measures import Share, Times
from triage.store.listing import OPEN, PARKED, SEVERAL_FAULTS, STOPPED
from triage.store.tallies import (
    NOT_ENDED_BIN,
    EndCount,
    Figures,
    MachineRepeats,
    OutcomeCount,
    Period,
    QuestionCount,
)
from triage.tree.content import Content, Side, Tree

KINDS = (RECOMMENDED, WITHHELD, ESCALATED, OPEN, STOPPED, PARKED)
"""How calls end, and how they stand that have not."""

CAUTION = "caution"
ELSEWHERE = "not in today's content"


class Match(StrEnum):
    """How what a repair found compares with the cause a call named."""

    SAME = "same"
    OTHER = "other"
    UNCLEAR = "unclear"
    """Several faults were found: the list does not tell whether this one was among them."""


@dataclass(frozen=True, slots=True)
class Row:
    """Calls that ended with one cause named, and what repairs found; `same` is what counts as it.

    `result` is how they ended: `cause` was told (recommended), or reached and not told (withheld),
    or only ranked likeliest (escalated); it is empty where no cause was named.
    """

    result: str
    cause: str
    found: Mapping[str, int]
    same: frozenset[str]
    agreement: Share
    unclear: int
    good_cycles: Share


@dataclass(frozen=True, slots=True)
class Stop:
    """Where calls stand that have not ended; `stage` is that of the question in today's content."""

    node: str
    stage: str
    calls: Mapping[str, int]

    @property
    def all(self) -> int:
        """How many calls stand there, in whatever state."""
        return sum(self.calls.values())


@dataclass(frozen=True, slots=True)
class Desk:
    """What one desk did; of names that differ in case alone the first one is shown."""

    name: str
    calls: int
    results: Mapping[str, int]
    times: Times
    agreement: Share

    @property
    def ended(self) -> int:
        """How many of its calls have ended."""
        return sum(self.results.values())


@dataclass(frozen=True, slots=True)
class QuestionFigures:
    """How one question or caution went."""

    counts: QuestionCount
    stage: str

    @property
    def mean_s(self) -> float | None:
        """How long it held a call each time it was asked [s]; None if it never was."""
        return self.per_asked(self.counts.seconds)

    def per_asked(self, amount: float) -> float | None:
        """Return how much of something there is each time it was asked; None if it never was.

        Of counts it may be over 1: a question can be misunderstood twice before it is answered.
        """
        return amount / self.counts.asked if self.counts.asked else None


@dataclass(frozen=True, slots=True)
class Report:
    """Everything `triage log figures` tells; see `Figures` for the span and how it counts."""

    figures: Figures
    kinds: Mapping[str, int]
    by_period: Mapping[date, Mapping[str, int]]
    times: Times
    times_of: Mapping[str, Times]
    stops: tuple[Stop, ...]
    rows: tuple[Row, ...]
    found: tuple[str, ...]
    agreement: Mapping[str, Share]
    unclear: Mapping[str, int]
    good_cycles: Share
    cycles_not_watched: int
    reported: Mapping[str, Share]
    path_and_ranking: Mapping[str, int]
    causes: Mapping[str, int]
    repeats: Share
    repeats_of: Mapping[tuple[str, str], Share]
    machines: tuple[MachineRepeats, ...]
    desks: tuple[Desk, ...]
    questions: tuple[QuestionFigures, ...]
    cut_months: tuple[str, ...]
    cautions: tuple[CautionFigures, ...]
    refused_at: Mapping[str, Share]
    without_repair: Ends

    @property
    def months(self) -> str:
        """Which months questions and cautions are counted over, empty for all there are."""
        since, until = self.figures.since, self.figures.until
        first = f"{since.astimezone(UTC):%Y-%m}" if since else ""
        last = f"{(until - timedelta(microseconds=1)).astimezone(UTC):%Y-%m}" if until else ""
        if first == last:
            return first
        if first and last:
            return f"{first} to {last}"
        return f"{first} on" if first else f"up to {last}"

    @property
    def calls(self) -> int:
        """How many calls started in the span."""
        return sum(self.kinds.values())

    @property
    def ended(self) -> int:
        """How many of them have ended."""
        return sum(end.calls for end in self.figures.ends)


def report_of(figures: Figures, content: Content) -> Report:
    """Return what `figures` say; `content` tells stages, and which causes an ending names."""
    matching = _Matching(content)
    kinds: Counter[str] = Counter(dict.fromkeys(KINDS, 0))
    by_period: dict[date, Counter[str]] = {}
    for item in sorted(figures.volumes, key=lambda one: one.begins):
        kind = item.result or item.state
        kinds[kind] += item.calls
        by_period.setdefault(item.begins, Counter())[kind] += item.calls
    ended = Counter[str]()
    for end in sorted(figures.ends, key=lambda one: _kind_place(one.result)):
        ended[end.result] += end.calls
    times_of = {
        result: Times.of((one.bin, one.calls) for one in figures.times if one.result == result)
        for result in ended
    }
    rows = _rows(figures.outcomes, matching)
    reported = Counter[str]()
    cycles = Counter[bool | None]()
    for outcome in figures.outcomes:
        reported[outcome.result] += outcome.calls
        cycles[outcome.had_two_good_cycles] += outcome.calls
    return Report(
        figures,
        kinds,
        by_period,
        Times.of((one.bin, one.calls) for one in figures.times if one.bin != NOT_ENDED_BIN),
        times_of,
        _stops(figures, content),
        rows,
        tuple(_by_count(Counter(_found_in(rows)))),
        {result: _sum(row.agreement for row in rows if row.result == result) for result in ended},
        {result: sum(row.unclear for row in rows if row.result == result) for result in ended},
        Share(cycles[True], cycles[True] + cycles[False]),
        cycles[None],
        {result: Share(reported[result], calls) for result, calls in ended.items()},
        _counted((end.agreement, end.calls) for end in figures.ends),
        _counted((end.cause, end.calls) for end in figures.ends if end.result == RECOMMENDED),
        *_repeats(figures),
        figures.machines,
        _desks(figures, matching),
        _questions(figures, content),
        tuple(_cut_months(figures.since, figures.until)),
        cautions_of(figures.cautions),
        cautions_by_desk(figures.cautions),
        ends_of(figures.endings, content),
    )


# Conclusion against outcome.


class _Matching:
    """Knows which causes a call named, and whether what was found is one of them."""

    def __init__(self, content: Content) -> None:
        self._sound = {cause.id for cause in content.causes.values() if cause.side is Side.NONE}
        self._several = {
            ending.id: frozenset(ending.causes)
            for tree in content.trees.values()
            for ending in tree.endings.values()
            if len(ending.causes) > 1
        }

    def match(self, item: OutcomeCount) -> Match | None:
        """Return how outcome and named cause compare; None where no cause was named."""
        named = _named(item)
        if not named:
            return None
        if item.outcome == SEVERAL_FAULTS:
            return Match.UNCLEAR
        several = self._several.get(item.ending, frozenset()) if item.cause else frozenset()
        is_same = item.outcome == named or (named in several and item.outcome in several)
        is_sound = item.outcome == FOUND_NO_FAULT and named in self._sound
        return Match.SAME if is_same or is_sound else Match.OTHER


def _named(item: OutcomeCount) -> str:
    return item.cause or item.likeliest


def _rows(outcomes: Iterable[OutcomeCount], matching: _Matching) -> tuple[Row, ...]:
    found: dict[tuple[str, str], Counter[str]] = {}
    matches: dict[tuple[str, str], Counter[Match | None]] = {}
    cycles: dict[tuple[str, str], Counter[bool | None]] = {}
    same: dict[tuple[str, str], set[str]] = {}
    for item in outcomes:
        key = item.result, _named(item)
        if matching.match(item) is Match.SAME:
            same.setdefault(key, set()).add(item.outcome)
        found.setdefault(key, Counter())[item.outcome] += item.calls
        matches.setdefault(key, Counter())[matching.match(item)] += item.calls
        cycles.setdefault(key, Counter())[item.had_two_good_cycles] += item.calls
    rows = (
        Row(
            *key,
            _by_count(found[key]),
            frozenset(same.get(key, ())),
            Share(matches[key][Match.SAME], matches[key][Match.SAME] + matches[key][Match.OTHER]),
            matches[key][Match.UNCLEAR],
            Share(cycles[key][True], cycles[key][True] + cycles[key][False]),
        )
        for key in found
    )
    return tuple(
        sorted(rows, key=lambda row: (_kind_place(row.result), -sum(row.found.values()), row.cause))
    )


def _found_in(rows: Iterable[Row]) -> dict[str, int]:
    added: Counter[str] = Counter()
    for row in rows:
        added.update(row.found)
    return added


# Stops, repeats, desks, questions.


def _stops(figures: Figures, content: Content) -> tuple[Stop, ...]:
    calls: dict[str, Counter[str]] = {}
    for item in figures.stops:
        calls.setdefault(item.node, Counter())[item.state] += item.calls
    stops = (Stop(node, _stage(node, content), states) for node, states in calls.items())
    return tuple(sorted(stops, key=lambda stop: (-stop.all, stop.node)))


def _stage(node: str, content: Content) -> str:
    if node.startswith(f"{CAUTION}:"):
        return CAUTION
    trees: Iterable[Tree] = content.trees.values()
    stages = (tree.questions[node].stage.value for tree in trees if node in tree.questions)
    return next(stages, ELSEWHERE if node else "before the first question")


def _repeats(figures: Figures) -> tuple[Share, dict[tuple[str, str], Share]]:
    identified: Counter[tuple[str, str]] = Counter()
    for end in figures.ends:
        identified[_key_of(end)] += end.identified
    followed = Counter({(item.result, item.cause): item.calls for item in figures.followed})
    shares = {
        key: Share(followed[key], calls) for key, calls in identified.items() if calls and key[0]
    }
    ordered = sorted(shares.items(), key=lambda item: (-item[1].count, -item[1].of, item[0]))
    return _sum(shares.values()), dict(ordered)


def _key_of(end: EndCount) -> tuple[str, str]:
    return end.result, end.cause


def _desks(figures: Figures, matching: _Matching) -> tuple[Desk, ...]:
    names: dict[str, str] = {}
    results: dict[str, Counter[str]] = {}
    bins: dict[str, list[tuple[int, int]]] = {}
    calls: Counter[str] = Counter()
    for one in figures.times:
        key = one.desk.casefold()
        names.setdefault(key, one.desk or NAMELESS)
        calls[key] += one.calls
        of_desk = results.setdefault(key, Counter())
        if one.bin != NOT_ENDED_BIN:
            of_desk[one.result] += one.calls
            bins.setdefault(key, []).append((one.bin, one.calls))
    same: Counter[str] = Counter()
    judged: Counter[str] = Counter()
    for item in figures.outcomes:
        match = matching.match(item) if item.result == RECOMMENDED else None
        if match in (Match.SAME, Match.OTHER):
            judged[item.desk.casefold()] += item.calls
            same[item.desk.casefold()] += item.calls if match is Match.SAME else 0
    desks = (
        Desk(
            name, calls[key], results[key], Times.of(bins.get(key, [])),
            Share(same[key], judged[key]),
        )
        for key, name in names.items()
    )  # fmt: skip
    return tuple(sorted(desks, key=lambda desk: (-desk.calls, desk.name)))


def _questions(figures: Figures, content: Content) -> tuple[QuestionFigures, ...]:
    found = (QuestionFigures(item, _stage(item.node, content)) for item in figures.questions)
    kept = (item for item in found if item.counts.node)
    return tuple(sorted(kept, key=lambda item: (-item.counts.seconds, item.counts.node)))


def _cut_months(since: datetime | None, until: datetime | None) -> Iterable[str]:
    """Yield the months that the span has a part of only: counts of questions are of all of it."""
    named = []
    for edge in (since, until):
        if edge is None:
            continue
        at = edge.astimezone(UTC)
        if at != at.replace(day=1, hour=0, minute=0, second=0, microsecond=0):
            named.append(f"{at:%Y-%m}")
    return dict.fromkeys(named)


def period_name(begins: date, period: Period) -> str:
    """Return how a period is written: `2026-11`, `2026`, or a week's Monday.

    >>> period_name(date(2026, 11, 1), Period.MONTH)
    '2026-11'
    """
    whole = begins.isoformat()
    return {Period.WEEK: whole, Period.MONTH: whole[:7], Period.YEAR: whole[:4]}[period]


# Sums.


def _kind_place(kind: str) -> tuple[int, str]:
    return (KINDS.index(kind) if kind in KINDS else len(KINDS), kind)


def _sum(shares: Iterable[Share]) -> Share:
    return sum(shares, Share())


def _by_count(counts: Mapping[str, int]) -> dict[str, int]:
    return dict(sorted(counts.items(), key=lambda item: (-item[1], item[0])))


def _counted(items: Iterable[tuple[str, int]]) -> dict[str, int]:
    added: Counter[str] = Counter()
    for key, calls in items:
        added[key] += calls
    return _by_count(added)
