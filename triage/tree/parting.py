"""Where conversations with two trees part, found for all of them at once.

One caller answers both trees alike: what a reading showed to one it shows to the other, whenever it
is asked for. An answer that a tree does not know is unknown to it. The two conversations are
followed side by side through pairs of states. An answer that one tree has had and the other may
still ask for is carried along; where both stand at the same state nothing that follows can differ,
and the pair is let go.
"""

from __future__ import annotations

import operator
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass

from triage.tree.content import UNKNOWN
from triage.tree.conversations import Ask, End, States, TooLarge
from triage.tree.paths import Chances

MOST_PAIRS = 100_000
"""Pairs after which two trees are too unlike to be followed side by side (seconds; judged)."""

Answers = tuple[tuple[str, str], ...]
"""Readings and their outcomes."""


@dataclass(frozen=True, slots=True)
class Parted:
    """Conversations that end in one way with the first tree and in another with the second.

    `shares` says of each kind of callers how many of their calls that is. `answers` are those of a
    call with the fewest readings asked for, in their order; the first `alike` of them both trees
    ask for before they part.
    """

    before: str
    after: str
    shares: tuple[float, ...]
    answers: Answers
    alike: int


@dataclass(frozen=True, slots=True)
class Partings:
    """What differs between the conversations with two trees.

    `asks_otherwise` is, for each kind of callers, the share of calls that are asked for other
    readings, or in another order; `ends` has those that end otherwise, the largest share first.
    """

    asks_otherwise: tuple[float, ...]
    ends: tuple[Parted, ...]


Callers = tuple[Sequence[float], Chances]
"""Who may call: the probability of each mode of each cause, and how it shows."""


def partings(
    states: States,
    before: int,
    after: int,
    callers: Sequence[Callers],
    usual: Mapping[str, frozenset[str]],
    most_pairs: int = MOST_PAIRS,
) -> Partings:
    """Return where the conversations that begin in two states part.

    callers: kinds of them, each with the shares and chances of `triage.tree.paths.expected`; an
    outcome without a chance is never drawn, yet followed. usual: outcomes of readings that are
    nothing odd, so that of two examples as short as each other the plainer one is given. Raises
    TooLarge if the trees are too unlike.
    """
    pairs = _Followed(states, before, after, most_pairs)
    asks_otherwise, ended = [], []
    for shares, chances in callers:
        coming = _coming(pairs, shares, chances)
        asks_otherwise.append(sum(coming[pair] for pair in pairs.order if pairs.parts_here(pair)))
        ended.append(coming)
    shortest = _shortest(pairs, usual)
    ends: dict[tuple[str, str], list[_Pair]] = {}
    for pair in pairs.order:
        one, other = states[pair.before], states[pair.after]
        if isinstance(one, End) and isinstance(other, End) and one != other:
            ends.setdefault((one.ending, other.ending), []).append(pair)
    found = []
    for (one_end, other_end), there in ends.items():
        each = tuple(sum(coming[pair] for pair in there) for coming in ended)
        best = min(there, key=lambda pair: shortest[pair].rank)
        found.append(Parted(one_end, other_end, each, *_example(best, shortest)))
    return Partings(tuple(asks_otherwise), in_order(found))


def in_order(found: Iterable[Parted]) -> tuple[Parted, ...]:
    """Return what parts, the largest share first, then the shortest example."""
    return tuple(
        sorted(
            found, key=lambda item: (-max(item.shares), len(item.answers), item.before, item.after)
        )
    )


def told_apart(
    states: States, before: int, after: int, answer: Callable[[str], str]
) -> tuple[Parted, bool]:
    """Return how one caller's conversations with two trees go, and whether they are asked alike.

    answer: the outcome of a reading, the same whenever it is asked for. It has no shares.
    """
    endings: list[str] = []
    asked: list[list[str]] = []
    for start in (before, after):
        asked.append([])
        state = states[start]
        while isinstance(state, Ask):
            asked[-1].append(state.reading)
            state = states[_next(state, answer(state.reading))]
        endings.append(state.ending)
    one, other = asked
    pairs = zip(one, other, strict=False)
    alike = next((place for place, (a, b) in enumerate(pairs) if a != b), min(len(one), len(other)))
    answers = tuple((reading, answer(reading)) for reading in dict.fromkeys((*one, *other)))
    return Parted(endings[0], endings[1], (), answers, alike), one == other


@dataclass(frozen=True, slots=True)
class _Pair:
    """Where both conversations stand, and the answers one has had and the other may ask for."""

    before: int
    after: int
    had: Answers = ()
    has_parted: bool = False


@dataclass(frozen=True, slots=True)
class _Way:
    """The last step of the shortest conversation to a pair, and how much was asked till then."""

    rank: tuple[int, int] = (0, 0)
    source: _Pair | None = None
    answer: tuple[str, str] = ("", "")


class _Followed:
    """The pairs that two conversations come to; `order` has each behind those it is reached from.

    `ways` has the reading that is asked for next, and the pair behind each of its outcomes.
    """

    def __init__(self, states: States, before: int, after: int, most_pairs: int) -> None:
        self._states = states
        # How many questions stand before the nearest one that asks for a reading.
        self._ahead: dict[int, Mapping[str, int]] = {}
        for number in sorted({*states.reached(before), *states.reached(after)}):
            self._ahead[number] = self._readings_from(number)
        self.ways: dict[_Pair, tuple[str, tuple[tuple[str, _Pair], ...]]] = {}
        self.order = self._follow(self._settled(_Pair(before, after)), most_pairs)

    def parts_here(self, pair: _Pair) -> bool:
        """Return whether two conversations that were alike so far go on with other things."""
        return not pair.has_parted and self._is_apart(pair)

    def _readings_from(self, number: int) -> Mapping[str, int]:
        state = self._states[number]
        if isinstance(state, End):
            return {}
        found: dict[str, int] = {}
        for behind in {behind for _, behind in state.ways}:
            for reading, before in self._ahead[behind].items():
                if before + 1 < found.get(reading, before + 2):
                    found[reading] = before + 1
        found[state.reading] = 0
        return found

    def _follow(self, start: _Pair, most_pairs: int) -> list[_Pair]:
        finished: list[_Pair] = []
        waiting: list[tuple[_Pair, bool]] = [(start, False)]
        while waiting:
            pair, is_done = waiting.pop()
            if is_done:
                finished.append(pair)
            elif pair not in self.ways:
                if len(self.ways) == most_pairs:
                    raise TooLarge
                self.ways[pair] = self._ways_from(pair)
                waiting.append((pair, True))
                waiting += [(target, False) for _, target in self.ways[pair][1]]
        return finished[::-1]

    def _ways_from(self, pair: _Pair) -> tuple[str, tuple[tuple[str, _Pair], ...]]:
        if pair.before == pair.after:
            return "", ()
        one, other = self._states[pair.before], self._states[pair.after]
        if isinstance(one, End) and isinstance(other, End):
            return "", ()
        has_parted = pair.has_parted or self._is_apart(pair)
        goes_one, goes_other = self._who_goes_on(pair, one, other)
        asking = [side for side, goes in ((one, goes_one), (other, goes_other)) if goes]
        outcomes = dict.fromkeys(outcome for side in asking for outcome, _ in _ways_of(side))
        reading = _reading_of(asking[0])
        ways = []
        for outcome in outcomes:
            target = _Pair(
                _next(one, outcome) if goes_one else pair.before,
                _next(other, outcome) if goes_other else pair.after,
                (*pair.had, (reading, outcome)),
                has_parted,
            )
            ways.append((outcome, self._settled(target)))
        return reading, tuple(ways)

    def _is_apart(self, pair: _Pair) -> bool:
        """Return whether one side puts another question than the other, or none."""
        return _reading_of(self._states[pair.before]) != _reading_of(self._states[pair.after])

    def _who_goes_on(self, pair: _Pair, one: Ask | End, other: Ask | End) -> tuple[bool, bool]:
        """Return which sides take the next answer.

        Where they ask for different things it is the side that is nearer to what the other asks
        for, or will never ask for it: so the fewest answers have to be carried along.
        """
        if isinstance(one, End) or isinstance(other, End):
            return isinstance(one, Ask), isinstance(other, Ask)
        if one.reading == other.reading:
            return True, True
        if one.reading not in self._ahead[pair.after]:
            return True, False
        one_away = self._ahead[pair.before].get(other.reading, 0)
        goes_one = 0 < one_away <= self._ahead[pair.after][one.reading]
        return goes_one, not goes_one

    def _settled(self, pair: _Pair) -> _Pair:
        """Return the pair after both sides took what was had, with what may still be asked for."""
        had = dict(pair.had)
        before, after = self._gone_on(pair.before, had), self._gone_on(pair.after, had)
        ahead = (self._ahead[before], self._ahead[after]) if before != after else ()
        kept = sorted(item for item in had.items() if any(item[0] in each for each in ahead))
        return _Pair(before, after, tuple(kept), pair.has_parted)

    def _gone_on(self, number: int, had: Mapping[str, str]) -> int:
        state = self._states[number]
        while isinstance(state, Ask) and state.reading in had:
            number = _next(state, had[state.reading])
            state = self._states[number]
        return number


def _ways_of(state: Ask | End) -> tuple[tuple[str, int], ...]:
    return state.ways if isinstance(state, Ask) else ()


def _reading_of(state: Ask | End) -> str:
    return state.reading if isinstance(state, Ask) else ""


def _next(state: Ask | End, outcome: str) -> int:
    ways = dict(_ways_of(state))
    return ways[outcome] if outcome in ways else ways[UNKNOWN]


def _coming(pairs: _Followed, shares: Sequence[float], chances: Chances) -> dict[_Pair, float]:
    """Return the share of calls that come to each pair."""
    none = [0.0] * len(shares)
    masses = {pairs.order[0]: list(shares)}
    coming: dict[_Pair, float] = {}
    for pair in pairs.order:
        mass = masses.pop(pair, none)
        coming[pair] = sum(mass)
        if coming[pair] == 0.0:
            continue
        reading, ways = pairs.ways[pair]
        for outcome, target in ways:
            going = map(operator.mul, mass, chances[reading].get(outcome, none))
            masses[target] = list(map(operator.add, masses.get(target, none), going))
    return coming


def _shortest(pairs: _Followed, usual: Mapping[str, frozenset[str]]) -> dict[_Pair, _Way]:
    """Return for each pair the shortest conversation to it, the plainest of several."""
    found = {pairs.order[0]: _Way()}
    for pair in pairs.order:
        reading, ways = pairs.ways[pair]
        asked, odd = found[pair].rank
        for outcome, target in ways:
            rank = (asked + 1, odd + (outcome not in usual.get(reading, frozenset())))
            if target not in found or rank < found[target].rank:
                found[target] = _Way(rank, pair, (reading, outcome))
    return found


def _example(pair: _Pair, shortest: Mapping[_Pair, _Way]) -> tuple[Answers, int]:
    """Return the answers on the shortest way to a pair, and how many of them both ask for alike."""
    answers: list[tuple[str, str]] = []
    alike = 0
    way = shortest[pair]
    while way.source is not None:
        answers.append(way.answer)
        alike += not pair.has_parted
        pair, way = way.source, shortest[way.source]
    return tuple(reversed(answers)), alike
