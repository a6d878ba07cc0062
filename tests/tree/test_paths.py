"""What is counted for all conversations at once is what walking them one by one finds."""

from __future__ import annotations

import dataclasses
import math
import random
from collections import Counter

import pytest
from hypothesis import HealthCheck, given, settings

from tests.tree.miniature import READINGS, Draft, Rule, sound_draft
from tests.tree.strategies import contents
from tests.tree.walks import all_answers, walked
from triage.tree.content import Content
from triage.tree.conversations import States, TooLarge, conversations
from triage.tree.graph import NodeKind, Plan, build_graph, plan_tree
from triage.tree.paths import Chances, Span, expected, graph_paths, never_met, talks

MODEST = settings(
    derandomize=True, max_examples=150, deadline=None, suppress_health_check=list(HealthCheck)
)
TREE = "sticks"


def counted(content: Content, tree: str = TREE) -> tuple[Span, States, int, Plan]:
    """Return the conversations with a tree, with what they were found in."""
    plan, states = plan_tree(content, tree), States()
    start = conversations(content, plan, states)
    return talks(states, start), states, start, plan


@MODEST
@given(contents())
def test_conversations_are_those_that_walking_every_joint_outcome_finds(content: Content) -> None:
    graph = build_graph(content, TREE)
    met = {walked(graph, content, answers) for answers in all_answers(content, graph)}
    found, states, start, plan = counted(content)
    assert found.endings == Counter(ending for _, ending in met)
    lengths = [len(put) for put, _ in met]
    assert len(found.shortest.answers) == min(lengths)
    assert len(found.longest.answers) == max(lengths)
    assert (found.shortest.answers, found.shortest.ending) in met
    assert (found.longest.answers, found.longest.ending) in met
    nodes = {question for put, _ in met for question, _ in put} | {ending for _, ending in met}
    kinds = (NodeKind.QUESTION, NodeKind.ENDING)
    all_nodes = {name for name, node in plan.nodes.items() if node.kind in kinds}
    assert set(never_met(plan, states, start)) == all_nodes - nodes


@MODEST
@given(contents())
def test_paths_through_the_graph_are_those_that_walking_every_way_finds(content: Content) -> None:
    plan = plan_tree(content, TREE)

    def lengths_from(node: str) -> Counter[int]:
        kind = plan.nodes[node].kind
        if kind is NodeKind.ENDING:
            return Counter([0])
        is_question = kind is NodeKind.QUESTION
        found: Counter[int] = Counter()
        for step in plan.steps[node]:
            for length, paths in lengths_from(step.target).items():
                found[length + is_question] += paths * (len(step.outcomes) if is_question else 1)
        return found

    lengths = lengths_from(plan.start)
    found = graph_paths(plan)
    assert found.count == lengths.total()
    assert len(found.shortest.answers) == min(lengths)
    assert len(found.longest.answers) == max(lengths)


def chances_of(content: Content, modes: int, seed: int) -> Chances:
    """Return made-up chances of every outcome in every mode."""
    drawn = random.Random(seed)
    made: dict[str, dict[str, tuple[float, ...]]] = {}
    for reading in content.readings.values():
        rows = [[drawn.random() for _ in reading.outcomes] for _ in range(modes)]
        made[reading.id] = {
            outcome: tuple(row[number] / sum(row) for row in rows)
            for number, outcome in enumerate(reading.outcomes)
        }
    return made


@MODEST
@given(contents(most_nodes=5))
def test_what_is_expected_is_the_mean_over_every_joint_outcome(content: Content) -> None:
    shares = (0.7, 0.3)
    chances = chances_of(content, 2, seed=4)
    _, states, start, _ = counted(content)
    found = expected(states, start, shares, chances)
    graph = build_graph(content, TREE)
    questions = 0.0
    endings: Counter[str] = Counter()
    asked: Counter[str] = Counter()
    for answers in all_answers(content, graph):
        chance = sum(
            share * math.prod(chances[name][outcome][mode] for name, outcome in answers.items())
            for mode, share in enumerate(shares)
        )
        put, ending = walked(graph, content, answers)
        questions += chance * len(put)
        endings[ending] += chance  # type: ignore[assignment]
        for question, _ in put:
            asked[question] += chance  # type: ignore[assignment]
    assert found.questions == pytest.approx(questions)
    assert found.endings == pytest.approx(dict(endings))
    assert found.asked == pytest.approx(dict(asked))


def test_what_is_expected_lies_within_the_error_of_drawn_calls() -> None:
    """The same by drawing calls one by one, as a general method would."""
    content = sound_draft().content()
    shares, chances = (0.5, 0.2, 0.3), chances_of(content, 3, seed=8)
    _, states, start, _ = counted(content)
    found = expected(states, start, shares, chances)
    graph, drawn, lengths = build_graph(content, TREE), random.Random(2), []
    for _ in range(4000):
        (mode,) = drawn.choices(range(3), shares)
        answers = {
            name: drawn.choices(list(of), [chance[mode] for chance in of.values()])[0]
            for name, of in chances.items()
        }
        lengths.append(len(walked(graph, content, answers)[0]))
    mean = sum(lengths) / len(lengths)
    spread = math.sqrt(sum((each - mean) ** 2 for each in lengths) / len(lengths))
    assert abs(found.questions - mean) < 4 * spread / math.sqrt(len(lengths))


def draft_of(**readings: str) -> Draft:
    """Return a tree that asks for these readings in turn and then comes to a junction `fork`."""
    draft = dataclasses.replace(
        sound_draft(), questions={}, junctions={}, start=next(iter(readings))
    )
    names = [*readings, "fork"]
    for name, behind in zip(readings, names[1:], strict=False):
        draft.ask(name, readings[name], "freeze", else_=behind)
    return draft


def test_a_rule_against_an_answer_given_on_the_same_path_leads_nowhere() -> None:
    draft = draft_of(first="ice_pattern", second="freeze_time")
    draft.junctions["fork"] = ("freeze", [Rule("feed", {"ice_pattern": "even"})], "charge")
    draft.route("first", thin_at_outlet="hand_on")
    found, _, _, plan = counted(draft.content())
    # 4 outcomes of the freeze time; "even" and "unknown" come to the fork, and each goes one way.
    assert found.endings == {"hand_on": 1, "feed": 4, "charge": 4}
    assert graph_paths(plan).endings == {"hand_on": 1, "feed": 8, "charge": 8}


def test_a_reading_had_before_is_not_asked_for_again() -> None:
    draft = draft_of(first="ice_pattern", again="ice_pattern")
    draft.junctions["fork"] = ("freeze", [Rule("feed", {"ice_pattern": "even"})], "charge")
    draft.route("again", else_="hand_on", even="fork")
    found, *_ = counted(draft.content())
    assert found.endings == {"feed": 1, "hand_on": 2}
    assert {len(found.shortest.answers), len(found.longest.answers)} == {1}


def test_a_caller_who_is_not_licensed_is_not_asked_for_licensed_work() -> None:
    draft = draft_of(who="caller_qualification", line="discharge_line_temperature")
    draft.junctions["fork"] = (
        "freeze", [Rule("feed", {"discharge_line_temperature": "unknown"})], "charge"
    )  # fmt: skip
    found, *_ = counted(draft.content())
    # A licensed caller has four answers for the line; the other two kinds are put one question.
    assert found.endings == {"feed": 3, "charge": 3}
    assert (len(found.shortest.answers), len(found.longest.answers)) == (1, 2)


def test_a_complaint_that_another_tree_serves_is_no_conversation_of_this_one() -> None:
    draft = draft_of(what="complaint", time="freeze_time")
    draft.junctions["fork"] = ("freeze", [Rule("feed", {"complaint": "other"})], "charge")
    new = (
        "  complaint: {name: complaint, kind: choice, choices: "
        "{sticks: {label: sticks}, smells: {label: smells}, other: {label: other}}}\n"
    )
    draft.files["readings.yaml"] = READINGS + new
    content = draft.content()
    alone, *_ = counted(content)
    assert alone.endings == {"feed": 4, "charge": 12}
    smells = dataclasses.replace(content.trees[TREE], id="smells")
    beside = dataclasses.replace(content, trees={**content.trees, "smells": smells})
    found, *_ = counted(beside)
    assert found.endings == {"feed": 4, "charge": 8}


def test_the_miniature_is_counted_as_on_paper() -> None:
    """Who 3, room and machine 2, then bridge and time 4, pattern 3, flow 3, leak 3, gauges 4."""
    found, *_ = counted(sound_draft().content())
    before = 2 * 2 * 4 * 4
    thin = 3 * before  # whoever calls, thin ice at the outlet ends it
    unlicensed = 2 * before * 2 * 3 * 3  # gauges are not asked for, the freeze stays unproven
    licensed = before * 2 * 3 * 3 * 4**4
    # Of those a freeze is sound: bridge, time, flow and leak may be unknown, the pattern is even,
    # the line within, three gauges within or unknown, one of both suctions within.
    sound = 2 * 2 * 2 * 2 * 1 * 2 * 2 * 1 * 2 * (2 * 2 - 1)
    ends_at_coil = sound * 3
    ends_at_harvest = sound * 4
    assert found.count == thin + unlicensed + (licensed - sound) + ends_at_coil + ends_at_harvest
    assert found.endings["charge"] == thin
    assert found.endings["feed"] == sound
    assert len(found.longest.answers) == 14


def test_a_tree_too_entangled_is_refused() -> None:
    content = sound_draft().content()
    with pytest.raises(TooLarge):
        conversations(content, plan_tree(content, TREE), States(), most_nodes=20)
