"""A sketch as DOT text, for Graphviz to lay out.

Ways that go on are edges, each leaving from the cell that says when it is taken. Folded, a finish
is a row of the box it is reached from, so nothing is left to draw but the ways through the tree;
spread out, every finish and its gate are nodes of their own.
"""

from __future__ import annotations

from collections.abc import Iterator

from triage.tree.content import Stage
from triage.tree.drawing.dot_table import (
    DARK,
    FONT,
    box_table,
    finish_table,
    heading_table,
    shown,
    wrapped,
)
from triage.tree.drawing.sketch import Finish, Kind, Leap, Sketch, Space
from triage.tree.drawing.words import elsewhere_words, entrance_words, gate_words, part_words

_TAKEN_PEN = "penwidth=4"

_OUTSIDE = 'shape=cds, margin="0.3,0.15"'
"""An arrow on what is not drawn; its point takes room that Graphviz does not keep for words."""


def dot_text(sketch: Sketch, *, is_folded: bool = True) -> str:
    """Return the sketch as the text of a DOT file."""
    return "\n".join(_Pen(sketch, is_folded=is_folded).lines()) + "\n"


class _Pen:
    def __init__(self, sketch: Sketch, *, is_folded: bool) -> None:
        self._sketch = sketch
        self._is_folded = is_folded

    def lines(self) -> Iterator[str]:
        """Yield the lines of the file."""
        sketch = self._sketch
        yield f"digraph {_quoted(sketch.tree)} {{"
        # Spread out, boxes have a row for each way, so edges leave to the right.
        direction = "TB" if self._is_folded else "LR"
        yield (
            f"  graph [rankdir={direction}, bgcolor=white, nodesep=0.4, ranksep=0.35, "
            f'fontname="{FONT}", '
            f"labelloc=t, labeljust=l, label=<{heading_table(sketch)}>];"
        )
        yield f'  node [shape=plain, fontname="{FONT}", fontsize=11];'
        yield f'  edge [fontname="{FONT}", fontsize=10, arrowsize=0.8];'
        for heading, stage, space in sketch.stages():
            yield f"  subgraph {_quoted(f'cluster_{stage.value}')} {{"
            yield (
                f"    label=<<B>{heading}</B>>; style=rounded; penwidth=1.5; fontsize=16; "
                "margin=12;"
            )
            yield from self._space(space, stage, "    ")
            yield "  }"
        for box in sketch.outside():
            words = wrapped(elsewhere_words(box), 40)
            pen = f", {_TAKEN_PEN}" if box.is_taken else ""
            yield f"  {_quoted(box.id)} [{_OUTSIDE}, label=<{words}>{pen}];"
        yield from self._entrances()
        if not self._is_folded:
            for finish in sketch.finishes.values():
                yield from self._finish(finish)
        yield from self._ways()
        yield "}"

    def _space(self, space: Space, stage: Stage, indent: str) -> Iterator[str]:
        """Yield the boxes of a namespace, and the namespaces in it as clusters."""
        for box in space.boxes:
            table = box_table(box, self._sketch, is_folded=self._is_folded)
            yield f"{indent}{_quoted(box.id)} [label=<{table}>];"
        for inner in space.inner:
            words = part_words(inner.path, self._sketch)
            yield f"{indent}subgraph {_quoted(f'cluster_{stage.value}_{inner.path}')} {{"
            yield (
                f'{indent}  label=<<I>{shown(words)}</I>>; style="rounded,dashed"; penwidth=1; '
                "fontsize=12; margin=10;"
            )
            yield from self._space(inner, stage, indent + "  ")
            yield f"{indent}}}"

    def _entrances(self) -> Iterator[str]:
        sketch = self._sketch
        if any(box.id == sketch.start for box in sketch.boxes):
            yield '  "start:" [shape=circle, label=<<B>START</B>>, penwidth=2];'
            yield f'  "start:" -> {_quoted(sketch.start)};'
        for name, sources in sketch.entries.items():
            entrance = _quoted(f"from:{name}")
            yield f"  {entrance} [{_OUTSIDE}, label=<{wrapped(entrance_words(sources), 40)}>];"
            yield f"  {entrance} -> {_quoted(name)};"

    def _finish(self, finish: Finish) -> Iterator[str]:
        shape = "box, peripheries=2" if finish.kind is Kind.CONCLUDED else "note"
        pen = f", {_TAKEN_PEN}" if finish.is_taken else ""
        name = _quoted(finish.id)
        yield f"  {name} [shape={shape}, label=<{finish_table(finish)}>{pen}];"
        if finish.gate:
            pen = f", {_TAKEN_PEN}" if finish.is_gate_met else ""
            gate = _quoted(f"gate:{finish.id}")
            words = wrapped(gate_words([finish]), 36)
            yield (
                f'  {gate} [shape=hexagon, margin=0, style=filled, fillcolor="{DARK}", '
                f"fontcolor=white, label=<{words}>{pen}];"
            )
            pen = f" [{_TAKEN_PEN}]" if finish.is_gate_met else ""
            yield f"  {name} -> {gate}{pen};"

    def _ways(self) -> Iterator[str]:
        side = "s" if self._is_folded else "e"
        for box in self._sketch.boxes:
            for number, way in enumerate(box.ways):
                if self._is_folded and way.target in self._sketch.finishes:
                    continue
                pen = f" [{_TAKEN_PEN}]" if way.is_taken else ""
                yield f"  {_quoted(box.id)}:w{number}:{side} -> {_quoted(way.target)}{pen};"
        if self._sketch.leap is not None:
            yield from self._leap(self._sketch.leap)

    def _leap(self, leap: Leap) -> Iterator[str]:
        """Yield the way that no rule takes; folded, its finish gets a node for this once."""
        source, target = _quoted(leap.source), _quoted(leap.target)
        if self._is_folded:
            finish = self._sketch.finishes[leap.target]
            table = finish_table(finish, with_gate=True, came_by=leap.words)
            yield f"  {target} [shape=box, {_TAKEN_PEN}, label=<{table}>];"
        label = "" if self._is_folded else f", label=<{wrapped(leap.words, 30)}>"
        yield f"  {source} -> {target} [style=dashed, {_TAKEN_PEN}{label}];"


def _quoted(text: str) -> str:
    within = text.replace("\\", "\\\\").replace('"', '\\"')
    return f'"{within}"'
