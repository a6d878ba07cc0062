"""What the loader refuses an editor marks, and nothing else, as far as a schema can know it."""

from __future__ import annotations

import json
import re
from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.strategies import FIXED
from tests.tree.miniature import broken, sound_draft
from tests.tree.schema.editor import data_of, marks, table_of
from tests.tree.schema.folder import sound_files
from tests.tree.test_load_mistakes import ALL
from triage.tree.errors import ContentErrors
from triage.tree.load import content_from_files
from triage.tree.schema.known import known_in

FOLDER = Path("folder")
KNOWN_BEFORE = known_in(sound_draft().bytes())

ONLY_THE_LOADER: dict[str, str] = {
    "names of the same file": r"which is no (question, junction|choice of it)",
    "names used twice": r"rename one|is in .* already|keep it in one",
    "a subset of the same file": r"which is not in its shortlist",
    "what nothing uses": r"never takes the exit|is used nowhere",
    "parts in a circle": r"comes back to itself",
    "sums of chances": r"probabilities that sum to|yet they sum to",
    "an outcome routed twice": r"a second time; keep one of the routes",
    "amounts and their units": r"cannot be read|write gauge pressure|put the smaller first",
    "limits of a machine": r"not below greatest_",
    "the order of keys": r"make it the first line",
}
"""Mistakes no schema can know, each with words of the loader's message."""


def refusals(files: Mapping[str, bytes]) -> list[str]:
    """Return what the loader says of a folder, nothing if it is sound."""
    try:
        content_from_files(FOLDER, files)
    except ContentErrors as errors:
        return [str(each) for each in errors.mistakes]
    return []


def is_for_the_loader(message: str) -> bool:
    return any(re.search(words, message) for words in ONLY_THE_LOADER.values())


@pytest.mark.parametrize("name", ALL)
def test_an_editor_marks_what_the_loader_refuses(name: str) -> None:
    file, old, new, _ = ALL[name]
    files, _ = broken(file, old, new)
    (refusal,) = refusals(files)
    assert list(marks(files, KNOWN_BEFORE)) or is_for_the_loader(refusal), refusal


SPELLED: dict[str, tuple[str, str, str]] = {
    "a number with a plus": ("readings.yaml", "default_minute: 6", "default_minute: »+6"),
    "a number without its zero": ("readings.yaml", "default_minute: 6", "default_minute: ».5"),
    "a hexadecimal number": ("readings.yaml", "default_minute: 6", "default_minute: »0x6"),
    "true with a capital": (
        "readings.yaml",
        "kind: length, banded: true",
        "kind: length, banded: »True",
    ),
    "two keys alike": ("readings.yaml", "kind: length,", "kind: length, »kind: length,"),
}
"""Told by the loader alone: to an editor's data these are as good as their usual spelling."""


@pytest.mark.parametrize("name", SPELLED)
def test_how_a_value_is_spelled_is_for_the_loader(name: str) -> None:
    files, _ = broken(*SPELLED[name])
    assert refusals(files)
    assert list(marks(files, KNOWN_BEFORE)) == []


@pytest.mark.parametrize("word", ["true", "false"])
def test_only_a_bare_true_or_false_as_a_text_is_marked_although_it_loads(word: str) -> None:
    for text, is_marked in ((word, True), (f'"{word}"', False), ("220", False), ("no", False)):
        files, _ = broken("readings.yaml", "{name: room air, ", f"{{name: »{text}, ")
        assert refusals(files) == []
        assert bool(list(marks(files, KNOWN_BEFORE))) is is_marked


SOUND = {name: data_of(table_of(name, data)) for name, data in sound_files().items()}
"""The miniature's files as data; JSON is YAML, so a changed one is written as that."""


def written(data: Mapping[str, Any]) -> dict[str, bytes]:
    return {name: json.dumps(each).encode() for name, each in data.items()}


def inside(data: Any) -> Iterator[tuple[Any, Any]]:
    """Yield every mapping or list inside, with each key or number of it."""
    for key in list(data) if isinstance(data, dict) else range(len(data)):
        yield data, key
        if isinstance(data[key], dict | list):
            yield from inside(data[key])


def scalars(data: Any) -> Iterator[Any]:
    for holder, key in inside(data):
        if not isinstance(holder[key], dict | list):
            yield holder[key]
        if isinstance(key, str):
            yield key


WORDS = sorted({each for each in scalars(SOUND) if isinstance(each, str)} - set(SOUND))
ODD = [None, "", "  ", "no such word", 0, 1, 5, -1, 0.5, 1e12, [], {}, ["a", "a"], [5], {"a": 1}]
NAMES = ["else", "unknown", "exit", "Capital", "a b", "below|above", "below | below", "surplus"]


@st.composite
def spoiled(draw: st.DrawFn) -> dict[str, Any]:
    """Return the miniature with one spot changed, which may or may not do harm."""
    data = json.loads(json.dumps(SOUND))
    holder, key = draw(st.sampled_from(list(inside(data[draw(st.sampled_from(sorted(data)))]))))
    words = st.sampled_from(ODD) | st.sampled_from(WORDS)
    match draw(st.sampled_from(["drop", "change", "add", "rename", "repeat"])):
        case "drop":
            del holder[key]
        case "change":
            holder[key] = draw(words)
        case "add" if isinstance(holder, dict):
            holder[draw(st.sampled_from(NAMES) | st.sampled_from(WORDS))] = draw(words)
        case "rename" if isinstance(holder, dict):
            # In the place it had: the order of keys is no matter of a schema.
            name = draw(st.sampled_from(NAMES) | st.sampled_from(WORDS))
            entries = [(name if each == key else each, holder[each]) for each in holder]
            holder.clear()
            holder.update(entries)
        case "repeat" if isinstance(holder, list):
            holder.append(holder[key])
    return data


def test_the_miniature_is_sound_as_json() -> None:
    assert refusals(written(SOUND)) == []
    assert list(marks(written(SOUND))) == []


@settings(FIXED, max_examples=150)
@given(spoiled())
def test_loader_and_editor_agree_on_any_change(data: dict[str, Any]) -> None:
    files = written(data)
    refused, marked = refusals(files), list(marks(files))
    if not refused:
        assert marked == []
    elif not all(map(is_for_the_loader, refused)):
        assert marked, refused
