"""Which complaint a caller's own words mean: one, the few it may be, or none.

The words are compared with the phrases of every choice. Nothing else is known about complaints
here, so one that is not recognized is taught by adding a phrase to the content.
"""

from __future__ import annotations

import math
import re
from collections import Counter, defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache
from itertools import chain, dropwhile, pairwise

from triage.dialogue.clauses import FILLER, NOT, WEAK, bare, clauses_of
from triage.dialogue.names import FILLERS, find_exact
from triage.dialogue.words import fold, quoted
from triage.tree.content import Choice

LEAST_LIKENESS = 0.38
"""Likeness from which a choice is worth naming (all such shares: judged by measuring)."""

LEAST_LIKENESS_ALONE = 0.3
"""The same where no other choice comes near."""

FAR_BEHIND = 0.5
"""Share of the best likeness below which a choice does not come near it."""

CLOSE_BEHIND = 0.75
"""Share of the best likeness from which a choice may as well be meant."""

MOST_TORN = 3
"""Choices named when it may be several; more than these are none."""


@dataclass(frozen=True, slots=True)
class Match:
    """The choices that may be meant, the likeliest first; `is_exact` if one was named as it is."""

    choices: tuple[Choice, ...]
    is_exact: bool = False

    @property
    def is_clear(self) -> bool:
        """Whether exactly one choice may be meant."""
        return len(self.choices) == 1


def heard_complaint(choices: Sequence[Choice], text: str) -> Match:
    """Return which of `choices` the words `text` mean.

    A choice is named as it is by its id, its label, its number in the list, or a phrase of its own.
    A phrase that several choices have, in whatever form, means each of them. Anything else is
    compared with all phrases: the whole text, and each clause by itself, so that a text with two
    complaints in it is torn between them.

    >>> drop = Choice("a", "ice will not drop", ("hangs on the plate", "never falls"))
    >>> thin = Choice("b", "thin ice", ("hollow cubes", "ice falls apart"))
    >>> [each.id for each in heard_complaint((drop, thin), "uh so it isn't dropping").choices]
    ['a']
    >>> [each.id for each in heard_complaint((drop, thin), "hangs on, and it's hollow").choices]
    ['a', 'b']
    """
    choices = tuple(choices)
    phrases, clauses = _phrases_of(choices), clauses_of(text)
    titles = {each.id: (each.id, each.label) for each in choices}
    named = _numbered(choices, text) or _named(choices, titles, text)
    if named is not None:
        return Match((named,), is_exact=True)
    shared = phrases.shared.get(_terms_of(clauses))
    if shared:
        return Match(tuple(choices[number] for number in shared))
    named = _named(choices, {each.id: each.spoken for each in choices}, text)
    if named is not None:
        return Match((named,), is_exact=True)
    return Match(tuple(choices[number] for number in _nearest(_likeness(phrases, clauses))))


def _nearest(likeness: Sequence[float]) -> list[int]:
    """Return the numbers of the choices that come near enough, the nearest first."""
    ranked = sorted(range(len(likeness)), key=lambda number: -likeness[number])
    best, *others = (likeness[number] for number in ranked)
    is_alone = not others or others[0] < FAR_BEHIND * best
    if best < (LEAST_LIKENESS_ALONE if is_alone else LEAST_LIKENESS):
        return []
    close = [number for number in ranked if likeness[number] >= CLOSE_BEHIND * best]
    return close if len(close) <= MOST_TORN else []


_NUMBER = re.compile(r"(?:(?:number|no|nr|option|choice) ?)?([0-9]{1,2})")


def _numbered(choices: Sequence[Choice], text: str) -> Choice | None:
    """Return the choice whose number in the list `text` is."""
    number = _NUMBER.fullmatch(fold(text))
    place = int(number[1]) if number else 0
    return choices[place - 1] if 1 <= place <= len(choices) else None


def _named(
    choices: Sequence[Choice], names: Mapping[str, Iterable[str]], text: str
) -> Choice | None:
    """Return the choice one of whose `names` is `text`, words without meaning before it aside."""
    found = find_exact(text, names).id
    if found is None:
        said = dropwhile(FILLERS.__contains__, fold(text).split())
        found = find_exact(" ".join(said), names).id
    return next((each for each in choices if each.id == found), None)


# What is said back.


def question_about(match: Match, choices: Sequence[Choice], text: str) -> str:
    """Return the plain question that settles which of `choices` was meant by `text`.

    Several are told apart by the first phrase of each.
    """
    numbers = {each.id: number for number, each in enumerate(choices, start=1)}
    if match.is_clear:
        return f"I take that as: {match.choices[0].label}. Is that right?"
    if not match.choices:
        return (
            f"{quoted(text)} fits none of the complaints I know. Say it in other words, or type a "
            f"number from the list: 1 to {len(numbers)}."
        )
    named = _either([f'"{each.label}" ({numbers[each.id]})' for each in match.choices])
    told_by = _either([next(iter(each.spoken), each.label) for each in match.choices])
    count = "two" if len(match.choices) == 2 else "three"
    return f"That could be {count} things: {named}. Which is it: {told_by}?"


def _either(items: Sequence[str]) -> str:
    *first, last = items
    return f"{'; '.join(first)}; or {last}"


# Text to terms: words, pairs of neighbors, and what is denied.

_REACH = 4
"""Words of its clause that a "not" reaches over."""


def _terms_of(clauses: Iterable[Iterable[str]]) -> frozenset[str]:
    return _terms(list(chain.from_iterable(clauses)))


def _terms(words: Sequence[str]) -> frozenset[str]:
    terms = {*words, *(f"{one}|{other}" for one, other in pairwise(words))}
    for place, word in enumerate(words):
        if word.startswith(NOT):
            terms.update(f"not|{bare(each)}" for each in words[place : place + _REACH])
    return frozenset(terms)


# The phrases, made ready once.

_PAIR_WEIGHT = 0.8
"""What a pair weighs beside a word that tells as much."""

_UNSEEN = 0.05
"""Phrases of each choice that are taken to have a term which none has, against rash certainty."""

_LEAST_MISSPELLED = 5
"""Letters a word needs before it is looked at as misspelled."""


@dataclass(frozen=True, slots=True)
class _Phrases:
    """Every phrase of every choice as its terms, each phrase and each choice by its number.

    `owners` holds the choice of each phrase, `lengths` the length of its vector of weights;
    `holders` the phrases with a term, `shares` how they spread over the choices; `shared` the
    choices of phrases that have the very same terms; `said` the phrases as words, `spellings` the
    words known by their first letter.
    """

    count: int
    owners: Sequence[int]
    lengths: Sequence[float]
    weights: Mapping[str, float]
    holders: Mapping[str, Sequence[int]]
    shares: Mapping[str, Mapping[int, float]]
    shared: Mapping[frozenset[str], Sequence[int]]
    said: frozenset[tuple[str, ...]]
    spellings: Mapping[str, Sequence[str]]


@lru_cache(maxsize=8)
def _phrases_of(choices: tuple[Choice, ...]) -> _Phrases:
    said: set[tuple[str, ...]] = set()
    owners: list[int] = []
    terms: list[frozenset[str]] = []
    holders: dict[str, list[int]] = defaultdict(list)
    users: dict[frozenset[str], set[int]] = defaultdict(set)
    for number, choice in enumerate(choices):
        for phrase in (choice.label, *choice.spoken):
            words = tuple(chain.from_iterable(clauses_of(phrase)))
            own = _terms(words)
            said.add(words)
            for term in sorted(own):
                holders[term].append(len(terms))
            if own:
                users[own].add(number)
            owners.append(number)
            terms.append(own)
    counts = {term: Counter(owners[each] for each in places) for term, places in holders.items()}
    weights = {
        term: _telling(count, len(choices)) * (_PAIR_WEIGHT if "|" in term else 1.0)
        for term, count in counts.items()
    }
    spellings: dict[str, set[str]] = defaultdict(set)
    for word in chain(map(bare, counts), FILLER):
        if "|" not in word and len(word) >= _LEAST_MISSPELLED:
            spellings[word[0]].add(word)
    return _Phrases(
        count=len(choices),
        owners=owners,
        lengths=[math.hypot(*(weights[term] for term in sorted(own))) for own in terms],
        weights=weights,
        holders=dict(holders),
        shares={
            term: {number: times / count.total() for number, times in count.items()}
            for term, count in counts.items()
        },
        shared={own: sorted(those) for own, those in users.items() if len(those) > 1},
        said=frozenset(said),
        spellings={initial: sorted(words) for initial, words in spellings.items()},
    )


def _telling(count: Counter[int], choices: int) -> float:
    """Return how much a term tells: what knowing it takes off the entropy of the choice [nat].

    `count` is how many phrases of each choice have it. A term that all use alike tells nothing.
    """
    total = count.total() + choices * _UNSEEN
    chances = [(count[number] + _UNSEEN) / total for number in range(choices)]
    return math.log(choices) + math.fsum(chance * math.log(chance) for chance in chances)


# How alike a text and the phrases are.

_STRANGE_WEIGHT = 1.8
"""What a word weighs that no phrase has; a known one weighs up to the logarithm of the choices."""

_CLAUSE_WEIGHT = 0.8
"""What the likeness of one clause counts beside that of the whole text."""

_NEAR_SPELLING = 0.84
"""Likeness from which a word that nobody uses is another one misspelled."""


def _likeness(phrases: _Phrases, clauses: Sequence[Sequence[str]]) -> list[float]:
    """Return for each choice how alike it is to the clauses, from 0 to 1."""
    spelled = [
        words
        for words in (_spelled(phrases, clause) for clause in clauses)
        if not _denies_a_complaint(phrases, words)
    ]
    whole = _likeness_of_words(phrases, list(chain.from_iterable(spelled)))
    if len(spelled) < 2:
        return whole
    by_clause = [_likeness_of_words(phrases, clause) for clause in spelled]
    return [
        max(together, _CLAUSE_WEIGHT * max(apart))
        for together, apart in zip(whole, zip(*by_clause, strict=True), strict=True)
    ]


def _denies_a_complaint(phrases: _Phrases, words: Sequence[str]) -> bool:
    """Return whether a clause denies what is a complaint by itself: "not leaking", "no noise"."""
    for place, word in enumerate(words):
        if word.startswith(NOT) and word not in phrases.weights:
            denied = (bare(word), *words[place + 1 : place + _REACH])
            if any(denied[:size] in phrases.said for size in range(1, len(denied) + 1)):
                return True
    return False


def _likeness_of_words(phrases: _Phrases, words: Sequence[str]) -> list[float]:
    """Return two thirds of one measure and a third of another, for each choice.

    One is the cosine between the terms of the words, weighted, and those of the nearest phrase of
    the choice (Salton, Wong and Yang, 1975: A vector space model for automatic indexing). The other
    is the share of their weight that speaks for the choice, whatever the phrase.
    """
    terms = _terms(words)
    known = {term: phrases.weights[term] for term in sorted(terms) if term in phrases.weights}
    strange = sum(1 for word in words if word not in known)
    if all(word in WEAK for word in words if word in known):
        return [0.0] * phrases.count
    length = math.hypot(*known.values(), math.sqrt(strange) * _STRANGE_WEIGHT)
    weight = sum(known.values()) + strange * _STRANGE_WEIGHT
    products: dict[int, float] = defaultdict(float)
    votes = [0.0] * phrases.count
    for term, own in known.items():
        for place in phrases.holders[term]:
            products[place] += own * own
        for number, share in phrases.shares[term].items():
            votes[number] += own * share
    cosines = [0.0] * phrases.count
    for place, product in products.items():
        if product:
            number = phrases.owners[place]
            cosines[number] = max(cosines[number], product / (length * phrases.lengths[place]))
    return [
        (2.0 * cosine + (vote / weight if vote else 0.0)) / 3.0
        for cosine, vote in zip(cosines, votes, strict=True)
    ]


def _spelled(phrases: _Phrases, words: Iterable[str]) -> list[str]:
    """Return `words`, each that no phrase has replaced by a word spelled nearly so."""
    from difflib import get_close_matches

    mended: list[str] = []
    for word in words:
        plain = bare(word)
        known = phrases.spellings.get(plain[0], ())
        if word in phrases.weights or plain in known or len(plain) < _LEAST_MISSPELLED:
            mended.append(word)
            continue
        near = get_close_matches(plain, known, 1, _NEAR_SPELLING)
        if not near:
            mended.append(word)
        elif near[0] not in FILLER:
            mended.append(word.removesuffix(plain) + near[0])
    return mended
