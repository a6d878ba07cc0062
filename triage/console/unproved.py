"""Content that breaks promises and is looked at all the same: whoever mends it wants to see it.

No call is served from what this returns.
"""

from __future__ import annotations

import argparse
from collections.abc import Iterable, Sequence
from dataclasses import replace
from typing import TYPE_CHECKING

from triage.tree.cache import checked_content
from triage.tree.content import Content
from triage.tree.errors import ProofFailed
from triage.tree.where import content_folder

if TYPE_CHECKING:
    from triage.tree.proof_case import Finding


def content_to_look_at(options: argparse.Namespace) -> tuple[Content, tuple[Finding, ...]]:
    """Return the content the options name, and what it breaks.

    Raises ContentFolderMissing, or ContentErrors if it cannot be read.
    """
    folder = content_folder(options.trees)
    try:
        return checked_content(folder), ()
    except ProofFailed as error:
        from triage.tree.load import load_content

        return load_content(folder), error.findings


def not_proved(broken: Sequence[Finding]) -> str:
    """Return the words for content that breaks these promises."""
    count = len(broken)
    return (
        f"NOT PROVED: this content breaks {count} promise{'' if count == 1 else 's'}; "
        "triage tree check says which."
    )


def refuse_to_go_round(content: Content, trees: Iterable[str]) -> None:
    """Raise ProofFailed if in any of the trees a path comes back: a call would never end there."""
    from triage.tree.counterexample import told
    from triage.tree.graph import build_graph
    from triage.tree.proof_case import Case
    from triage.tree.proofs_of_shape import no_path_comes_back

    rounds = [
        replace(finding, trees=(tree,))
        for tree in trees
        for finding in no_path_comes_back(Case(build_graph(content, tree), content))
    ]
    if rounds:
        raise ProofFailed(rounds, told(rounds, content))
