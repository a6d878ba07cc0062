"""Where a call stands: the decision graph walked from its start with what is known.

The walk is made anew from the answers each time. So going back, resuming and replaying need no
state of their own, and a reading given early is used when its question comes up.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING

from triage.dialogue.case import Case
from triage.dialogue.gate import applies
from triage.dialogue.judge import finding_of
from triage.dialogue.view import Finding
from triage.tree.content import UNKNOWN, Content
from triage.tree.errors import WalkError
from triage.tree.graph import NodeKind, next_node

if TYPE_CHECKING:
    import networkx as nx


@dataclass(frozen=True, slots=True)
class Spot:
    """The node where the walk ends, the nodes before it, and the findings made on the way."""

    node: str
    path: tuple[str, ...]
    findings: Mapping[str, Finding]


def walk(graph: nx.DiGraph[str], content: Content, case: Case) -> Spot:
    """Return the first node of the graph that waits for the caller, or the ending reached."""
    node = str(graph.graph["start"])
    path: list[str] = []
    findings: dict[str, Finding] = {}
    # What was said besides counts at every fork, whether or not its question lies on the path.
    said = {reading_id: finding_of(content, case, reading_id) for reading_id in case.answers}
    outcomes = {
        reading_id: finding.outcome for reading_id, finding in said.items() if finding is not None
    }
    while True:
        attributes = graph.nodes[node]
        kind, reading_id = attributes["kind"], attributes["reading"]
        if kind is NodeKind.ENDING:
            return Spot(node, tuple(path), findings)
        if kind is NodeKind.CAUTION:
            if not _is_caution_settled(content, case, attributes["subject"], reading_id):
                return Spot(node, tuple(path), findings)
        elif kind is NodeKind.QUESTION:
            finding = said.get(reading_id) or finding_of(content, case, reading_id)
            if finding is None:
                return Spot(node, tuple(path), findings)
            findings[reading_id] = finding
            outcomes[reading_id] = finding.outcome
        path.append(node)
        following = next_node(graph, node, outcomes)
        if following is None:
            raise WalkError(f'the tree ends without an ending at "{node}"; run triage tree check')
        node = following


def _is_caution_settled(content: Content, case: Case, caution: str, reading_id: str) -> bool:
    """A caution is passed when answered, if it does not apply, or if nothing is asked behind it."""
    key = (caution, "")
    if key in case.acknowledged or key in case.refused:
        return True
    if not applies(content, case, content.cautions[caution]):
        return True
    finding = finding_of(content, case, reading_id)
    return finding is not None and (finding.outcome == UNKNOWN or reading_id not in case.answers)
