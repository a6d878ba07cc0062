"""What one typed line means as the answer to one question."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from functools import lru_cache
from types import MappingProxyType

from triage.dialogue.case import COMPLAINT
from triage.dialogue.complaints import heard_complaint, question_about
from triage.dialogue.moment import bare_moment_in, moment_in
from triage.dialogue.names import Found, Named, find_exact, find_named
from triage.dialogue.words import (
    NEGATION,
    OUR_REASONS,
    agreement,
    control_in,
    fold,
    leading_agreement,
    nothing_there,
    plain_text,
    quoted,
    squeeze,
    unknown_reason,
    word_set,
)
from triage.physics.errors import UnknownRefrigerant
from triage.physics.numerals import with_figures, with_plain_marks
from triage.physics.pressure import STANDARD_ATMOSPHERE_PA
from triage.physics.quantity import (
    Dimension,
    QuantityError,
    UnitSystem,
    UnreadableQuantity,
    default_unit_of,
    dimension_of,
    parse_quantity,
)
from triage.physics.refrigerant import REFRIGERANTS, find_refrigerant
from triage.physics.units import dimensions_of
from triage.tree.content import Choice, Reading, ReadingKind

LONGEST_ANSWER = 300
"""Longest line looked at as an answer; a note or a reason may be longer."""

NO_MACHINES: Mapping[str, Named] = MappingProxyType({})


@dataclass(frozen=True, slots=True)
class Value:
    """A reading: SI number (pressures absolute pascal) or an id; `minute_s` if the caller said."""

    value: float | str
    typed: str
    minute_s: float | None = None


@dataclass(frozen=True, slots=True)
class Unknown:
    """The caller has no answer; `reason` says why, in the caller's words where there are any."""

    reason: str


@dataclass(frozen=True, slots=True)
class Control:
    """A word that steers the call; `argument` is what followed it."""

    command: str
    argument: str = ""


@dataclass(frozen=True, slots=True)
class YesNo:
    """A plain yes or no."""

    is_yes: bool


@dataclass(frozen=True, slots=True)
class Unclear:
    """Nothing to go by: `message` is one plain sentence, `suggestions` what may have been meant."""

    message: str
    suggestions: tuple[str, ...] = ()


def read_control(text: str) -> Control | None:
    """Return the steering word that `text` is, or None.

    >>> read_control("note it rattles")
    Control(command='note', argument='it rattles')
    """
    found = control_in(text)
    return Control(*found) if found else None


def read_confirmation(text: str) -> YesNo | Control | Unclear:
    """Return whether `text` is a plain yes or no; a yes with anything else behind it is neither.

    >>> read_confirmation("yep"), read_confirmation("yes, if it is safe").message
    (YesNo(is_yes=True), 'Please answer yes or no.')
    """
    plain = plain_text(text)
    said = agreement(plain)
    if said is not None:
        return YesNo(said)
    return read_control(plain) or Unclear("Please answer yes or no.", ("yes", "no"))


def read_reply(
    text: str,
    reading: Reading,
    *,
    system: UnitSystem,
    machines: Mapping[str, Named] = NO_MACHINES,
    barometric_pressure_pa: float = STANDARD_ATMOSPHERE_PA,
) -> Value | Unknown | Control | Unclear:
    """Return what `text` means as the answer to `reading`.

    `system` gives the unit of a bare number, `machines` the models that can be named,
    `barometric_pressure_pa` the local air pressure that gauges count from. A steering word that
    is also an allowed answer is the answer. Nothing is raised: what cannot be used is Unclear.
    """
    plain = plain_text(text)
    if not plain:
        return Unclear("Nothing was typed.")
    is_choice = reading.kind is ReadingKind.CHOICE
    if is_choice and reading.id == COMPLAINT and (said := _read_complaint(plain, reading)):
        return said
    if is_choice and (exact := find_exact(plain, _choice_names(reading))).id:
        return Value(exact.id, plain)
    control = read_control(plain)
    if control is not None and control.command != "unknown":
        return control
    reason = unknown_reason(plain)
    if reason is not None:
        return Unknown(reason)
    if len(plain) > LONGEST_ANSWER:
        return Unclear("That is long for an answer; to keep it, type note and then the text.")
    if is_choice:
        return _read_choice(plain, reading)
    if reading.kind is ReadingKind.MACHINE:
        return _read_machine(plain, machines)
    if reading.kind is ReadingKind.REFRIGERANT:
        return _read_refrigerant(plain)
    reason = nothing_there(plain)
    if reason is not None:
        return Unknown(reason)
    return _read_quantity(plain, reading, system, barometric_pressure_pa)


# The complaint, in free words.


_ASKING_BACK = ("why", "how")
"""Steering words that free talk may begin with as well: "why won't it drop its ice"."""


def _read_complaint(plain: str, reading: Reading) -> Value | Unclear | None:
    """Return what free words mean, or None if they are too long, steer the call or refuse."""
    if len(plain) > LONGEST_ANSWER:
        return None
    match = heard_complaint(reading.choices, plain)
    if match.is_exact:
        return Value(match.choices[0].id, plain)
    control, reason = read_control(plain), unknown_reason(plain)
    if control is not None and not (control.command in _ASKING_BACK and match.is_clear):
        return None
    if reason in OUR_REASONS or (reason is not None and not match.choices):
        return None
    labels = tuple(each.label for each in match.choices)
    return Unclear(question_about(match, reading.choices, plain), labels)


# Choices, machines, refrigerants.


def _choice_names(reading: Reading) -> dict[str, tuple[str, ...]]:
    return {choice.id: (choice.id, choice.label, *choice.spoken) for choice in reading.choices}


def _read_choice(plain: str, reading: Reading) -> Value | Unclear:
    read = _read_one_choice(plain, reading)
    if isinstance(read, Unclear):
        said_twice = _said_twice(plain, reading)
        return Value(said_twice, plain) if said_twice else read
    return read


_BETWEEN = re.compile(r"[,;.!–—]\s+|\s-\s")


def _said_twice(plain: str, reading: Reading) -> str | None:
    """Return the choice that every part of a line means: "no, I'm the owner"."""
    parts = [part for part in _BETWEEN.split(plain) if fold(part)]
    if len(parts) < 2:
        return None
    read = [_read_one_choice(part, reading) for part in parts]
    meant = {str(item.value) if isinstance(item, Value) else None for item in read}
    return meant.pop() if len(meant) == 1 else None


def _read_one_choice(plain: str, reading: Reading) -> Value | Unclear:
    names = _choice_names(reading)
    said = agreement(plain)
    if said is None and "yes" in names and "no" in names:
        said = leading_agreement(plain)
    if said is not None:
        id_ = "yes" if said else "no"
        if id_ in names:
            return Value(id_, plain)
        listed = _settled_agreement(said, reading)
        return Value(listed, plain) if listed else _no_choice(plain, reading, Found(None))
    chosen = fold(" ".join(name for own in names.values() for name in own)).split()
    own = _own_words(reading)
    found = find_named(plain, names, also_filler=own.difference(chosen))
    if found.id is None and not NEGATION.intersection(fold(plain).split()):
        # "the fan is running": words of the question, though an answer holds them too.
        closer = find_named(plain, names, also_filler=own)
        found = closer if closer.id else found
    return Value(found.id, plain) if found.id else _no_choice(plain, reading, found)


def _settled_agreement(is_yes: bool, reading: Reading) -> str | None:
    """Return the one choice that lists the word yes (or no) among its spoken words."""
    word = "yes" if is_yes else "no"
    hits = [choice.id for choice in reading.choices if word in map(fold, choice.spoken)]
    return hits[0] if len(hits) == 1 else None


def _no_choice(plain: str, reading: Reading, found: Found) -> Unclear:
    labels = {choice.id: choice.label for choice in reading.choices}
    return _not_among(plain, tuple(labels[id_] for id_ in found.near), tuple(labels.values()))


def _not_among(plain: str, near: tuple[str, ...], known: tuple[str, ...]) -> Unclear:
    if near:
        listed = " or ".join(quoted(label) for label in near)
        return Unclear(f"{quoted(plain)} is not clear. Did you mean {listed}?", near)
    listed = "; ".join(plain_text(label, 60) for label in known[:12])
    more = "; …" if len(known) > 12 else ""
    return Unclear(f"{quoted(plain)} is not one of the answers here: {listed}{more}.")


_NOT_LISTED = re.compile(
    r"(?:its )?(?:not (?:listed|on the list|there|in the list|any of (?:them|these|those))|"
    r"unlisted|none(?: of (?:them|these|those|the above))?|something else|other|"
    r"another(?: one| make)?)"
)


_GO_ON = "unknown and I judge by a typical machine; the name is kept in the record."


def _read_machine(plain: str, machines: Mapping[str, Named]) -> Value | Unknown | Unclear:
    if _NOT_LISTED.fullmatch(fold(plain)):
        return Unknown("the machine is not listed")
    names = {id_: (id_, item.name, *item.spoken) for id_, item in machines.items()}
    found = find_named(plain, names)
    if found.id:
        return Value(found.id, plain)
    near = tuple(machines[id_].name for id_ in found.near)
    meant = f"Did you mean {' or '.join(map(quoted, near))}? If not, say" if near else "Say"
    return Unclear(f"{quoted(plain)} is not on file. {meant} {_GO_ON}", near)


_REFRIGERANT_NUMBER = re.compile(r"(?<![0-9])([0-9]{2,3})\s?-?\s?([a-cA-C])?\b")
_REFRIGERANT_NOISE = re.compile(
    r"^(?:(?:it|it's|its|that's|is|the|plate|label|says|uses|runs|on|charged|with|refrigerant|gas)"
    r"[\s:]+)+|\s+(?:i think|i guess|i believe|refrigerant|gas)$",
    re.IGNORECASE,
)


def _read_refrigerant(plain: str) -> Value | Unclear:
    core = _REFRIGERANT_NOISE.sub("", plain).strip(" .,!")
    try:
        return Value(find_refrigerant(core).id, plain)
    except UnknownRefrigerant as error:
        nearest = (error.nearest,) if error.nearest else ()
    numbers = _REFRIGERANT_NUMBER.findall(core)
    begun = [
        id_
        for id_ in REFRIGERANTS
        if len(numbers) == 1 and squeeze(id_).startswith("r" + "".join(numbers[0]).lower())
    ]
    is_only_number = re.fullmatch(r"(?i)(?:r|hfc|hfo)?[\s-]*[0-9]{2,3}\s*-?\s*[a-c]?", core)
    if len(begun) == 1 and is_only_number:
        return Value(begun[0], plain)
    near = tuple(begun) if is_only_number else tuple(begun) or nearest
    return _not_among(plain, near, tuple(REFRIGERANTS))


# Numbers with units.

_LINKS = word_set(
    "is was are were at the of on for a an my our its it s that this reads read reading "
    "shows showing says temp temps temperature pressure press side gauge with from now "
    "currently and so also then has got there we i have see comes came takes take took today makes "
    "weather report forecast"
)
_ONE_WHOLE = re.compile(
    r"\b(?:one|a|each|every)(?: (?:whole|full))? (?=(?:freeze|harvest|cycle|batch|slab)\b)",
    re.IGNORECASE,
)
"""The "one" of "one freeze takes 14 minutes" is no number."""

_SEPARATED = re.compile(r"(?<![0-9])[=:]|[=:](?![0-9])|=")


_WITH_MOMENT = frozenset(
    {
        Dimension.GAUGE_PRESSURE,
        Dimension.TEMPERATURE,
        Dimension.TEMPERATURE_DIFFERENCE,
        Dimension.VOLTAGE,
        Dimension.CURRENT,
    }
)
"""What changes in the course of a cycle, so that a time beside it says when it was read."""


@lru_cache(maxsize=256)
def _own_words(reading: Reading) -> frozenset[str]:
    """Return the words that name the reading, none of which is a unit or a number."""
    own = fold(" ".join((reading.id, reading.name, *reading.spoken))).split()
    return frozenset(
        word
        for word in own
        if not dimensions_of(word) and not word.isdigit() and with_figures(word) == word
    )


def _without_own_words(text: str, own: frozenset[str]) -> Iterator[str]:
    """Yield `text`, then what is left of it without the words that only name the reading."""
    yield text
    tokens = _SEPARATED.sub(" ", text).split()
    folded = [fold(token) for token in tokens]
    is_noise = [
        word in own
        or word.removesuffix("s") in own
        or word in _LINKS
        or (not word and token in "-–—,;:=")
        for word, token in zip(folded, tokens, strict=True)
    ]
    kept = [token for token, noise in zip(tokens, is_noise, strict=True) if not noise]
    yield " ".join(kept)
    # "in" is an inch, or it leads to a place or a number: "70 in the room", "in 12 minutes".
    is_leading = [
        word == "in" and (noise or follower[:1].isdigit())
        for word, noise, follower in zip(folded, is_noise[1:], folded[1:], strict=False)
    ]
    dropped = zip(tokens, is_noise, [*is_leading, False], strict=False)
    yield " ".join(token for token, noise, leading in dropped if not noise and not leading)


def _default_unit(reading: Reading, dimension: Dimension, system: UnitSystem) -> str:
    """Return the unit of a bare number; heights of the site are told in feet or metres."""
    if dimension is Dimension.LENGTH and reading.plausible and reading.plausible[1] > 10.0:
        return "ft" if system is UnitSystem.US else "m"
    return default_unit_of(dimension, system)


def _read_quantity(
    plain: str, reading: Reading, system: UnitSystem, barometric_pressure_pa: float
) -> Value | Unclear:
    dimension = dimension_of(reading.kind.value)
    text = with_figures(_ONE_WHOLE.sub("", with_plain_marks(plain)))
    minute_s = None
    # A pressure is always read at some moment, also the one taken just as the freeze ends.
    has_moment = reading.default_minute is not None or dimension is Dimension.GAUGE_PRESSURE
    said = bare_moment_in if has_moment else moment_in
    if dimension in _WITH_MOMENT and (moment := said(text)):
        text, minute_s = moment.cut_from(text), moment.seconds
    default_unit = _default_unit(reading, dimension, system)
    problem: QuantityError | None = None
    for attempt in _without_own_words(text, _own_words(reading)):
        try:
            si_value = parse_quantity(attempt, dimension, default_unit).si(barometric_pressure_pa)
        except QuantityError as error:
            if problem is None or not isinstance(error, UnreadableQuantity):
                problem = error
            continue
        return Value(si_value, plain, minute_s)
    return Unclear(_sentence(str(problem), text))


_BARE_MINUTE = re.compile(r"(?:\bat|@) ?(?P<number>[0-9]+(?:[.,][0-9]+)?)$", re.IGNORECASE)


def _sentence(problem: str, text: str) -> str:
    hint = ""
    if bare := _BARE_MINUTE.search(text):
        hint = f' If {bare["number"]} is the minute it was taken, type "at {bare["number"]} min".'
    return f"{plain_text(problem)}.{hint}"


def is_named_choice(text: str, choices: tuple[Choice, ...]) -> str | None:
    """Return the id of the choice that `text` names in full, yes and no words aside."""
    if agreement(text) is not None:
        return None
    names = {choice.id: (choice.id, choice.label, *choice.spoken) for choice in choices}
    return find_exact(text, names).id
