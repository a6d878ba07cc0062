"""A call covers what it went through: answered questions, rules that held, cautions, its ending."""

from __future__ import annotations

from tests.review.sticks import CHARGE, EVEN, LICENSED, THIN, TREE, call, cautioned
from tests.tree.miniature import sound_draft
from triage.dialogue.events import Answered, Asked, Event, Said
from triage.review.tree_coverage import OTHERWISE, Coverage, Covered, Mark, marks_of, rule_says
from triage.tree.graph import plan_tree

CONTENT = sound_draft().content()
COVERAGE = Coverage(CONTENT)


def passed(events: list[Event]) -> dict[Covered, set[str]]:
    """Return what a call passed, by kind; a rule with its number."""
    found: dict[Covered, set[str]] = {}
    for mark in COVERAGE(events).marks:
        told = f"{mark.id} {mark.rule}" if mark.kind is Covered.RULE else mark.id
        found.setdefault(mark.kind, set()).add(told)
    return found


def test_a_call_covers_the_questions_it_answered_and_the_ending_it_was_told() -> None:
    assert passed(call(THIN, CHARGE)) == {
        Covered.QUESTION: {"who", "room", "which", "bridge", "time", "pattern"},
        Covered.ENDING: {"charge"},
    }


def test_a_question_that_was_put_and_not_answered_is_covered() -> None:
    events = call({**EVEN, **LICENSED}, *cautioned("hot_lines", "line"), Asked("line"))
    assert "line" in passed(events)[Covered.QUESTION]
    assert "line" not in passed(events[:-1])[Covered.QUESTION]


def test_gauges_nobody_was_asked_for_are_not_covered_but_the_rule_they_led_to_is() -> None:
    found = passed(call(EVEN))
    assert not found[Covered.QUESTION] & {"line", "early", "late", "high"}
    assert found[Covered.RULE] == {"is_freeze_sound 1"}
    assert rule_says(CONTENT.trees[TREE], Mark(Covered.RULE, "is_freeze_sound", 1)) == OTHERWISE


def test_an_open_call_that_stands_at_its_end_covers_that_ending() -> None:
    assert passed(call(EVEN))[Covered.ENDING] == {"hand_on"}


def test_cautions_are_covered_where_they_were_put_on_the_way_and_at_the_gate() -> None:
    events = call(
        {**EVEN, **LICENSED}, *cautioned("hot_lines", "line"),
        *cautioned("gauges", "gate", is_kept=False),
    )  # fmt: skip
    found = passed(events)
    assert found[Covered.CAUTION] == {"hot_lines"}
    assert found[Covered.GATE] == {"gauges"}


def test_an_answer_volunteered_covers_its_question_once_the_walk_comes_to_it() -> None:
    events = call(THIN)
    said: list[Event] = [Said("no flow"), Answered("water_flow_over_plate", "poor", "poor")]
    assert "flow" not in passed([*events, *said]).get(Covered.QUESTION, set())
    even = call({**EVEN, "water_flow_over_plate": "poor"})
    assert "flow" in passed(even)[Covered.QUESTION]


def test_a_session_without_a_start_or_of_a_tree_that_is_gone_says_why_it_is_not_walked() -> None:
    assert COVERAGE([]).cannot == "the session does not begin with its start"
    gone = COVERAGE(call(THIN, tree="stick"))
    assert gone.cannot.startswith('no tree is called "stick"; did you mean "sticks"?')
    assert not gone.marks


def test_there_is_a_mark_for_each_question_rule_ending_and_caution_of_a_tree() -> None:
    marks = marks_of(CONTENT, plan_tree(CONTENT, TREE))
    by_kind = {kind: [mark.id for mark in marks if mark.kind is kind] for kind in Covered}
    assert by_kind[Covered.QUESTION] == list(CONTENT.trees[TREE].questions)
    assert by_kind[Covered.RULE] == ["is_freeze_sound", "is_freeze_sound"]
    assert by_kind[Covered.ENDING] == ["charge", "feed", "hand_on"]
    assert by_kind[Covered.CAUTION] == ["hot_lines", "gauges", "mains"]
    # The repairs of this tree carry the hazards pressure and mains.
    assert by_kind[Covered.GATE] == ["gauges", "mains"]
