"""`outcomes.json` of a content folder: how often repairs confirmed each cause, by tree.

It is written by `triage tree priors --write` from the record and read as part of the content, if it
is there.
"""

from __future__ import annotations

import json
from collections.abc import Collection, Mapping
from types import MappingProxyType

from triage.tree.load_readings import Names
from triage.tree.marked_yaml import Scalar, Table
from triage.tree.sections import Section

FORMAT = 1

MOST_CONFIRMED = 1_000_000_000
"""Greatest count of one cause that is believed (judged)."""

Confirmed = Mapping[str, Mapping[str, int]]
"""How often repairs confirmed each cause, by tree."""


def read_outcomes(section: Section, trees: Collection[str], causes: Names) -> Confirmed:
    """Return how often each cause was confirmed [count], by tree, as the file says.

    trees, causes: what may be named; causes is None when a file of theirs could not be read.
    """
    counts: dict[str, Mapping[str, int]] = {}
    for key, node in section.entries("confirmed"):
        section.known(key, trees or None, "tree")
        if not isinstance(node, Table):
            section.complain(
                node.place, f"wants causes with their counts under {key.text}; write the file anew "
                "with: triage tree priors --write"
            )  # fmt: skip
            continue
        inner = Section(node, f"outcomes of {key.text}", section.mistakes)
        counts[key.text] = MappingProxyType(_counts(inner, causes))
    return MappingProxyType(counts)


def _counts(section: Section, causes: Names) -> dict[str, int]:
    counts: dict[str, int] = {}
    for entry in section.table.entries.values():
        key, node = entry.key, entry.value
        section.known(key, causes, "cause")
        if not isinstance(node, Scalar) or node.is_null:
            section.complain(node.place, f"wants one whole number under {key.text}, such as 3")
            continue
        count = section.number_in(node, key.text, 0, MOST_CONFIRMED)
        if count is not None and not count.is_integer():
            section.complain(node.place, f"counts whole repairs under {key.text}; write 3, say")
        elif count is not None:
            counts[key.text] = int(count)
    return counts


def outcomes_text(confirmed: Confirmed) -> str:
    """Return the text of the file for these counts, the same for the same counts."""
    kept = {tree: dict(sorted(counts.items())) for tree, counts in sorted(confirmed.items())}
    return json.dumps({"format": FORMAT, "confirmed": kept}, indent=1) + "\n"
