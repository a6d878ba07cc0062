"""What is drawn of a tree, whatever it is drawn with: boxes, the ways between them, and finishes.

Cautions are part of the question they stand in front of, the gate is part of the finish it stands
behind: a drawing shows both with a shape and a word of their own, and cannot leave them out.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from enum import StrEnum

from triage.tree.content import Stage


class Kind(StrEnum):
    """What a box or a finish is, in the word that a drawing puts on it."""

    QUESTION = "QUESTION"
    FORK = "FORK"
    CONCLUDED = "CONCLUDED"
    HANDED_OVER = "HANDED OVER"
    ELSEWHERE = "ELSEWHERE"


@dataclass(frozen=True, slots=True)
class Way:
    """A way out of a box to the box, finish or place elsewhere called `target`.

    `words` say when it is taken, one for each outcome or rule.
    """

    words: tuple[str, ...]
    target: str
    is_taken: bool = False


@dataclass(frozen=True, slots=True)
class Caution:
    """A caution by its title; `mark` says what a call did about it."""

    title: str
    mark: str = ""


@dataclass(frozen=True, slots=True)
class Box:
    """A question, a fork, or what stands for a box outside the cut.

    `title` is what is read, "" of a fork, which has no words but its id; `asks` is the question as
    an agent puts it. `spaces` are the namespaces of the parts it stands in, the outermost first.
    `mark` says what a call did here.
    """

    id: str
    kind: Kind
    title: str
    stage: Stage
    asks: str = ""
    spaces: tuple[str, ...] = ()
    is_licensed: bool = False
    cautions: tuple[Caution, ...] = ()
    ways: tuple[Way, ...] = ()
    mark: str = ""
    is_taken: bool = False


@dataclass(frozen=True, slots=True)
class Space:
    """The boxes of a stage that stand in one namespace, and the namespaces in it."""

    path: str
    boxes: tuple[Box, ...]
    inner: tuple[Space, ...]


@dataclass(frozen=True, slots=True)
class Finish:
    """Where a call ends: concluded, or handed over.

    `title` names the causes, or says why it is handed over. `may_settle` are the causes that all
    readings together may still settle on. `gate` are the cautions acknowledged before a repair is
    told; empty where none is.
    """

    id: str
    kind: Kind
    title: str
    because: str
    may_settle: tuple[str, ...] = ()
    gate: tuple[Caution, ...] = ()
    mark: str = ""
    is_taken: bool = False

    @property
    def is_gate_met(self) -> bool:
        """Whether a call came to the gate here."""
        return any(caution.mark for caution in self.gate)


@dataclass(frozen=True, slots=True)
class Leap:
    """A way a call took that is no way of the tree, and the words for why."""

    source: str
    target: str
    words: str


@dataclass(frozen=True, slots=True)
class Sketch:
    """A tree, or a cut of it, ready to be drawn.

    `boxes` are in the order a call meets them. `entries` are boxes a call comes into the cut by,
    with those it comes from, which are not drawn. `gate` holds every caution of the gates drawn
    and how many finishes have it. `about` are lines on what the drawing shows, `call` those on the
    call marked in it. `parts` maps namespaces to the parts in them.
    """

    tree: str
    title: str
    start: str
    boxes: tuple[Box, ...]
    finishes: Mapping[str, Finish]
    entries: Mapping[str, tuple[Box, ...]] = field(default_factory=dict)
    gate: tuple[tuple[str, int], ...] = ()
    about: tuple[str, ...] = ()
    call: tuple[str, ...] = ()
    leap: Leap | None = None
    parts: Mapping[str, str] = field(default_factory=dict)

    def stages(self) -> Iterator[tuple[str, Stage, Space]]:
        """Yield each stage of the drawing: its heading, itself, and what stands in it."""
        for number, stage in enumerate(Stage, start=1):
            boxes = [
                box for box in self.boxes if box.stage is stage and box.kind is not Kind.ELSEWHERE
            ]
            if boxes:
                yield f"STAGE {number}: {stage.value.upper()}", stage, _space((), boxes)

    def outside(self) -> Iterator[Box]:
        """Yield what stands for the boxes outside the cut that ways lead to."""
        return (box for box in self.boxes if box.kind is Kind.ELSEWHERE)


def _space(path: tuple[str, ...], boxes: Iterable[Box]) -> Space:
    own: list[Box] = []
    inner: dict[str, list[Box]] = {}
    for box in boxes:
        if len(box.spaces) > len(path):
            inner.setdefault(box.spaces[len(path)], []).append(box)
        else:
            own.append(box)
    spaces = tuple(_space((*path, name), held) for name, held in inner.items())
    return Space(".".join(path), tuple(own), spaces)
