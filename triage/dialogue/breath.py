"""Several readings said in one breath, taken apart; each is shown back before it counts."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise
from typing import NamedTuple

from triage.dialogue.moment import bare_moment_in, moment_in
from triage.dialogue.names import Named, find_exact
from triage.dialogue.reply import (
    LONGEST_ANSWER,
    NO_MACHINES,
    Control,
    Unclear,
    Unknown,
    Value,
    is_named_choice,
    read_control,
    read_reply,
)
from triage.dialogue.words import fold, plain_text
from triage.physics.numerals import NUMBER, with_figures, with_plain_marks
from triage.physics.pressure import STANDARD_ATMOSPHERE_PA
from triage.physics.quantity import UnitSystem
from triage.tree.content import Reading, ReadingKind

MOST_PIECES = 24
"""Pieces looked at in one line; no breath holds more, the rest is left over."""


@dataclass(frozen=True, slots=True)
class Part:
    """One reading found in a breath: its id, the words it came from, and what they mean."""

    reading: str
    text: str
    value: Value | Unclear


class Breath(NamedTuple):
    """The parts of a line, the current question's first, and the words nothing was made of."""

    parts: tuple[Part, ...]
    leftover: str


def take_apart(
    text: str,
    readings: Sequence[Reading],
    *,
    system: UnitSystem,
    machines: Mapping[str, Named] = NO_MACHINES,
    barometric_pressure_pa: float = STANDARD_ATMOSPHERE_PA,
    stage: str | None = None,
) -> Breath:
    """Return the readings said in `text` and what is left over.

    `readings` are those still open in order of relevance, the one asked for first; `stage`
    ("freeze" or "harvest", by default that of the first reading's id) decides between readings
    that go by the same words. A line that answers only the question asked is one part. A steering
    word or "unknown" is no breath: it gives no parts and the whole line as leftover.
    """
    plain = plain_text(text)
    if not plain or not readings:
        return Breath((), plain)
    reader = _Reader(readings, system, machines, barometric_pressure_pa, stage)
    whole = reader.read(plain, readings[0])
    if isinstance(whole, Control | Unknown) or read_control(plain) or len(plain) > LONGEST_ANSWER:
        return Breath((), plain)
    if isinstance(whole, Value):
        only = Breath((Part(readings[0].id, plain, whole),), "")
        # "Gletsch R500, R-410A": a name found in a longer line leaves the rest to be looked at.
        return only if _is_measured(readings[0]) else reader.with_more(plain, whole) or only
    pieces = [small for piece in _pieces(plain) for small in reader.split_at_labels(piece)]
    for piece in pieces[:MOST_PIECES]:
        reader.take(piece)
    reader.leftover.extend(piece.text for piece in pieces[MOST_PIECES:])
    breath = reader.breath()
    return breath if breath.parts else Breath((Part(readings[0].id, plain, whole),), "")


# Cutting the line into pieces.

_STOP = re.compile(
    r"\s*(?:;|\n|,(?=\s|$)|(?<=[^0-9\s]),|,(?=[^0-9\s])|\s(?:[&+/]\s|(?:-{1,2}|–|—)\s(?![0-9]))"
    r"|(?<![A-Za-z][a-z])\.\s+(?=[A-Za-z])|(?<=[a-z]{4})\.\s+(?=[A-Za-z])"
    r"|\s(?:and|but|plus|then|with|while|also)(?: (?:the|then|also|with|a(?! half| quarter)))?\s"
    r"(?!half|quarter|[0-9]+/[0-9]+\b))\s*",
    re.IGNORECASE,
)


@dataclass(frozen=True, slots=True)
class _Piece:
    """A stretch `start` to `end` of the line `line`."""

    line: str
    start: int
    end: int

    @property
    def text(self) -> str:
        return self.line[self.start : self.end].strip(" ,;.")


def _pieces(line: str) -> list[_Piece]:
    cuts, pieces = [0], []
    for stop in _STOP.finditer(line):
        if _is_within_range(line, stop):
            continue
        pieces.append(_Piece(line, cuts[-1], stop.start()))
        cuts.append(stop.end())
    pieces.append(_Piece(line, cuts[-1], len(line)))
    return [piece for piece in pieces if piece.text]


_RANGE_BEGUN = re.compile(r"\bbetween\b(?P<least>[^,;]{1,30})$", re.IGNORECASE)
_ONE_NUMBER = re.compile(rf"[^0-9]{{0,12}}{NUMBER}[^0-9]{{0,12}}")


def _is_within_range(line: str, stop: re.Match[str]) -> bool:
    """Whether `stop` is the "and" of `between 40 and 50`, which is one answer, not two."""
    begun = _RANGE_BEGUN.search(line[: stop.start()])
    if fold(stop[0]) != "and" or begun is None:
        return False
    is_begun = _ONE_NUMBER.fullmatch(with_figures(with_plain_marks(begun["least"])))
    return bool(is_begun) and with_figures(line[stop.end() :])[:1].isdigit()


def _names_two_values(text: str) -> bool:
    """Whether `text` gives a least and a greatest value instead of the one that was read."""
    numbers = re.findall(NUMBER, with_figures(with_plain_marks(text)))
    return len(numbers) == 2 and bool(_TWO_VALUES.search(text))


_TWO_VALUES = re.compile(r"\bbetween\b.*\sand\s|\bfrom\b.*\sto\s", re.IGNORECASE)


# Finding which reading a piece speaks of.

_TOKEN = re.compile(rf"(?P<number>{NUMBER})|[A-Za-z']+", re.IGNORECASE)
_PLACED = re.compile(
    rf"(?P<value>{NUMBER} ?[°A-Za-z\"]{{1,6}})\s+(?:up|down|out|on|in|at|inside|near|by|next to)\s"
    r"(?!from\b|to\b|since\b)[A-Za-z' ]{2,40}",
    re.IGNORECASE,
)
"""A value with its unit and a place behind it in words alone."""
_QUALIFIERS = (frozenset({"freeze", "harvest"}), frozenset({"early", "late"}))
_USUAL_SPREAD_MINUTES = 3.0
_SAME_QUALIFIER = {"freezing": "freeze", "harvesting": "harvest", "start": "early", "end": "late"}


@dataclass(frozen=True, slots=True)
class _Label:
    """Words of a piece that name readings; `is_number` marks a number instead."""

    start: int
    end: int
    words: tuple[str, ...]
    is_number: bool = False


class _Reader:
    """Takes pieces one by one and keeps what they gave."""

    def __init__(
        self,
        readings: Sequence[Reading],
        system: UnitSystem,
        machines: Mapping[str, Named],
        barometric_pressure_pa: float,
        stage: str | None,
    ) -> None:
        self.readings = readings
        self.system = system
        self.machines = machines
        self.barometric_pressure_pa = barometric_pressure_pa
        self.stage = stage or next(iter(_qualifiers_of(readings[0]) & _QUALIFIERS[0]), None)
        self.by_phrase = _by_phrase(readings)
        self.longest = max((len(phrase) for phrase in self.by_phrase), default=0)
        self.parts: dict[str, Part] = {}
        self.leftover: list[str] = []
        self.last: tuple[_Piece, Reading] | None = None
        self.last_words: tuple[str, ...] = ()

    def read(self, text: str, reading: Reading) -> Value | Unknown | Control | Unclear:
        return read_reply(
            text,
            reading,
            system=self.system,
            machines=self.machines,
            barometric_pressure_pa=self.barometric_pressure_pa,
        )

    def breath(self) -> Breath:
        first = self.readings[0].id
        parts = sorted(self.parts.values(), key=lambda part: part.reading != first)
        return Breath(tuple(parts), ", ".join(self.leftover))

    def with_more(self, line: str, whole: Value) -> Breath | None:
        """Return the breath of a line that answers the question and says a figure or name besides.

        None if it says nothing besides: another choice is not looked for in an explanation.
        """
        for piece in _pieces(line)[:MOST_PIECES]:
            self.take(piece)
        first, *others = self.breath().parts or (Part("", "", whole),)
        choices = {item.id for item in self.readings if item.kind is ReadingKind.CHOICE}
        is_answered = first.reading == self.readings[0].id and first.value == replace(
            whole, typed=first.text
        )
        is_more = bool(others) and all(
            isinstance(part.value, Value) and part.reading not in choices for part in others
        )
        return self.breath() if is_answered and is_more else None

    def split_at_labels(self, piece: _Piece) -> list[_Piece]:
        """Cut `suction 62 head 305` or `62 suction 305 head` where one reading ends."""
        marks = self._labels(piece.text, is_with_numbers=True)
        numbers = [mark for mark in marks if mark.is_number]
        if len(numbers) < 2 or len(marks) - len(numbers) < 2:
            return [piece]
        offset = piece.line.index(piece.text, piece.start)
        cuts: list[int] = []
        seen_number = seen_label = False
        for mark in marks:
            starts_new = not mark.is_number if not marks[0].is_number else mark.is_number
            if starts_new and seen_number and seen_label:
                # At the blank before, so that a sign stays with its number.
                cuts.append(max(piece.start, piece.line.rfind(" ", 0, offset + mark.start) + 1))
                seen_number = seen_label = False
            seen_number |= mark.is_number
            seen_label |= not mark.is_number
        edges = [piece.start, *cuts, piece.end]
        return [_Piece(piece.line, start, end) for start, end in pairwise(edges)]

    def take(self, piece: _Piece) -> None:
        """Add what `piece` says to the parts, or the piece to the leftover."""
        labels = self._labels(piece.text)
        candidates = self._candidates(piece.text, labels)
        if not labels and (self._take_from_plate(piece) or self._extends_last(piece)):
            return
        if candidates and self._take_first_fit(piece, candidates, labels):
            return
        if len(candidates) == 1 and self._add_placed(piece, candidates[0], ()):
            return
        current = self.readings[0]
        is_open = current.id not in self.parts
        if is_open and (self._add(piece, current) or self._add_placed(piece, current, labels)):
            return
        if not labels and self._take_by_name(piece):
            return
        if not labels and self.last_words and _qualifiers_in(piece.text):
            inherited = self._candidates(f"{' '.join(self.last_words)} {piece.text}", None)
            if self._take_first_fit(piece, inherited, labels):
                return
        has_number = any(character.isdigit() for character in piece.text)
        numeric = [reading for reading in candidates if _is_measured(reading)]
        if not numeric and _is_measured(current) and _names_two_values(piece.text):
            numeric = [current]
        if numeric and has_number and numeric[0].id not in self.parts:
            reply = self.read(piece.text, numeric[0])
            if isinstance(reply, Unclear):
                self.parts[numeric[0].id] = Part(numeric[0].id, piece.text, reply)
                return
        self.leftover.append(piece.text)

    def _take_first_fit(
        self, piece: _Piece, candidates: Sequence[Reading], labels: Sequence[_Label]
    ) -> bool:
        for reading in candidates:
            if reading.id in self.parts and not _qualifiers_in(piece.text):
                # Said twice without a word that tells the two apart: ask, do not guess.
                return False
            if reading.id not in self.parts and self._add(piece, reading):
                self.last_words = labels[0].words if labels else self.last_words
                return True
        return False

    def _add(self, piece: _Piece, reading: Reading) -> bool:
        reply = self.read(piece.text, reading)
        if not isinstance(reply, Value):
            return False
        self.parts[reading.id] = Part(reading.id, piece.text, reply)
        self.last = (piece, reading)
        return True

    def _add_placed(self, piece: _Piece, reading: Reading, labels: Sequence[_Label]) -> bool:
        """Take the value of `88 F up top`; where it was read is left over, to be noted.

        Not where `labels` name another reading, nor where the words may make it a difference.
        """
        placed = _PLACED.fullmatch(piece.text)
        if placed is None or labels or reading.id in self.parts or not _is_measured(reading):
            return False
        reply = self.read(placed["value"], reading)
        if not isinstance(reply, Value):
            return False
        self.parts[reading.id] = Part(reading.id, placed["value"], reply)
        self.leftover.append(piece.text)
        return True

    def _extends_last(self, piece: _Piece) -> bool:
        """Join `6 min and 20 sec` or `62 psi, 3 min in` again if that makes one value."""
        if self.last is None:
            return False
        before, reading = self.last
        joined = _Piece(piece.line, before.start, piece.end)
        return self._add(joined, reading)

    def _take_from_plate(self, piece: _Piece) -> bool:
        """Take a machine or refrigerant named in full: neither is the rest of another answer."""
        return any(
            reading.kind in (ReadingKind.MACHINE, ReadingKind.REFRIGERANT)
            and reading.id not in self.parts
            and self._is_named(piece.text, reading)
            and self._add(piece, reading)
            for reading in self.readings
        )

    def _take_by_name(self, piece: _Piece) -> bool:
        """Take a machine, a refrigerant or a choice named in full without its reading's name."""
        hits = [
            reading
            for reading in self.readings
            if reading.id not in self.parts and self._is_named(piece.text, reading)
        ]
        return len(hits) == 1 and self._add(piece, hits[0])

    def _is_named(self, text: str, reading: Reading) -> bool:
        if reading.kind is ReadingKind.CHOICE:
            return is_named_choice(text, reading.choices) is not None
        if reading.kind is ReadingKind.MACHINE:
            names = {id_: (id_, item.name, *item.spoken) for id_, item in self.machines.items()}
            return find_exact(text, names).id is not None
        if reading.kind is ReadingKind.REFRIGERANT:
            has_letter = re.search(r"(?i)\br[\s-]?[0-9]|[0-9][a-c]\b|[a-z]{5}", text)
            return bool(has_letter) and isinstance(self.read(text, reading), Value)
        return False

    def _labels(self, text: str, *, is_with_numbers: bool = False) -> list[_Label]:
        """Return the naming words in `text`, longest first at each place, in order."""
        marked = with_plain_marks(text)
        moment = moment_in(marked) if len(marked) == len(text) else None
        tokens = [
            (token.start(), token.end(), fold(token[0]), token["number"] is not None)
            for token in _TOKEN.finditer(moment.blanked_in(text) if moment else text)
        ]
        found: list[_Label] = []
        index = 0
        while index < len(tokens):
            start, end, _, is_number = tokens[index]
            size = 1
            if is_number:
                if is_with_numbers:
                    found.append(_Label(start, end, (), is_number=True))
            else:
                words = [token[2] for token in tokens[index : index + self.longest]]
                for size in range(len(words), 0, -1):
                    if tuple(words[:size]) in self.by_phrase:
                        last = tokens[index + size - 1]
                        found.append(_Label(start, last[1], tuple(words[:size])))
                        break
                else:
                    size = 1
            index += size
        return found

    def _candidates(self, text: str, labels: Sequence[_Label] | None) -> list[Reading]:
        """Return the readings `text` may speak of, the likeliest first."""
        named = self._labels(text) if labels is None else labels
        lengths: dict[str, int] = {}
        for label in named:
            for reading in self.by_phrase.get(label.words, ()):
                lengths[reading.id] = max(lengths.get(reading.id, 0), len(label.words))
        said = _qualifiers_in(text)
        moment = bare_moment_in(with_figures(with_plain_marks(text)))
        ranked: list[tuple[tuple[float, ...], Reading]] = []
        for index, reading in enumerate(self.readings):
            own = _qualifiers_of(reading)
            if reading.id not in lengths or _is_contrary(own, said):
                continue
            is_off_stage = bool(own & _QUALIFIERS[0]) and self.stage not in own
            distance = 0.0
            if moment is not None:
                distance = _minutes_away(moment.seconds / 60.0, reading)
            key = (-len(own & said), -lengths[reading.id], is_off_stage, distance, index)
            ranked.append((tuple(map(float, key)), reading))
        return [reading for _, reading in sorted(ranked, key=lambda pair: pair[0])]


def _minutes_away(minute: float, reading: Reading) -> float:
    """Return how far from its usual minute `reading` would have been taken."""
    if reading.default_minute is None:
        return _USUAL_SPREAD_MINUTES
    return abs(minute - reading.default_minute)


def _is_measured(reading: Reading) -> bool:
    return reading.kind not in {
        ReadingKind.CHOICE,
        ReadingKind.MACHINE,
        ReadingKind.REFRIGERANT,
    }


def _by_phrase(readings: Iterable[Reading]) -> dict[tuple[str, ...], list[Reading]]:
    found: dict[tuple[str, ...], list[Reading]] = {}
    for reading in readings:
        for phrase in dict.fromkeys((reading.id, reading.name, *reading.spoken)):
            words = tuple(fold(phrase).split())
            if words and reading not in found.setdefault(words, []):
                found[words].append(reading)
    return found


def _qualifiers_in(text: str) -> frozenset[str]:
    words = {_SAME_QUALIFIER.get(word, word) for word in fold(text).split()}
    return frozenset().union(*_QUALIFIERS) & words


def _qualifiers_of(reading: Reading) -> frozenset[str]:
    return frozenset().union(*_QUALIFIERS) & frozenset(reading.id.split("_"))


def _is_contrary(own: frozenset[str], said: frozenset[str]) -> bool:
    """Whether the words said belong to the other stage or time than the reading's own."""
    return any(group & own and group & said and not group & own & said for group in _QUALIFIERS)
