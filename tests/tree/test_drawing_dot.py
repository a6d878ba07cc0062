"""The DOT text of a tree, read back and laid out by Graphviz itself: whole, inert, readable."""

from __future__ import annotations

import dataclasses
import json
import re
from collections.abc import Iterator
from itertools import pairwise
from xml.etree import ElementTree

import pytest
from hypothesis import given, settings

from tests.conversation import shipped_engine
from tests.tree.drawings import (
    GATE,
    asked_until,
    graphviz,
    leap_to_charge,
    read_dot,
    sketch,
    trail_to_charge,
    written_ways,
)
from tests.tree.miniature import sound_draft
from tests.tree.strategies import contents
from triage.tree.content import Content, Stage
from triage.tree.drawing import dot_table
from triage.tree.drawing.dot import dot_text
from triage.tree.drawing.sketching import Cut

SHIPPED = shipped_engine().content
HOSTILE = '"]; </TABLE>> } a -> b; <script>alert(1)</script> <IMG SRC="/x"/> &lt; \\N \\" ]]> '
SVG = "{http://www.w3.org/2000/svg}"
INERT = {f"{SVG}{name}" for name in ("svg", "g", "title", "polygon", "path", "text", "ellipse",
                                     "polyline")}  # fmt: skip


def laid_out(content: Content, *, is_folded: bool = True, **how: object) -> ElementTree.Element:
    """Return the picture Graphviz lays out."""
    text = dot_text(sketch(content, **how), is_folded=is_folded)
    return ElementTree.fromstring(graphviz(text, "svg").stdout)


def words_of(picture: ElementTree.Element) -> str:
    """Return all text of a picture with single blanks."""
    return " ".join(
        " ".join("".join(each.itertext()) for each in picture.iter(f"{SVG}text")).split()
    )


@settings(max_examples=25, deadline=None)
@given(contents())
def test_graphviz_reads_exactly_the_ways_written_in_the_tree(content: Content) -> None:
    tree = content.trees["sticks"]
    graph = read_dot(dot_text(sketch(content), is_folded=False))
    assert not graph.complaints
    named = {*tree.questions, *tree.junctions, *tree.endings}
    assert {(tail, head) for tail, head, _ in graph.edges if {tail, head} <= named} == written_ways(
        tree
    )
    folded = read_dot(dot_text(sketch(content)))
    assert not folded.complaints
    on = {(tail, head) for tail, head in written_ways(tree) if head not in tree.endings}
    assert {(tail, head) for tail, head, _ in folded.edges if {tail, head} <= named} == on


@settings(max_examples=25, deadline=None)
@given(contents())
def test_no_question_is_drawn_without_its_cautions_and_no_repair_without_its_gate(
    content: Content,
) -> None:
    tree = content.trees["sticks"]
    graph = read_dot(dot_text(sketch(content)))
    for name, question in tree.questions.items():
        label = graph.nodes[name]["label"].replace("<BR/>", " ")
        cautions = content.readings[question.reading].cautions
        assert ("CAUTION FIRST" in label) == bool(cautions)
        assert all(content.cautions[caution].title in label for caution in cautions)
    for name in (*tree.questions, *tree.junctions):
        label = graph.nodes[name]["label"]
        gated = [end for end in {target for tail, target in written_ways(tree) if tail == name}
                 if end in tree.endings and tree.endings[end].possible_causes]  # fmt: skip
        assert label.count(f"SAFETY GATE: {len(GATE)} cautions") == len(gated)


def test_stages_are_clusters_and_parts_clusters_in_them() -> None:
    graph = read_dot(dot_text(sketch(SHIPPED, "will_not_release")))
    tree = SHIPPED.trees["will_not_release"]
    for name, each in {**tree.questions, **tree.junctions}.items():
        assert name in graph.clusters[f"cluster_{each.stage.value}"]
        for depth in range(1, name.count(".") + 1):
            space = ".".join(name.split(".")[:depth])
            assert name in graph.clusters[f"cluster_{each.stage.value}_{space}"]


@pytest.mark.parametrize("is_folded", [True, False], ids=["folded", "spread out"])
def test_a_call_is_marked_by_thick_lines_and_in_words(is_folded: bool) -> None:
    content = sound_draft().content()
    tree = content.trees["sticks"]
    trail = trail_to_charge(tree)
    text = dot_text(sketch(content, trail=trail), is_folded=is_folded)
    passed = asked_until(tree, "pattern")
    thick = {(tail, head) for tail, head, each in read_dot(text).edges if each.get("penwidth")}
    end = set() if is_folded else {("pattern", "charge"), ("charge", "gate:charge")}
    assert thick == {*pairwise(passed), *end}
    words = words_of(laid_out(content, is_folded=is_folded, trail=trail))
    for told in (
        *trail.lines,
        "TAKEN: answered, thin at the outlet",
        "TAKEN: thin at the outlet",
        "TAKEN: ended here, the repair was told",
        "SAFETY GATE: Mind the pressure [acknowledged]",
    ):
        assert told in words


@pytest.mark.parametrize("is_folded", [True, False], ids=["folded", "spread out"])
def test_an_end_no_way_leads_to_is_drawn_beside_the_ways(is_folded: bool) -> None:
    content = sound_draft().content()
    trail = leap_to_charge(content.trees["sticks"])
    text = dot_text(sketch(content, trail=trail), is_folded=is_folded)
    dashed = [(tail, head) for tail, head, each in read_dot(text).edges
              if each.get("style") == "dashed"]  # fmt: skip
    assert dashed == [("bridge", "charge")]
    words = words_of(laid_out(content, is_folded=is_folded, trail=trail))
    assert "Not asked further." in words
    assert "TAKEN: ended here" in words


@pytest.mark.parametrize("tree_id", SHIPPED.trees)
@pytest.mark.parametrize("is_folded", [True, False], ids=["folded", "spread out"])
def test_a_shipped_tree_is_laid_out_without_a_complaint_and_says_everything(
    tree_id: str, is_folded: bool
) -> None:
    tree = SHIPPED.trees[tree_id]
    text = dot_text(sketch(SHIPPED, tree_id), is_folded=is_folded)
    ended = graphviz(text, "svg")
    assert not ended.stderr
    words = words_of(ElementTree.fromstring(ended.stdout))
    for name, question in tree.questions.items():
        assert name in words
        assert SHIPPED.readings[question.reading].name in words
    for junction in tree.junctions.values():
        for rule in junction.rules:
            assert rule.says.removesuffix(".") in words
    for stage in {question.stage for question in tree.questions.values()}:
        assert f"STAGE {list(Stage).index(stage) + 1}: {stage.value.upper()}" in words
    for ending in tree.endings.values():
        said = ending.escalate or SHIPPED.causes[ending.causes[0]].name
        assert said in words


def test_a_picture_holds_no_script_no_link_and_shows_every_text_as_it_stands() -> None:
    content = sound_draft().content()
    tree = content.trees["sticks"]
    question = dataclasses.replace(tree.questions["time"], agent=HOSTILE)
    hand_on = dataclasses.replace(tree.endings["hand_on"], escalate=HOSTILE, because=HOSTILE)
    tree = dataclasses.replace(
        tree,
        title=HOSTILE,
        questions={**tree.questions, "time": question},
        endings={**tree.endings, "hand_on": hand_on},
    )
    name = dataclasses.replace(content.readings["freeze_time"], name=HOSTILE)
    content = dataclasses.replace(
        content, trees={"sticks": tree}, readings={**content.readings, "freeze_time": name}
    )
    for is_folded in (True, False):
        picture = laid_out(content, is_folded=is_folded, with_words=True)
        assert {each.tag for each in picture.iter()} <= INERT
        assert not [each for each in picture.iter() if any("href" in key for key in each.attrib)]
        # Lines are broken at blanks, so they are compared without any.
        shown = re.sub(r"\s", "", words_of(picture))
        assert shown.count(re.sub(r"\s", "", HOSTILE)) >= 4


def test_a_picture_is_black_and_gray_on_white() -> None:
    picture = laid_out(SHIPPED, tree_id="will_not_release")
    named = {"black", "white", "none", "transparent"}
    for each in picture.iter():
        for key in ("fill", "stroke"):
            color = each.get(key, "none")
            assert color in named or re.fullmatch(r"#(..)\1\1", color)


def luminance(gray: str) -> float:
    """Return the relative luminance of a gray. Source: WCAG 2.2, definition of the term."""
    level = {"black": 0.0, "white": 1.0}.get(gray)
    level = int(gray[1:3], 16) / 255 if level is None else level
    return level / 12.92 if level <= 0.04045 else ((level + 0.055) / 1.055) ** 2.4


@pytest.mark.parametrize(
    ("text", "ground"),
    [
        ("white", dot_table._BLACK),
        ("white", dot_table.DARK),
        (dot_table.DARK, "white"),
        (dot_table.DARK, dot_table._PALE),
        ("black", dot_table._PALE),
    ],
)
def test_text_stands_out_from_its_ground_as_wcag_asks(text: str, ground: str) -> None:
    """Source: WCAG 2.2, success criterion 1.4.3: at least 4.5 to 1."""
    lighter, darker = sorted((luminance(text), luminance(ground)), reverse=True)
    assert (lighter + 0.05) / (darker + 0.05) >= 4.5


def boxes_of(picture: ElementTree.Element, name: str) -> Iterator[tuple[float, float]]:
    """Yield the corners of what is drawn for one node."""
    for group in picture.iter(f"{SVG}g"):
        title = group.find(f"{SVG}title")
        if title is not None and title.text == name:
            for shape in group.iter(f"{SVG}polygon"):
                for corner in shape.get("points", "").split():
                    x, y = corner.split(",")
                    yield float(x), float(y)


def test_a_question_is_above_what_is_asked_after_it() -> None:
    picture = laid_out(sound_draft().content())
    tops = [
        min((y for _, y in boxes_of(picture, name)), default=None)
        for name in ("bridge", "pattern", "flow", "leak", "line", "early", "is_freeze_sound")
    ]
    placed = [top for top in tops if top is not None]
    assert placed == sorted(placed)
    assert len(placed) >= 4


def test_a_cut_shows_where_it_is_entered_and_where_it_goes_on() -> None:
    content = sound_draft().content()
    text = dot_text(sketch(content, cut=Cut(Stage.FREEZE)))
    graph = read_dot(text)
    assert ("from:bridge", "bridge") in {(tail, head) for tail, head, _ in graph.edges}
    assert ("is_freeze_sound", "coil") in {(tail, head) for tail, head, _ in graph.edges}
    words = words_of(laid_out(content, cut=Cut(Stage.FREEZE)))
    assert "Only stage freeze is drawn." in words
    assert "ELSEWHERE, stage harvest: coil supply [coil]" in words
    assert "STAGE 5" not in words


@pytest.mark.parametrize("stage", [Stage.MACHINE, Stage.HARVEST])
def test_words_on_what_is_not_drawn_stay_within_their_frames(stage: Stage) -> None:
    """By the widths that Graphviz itself reckons; beyond its body an arrow has but its point."""
    text = dot_text(sketch(SHIPPED, "will_not_release", cut=Cut(stage)))
    picture = json.loads(graphviz(text, "json").stdout)
    arrows = [each for each in picture["objects"] if each.get("shape") == "cds"]
    assert {each["name"].startswith("from:") for each in arrows} == {True, False}
    for arrow in arrows:
        (frame,) = [each["points"] for each in arrow["_draw_"] if each["op"] == "p"]
        columns = sorted(x for x, _ in frame)
        left, right = columns[0], columns[-2]  # the last one is the point alone
        lines = [each for each in arrow["_ldraw_"] if each["op"] == "T"]
        assert "[" in " ".join(line["text"] for line in lines)
        for line in lines:
            (x, y), width = line["pt"], line["width"]
            begins = {"l": x, "c": x - width / 2, "r": x - width}[line["align"]]
            assert left <= begins <= begins + width <= right
            assert min(y for _, y in frame) <= y <= max(y for _, y in frame)
