"""Finding which of several named things a typed text means, without guessing."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Protocol

from triage.dialogue.words import NEGATION, fold, squeeze, word_set

LEAST_PREFIX = 3
"""Characters a beginning needs before it can stand for the whole name."""

TURNING = NEGATION | word_set(
    "but only half except though although however partly part some almost nearly barely hardly "
    "sometimes weak weakly slow slowly if unless maybe"
)
"""Words that turn the meaning of a name they stand behind."""

LEAST_PHRASE_WORDS = 2
"""Words a name needs before it is taken out of a longer text."""

NEAR = 0.72
"""Likeness from which a name is offered as "did you mean"."""

FILLERS = word_set(
    "it its is am s are the a an of at on in to i id im we thats that this there theres "
    "looks look seems seem like just quite really very pretty please still now model "
    "machine unit he she they theyre have has got called says said so um uh well and be "
    "being right same kind type one ok"
)
"""Words that carry no meaning around a name.

None of them weakens what is said: "I was licensed" and "I guess licensed" are not "licensed".
"""

_PLACING = word_set("at of on in to")


class Named(Protocol):
    """What can be called by a name or other words, such as a machine."""

    @property
    def name(self) -> str:
        """Return the name as it is written."""

    @property
    def spoken(self) -> tuple[str, ...]:
        """Return other words people use for it."""


@dataclass(frozen=True, slots=True)
class Found:
    """The id meant, or None with the ids that come near."""

    id: str | None
    near: tuple[str, ...] = ()


def find_exact(text: str, names: Mapping[str, Iterable[str]]) -> Found:
    """Return the id one of whose `names` is `text` but for case, spaces and punctuation.

    >>> find_exact("Thin-all over", {"thin": ("thin all over",), "even": ("even",)}).id
    'thin'
    """
    key = squeeze(text)
    hits = [id_ for id_, own in names.items() if key and any(squeeze(n) == key for n in own)]
    return _settled(hits)


def find_named(
    text: str, names: Mapping[str, Iterable[str]], *, also_filler: Iterable[str] = ()
) -> Found:
    """Return the id that `text` means: exactly, but for filler words, or by a clear beginning.

    Near misses are returned in `near`, nearest first, and never taken. `also_filler` are words
    without meaning in this place, such as those of the question itself.

    >>> find_named("it's running", {"on": ("running",), "off": ("stopped",)}).id
    'on'
    >>> find_named("runing", {"on": ("running",), "off": ("stopped",)})
    Found(id=None, near=('on',))
    """
    known = {id_: tuple(own) for id_, own in names.items()}
    exact = find_exact(text, known)
    if exact.id or exact.near:
        return exact
    filler = FILLERS.union(also_filler)
    if NEGATION.intersection(fold(text).split()):
        # "not all" is not "not at all".
        filler -= _PLACING
    core = _core(text, filler)
    if core:
        found = _settled(
            [id_ for id_, own in known.items() if any(_core(n, filler) == core for n in own)]
        )
        if found.id:
            return found
    key = squeeze(text)
    if len(key) >= LEAST_PREFIX:
        begun = [id_ for id_, own in known.items() if any(squeeze(n).startswith(key) for n in own)]
        if begun:
            return _settled(begun)
    held = _held(text, known)
    return _settled(held) if held else Found(None, _near(text, core, known, filler))


def _held(text: str, known: Mapping[str, tuple[str, ...]]) -> list[str]:
    """Return the ids with a name of two or more words that stands whole in a longer text.

    A "not" before that name, or a "but" behind it, may turn its meaning round, so then nothing is
    found.
    """
    words = f" {fold(text)} "
    hits: dict[str, None] = {}
    for id_, own in known.items():
        for name in own:
            phrase = f" {fold(name)} "
            if phrase.count(" ") <= LEAST_PHRASE_WORDS or phrase not in words:
                continue
            before, _, after = words.partition(phrase)
            if not NEGATION.intersection(before.split()) and not TURNING.intersection(
                after.split()
            ):
                hits[id_] = None
    return list(hits)


def _settled(hits: list[str]) -> Found:
    return Found(hits[0]) if len(hits) == 1 else Found(None, tuple(hits))


def _core(text: str, filler: frozenset[str]) -> tuple[str, ...]:
    words = fold(text).split()
    return tuple(word for word in words if word not in filler) if words else ()


def _near(
    text: str,
    core: tuple[str, ...],
    known: Mapping[str, tuple[str, ...]],
    filler: frozenset[str],
) -> tuple[str, ...]:
    """Return ids whose name holds the words typed, is held by them, or is spelled alike."""
    from difflib import SequenceMatcher

    typed = fold(text)[:80]
    scored: list[tuple[float, int, str]] = []
    for id_, own in known.items():
        best = 0.0
        for name in own:
            words = _core(name, filler)
            if core and words and (set(core) <= set(words) or set(words) <= set(core)):
                best = max(best, 0.9)
            alike = SequenceMatcher(None, typed, fold(name))
            if alike.real_quick_ratio() >= NEAR and alike.quick_ratio() >= NEAR:
                best = max(best, alike.ratio())
        if best >= NEAR:
            scored.append((-best, len(scored), id_))
    return tuple(id_ for _, _, id_ in sorted(scored)[:3])
