"""The complaint chooses the tree: on record, changed in the middle, never against what was said."""

from __future__ import annotations

import pytest

from tests.conversation import TREE, opened, shipped_engine
from triage.dialogue.case import COMPLAINT, Case, fold
from triage.dialogue.engine import Engine
from triage.dialogue.events import Resumed, TreeChosen, event_from_data, event_to_data
from triage.dialogue.rank import rank_causes
from triage.dialogue.view import AskCaution, AskQuestion, Turn
from triage.tree.content import HEALTHY
from triage.tree.errors import UnknownTree
from triage.tree.likelihoods import ON_FILE, fitting_modes

ENGINE = shipped_engine()
CONTENT = ENGINE.content
COMPLAINTS = [item.id for item in CONTENT.readings[COMPLAINT].choices if item.id != "other"]


def say(case: Case, *lines: str) -> tuple[Case, Turn]:
    turn = Turn((), ())
    for line in lines:
        turn = ENGINE.turn(case, line)
        case = fold(turn.events, case)
    return case, turn


def test_every_complaint_but_other_has_a_tree_and_every_tree_a_complaint() -> None:
    assert sorted(COMPLAINTS) == sorted(CONTENT.trees)


@pytest.mark.parametrize("complaint", COMPLAINTS)
def test_a_call_goes_on_in_the_tree_of_its_complaint(complaint: str) -> None:
    case, turn = say(opened(), "yes both", complaint)
    assert case.tree == complaint
    chosen = [event for event in turn.events if isinstance(event, TreeChosen)]
    assert chosen == ([] if complaint == TREE else [TreeChosen(complaint)])
    assert ENGINE.of(case).tree.id == complaint
    assert ENGINE.prompt(case).node in ENGINE.of(case).graph


def test_the_choice_of_a_tree_is_an_event_that_can_be_kept() -> None:
    event = TreeChosen("long_harvest")
    assert event_from_data(event.kind, event_to_data(event)) == event


def test_a_complaint_taken_back_and_said_anew_leads_to_another_tree_with_all_that_was_said() -> (
    None
):
    case, _ = say(opened(), "yes both", "low_production", "r500")
    before = case.answers["machine"]
    case, turn = say(case, "change complaint", "the ice tastes of chlorine")
    if case.offered:
        case, turn = say(case, "yes")
    assert case.tree == "taste_or_smell"
    assert TreeChosen("taste_or_smell") in turn.events
    assert case.answers["machine"] == before


def test_something_else_and_unknown_stay_where_they_are() -> None:
    for line in ("something else", "unknown"):
        case, turn = say(opened(), "yes both", line)
        assert case.tree == TREE
        assert not any(isinstance(event, TreeChosen) for event in turn.events)


def test_a_call_resumed_from_its_events_stands_where_it_stood() -> None:
    case, events = opened(), []
    for line in ("no", "it trips the breaker", "yes", "u50"):
        turn = ENGINE.turn(case, line)
        events += turn.events
        case = fold(turn.events, case)
    again = fold([*events, Resumed(CONTENT.version)], opened())
    fresh = Engine(CONTENT, TREE)
    assert fresh.prompt(again).node == ENGINE.prompt(case).node
    assert fresh.path(again) == ENGINE.path(case)


def test_a_tree_that_is_gone_is_told() -> None:
    with pytest.raises(UnknownTree, match="no_such_tree"):
        ENGINE.of(fold([TreeChosen("no_such_tree")], opened()))


def test_only_causes_of_the_complaint_are_ranked() -> None:
    for complaint, tree in CONTENT.trees.items():
        view = ENGINE.of(fold([TreeChosen(complaint)], opened())).view
        ranked = rank_causes(view, [])
        assert {item.cause for item in ranked} == set(tree.causes)
        assert sum(item.probability for item in ranked) == pytest.approx(1.0)


def test_a_cause_the_machine_model_lacks_shows_as_a_healthy_machine_but_for_its_signs() -> None:
    engine = ENGINE.of(fold([TreeChosen("long_harvest")], opened()))
    from triage.dialogue.beliefs import beliefs_of

    modes = fitting_modes(CONTENT, ON_FILE)
    assert modes is not None
    assert "drop_sensor_failed" not in modes
    beliefs = beliefs_of(engine.view, ON_FILE)
    for found in ("thin_all_over", "even"):
        ours = beliefs.chance("drop_sensor_failed", "ice_pattern", found)
        assert ours == pytest.approx(beliefs.chance(HEALTHY, "ice_pattern", found))
    told = beliefs.chance("drop_sensor_failed", "drop_sensor_state", "does_not_answer")
    assert told > 0.9 > 10 * beliefs.chance(HEALTHY, "drop_sensor_state", "does_not_answer")


# Danger, and half a license.


def at_danger() -> Case:
    case, _ = say(opened(), "no", "will_not_run", "u50")
    prompt = ENGINE.prompt(case)
    assert isinstance(prompt, AskQuestion)
    assert prompt.reading.id == "danger_signs"
    return case


@pytest.mark.parametrize(
    "line",
    [
        "no smoke, slight tingle when I touch it",
        "no smell but my hand tingled",
        "none, only some smoke",
        "nothing lights up at all",
        "no, but it shocked me",
    ],
)
def test_an_all_clear_with_anything_beside_it_is_none(line: str) -> None:
    case, _ = say(at_danger(), line)
    assert "danger_signs" not in case.answers
    assert not case.offered or case.offered[0].value != "none"
    assert ENGINE.prompt(case).node.endswith("danger_signs")


@pytest.mark.parametrize(
    ("line", "value"), [("no", "none"), ("nope", "none"), ("a tingle", "shock")]
)
def test_a_plain_answer_about_danger_counts(line: str, value: str) -> None:
    case, _ = say(at_danger(), line)
    assert case.answers["danger_signs"].value == value


def test_danger_is_asked_for_whatever_precaution_was_refused() -> None:
    case, _ = say(opened(), "no", "taste_or_smell", "u50")
    prompt = ENGINE.prompt(case)
    assert isinstance(prompt, AskCaution)
    assert prompt.caution.id == "stop_serving"
    case, _ = say(case, "no")
    assert ENGINE.prompt(case).node.endswith("illness")
    case, _ = say(case, "ill")
    assert case.answers["illness"].value == "ill"
    assert not ENGINE.prompt(case).node.endswith("off_taste")


def test_an_all_clear_is_not_picked_out_of_a_line_about_something_else() -> None:
    case, _ = say(opened(), "no", "taste_or_smell", "u50", "yes", "no illness but a headache")
    assert "illness" not in case.answers
    assert not case.offered or case.offered[0].value != "nobody"


@pytest.mark.parametrize(
    "line",
    [
        "yes for refrigerant, no for electric",
        "certified for gas but not electrical",
        "yes, gas only",
        "yes but not electrical",
        "certified, not for live",
        "yes both were revoked",
        "yes, both suspended",
        "yes, still in training",
    ],
)
def test_a_license_that_is_not_plain_is_asked_back_and_a_yes_to_nothing_is_not_taken(
    line: str,
) -> None:
    case, turn = say(opened(), line)
    assert "caller_qualification" not in case.answers
    assert case.offered == ()
    assert any("only if it is both" in getattr(item, "message", "") for item in turn.remarks)
    assert not case.is_licensed


def test_an_unclear_license_is_asked_for_plainly_and_never_between_two_readings() -> None:
    case, turn = say(opened(), "yep, I'm the manager")
    assert "caller_qualification" not in case.answers
    (remark,) = turn.remarks
    assert "only if it is both" in remark.message  # type: ignore[union-attr]
    assert "Did you mean" not in remark.message  # type: ignore[union-attr]


# Figures over whole cycles, and cautions that a cleaning does not need.


def test_the_ice_of_a_day_is_told_once_it_can_be_worked_out() -> None:
    case, _ = say(
        opened(), "no", "low_production", "a200", "R-404A", "90 F", "70 F", "day and night", "no",
    )  # fmt: skip
    given = {"freeze_time": "15:00", "harvest_time": "1:20", "batch_ice_mass": "4.2 lb"}
    told: list[str] = []
    for _ in range(30):
        prompt = ENGINE.prompt(case)
        if not given:
            break
        reading = getattr(getattr(prompt, "reading", None), "id", "")
        line = given.pop(reading, "yes" if not reading else "unknown")
        case, turn = say(case, line)
        told += [
            getattr(getattr(item, "finding", None), "reading", None) and item.finding.reading.id
            for item in turn.remarks
        ]  # type: ignore[union-attr]
    assert told.count("ice_production") == 1
