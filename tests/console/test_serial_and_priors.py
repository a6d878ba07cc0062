"""Serial numbers given on the command line or in a file, and priors told from the record."""

from __future__ import annotations

import json
import shutil
from pathlib import Path
from typing import Any

import pytest

from tests.conversation import CONTENT_FOLDER, FEED_FAILED, TREE, shipped_engine
from tests.review.stored_calls import BEGUN
from triage.cli import main
from triage.dialogue.events import FOUND_OTHER, Identified, RepairReported, Started
from triage.store import open_store

Captured = pytest.CaptureFixture[str]

pytestmark = pytest.mark.usefixtures("own_folders")


@pytest.fixture
def store(tmp_path: Path) -> Path:
    return tmp_path / "calls.sqlite3"


# Which very machine it is.


@pytest.mark.parametrize(
    ("in_file", "options", "kept"),
    [
        (None, (), None),
        ("0451-77", (), "0451-77"),
        (None, ("--serial", " 0451-77b "), "0451-77B"),
        ("1", ("--serial", "2"), "2"),
    ],
)
def test_serial_number_of_the_option_or_the_file_is_the_second_thing_on_record(
    store: Path, tmp_path: Path, capsys: Captured, in_file: str | None,
    options: tuple[str, ...], kept: str | None,
) -> None:  # fmt: skip
    path = tmp_path / "call.json"
    also = {} if in_file is None else {"serial_number": in_file}
    path.write_text(json.dumps({**FEED_FAILED, "acknowledge": "all", **also}), encoding="utf-8")
    command = ["call", "--answers", str(path), "--store", str(store), *options]
    assert main([*command, "--json"]) == 0
    told = json.loads(capsys.readouterr().out)
    assert told["serial_number"] == kept
    with open_store(store) as opened:
        first, second = (item.event for item in opened.events(told["session_id"])[:2])
    assert isinstance(first, Started)
    assert (second == Identified(kept)) if kept else not isinstance(second, Identified)
    assert main(["log", "show", told["session_id"], "--store", str(store)]) == 0
    opening = " ".join(capsys.readouterr().out[:400].split())
    assert (f", serial number {kept}." if kept else "US units. ") in opening


@pytest.mark.parametrize("number", ["worn off", "9" * 41, "\x1b[31m"])
def test_what_is_no_serial_number_is_refused_before_the_call_begins(
    store: Path, tmp_path: Path, capsys: Captured, number: str
) -> None:
    path = tmp_path / "call.json"
    path.write_text(json.dumps(dict(FEED_FAILED)), encoding="utf-8")
    command = ["call", "--answers", str(path), "--store", str(store), "--serial", number]
    assert main(command) == 2
    assert "is no serial number" in capsys.readouterr().err
    assert not store.exists()


# Priors and what repairs confirmed.


def report(store: Path, session_id: str, *reports: RepairReported) -> None:
    begun = Started("will_not_release", shipped_engine().content.version, "agent", "us")
    with open_store(store) as opened:
        spoken = [("program", begun), *(("repair report", item) for item in reports)]
        opened.append(session_id, spoken, "v", BEGUN, 0)


@pytest.fixture
def reported(store: Path) -> Path:
    """Return a record in which three repairs count and five do not."""
    coil, valve = "harvest_coil_open", "hot_gas_valve_not_opening"
    report(store, "20261125-0931-aaaa", RepairReported((coil,), (), True))
    report(store, "20261125-0932-aaaa", RepairReported((coil,), (), None))
    # The last report of a call counts, and a call counts once.
    twice = RepairReported((coil,), (), True), RepairReported((valve,), (), True)
    report(store, "20261125-0933-aaaa", *twice)
    report(store, "20261125-0934-aaaa", RepairReported((valve,), (), False))
    report(store, "20261125-0935-aaaa", RepairReported((valve, coil), (), True))
    report(store, "20261125-0936-aaaa", RepairReported((FOUND_OTHER,), (), True, note="latch"))
    report(store, "20261125-0937-aaaa", RepairReported(("a_cause_of_old",), (), True))
    report(store, "20261125-0938-aaaa")
    return store


def causes_of(told: dict[str, Any]) -> dict[str, dict[str, Any]]:
    (tree,) = (item for item in told["trees"] if item["tree"] == TREE)
    return {item["cause"]: item for item in tree["causes"]}


def test_priors_show_what_was_written_what_was_confirmed_and_what_follows(
    reported: Path, capsys: Captured
) -> None:
    assert main(["tree", "priors", "--json", "--store", str(reported)]) == 0
    told = json.loads(capsys.readouterr().out)
    by_cause = causes_of(told)
    assert {key: item["confirmed"] for key, item in by_cause.items() if item["confirmed"]} == {
        "harvest_coil_open": 2, "hot_gas_valve_not_opening": 1,
    }  # fmt: skip
    # Mean of a Dirichlet distribution by hand: (50 * 0.06 + 2) / 53, (50 * 0.07 + 1) / 53.
    assert by_cause["harvest_coil_open"]["written_prior"] == 0.06
    assert by_cause["harvest_coil_open"]["corrected_prior"] == pytest.approx(5.0 / 53)
    assert by_cause["hot_gas_valve_not_opening"]["corrected_prior"] == pytest.approx(4.5 / 53)
    assert set(told["not_counted"][TREE]) == {"several_faults", FOUND_OTHER, "a_cause_of_old"}
    assert (told["in_use"], told["is_written"]) == ({}, False)
    assert main(["tree", "priors", "--store", str(reported)]) == 0
    out = " ".join(capsys.readouterr().out.split())
    assert "harvest_coil_open 6.0% 2 9.4%" in out
    assert "Calls go by the written priors" in out


def test_counts_written_into_a_folder_are_what_calls_go_by(
    reported: Path, tmp_path: Path, capsys: Captured
) -> None:
    folder = tmp_path / "trees"
    shutil.copytree(CONTENT_FOLDER, folder)
    command = ["tree", "priors", "--store", str(reported), "--trees", str(folder)]
    assert main([*command, "--write"]) == 0
    assert main([*command, "--json"]) == 0
    told = capsys.readouterr().out
    told = json.loads(told[told.index("{\n") :])
    assert told["in_use"] == {TREE: {"harvest_coil_open": 2, "hot_gas_valve_not_opening": 1}}
    # The counts in use are not counted a second time.
    by_cause = causes_of(told)
    assert by_cause["harvest_coil_open"]["corrected_prior"] == pytest.approx(5.0 / 53)
    assert main(["tree", "check", "--trees", str(folder)]) == 0
    assert "priors corrected by 3 confirmed repairs" in capsys.readouterr().out


def test_an_empty_record_neither_fails_nor_takes_the_counts_away(
    tmp_path: Path, capsys: Captured
) -> None:
    folder = tmp_path / "trees"
    shutil.copytree(CONTENT_FOLDER, folder)
    kept = '{"format": 1, "confirmed": {"will_not_release": {"healthy": 2}}}'
    (folder / "outcomes.json").write_text(kept, encoding="utf-8")
    assert main(["tree", "priors", "--trees", str(folder), "--write"]) == 0
    assert "nothing was written" in " ".join(capsys.readouterr().out.split())
    assert (folder / "outcomes.json").read_text(encoding="utf-8") == kept


def test_the_programs_own_content_is_not_written_to(reported: Path, capsys: Captured) -> None:
    before = sorted(CONTENT_FOLDER.iterdir())
    assert main(["tree", "priors", "--write", "--store", str(reported)]) == 2
    assert "--trees DIR" in capsys.readouterr().err
    assert sorted(CONTENT_FOLDER.iterdir()) == before
