"""The schemas and the loader know the same keys, and shipped files please both."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from jsonschema import Draft7Validator

from tests.command_line import ROOT
from tests.tree.schema.editor import marks, table_of
from tests.tree.schema.folder import sound_files
from triage.physics.machine import CondenserKind
from triage.tree.content import ReadingKind, Side, Stage
from triage.tree.files import read_files
from triage.tree.load import content_from_files
from triage.tree.marked_yaml import Items, Node, Scalar, Table
from triage.tree.schema.graphs import STAGE_WORDS
from triage.tree.schema.kinds import Kind, kind_of
from triage.tree.schema.known import known_in
from triage.tree.schema.lists import KIND_WORDS, SIDE_WORDS
from triage.tree.schema.machines import CONDENSER_WORDS
from triage.tree.schema.schemas import DRAFT, schema_of
from triage.tree.sections import Section

FOLDER = Path("folder")
SHIPPED = read_files(ROOT / "trees")
FOLDERS = {"shipped": SHIPPED, "miniature": sound_files()}
KNOWN = {name: known_in(files) for name, files in FOLDERS.items()}

Spot = tuple[str, ...]
"""Keys on the way to a mapping of a file; * stands for a name of the writer's own."""


@pytest.mark.parametrize("kind", Kind)
@pytest.mark.parametrize("folder", FOLDERS)
def test_a_schema_is_one_of_draft_7(folder: str, kind: Kind) -> None:
    schema = schema_of(kind, KNOWN[folder])
    assert schema["$schema"] == DRAFT == Draft7Validator.META_SCHEMA["$schema"]
    Draft7Validator.check_schema(schema)


@pytest.mark.parametrize("folder", FOLDERS)
def test_an_editor_marks_nothing_in_a_sound_folder(folder: str) -> None:
    content_from_files(FOLDER, FOLDERS[folder])
    assert list(marks(FOLDERS[folder], KNOWN[folder])) == []


def test_there_is_a_schema_for_every_file_a_person_writes() -> None:
    kinds = {name: kind_of(name) for files in FOLDERS.values() for name in files}
    assert {name for name, kind in kinds.items() if kind is None} <= {"likelihoods.json"}
    assert set(kinds.values()) - {None} == set(Kind)


def test_keys_of_the_loader_and_of_the_schemas_are_the_same(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    told = {spot: keys for kind in Kind for spot, keys in closed(kind)}
    asked: dict[Spot, set[str]] = {}
    for folder in FOLDERS:
        for spot, keys in asked_by_the_loader(folder, monkeypatch):
            asked[spot] = asked.get(spot, set()) | keys
    assert asked == told


def test_every_member_of_an_enumeration_has_its_words() -> None:
    for words, members in (
        (KIND_WORDS, ReadingKind),
        (SIDE_WORDS, Side),
        (STAGE_WORDS, Stage),
        (CONDENSER_WORDS, CondenserKind),
    ):
        assert list(words) == list(members)
        assert all(words.values())


@pytest.mark.parametrize("kind", Kind)
def test_every_key_is_explained(kind: Kind) -> None:
    schema = schema_of(kind, KNOWN["shipped"])
    for spot, inner in properties(schema, (kind.value,)):
        described = str(inner.get("description", ""))
        assert len(described) > 3, spot
        assert all(len(sentence.split()) <= 30 for sentence in described.split(". ")), spot


# The keys the loader asks for, by where they stand.


def asked_by_the_loader(
    folder: str, monkeypatch: pytest.MonkeyPatch
) -> Iterator[tuple[Spot, set[str]]]:
    """Yield each mapping the loader reads key by key, and the keys it asked for."""
    files = FOLDERS[folder]
    sections: list[Section] = []

    class Spied(Section):
        def __init__(self, *arguments: Any) -> None:
            super().__init__(*arguments)
            sections.append(self)

    with monkeypatch.context() as patched:
        for module in ("load", "load_machine", "load_readings", "load_tree", "sections"):
            patched.setattr(f"triage.tree.{module}.Section", Spied)
        content_from_files(FOLDER, files)
    assert len(sections) > len(files)
    schemas = {kind: schema_of(kind, KNOWN[folder]) for kind in Kind}
    spots = {
        table.place: spot
        for name, data in files.items()
        if (kind := kind_of(name)) is not None
        for spot, table in tables(table_of(name, data), schemas[kind], (kind.value,))
    }
    for section in sections:
        yield spots[section.table.place], set(section._asked)


def tables(node: Node, schema: Any, spot: Spot) -> Iterator[tuple[Spot, Table]]:
    """Yield every mapping of a file with where it stands, names of the writer's own as *."""
    if isinstance(node, Items):
        for item in node.items:
            yield from tables(item, schema.get("items", {}), (*spot, "*"))
    if isinstance(node, Scalar | Items):
        return
    yield spot, node
    for key, entry in node.entries.items():
        if key in schema.get("properties", {}):
            yield from tables(entry.value, schema["properties"][key], (*spot, key))
        else:
            yield from tables(entry.value, schema.get("additionalProperties") or {}, (*spot, "*"))


# The keys the schemas name, by where they stand.


def closed(kind: Kind) -> Iterator[tuple[Spot, set[str]]]:
    """Yield each mapping of a kind of file whose keys are fixed, and these keys.

    Mappings over names of the content (readings, causes, trees) have no fixed keys.
    """
    known = KNOWN["shipped"]
    names = {*known.readings, *known.causes, *known.trees}
    names |= {outcome for each in known.readings.values() if each for outcome in each.outcomes}

    def inner(schema: Any, spot: Spot) -> Iterator[tuple[Spot, set[str]]]:
        keys = schema.get("properties", {})
        if keys and not set(keys) <= names:
            assert schema["additionalProperties"] is False, spot
            yield spot, set(keys)
        for key, child in keys.items():
            yield from inner(child, (*spot, key))
        for child in (schema.get("additionalProperties"), schema.get("items")):
            if isinstance(child, dict):
                yield from inner(child, (*spot, "*"))

    return inner(schema_of(kind, known), (kind.value,))


def properties(schema: Any, spot: Spot) -> Iterator[tuple[Spot, dict[str, Any]]]:
    """Yield every key a schema names, wherever it does, with what it says of it."""
    if isinstance(schema, list):
        for each in schema:
            yield from properties(each, spot)
    if not isinstance(schema, dict):
        return
    for word, inner in schema.items():
        if word == "properties":
            for key, child in inner.items():
                if isinstance(child, dict) and ("type" in child or "enum" in child):
                    yield (*spot, key), child
                yield from properties(child, (*spot, key))
        elif word not in ("if", "enum", "enumDescriptions"):
            yield from properties(inner, spot)
