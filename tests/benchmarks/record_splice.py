"""Sessions made of templates: names, notes, times, serial numbers put in, hashes worked out anew.

What comes out is what `triage.store.record.chain` and `triage.store.summary.summarized` make of the
same events; `record_generator` compares samples. Texts are spliced instead of built, since each
event's canonical JSON differs from its template's in a few places only.
"""

from __future__ import annotations

import random
from dataclasses import dataclass, replace
from datetime import UTC, datetime, timedelta
from functools import cache
from hashlib import sha256
from typing import Any

from tests.benchmarks.record_templates import (
    AGENT,
    DUE_AT,
    NOTE,
    SECOND_AGENT,
    SERIAL,
    VERSION,
    Template,
    TemplateTurn,
    TurnKind,
)
from triage.dialogue.events import (
    EVENT_FORMAT,
    Event,
    Identified,
    Noted,
    Parked,
    RepairReported,
    Said,
    Stopped,
    event_to_data,
)
from triage.store.listing import PARKED, SessionSummary, searchable, serial_key
from triage.store.record import FIRST_PREVIOUS_HASH, StoredEvent, canonical_json, chain
from triage.store.summary import CountKey, NodeCounts, summarized

DAY_US = 86_400_000_000
_MINUTE_US = 60_000_000
PARK_WAIT = timedelta(minutes=20)

Row = tuple[str, int, str, str, str, int, str, str, str, str]
"""An event in the order of its columns."""


@dataclass(frozen=True, slots=True)
class Recipe:
    """What one session is made of.

    `turns` is how many turns of the template it has, `end` what broke it off there: an event, or
    None. `report` is what came of it and `report_wait_us` when. `started_us` since 1970 [us].
    """

    session_id: str
    started_us: int
    template: int
    turns: int
    end: Stopped | Parked | None
    agent: str
    second_agent: str
    version: str
    serial_number: str
    previous_number: int | None
    notes: tuple[str, ...]
    report: RepairReported | None
    report_wait_us: int
    seed: int


@dataclass(frozen=True, slots=True)
class Session:
    """A whole session as it is stored."""

    rows: list[Row]
    line: SessionSummary
    counts: dict[CountKey, NodeCounts]


@dataclass(frozen=True, slots=True)
class _Piece:
    """An event of a template; `head` is its canonical JSON up to the hash before it."""

    speaker: str
    kind: str
    data: str
    head: str
    tail: str
    places: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class _Turn:
    """A turn of a template, with what the summary is after it and what it adds to the counts.

    `serial` is the place of the event that may be left out. `node_before` is None where the time
    since the turn before does not count.
    """

    kind: TurnKind
    pieces: tuple[_Piece, ...]
    after: SessionSummary
    counted: tuple[tuple[str, int, int, int, int, int], ...]
    node_before: str | None
    notes: tuple[str, ...]
    wait_us: int
    serial: int | None


class Splicer:
    """Makes sessions of templates."""

    def __init__(self, templates: list[Template]) -> None:
        self._templates = templates
        self._turns = [_prepared(template) for template in templates]
        self._ends: dict[tuple[int, int, Stopped | Parked], _Turn] = {}

    def session(self, recipe: Recipe) -> Session:
        """Return the session a recipe describes."""
        turns = self._turns[recipe.template][: recipe.turns]
        chance = random.Random(recipe.seed).random
        notes = list(recipe.notes)
        rows: list[Row] = []
        counts: dict[str, dict[str, list[float]]] = {}
        at_us, previous, desk = recipe.started_us, FIRST_PREVIOUS_HASH, recipe.agent
        active_s, words, wait_us = 0.0, [""], 0
        fills = {
            AGENT: recipe.agent, SECOND_AGENT: recipe.second_agent, VERSION: recipe.version,
            SERIAL: recipe.serial_number,
        }  # fmt: skip
        at = moment_text(at_us)
        if recipe.end is not None:
            turns = [*turns, self._broken_off(recipe, recipe.end)]
        for number, turn in enumerate(turns):
            if turn.kind is TurnKind.NOTE:
                if not notes:
                    continue
                fills[NOTE] = notes.pop(0)
                words.append(fills[NOTE])
            words += turn.notes
            if number:
                passed_us = _pause_us(turn.kind, chance, wait_us)
                at_us += passed_us
                at = moment_text(at_us)
                if turn.kind is TurnKind.RESUME:
                    desk = recipe.second_agent
            else:
                passed_us = 0
            wait_us = turn.wait_us
            if wait_us:
                fills[DUE_AT] = moment_text(at_us + wait_us)
            of_month = counts.setdefault(f"{at[:7]}{desk}", {})
            if turn.node_before is not None and passed_us:
                active_s += passed_us / 1_000_000
                of_node = of_month.setdefault(turn.node_before, [0, 0, 0, 0, 0, 0.0])
                of_node[5] += passed_us / 1_000_000
            for node, *added in turn.counted:
                of_node = of_month.setdefault(node, [0, 0, 0, 0, 0, 0.0])
                for place in range(5):
                    of_node[place] += added[place]
            for place, piece in enumerate(turn.pieces):
                if place == turn.serial and not recipe.serial_number:
                    continue
                previous = _put(rows, piece, recipe, fills, at, previous)
        after = turns[-1].after
        line = replace(
            after,
            session_id=recipe.session_id,
            number=recipe.started_us,
            started_at=rows[0][2],
            last_at=at,
            count=len(rows),
            head_hash=previous,
            agent=recipe.agent,
            desk=desk,
            content_version=recipe.version,
            serial_number=recipe.serial_number,
            serial_key=serial_key(recipe.serial_number),
            previous_number=recipe.previous_number if recipe.serial_number else None,
            active_s=active_s,
            words=" ".join(searchable(" ".join(words))),
            due_at=fills[DUE_AT] if after.state == PARKED else "",
        )
        if recipe.report is not None:
            line = self._reported(recipe, rows, at_us, line)
        return Session(rows, line, _keyed(counts))

    def _broken_off(self, recipe: Recipe, end: Stopped | Parked) -> _Turn:
        key = (recipe.template, recipe.turns, end)
        if key not in self._ends:
            before = self._turns[recipe.template][recipe.turns - 1].after
            at = datetime.fromisoformat(before.last_at) + timedelta(seconds=1)
            self._ends[key] = _prepare(
                _last_turn(end), before, before.count, before.head_hash, at
            )[0]  # fmt: skip
        return self._ends[key]

    def _reported(
        self, recipe: Recipe, rows: list[Row], at_us: int, line: SessionSummary
    ) -> SessionSummary:
        """Append the report; few have one, so here the store's own ways are quick enough."""
        now = datetime(1970, 1, 1, tzinfo=UTC) + timedelta(
            microseconds=at_us + recipe.report_wait_us
        )
        assert recipe.report is not None
        (record,) = chain(
            recipe.session_id, [("repair report", recipe.report)], recipe.version, now,
            len(rows), line.head_hash,
        )  # fmt: skip
        rows.append(row_of_event(record))
        return summarized([record], line)[0]

    def spoken(self, recipe: Recipe) -> list[tuple[list[tuple[str, Event]], int]]:
        """Return the same session as events, turn by turn with the time of each [us], for a check.

        Nothing is spliced here: events are made anew.
        """
        chance = random.Random(recipe.seed).random
        notes = list(recipe.notes)
        fills = {
            AGENT: recipe.agent, SECOND_AGENT: recipe.second_agent, VERSION: recipe.version,
            SERIAL: recipe.serial_number,
        }  # fmt: skip
        at_us, wait_us = recipe.started_us, 0
        found: list[tuple[list[tuple[str, Event]], int]] = []
        turns = list(self._templates[recipe.template].turns[: recipe.turns])
        if recipe.end is not None:
            turns.append(_last_turn(recipe.end))
        for number, turn in enumerate(turns):
            if turn.kind is TurnKind.NOTE:
                if not notes:
                    continue
                fills[NOTE] = notes.pop(0)
            if number:
                at_us += _pause_us(turn.kind, chance, wait_us)
            wait_us = turn.wait // timedelta(microseconds=1)
            if wait_us:
                fills[DUE_AT] = moment_text(at_us + wait_us)
            spoken = [
                (speaker, _filled(event, fills))
                for speaker, event in turn.spoken
                if recipe.serial_number or not isinstance(event, Identified)
            ]
            found.append((spoken, at_us))
        if recipe.report is not None:
            found.append(([("repair report", recipe.report)], at_us + recipe.report_wait_us))
        return found


def _put(
    rows: list[Row], piece: _Piece, recipe: Recipe, fills: dict[str, str], at: str, previous: str
) -> str:
    """Append one event to `rows` and return its hash."""
    data, head = piece.data, piece.head
    for place in piece.places:
        data = data.replace(place, fills[place])
        head = head.replace(place, fills[place])
    sequence = len(rows) + 1
    session_id = recipe.session_id
    text = (
        f'{{"content_version":"{recipe.version}",{head}{previous}","recorded_at":"{at}",'
        f'"sequence":{sequence},"session_id":"{session_id}",{piece.tail}'
    )
    own = sha256(text.encode("ascii")).hexdigest()
    rows.append(
        (
            session_id, sequence, at, piece.speaker, recipe.version, EVENT_FORMAT, piece.kind,
            data, previous, own,
        )
    )  # fmt: skip
    return own


def _prepared(template: Template) -> list[_Turn]:
    prepared: list[_Turn] = []
    summary: SessionSummary | None = None
    previous, count = FIRST_PREVIOUS_HASH, 0
    at = datetime(2000, 1, 1, tzinfo=UTC)
    for turn in template.turns:
        turned, summary, count, previous = _prepare(turn, summary, count, previous, at)
        prepared.append(turned)
        at += timedelta(seconds=1)
    return prepared


def _prepare(
    turn: TemplateTurn, before: SessionSummary | None, count: int, previous: str, at: datetime
) -> tuple[_Turn, SessionSummary, int, str]:
    """Return a turn ready to be spliced, and what stands after it."""
    records = chain("template", turn.spoken, VERSION, at, count, previous)
    after, counts = summarized(records, before)
    counted, node_before = [], None
    for (_month, _desk, node), added in counts.items():
        if added.seconds:
            node_before = node
        numbers = (
            added.asked, added.unknown, added.misunderstood, added.looked, added.refused
        )  # fmt: skip
        if any(numbers):
            counted.append((node, *numbers))
    serial = next(
        (place for place, (_, item) in enumerate(turn.spoken) if isinstance(item, Identified)), None
    )
    notes = tuple(item.text for _, item in turn.spoken if isinstance(item, Noted))
    prepared = _Turn(
        turn.kind,
        tuple(_piece(record) for record in records),
        after,
        tuple(counted),
        node_before,
        () if turn.kind is TurnKind.NOTE else notes,
        turn.wait // timedelta(microseconds=1),
        serial,
    )
    return prepared, after, records[-1].sequence, records[-1].hash


def _piece(record: StoredEvent) -> _Piece:
    data = canonical_json(record.data)
    places = tuple(
        place for place in (SECOND_AGENT, AGENT, VERSION, SERIAL, DUE_AT, NOTE) if place in data
    )
    head = (
        f'"data":{data},"event_format":{record.event_format},"kind":"{record.kind}",'
        '"previous_hash":"'
    )
    tail = f'"speaker":"{record.speaker}"}}'
    return _Piece(record.speaker, record.kind, data, head, tail, places)


def _last_turn(end: Stopped | Parked) -> TemplateTurn:
    """Return the turn that breaks a call off."""
    typed = "stop" if isinstance(end, Stopped) else end.typed
    if isinstance(end, Parked):
        end = replace(end, due_at=DUE_AT)
    wait = PARK_WAIT if isinstance(end, Parked) else timedelta()
    return TemplateTurn(TurnKind.PLAIN, (("agent", Said(typed)), ("agent", end)), wait)


def _filled(event: Event, fills: dict[str, str]) -> Event:
    values = {}
    for name, value in event_to_data(event).items():
        if isinstance(value, str):
            for place in (SECOND_AGENT, AGENT, VERSION, SERIAL, DUE_AT, NOTE):
                if place in value:
                    values[name] = value = value.replace(place, fills[place])
    return replace(event, **values) if values else event


def _pause_us(kind: TurnKind, chance: Any, wait_us: int) -> int:
    """Return how long the caller took to a turn, to the millisecond [us]."""
    draw = chance()
    match kind:
        case TurnKind.RESUME:
            return wait_us + int(draw * 12 * 60_000) * 1000
        case TurnKind.QUICK:
            return 4_000_000 + int(draw * 9_000) * 1000
        case _:
            # Most are quick, some wait for the machine: a cube has a long tail.
            return 6_000_000 + int(draw * draw * draw * 170_000) * 1000


def _keyed(counts: dict[str, dict[str, list[float]]]) -> dict[CountKey, NodeCounts]:
    return {
        (key[:7], key[7:], node): NodeCounts(*map(int, added[:5]), added[5])
        for key, nodes in counts.items()
        for node, added in nodes.items()
    }


def row_of_event(record: StoredEvent) -> Row:
    """Return an event in the order of its columns."""
    return (
        record.session_id, record.sequence, record.recorded_at, record.speaker,
        record.content_version, record.event_format, record.kind, canonical_json(record.data),
        record.previous_hash, record.hash,
    )  # fmt: skip


def moment_text(moment_us: int) -> str:
    """Return a time in microseconds since 1970 as the record writes it."""
    day, of_day = divmod(moment_us, DAY_US)
    minutes, of_minute = divmod(of_day, _MINUTE_US)
    seconds, micros = divmod(of_minute, 1_000_000)
    hour, minute = divmod(minutes, 60)
    return f"{_day_text(day)}T{hour:02}:{minute:02}:{seconds:02}.{micros:06}+00:00"


@cache
def _day_text(day: int) -> str:
    return f"{datetime(1970, 1, 1) + timedelta(days=day):%Y-%m-%d}"
