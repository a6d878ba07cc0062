"""What one call took through a tree, for a drawing to mark."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from triage.tree.drawing.sketch import Caution, Leap


@dataclass(frozen=True, slots=True)
class Trail:
    """The nodes a call passed and what it did there.

    `path` are nodes of the graph in the order passed, the one it stands at last. `marks` has words
    for nodes: what was answered, what a caution met, how it ended. `gate` are the cautions of the
    gate it came to, each with what was said to it. `leap` is where it ended by all readings
    together and not by a way of the tree. `lines` say which call it was and how it ended.
    """

    lines: tuple[str, ...]
    path: tuple[str, ...]
    marks: Mapping[str, str] = field(default_factory=dict)
    gate: tuple[Caution, ...] = ()
    leap: Leap | None = None
