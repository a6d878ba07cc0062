"""Who calls when about which machine: the plan of a generated record, from one seed. All invented.

Twenty-odd events a session are kept by many calls that are handed on or left early; a call that is
led to its end has some eighty.
"""

from __future__ import annotations

import random
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import UTC, datetime
from functools import cache
from hashlib import sha256
from itertools import accumulate
from typing import Final

import numpy

from tests.benchmarks.record_splice import DAY_US, Recipe, moment_text
from tests.benchmarks.record_templates import Template, TurnKind
from triage.dialogue.events import (
    FOUND_NO_FAULT,
    FOUND_OTHER,
    Concluded,
    Parked,
    RepairReported,
    Stopped,
)
from triage.store.record import new_session_id

UNTIL: Final = datetime(2026, 11, 25, tzinfo=UTC)
YEARS, DESKS, VERSIONS = 3, 200, 6

# Shares and habits, all judged.
_HANDED_ON, _LEFT = 0.30, 0.54
_STOPPED, _PARKED = 0.7, 0.0025
_WITH_SERIAL, _CALLS_OF_A_MACHINE = 0.6, 2.5
_WITH_NOTE, _WITH_SECOND_NOTE = 0.4, 0.3
_REPORTED, _FOUND_AS_TOLD, _FOUND_NOTHING, _FOUND_ELSE, _FOUND_TWO = 0.45, 0.72, 0.06, 0.06, 0.04
_LONGEST_REPORT_WAIT_US = 12 * DAY_US
_LEFT_AFTER_TURNS = (3, 10)
_HOURS = (1, 1, 1, 1, 2, 4, 7, 10, 12, 12, 11, 10, 9, 10, 11, 11, 10, 9, 8, 6, 4, 3, 2, 1)

COMMON_WORDS: Final = (
    "customer", "says", "machine", "ice", "since", "monday", "again", "roof", "kitchen", "noise",
    "filter", "water", "slow", "changed", "gasket", "thin", "tech", "back", "friday", "bar",
    "cellar", "hotel", "loud", "warm", "fan", "dirty", "new", "old", "plate", "door",
)  # fmt: skip
_SYLLABLES = (
    "ba", "do", "fe", "gri", "ka", "lo", "mu", "ne", "po", "ra", "si", "ta", "ul", "ve", "wo", "zi",
    "tor", "lin", "mar", "den",
)  # fmt: skip
VOCABULARY = 20_000
"""Words of the notes, the n-th of them in proportion to 1 / n."""


@dataclass(frozen=True)
class Plan:
    """The plan of a whole record; `recipes` gives any part of it."""

    templates: list[Template]
    seed: int
    numbers: numpy.ndarray
    ids: list[str]
    serials: list[str]
    previous: list[int | None]
    template: numpy.ndarray
    is_left: numpy.ndarray
    desk: numpy.ndarray

    def recipes(self, first: int, last: int) -> Iterator[Recipe]:
        """Yield the recipes of the sessions from `first` up to `last`."""
        names, words, versions = desk_names(), vocabulary(), content_versions()
        weights = word_weights()
        span_us = YEARS * 365 * DAY_US
        begin_us = _until_us() - span_us
        left_after = [_left_after(template) for template in self.templates]
        for place in range(first, last):
            chance = random.Random(f"{self.seed} {place}")
            template = int(self.template[place])
            turns: int = len(self.templates[template].turns)
            end: Stopped | Parked | None = None
            started_us = int(self.numbers[place])
            if self.is_left[place]:
                turns = chance.choice(left_after[template])
                draw = chance.random()
                if draw < _PARKED:
                    end = Parked("freeze is running", "", "park 20 min freeze is running")
                elif draw < _STOPPED:
                    end = Stopped("stop")
            notes = []
            while len(notes) < 2 and chance.random() < (_WITH_SECOND_NOTE if notes else _WITH_NOTE):
                picked = chance.choices(words, cum_weights=weights, k=chance.randint(3, 14))
                notes.append(" ".join(picked))
            report = None
            if not self.is_left[place]:
                report = self._report(self.templates[template], chance, names)
            wait_us = int(chance.random() * _LONGEST_REPORT_WAIT_US) + 3_600_000_000
            period = (started_us - begin_us) * VERSIONS // span_us
            yield Recipe(
                self.ids[place], started_us, template, turns, end, names[int(self.desk[place])],
                chance.choice(names), versions[period], self.serials[place], self.previous[place],
                tuple(notes), report, wait_us, chance.getrandbits(40),
            )  # fmt: skip

    def _report(
        self, template: Template, chance: random.Random, names: list[str]
    ) -> RepairReported | None:
        last = template.turns[-1].spoken[-1][1]
        if not isinstance(last, Concluded) or chance.random() > _REPORTED:
            return None
        if not last.causes and chance.random() < 0.6:
            return None
        draw = chance.random()
        found: tuple[str, ...] = (template.hidden_cause,)
        note = ""
        if draw < _FOUND_NOTHING:
            found = (FOUND_NO_FAULT,)
        elif draw < _FOUND_NOTHING + _FOUND_ELSE:
            found, note = (FOUND_OTHER,), "loose wire at the terminal"
        elif draw < _FOUND_NOTHING + _FOUND_ELSE + _FOUND_TWO:
            other = chance.choice(self.templates).hidden_cause
            found = tuple(dict.fromkeys((*found, other)))
        elif draw > 1.0 - (1.0 - _FOUND_AS_TOLD) / 2:
            found = (chance.choice(self.templates).hidden_cause,)
        cycles = chance.choice((True, True, True, True, False, None, None))
        readings = template.repair if chance.random() < 0.5 else ()
        return RepairReported(
            found, ("filter drier",), cycles, readings, note, chance.choice(names)
        )  # fmt: skip


def make_plan(templates: list[Template], sessions: int, seed: int) -> Plan:
    """Return the plan of `sessions` sessions over three years, in the order of their starts."""
    chance = numpy.random.default_rng(seed)
    days = chance.integers(0, YEARS * 365, sessions)
    hours = chance.choice(24, sessions, p=numpy.array(_HOURS) / sum(_HOURS))
    within = chance.integers(0, 3_600_000_000, sessions)
    begin_us = _until_us() - YEARS * 365 * DAY_US
    numbers = numpy.sort(begin_us + days * DAY_US + hours * 3_600_000_000 + within)
    for place in range(1, sessions):  # each its own; two at once are rare
        if numbers[place] <= numbers[place - 1]:
            numbers[place] = numbers[place - 1] + 1
    draw = chance.random(sessions)
    is_handed_on = draw < _HANDED_ON
    is_left = (draw >= _HANDED_ON) & (draw < _HANDED_ON + _LEFT)
    short = [number for number, item in enumerate(templates) if _is_handed_on(item)]
    long = [number for number in range(len(templates)) if number not in set(short)]
    sizes = numpy.array([1.0 / templates[number].events for number in long])
    template = numpy.where(
        is_handed_on,
        chance.choice(short, sessions),
        chance.choice(long, sessions, p=sizes / sizes.sum()),
    )
    desk_weights = 1.0 / (numpy.arange(DESKS) + 20.0)
    desk = chance.choice(DESKS, sessions, p=desk_weights / desk_weights.sum())
    machines = max(1, int(sessions * _WITH_SERIAL / _CALLS_OF_A_MACHINE))
    # Squared, so that some machines call again and again.
    unit = (chance.random(sessions) ** 2 * machines).astype(int)
    has_serial = chance.random(sessions) < _WITH_SERIAL
    tails = chance.bytes(8 * sessions)
    serials, previous, ids = [], [], []
    last_of: dict[str, int] = {}
    taken: set[str] = set()
    for place in range(sessions):
        number = int(numbers[place])
        serial = f"{template[place] % 7 + 1}0-{unit[place]:07}" if has_serial[place] else ""
        serials.append(serial)
        previous.append(last_of.get(serial) if serial else None)
        if serial:
            last_of[serial] = number
        ids.append(_id_of(number, tails[8 * place : 8 * place + 8], taken))
    return Plan(templates, seed, numbers, ids, serials, previous, template, is_left, desk)


def _id_of(number: int, random_bytes: bytes, taken: set[str]) -> str:
    at = datetime.fromisoformat(moment_text(number))
    tail = int.from_bytes(random_bytes, "big")
    while (session_id := new_session_id(at, tail.to_bytes(9, "big"))) in taken:
        tail += 1
    taken.add(session_id)
    return session_id


def _left_after(template: Template) -> list[int]:
    """Return after how many turns a call may be left: never right behind a note or a wait."""
    least, most = _LEFT_AFTER_TURNS
    found = [
        count
        for count in range(least, min(most, len(template.turns) - 2) + 1)
        if template.turns[count - 1].kind not in (TurnKind.NOTE, TurnKind.PARK)
    ]
    return found or [least]


def _is_handed_on(template: Template) -> bool:
    last = template.turns[-1].spoken[-1][1]
    return isinstance(last, Concluded) and last.ending == "opening.another_complaint"


def _until_us() -> int:
    return int(UNTIL.timestamp()) * 1_000_000


@cache
def desk_names() -> list[str]:
    """Return the invented names of the agents."""
    chance = random.Random("desks")
    found: dict[str, None] = {}
    while len(found) < DESKS:
        first, last = ("".join(chance.choices(_SYLLABLES, k=2)) for _ in range(2))
        found[f"{first.capitalize()} {last.capitalize()}"] = None
    return list(found)


@cache
def vocabulary() -> list[str]:
    """Return the words of the notes, the commonest first."""
    chance = random.Random("words")
    found = dict.fromkeys(COMMON_WORDS)
    while len(found) < VOCABULARY:
        found["".join(chance.choices(_SYLLABLES, k=chance.randint(2, 4)))] = None
    return list(found)


@cache
def word_weights() -> list[float]:
    """Return how often the words come, summed up from the commonest on."""
    return list(accumulate(1.0 / (rank + 1) for rank in range(VOCABULARY)))


@cache
def content_versions() -> list[str]:
    """Return the versions of the content over the years, as long as real ones are."""
    return [sha256(f"content {number}".encode()).hexdigest()[:12] for number in range(VERSIONS)]
