"""Typed reading of one mapping of a content file: a value comes back, or a mistake is kept.

A reader that finds a mistake returns a harmless stand-in of the right type, so that the rest of the
file is still read and all mistakes are told together; nothing is built from stand-ins in the end,
because `Mistakes.raise_if_any` stands between reading and use.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator
from enum import StrEnum
from math import isfinite
from typing import TypeVar

from triage.tree.content import Place
from triage.tree.errors import Mistakes, nearest, quoted
from triage.tree.marked_yaml import Entry, Items, Node, Scalar, Table

Member = TypeVar("Member", bound=StrEnum)

ID = r"[a-z][a-z0-9_]{0,63}"
"""What a name looks like, as a regular expression."""

_NUMBER = re.compile(r"-?(0|[1-9]\d*)(\.\d+)?([eE][+-]?\d+)?")
RESERVED_IDS = frozenset({"unknown", "else"})
"""Words with a meaning of their own in routes and rules; nothing else may be called so."""


class Section:
    """One mapping being read; `what` names it in messages, as in `question "freeze_time"`."""

    def __init__(self, table: Table, what: str, mistakes: Mistakes) -> None:
        self.table = table
        self.what = what
        self.mistakes = mistakes
        self.place = table.place
        self._asked: dict[str, None] = {}
        self._is_finished = False

    def finish(self) -> None:
        """Keep a mistake for every key nobody asked for; a second call does nothing."""
        if self._is_finished:
            return
        self._is_finished = True
        for name, entry in self.table.entries.items():
            if name not in self._asked:
                guess = nearest(name, self._asked) or f"; keys: {', '.join(self._asked)}"
                self.complain(entry.key.place, f"has no key {quoted(name)}{guess}")

    def complain(self, place: Place, message: str) -> None:
        """Keep a mistake about this section."""
        self.mistakes.add(place, f"{self.what} {message}")

    def has(self, name: str) -> bool:
        """Whether the key stands here; asking makes it a valid key."""
        self._asked[name] = None
        return name in self.table.entries

    def place_of(self, name: str) -> Place:
        """Where the value of a key stands, or where the section starts if it is missing."""
        entry = self.table.entries.get(name)
        return entry.value.place if entry else self.place

    def node(self, name: str, *, is_required: bool = True) -> Node | None:
        """Return whatever stands under `name`, or None if it is missing."""
        if self.has(name):
            return self.table.entries[name].value
        if is_required:
            self.complain(self.place, f"lacks the key {quoted(name)}; add it")
        return None

    def scalar(self, name: str, *, is_required: bool = True) -> Scalar | None:
        """Return the single value under `name`, or None if it is missing or of another kind."""
        node = self.node(name, is_required=is_required)
        if node is None:
            return None
        if not isinstance(node, Scalar):
            self.complain(node.place, f"wants one text under {quoted(name)}, not {_kind(node)}")
            return None
        if node.is_null or not node.text.strip():
            self.complain(node.place, f"has nothing under {quoted(name)}; write it or drop the key")
            return None
        return node

    def text(self, name: str) -> str:
        """Return the non-empty text under `name`."""
        scalar = self.scalar(name)
        return scalar.text.strip() if scalar else ""

    def number(
        self, name: str, least: float, greatest: float, *, is_required: bool = True
    ) -> float | None:
        """Return the number under `name`, which must lie from `least` to `greatest`."""
        scalar = self.scalar(name, is_required=is_required)
        return self.number_in(scalar, name, least, greatest) if scalar else None

    def number_in(self, scalar: Scalar, name: str, least: float, greatest: float) -> float | None:
        """Return the number a scalar holds; `name` says in a mistake what it belongs to."""
        if not scalar.is_plain or not _NUMBER.fullmatch(scalar.text):
            hint = "; drop the quotes" if _NUMBER.fullmatch(scalar.text) else ", such as 12 or 0.5"
            self.complain(
                scalar.place,
                f"wants a number under {quoted(name)}, not {quoted(scalar.text)}{hint}",
            )
            return None
        value = float(scalar.text)
        if not isfinite(value) or not least <= value <= greatest:
            self.complain(
                scalar.place,
                f"has {scalar.text} under {quoted(name)}; it must lie from {least:g} to "
                f"{greatest:g}",
            )
            return None
        return value

    def flag(self, name: str, *, is_required: bool = False) -> bool:
        """Return the true or false under `name`; False if the key may be and is missing."""
        scalar = self.scalar(name, is_required=is_required)
        if scalar is None:
            return False
        if not scalar.is_plain or scalar.text not in ("true", "false"):
            self.complain(
                scalar.place,
                f"wants true or false under {quoted(name)}, not {quoted(scalar.text)}",
            )
        return scalar.text == "true"

    def member(self, name: str, kinds: type[Member]) -> Member | None:
        """Return the member of an enumeration that the word under `name` stands for."""
        scalar = self.scalar(name)
        if scalar is None:
            return None
        try:
            return kinds(scalar.text)
        except ValueError:
            known = [kind.value for kind in kinds]
            self.complain(
                scalar.place,
                f"has no {name} {quoted(scalar.text)}"
                + (nearest(scalar.text, known) or f"; known: {', '.join(known)}"),
            )
            return None

    def words(self, name: str, *, at_least: int = 0) -> tuple[Scalar, ...]:
        """Return the texts of the list under `name`; a missing key is an empty list.

        at_least: how many there must be; with one or more the key is required.
        """
        node = self.node(name, is_required=at_least > 0)
        if node is None:
            return ()
        if not isinstance(node, Items):
            self.complain(
                node.place, f"wants a list under {quoted(name)}, such as [one, two], not "
                f"{_kind(node)}"
            )  # fmt: skip
            return ()
        if len(node.items) < at_least:
            self.complain(node.place, f"wants at least {at_least} under {quoted(name)}")
        return self.words_in(node, name)

    def words_in(self, node: Items, name: str) -> tuple[Scalar, ...]:
        """Return the non-empty texts of a list, each once."""
        words: list[Scalar] = []
        seen: set[str] = set()
        for item in node.items:
            if not isinstance(item, Scalar) or item.is_null or not item.text.strip():
                self.complain(
                    item.place, f"has an entry under {quoted(name)} that is no text; write a text "
                    "or drop it"
                )  # fmt: skip
            elif item.text in seen:
                self.complain(item.place, f"lists {quoted(item.text)} twice under {quoted(name)}")
            else:
                seen.add(item.text)
                words.append(item)
        return tuple(words)

    def texts(self, name: str, *, at_least: int = 0) -> tuple[str, ...]:
        """Return the texts of the list under `name` as plain strings."""
        return tuple(word.text.strip() for word in self.words(name, at_least=at_least))

    def table_under(self, name: str, *, is_required: bool = True) -> Table | None:
        """Return the mapping under `name`, or None if it is missing or of another kind."""
        node = self.node(name, is_required=is_required)
        if node is None or isinstance(node, Table):
            return node
        self.complain(
            node.place, f"wants a mapping (key: value lines) under {quoted(name)}, not "
            f"{_kind(node)}"
        )  # fmt: skip
        return None

    def entries(self, name: str, *, is_required: bool = True) -> Iterator[tuple[Scalar, Node]]:
        """Return key and value of each entry of the mapping under `name`."""
        table = self.table_under(name, is_required=is_required)
        entries: Iterable[Entry] = table.entries.values() if table else ()
        return ((entry.key, entry.value) for entry in entries)

    def named_sections(
        self, name: str, what: str, *, is_required: bool = True
    ) -> Iterator[tuple[str, Section]]:
        """Return id and section of each entry of the mapping under `name`.

        The caller reads each section; it is finished (unknown keys told) when the next is asked
        for. what: the word for one entry, as in `question`.
        """
        for key, value in self.entries(name, is_required=is_required):
            if self.is_id(key, what) and isinstance(value, Table):
                section = Section(value, f"{what} {quoted(key.text)}", self.mistakes)
                section.place = key.place
                yield key.text, section
                section.finish()
            elif not isinstance(value, Table):
                self.mistakes.add(
                    value.place,
                    f"{what} {quoted(key.text)} wants a mapping (key: value lines), not "
                    f"{_kind(value)}",
                )

    def is_id(self, key: Scalar, what: str) -> bool:
        """Whether a key can name something; a mistake is kept if it cannot."""
        if key.text in RESERVED_IDS:
            self.mistakes.add(
                key.place, f"no {what} may be called {quoted(key.text)}, which has its own meaning"
                "; choose another name"
            )  # fmt: skip
            return False
        if not re.fullmatch(ID, key.text):
            self.mistakes.add(
                key.place,
                f"{quoted(key.text)} is no name for a {what}; use small letters, digits and _, "
                "starting with a letter, 64 at most",
            )
            return False
        return True

    def known(self, word: Scalar, names: Iterable[str] | None, what: str) -> bool:
        """Whether `word` is one of `names`; a mistake is kept if not.

        names: None when the file that holds them could not be read; then nothing is said here.
        """
        if names is None:
            return True
        names = frozenset(names)
        if word.text in names:
            return True
        guess = nearest(word.text, names)
        self.complain(
            word.place,
            f"names {quoted(word.text)}, which is no {what}{guess or f'; known: {_some(names)}'}",
        )
        return False


def _kind(node: Node) -> str:
    if isinstance(node, Items):
        return "a list"
    if isinstance(node, Table):
        return "a mapping"
    return "nothing" if node.is_null else f"the text {quoted(node.text)}"


def _some(names: frozenset[str]) -> str:
    listed = sorted(names)
    return ", ".join(listed[:8]) + (", …" if len(listed) > 8 else "") if listed else "none"
