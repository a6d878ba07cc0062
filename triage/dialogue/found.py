"""Which fault a repair found, from the words people use: never by guess. Pure."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence

from triage.dialogue.events import FOUND_NO_FAULT, FOUND_OTHER
from triage.dialogue.names import FILLERS, Found, find_exact, find_named
from triage.dialogue.words import fold
from triage.tree.content import Content

_OTHER_NAMES: Mapping[str, tuple[str, ...]] = {
    FOUND_NO_FAULT: (
        FOUND_NO_FAULT, "no fault found", "no fault", "nothing", "nothing found", "nothing wrong",
    ),
    FOUND_OTHER: (FOUND_OTHER, "other fault", "another fault", "something else", "other"),
}  # fmt: skip

_LEAST_STEM = 4
"""Letters from which a word stands for a longer one too: leak for leaking (judged)."""


def found_in(text: str, content: Content, first: Sequence[str] = ()) -> Found:
    """Return which fault `text` names in full, or the ids that come near.

    In full is by id, name or spoken word. What was found feeds the priors, so nothing is guessed:
    part of a name, a slip and a word that two causes share are near only. Those of `first`, such
    as what the call concluded, lead among equals. A cause of the content may be called "no fault
    found" too; the words for no fault mean none.

    first: cause ids
    """
    other = find_exact(text, _OTHER_NAMES)
    if other.id:
        return other
    names = {cause.id: (cause.id, cause.name, *cause.spoken) for cause in content.causes.values()}
    exact = find_exact(text, names)
    if exact.id:
        return exact
    return Found(None, _near(text, {**names, **_OTHER_NAMES}, first))


def _near(text: str, names: Mapping[str, tuple[str, ...]], first: Sequence[str]) -> tuple[str, ...]:
    """Return ids that hold all the words and those spelled alike, or else those that hold most."""
    typed = [word for word in fold(text).split() if word not in FILLERS]
    alike = find_named(text, names)
    spelled = [one for one in (alike.id, *alike.near) if one is not None]
    whole: list[str] = []
    some: dict[str, int] = {}
    for id_, own in names.items():
        words = set(fold(" ".join(own)).split())
        some[id_] = sum(_is_among(word, words) for word in typed)
        if typed and some[id_] == len(typed):
            whole.append(id_)
    near = list(dict.fromkeys((*_led_by(first, whole), *_led_by(first, spelled))))
    if near:
        return tuple(near)
    most = max(some.values())
    return tuple(_led_by(first, [id_ for id_ in some if most and some[id_] == most]))


def _led_by(first: Sequence[str], ids: Sequence[str]) -> list[str]:
    return sorted(ids, key=lambda id_: id_ not in first)


def _is_among(word: str, words: Iterable[str]) -> bool:
    return any(
        word == other
        or (min(len(word), len(other)) >= _LEAST_STEM
            and (other.startswith(word) or word.startswith(other)))
        for other in words
    )  # fmt: skip
