"""The proofs agree with walking every path of small random trees, and hold for simulated calls."""

from __future__ import annotations

import dataclasses
import random
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from itertools import pairwise

import networkx as nx
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from tests.tree.strategies import contents, dented_contents
from triage.tree import proofs_of_order as order
from triage.tree import proofs_of_shape as shape
from triage.tree.content import UNKNOWN, Content, Side, Stage
from triage.tree.graph import NodeKind, Plan, build_graph, next_node, plan_tree
from triage.tree.path_answers import answers_along
from triage.tree.proof_case import Case, Finding
from triage.tree.proofs import prove
from triage.tree.proofs_of_parts import parts_are_condemned_on_their_check_alone

MODEST = settings(
    derandomize=True, max_examples=150, deadline=None, suppress_health_check=list(HealthCheck)
)
Path = list[str]


def walk_all(graph: nx.DiGraph[str]) -> Iterator[Path]:
    """Yield every path from the start to where the graph ends, by plain recursion."""

    def onward(path: Path) -> Iterator[Path]:
        following = list(graph.successors(path[-1]))
        if not following:
            yield path
        for node in following:
            yield from onward([*path, node])

    yield from onward([graph.graph["start"]])


class Walked:
    """A random graph with all its paths and plain words for what stands on them."""

    def __init__(self, content: Content, shortcuts: Sequence[tuple[int, int]] = ()) -> None:
        self.content = content
        self.tree = content.trees["sticks"]
        self.graph = build_graph(content, "sticks")
        nodes = list(nx.topological_sort(self.graph))
        for one, other in shortcuts:
            source, target = sorted((one % len(nodes), other % len(nodes)))
            if source != target and not self.graph.has_edge(nodes[source], nodes[target]):
                self.graph.add_edge(nodes[source], nodes[target], outcomes=frozenset(), rules=())
        self.paths = list(walk_all(self.graph))
        self.case = Case(self.graph, content)

    def fails(self, holds: Callable[[Case], Iterator[Finding]]) -> bool:
        return any(True for _ in holds(self.case))

    def reading(self, node: str) -> str | None:
        question = self.tree.questions.get(node)
        return question.reading if question else None

    def any_before(
        self, is_guarded: Callable[[str], bool], is_guard: Callable[[str], bool]
    ) -> bool:
        """Whether on some path a guarded node comes with no guard before it."""
        for path in self.paths:
            for index, node in enumerate(path):
                if is_guarded(node) and not any(is_guard(each) for each in path[:index]):
                    return True
        return False


shortcut_lists = st.lists(st.tuples(st.integers(0, 99), st.integers(0, 99)), max_size=2)


@MODEST
@given(contents())
def test_reach_and_length_agree_with_walking(content: Content) -> None:
    walked = Walked(content)
    on_paths = {node for path in walked.paths for node in path}
    written = set(walked.tree.questions) | set(walked.tree.junctions) | set(walked.tree.endings)
    assert walked.fails(shape.everything_is_reached) == bool(written - on_paths)
    longest = max(sum(node in walked.tree.questions for node in path) for path in walked.paths)
    assert walked.fails(shape.no_call_is_too_long) == (longest > walked.tree.most_questions)


@MODEST
@given(contents(), shortcut_lists)
def test_what_comes_first_agrees_with_walking(
    content: Content, shortcuts: list[tuple[int, int]]
) -> None:
    walked = Walked(content, shortcuts)

    def is_licensed(node: str) -> bool:
        reading = walked.reading(node)
        return reading is not None and content.readings[reading].is_licensed

    assert walked.fails(order.licensed_work_waits_for_the_qualification) == walked.any_before(
        is_licensed, lambda node: walked.reading(node) == "caller_qualification"
    )

    def is_late(node: str) -> bool:
        question = walked.tree.questions.get(node)
        return question is not None and question.stage in (Stage.HARVEST, Stage.CONFIRM)

    lacking = {
        reading
        for reading in order.FREEZE_HEALTH
        if walked.any_before(is_late, lambda node, reading=reading: walked.reading(node) == reading)  # type: ignore[misc]
    }
    told = [finding.message for finding in order.harvest_waits_for_freeze_health(walked.case)]
    assert {name for name in order.FREEZE_HEALTH if any(name in each for each in told)} == lacking


@MODEST
@given(contents(), shortcut_lists)
def test_cautions_and_gates_agree_with_walking(
    content: Content, shortcuts: list[tuple[int, int]]
) -> None:
    walked = Walked(content, shortcuts)

    def is_guard_of(kind: NodeKind, key: str, value: str) -> Callable[[str], bool]:
        nodes = walked.graph.nodes
        return lambda node: nodes[node]["kind"] is kind and nodes[node][key] == value

    bypassed = any(
        walked.any_before(
            lambda node, question=question: node == question,  # type: ignore[misc]
            lambda node, name=f"caution:{caution}@{question}": node == name,  # type: ignore[misc]
        )
        for question in walked.tree.questions
        for caution in content.readings[walked.tree.questions[question].reading].cautions
    )
    assert walked.fails(order.hazards_wait_for_their_caution) == bypassed
    ungated = any(
        walked.any_before(
            is_guard_of(NodeKind.RECOMMENDATION, "subject", ending),
            is_guard_of(NodeKind.GATE, "subject", ending),
        )
        for ending in ("charge", "feed")
    )
    assert walked.fails(order.recommendations_wait_for_their_gate) == ungated


@dataclasses.dataclass(frozen=True)
class Valve:
    """A valve that `feed` condemns: its side, its name, and what clears its coil.

    Two readings of the random trees are asked for under the names in `renamed`, one of their
    outcomes under that in `good`.
    """

    side: Side
    part: str
    good: dict[str, str]
    renamed: dict[str, tuple[str, dict[str, str]]]


VALVES = {
    "harvest": Valve(Side.HARVEST, "feed solenoid valve", {"coil_voltage": "within"}, {}),
    "leaking in the freeze": Valve(
        Side.FREEZE,
        "hot gas valve with coil",
        {"coil_voltage": "within", "hot_gas_line_in_freeze": "hot_coil_off"},
        {"ice_pattern": ("hot_gas_line_in_freeze", {"even": "hot_coil_off"})},
    ),
    "liquid line": Valve(
        Side.FREEZE,
        "liquid line valve",
        {"liquid_line_valve": "shut"},
        {"ice_pattern": ("liquid_line_valve", {"even": "shut"})},
    ),
    "water inlet": Valve(
        Side.AROUND,
        "water inlet valve with strainer",
        {"inlet_coil_voltage": "within"},
        {"coil_voltage": ("inlet_coil_voltage", {})},
    ),
}


def with_valve(content: Content, valve: Valve) -> Content:
    """Return content whose ending `feed` condemns this valve."""
    feed = dataclasses.replace(
        content.causes["feed_failed"], side=valve.side, condemns=(), replace_together=(valve.part,)
    )
    content = dataclasses.replace(content, causes={**content.causes, "feed_failed": feed})
    for old, (new, words) in valve.renamed.items():
        content = _renamed(content, old, new, words)
    return content


def _renamed(content: Content, old: str, new: str, words: dict[str, str]) -> Content:
    def said(outcomes: Iterable[str]) -> list[str]:
        return [words.get(each, each) for each in outcomes]

    def asked(table: Mapping[str, frozenset[str]]) -> dict[str, frozenset[str]]:
        return {
            new if name == old else name: frozenset(said(outcomes)) if name == old else outcomes
            for name, outcomes in table.items()
        }

    reading = content.readings[old]
    choices = tuple(
        dataclasses.replace(each, id=words.get(each.id, each.id)) for each in reading.choices
    )
    reading = dataclasses.replace(
        reading, id=new, choices=choices, normal=tuple(said(reading.normal))
    )
    tree = content.trees["sticks"]
    questions = {
        name: dataclasses.replace(
            each,
            reading=new,
            routes={words.get(key, key): node for key, node in each.routes.items()},
        )
        if each.reading == old
        else each
        for name, each in tree.questions.items()
    }
    junctions = {
        name: dataclasses.replace(
            each,
            rules=tuple(
                dataclasses.replace(rule, all_of=asked(rule.all_of), any_of=asked(rule.any_of))
                for rule in each.rules
            ),
        )
        for name, each in tree.junctions.items()
    }
    tree = dataclasses.replace(tree, questions=questions, junctions=junctions)
    readings = {**content.readings, new: reading}
    return dataclasses.replace(content, readings=readings, trees={"sticks": tree})


@pytest.mark.parametrize("name", VALVES)
@MODEST
@given(content=contents())
def test_the_coil_check_agrees_with_walking(name: str, content: Content) -> None:
    valve = VALVES[name]
    walked = Walked(with_valve(content, valve))

    def is_checked(path: Path) -> bool:
        """Whether some step of a path could only be taken on a coil known to be good."""
        for source, target in pairwise(path):
            edge = walked.graph.edges[source, target]
            good = valve.good.get(walked.reading(source) or "")
            if good is not None and edge["outcomes"] == {good}:
                return True
            if edge["rules"] and all(
                rule is not None
                and any(rule.all_of.get(each) == {good} for each, good in valve.good.items())
                for rule in edge["rules"]
            ):
                return True
        return False

    unchecked = any("feed" in path and not is_checked(path) for path in walked.paths)
    assert walked.fails(parts_are_condemned_on_their_check_alone) == unchecked


@MODEST
@given(contents())
def test_harvest_causes_agree_with_walking(content: Content) -> None:
    """It holds if each path to `feed` passes a rule that demands everything about the freeze.

    It is broken if one passes no rule that demands the discharge line.
    """
    walked = Walked(content)
    line = {"discharge_line_temperature": {"within"}}
    everything = {
        **line,
        "ice_pattern": {"even"},
        "freeze_suction_pressure_late": {"within"},
        "freeze_time": {"within"},
    }

    def is_guarded(path: Path, demanded: Mapping[str, set[str]]) -> bool:
        edges = [walked.graph.edges[source, target] for source, target in pairwise(path)]
        return any(
            edge["rules"]
            and all(
                rule is not None
                and all(rule.all_of.get(name) == good for name, good in demanded.items())
                for rule in edge["rules"]
            )
            for edge in edges
        )

    reaching = [path for path in walked.paths if "feed" in path]
    is_broken = walked.fails(order.harvest_causes_need_a_sound_freeze)
    if all(is_guarded(path, everything) for path in reaching):
        assert not is_broken
    if not all(is_guarded(path, line) for path in reaching):
        assert is_broken


@MODEST
@given(contents())
def test_every_finding_carries_a_real_path_from_the_start(content: Content) -> None:
    walked = Walked(content)
    for finding in prove(content, "sticks"):
        if finding.path:
            assert finding.path[0] == walked.graph.graph["start"]
            assert all(
                walked.graph.has_edge(source, target) for source, target in pairwise(finding.path)
            )


@MODEST
@given(contents())
def test_a_call_that_shows_a_finding_goes_the_way_of_its_path(content: Content) -> None:
    graph = build_graph(content, "sticks")
    for finding in prove(content, "sticks"):
        answers = answers_along(graph, content, finding.path, finding.shows or ({},))
        if not answers.is_shown:
            continue
        assert not finding.shows or any(
            all(answers.outcomes[name] in wanted for name, wanted in shown.items())
            for shown in finding.shows
        )
        for node, target in pairwise(finding.path):
            assert next_node(graph, node, answers.outcomes) == target


def simulated_call(
    content: Content, plan: Plan, chance: random.Random
) -> tuple[Path, dict[str, str]]:
    """Return the nodes passed and the outcomes known in a call answered mostly healthily."""
    graph = build_graph(content, "sticks")
    known: dict[str, str] = {}
    seen: Path = []
    node: str | None = plan.start
    while node is not None:
        seen.append(node)
        question = plan.tree.questions.get(node)
        if question is not None:
            reading = content.readings[question.reading]
            usual = "below" if reading.id == "harvest_suction_pressure" else "within"
            healthy = [each for each in reading.outcomes if each in (usual, *reading.normal)]
            is_healthy = bool(healthy) and chance.random() < 0.9
            known[reading.id] = chance.choice(healthy if is_healthy else reading.outcomes)
        node = next_node(graph, node, known)
    return seen, known


@settings(MODEST, max_examples=200)
@given(st.one_of(dented_contents(), contents()), st.integers(0, 2**32))
def test_no_call_breaks_what_was_proved(content: Content, seed: int) -> None:
    case = Case(build_graph(content, "sticks"), content)
    is_freeze_proved = not [
        *order.harvest_is_entered_on_a_sound_freeze(case),
        *order.harvest_causes_need_a_sound_freeze(case),
    ]
    is_coil_proved = not [*parts_are_condemned_on_their_check_alone(case)]
    is_health_proved = not [*order.harvest_waits_for_freeze_health(case)]
    chance, plan = random.Random(seed), plan_tree(content, "sticks")
    for _ in range(30):
        seen, known = simulated_call(content, plan, chance)
        asked = [plan.tree.questions[node] for node in seen if node in plan.tree.questions]
        if is_health_proved and any(question.stage is Stage.HARVEST for question in asked):
            assert set(order.FREEZE_HEALTH) <= set(known)
        if "feed" not in seen:
            continue
        if is_freeze_proved:
            _assert_sound_freeze(known)
        if is_coil_proved:
            assert known.get("coil_voltage") == "within"


def _assert_sound_freeze(known: dict[str, str]) -> None:
    assert known.get("discharge_line_temperature") == "within"
    assert known.get("ice_pattern") == "even"
    assert "within" in [known.get(reading) for reading in order.FREEZE_SUCTIONS]
    for reading in order.FREEZE_HEALTH:
        assert known.get(reading, UNKNOWN) in ("within", "even", "full", "tight", UNKNOWN)
