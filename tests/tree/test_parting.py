"""Where two trees part is where walking every caller through both finds that they do."""

from __future__ import annotations

import math
import random
from collections import Counter

import pytest
from hypothesis import HealthCheck, given, settings

from tests.tree.miniature import Rule, sound_draft
from tests.tree.strategies import READINGS, contents
from tests.tree.test_paths import chances_of
from tests.tree.walks import all_answers, walked
from triage.tree.content import Content
from triage.tree.conversations import States, TooLarge, conversations
from triage.tree.graph import build_graph, plan_tree
from triage.tree.parting import Partings, partings, told_apart

MODEST = settings(
    derandomize=True, max_examples=150, deadline=None, suppress_health_check=list(HealthCheck)
)
TREE = "sticks"
SHARES = (0.6, 0.4)


def together(*each: Content) -> tuple[States, list[int]]:
    """Return where conversations with these contents begin; questions go by their reading."""
    states = States()
    starts = []
    for content in each:
        plan = plan_tree(content, TREE)
        names = {name: node.reading or name for name, node in plan.nodes.items()}
        starts.append(conversations(content, plan, states, names))
    return states, starts


def parted(before: Content, after: Content, **limits: int) -> Partings:
    states, starts = together(before, after)
    usual = {reading.id: frozenset(reading.normal) for reading in before.readings.values()}
    callers = [(SHARES, chances_of(before, 2, seed=3))]
    return partings(states, *starts, callers, usual, **limits)


@MODEST
@given(contents(most_nodes=4), contents(most_nodes=4))
def test_the_share_that_parts_is_the_mean_over_every_joint_outcome(
    before: Content, after: Content
) -> None:
    found = parted(before, after)
    chances = chances_of(before, 2, seed=3)
    graphs = build_graph(before, TREE), build_graph(after, TREE)
    joint = graphs[0].copy()
    joint.add_nodes_from((f"after {name}", facts) for name, facts in graphs[1].nodes.items())
    asks_otherwise = 0.0
    ends: Counter[tuple[str, str]] = Counter()
    shortest: dict[tuple[str, str], int] = {}
    for answers in all_answers(before, joint):
        chance = sum(
            share * math.prod(chances[name][outcome][mode] for name, outcome in answers.items())
            for mode, share in enumerate(SHARES)
        )
        walks = [walked(graph, before, answers) for graph in graphs]
        asked = [
            [graph.nodes[question]["reading"] for question, _ in put]
            for graph, (put, _) in zip(graphs, walks, strict=True)
        ]
        asks_otherwise += chance * (asked[0] != asked[1])
        if walks[0][1] != walks[1][1]:
            key = walks[0][1], walks[1][1]
            ends[key] += chance  # type: ignore[assignment]
            length = len({*asked[0], *asked[1]})
            shortest[key] = min(shortest.get(key, length), length)
    assert found.asks_otherwise == pytest.approx((asks_otherwise,))
    shares = {(item.before, item.after): item.shares[0] for item in found.ends}
    assert shares == pytest.approx(dict(ends))
    assert list(shares.values()) == sorted(shares.values(), reverse=True)
    assert {(item.before, item.after): len(item.answers) for item in found.ends} == shortest
    for item in found.ends:
        answers = {**dict.fromkeys(READINGS, "unknown"), **dict(item.answers)}
        both = [walked(graph, before, answers) for graph in graphs]
        assert [ending for _, ending in both] == [item.before, item.after]
        alike = [
            [(graph.nodes[question]["reading"], outcome) for question, outcome in put]
            for graph, (put, _) in zip(graphs, both, strict=True)
        ]
        assert alike[0][: item.alike] == alike[1][: item.alike] == list(item.answers[: item.alike])
        then = [of[item.alike : item.alike + 1] for of in alike]
        assert then == [[], []] or then[0] != then[1]


@MODEST
@given(contents(most_nodes=5), contents(most_nodes=5))
def test_drawn_callers_part_as_the_pairs_followed_do(before: Content, after: Content) -> None:
    states, starts = together(before, after)
    drawn = random.Random(5)
    graphs = build_graph(before, TREE), build_graph(after, TREE)
    for _ in range(20):
        answers = {name: drawn.choice(of.outcomes) for name, of in before.readings.items()}
        told, is_alike = told_apart(states, starts[0], starts[1], answers.__getitem__)
        walks = [walked(graph, before, answers) for graph in graphs]
        assert [told.before, told.after] == [ending for _, ending in walks]
        asked = [
            [graph.nodes[question]["reading"] for question, _ in put]
            for graph, (put, _) in zip(graphs, walks, strict=True)
        ]
        assert is_alike == (asked[0] == asked[1])
        assert dict(told.answers) == {name: answers[name] for of in asked for name in of}
        assert asked[0][: told.alike] == asked[1][: told.alike]


def test_a_tree_does_not_part_from_itself() -> None:
    content = sound_draft().content()
    assert parted(content, content) == Partings((0.0,), ())


def test_questions_in_another_order_are_asked_otherwise_and_end_alike() -> None:
    turned = sound_draft()
    turned.route("which", else_="time")
    turned.route("time", else_="bridge")
    turned.route("bridge", else_="pattern")
    found = parted(sound_draft().content(), turned.content())
    assert found.asks_otherwise == pytest.approx((1.0,))
    assert found.ends == ()


def test_a_rule_that_changed_shows_the_shortest_and_plainest_caller_it_changes() -> None:
    changed = sound_draft()
    stage, rules, otherwise = changed.junctions["is_freeze_sound"]
    early = Rule("charge", {"freeze_discharge_pressure": "below"})
    changed.junctions["is_freeze_sound"] = (stage, [early, *rules], otherwise)
    found = parted(sound_draft().content(), changed.content())
    assert found.asks_otherwise == (0.0,)
    ((item),) = found.ends
    assert (item.before, item.after) == ("hand_on", "charge")
    answers = dict(item.answers)
    assert answers["freeze_discharge_pressure"] == "below"
    assert answers["ice_pattern"] == "even"
    assert answers["water_flow_over_plate"] == "full"


def test_trees_too_unlike_to_be_followed_are_refused() -> None:
    turned = sound_draft()
    turned.route("who", else_="high")
    turned.questions["high"] = (turned.questions["high"][0], "freeze", {"else": "bridge"})
    turned.route("late", else_="room")
    turned.route("which", else_="is_freeze_sound")
    with pytest.raises(TooLarge):
        parted(sound_draft().content(), turned.content(), most_pairs=20)
