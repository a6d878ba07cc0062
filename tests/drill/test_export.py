"""A drill's caller as an answers file."""

from __future__ import annotations

import json
import random
from dataclasses import replace
from pathlib import Path

import pytest
import yaml

from tests.conversation import shipped_engine
from tests.drill.calls import call_not_on_file, call_with, say, unlicensed_call
from triage.cli import main
from triage.console.answers_file import load_answers
from triage.drill.call import Level, PracticeCall
from triage.drill.export import answers_of, write_answers
from triage.drill.model_answer import model_answer
from triage.drill.population import caller_at
from triage.drill.practice import NOT_FOR_ME, begin


def played(path: Path, capsys: pytest.CaptureFixture[str]) -> dict[str, object]:
    """Return the scripted call that an answers file plays."""
    capsys.readouterr()
    main(["call", "--answers", str(path), "--json"])
    out = capsys.readouterr().out
    return dict(json.loads(out))


CALLS = {
    "a harvest part": lambda: call_with("receiver_vapor_feed_failed"),
    "a freeze fault": lambda: call_with("refrigerant_undercharge", Level.USUAL, 3),
    "not licensed": unlicensed_call,
    "not on file": call_not_on_file,
}


@pytest.mark.parametrize("name", CALLS)
def test_an_exported_caller_plays_to_the_model_answers_conclusion(
    name: str, tmp_path: Path, own_folders: dict[str, str], capsys: pytest.CaptureFixture[str]
) -> None:
    call = CALLS[name]()
    path = tmp_path / "caller.yaml"
    write_answers(path, call, say(call, "license", "weight", "superheat")[0])
    result = played(path, capsys)
    conclusion = result["conclusion"]
    assert isinstance(conclusion, dict)
    assert tuple(conclusion["cause_ids"]) == call.model.causes
    assert call.cause in call.model.causes
    assert result["result"] == type(call.model.end).__name__.lower()
    assert result["not_counted"] == []
    notes = result["notes"]
    assert isinstance(notes, list)
    assert "invented" in notes[0]


def test_an_export_holds_what_the_model_and_the_trainee_asked_for() -> None:
    call = call_with("refrigerant_undercharge")
    practice, _ = say(call, "batch weight", "altitude")
    answers = answers_of(call, practice)
    assert set(call.model.asked) <= set(answers)
    assert answers["batch_ice_mass"] == call.caller.answer("batch_ice_mass")
    assert answers["site_altitude"] == "0 ft"
    assert answers["acknowledge"] == "all"


def test_an_export_gives_no_licensed_reading_of_an_unlicensed_caller() -> None:
    call = unlicensed_call()
    answers = answers_of(call, say(call, "late suction", "license", "early suction")[0])
    assert answers["freeze_suction_pressure_late"] == NOT_FOR_ME
    assert answers["freeze_suction_pressure_early"] == NOT_FOR_ME


def doubtful_call() -> PracticeCall:
    """Return a call whose caller reads suction late above early, which is asked about."""
    call = call_with("compressor_weak")
    engine = shipped_engine()
    caller = caller_at(
        call.place, call.machine, call.cause, random.Random(1),
        said={"freeze_suction_pressure_late": "150 psig"},
    )  # fmt: skip
    return replace(call, caller=caller, model=model_answer(engine, caller, call.opening))


def test_a_reading_that_raised_a_doubt_is_confirmed_in_the_export(
    tmp_path: Path, own_folders: dict[str, str], capsys: pytest.CaptureFixture[str]
) -> None:
    call = doubtful_call()
    assert "freeze_suction_pressure_late" in call.model.confirmed
    path = tmp_path / "caller.yaml"
    write_answers(path, call, begin(call))
    text = yaml.safe_load(path.read_text(encoding="utf-8"))
    assert text["freeze_suction_pressure_late"] == ["150 psig", "yes"]
    conclusion = played(path, capsys)["conclusion"]
    assert isinstance(conclusion, dict)
    assert tuple(conclusion["cause_ids"]) == call.model.end.conclusion.causes


def test_a_name_that_ends_in_json_gives_json(tmp_path: Path) -> None:
    call = call_with("compressor_weak")
    path = tmp_path / "caller.json"
    write_answers(path, call, begin(call))
    assert json.loads(path.read_text(encoding="utf-8"))["acknowledge"] == "all"
    assert load_answers(path, shipped_engine().content).acknowledge == "all"


def test_a_file_that_is_there_is_left_alone(tmp_path: Path) -> None:
    path = tmp_path / "caller.yaml"
    path.write_text("mine", encoding="utf-8")
    call = call_with("compressor_weak")
    with pytest.raises(FileExistsError):
        write_answers(path, call, begin(call))
    assert path.read_text(encoding="utf-8") == "mine"
