"""The kinds of content files there are, and which kind a file is by its name."""

from __future__ import annotations

from collections.abc import Iterable
from enum import StrEnum

from triage.tree.content import LIKELIHOODS, OUTCOMES
from triage.tree.files import CAUSES, CAUTIONS, MACHINES, PARTS, READINGS


class Kind(StrEnum):
    """What a content file holds."""

    READINGS = "readings"
    CAUSES = "causes"
    CAUTIONS = "cautions"
    TREE = "tree"
    PART = "part"
    MACHINE = "machine"
    OUTCOMES = "outcomes"


_LISTS = {READINGS: Kind.READINGS, CAUSES: Kind.CAUSES, CAUTIONS: Kind.CAUTIONS}
_FOLDERS = {**_LISTS, PARTS: Kind.PART, MACHINES: Kind.MACHINE}


def kind_of(name: str) -> Kind | None:
    """Return the kind of a content file by its name within the folder.

    None for the computed likelihoods, which nobody writes, and for what is no content file.

    >>> kind_of("parts/gate.yaml"), kind_of("causes.yaml"), kind_of("my_tree.yaml")
    (<Kind.PART: 'part'>, <Kind.CAUSES: 'causes'>, <Kind.TREE: 'tree'>)
    """
    if name in (OUTCOMES, LIKELIHOODS):
        return Kind.OUTCOMES if name == OUTCOMES else None
    folder, _, inner = name.rpartition("/")
    if not inner.endswith(".yaml"):
        return None
    return _FOLDERS.get(folder) if folder else _LISTS.get(inner.removesuffix(".yaml"), Kind.TREE)


def patterns_of(kind: Kind) -> Iterable[str]:
    """Yield the file patterns of a kind within the folder; one with ! takes files out again."""
    match kind:
        case Kind.TREE:
            yield "*.yaml"
            yield from (f"!{name}.yaml" for name in _LISTS)
        case Kind.PART:
            yield f"{PARTS}/*.yaml"
        case Kind.MACHINE:
            yield f"{MACHINES}/*.yaml"
        case Kind.OUTCOMES:
            yield OUTCOMES
        case _:
            yield from (f"{kind.value}.yaml", f"{kind.value}/*.yaml")
