"""YAML as text with places: every scalar, list and mapping knows its file, line and column.

Plain words stay text, so that `no`, `11:00` or `1e3` are never turned into something else behind
the writer's back; the typed readers of `triage.tree.sections` decide what a scalar has to be.
What makes a file hard to trust or to read is refused: aliases and anchors, tags, duplicate keys,
several documents, deep nesting, oversized files, anything but UTF-8, control characters.
"""

from __future__ import annotations

import unicodedata
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any

from triage.tree.content import Place
from triage.tree.errors import Mistakes, quoted
from triage.tree.files import LARGEST_FILE_BYTES

DEEPEST_NESTING = 12
"""Greatest depth of mappings and lists in each other; content needs six (judged)."""

_NULLS = frozenset({"", "~", "null", "Null", "NULL"})
_REFUSED_CATEGORIES = frozenset({"Cc", "Cf", "Cs", "Zl", "Zp"})
_JOINERS = frozenset("\u200c\u200d")  # some scripts cannot be written without them


@dataclass(frozen=True, slots=True)
class Scalar:
    """A single text; `is_plain` if it stood without quotes."""

    text: str
    is_plain: bool
    place: Place

    @property
    def is_null(self) -> bool:
        """Whether nothing was written here."""
        return self.is_plain and self.text in _NULLS


@dataclass(frozen=True, slots=True)
class Items:
    """A list."""

    items: tuple[Node, ...]
    place: Place


@dataclass(frozen=True, slots=True)
class Table:
    """A mapping of text to anything, in the order written."""

    entries: Mapping[str, Entry]
    place: Place


@dataclass(frozen=True, slots=True)
class Entry:
    """One key of a table, with its place, and what stands under it."""

    key: Scalar
    value: Node


Node = Scalar | Items | Table


class _Unreadable(Exception):
    """Raised inside this module after a mistake that leaves nothing worth reading further."""


def read_marked(
    file: str,
    data: bytes,
    mistakes: Mistakes,
    loader: Any = None,
    *,
    first_line: str = "format: 1",
) -> Table | None:
    """Return the mapping a file holds, or None if `mistakes` now say why it cannot be had.

    file: name shown in places. data: the bytes of the file. loader: a PyYAML loader class; the
    fast one of the C library by default, the pure Python one where that is missing.
    first_line: what such a file begins with, for the message to one that holds something else.
    """
    start = Place(file, 1, 1)
    if len(data) > LARGEST_FILE_BYTES:
        mistakes.add(
            start,
            f"the file has {len(data) // 1024} kB, more than the {LARGEST_FILE_BYTES // 1024} kB "
            "allowed; split it",
        )
        return None
    text = _decoded(file, data, mistakes)
    if text is None or not _is_clean(file, text, mistakes):
        return None
    try:
        node = _Composer(file, text, mistakes, loader).document()
    except _Unreadable:
        return None
    if not isinstance(node, Table):
        mistakes.add(start, f"the file holds no mapping; start it with the line: {first_line}")
        return None
    return node


def _decoded(file: str, data: bytes, mistakes: Mistakes) -> str | None:
    try:
        return data.decode("utf-8-sig").replace("\r\n", "\n")
    except UnicodeDecodeError as error:
        before = data[: error.start].decode("utf-8-sig", errors="replace")
        place = _place_at(file, before, len(before))
        mistakes.add(place, "the file is not UTF-8 from here on; save it as UTF-8")
        return None


def _is_clean(file: str, text: str, mistakes: Mistakes) -> bool:
    # The whole text is known printable in the common case; the slow look is for the other one.
    if all(map(str.isprintable, text.replace("\t", "\n").split("\n"))):
        return True
    for index, char in enumerate(text):
        if _is_refused(char) and char != "\t":
            mistakes.add(
                _place_at(file, text, index),
                f"the character U+{ord(char):04X} cannot be shown; delete it",
            )
            return False
    return True


def _is_refused(char: str) -> bool:
    return (
        unicodedata.category(char) in _REFUSED_CATEGORIES and char != "\n" and char not in _JOINERS
    )


def _place_at(file: str, text: str, index: int) -> Place:
    line = text.count("\n", 0, index) + 1
    return Place(file, line, index - (text.rfind("\n", 0, index) + 1) + 1)


class _Composer:
    """Builds nodes from parser events; the events still show anchors, aliases and tags."""

    def __init__(self, file: str, text: str, mistakes: Mistakes, loader: Any) -> None:
        import yaml  # 20 ms: a call that finds the content cached does without

        self._yaml = yaml
        self._file = file
        self._mistakes = mistakes
        self._events: Iterator[Any] = iter(
            yaml.parse(
                text,
                Loader=loader
                or (yaml.CSafeLoader if hasattr(yaml, "CSafeLoader") else yaml.SafeLoader),
            )
        )

    def document(self) -> Node | None:
        yaml = self._yaml
        node: Node | None = None
        documents = 0
        while not isinstance(event := self._next(), yaml.StreamEndEvent):
            if isinstance(event, yaml.DocumentStartEvent):
                documents += 1
                if documents > 1:
                    self._refuse(event, "a second document starts here; put it in its own file")
                    raise _Unreadable
                if event.version or event.tags:
                    self._refuse(event, "a % directive stands here; delete it")
                node = self._node(self._next(), 0)
        return node

    def _next(self) -> Any:
        try:
            return next(self._events)
        except self._yaml.MarkedYAMLError as error:
            mark = error.problem_mark or error.context_mark
            place = (
                Place(self._file, mark.line + 1, mark.column + 1)
                if mark
                else Place(self._file, 1, 1)
            )
            self._mistakes.add(
                place,
                f"this is no YAML: {error.problem or error.context}; check indentation (spaces, no "
                "tabs), closing brackets and quotes, and quote text that holds a colon",
            )
            raise _Unreadable from error
        except self._yaml.YAMLError as error:
            self._mistakes.add(
                Place(self._file, 1, 1), "this is no YAML; open it in a text editor and look"
            )
            raise _Unreadable from error

    def _node(self, event: Any, depth: int) -> Node:
        yaml = self._yaml
        place = self._place(event)
        if isinstance(event, yaml.AliasEvent):
            self._refuse(event, f"*{event.anchor} is an alias; write the value out")
            raise _Unreadable
        if event.anchor:
            self._refuse(event, f"&{event.anchor} is an anchor; delete it and write values out")
        if event.tag:
            self._refuse(event, f"{event.tag.split(':')[-1]} is a tag; delete it (the !…)")
        if isinstance(event, yaml.ScalarEvent):
            self._check_characters(event)
            return Scalar(event.value, event.implicit[0], place)
        if depth >= DEEPEST_NESTING:
            self._refuse(event, f"nested more than {DEEPEST_NESTING} deep; flatten it")
            raise _Unreadable
        if isinstance(event, yaml.SequenceStartEvent):
            items: list[Node] = []
            while not isinstance(inner := self._next(), yaml.SequenceEndEvent):
                items.append(self._node(inner, depth + 1))
            return Items(tuple(items), place)
        return Table(self._entries(depth), place)

    def _entries(self, depth: int) -> dict[str, Entry]:
        entries: dict[str, Entry] = {}
        while not isinstance(event := self._next(), self._yaml.MappingEndEvent):
            key = self._node(event, depth + 1)
            value = self._node(self._next(), depth + 1)
            if not isinstance(key, Scalar) or key.is_null:
                self._mistakes.add(key.place, "this key is no text; write one word before the :")
            elif key.text in entries:
                first = entries[key.text].key.place
                self._mistakes.add(
                    key.place,
                    f"the key {quoted(key.text)} stands here a second time (first in line "
                    f"{first.line}); keep one",
                )
            else:
                entries[key.text] = Entry(key, value)
        return entries

    def _check_characters(self, event: Any) -> None:
        bad = next((char for char in event.value if _is_refused(char)), None)
        if bad is not None:
            self._refuse(
                event, f"this text holds the character U+{ord(bad):04X}, which cannot be shown; "
                "delete it"
            )  # fmt: skip

    def _place(self, event: Any) -> Place:
        return Place(self._file, event.start_mark.line + 1, event.start_mark.column + 1)

    def _refuse(self, event: Any, message: str) -> None:
        self._mistakes.add(self._place(event), message)
