"""The Mermaid text of a tree, read back: it holds the tree, whole, and nothing a text smuggles in.

That Mermaid's own parser takes such texts was tried by hand with mermaid 11.17; what it reads here
is a smaller grammar inside Mermaid's.
"""

from __future__ import annotations

import dataclasses
from itertools import pairwise

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.conversation import shipped_engine
from tests.tree.drawings import (
    GATE,
    Flowchart,
    asked_until,
    leap_to_charge,
    read_mermaid,
    sketch,
    trail_to_charge,
    written_ways,
)
from tests.tree.miniature import sound_draft
from tests.tree.strategies import contents
from triage.console.tree_draw import LONGEST_MERMAID
from triage.tree.content import Content
from triage.tree.drawing.mermaid import mermaid_text

SHIPPED = shipped_engine().content
HOSTILE = (
    '"]; click a "x" --> end\n%% `**b**` _i_ <script>alert(1)</script> #35; {{x}} | \\ \x1b[31m'
)
HOSTILE_SHOWN = (
    '"]; click a "x" --> end %% `**b**` _i_ <script>alert(1)</script> #35; {{x}} | \\ [31m'
)


def spread(content: Content, **how: object) -> Flowchart:
    """Return the flowchart with each ending by itself."""
    return read_mermaid(mermaid_text(sketch(content, **how), is_folded=False))


def folded(content: Content, **how: object) -> Flowchart:
    """Return the flowchart with endings folded."""
    return read_mermaid(mermaid_text(sketch(content, **how)))


@settings(max_examples=60, deadline=None)
@given(contents())
def test_the_spread_out_flowchart_has_exactly_the_ways_written_in_the_tree(
    content: Content,
) -> None:
    tree = content.trees["sticks"]
    chart = spread(content)
    names = {f"box_{name}": name for name in (*tree.questions, *tree.junctions)}
    names |= {f"finish_{name}": name for name in tree.endings}
    found = set()
    for link in chart.links:
        # A caution stands in front of its own box.
        target = link.target
        if chart.nodes[target].look == "caution":
            (target,) = chart.following(target)
        if link.source in names and target in names:
            found.add((names[link.source], names[target]))
    assert found == written_ways(tree)


@settings(max_examples=60, deadline=None)
@given(contents(), st.booleans())
def test_nobody_comes_to_a_question_but_past_its_cautions(
    content: Content, is_folded: bool
) -> None:
    tree = content.trees["sticks"]
    chart = read_mermaid(mermaid_text(sketch(content), is_folded=is_folded))
    for name, question in tree.questions.items():
        cautions = content.readings[question.reading].cautions
        before = {link.source for link in chart.links if link.target == f"box_{name}"}
        if not cautions:
            assert not [each for each in before if chart.nodes[each].look == "caution"]
            continue
        (node,) = before
        words = " ".join(chart.nodes[node].lines)
        assert words.startswith("CAUTION FIRST")
        assert all(content.cautions[caution].title in words for caution in cautions)


@settings(max_examples=60, deadline=None)
@given(contents(), st.booleans())
def test_a_gate_stands_behind_every_conclusion(content: Content, is_folded: bool) -> None:
    chart = read_mermaid(mermaid_text(sketch(content), is_folded=is_folded))
    for name in chart.of_look("concluded"):
        (gate,) = chart.following(name)
        assert chart.nodes[gate].lines == (f"SAFETY GATE: {len(GATE)} cautions, then the repair",)


def test_every_kind_of_node_has_a_shape_and_a_word_of_its_own() -> None:
    draft = sound_draft()
    chart = spread(draft.content())
    looks = {
        "question": "QUESTION", "fork": "FORK", "caution": "CAUTION FIRST",
        "concluded": "CONCLUDED", "handed_over": "HANDED OVER", "gate": "SAFETY GATE",
    }  # fmt: skip
    shapes = {look: {node.brackets for node in chart.of_look(look).values()} for look in looks}
    assert all(len(brackets) == 1 for brackets in shapes.values())
    assert len({next(iter(brackets)) for brackets in shapes.values()}) == len(looks)
    for look, word in looks.items():
        assert all(node.lines[0].startswith(word) for node in chart.of_look(look).values())


def test_a_way_says_which_answers_take_it_and_a_rule_what_it_says() -> None:
    content = sound_draft().content()
    (rule,) = content.trees["sticks"].junctions["is_freeze_sound"].rules
    chart = spread(content)
    (coil_caution,) = chart.before("box_coil", "caution")
    words = {(link.source, link.target): link.lines for link in chart.links}
    assert words["box_harvest", "finish_feed"] == ("below",)
    assert words["box_harvest", "finish_hand_on"] == ("anything else",)
    assert words["box_pattern", "finish_charge"] == ("thin at the outlet",)
    assert words["box_is_freeze_sound", coil_caution] == (f"(1) {rule.says.removesuffix('.')}",)
    assert words["box_is_freeze_sound", "finish_hand_on"] == ("otherwise",)
    # The one way on needs no words.
    assert words["box_who", "box_room"] == ("",)


def test_folded_the_endings_of_a_box_are_one_node_for_each_kind_an_ending_a_line() -> None:
    chart = folded(sound_draft().content())
    (concluded,) = chart.behind("box_harvest", "concluded")
    (handed_over,) = chart.behind("box_harvest", "handed_over")
    assert chart.nodes[concluded].lines == (
        "CONCLUDED", "below → receiver vapor feed failed",
    )  # fmt: skip
    assert chart.nodes[handed_over].lines == (
        "HANDED OVER", "anything else → Second line.",
    )  # fmt: skip


def test_stages_are_subgraphs_in_their_order_and_parts_stand_in_them() -> None:
    chart = folded(SHIPPED, tree_id="will_not_release")
    stages = [title for title in chart.subgraphs.values() if title.startswith("STAGE")]
    assert stages == sorted(stages)
    tree = SHIPPED.trees["will_not_release"]
    for name, question in tree.questions.items():
        inside = chart.nodes[f"box_{name.replace('.', '_')}"].inside
        assert chart.subgraphs[inside[0]].endswith(question.stage.value.upper())
        spaces = name.split(".")[:-1]
        titles = [chart.subgraphs[each] for each in inside[1:]]
        for depth, title in enumerate(titles, start=1):
            assert title.split()[:2] == ["part", ".".join(spaces[:depth])]
        assert len(titles) == len(spaces)


@pytest.mark.parametrize("tree_id", SHIPPED.trees)
def test_a_shipped_tree_is_within_what_mermaid_reads_by_default(tree_id: str) -> None:
    text = mermaid_text(sketch(SHIPPED, tree_id))
    assert len(text) <= LONGEST_MERMAID
    assert len(read_mermaid(text).links) <= 500  # its default maxEdges


@pytest.mark.parametrize("is_folded", [True, False], ids=["folded", "spread out"])
def test_whatever_a_text_holds_it_is_shown_and_never_read(is_folded: bool) -> None:
    content = sound_draft().content()
    tree = content.trees["sticks"]
    hand_on = dataclasses.replace(tree.endings["hand_on"], escalate=HOSTILE, because=HOSTILE)
    fork = tree.junctions["is_freeze_sound"]
    rules = tuple(dataclasses.replace(rule, says=HOSTILE) for rule in fork.rules)
    tree = dataclasses.replace(
        tree,
        title=HOSTILE,
        endings={**tree.endings, "hand_on": hand_on},
        junctions={"is_freeze_sound": dataclasses.replace(fork, rules=rules)},
    )
    name = dataclasses.replace(content.readings["freeze_time"], name=HOSTILE)
    caution = dataclasses.replace(content.cautions["mains"], title=HOSTILE)
    content = dataclasses.replace(
        content,
        trees={"sticks": tree},
        readings={**content.readings, "freeze_time": name},
        cautions={**content.cautions, "mains": caution},
    )
    chart = read_mermaid(mermaid_text(sketch(content), is_folded=is_folded))
    assert chart.title == HOSTILE_SHOWN
    assert chart.nodes["box_time"].lines == (f"QUESTION: {HOSTILE_SHOWN}",)
    (caution,) = chart.before("box_coil", "caution")
    assert chart.nodes[caution].lines == (f"CAUTION FIRST: {HOSTILE_SHOWN}",)
    (way,) = [each for each in chart.links if each.source == "box_is_freeze_sound" and
              each.target == caution]  # fmt: skip
    assert way.lines == (f"(1) {HOSTILE_SHOWN}",)
    (ending,) = chart.behind("box_harvest", "handed_over")
    assert any(HOSTILE_SHOWN in line for line in chart.nodes[ending].lines)


@given(st.text(st.characters(codec="utf-8"), min_size=1))
def test_any_title_comes_back_as_it_would_print(text: str) -> None:
    content = sound_draft().content()
    tree = dataclasses.replace(content.trees["sticks"], title=text)
    chart = folded(dataclasses.replace(content, trees={"sticks": tree}))
    assert chart.title == " ".join(
        "".join(char if char.isprintable() else " " for char in text).split()
    )


@pytest.mark.parametrize("is_folded", [True, False], ids=["folded", "spread out"])
def test_a_call_is_marked_by_thick_links_and_in_words(is_folded: bool) -> None:
    content = sound_draft().content()
    tree = content.trees["sticks"]
    trail = trail_to_charge(tree)
    chart = read_mermaid(mermaid_text(sketch(content, trail=trail), is_folded=is_folded))
    boxes = [f"box_{name}" for name in asked_until(tree, "pattern")]
    thick = {(link.source, link.target) for link in chart.links if link.arrow == "==>"}
    (end,) = chart.behind("box_pattern", "concluded")
    (gate,) = chart.following(end)
    assert thick == {*pairwise(boxes), (boxes[-1], end), (end, gate)}
    assert chart.taken == {*boxes, end, gate}
    assert "TAKEN: answered, thin at the outlet" in chart.nodes["box_pattern"].lines
    assert "TAKEN: ended here, the repair was told" in chart.nodes[end].lines
    assert chart.nodes[gate].lines == ("SAFETY GATE: Mind the pressure [acknowledged]",)
    assert set(trail.lines) <= set(chart.nodes["note_about"].lines)


@pytest.mark.parametrize("is_folded", [True, False], ids=["folded", "spread out"])
def test_an_end_no_way_leads_to_is_drawn_beside_the_ways(is_folded: bool) -> None:
    content = sound_draft().content()
    trail = leap_to_charge(content.trees["sticks"])
    chart = read_mermaid(mermaid_text(sketch(content, trail=trail), is_folded=is_folded))
    dotted = [link for link in chart.links if link.arrow == ".->"]
    assert [(link.source, link.target) for link in dotted] == [("box_bridge", "finish_charge")]
    assert dotted[0].lines == ("Not asked further.",)
    assert "TAKEN: ended here" in chart.nodes["finish_charge"].lines
