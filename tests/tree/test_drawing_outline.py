"""The outline of a tree: every box once, every way told, every reference leads somewhere."""

from __future__ import annotations

import dataclasses
import re
from collections import Counter
from collections.abc import Iterator
from itertools import pairwise, zip_longest

import pytest
from hypothesis import given, settings

from tests.conversation import shipped_engine
from tests.tree.drawings import GATE, leap_to_charge, sketch, trail_to_charge, written_ways
from tests.tree.miniature import sound_draft
from tests.tree.strategies import contents
from triage.tree.content import Content, Stage
from triage.tree.drawing.outline import Entry, Role, outline_of
from triage.tree.drawing.sketching import Cut

SHIPPED = shipped_engine().content
_BOX = re.compile(r"(?:QUESTION|FORK) ([^\s:]+)")
_FINISH = re.compile(r".* -> (?:CONCLUDED|HANDED OVER) (\S+): ")
_WAY = re.compile(r".* -> (?:see |ELSEWHERE, stage \w+: .*\[)?([^\s\]]+)")


def entries(entry: Entry, depth: int = 0) -> Iterator[tuple[int, Entry]]:
    """Yield an entry and all under it with how deep each stands."""
    yield depth, entry
    for each in entry.under:
        yield from entries(each, depth + 1)


def boxes(entry: Entry) -> dict[str, Entry]:
    """Return the entries of questions and forks by id."""
    found = {}
    for _, each in entries(entry):
        if each.role is Role.BOX:
            name = _BOX.match(each.words)[1]
            assert name not in found, f"{name} is told twice"
            found[name] = each
    return found


def ways(outline: Entry) -> set[tuple[str, str]]:
    """Return every way an outline tells, those by mere order too."""
    found = set()

    def follow(level: tuple[Entry, ...]) -> None:
        held = [each for each in level if each.role is Role.BOX]
        for box, following in zip_longest(held, held[1:]):
            name = _BOX.match(box.words)[1]
            told = False
            for each in box.under:
                if each.role is Role.WAY and each.under:
                    first = next(inner for inner in each.under if inner.role is Role.BOX)
                    found.add((name, _BOX.match(first.words)[1]))
                    follow(each.under)
                elif each.role is Role.WAY:
                    found.add((name, _WAY.fullmatch(each.words)[1]))
                elif each.role in (Role.CONCLUDED, Role.HANDED_OVER):
                    found.add((name, _FINISH.match(each.words)[1]))
                else:
                    continue
                told = True
            if not told and following is not None:
                found.add((name, _BOX.match(following.words)[1]))

    for stage in outline.under:
        if stage.words.startswith("STAGE"):
            follow(stage.under)
    return found


@settings(max_examples=100, deadline=None)
@given(contents())
def test_an_outline_tells_every_box_once_and_exactly_the_ways_written(content: Content) -> None:
    tree = content.trees["sticks"]
    outline = outline_of(sketch(content))
    assert boxes(outline).keys() == {*tree.questions, *tree.junctions}
    assert ways(outline) == written_ways(tree)


@pytest.mark.parametrize("tree_id", SHIPPED.trees)
def test_a_shipped_tree_is_told_whole_and_set_in_no_deeper_than_a_screen_has_room(
    tree_id: str,
) -> None:
    tree = SHIPPED.trees[tree_id]
    outline = outline_of(sketch(SHIPPED, tree_id))
    assert ways(outline) == written_ways(tree)
    assert max(depth for depth, _ in entries(outline)) <= 12


def test_a_stage_holds_its_own_boxes_in_the_order_of_a_call() -> None:
    outline = outline_of(sketch(sound_draft().content()))
    stages = [each for each in outline.under if each.words.startswith("STAGE")]
    assert [stage.words.rpartition(" ")[2] for stage in stages] == [
        "CALLER", "MACHINE", "FREEZE", "HARVEST",
    ]  # fmt: skip
    asked = [_BOX.match(each.words)[1] for each in stages[2].under]
    assert asked == ["bridge", "time", "pattern", "flow", "leak", "line", "early", "late", "high",
                     "is_freeze_sound"]  # fmt: skip


def test_what_only_one_answer_leads_to_stands_under_that_answer() -> None:
    draft = sound_draft()
    draft.ask("thin", "ice_bridge_thickness", "freeze", else_="flow")
    draft.route("pattern", thin_at_outlet="thin")
    outline = outline_of(sketch(draft.content()))
    (way,) = [each for each in boxes(outline)["pattern"].under if each.under]
    assert way.words == "thin at the outlet ->"
    (thin,) = way.under
    assert thin.words.startswith("QUESTION thin: ")
    # What both answers come to stands by itself, and what is set in refers to it.
    assert [each.words for each in thin.under] == ["any answer -> flow"]


def test_cautions_stand_at_their_question_and_the_gate_at_every_conclusion() -> None:
    content = sound_draft().content()
    outline = outline_of(sketch(content))
    cautions = [each.words for each in boxes(outline)["early"].under if each.role is Role.CAUTION]
    assert cautions == ["CAUTION FIRST: Hot lines; Gauges"]
    concluded = [each for _, each in entries(outline) if each.role is Role.CONCLUDED]
    assert len(concluded) == 2
    for each in concluded:
        assert [gate.words for gate in each.under if gate.role is Role.GATE] == [
            f"SAFETY GATE: {len(GATE)} cautions, then the repair"
        ]


def test_an_ending_that_readings_may_settle_says_so_at_its_gate() -> None:
    content = sound_draft().content()
    tree = content.trees["sticks"]
    open_end = dataclasses.replace(
        tree.endings["hand_on"], shortlist=("thin_charge",), settles=("thin_charge",)
    )
    tree = dataclasses.replace(tree, endings={**tree.endings, "hand_on": open_end})
    outline = outline_of(sketch(dataclasses.replace(content, trees={"sticks": tree})))
    gates = {each.words for _, each in entries(outline) if each.role is Role.GATE}
    assert "If all readings settle it, SAFETY GATE: up to 2 cautions, then the repair" in gates


def test_a_call_is_told_where_it_went_and_where_it_ended() -> None:
    content = sound_draft().content()
    trail = trail_to_charge(content.trees["sticks"])
    outline = outline_of(sketch(content, trail=trail))
    found = boxes(outline)
    passed = {name for name in trail.path if name in found}
    assert {name for name, each in found.items() if each.is_taken} == passed
    (end,) = [each for each in found["pattern"].under if each.role is Role.CONCLUDED]
    assert end.is_taken
    assert [each.words for each in end.under] == [
        "TAKEN: ended here, the repair was told",
        "SAFETY GATE: Mind the pressure [acknowledged]",
    ]
    assert set(trail.lines) <= {each.words for each in outline.under}


def test_an_end_no_way_leads_to_is_told_at_the_last_question() -> None:
    content = sound_draft().content()
    trail = leap_to_charge(content.trees["sticks"])
    found = boxes(outline_of(sketch(content, trail=trail)))
    assert found["bridge"].under[-1].words.startswith("Not asked further. -> CONCLUDED charge: ")


def test_a_ring_that_nothing_leads_into_is_drawn_and_named() -> None:
    """Such a tree fails its proofs; whoever mends it has to see it."""
    draft = sound_draft()
    draft.ask("one", "freeze_time", "freeze", else_="two")
    draft.ask("two", "freeze_time", "freeze", else_="one")
    drawn = sketch(draft.content())
    assert "NOTHING LEADS TO: one, two." in drawn.about
    assert {"one", "two"} <= boxes(outline_of(drawn)).keys()


def test_a_chain_of_thousands_is_told_flat() -> None:
    content = sound_draft().content()
    tree = content.trees["sticks"]
    question = tree.questions["time"]
    names = [f"q{number}" for number in range(1, 3001)]
    chain = {
        name: dataclasses.replace(
            question, id=name, routes=dict.fromkeys(question.routes, following)
        )
        for name, following in pairwise([*names, "hand_on"])
    }
    tree = dataclasses.replace(tree, start="q1", questions=chain, junctions={})
    outline = outline_of(sketch(dataclasses.replace(content, trees={"sticks": tree})))
    told = Counter(depth for depth, each in entries(outline) if each.role is Role.BOX)
    assert told == {2: len(names)}


def test_a_cut_says_where_it_comes_from_and_where_it_goes_on() -> None:
    outline = outline_of(sketch(sound_draft().content(), cut=Cut(Stage.HARVEST)))
    found = boxes(outline)
    assert found.keys() == {"coil", "harvest"}
    assert found["coil"].under[0].words == "comes from fork [is_freeze_sound]"
    freeze = boxes(outline_of(sketch(sound_draft().content(), cut=Cut(Stage.FREEZE))))
    told = [each.words for each in freeze["is_freeze_sound"].under]
    assert any(words.endswith("-> ELSEWHERE, stage harvest: coil supply [coil]") for words in told)
