"""The names that content files can choose among, as far as they can be read.

An editor is of most use while something is still wrong, so mistakes are no matter here: what cannot
be read is left out, or left open.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass

from triage.tree.content import Reading
from triage.tree.errors import Mistakes
from triage.tree.files import CAUSES, CAUTIONS, READINGS
from triage.tree.load_readings import read_readings
from triage.tree.marked_yaml import Items, Node, Scalar, Table, read_marked
from triage.tree.schema.kinds import Kind, kind_of
from triage.tree.sections import Section


@dataclass(frozen=True, slots=True)
class Known:
    """What there is to choose among: ids, each with the words that say what it is.

    `readings` holds None for a reading with mistakes, whose outcomes nobody can tell yet. `exits`
    maps the id of a part to its exits. `not_read` are files that are no sound YAML.
    """

    readings: Mapping[str, Reading | None]
    causes: Mapping[str, str]
    cautions: Mapping[str, str]
    hazards: Mapping[str, str]
    parts: Mapping[str, str]
    exits: Mapping[str, Mapping[str, str]]
    trees: Mapping[str, str]
    not_read: tuple[str, ...] = ()

    def named(self, reading_id: str) -> str:
        """Return what a reading is called, "" while nobody can tell."""
        reading = self.readings[reading_id]
        return reading.name if reading else ""


def known_in(files: Mapping[str, bytes]) -> Known:
    """Return the names that the files of a content folder bring, by id."""
    mistakes = Mistakes()  # told by `triage tree check`
    tables: dict[str, Table] = {}
    not_read: list[str] = []
    for name, data in files.items():
        if kind_of(name) is not None:
            table = read_marked(name, data, mistakes)
            if table is None:
                not_read.append(name)
            else:
                tables[name] = table

    def of(kind: Kind) -> Iterator[Table]:
        return (table for name, table in tables.items() if kind_of(name) is kind)

    readings: dict[str, Reading | None] = {}
    for table in of(Kind.READINGS):
        readings |= read_readings(Section(table, READINGS, mistakes), None)
    cautions = [item for table in of(Kind.CAUTIONS) for item in _entries(table, CAUTIONS)]
    parts = {_text(table, "part"): table for table in of(Kind.PART)}
    return Known(
        readings=readings,
        causes={
            name: _text(cause, "name")
            for table in of(Kind.CAUSES)
            for name, cause in _entries(table, CAUSES)
        },
        cautions={name: _text(caution, "title") for name, caution in cautions},
        hazards=_hazards(cautions),
        parts={name: _text(table, "title") for name, table in parts.items() if name},
        exits={name: dict(_texts(table, "exits")) for name, table in parts.items() if name},
        trees={
            name: _text(table, "title") for table in of(Kind.TREE) if (name := _text(table, "tree"))
        },
        not_read=tuple(not_read),
    )


def _hazards(cautions: list[tuple[str, Node]]) -> dict[str, str]:
    """Return each hazard some caution warns of, with the titles of those that do."""
    warned: dict[str, list[str]] = {}
    for _, caution in cautions:
        listed = _value(caution, "hazards")
        for word in listed.items if isinstance(listed, Items) else ():
            if isinstance(word, Scalar) and word.text.strip():
                warned.setdefault(word.text.strip(), []).append(_text(caution, "title"))
    return {hazard: "; ".join(filter(None, titles)) for hazard, titles in warned.items()}


def _entries(node: Node, key: str) -> Iterator[tuple[str, Node]]:
    inner = _value(node, key)
    if isinstance(inner, Table):
        yield from ((name, entry.value) for name, entry in inner.entries.items())


def _texts(node: Node, key: str) -> Iterator[tuple[str, str]]:
    for name, value in _entries(node, key):
        yield name, value.text if isinstance(value, Scalar) else ""


def _text(node: Node, key: str) -> str:
    value = _value(node, key)
    return value.text.strip() if isinstance(value, Scalar) else ""


def _value(node: Node, key: str) -> Node | None:
    entry = node.entries.get(key) if isinstance(node, Table) else None
    return entry.value if entry else None
