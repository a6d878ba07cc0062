"""Which reading, caution or cause a trainee's words mean; what is not plain is asked, not guessed.

A name is taken where every word that carries meaning belongs to it. Words left over, or several
names that fit alike, give a short list to choose from.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from types import MappingProxyType

from triage.dialogue.heard import readings_heard
from triage.dialogue.names import FILLERS, find_exact, find_named
from triage.dialogue.words import fold, plain_text, word_set
from triage.drill.spoken import ASKED_BY
from triage.tree.content import Content, Reading

MOST_OPTIONS = 6
"""Names offered to choose from."""

LONGEST_LINE = 300
"""Characters of a line looked at."""

MOST_PIECES = 8
"""Readings asked for in one line."""

_ASKING = word_set(
    "what whats which give me tell read reading out measure check look ask get take show can could "
    "would will you please for about do does did they caller him her your my need want know lets "
    "see first again value number next go with have was were how hows let us any there"
)
"""Words that ask, whatever it is that is asked for."""

_GREETINGS = word_set("hi hello hey morning good afternoon thanks thank you there sir")

_HOW_MUCH = re.compile(
    r"how(?:'s| (?:long|thick|hot|warm|cold|much|heavy|many|high|low|far|big|is|are|does|did))\b",
    re.IGNORECASE,
)
"""The beginning of "how long is a freeze", which asks for the reading, not how to take it."""

_SPLIT = re.compile(r"\s*[,;&]\s*|\s+(?:and|then|plus)\s+", re.IGNORECASE)

_LEADING = re.compile(r"^\W*(?:(?:it is|it'?s|is|that|the|an|a)\s+)*", re.IGNORECASE)
"""Words that may stand before a cause."""

_NOT_FILLERS = frozenset({"machine", "model"})
"""Fillers of an answer that name a reading."""

_GROUPS = (frozenset({"freeze", "harvest"}), frozenset({"early", "late"}))
_SAME = MappingProxyType({
    "freezing": "freeze", "harvesting": "harvest", "start": "early", "beginning": "early",
    "end": "late", "temp": "temperature", "press": "pressure", "psi": "pressure", "amb": "ambient",
})  # fmt: skip


@dataclass(frozen=True, slots=True)
class Meant:
    """The ids that are meant for sure, and `options` one of which may be.

    `unheard` are parts of the line that nothing was made of yet.
    """

    ids: tuple[str, ...] = ()
    options: tuple[str, ...] = ()
    unheard: tuple[str, ...] = ()


NOTHING = Meant()


def asked_words(content: Content, reading_id: str) -> tuple[str, ...]:
    """Return everything a reading is called."""
    reading = content.readings[reading_id]
    return (reading_id, reading.name, *reading.spoken, *ASKED_BY.get(reading_id, ()))


def cause_words(content: Content, cause_id: str) -> tuple[str, ...]:
    """Return everything a cause is called, the parts it condemns among it."""
    cause = content.causes[cause_id]
    return (cause_id, cause.name, *cause.spoken, *cause.condemns)


def caution_words(content: Content, caution_id: str) -> tuple[str, ...]:
    """Return everything a caution is called."""
    return caution_id, content.cautions[caution_id].title


def is_how_much(text: str) -> bool:
    """Return whether a line asks for an amount: "how long is a freeze"."""
    return _HOW_MUCH.match(text.strip()) is not None


def readings_meant(text: str, content: Content) -> Meant:
    """Return the readings asked for: one, or several with commas or "and" between them."""
    readings = readings_heard(content)
    names = {each.id: asked_words(content, each.id) for each in readings}
    groups = {each.id: _groups_of(each) for each in readings}
    answers = {each.id: _answers_of(each) for each in readings}
    plain = _HOW_MUCH.sub("", plain_text(text, LONGEST_LINE), count=1)
    whole = _meant(plain, names, groups, answers)
    pieces = [piece for piece in _SPLIT.split(plain) if fold(piece)]
    if whole.ids or not 1 < len(pieces) <= MOST_PIECES:
        return whole
    parts = [_meant(piece, names, groups, answers) for piece in pieces]
    if not all(part.ids or part.options for part in parts):
        return whole
    ids = dict.fromkeys(key for part in parts for key in part.ids)
    unsure = [index for index, part in enumerate(parts) if not part.ids]
    options = parts[unsure[0]].options if unsure else ()
    return Meant(tuple(ids), options, tuple(pieces[index] for index in unsure[1:]))


def caution_meant(text: str, content: Content) -> Meant:
    """Return the caution that a title, or words of it, names; only those of readings count."""
    keys = dict.fromkeys(key for each in readings_heard(content) for key in each.cautions)
    return _meant(text, {key: caution_words(content, key) for key in keys})


def cause_meant(text: str, content: Content) -> Meant:
    """Return the cause meant: for sure by id, name or a usual way to say it, else as an option."""
    names = {key: cause_words(content, key) for key in content.causes}
    sure = {key: (key, cause.name, *cause.spoken) for key, cause in content.causes.items()}
    plain = re.sub(
        r"^\W*(?:it is|its|it's|is|the|a|an|that)\b", "", plain_text(text, LONGEST_LINE)
    ).strip()
    for words in dict.fromkeys((plain, re.sub(r"^(?:the|a|an) ", "", plain))):
        exact = find_exact(words, sure)
        if exact.id:
            return Meant((exact.id,))
    found = _meant(text, names, most=len(names))  # all of them: a guess hangs on it
    return Meant((), found.ids or found.options)


def is_cause_in_full(text: str, content: Content) -> bool:
    """Return whether a text is the whole name or the id of a cause, not only a way to say it."""
    names = {key: (key, cause.name) for key, cause in content.causes.items()}
    plain = plain_text(text, LONGEST_LINE)
    return any(find_exact(words, names).id for words in (plain, _LEADING.sub("", plain)))


def is_only_half_or_time(text: str) -> bool:
    """Return whether a line says nothing but a half of the cycle, or early or late."""
    return set(_core(plain_text(text, LONGEST_LINE))) <= frozenset().union(*_GROUPS)


def among(text: str, options: Mapping[str, tuple[str, ...]]) -> str | None:
    """Return which of the options a choosing line means: its number, or words that fit one."""
    plain = plain_text(text, LONGEST_LINE).strip(" .)#")
    if plain.isascii() and plain.isdigit():
        number = int(plain) if len(plain) < 3 else 0
        return list(options)[number - 1] if 0 < number <= len(options) else None
    core = _core(plain)
    fitting = [
        key for key, names in options.items() if core and set(core) <= set(_words(" ".join(names)))
    ]
    return fitting[0] if len(fitting) == 1 else None


# The comparing.


def _meant(
    text: str,
    names: Mapping[str, tuple[str, ...]],
    groups: Mapping[str, frozenset[str]] = MappingProxyType({}),
    besides: Mapping[str, frozenset[str]] = MappingProxyType({}),
    most: int = MOST_OPTIONS,
) -> Meant:
    """Return which of `names` a text means.

    `groups` is the half of the cycle or the time each belongs to, `most` how many are
    offered. `besides` are words that may stand beside the name of each.
    """
    exact = find_exact(text, names)
    if exact.id:
        return Meant((exact.id,))
    core = _core(text)
    if not core or _GREETINGS.issuperset(core):
        return NOTHING
    said = frozenset().union(*_GROUPS) & frozenset(core)
    every = tuple(_words(text))
    fitting: list[tuple[tuple[int, int, int], str]] = []
    partly: list[tuple[int, str]] = []
    for key, phrases in names.items():
        mine = groups.get(key, frozenset())
        if _is_contrary(mine, said):
            continue
        longest = max(len(phrase) if _holds(core, phrase) else 0 for phrase in map(_core, phrases))
        own = set(_words(" ".join(phrases))) | mine
        if set(core) <= own or (longest and set(core) <= own | besides.get(key, frozenset())):
            # "kind of condenser" rather than "at the condenser", where both come to one word.
            whole = max(
                len(phrase) if _holds(every, phrase) else 0
                for phrase in map(tuple, map(_words, phrases))
            )
            fitting.append(((len(mine & said), longest, whole), key))
        elif longest:
            partly.append((longest, key))
    if fitting:
        best = max(score for score, _ in fitting)
        keys = tuple(key for score, key in fitting if score == best)
        return Meant(keys) if len(keys) == 1 else Meant((), keys[:most])
    if partly:
        longest = max(length for length, _ in partly)
        return Meant((), tuple(key for length, key in partly if length == longest)[:most])
    named = find_named(text, names)
    near = (named.id,) if named.id else named.near
    return Meant((), near[:most])


def _words(text: str) -> list[str]:
    return [_stem(_SAME.get(word, word)) for word in fold(text).split()]


def _stem(word: str) -> str:
    """Return a word without the ending of more than one, roughly."""
    if len(word) > 3 and word.endswith("s") and not word.endswith("ss"):
        return word[:-1]
    return word


_EMPTY = frozenset(map(_stem, FILLERS | _ASKING)) | FILLERS | _ASKING


def _core(text: str) -> tuple[str, ...]:
    """Return the words that carry meaning, in order."""
    words = _words(text)
    for empty in (_EMPTY, _EMPTY - _NOT_FILLERS, frozenset[str]()):
        core = tuple(word for word in words if word not in empty)
        if core:
            return core
    return ()


def _holds(words: tuple[str, ...], phrase: tuple[str, ...]) -> bool:
    """Whether `phrase` stands in `words` in one piece."""
    size = len(phrase)
    return size > 0 and any(
        words[start : start + size] == phrase for start in range(len(words) - size + 1)
    )


def _answers_of(reading: Reading) -> frozenset[str]:
    """Return the words of a reading's answers, as in "is the fan running"."""
    said = (word for choice in reading.choices for word in (choice.label, *choice.spoken))
    return frozenset(_words(" ".join(said)))


def _groups_of(reading: Reading) -> frozenset[str]:
    return frozenset().union(*_GROUPS) & frozenset(_words(f"{reading.id} {reading.name}"))


def _is_contrary(own: Iterable[str], said: Iterable[str]) -> bool:
    """Whether the words said belong to the other half of the cycle, or time, than a reading's."""
    mine, theirs = frozenset(own), frozenset(said)
    return any(group & mine and group & theirs and not group & mine & theirs for group in _GROUPS)
