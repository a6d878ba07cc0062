"""What a caller's own words about the trouble do to a call."""

from __future__ import annotations

import pytest

from tests.conversation import opened, say, shipped_engine
from triage.dialogue.case import COMPLAINT, Case
from triage.dialogue.events import NotUnderstood, Offered
from triage.dialogue.view import AskConfirmation, AskQuestion, NotClear, Prompt

COMPLAINTS = shipped_engine().content.readings[COMPLAINT].choices


def at_the_complaint() -> Case:
    """Return a licensed call at the question what is wrong."""
    case, _ = say(opened(), "yes both")
    return case


def prompt_of(case: Case) -> Prompt:
    """Return what the call waits for."""
    return shipped_engine().prompt(case)


def test_a_phrase_as_it_stands_counts_at_once() -> None:
    case, _ = say(at_the_complaint(), "won't drop")
    assert case.answers[COMPLAINT].value == "will_not_release"
    assert say(at_the_complaint(), "1")[0].answers[COMPLAINT].value == "will_not_release"


def test_a_clear_match_is_offered_for_a_yes() -> None:
    said = "uh it makes a nice slab but then it just won't drop"
    case, _ = say(at_the_complaint(), said)
    prompt = prompt_of(case)
    assert isinstance(prompt, AskConfirmation)
    assert prompt.doubt == ("I take that as: makes ice, but the ice will not drop. Is that right?")
    case, _ = say(case, "yes")
    assert case.answers[COMPLAINT].value == "will_not_release"
    assert case.answers[COMPLAINT].typed == said


def test_a_match_that_is_refused_leaves_the_question_open() -> None:
    case, _ = say(at_the_complaint(), "it just hangs up there and won't drop", "no")
    prompt = prompt_of(case)
    assert isinstance(prompt, AskQuestion)
    assert prompt.reading.id == COMPLAINT


def test_two_that_come_close_are_named_with_what_tells_them_apart() -> None:
    turn = shipped_engine().turn(at_the_complaint(), "keeps tripping")
    (remark,) = turn.remarks
    assert isinstance(remark, NotClear)
    assert remark.message == (
        'That could be two things: "cuts out on high pressure" (5); or "trips or will not start" '
        "(8). Which is it: the high-pressure control stops it; or nothing runs (no power, a "
        "breaker that trips, a motor that will not start)?"
    )
    assert [event.typed for event in turn.events if isinstance(event, NotUnderstood)] == [
        "keeps tripping"
    ]


@pytest.mark.parametrize("settling", ["5", "the high pressure control stops it", "high pressure"])
def test_the_next_line_settles_which_it_is(settling: str) -> None:
    case, _ = say(at_the_complaint(), "keeps tripping", settling)
    if isinstance(prompt_of(case), AskConfirmation):
        case, _ = say(case, "yes")
    assert case.answers[COMPLAINT].value == "high_pressure_cutout"


def test_words_that_say_nothing_are_led_to_the_list() -> None:
    _, (remark,) = say(at_the_complaint(), "blah blah")
    assert isinstance(remark, NotClear)
    assert remark.message.endswith(f"type a number from the list: 1 to {len(COMPLAINTS)}.")


@pytest.mark.parametrize(
    ("line", "complaint"),
    [
        ("why won't it drop its ice", "will_not_release"),
        ("not sure, it leaks", "water_fill"),
        ("can't get the ice off the plate", "will_not_release"),
    ],
)
def test_free_talk_is_no_steering_word_and_no_refusal(line: str, complaint: str) -> None:
    case, _ = say(at_the_complaint(), line, "yes")
    assert case.answers[COMPLAINT].value == complaint


@pytest.mark.parametrize("line", ["not sure", "unknown, the owner is out", "skip", "can't tell"])
def test_a_caller_who_does_not_know_is_left_in_peace(line: str) -> None:
    case, _ = say(at_the_complaint(), line)
    assert case.answers[COMPLAINT].value is None


# With other things in one breath.


def offered_by(line: str) -> dict[str, object]:
    """Return what one line offers at the question what is wrong, by reading."""
    turn = shipped_engine().turn(at_the_complaint(), line)
    (event,) = [event for event in turn.events if isinstance(event, Offered)]
    return {item["reading"]: item["value"] for item in event.items}


@pytest.mark.parametrize(
    ("line", "complaint", "besides"),
    [
        ("won't drop, suction is 62 psi", "will_not_release", {"freeze_suction_pressure_early"}),
        ("70 in the room, ice is cloudy and soft", "poor_ice", {"ambient_air_temperature"}),
        ("Gletsch R500, keeps popping the breaker", "will_not_run", {"machine"}),
    ],
)
def test_a_complaint_and_readings_in_one_breath_are_each_offered(
    line: str, complaint: str, besides: set[str]
) -> None:
    offered = offered_by(line)
    assert offered.pop(COMPLAINT) == complaint
    assert set(offered) == besides


@pytest.mark.parametrize(
    ("line", "complaint"),
    [
        ("the ice is cloudy and thin all over", "poor_ice"),
        ("I'm a licensed tech and the ice just won't drop", "will_not_release"),
        ("slab hangs forever then falls after three tries", "long_harvest"),
    ],
)
def test_free_words_are_never_cut_up_for_other_answers(line: str, complaint: str) -> None:
    assert offered_by(line) == {COMPLAINT: complaint}


def test_a_word_of_another_answer_does_not_change_the_complaint() -> None:
    case, _ = say(at_the_complaint(), "won't drop", "Gletsch R500, slow")
    assert case.answers[COMPLAINT].value == "will_not_release"
    assert COMPLAINT not in {answer.reading for answer in case.offered}


def test_figures_and_a_complaint_nobody_can_tell_keep_the_words_as_a_note() -> None:
    case, _ = say(at_the_complaint(), "70 in the room, blah blah")
    assert [answer.reading for answer in case.offered] == ["ambient_air_temperature"]
    assert case.notes == ("blah blah",)
