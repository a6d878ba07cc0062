"""A file somebody is still writing, put into a content folder in memory, and what it breaks there.

A tree stands in for the one of its id, or beside the others. A part is walked by a tree made up for
it here: it asks what a call has answered by then, enters the part and ends at each of its exits.
"""

from __future__ import annotations

import json
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from pathlib import Path
from types import MappingProxyType
from typing import TYPE_CHECKING, Any

from triage.tree.compose import EXIT
from triage.tree.content import COMPLAINT, LIKELIHOODS, OUTCOMES, Content, Question, Stage, Tree
from triage.tree.errors import ContentErrors, Mistakes
from triage.tree.files import CAUSES, CAUTIONS, PARTS, READINGS, shown_name
from triage.tree.load import FORMAT, content_from_files
from triage.tree.load_tree import MOST_QUESTIONS_ALLOWED
from triage.tree.marked_yaml import Scalar, Table, read_marked

if TYPE_CHECKING:
    from triage.tree.proof_case import Finding

_NEVER_TREES = frozenset(
    {*(f"{name}.yaml" for name in (READINGS, CAUSES, CAUTIONS)), OUTCOMES, LIKELIHOODS}
)

_BEFORE = "before."
"""Namespace of the questions in front of a part."""


@dataclass(frozen=True, slots=True)
class Draft:
    """A draft in its folder.

    `content` holds the whole folder with it, `tree` is the id of the tree to walk, `file` the name
    it stands under. `replaces` is the file it stands in for, "" if it is new. `part` is the id of
    the part if the draft is one, `space` the namespace it has in the tree made up for it.
    """

    content: Content
    tree: str
    file: str
    replaces: str = ""
    part: str = ""
    space: str = ""

    @property
    def alone(self) -> Content:
        """The content with no tree but the draft's, so that a call stays in it."""
        return replace(
            self.content, trees=MappingProxyType({self.tree: self.content.trees[self.tree]})
        )

    @property
    def own_nodes(self) -> tuple[str, ...]:
        """Questions, junctions and endings written in the draft's file, by their full names.

        Of a tree that is not the draft's own alone: the parts it uses are files of theirs.
        """
        tree = self.content.trees[self.tree]
        places = {
            node.id: node.place
            for nodes in (tree.questions, tree.junctions, tree.endings)
            for node in nodes.values()
        }
        return tuple(node for node, place in places.items() if place.file == self.file)

    def shown(self, node: str) -> str:
        """Return a node as it is called in the draft's file; the exit of a part as routes name it.

        A node of somewhere else keeps its full name.
        """
        if self.part and node in self.content.trees[self.tree].endings and "." not in node:
            return f"{EXIT}{node}"
        return node.removeprefix(f"{self.space}.") if self.space else node

    @property
    def users(self) -> tuple[str, ...]:
        """The trees of the folder in which a draft that is a part stands."""
        return tuple(
            name
            for name, tree in self.content.trees.items()
            if name != self.tree and self.part in tree.parts.values()
        )


def draft_in(folder: Path, files: Mapping[str, bytes], name: str, data: bytes) -> Draft:
    """Return the draft `data`, called `name`, put into the files of a folder.

    folder: for messages alone. Raises ContentErrors with every mistake of the folder with it.
    """
    mistakes = Mistakes()
    table = read_marked(shown_name(name), data, mistakes)
    if table is not None and not {"tree", "part"} & table.entries.keys():
        mistakes.add(
            table.place, "the file is neither a tree nor a part; write tree: or part: with its id"
        )
    mistakes.raise_if_any(folder)
    assert table is not None
    is_part = "part" in table.entries and "tree" not in table.entries
    key = "part" if is_part else "tree"
    draft_id = _text(table, key)
    others = {
        other: each for other, each in files.items() if not _is_of(other, each, key, draft_id)
    }
    replaces = next((other for other in files if other not in others), "")
    file = _free(f"{PARTS}/{name}" if is_part else name, others)
    if not is_part:
        content = content_from_files(folder, dict(sorted({**others, file: data}.items())))
        return Draft(content, draft_id, shown_name(file), replaces)
    exits = dict(_exits(table))
    tree = _free_id(f"try_{draft_id}"[:60], others)
    space = draft_id if draft_id not in exits else f"{draft_id[:60]}_in"
    made_up = f"{tree}.yaml"
    around = _tree_around(tree, draft_id, space, exits, files)
    try:
        content = content_from_files(
            folder, dict(sorted({**others, file: data, made_up: around}.items()))
        )
    except ContentErrors as errors:
        # What is wrong with the tree made up around a part comes of what is wrong in the part.
        written = [each for each in errors.mistakes if each.place.file != made_up]
        raise ContentErrors(folder, written or errors.mistakes) from errors
    draft = Draft(content, tree, shown_name(file), replaces, draft_id, space)
    return _with_what_comes_before(draft)


def broken_by(draft: Draft) -> list[Finding]:
    """Return what the draft breaks: its own tree, or as a part the trees that use it.

    What is broken elsewhere in the folder is left to `triage tree check`.
    """
    from triage.tree.proofs import findings_of, prove, prove_content  # networkx takes 130 ms

    content = draft.content
    if not draft.part:
        shared = [each for each in prove_content(content) if each.place.file == draft.file]
        return [*prove(content, draft.tree), *shared]
    others = {name: tree for name, tree in content.trees.items() if name != draft.tree}
    found = findings_of(replace(content, trees=MappingProxyType(others)))
    return [each for each in found if each.place.file == draft.file]


def _with_what_comes_before(draft: Draft) -> Draft:
    """Return the draft of a part with the questions in front of it that a call has met by then.

    They are those about caller and machine, asked one after the other: without them no reading of
    the part could be judged, and no licensed one asked for.
    """
    content, tree = draft.content, draft.content.trees[draft.tree]
    before = list(_before(draft, tree))
    starts = [*(_BEFORE + question.reading for question in before), tree.start]
    asked = {
        start: replace(
            question,
            id=start,
            routes=MappingProxyType(dict.fromkeys(content.readings[question.reading].outcomes, on)),
        )
        for question, start, on in zip(before, starts, starts[1:], strict=False)
    }
    together = replace(
        tree, start=starts[0], questions=MappingProxyType({**asked, **tree.questions})
    )
    trees = MappingProxyType({**content.trees, draft.tree: together})
    return replace(draft, content=replace(content, trees=trees))


def _before(draft: Draft, tree: Tree) -> Iterator[Question]:
    """Yield what the first tree that uses the part asks of caller and machine in front of it.

    Of a part that no tree uses, what the first tree asks of them, if the part does not itself.
    """
    import networkx

    from triage.tree.graph import build_graph

    content, users = draft.content, draft.users
    early = (Stage.CALLER, Stage.MACHINE)
    asks_early = any(question.stage in early for question in tree.questions.values())
    others = users or (() if asks_early else tuple(set(content.trees) - {draft.tree}))
    if not others:
        return
    other = content.trees[min(others)]
    nodes = set(other.questions)
    if users:
        space = next(name for name, part in other.parts.items() if part == draft.part)
        entered = f"{space}{tree.start.removeprefix(draft.space)}"
        nodes = networkx.ancestors(build_graph(content, other.id), entered)
    readings = {question.reading for question in tree.questions.values()} | {COMPLAINT}
    for name, question in other.questions.items():
        if name in nodes and question.stage in early and question.reading not in readings:
            readings.add(question.reading)
            yield question


def _tree_around(
    tree: str, part: str, space: str, exits: Mapping[str, str], files: Mapping[str, bytes]
) -> bytes:
    """Return the file of a tree that walks a part and ends at its exits; JSON is YAML as well."""
    data: dict[str, Any] = {
        "format": FORMAT,
        "tree": tree,
        "title": f"The part {part} by itself",
        "start": space,
        "most_questions": MOST_QUESTIONS_ALLOWED,
        "causes": dict.fromkeys(_causes(files), 1),
        "parts": {space: {"part": part, "exits": {name: name for name in exits}}},
        "endings": {
            name: {
                "escalate": f"The part is left by its exit {name}.",
                "because": words or f"It leads to the exit {name}.",
                "machine_state": "Nothing is said of the machine here: the part was tried alone.",
                "call_whom": "Nobody: in a call, the tree that uses the part goes on from here.",
            }
            for name, words in exits.items()
        },
    }
    return json.dumps(data).encode()


def _exits(table: Table) -> Iterator[tuple[str, str]]:
    entry = table.entries.get("exits")
    if entry is not None and isinstance(entry.value, Table):
        for name, exit_entry in entry.value.entries.items():
            words = exit_entry.value
            yield name, words.text.strip() if isinstance(words, Scalar) else ""


def _causes(files: Mapping[str, bytes]) -> Iterator[str]:
    """Yield every cause of the folder: a part by itself has no shares, so all count alike."""
    for name, data in files.items():
        if name == f"{CAUSES}.yaml" or name.startswith(f"{CAUSES}/"):
            table = read_marked(name, data, Mistakes())
            entry = table.entries.get(CAUSES) if table else None
            if entry is not None and isinstance(entry.value, Table):
                yield from entry.value.entries


def _is_of(name: str, data: bytes, key: str, wanted: str) -> bool:
    """Whether a file of the folder holds the tree or the part of this id."""
    is_there = name.startswith(f"{PARTS}/") if key == "part" else "/" not in name
    if not is_there or name in _NEVER_TREES or not wanted or wanted.encode() not in data:
        return False
    table = read_marked(name, data, Mistakes())
    return table is not None and _text(table, key) == wanted


def _text(table: Table, key: str) -> str:
    entry = table.entries.get(key)
    return entry.value.text if entry is not None and isinstance(entry.value, Scalar) else ""


def _free(name: str, taken: Mapping[str, bytes]) -> str:
    """Return `name`, changed until no other file has it and it is read as a tree or a part."""
    folder, _, own = name.rpartition("/")
    while name in taken or name in _NEVER_TREES:
        own = f"draft_{own}"
        name = f"{folder}/{own}" if folder else own
    return name


def _free_id(wanted: str, files: Mapping[str, bytes]) -> str:
    while any(_is_of(name, data, "tree", wanted) for name, data in files.items()):
        wanted += "_"
    return wanted
