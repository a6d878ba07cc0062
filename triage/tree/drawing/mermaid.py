"""A sketch as Mermaid text: a flowchart that any host of Mermaid lays out.

Every kind of node has a shape of its own and its kind as its first word. Folded, the finishes
reached from a box are gathered into one node for each kind, a finish a line; spread out, each is a
node. A way that a call took is a thick line.
"""

from __future__ import annotations

import json
import re
from collections import Counter
from collections.abc import Iterable, Iterator, Sequence

from triage.tree.content import Stage
from triage.tree.drawing.sketch import Box, Finish, Kind, Leap, Sketch, Space, Way
from triage.tree.drawing.words import (
    ANY_ANSWER,
    caution_words,
    elsewhere_words,
    entrance_words,
    gate_words,
    legend,
    licensed_words,
    mark_words,
    part_words,
    settle_words,
    spelled,
    when_lines,
)

_SHAPES = {
    "question": ('("', '")'),
    "fork": ('{{"', '"}}'),
    "caution": ('>"', '"]'),
    "concluded": ('[["', '"]]'),
    "handed_over": ('[/"', '"/]'),
    "gate": ('[/"', '"\\]'),
    "elsewhere": ('(["', '"])'),
    "start": ('(("', '"))'),
    "note": ('["', '"]'),
}
_CLASSES = {
    "question": "fill:#ffffff,stroke:#000000,color:#000000",
    "fork": "fill:#ebebeb,stroke:#000000,color:#000000",
    "caution": "fill:#000000,stroke:#000000,color:#ffffff",
    "concluded": "fill:#ffffff,stroke:#000000,color:#000000,stroke-width:2px",
    "handed_over": "fill:#ebebeb,stroke:#000000,color:#000000,stroke-dasharray:6 3",
    "gate": "fill:#595959,stroke:#000000,color:#ffffff",
    "elsewhere": "fill:#ffffff,stroke:#000000,color:#000000",
    "start": "fill:#ffffff,stroke:#000000,color:#000000,stroke-width:2px",
    "note": "fill:#ffffff,stroke:#000000,color:#000000,text-align:left",
    "taken": "stroke-width:5px",
}
_KIND_CLASS = {
    Kind.QUESTION: "question",
    Kind.FORK: "fork",
    Kind.CONCLUDED: "concluded",
    Kind.HANDED_OVER: "handed_over",
    Kind.ELSEWHERE: "elsewhere",
}
_CONFIG = ("config:", "  flowchart:", "    wrappingWidth: 340")
"""Pixels after which a label is broken."""

_COUNTED = frozenset({"caution", "concluded", "handed_over", "gate"})
_BREAK = "<br/>"
_SPECIAL = re.compile(r"[^\w\s.,;!?()/%+=°:-]|_|:(?!\s|$)")
"""What is written by its number: signs of Mermaid's, of HTML and of Markdown, and colons that its
reader could take for a style."""
_LIST = re.compile(r"^(\d+)\.|^([-+])(?=\s)")
"""The beginning of what Markdown takes for a list."""


def mermaid_text(sketch: Sketch, *, is_folded: bool = True) -> str:
    """Return the sketch as the text of a Mermaid flowchart."""
    return "\n".join(_Pen(sketch, is_folded=is_folded).lines()) + "\n"


class _Pen:
    def __init__(self, sketch: Sketch, *, is_folded: bool) -> None:
        self._sketch = sketch
        self._is_folded = is_folded
        self._boxes = {box.id: box for box in sketch.boxes}
        self._names: dict[tuple[str, str], str] = {}
        self._taken_names: set[str] = set()
        self._counts: Counter[str] = Counter()
        self._links: list[str] = []

    def lines(self) -> Iterator[str]:
        """Yield the lines of the text: nodes by stage and part, then links, then looks."""
        sketch = self._sketch
        # A quoted string of JSON is one of YAML as well, which the head of a flowchart is.
        yield from ("---", f"title: {json.dumps(sketch.title)}", *_CONFIG, "---", "flowchart TB")
        yield from self._legend()
        if sketch.start in self._boxes:
            yield f"  {self._node('start', sketch.start, ['START'])}"
            self._link(self._name("start", sketch.start), self._entrance(sketch.start))
        for heading, stage, space in sketch.stages():
            yield f'  subgraph {self._name("stage", stage.value)}["{_label([heading])}"]'
            yield from self._space(space, stage, "    ")
            yield "  end"
        for box in sketch.outside():
            words = [elsewhere_words(box)]
            yield f"  {self._node('elsewhere', box.id, words, is_taken=box.is_taken)}"
        yield from self._entries()
        if not self._is_folded:
            for finish in sketch.finishes.values():
                yield from self._finish(finish)
        if sketch.leap is not None:
            yield from self._leap(sketch.leap)
        yield from (f"  {link}" for link in self._links)
        yield from (f"  classDef {name} {look}" for name, look in _CLASSES.items())

    def _legend(self) -> Iterator[str]:
        about = [*self._sketch.about, *self._sketch.call]
        meanings = [f"{word}: {meaning}" for word, meaning in legend(self._sketch)]
        yield '  subgraph legend["LEGEND"]'
        yield f"    {self._node('note', 'about', about)}"
        yield f"    {self._node('note', 'words', meanings)}"
        yield "  end"

    def _space(self, space: Space, stage: Stage, indent: str) -> Iterator[str]:
        """Yield the boxes of a namespace, and the namespaces in it as subgraphs."""
        for box in space.boxes:
            yield from (f"{indent}{line}" for line in self._box(box))
        for inner in space.inner:
            label = _label([part_words(inner.path, self._sketch)])
            name = self._name("part", f"{stage.value}.{inner.path}")
            yield f'{indent}subgraph {name}["{label}"]'
            yield from self._space(inner, stage, indent + "  ")
            yield f"{indent}end"

    def _box(self, box: Box) -> Iterator[str]:
        role = _KIND_CLASS[box.kind]
        name = self._name("box", box.id)
        if box.cautions:
            words = [caution_words(box.cautions)]
            yield self._node("caution", box.id, words, is_taken=box.is_taken)
            self._link(self._name("caution", box.id), name, is_taken=box.is_taken)
        words = [f"{box.kind.value}{licensed_words(box)}: {box.title or spelled(box.id)}", box.asks]
        words.append(mark_words(box))
        yield self._shaped(name, role, words, is_taken=box.is_taken)
        for way in box.ways:
            if way.target not in self._sketch.finishes:
                self._link(name, self._entrance(way.target), way)
            elif not self._is_folded:
                self._link(name, self._name("finish", way.target), way)
        if self._is_folded:
            yield from self._folds(box)

    def _folds(self, box: Box) -> Iterator[str]:
        """Yield the finishes reached from a box, gathered by kind, and the gate behind each."""
        for kind in (Kind.CONCLUDED, Kind.HANDED_OVER):
            ends = [(way, self._sketch.finishes.get(way.target)) for way in box.ways]
            held = [(way, end) for way, end in ends if end is not None and end.kind is kind]
            if not held:
                continue
            role = _KIND_CLASS[kind]
            lines = [kind.value]
            for way, finish in held:
                lines.append(f"{' '.join(when_lines(way))} → {finish.title}")
                lines += [mark_words(finish)] if way.is_taken else []
            taken = [finish for way, finish in held if way.is_taken]
            is_taken = bool(taken)
            yield self._node(role, box.id, lines, is_taken=is_taken)
            self._link(self._name("box", box.id), self._name(role, box.id), is_taken=is_taken)
            finishes = taken or [finish for _, finish in held]
            yield from self._gate(role, box.id, finishes, is_taken=is_taken)

    def _finish(self, finish: Finish) -> Iterator[str]:
        role = _KIND_CLASS[finish.kind]
        lines = [f"{finish.kind.value}: {finish.title}", finish.because]
        lines += [settle_words(finish), mark_words(finish)]
        name = self._name("finish", finish.id)
        yield f"  {self._shaped(name, role, lines, is_taken=finish.is_taken)}"
        yield from (
            f"  {line}" for line in self._gate("finish", finish.id, [finish], is_taken=True)
        )

    def _gate(
        self, role: str, name: str, finishes: Sequence[Finish], *, is_taken: bool
    ) -> Iterator[str]:
        """Yield the gate behind a node of finishes, if any of them has one."""
        words = gate_words(finishes, is_taken=is_taken)
        if words:
            is_met = is_taken and any(finish.is_gate_met for finish in finishes)
            yield self._node("gate", f"{role}:{name}", [words], is_taken=is_met)
            gate = self._name("gate", f"{role}:{name}")
            self._link(self._name(role, name), gate, is_taken=is_met)

    def _entries(self) -> Iterator[str]:
        for name, sources in self._sketch.entries.items():
            words = [entrance_words(sources)]
            yield f"  {self._node('elsewhere', f'from:{name}', words)}"
            self._link(self._name("elsewhere", f"from:{name}"), self._entrance(name))

    def _leap(self, leap: Leap) -> Iterator[str]:
        """Yield the link that no rule of the tree is behind; folded, its finish becomes a node."""
        if self._is_folded:
            yield from self._finish(self._sketch.finishes[leap.target])
        source, target = self._name("box", leap.source), self._name("finish", leap.target)
        self._links.append(f'{source} -. "{_label([leap.words])}" .-> {target}')

    def _entrance(self, target: str) -> str:
        """Return the name of the node a link to a box leads to: its caution, or itself."""
        box = self._boxes[target]
        if box.kind is Kind.ELSEWHERE:
            return self._name("elsewhere", target)
        return self._name("caution" if box.cautions else "box", target)

    def _link(
        self, source: str, target: str, way: Way | None = None, *, is_taken: bool = False
    ) -> None:
        lines = when_lines(way) if way is not None and way.words != (ANY_ANSWER,) else ()
        words = f'|"{_label(lines)}"|' if lines else ""
        arrow = "==>" if is_taken or (way is not None and way.is_taken) else "-->"
        self._links.append(f"{source} {arrow}{words} {target}")

    def _node(self, role: str, name: str, lines: Sequence[str], *, is_taken: bool = False) -> str:
        return self._shaped(self._name(role, name), role, lines, is_taken=is_taken)

    def _shaped(self, name: str, role: str, lines: Sequence[str], *, is_taken: bool) -> str:
        before, after = _SHAPES[role]
        # One class by the short form; a second one has to be given by itself.
        if is_taken:
            self._links.append(f"class {name} taken")
        return f"{name}{before}{_label(lines)}{after}:::{role}"

    def _name(self, role: str, name: str) -> str:
        """Return the id of a node: letters, digits and underscores, and no other node's.

        What stands beside a box is counted, not named after it, since a text may be only so long.
        """
        key = (role, name)
        if key not in self._names:
            if role in _COUNTED:
                self._counts[role] += 1
                word = f"{role}{self._counts[role]}"
            else:
                word = f"{role}_{re.sub(r'[^A-Za-z0-9]+', '_', name)}"
            while word in self._taken_names:
                word += "_"
            self._taken_names.add(word)
            self._names[key] = word
        return self._names[key]


def _label(lines: Iterable[str]) -> str:
    return _BREAK.join(map(_escaped, filter(None, lines)))


def _escaped(line: str) -> str:
    r"""Return a line that a label shows as it stands.

    >>> _escaped('1. "a" <b>')
    '1#46; #34;a#34; #60;b#62;'
    """
    plain = _SPECIAL.sub(lambda found: f"#{ord(found[0])};", line)
    return _LIST.sub(lambda found: f"{found[1]}#46;" if found[1] else f"#{ord(found[2])};", plain)
