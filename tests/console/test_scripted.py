"""A script says what its file holds, and nothing else opens the gate for it."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import UTC, datetime

import pytest

from tests.console.test_desk import Paper
from tests.conversation import FEED_FAILED, TREE, ending, shipped_engine
from triage.console.answers_file import AnswersFile
from triage.console.desk import Desk
from triage.console.scripted import (
    NOT_CONFIRMED,
    NOT_IN_FILE,
    NOT_UNDERSTOOD,
    Script,
    run_script,
)
from triage.dialogue.events import Acknowledged, Answered, Noted, Refused, Said, Started, Stopped
from triage.dialogue.view import (
    AskConfirmation,
    AskQuestion,
    Escalated,
    Recommended,
    Withheld,
)

SUCTION = "harvest_suction_pressure"


def run(
    answers: Mapping[str, str | tuple[str, ...]],
    acknowledge: str | tuple[str, ...] = "all",
    refuse: tuple[str, ...] = (),
    notes: tuple[str, ...] = (),
) -> tuple[Desk, Script, Paper]:
    """Return the desk, the script and the record at the end of a scripted call."""
    paper = Paper()
    texts = {key: (text,) if isinstance(text, str) else text for key, text in answers.items()}
    script = Script(AnswersFile(texts, acknowledge, refuse))
    desk = Desk.start(
        shipped_engine(),
        paper.open,
        lambda: datetime(2026, 11, 25, tzinfo=UTC),
        "20261125-0931-k7qm",
        "answers file",
        Started(TREE, shipped_engine().content.version, "agent", "us"),
    )
    run_script(desk, script, notes)
    return desk, script, paper


def test_a_whole_file_ends_in_its_recommendation_with_nothing_unused() -> None:
    desk, script, _ = run(FEED_FAILED)
    assert isinstance(desk.prompt, Recommended)
    assert script.unused == ()


def test_a_reading_not_in_the_file_is_unknown_and_says_so() -> None:
    missing = {key: text for key, text in FEED_FAILED.items() if key != "plate_condition"}
    missing.pop("hot_gas_line_temperature")
    desk, _, paper = run(missing)
    answer = desk.case.answers["hot_gas_line_temperature"]
    assert answer.value is None
    assert answer.reason == NOT_IN_FILE.removeprefix("unknown ")
    assert Said(NOT_IN_FILE) in paper.events


def test_an_empty_file_still_comes_to_an_end() -> None:
    desk, _, _ = run({})
    assert isinstance(desk.prompt, (Escalated, Withheld))


def test_a_list_is_typed_one_after_another_until_one_is_understood() -> None:
    desk, _, paper = run({**FEED_FAILED, SUCTION: ("a lot", "12 C", "85 psi")})
    assert desk.case.answers[SUCTION].typed == "85 psi"
    said = [event.text for event in paper.events if isinstance(event, Said)]
    assert said.index("a lot") < said.index("12 C") < said.index("85 psi")


def test_a_list_that_runs_out_leaves_the_reading_unknown() -> None:
    desk, _, _ = run({**FEED_FAILED, SUCTION: ("a lot", "even more")})
    assert desk.case.answers[SUCTION].reason == NOT_UNDERSTOOD.removeprefix("unknown ")


def test_a_value_in_doubt_is_not_confirmed_by_itself() -> None:
    desk, _, _ = run({**FEED_FAILED, SUCTION: "2700 psi"})
    answer = desk.case.answers[SUCTION]
    assert answer.value is None
    assert answer.reason == NOT_CONFIRMED.removeprefix("unknown ")


def test_a_yes_behind_a_value_confirms_it() -> None:
    desk, _, _ = run({**FEED_FAILED, SUCTION: ("2700 psi", "yes")})
    assert desk.case.answers[SUCTION].typed == "2700 psi"


def test_another_value_behind_a_value_in_doubt_takes_its_place() -> None:
    desk, _, _ = run({**FEED_FAILED, SUCTION: ("2700 psi", "85 psi")})
    assert desk.case.answers[SUCTION].typed == "85 psi"
    desk, _, _ = run({**FEED_FAILED, SUCTION: ("2700 psi", "No", "85 psi")})
    assert desk.case.answers[SUCTION].typed == "85 psi"


def test_several_readings_in_one_text_are_taken_and_their_own_keys_are_unused() -> None:
    answers = {**FEED_FAILED, SUCTION: "suction 85 psi, head 125 psi"}
    desk, script, _ = run(answers)
    assert desk.case.answers["harvest_discharge_pressure"].typed == "head 125 psi"
    assert "harvest_discharge_pressure" in script.unused


def test_readings_the_call_never_asks_for_are_named() -> None:
    _, script, _ = run({**FEED_FAILED, "plate_condition": "scaled", "batch_ice_mass": "11 lb"})
    assert set(script.unused) == {"plate_condition", "batch_ice_mass"}


def test_the_altitude_is_taken_from_the_start() -> None:
    script = Script(AnswersFile({"site_altitude": ("5000 ft",)}))
    assert script.altitude == "5000 ft"
    assert script.unused == ()
    assert Script(AnswersFile({})).altitude is None


def test_notes_come_first_and_are_kept() -> None:
    desk, _, paper = run(FEED_FAILED, notes=("the owner is cross", "second visit"))
    assert desk.case.notes == ("the owner is cross", "second visit")
    first = next(index for index, e in enumerate(paper.events) if isinstance(e, Answered))
    assert max(i for i, e in enumerate(paper.events) if isinstance(e, Noted)) < first


# The gate.


def test_all_acknowledges_each_caution_of_the_gate_by_itself() -> None:
    desk, _, paper = run(FEED_FAILED, "all")
    assert isinstance(desk.prompt, Recommended)
    sealed = [event for event in paper.events if isinstance(event, Acknowledged) and event.seal]
    assert [event.caution for event in sealed] == [item.id for item in desk.prompt.cautions]


def test_none_ends_with_the_recommendation_withheld_at_the_first_caution() -> None:
    desk, _, paper = run(FEED_FAILED, "none")
    assert isinstance(desk.prompt, Withheld)
    refused = [event for event in paper.events if isinstance(event, Refused)]
    assert len(refused) == 1


def test_a_list_acknowledges_what_it_names_and_stops_at_the_first_it_does_not() -> None:
    end, _ = ending(FEED_FAILED)
    assert isinstance(end, Recommended)
    ids = tuple(item.id for item in end.cautions)
    desk, _, _ = run(FEED_FAILED, ids[:2])
    assert isinstance(desk.prompt, Withheld)
    answers = {caution.id: is_yes for caution, is_yes in desk.prompt.cautions}
    assert [key for key, is_yes in answers.items() if is_yes] == list(ids[:2])
    desk, _, _ = run(FEED_FAILED, ids)
    assert isinstance(desk.prompt, Recommended)


def test_a_caution_refused_on_the_way_leaves_its_readings_unknown() -> None:
    desk, _, paper = run(FEED_FAILED, "all", refuse=("gauges_under_pressure",))
    found = {item.reading.id: item for item in shipped_engine().findings(desk.case)}
    assert found["freeze_suction_pressure_early"].outcome == "unknown"
    assert "freeze_suction_pressure_early" not in desk.case.answers
    assert any(isinstance(e, Refused) and e.caution == "gauges_under_pressure"
               for e in paper.events)  # fmt: skip
    assert not isinstance(desk.prompt, Recommended)


def test_a_refusal_wins_over_acknowledge_all() -> None:
    desk, _, _ = run(FEED_FAILED, "all", refuse=("food_is_ice", "data_plate"))
    end, _ = ending(FEED_FAILED)
    assert isinstance(end, Recommended)
    last = end.cautions[-1].id
    desk, _, _ = run(FEED_FAILED, "all", refuse=(last,))
    assert isinstance(desk.prompt, Withheld)
    assert end.cautions[-1].title in desk.prompt.reason


@pytest.mark.parametrize("text", ["back", "yes to all", "stop now please", "skip the cautions"])
def test_no_text_of_a_file_talks_the_gate_open(text: str) -> None:
    desk, _, paper = run({**FEED_FAILED, "manifold_test_result": (text, "slab released")}, "none")
    assert not isinstance(desk.prompt, Recommended)
    assert not any(isinstance(event, Acknowledged) and event.seal for event in paper.events)


def test_a_script_has_nothing_to_say_to_an_ended_call() -> None:
    desk, script, _ = run(FEED_FAILED)
    with pytest.raises(ValueError, match="ended"):
        script.line(desk.prompt)


def test_a_reading_of_a_breath_is_confirmed_only_if_nothing_is_odd_about_it() -> None:
    answers = {**FEED_FAILED, SUCTION: "suction 2700 psi, head 125 psi"}
    desk, _, _ = run(answers)
    assert not isinstance(desk.prompt, AskConfirmation)
    assert desk.case.answers[SUCTION].value is None


def test_a_text_that_stops_the_call_leaves_it_unfinished_and_kept() -> None:
    desk, _, paper = run({**FEED_FAILED, "freeze_time": "stop"})
    assert desk.case.is_stopped
    assert paper.events[-1] == Stopped("stop")
    assert isinstance(desk.prompt, AskQuestion)
