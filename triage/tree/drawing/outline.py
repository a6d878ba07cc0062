"""A sketch as an outline: entries under entries, for a terminal or a screen reader.

Within a stage a box stands under the way that leads to it where no other way does, so what is asked
in one case only is set in. The only way on, and the longest line of several, go on beside their box
and not under it: a chain of questions stays flat. A box that several ways lead to stands by itself,
and ways refer to it.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from enum import StrEnum

from triage.tree.content import Stage
from triage.tree.drawing.sketch import Box, Finish, Kind, Sketch, Way
from triage.tree.drawing.words import (
    ANY_ANSWER,
    caution_words,
    elsewhere_words,
    entrance_words,
    gate_words,
    legend,
    licensed_words,
    mark_words,
    settle_words,
    when_lines,
)


class Role(StrEnum):
    """What an entry is, for a surface to choose a style by."""

    TITLE = "title"
    NOTE = "note"
    STAGE = "stage"
    BOX = "box"
    ASKS = "asks"
    CAUTION = "caution"
    WAY = "way"
    CONCLUDED = "concluded"
    HANDED_OVER = "handed_over"
    GATE = "gate"
    MARK = "mark"


@dataclass(frozen=True, slots=True)
class Entry:
    """Words and what stands under them; `is_taken` where a call came through."""

    words: str
    role: Role
    under: tuple[Entry, ...] = ()
    is_taken: bool = False


_FINISH_ROLES = {Kind.CONCLUDED: Role.CONCLUDED, Kind.HANDED_OVER: Role.HANDED_OVER}

_MOST_SET_IN = 4
"""Boxes up to which even the longest line is set in under its way (judged)."""


def outline_of(sketch: Sketch, *, is_folded: bool = True) -> Entry:
    """Return the sketch as one entry; spread out, each finish says why."""
    return _Outliner(sketch, is_folded=is_folded).outline()


class _Outliner:
    def __init__(self, sketch: Sketch, *, is_folded: bool) -> None:
        self._sketch = sketch
        self._is_folded = is_folded
        self._outside = {box.id: box for box in sketch.outside()}
        self._boxes = {box.id: box for box in sketch.boxes if box.id not in self._outside}
        self._shown: set[str] = set()
        self._inner = self._only_from_one()
        self._sizes = self._sizes_behind()

    def outline(self) -> Entry:
        """Return the whole outline."""
        sketch = self._sketch
        notes = [Entry(line, Role.NOTE) for line in sketch.about]
        notes += [Entry(line, Role.MARK, is_taken=True) for line in sketch.call]
        stages = [
            Entry(heading, Role.STAGE, tuple(self._stage(stage)))
            for heading, stage, _ in sketch.stages()
        ]
        meanings = [Entry(f"{word}: {meaning}", Role.NOTE) for word, meaning in legend(sketch)]
        words = Entry("WORDS", Role.STAGE, tuple(meanings))
        return Entry(f"{sketch.title} ({sketch.tree})", Role.TITLE, (*notes, *stages, words))

    def _only_from_one(self) -> dict[str, list[str]]:
        """Return by box the boxes of its stage that one way of it leads to, and no other way."""
        sources: dict[str, list[str]] = {self._sketch.start: [""]}
        for name, outside in self._sketch.entries.items():
            sources.setdefault(name, []).extend(box.id for box in outside)
        for box in self._boxes.values():
            for way in box.ways:
                sources.setdefault(way.target, []).append(box.id)
        inner: dict[str, list[str]] = {}
        for box in self._boxes.values():
            come_from = sources.get(box.id, [])
            source = self._boxes.get(come_from[0]) if len(come_from) == 1 else None
            if source is not None and source.stage is box.stage:
                inner.setdefault(source.id, []).append(box.id)
        return inner

    def _sizes_behind(self) -> dict[str, int]:
        """Return how many boxes stand under each, itself among them."""
        sizes: dict[str, int] = {}
        for name in reversed(self._boxes):
            sizes[name] = 1 + sum(sizes.get(each, 1) for each in self._inner.get(name, ()))
        return sizes

    def _stage(self, stage: Stage) -> Iterator[Entry]:
        held = {name for names in self._inner.values() for name in names}
        boxes = [box for box in self._boxes.values() if box.stage is stage]
        # Boxes in a ring that nothing leads into have no first one, so they come last.
        for box in (*(box for box in boxes if box.id not in held), *boxes):
            if box.id not in self._shown:
                yield from self._line(box)

    def _line(self, box: Box) -> Iterator[Entry]:
        """Yield a box, then the boxes that go on beside it."""
        following: Box | None = box
        while following is not None:
            box = following
            self._shown.add(box.id)
            name = self._next(box)
            following = self._boxes.get(name)
            # Known before the ways are told, so that none of them takes it in.
            self._shown.add(name)
            under = (*self._about(box), *self._ways(box, name))
            words = f"{box.kind.value} {box.id}{f': {box.title}' if box.title else ''}"
            words += licensed_words(box)
            yield Entry(words, Role.BOX, under, box.is_taken)

    def _next(self, box: Box) -> str:
        """Return the box that goes on beside this one, "" if none does."""
        inner = [name for name in self._inner.get(box.id, ()) if name not in self._shown]
        name = max(inner, key=self._sizes.__getitem__, default="")
        onward = [way for way in box.ways if way.target not in self._sketch.finishes]
        is_long = bool(name) and self._sizes[name] > _MOST_SET_IN
        return name if len(onward) == 1 or is_long else ""

    def _about(self, box: Box) -> Iterator[Entry]:
        entrance = self._sketch.entries.get(box.id, ())
        if entrance:
            yield Entry(entrance_words(entrance), Role.NOTE)
        if box.cautions:
            yield Entry(caution_words(box.cautions), Role.CAUTION)
        if box.asks:
            yield Entry(box.asks, Role.ASKS)
        if mark_words(box):
            yield Entry(mark_words(box), Role.MARK, is_taken=box.is_taken)

    def _ways(self, box: Box, following: str) -> Iterator[Entry]:
        for way in box.ways:
            words = " ".join(when_lines(way))
            finish = self._sketch.finishes.get(way.target)
            if finish is not None:
                yield self._finish(finish, way, words)
            elif way.target == following:
                if way.words != (ANY_ANSWER,):
                    yield Entry(f"{words} -> {following}", Role.WAY, (), way.is_taken)
            elif way.target in self._inner.get(box.id, ()) and way.target not in self._shown:
                inner = tuple(self._line(self._boxes[way.target]))
                yield Entry(f"{words} ->", Role.WAY, inner, way.is_taken)
            else:
                yield Entry(f"{words} -> {self._reference(way.target)}", Role.WAY, (), way.is_taken)
        leap = self._sketch.leap
        if leap is not None and leap.source == box.id:
            finish = self._sketch.finishes[leap.target]
            yield self._finish(finish, Way((leap.words,), leap.target, True), leap.words)

    def _reference(self, name: str) -> str:
        outside = self._outside.get(name)
        if outside is not None:
            return elsewhere_words(outside)
        return f"see {name}" if name in self._shown else name

    def _finish(self, finish: Finish, way: Way, words: str) -> Entry:
        under: list[Entry] = []
        if not self._is_folded:
            reasons = filter(None, (finish.because, settle_words(finish)))
            under += [Entry(reason, Role.ASKS) for reason in reasons]
        if way.is_taken and mark_words(finish):
            under.append(Entry(mark_words(finish), Role.MARK, is_taken=True))
        gate = gate_words([finish], is_taken=way.is_taken)
        if gate:
            under.append(Entry(gate, Role.GATE, is_taken=way.is_taken and finish.is_gate_met))
        ended = f"{words} -> {finish.kind.value} {finish.id}: {finish.title}"
        return Entry(ended, _FINISH_ROLES[finish.kind], tuple(under), way.is_taken)
