"""Proofs over a tree before it serves a call; each property is one function.

A property takes a `Case` (the graph with what the content says of it) and yields findings; no
finding means proved. Properties hold for every path through the graph, whether or not a real call
could take it, so nothing depends on what a caller happens to answer.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from typing import TYPE_CHECKING

from triage.tree import proofs_of_order as order
from triage.tree import proofs_of_safety as safety
from triage.tree import proofs_of_shape as shape
from triage.tree.content import Content
from triage.tree.errors import ProofFailed
from triage.tree.graph import build_graph
from triage.tree.proof_case import Case, Finding

if TYPE_CHECKING:
    import networkx

__all__ = ["PROPERTIES", "Finding", "check_content", "prove", "prove_causes", "prove_graph"]

PROPERTIES: tuple[Callable[[Case], Iterator[Finding]], ...] = (
    shape.no_path_comes_back,
    shape.everything_is_reached,
    shape.every_path_ends_in_an_ending,
    shape.every_outcome_has_one_way,
    shape.no_call_is_too_long,
    shape.stages_never_go_back,
    order.harvest_waits_for_freeze_health,
    order.harvest_is_entered_on_a_sound_freeze,
    order.harvest_causes_need_a_sound_freeze,
    order.valves_are_condemned_on_a_good_coil_check_alone,
    order.licensed_work_waits_for_the_qualification,
    order.hazards_wait_for_their_caution,
    order.recommendations_wait_for_their_gate,
)
"""Every property of one tree, in the order findings are told."""


def check_content(content: Content) -> None:
    """Return if trees, causes and readings hold every promise; raise ProofFailed if not."""
    findings = [finding for tree_id in content.trees for finding in prove(content, tree_id)]
    findings += prove_causes(content)
    findings += safety.readings_are_guarded(content)
    findings += safety.repairs_name_their_hazards(content)
    if findings:
        raise ProofFailed(findings)


def prove(content: Content, tree_id: str) -> list[Finding]:
    """Return what one tree breaks, an empty list if it holds; raise UnknownTree if it is not there.

    Near linear in the size of the tree.
    """
    return prove_graph(build_graph(content, tree_id), content)


def prove_graph(graph: networkx.DiGraph[str], content: Content) -> list[Finding]:
    """Return what a graph made by `build_graph` from `content` breaks."""
    case = Case(graph, content)
    return [finding for holds in PROPERTIES for finding in holds(case)]


def prove_causes(content: Content) -> list[Finding]:
    """Return the causes no ending of any tree concludes or hands on in a shortlist."""
    named = {
        cause
        for tree in content.trees.values()
        for ending in tree.endings.values()
        for cause in (*ending.causes, *ending.shortlist)
    }
    return [
        Finding(
            f"cause {cause.id} is in no ending of any tree; conclude it, put it on an escalation's "
            "shortlist or delete it",
            cause.place,
        )
        for cause in content.causes.values()
        if cause.id not in named
    ]
