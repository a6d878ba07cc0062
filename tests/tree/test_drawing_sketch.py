"""What is drawn of a tree, whatever it is drawn with."""

from __future__ import annotations

import pytest

from tests.conversation import shipped_engine
from tests.tree.drawings import GATE, sketch
from tests.tree.miniature import sound_draft
from triage.tree.content import Reading, ReadingKind, Stage
from triage.tree.drawing.sketch import Kind
from triage.tree.drawing.sketching import Cut, NothingToDraw
from triage.tree.drawing.words import outcome_words

SHIPPED = shipped_engine().content


def reading(name: str) -> Reading:
    return SHIPPED.readings[name]


@pytest.mark.parametrize(
    ("name", "outcomes", "words"),
    [
        ("freeze_time", {"above"}, ("above",)),
        ("freeze_time", {"unknown", "below"}, ("below", "unknown")),
        ("freeze_time", {"within", "below", "above"}, ("anything else",)),
        ("freeze_time", {"below", "within", "above", "unknown"}, ("any answer",)),
        ("plate_cold", {"cold", "unknown"}, ("cold all over", "unknown")),
        ("slab_loose_but_hanging", {"unknown"}, ("unknown",)),
    ],
)
def test_outcomes_are_told_in_words_and_grouped(
    name: str, outcomes: set[str], words: tuple[str, ...]
) -> None:
    assert outcome_words(reading(name), outcomes) == words


def test_where_a_label_lists_things_all_labels_of_its_question_are_kept_together() -> None:
    assert reading("ice_released").kind is ReadingKind.CHOICE
    assert outcome_words(reading("ice_released"), {"yes"}) == ('"yes, all of it dropped"',)
    assert outcome_words(reading("ice_released"), {"partly", "unknown"}) == (
        '"only some of it dropped"', "unknown",
    )  # fmt: skip


def test_it_says_how_long_a_call_gets_and_where_that_is_more_than_the_file_promises() -> None:
    draft = sound_draft()
    draft.most_questions = 60
    assert (
        "1 fork, 3 endings; a call takes 14 questions at most." in sketch(draft.content()).about[0]
    )
    draft.most_questions = 3
    assert (
        sketch(draft.content())
        .about[0]
        .endswith("a call takes 14 questions at most, MORE THAN THE 3 PROMISED.")
    )
    draft.route("flow", full="bridge")
    assert (
        sketch(draft.content())
        .about[0]
        .endswith("A PATH COMES BACK, so a call has no end; at most 3 are promised.")
    )


def test_a_fork_has_no_words_but_its_id() -> None:
    forks = [box for box in sketch(sound_draft().content()).boxes if box.kind is Kind.FORK]
    assert [(box.id, box.title) for box in forks] == [("is_freeze_sound", "")]


def test_a_rule_has_its_number_for_the_first_that_holds_wins() -> None:
    drawn = sketch(SHIPPED, "will_not_release")
    for name, junction in SHIPPED.trees["will_not_release"].junctions.items():
        (box,) = [each for each in drawn.boxes if each.id == name]
        told = sorted(
            (words for way in box.ways for words in way.words if words != "otherwise"),
            key=lambda words: int(words[1 : words.index(")")]),
        )
        assert told == [
            f"({number}) {rule.says.removesuffix('.')}"
            for number, rule in enumerate(junction.rules, start=1)
        ]


def test_boxes_come_in_the_order_of_a_call() -> None:
    drawn = sketch(sound_draft().content())
    order = [box.id for box in drawn.boxes]
    for box in drawn.boxes:
        for way in box.ways:
            if way.target in order:
                assert order.index(way.target) > order.index(box.id)


def test_a_stage_is_cut_out_with_what_ends_there() -> None:
    drawn = sketch(sound_draft().content(), cut=Cut(Stage.HARVEST))
    assert [(box.id, box.kind) for box in drawn.boxes] == [
        ("coil", Kind.QUESTION), ("harvest", Kind.QUESTION),
    ]  # fmt: skip
    assert drawn.finishes.keys() == {"hand_on", "feed"}
    assert drawn.entries.keys() == {"coil"}
    assert [box.id for box in drawn.entries["coil"]] == ["is_freeze_sound"]
    assert drawn.gate == tuple((title, 1) for title in GATE)


def test_a_part_is_cut_out_with_the_parts_in_it() -> None:
    tree = SHIPPED.trees["will_not_release"]
    space = max(tree.parts, key=lambda name: name.count("."))
    outer = space.partition(".")[0]
    drawn = sketch(SHIPPED, tree.id, cut=Cut(part=outer))
    inside = {box.id for box in drawn.boxes if box.kind is not Kind.ELSEWHERE}
    named = {*tree.questions, *tree.junctions}
    assert inside == {name for name in named if name.startswith(f"{outer}.")}
    assert any(name.startswith(f"{space}.") for name in inside)


@pytest.mark.parametrize(
    ("cut", "words"),
    [
        (Cut(Stage.CONFIRM), "no question or fork in this cut"),
        (Cut(part="freeze"), 'no part "freeze"; it is made without parts'),
    ],
)
def test_a_cut_that_holds_nothing_is_refused(cut: Cut, words: str) -> None:
    with pytest.raises(NothingToDraw, match=words):
        sketch(sound_draft().content(), cut=cut)


def test_a_part_that_is_not_there_is_told_with_those_that_are() -> None:
    space = next(iter(SHIPPED.trees["will_not_release"].parts))
    with pytest.raises(NothingToDraw, match=f'did you mean "{space}"'):
        sketch(SHIPPED, "will_not_release", cut=Cut(part=f"{space}x"))


def test_questions_stand_there_in_full_only_when_asked_for() -> None:
    content = sound_draft().content()
    assert not any(box.asks for box in sketch(content).boxes)
    assert all(
        box.asks == "Words." for box in sketch(content, with_words=True).boxes
        if box.kind is Kind.QUESTION
    )  # fmt: skip
