"""The command line as a user meets it: what it prints where, and with which exit code it leaves."""

from __future__ import annotations

import json
import os
import signal
import sqlite3
import subprocess
import sys
import time
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pexpect
import pytest

from tests.command_line import ROOT, UNLICENSED, answers_file, program
from tests.conversation import FEED_FAILED, TREE, shipped_engine
from triage import __version__
from triage.cli import main
from triage.console.desk import Desk
from triage.dialogue.events import Started
from triage.store import open_store

Captured = pytest.CaptureFixture[str]
NOW = datetime(2026, 11, 25, 9, 31, tzinfo=UTC)
SESSION = "20261125-0931-k7qm"

pytestmark = pytest.mark.usefixtures("own_folders")


def said_to(store_path: Path, *lines: str) -> str:
    """Return the id of a call begun in the store at `store_path` and left after `lines`."""
    engine = shipped_engine()
    with open_store(store_path) as store:
        desk = Desk.start(
            engine,
            lambda: store,
            lambda: NOW,
            SESSION,
            "agent",
            Started(TREE, engine.content.version, "agent", "us", 0.0, "Ada"),
        )
        desk.warm_up()
        for line in lines:
            desk.say(line)
    return SESSION


def only_session(env: dict[str, str]) -> str:
    with open_store(Path(env["XDG_DATA_HOME"]) / "triage" / "sessions.sqlite3") as store:
        (summary,) = store.sessions()
    return summary.session_id


# A scripted call.


def test_a_scripted_call_prints_one_json_object_and_leaves_with_0(
    tmp_path: Path, capsys: Captured
) -> None:
    path = answers_file(tmp_path, FEED_FAILED, acknowledge="all")
    assert main(["call", "--answers", str(path), "--json"]) == 0
    out, err = capsys.readouterr()
    result = json.loads(out)
    assert err == ""
    assert result["result"] == "recommended"
    assert result["conclusion"]["cause_ids"] == ["receiver_vapor_feed_failed"]
    assert result["unused_answers"] == []


@pytest.mark.parametrize(
    ("answers", "acknowledge", "result"),
    [
        (FEED_FAILED, "none", "withheld"),
        (UNLICENSED, "all", "escalated"),
        ({**FEED_FAILED, "freeze_time": "stop"}, "all", "unfinished"),
    ],
    ids=["withheld", "escalated", "unfinished"],
)
def test_a_call_without_a_recommendation_leaves_with_1(
    tmp_path: Path, capsys: Captured, answers: dict[str, str], acknowledge: str, result: str
) -> None:
    path = answers_file(tmp_path, answers, acknowledge=acknowledge)
    assert main(["call", "--answers", str(path), "--json"]) == 1
    told = json.loads(capsys.readouterr().out)
    assert told["result"] == result
    assert told["recommendation"] is None


def test_every_result_has_the_same_keys(tmp_path: Path, capsys: Captured) -> None:
    keys = []
    for acknowledge in ("all", "none"):
        path = answers_file(tmp_path, FEED_FAILED, acknowledge=acknowledge)
        main(["call", "--answers", str(path), "--json"])
        keys.append(set(json.loads(capsys.readouterr().out)))
    assert keys[0] == keys[1]


def test_answers_that_were_not_asked_for_are_named_on_standard_error(
    tmp_path: Path, capsys: Captured
) -> None:
    path = answers_file(tmp_path, FEED_FAILED, acknowledge="all", plate_condition="clean")
    main(["call", "--answers", str(path), "--json"])
    out, err = capsys.readouterr()
    assert json.loads(out)["unused_answers"] == ["plate_condition"]
    assert "plate_condition" in err


def test_without_json_the_whole_call_is_shown_and_its_id_at_the_end(
    tmp_path: Path, capsys: Captured, own_folders: dict[str, str]
) -> None:
    path = answers_file(tmp_path, FEED_FAILED, acknowledge="all")
    assert main(["call", "--answers", str(path)]) == 0
    out = capsys.readouterr().out
    assert "receiver vapor" in out
    assert out.rstrip().endswith(f"Session {only_session(own_folders)} is kept.")
    assert "\x1b" not in out


def test_the_options_say_voice_units_altitude_and_agent(tmp_path: Path, capsys: Captured) -> None:
    path = answers_file(tmp_path, FEED_FAILED, acknowledge="all", units="us", voice="agent")
    options = ["--voice", "technician", "--units", "si", "--altitude", "1600 m", "--agent", "Ada"]
    main(["call", "--answers", str(path), "--json", *options])
    told = json.loads(capsys.readouterr().out)
    assert told["voice"] == "technician"
    late = next(item for item in told["findings"]
                if item["reading"] == "freeze_suction_pressure_late")  # fmt: skip
    assert late["unit"] == "bar"
    # 39 psi on a gauge above 83.5 kPa of air (ISO 2533 at 1600 m).
    assert late["si_value"] == pytest.approx(39 * 6894.757 + 83_520, rel=2e-3)
    main(["log", "list"])
    assert "Ada" in capsys.readouterr().out


def test_a_store_named_by_option_or_environment_is_used(
    tmp_path: Path, capsys: Captured, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = answers_file(tmp_path, UNLICENSED)
    main(["call", "--answers", str(path), "--store", str(tmp_path / "a.sqlite3")])
    monkeypatch.setenv("TRIAGE_STORE", str(tmp_path / "b.sqlite3"))
    main(["call", "--answers", str(path)])
    assert (tmp_path / "a.sqlite3").exists()
    assert (tmp_path / "b.sqlite3").exists()
    capsys.readouterr()


# The log.


def test_a_call_can_be_listed_and_shown_again_as_it_was(
    tmp_path: Path, capsys: Captured, own_folders: dict[str, str]
) -> None:
    path = answers_file(tmp_path, FEED_FAILED, acknowledge="all")
    main(["call", "--answers", str(path)])
    shown = capsys.readouterr().out
    session = only_session(own_folders)
    assert main(["log", "list"]) == 0
    listed = capsys.readouterr().out
    assert session in listed.split()
    assert "recommended" in listed
    assert main(["log", "show", session]) == 0
    again = [line for line in capsys.readouterr().out.splitlines() if not line.startswith("2026-")]
    assert [line for line in shown.splitlines()[:-1] if line] == [line for line in again if line]


def test_a_stored_call_is_told_as_json_by_the_beginning_of_its_id(
    tmp_path: Path, capsys: Captured, own_folders: dict[str, str]
) -> None:
    path = answers_file(tmp_path, FEED_FAILED, acknowledge="all")
    main(["call", "--answers", str(path), "--json"])
    told = json.loads(capsys.readouterr().out)
    session = only_session(own_folders)
    assert main(["log", "show", session[:10], "--json"]) == 0
    again = json.loads(capsys.readouterr().out)
    told.pop("unused_answers")
    told.pop("not_counted")
    assert again == told


def test_an_id_in_the_list_is_never_broken_and_fits_80_columns(capsys: Captured) -> None:
    for minute in range(3):
        said_to(Path(os.environ["XDG_DATA_HOME"]) / f"{minute}.sqlite3", "yes both")
    store = Path(os.environ["XDG_DATA_HOME"]) / "0.sqlite3"
    assert main(["log", "list", "--store", str(store)]) == 0
    lines = capsys.readouterr().out.splitlines()
    assert any(line.startswith(f"{SESSION} ") for line in lines)
    assert all(len(line) <= 80 for line in lines)
    assert "going on, at complaint" in " ".join(" ".join(lines).split())


def test_an_empty_log_says_how_to_take_a_call(capsys: Captured) -> None:
    assert main(["log", "list"]) == 0
    assert "triage call" in " ".join(capsys.readouterr().out.split())


def test_the_list_stops_at_the_most_asked_for(tmp_path: Path, capsys: Captured) -> None:
    path = answers_file(tmp_path, UNLICENSED)
    for _ in range(2):
        main(["call", "--answers", str(path)])
    capsys.readouterr()
    main(["log", "list", "--most", "1"])
    assert capsys.readouterr().out.count("escalated") == 1


# Going on with a call.


def test_resuming_without_a_terminal_says_what_to_use_instead(
    tmp_path: Path, capsys: Captured
) -> None:
    store = tmp_path / "calls.sqlite3"
    session = said_to(store, "yes both", "will not drop")
    assert main(["resume", session, "--store", str(store)]) == 2
    assert "triage log show" in capsys.readouterr().err
    with open_store(store) as opened:
        kinds = [item.event.kind for item in opened.events(session)]
    assert "resumed" not in kinds


def test_resuming_an_ended_call_only_shows_its_end(tmp_path: Path, capsys: Captured) -> None:
    path = answers_file(tmp_path, UNLICENSED)
    store = tmp_path / "calls.sqlite3"
    main(["call", "--answers", str(path), "--store", str(store)])
    capsys.readouterr()
    with open_store(store) as opened:
        (summary,) = opened.sessions()
    assert main(["resume", summary.session_id, "--store", str(store)]) == 1
    out = capsys.readouterr().out
    assert summary.session_id in out
    with open_store(store) as opened:
        assert len(opened.events(summary.session_id)) == summary.count


def test_a_call_killed_at_the_terminal_goes_on_at_the_same_question(
    own_folders: dict[str, str],
) -> None:
    words = shipped_engine().tree.questions["opening.complaint"].agent.split(".")[0]
    command = f"{sys.executable} -m triage"
    env = {**own_folders, "COLUMNS": "200", "LINES": "50"}

    def spawn(arguments: str) -> pexpect.spawn[str]:
        return pexpect.spawn(
            f"{command} {arguments}", env=env, cwd=str(ROOT), encoding="utf-8",
            timeout=20, dimensions=(50, 200),
        )  # fmt: skip

    call = spawn("call --plain")
    call.expect("certified")
    call.sendline("yes both")
    call.expect_exact(words)
    call.kill(signal.SIGKILL)
    call.close()
    again = spawn(f"resume {only_session(own_folders)} --plain")
    again.expect_exact("Take it over? yes or no")
    again.sendline("yes")
    again.expect_exact(words)
    again.sendline("stop")
    again.expect("kept")
    again.expect(pexpect.EOF)
    again.close()
    assert again.exitstatus == 1


@pytest.mark.parametrize("least", [4, 30, 80])
def test_a_scripted_call_killed_on_its_way_leaves_a_store_that_can_be_read(
    tmp_path: Path, own_folders: dict[str, str], capsys: Captured, least: int
) -> None:
    path = answers_file(tmp_path, FEED_FAILED, acknowledge="all")
    store = tmp_path / "calls.sqlite3"
    child = subprocess.Popen(
        [sys.executable, "-m", "triage", "call", "--answers", str(path), "--store", str(store)],
        env=own_folders, cwd=ROOT, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL,
    )  # fmt: skip
    try:
        deadline = time.monotonic() + 20
        while child.poll() is None and stored_count(store) < least:
            assert time.monotonic() < deadline
            time.sleep(0.001)
    finally:
        child.kill()
        child.wait()
    with open_store(store) as opened:
        (summary,) = opened.sessions()
        events = [item.event for item in opened.events(summary.session_id)]
    assert len(events) == stored_count(store) >= least
    assert main(["log", "show", summary.session_id, "--store", str(store), "--json"]) == 0
    assert json.loads(capsys.readouterr().out)["session_id"] == summary.session_id


def stored_count(store: Path) -> int:
    """Return how many events a store under way holds."""
    try:
        with sqlite3.connect(f"file:{store}?mode=ro", uri=True, timeout=0.05) as connection:
            return int(connection.execute("select count(*) from triage_events").fetchone()[0])
    except sqlite3.Error:
        return 0


# The pocket tools.


def test_expect_prints_the_bands_and_lists_the_machines(capsys: Captured) -> None:
    assert main(["expect", "Gletsch R500", "--air", "70 F", "--water", "55 F"]) == 0
    out = capsys.readouterr().out
    assert "freeze time" in out
    assert "computed for 70 °F air, 55 °F water" in out
    assert main(["expect"]) == 0
    assert "gletsch_r500" in capsys.readouterr().out


def test_expect_tells_in_json_what_it_tells_in_words(capsys: Captured) -> None:
    assert main(["expect", "gletsch_r500", "--json"]) == 0
    told = json.loads(capsys.readouterr().out)
    assert told["machine"] == "gletsch_r500"
    late = told["bands"]["freeze_suction_pressure_late"]
    assert late["low"] < late["centre"] < late["high"]
    assert late["unit"] == "psig"
    assert told["not_computed"] == {}
    assert main(["expect", "--json"]) == 0
    assert "gletsch_r500" in json.loads(capsys.readouterr().out)["machines"]


def test_expect_says_what_it_cannot_compute_and_why(capsys: Captured) -> None:
    assert main(["expect", "gletsch_r500", "--air", "900 F"]) == 0
    out = " ".join(capsys.readouterr().out.split())
    assert "Not computed:" in out
    assert "freeze time" in out
    main(["expect", "gletsch_r500", "--air", "900 F", "--json"])
    assert "freeze_time" in json.loads(capsys.readouterr().out)["not_computed"]


def test_expect_says_first_that_conditions_lie_outside_the_limits(capsys: Captured) -> None:
    assert main(["expect", "gletsch_r500", "--air", "130 F"]) == 0
    assert capsys.readouterr().out.splitlines()[1].startswith("OUTSIDE THE STATED LIMITS: air")
    assert main(["expect", "gletsch_r500"]) == 0
    assert "OUTSIDE" not in capsys.readouterr().out


@pytest.mark.parametrize(
    ("arguments", "told"),
    [
        # Wet vapor: the dew point of R-404A at 60 psig is 23.5 °F (CoolProp 7.2).
        (["--suction", "60", "--suction-temperature", "0 F"], "is -23.5 °F, below 0 °F"),
        (["--temperature", "400 F"], "is 400 °F, outside -94 to 152 °F"),
        (["--pressure", "200 bar", "--units", "si"], "is 200 bar gauge, outside -0.8 to"),
    ],
)
def test_gas_says_what_is_out_of_range_in_the_units_asked_for(
    arguments: list[str], told: str, capsys: Captured
) -> None:
    assert main(["gas", "R-404A", *arguments]) == 2
    assert told in capsys.readouterr().err


def test_the_help_fits_80_columns(capsys: Captured) -> None:
    assert main(["--help"]) == 0
    assert max(map(len, capsys.readouterr().out.splitlines())) <= 80


def test_gas_takes_a_temperature_below_zero_as_a_value(capsys: Captured) -> None:
    for typed in ("-20C", "-20 C", "-4F"):
        assert main(["gas", "R-290", "--temperature", typed, "--json"]) == 0
        told = json.loads(capsys.readouterr().out)
        # R-290 boils at 244.5 kPa at -20 °C (CoolProp; also in common tables, from memory).
        assert told["dew_pressure"]["si_value"] == pytest.approx(244_500, rel=2e-3)


@pytest.mark.parametrize(
    "arguments",
    [
        ["gas", "R-404A", "--pressure", "62 psi"],
        ["gas", "R-404A", "--suction", "20", "--discharge", "250", "--suction-temperature", "20 F"],
        ["gas", "R-404A", "--discharge", "17 bar", "--liquid-temperature", "90 F", "--units", "si"],
        ["demo", "--list"],
        ["tree", "check"],
        ["--version"],
        ["--help"],
        ["call", "--help"],
        ["log", "show", "--help"],
    ],
    ids=" ".join,
)
def test_what_can_be_done_leaves_with_0_and_nothing_on_standard_error(
    capsys: Captured, arguments: list[str]
) -> None:
    assert main(arguments) == 0
    out, err = capsys.readouterr()
    assert out.strip()
    assert err == ""


def test_the_version_is_the_packages(capsys: Captured) -> None:
    main(["--version"])
    assert capsys.readouterr().out == f"triage {__version__}\n"


def test_a_demo_call_plays_and_is_not_stored(capsys: Captured, own_folders: dict[str, str]) -> None:
    main(["demo", "--list"])
    names = [line.split()[0] for line in capsys.readouterr().out.splitlines() if line[:1].strip()]
    assert main(["demo", names[0]]) == 0
    assert "Invented call:" in capsys.readouterr().out
    assert not Path(own_folders["XDG_DATA_HOME"]).exists()


def test_the_demo_calls_are_rendered_beside_their_answers(tmp_path: Path) -> None:
    answers_file(tmp_path, UNLICENSED, about="An invented call.")
    assert main(["demo", "--write", str(tmp_path)]) == 0
    rendered = (tmp_path / "call.txt").read_text(encoding="utf-8")
    assert rendered.startswith("Invented call: An invented call.\n")


# Pipes, colors, terminals.


@pytest.mark.parametrize(
    "arguments",
    [["expect"], ["expect", "gletsch_r500", "--json"], ["tree", "check"], ["--help"],
     ["log", "list"]],
    ids=" ".join,
)  # fmt: skip
def test_a_reader_that_goes_away_is_no_error(
    own_folders: dict[str, str], arguments: list[str]
) -> None:
    reading, writing = os.pipe()
    os.close(reading)
    try:
        ended = program(*arguments, env=own_folders, stdout=writing)
    finally:
        os.close(writing)
    assert (ended.returncode, ended.stderr) == (0, "")


def test_the_first_line_of_a_list_can_be_had_with_head(own_folders: dict[str, str]) -> None:
    ended = subprocess.run(
        f"{sys.executable} -m triage expect | head -1; echo ${{PIPESTATUS[0]}}",
        shell=True, executable="/bin/bash", env=own_folders, cwd=ROOT, capture_output=True,
        text=True, check=True,
    )  # fmt: skip
    assert ended.stdout.splitlines()[-1] == "0"
    assert ended.stdout.startswith("machine ")
    assert ended.stderr == ""


@pytest.mark.parametrize(
    ("variables", "options", "has_color"),
    [
        ({}, [], False),
        ({"FORCE_COLOR": "1"}, [], True),
        ({"FORCE_COLOR": "1", "NO_COLOR": "1"}, [], False),
        ({"NO_COLOR": "1"}, ["--color", "always"], True),
        ({"FORCE_COLOR": "1"}, ["--color", "never"], False),
    ],
)
def test_color_follows_the_option_then_the_environment(
    capsys: Captured,
    monkeypatch: pytest.MonkeyPatch,
    variables: dict[str, str],
    options: list[str],
    has_color: bool,
) -> None:
    for name, value in variables.items():
        monkeypatch.setenv(name, value)
    assert main(["demo", *options]) == 0
    assert ("\x1b[" in capsys.readouterr().out) is has_color


def test_without_a_terminal_a_call_names_the_option_that_does_without(capsys: Captured) -> None:
    assert main(["call"]) == 2
    assert "--answers FILE" in capsys.readouterr().err
    assert main(["call", "--json"]) == 2
    assert "--answers FILE" in capsys.readouterr().err


@pytest.mark.parametrize("closed", [0, 1, 2])
def test_a_stream_closed_from_the_start_is_no_crash(
    own_folders: dict[str, str], closed: int
) -> None:
    ended = program("call", env=own_folders, before=lambda: os.close(closed))
    assert ended.returncode == 2
    assert "Traceback" not in ended.stderr
    assert "something went wrong" not in ended.stderr


def test_a_terminal_of_another_alphabet_gets_every_line(
    tmp_path: Path, own_folders: dict[str, str]
) -> None:
    path = answers_file(tmp_path, UNLICENSED)
    env = {**own_folders, "PYTHONIOENCODING": "ascii"}
    ended = program("call", "--answers", path, "--json", env=env)
    assert ended.returncode == 1
    assert json.loads(ended.stdout)["result"] == "escalated"


def test_an_unforeseen_error_is_one_line_and_its_trace_goes_to_a_log(
    capsys: Captured, monkeypatch: pytest.MonkeyPatch, own_folders: dict[str, str]
) -> None:
    def fail(_options: Any) -> int:
        raise ZeroDivisionError("a bug")

    monkeypatch.setattr("triage.console.expect.print_expected", fail)
    assert main(["expect"]) == 1
    out, err = capsys.readouterr()
    assert out == ""
    assert err.count("\n") == 1
    log = Path(own_folders["XDG_STATE_HOME"]) / "triage" / "errors.log"
    assert str(log) in err
    assert "ZeroDivisionError: a bug" in log.read_text(encoding="utf-8")
    assert log.stat().st_mode & 0o077 == 0


def test_ctrl_c_leaves_with_130(monkeypatch: pytest.MonkeyPatch) -> None:
    def interrupt(_options: Any) -> int:
        raise KeyboardInterrupt

    monkeypatch.setattr("triage.console.expect.print_expected", interrupt)
    assert main(["expect"]) == 130


def test_what_an_answers_file_says_in_vain_is_told_apart_from_the_result(
    tmp_path: Path, capsys: Captured
) -> None:
    path = answers_file(tmp_path, {**FEED_FAILED, "ice_pattern": "purple"})
    assert main(["call", "--answers", str(path), "--json"]) == 1
    out, err = capsys.readouterr()
    assert {"reading": "ice_pattern", "typed": "purple"} in json.loads(out)["not_counted"]
    assert "ice_pattern: purple" in err
