"""What changes from one content to another is told in words, and nothing is missed."""

from __future__ import annotations

import dataclasses
from collections.abc import Iterator, Mapping
from enum import Enum
from typing import Any

import pytest

from tests.tree.miniature import Draft, sound_draft
from triage.tree.content import Content, Place
from triage.tree.difference import ADDED, REMOVED, RENAMED, Change, Kind, differences
from triage.tree.matching import matched

BASE = sound_draft().content()
TREE = "sticks"


def from_base(changed: Draft) -> tuple[Change, ...]:
    return differences(BASE, changed.content())


def only(changes: tuple[Change, ...]) -> Change:
    (change,) = changes
    return change


def test_a_content_does_not_differ_from_itself() -> None:
    assert differences(BASE, sound_draft().content()) == ()


def test_where_something_is_written_is_no_difference() -> None:
    moved = dataclasses.replace(BASE, version="other", readings={
        name: dataclasses.replace(reading, place=Place("elsewhere.yaml", 7, 1))
        for name, reading in reversed(BASE.readings.items())
    })  # fmt: skip
    assert differences(BASE, moved) == ()


def other(value: Any) -> Any:
    """Return a value of the same type that is not `value`."""
    match value:
        case bool():
            return not value
        case Enum():
            return next(each for each in type(value) if each is not value)
        case str():
            return f"{value} x"
        case int() | float():
            return value + 1
        case tuple() if value and all(isinstance(each, float) for each in value):
            return tuple(each + 1 for each in value)
        case tuple():
            return (*value, "x") if not value or isinstance(value[0], str) else value[1:]
        case frozenset():
            return frozenset({next(iter(value)), "x"}) if len(value) > 1 else value | {"x"}
        case Mapping() if value:
            first = next(iter(value))
            return {**value, first: other(value[first])}
        case Mapping():
            return {"x": 1.0}
        case None:
            return 3.0
    raise TypeError(value)


SKIPPED = {"id", "place", "prior", "is_generic"}
"""Told by their key, or no part of what a file says."""

OF_NOTHING = {"plausible": (1.0, 2.0)}
"""What a field is altered to that has nothing."""


def variants(thing: Any) -> Iterator[tuple[str, Any]]:
    """Yield the thing with one field after the other changed, fields of parts too."""
    for field in dataclasses.fields(thing):
        value = getattr(thing, field.name)
        if field.name in SKIPPED or (field.name == "choices" and not value):
            continue
        if value is None and field.name in OF_NOTHING:
            yield field.name, dataclasses.replace(thing, **{field.name: OF_NOTHING[field.name]})
        elif dataclasses.is_dataclass(value):
            for name, changed in variants(value):
                yield f"{field.name}.{name}", dataclasses.replace(thing, **{field.name: changed})
        elif isinstance(value, tuple) and value and dataclasses.is_dataclass(value[0]):
            yield field.name, dataclasses.replace(thing, **{field.name: value[1:]})
            for name, changed in variants(value[0]):
                yield (
                    f"{field.name}.{name}",
                    dataclasses.replace(thing, **{field.name: (changed, *value[1:])}),
                )
        else:
            yield field.name, dataclasses.replace(thing, **{field.name: other(value)})


def in_table(table: str, name: str) -> Iterator[tuple[str, Content]]:
    things: Mapping[str, Any] = getattr(BASE, table)
    for field, changed in variants(things[name]):
        yield f"{table} {field}", dataclasses.replace(BASE, **{table: {**things, name: changed}})


def in_tree() -> Iterator[tuple[str, Content]]:
    tree = BASE.trees[TREE]
    for table, name in (
        ("questions", "pattern"), ("junctions", "is_freeze_sound"), ("endings", "charge"),
        ("endings", "hand_on"),
    ):  # fmt: skip
        nodes: Mapping[str, Any] = getattr(tree, table)
        for field, changed in variants(nodes[name]):
            # A route to a node that is not there cannot be loaded; another node is as good.
            replaced = dataclasses.replace(tree, **{table: {**nodes, name: changed}})
            yield f"{table} {field}", dataclasses.replace(BASE, trees={TREE: replaced})
    for field in ("title", "most_questions", "causes"):
        changed = dataclasses.replace(tree, **{field: other(getattr(tree, field))})
        yield f"tree {field}", dataclasses.replace(BASE, trees={TREE: changed})


ALTERED = [
    *in_table("readings", "ice_pattern"),
    *in_table("readings", "freeze_suction_pressure_early"),
    *in_table("cautions", "gauges"),
    *in_table("causes", "thin_charge"),
    *in_table("causes", "feed_failed"),
    *in_table("machines", "fennel_200"),
    *in_tree(),
    ("likelihoods", dataclasses.replace(BASE, likelihoods="{}")),
    ("outcomes", dataclasses.replace(BASE, outcomes={TREE: {"thin_charge": 2}})),
    *(
        (f"stakes {field}", dataclasses.replace(BASE, stakes=changed))
        for field, changed in variants(BASE.stakes)
    ),
]


@pytest.mark.parametrize(
    "altered", [content for _, content in ALTERED], ids=[n for n, _ in ALTERED]
)
def test_whatever_is_altered_is_told(altered: Content) -> None:
    """Every field of every dataclass of a content, so that one added later is not forgotten."""
    assert differences(BASE, altered)
    assert differences(altered, BASE)


def test_a_question_in_other_words_tells_the_old_and_the_new_ones() -> None:
    tree = BASE.trees[TREE]
    asked = dataclasses.replace(tree.questions["time"], agent="How long does it freeze?")
    changed = dataclasses.replace(tree, questions={**tree.questions, "time": asked})
    told = only(differences(BASE, dataclasses.replace(BASE, trees={TREE: changed})))
    assert told == Change(
        Kind.QUESTION, (TREE,), "time", "agent's words", "Words.", "How long does it freeze?"
    )


def test_another_route_tells_where_each_outcome_led_and_leads() -> None:
    changed = sound_draft()
    changed.route("pattern", thin_at_outlet="hand_on")
    told = only(from_base(changed))
    assert (told.kind, told.id, told.what) == (
        Kind.QUESTION, "pattern", "when it is thin at the outlet",
    )  # fmt: skip
    assert told.before == "ends: too little refrigerant [charge]"
    assert told.after == "ends: handed over: Second line. [hand_on]"


def test_a_question_asked_at_another_stage_and_one_that_is_new_are_told() -> None:
    changed = sound_draft()
    reading, _, routes = changed.questions["room"]
    changed.questions["room"] = (reading, "caller", routes)
    changed.route("room", else_="model")
    changed.ask("model", "machine", "machine", else_="bridge")
    told = {(it.id, it.what): (it.before, it.after) for it in from_base(changed)}
    assert told["room", "stage"] == ("machine", "caller")
    assert told["model", ADDED] == ("", "machine stage: Words.")
    assert told["room", "when it is known or unknown"] == (
        "asks for machine [which]", "asks for machine [model]",
    )  # fmt: skip


def test_a_rule_that_moved_was_added_or_asks_for_something_else_is_told_by_what_it_says() -> None:
    def draft(*rules: tuple[str, str, str]) -> Content:
        content = sound_draft().content()
        tree = content.trees[TREE]
        fork = tree.junctions["is_freeze_sound"]
        made = [
            dataclasses.replace(
                fork.rules[0], says=says, all_of={"ice_pattern": frozenset({outcome})}, any_of={},
                then=then,
            )
            for says, outcome, then in rules
        ]  # fmt: skip
        changed = dataclasses.replace(fork, rules=tuple(made))
        junctions = {"is_freeze_sound": changed}
        return dataclasses.replace(
            content, trees={TREE: dataclasses.replace(tree, junctions=junctions)}
        )

    before = draft(("one", "even", "charge"), ("two", "even", "feed"), ("three", "even", "coil"))
    after = draft(
        ("three", "even", "coil"), ("one", "thin_at_outlet", "charge"), ("two", "even", "coil"),
        ("four", "unknown", "feed"),
    )  # fmt: skip
    told = {it.what: (it.before, it.after) for it in differences(before, after)}
    assert told == {
        'rule "one" holds where': ("ice pattern even all over", "ice pattern thin at the outlet"),
        'rule "two" leads to': (
            "ends: receiver vapor feed failed [feed]", "asks for coil supply [coil]",
        ),
        'rule "three" is looked at': ("as number 3", "as number 1"),
        'rule "four" added': (
            "",
            "as number 4, where ice pattern unknown: ends: receiver vapor feed failed [feed]",
        ),
    }  # fmt: skip


def test_a_part_put_into_another_namespace_has_other_names_and_no_other_conversation() -> None:
    tree = BASE.trees[TREE]

    def named(name: str) -> str:
        return f"freeze.{name}" if name in ("bridge", "time", "charge") else name

    moved = dataclasses.replace(
        tree,
        questions={
            named(name): dataclasses.replace(
                question, id=named(name), routes={k: named(to) for k, to in question.routes.items()}
            )
            for name, question in tree.questions.items()
        },
        endings={
            named(name): dataclasses.replace(ending, id=named(name))
            for name, ending in tree.endings.items()
        },
    )
    told = differences(BASE, dataclasses.replace(BASE, trees={TREE: moved}))
    assert {(it.what, it.before, it.after) for it in told} == {
        (RENAMED, name, named(name)) for name in ("bridge", "time", "charge")
    }
    same = matched(tree, moved)
    assert same["time"] == "freeze.time"
    assert same["charge"] == "freeze.charge"
    assert same["line"] == "line"


def test_what_says_the_same_under_another_name_is_the_same_node() -> None:
    changed = sound_draft()
    changed.endings["starved"] = changed.endings.pop("charge")
    changed.route("pattern", thin_at_outlet="starved")
    assert only(from_base(changed)) == Change(
        Kind.ENDING, (TREE,), "starved", RENAMED, "charge", "starved"
    )


def test_what_is_the_same_in_two_trees_is_told_once() -> None:
    def twice(content: Content) -> Content:
        tree = content.trees[TREE]
        return dataclasses.replace(
            content, trees={TREE: tree, "again": dataclasses.replace(tree, id="again")}
        )

    changed = sound_draft()
    changed.route("pattern", thin_at_outlet="hand_on")
    told = only(differences(twice(BASE), twice(changed.content())))
    assert told.trees == (TREE, "again")


def test_a_tree_a_caution_a_repair_and_a_share_that_changed_are_told_in_words() -> None:
    cause = dataclasses.replace(BASE.causes["feed_failed"], replace_together=("feed regulator",))
    caution = dataclasses.replace(BASE.cautions["mains"], text="Live parts. Test first.")
    tree = dataclasses.replace(BASE.trees[TREE], causes={**BASE.trees[TREE].causes, "x": 7.0})
    changed = dataclasses.replace(
        BASE,
        causes={**BASE.causes, "feed_failed": cause},
        cautions={**BASE.cautions, "mains": caution},
        trees={TREE: tree, "new": dataclasses.replace(tree, id="new", title="A new one")},
    )
    told = {(it.kind, it.id, it.what): (it.before, it.after) for it in differences(BASE, changed)}
    assert told[Kind.CAUSE, "feed_failed", "parts replaced together"] == (
        "feed regulator, feed solenoid valve", "feed regulator",
    )  # fmt: skip
    assert told[Kind.CAUTION, "mains", "text"] == ("Live parts.", "Live parts. Test first.")
    assert told[Kind.PRIOR, "x", "of a hundred such calls"] == ("", "7")
    assert told[Kind.TREE, "new", ADDED][1].startswith("A new one")
    back = {(it.kind, it.id, it.what) for it in differences(changed, BASE)}
    assert (Kind.TREE, "new", REMOVED) in back


def test_phrases_are_told_by_those_that_came_and_those_that_went() -> None:
    reading = BASE.readings["ice_pattern"]

    def saying(*phrases: str) -> Content:
        choice = dataclasses.replace(reading.choices[0], spoken=phrases)
        changed = dataclasses.replace(reading, choices=(choice, *reading.choices[1:]))
        return dataclasses.replace(BASE, readings={**BASE.readings, reading.id: changed})

    many = [f"phrase {number}" for number in range(60)]
    told = differences(saying(*many, "it rattles"), saying("it, hums", *many))
    side = f'people also say for "{reading.choices[0].id}"'
    assert [(it.what, it.before, it.after) for it in told] == [
        (f"{side}, added", "", '"it, hums"'), (f"{side}, removed", '"it rattles"', ""),
    ]  # fmt: skip
    assert differences(saying("one", "two"), saying("two", "one")) == ()


def test_the_cautions_at_the_gate_of_a_cause_follow_its_hazards() -> None:
    """A caution that takes up a hazard changes the gate of every cause with that hazard."""
    caution = dataclasses.replace(BASE.cautions["hot_lines"], hazards=("pressure",))
    changed = dataclasses.replace(BASE, cautions={**BASE.cautions, "hot_lines": caution})
    told = {(it.id, it.what): (it.before, it.after) for it in differences(BASE, changed)}
    assert told["thin_charge", "cautions at the gate"] == ("Gauges", "Hot lines, Gauges")


def test_figures_of_a_machine_are_told_by_their_keys_and_its_chart_in_units() -> None:
    machine = BASE.machines["fennel_200"]
    row = dataclasses.replace(
        machine.chart[0], ranges={**machine.chart[0].ranges, "freeze_time": (600.0, 780.0)}
    )
    changed = dataclasses.replace(machine, charge_kg=0.6, chart=(row,))
    told = {
        it.what: (it.before, it.after)
        for it in differences(BASE, dataclasses.replace(BASE, machines={machine.id: changed}))
    }
    assert told == {
        "charge_kg": ("0.5", "0.6"),
        "chart at air 69.8 °F (21 °C), water 50 °F (10 °C): freeze time": (
            "11 to 13 min", "10 to 13 min",
        ),
    }  # fmt: skip
