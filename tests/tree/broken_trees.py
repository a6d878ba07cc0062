"""What a broken tree is told for: its findings, and the call that shows one of them."""

from __future__ import annotations

import re

import networkx as nx

from tests.tree.miniature import Draft
from triage.tree.content import Content
from triage.tree.counterexample import conversation_on, lines_of
from triage.tree.graph import build_graph
from triage.tree.proofs import Finding, prove, prove_graph


def findings(draft: Draft) -> list[Finding]:
    """Return all findings about a drafted tree."""
    return prove(draft.content(), "sticks")


def the_finding(draft: Draft, pattern: str) -> Finding:
    """Return the only finding whose message matches."""
    return _only(findings(draft), pattern)


def the_finding_on(graph: nx.DiGraph[str], content: Content, pattern: str) -> Finding:
    """Return the only finding about a graph whose message matches."""
    return _only(prove_graph(graph, content), pattern)


def _only(found: list[Finding], pattern: str) -> Finding:
    matching = [each for each in found if re.search(pattern, each.message)]
    assert len(matching) == 1, [str(each) for each in found]
    return matching[0]


def call_of(draft: Draft, finding: Finding) -> list[str]:
    """Return the lines of the call that shows a finding about a drafted tree."""
    content = draft.content()
    return call_on(build_graph(content, "sticks"), content, finding)


def call_on(graph: nx.DiGraph[str], content: Content, finding: Finding) -> list[str]:
    """Return the lines of the call that shows a finding about a graph."""
    return lines_of(conversation_on(graph, content, finding.path, finding.shows))


def skip(draft: Draft, question: str) -> None:
    """Lead everything that led to a question to where its else leads, and delete it."""
    onward = draft.questions.pop(question)[2]["else"]
    for _, _, routes in draft.questions.values():
        routes.update({key: onward for key, node in routes.items() if node == question})
