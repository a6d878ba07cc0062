"""A sentence of plain talk as the stems of the words that matter, clause by clause."""

from __future__ import annotations

import re
from collections.abc import Iterable
from types import MappingProxyType

from triage.dialogue.words import NEGATION, fold, word_set

NOT = "not "
"""Stands before a word that is denied."""

FILLER = word_set(
    "a an the it its this that these those thats theres there here i im ive we weve were our my "
    "me us you your youre he hes she shes they theyre theyve them their his her is are was be "
    "been being am do does did has have had having got get gets getting gotten will would can "
    "could should may might must of to for with at from by as than and or so when if because cos "
    "cause uh um er ah oh well hey hi hello yeah yes yep okay please sorry thanks just really "
    "very pretty quite kind sort like about some any also now today tonight yesterday morning "
    "week still yet who what which where one ones make makes made making want wants wanted keep "
    "keeps kept keeping seem seems look looks looking say says said tell told think know machine "
    "machines unit icemaker thing even every each all day somebody someone anybody people guys "
    "guy new way again hold wait moment already always everything anymore something wrong problem "
    "trouble issue right last lasts lasted call called calling produce produces producing produced"
)
"""Words that tell no complaint from another."""

_DENYING = NEGATION | word_set(
    "nor neither werent hadnt wouldnt shouldnt nobody refuse refuses refusing fails failing unable"
)

_SOUND = word_set("fine good okay ok normal normally great alright perfect perfectly well")
"""Words that say that what comes before them in the clause is as it should be."""

_COMPARING = word_set("than as from")
"""Words before which "normal" is what it is not: "twice as long as normal"."""

_THE_MACHINE = re.compile(r"\bice[ -]?(?:machine|maker)s?\b")
"""Holds the word ice without speaking of it."""

_BETWEEN_CLAUSES = re.compile(
    r"[,.;:!?–—()]+|\s-+\s|\b(?:but|although|though|except|however|and|because)\b"
)

_SAME = MappingProxyType(
    {
        "froze": "frozen",
        **dict.fromkeys(("fell", "fallen"), "fall"),
        **dict.fromkeys(("blew", "blown"), "blow"),
        **dict.fromkeys(("took", "taken"), "take"),
        **dict.fromkeys(("hardly", "barely", "scarcely"), "scarce"),
        "fully": "full",
        **dict.fromkeys(("goes", "gone", "went"), "go"),
        "hung": "hang",
        "stuck": "stick",
        "ran": "run",
        "came": "come",
        "grew": "grow",
        "smelt": "smell",
        "stank": "stink",
        "burned": "burnt",
        "burning": "burnt",
        "thinner": "thin",
        "thicker": "thick",
        "slower": "slow",
        "smaller": "small",
        "longer": "long",
        "lower": "low",
        "louder": "loud",
        "ages": "forever",
        "thru": "through",
        "hp": "high pressure",
        "cutout": "cut out",
        "lockout": "lock out",
        "shutdown": "shut down",
        "mould": "mold",
        "mouldy": "mold",
        "odour": "odor",
        "odours": "odor",
        "flavour": "flavor",
        "colour": "color",
        "coloured": "color",
        "discoloured": "color",
        "discolored": "color",
    }
)
"""Other forms and spellings of one word that its ending does not show."""


def clauses_of(text: str) -> list[list[str]]:
    """Return the clauses of `text` as stems of the words that matter.

    A denied word is marked. What is said to be fine is left out, as it is no complaint.

    >>> clauses_of("Hey, it's making ice fine but the slabs aren't dropping off!")
    [['slab', 'not drop', 'off']]
    >>> clauses_of("Freezes longer than normal.")
    [['freez', 'long']]
    """
    plain = _THE_MACHINE.sub(" machine ", re.sub(r"['’‘`´]", "", text.casefold()))
    clauses = (_words_of(fold(part).split()) for part in _BETWEEN_CLAUSES.split(plain))
    return [clause for clause in clauses if clause]


def _words_of(raw_words: Iterable[str]) -> list[str]:
    words: list[str] = []
    is_denied = has_denied = is_compared = False
    for raw in raw_words:
        if raw in _DENYING:
            is_denied = has_denied = True
        elif raw in _SOUND and not has_denied:
            if not is_compared:
                words.clear()
        elif raw not in FILLER:
            for word in _SAME.get(raw, raw).split():
                words.append(f"{NOT if is_denied else ''}{_stem(word)}")
                is_denied = False
        is_compared = raw in _COMPARING
    return words


def _stem(word: str) -> str:
    """Return `word` without the endings of plural, verb and adverb.

    >>> [_stem(word) for word in ("dropping", "leaked", "freezes", "cloudy", "slowly", "making")]
    ['drop', 'leak', 'freez', 'cloud', 'slow', 'make']
    """
    if len(word) > 4 and word.endswith("ing"):
        word = _verb(word[:-3])
    elif len(word) > 3 and word.endswith("ed"):
        word = _verb(word[:-2])
    elif len(word) > 4 and word.endswith(("shes", "ches", "sses", "xes", "zzes")):
        word = word[:-2]
    elif len(word) > 3 and word.endswith("s") and not word.endswith(("ss", "us", "is")):
        word = word[:-1]
    if len(word) > 4 and word.endswith("ly"):
        word = word[:-2]
    elif len(word) > 6 and word.endswith("ish"):
        word = word[:-3]
    if len(word) > 4 and word.endswith("y") and word[-2] not in "aeiou":
        word = word[:-1]
    return word[:-1] if len(word) > 4 and word.endswith("e") else word


def _verb(stem: str) -> str:
    """Return the plain verb of one that ended in -ing or -ed: dropp is drop, mak is make."""
    if len(stem) > 3 and stem[-1] == stem[-2] and stem[-1] not in "lsz":
        return stem[:-1]
    return f"{stem}e" if re.fullmatch(r"[^aeiou][aeiou][^aeiouwxy]", stem) else stem


def bare(word: str) -> str:
    """Return `word` without the mark of a denial."""
    return word.removeprefix(NOT)


WEAK = frozenset(
    map(
        _stem,
        word_set(
            "two three four five six seven ten twice second third several few lot much bit more "
            "time times minute minutes hour hours day days night noon evening month months year "
            "years before after long while back front use used buy bought take takes let need "
            "needs start starts started part parts number big new old door look leave move"
        ),
    )
)
"""Stems of words that say nothing of a machine unless there is another word beside them."""
