"""What can go wrong in the tree room, and how a mistake in a content file is worded.

TreeError(Exception)
├── ContentFolderMissing   there is no folder to read content from
├── ContentErrors          files that are not the content they should be; carries every mistake
├── ProofFailed            content that reads well but breaks a promise; carries every finding
├── UnknownTree            a tree id that no file holds (also a KeyError)
└── WalkError              a step through the graph that the graph does not have
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from triage.tree.content import Place

if TYPE_CHECKING:
    from triage.tree.proofs import Finding

_LONGEST_QUOTE = 60


class TreeError(Exception):
    """Root of every error raised by this room."""


class ContentFolderMissing(TreeError):
    """There is no folder to read content from."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        super().__init__(
            f"no content folder at {folder}; name one that holds readings.yaml, or install the "
            "program again"
        )


@dataclass(frozen=True, slots=True)
class ContentMistake:
    """One mistake in a content file; the message says what is wrong and how to mend it."""

    place: Place
    message: str

    def __str__(self) -> str:
        return f"{self.place} {self.message}"


class ContentErrors(TreeError):
    """Files in `folder` that are not the content they should be; `mistakes` are in file order."""

    def __init__(self, folder: Path, mistakes: Iterable[ContentMistake]) -> None:
        self.folder = folder
        self.mistakes = tuple(
            sorted(mistakes, key=lambda each: (each.place.file, each.place.line, each.place.column))
        )
        count = len(self.mistakes)
        head = f"{count} mistake{'' if count == 1 else 's'} in the content at {folder}:"
        super().__init__("\n".join([head, *(str(mistake) for mistake in self.mistakes)]))


class ProofFailed(TreeError):
    """The content breaks promises a call relies on; `findings` lists each with its path.

    told: the findings as lines (`triage.tree.counterexample.told`).
    """

    def __init__(self, findings: Iterable[Finding], told: Iterable[str]) -> None:
        self.findings = tuple(findings)
        count = len(self.findings)
        head = f"the content breaks {count} promise{'' if count == 1 else 's'}:"
        super().__init__("\n".join([head, *told]))


class UnknownTree(TreeError, KeyError):
    """No file of the content holds a tree of this name."""

    def __init__(self, tree_id: str, known: Iterable[str]) -> None:
        self.tree_id = tree_id
        names = list(known)
        self.text = f"no tree is called {quoted(tree_id)}{nearest(tree_id, names)}"
        if names:
            self.text += f" (known: {', '.join(sorted(names))})"
        super().__init__(self.text)

    def __str__(self) -> str:
        return self.text


class WalkError(TreeError):
    """A step through the graph that the graph does not have."""


class Mistakes:
    """Where readers drop the mistakes they meet, so that all of them are told together."""

    def __init__(self) -> None:
        self.found: list[ContentMistake] = []

    def add(self, place: Place, message: str) -> None:
        """Keep one more mistake."""
        self.found.append(ContentMistake(place, message))

    def raise_if_any(self, folder: Path) -> None:
        """Raise ContentErrors with all mistakes so far, if there are any."""
        if self.found:
            raise ContentErrors(folder, self.found)


def quoted(text: str) -> str:
    """Return `text` in quotes, cut to a length that fits a line, without control characters."""
    if len(text) > _LONGEST_QUOTE:
        text = text[: _LONGEST_QUOTE - 1] + "…"
    return '"' + "".join(char if char.isprintable() else "\ufffd" for char in text) + '"'


def nearest(text: str, names: Iterable[str]) -> str:
    """Return `; did you mean "x"?` for the name closest to `text`, or nothing if none is close."""
    from difflib import get_close_matches  # only a mistake needs it

    found = get_close_matches(text, sorted(names), n=1, cutoff=0.6)
    return f"; did you mean {quoted(found[0])}?" if found else ""
