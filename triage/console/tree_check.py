"""`triage tree check`: read the content, prove it, and say what was proved."""

from __future__ import annotations

import argparse
import sys

from triage.tree.content import OUTCOMES
from triage.tree.likelihoods import staleness
from triage.tree.load import load_content
from triage.tree.proofs import check_content
from triage.tree.where import content_folder


def check_trees(options: argparse.Namespace) -> int:
    """Read and prove the content; raises ContentErrors or ProofFailed with every mistake."""
    folder = content_folder(options.trees)
    content = load_content(folder)
    check_content(content)
    for tree in content.trees.values():
        sys.stdout.write(
            f"{tree.id}: {len(tree.questions)} questions, {len(tree.junctions)} junctions, "
            f"{len(tree.endings)} endings; proved\n"
        )
    sys.stdout.write(
        f"{len(content.readings)} readings, {len(content.causes)} causes, "
        f"{len(content.cautions)} cautions, {len(content.machines)} machines; "
        f"content {content.version[:12]}\n"
    )
    if content.outcomes:
        counted = sum(content.outcomes.values())
        sys.stdout.write(f"priors corrected by {counted} confirmed repairs ({OUTCOMES})\n")
    stale = staleness(content)
    if stale:
        sys.stdout.write(f"{stale}\n")
    return 0
