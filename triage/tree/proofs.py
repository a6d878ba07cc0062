"""Proofs over trees and what they share, before a call is served; each property is one function.

A property of a tree takes a `Case` (the graph with what the content says of it) and yields
findings; no finding means proved. It holds for every path through the graph, whether or not a real
call could take it, so nothing depends on what a caller happens to answer. A property of the whole
content takes that. The name of each function says what it proves.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from dataclasses import replace
from itertools import islice
from typing import TYPE_CHECKING

from triage.tree import plain_language as language
from triage.tree import proofs_of_asking as asking
from triage.tree import proofs_of_content as whole
from triage.tree import proofs_of_order as order
from triage.tree import proofs_of_parts as parts
from triage.tree import proofs_of_safety as safety
from triage.tree import proofs_of_shape as shape
from triage.tree.content import Content, Place
from triage.tree.counterexample import told
from triage.tree.errors import ProofFailed
from triage.tree.graph import build_graph
from triage.tree.proof_case import Case, Finding

if TYPE_CHECKING:
    import networkx

__all__ = [
    "CONTENT_PROPERTIES",
    "PROPERTIES",
    "Finding",
    "check_content",
    "findings_of",
    "prove",
    "prove_content",
    "prove_graph",
]

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
    asking.harvest_readings_are_asked_in_the_harvest,
    parts.parts_are_condemned_on_their_check_alone,
    order.licensed_work_waits_for_the_qualification,
    asking.gauges_wait_for_the_refrigerant,
    order.hazards_wait_for_their_caution,
    order.recommendations_wait_for_their_gate,
    asking.no_question_comes_too_late,
    whole.causes_listed_are_those_of_the_endings,
    whole.every_question_has_both_voices,
)
"""Every property of one tree, in the order findings are told."""

CONTENT_PROPERTIES: tuple[Callable[[Content], Iterator[Finding]], ...] = (
    whole.every_complaint_has_its_tree,
    whole.every_cause_is_concluded,
    whole.every_reading_is_asked_for,
    whole.every_caution_is_heard,
    whole.every_band_can_be_computed,
    safety.readings_are_guarded,
    safety.repairs_name_their_hazards,
    parts.parts_belong_to_their_side,
    parts.valves_have_a_coil_check,
    language.every_text_is_plain,
)
"""Every property of the whole content, in the order findings are told."""

MOST_OF_A_KIND = 100
"""How many findings of one property are looked for (judged); each costs a path through the tree."""


def check_content(content: Content) -> None:
    """Return if trees, causes and readings hold every promise; raise ProofFailed if not."""
    findings = findings_of(content)
    if findings:
        raise ProofFailed(findings, told(findings, content))


def findings_of(content: Content) -> list[Finding]:
    """Return what the content breaks, tree by tree and then as a whole; empty if all holds.

    What a part breaks in several trees is found once, with the path of the first.
    """
    found = (finding for tree_id in content.trees for finding in prove(content, tree_id))
    return [*_merged(found), *prove_content(content)]


def _merged(findings: Iterable[Finding]) -> list[Finding]:
    merged: dict[tuple[str, Place], Finding] = {}
    for finding in findings:
        key = (finding.message, finding.place)
        known = merged.setdefault(key, finding)
        others = [tree for tree in finding.trees if tree not in known.trees]
        merged[key] = replace(known, trees=(*known.trees, *others))
    return list(merged.values())


def prove(content: Content, tree_id: str) -> list[Finding]:
    """Return what one tree breaks, an empty list if it holds; raise UnknownTree if it is not there.

    Near linear in the size of the tree.
    """
    return prove_graph(build_graph(content, tree_id), content)


def prove_graph(graph: networkx.DiGraph[str], content: Content) -> list[Finding]:
    """Return what a graph made by `build_graph` from `content` breaks."""
    case = Case(graph, content)
    found = (finding for holds in PROPERTIES for finding in _first(holds(case)))
    return [replace(finding, trees=(case.tree.id,)) for finding in found]


def prove_content(content: Content) -> list[Finding]:
    """Return what the content breaks as a whole, whichever tree is looked at."""
    return [finding for holds in CONTENT_PROPERTIES for finding in _first(holds(content))]


def _first(findings: Iterator[Finding]) -> list[Finding]:
    """Return as many findings of one property as anybody mends at once; the last tells of more."""
    first = list(islice(findings, MOST_OF_A_KIND))
    if next(findings, None) is not None:
        first[-1] = replace(first[-1], message=f"{first[-1].message} (and there are more like it)")
    return first
