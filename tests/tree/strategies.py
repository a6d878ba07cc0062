"""Random small trees over the miniature's readings and causes, for properties."""

from __future__ import annotations

import dataclasses
from functools import cache

from hypothesis import strategies as st

from tests.tree.miniature import sound_draft
from triage.tree.content import Content, Ending, Junction, Place, Question, Rule, Stage, Tree

READINGS = (
    "caller_qualification",
    "ice_pattern",
    "discharge_line_temperature",
    "freeze_suction_pressure_late",
    "freeze_time",
    "coil_voltage",
    "harvest_suction_pressure",
)
ENDINGS = ("charge", "feed", "hand_on")
_PLACE = Place("random.yaml", 1, 1)


@cache
def base_content() -> Content:
    """Return the miniature, read once."""
    return sound_draft().content()


@st.composite
def contents(draw: st.DrawFn, most_nodes: int = 7) -> Content:
    """Return the miniature with a random acyclic tree `sticks` in place of its own."""
    count = draw(st.integers(1, most_nodes))
    names = [f"n{index}" for index in range(count)]
    stages = sorted(
        draw(st.lists(st.sampled_from(Stage), min_size=count, max_size=count)),
        key=list(Stage).index,
    )
    questions: dict[str, Question] = {}
    junctions: dict[str, Junction] = {}
    for index, name in enumerate(names):
        targets = st.sampled_from([*names[index + 1 : index + 4], *ENDINGS])
        if index and draw(st.integers(0, 2)) == 0:
            junctions[name] = draw(_junctions(name, stages[index], targets))
        else:
            questions[name] = draw(_questions(name, stages[index], targets))
    tree = Tree(
        id="sticks",
        title="Random",
        start=names[0],
        most_questions=draw(st.integers(1, 5)),
        questions=questions,
        junctions=junctions,
        endings=_endings(),
        place=_PLACE,
    )
    return dataclasses.replace(base_content(), trees={"sticks": tree})


@st.composite
def _questions(
    draw: st.DrawFn, name: str, stage: Stage, targets: st.SearchStrategy[str]
) -> Question:
    reading = base_content().readings[draw(st.sampled_from(READINGS))]
    # Often one way for all, as in real trees; else one for each outcome.
    one = draw(targets)
    routes = dict.fromkeys(reading.outcomes, one)
    if draw(st.booleans()):
        routes = {outcome: draw(targets) for outcome in reading.outcomes}
    return Question(name, reading.id, stage, "a", "t", "w", "h", "u", routes, _PLACE)


@st.composite
def _junctions(
    draw: st.DrawFn, name: str, stage: Stage, targets: st.SearchStrategy[str]
) -> Junction:
    rules = []
    for number in range(draw(st.integers(1, 2))):
        conditions = {}
        for reading_id in draw(st.sets(st.sampled_from(READINGS[1:]), max_size=6)):
            outcomes = base_content().readings[reading_id].outcomes
            good = frozenset({"within", "even"}) & frozenset(outcomes)
            random = st.frozensets(st.sampled_from(outcomes), min_size=1, max_size=2)
            conditions[reading_id] = draw(st.one_of(st.just(good), random))
        rules.append(Rule(f"rule {number}", conditions, {}, draw(targets), _PLACE))
    return Junction(name, stage, tuple(rules), draw(targets), _PLACE)


def _endings() -> dict[str, Ending]:
    return {
        "charge": Ending("charge", ("thin_charge",), "so", _PLACE),
        "feed": Ending("feed", ("feed_failed",), "so", _PLACE),
        "hand_on": Ending("hand_on", (), "so", _PLACE, "Second line", ("nothing_wrong",)),
    }


@st.composite
def dented_contents(draw: st.DrawFn) -> Content:
    """Return the miniature with up to three routes or rules of its own tree changed at random."""
    content = base_content()
    tree = content.trees["sticks"]
    order = [*tree.questions]
    order.insert(order.index("coil"), "is_freeze_sound")
    questions, junctions = dict(tree.questions), dict(tree.junctions)
    for _ in range(draw(st.integers(0, 3))):
        name = draw(st.sampled_from(order))
        target = draw(st.sampled_from([*order[order.index(name) + 1 :], *ENDINGS]))
        if name in questions:
            outcome = draw(st.sampled_from(sorted(questions[name].routes)))
            routes = {**questions[name].routes, outcome: target}
            questions[name] = dataclasses.replace(questions[name], routes=routes)
        else:
            junctions[name] = draw(_dented_junctions(junctions[name], target))
    changed = dataclasses.replace(tree, questions=questions, junctions=junctions)
    return dataclasses.replace(content, trees={"sticks": changed})


@st.composite
def _dented_junctions(draw: st.DrawFn, junction: Junction, target: str) -> Junction:
    (rule,) = junction.rules
    reading_id = draw(st.sampled_from(sorted(rule.all_of)))
    outcomes = base_content().readings[reading_id].outcomes
    wider = rule.all_of[reading_id] | {draw(st.sampled_from(outcomes))}
    kept = {name: wanted for name, wanted in rule.all_of.items() if name != reading_id}
    dent = draw(st.sampled_from(["forgets", "widens", "any suction", "leads", "otherwise"]))
    if dent == "otherwise":
        return dataclasses.replace(junction, otherwise=target)
    changed = {
        "forgets": dataclasses.replace(rule, all_of=kept),
        "widens": dataclasses.replace(rule, all_of={**kept, reading_id: wider}),
        "any suction": dataclasses.replace(rule, any_of={}),
        "leads": dataclasses.replace(rule, then=target),
    }[dent]
    return dataclasses.replace(junction, rules=(changed,))
