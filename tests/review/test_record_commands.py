"""`log list` narrowed, `log verify` and `log purge` as a reviewer types them."""

from __future__ import annotations

import json
import sqlite3
from collections.abc import Sequence
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from tests.review.test_log import NOW, OPENING, STARTED, keep, shown
from triage.cli import main
from triage.dialogue.events import Concluded, Event, Noted, RepairReported
from triage.store import open_store

Captured = pytest.CaptureFixture[str]
FEED = "receiver_vapor_feed_failed"
JUDGED = Concluded(
    "feed", "recommended", (FEED,), "", "disagree", (), "gletsch_r500", "R-404A"
)  # fmt: skip
CALL: Sequence[tuple[str, Event]] = (
    *OPENING,
    ("agent", Noted("fan rattles")),
    ("program", JUDGED),
    ("agent", RepairReported(("compressor_weak",))),
)

pytestmark = pytest.mark.usefixtures("own_folders")


@pytest.fixture
def store(tmp_path: Path) -> Path:
    """A call with everything to filter by, and one that was only begun two hours later."""
    path = tmp_path / "calls.sqlite3"
    keep(path, "20261125-0931-aaaa", *CALL)
    begun = ("program", replace(STARTED, agent="Teo")), *OPENING[1:]
    keep(path, "20261125-1131-bbbb", *begun, after=timedelta(hours=2))
    return path


def refused(capsys: Captured, code: int, *arguments: str | Path) -> str:
    """Return the one message a command is refused with."""
    assert main([str(argument) for argument in arguments]) == code
    out, err = capsys.readouterr()
    assert "Traceback" not in err
    assert out == "" or code == 4
    return err


@pytest.mark.parametrize(
    "filters",
    [
        ["--conclusion", "receiver vapor feed not working (regulator and its solenoid)"],
        ["--conclusion", FEED],
        ["--machine", "Gletsch R500"],
        ["--refrigerant", "404a"],
        ["--disagreement"],
        ["--outcome", "compressor_weak"],
        ["--outcome", "any"],
        ["--result", "recommended"],
        ["--agent", "mira oduya"],
        ["--text", "RATTLES fan"],
        ["--until", "2026-11-25T10:00"],
        ["--since", "2026-11-25", "--until", "2026-11-26", "--disagreement", "--text", "fan"],
    ],
)
def test_a_list_is_narrowed_by_what_people_type(
    store: Path, capsys: Captured, filters: list[str]
) -> None:
    told = json.loads(shown(capsys, "log", "list", "--store", store, "--json", *filters))
    assert [line["session_id"] for line in told["sessions"]] == ["20261125-0931-aaaa"]


@pytest.mark.parametrize(
    "filters",
    [["--withheld"], ["--text", "squeals"], ["--since", "2026-12-01"], ["--serial", "7"]],
)
def test_a_list_in_which_nothing_fits_says_so(
    store: Path, capsys: Captured, filters: list[str]
) -> None:
    assert "No call fits" in shown(capsys, "log", "list", "--store", store, *filters)


@pytest.mark.parametrize(
    ("filters", "message"),
    [
        (["--since", "yesterday"], "is no date; write it as 2026-11-25"),
        (["--since", "2026-11-25", "--until", "2026-11-25"], "has to be after --since"),
        (["--machine", "gletsch_r50"], 'did you mean "gletsch_r500"'),
        (["--conclusion", "compresor_weak"], 'did you mean "compressor_weak"'),
        (["--refrigerant", "R-999"], "R-999"),
        (["--outcome", "nothing"], "is no cause"),
    ],
)
def test_a_filter_that_means_nothing_is_refused_with_the_way_out(
    store: Path, capsys: Captured, filters: list[str], message: str
) -> None:
    assert message in refused(capsys, 2, "log", "list", "--store", store, *filters)


def test_the_next_page_is_the_command_that_was_printed(store: Path, capsys: Captured) -> None:
    first = shown(capsys, "log", "list", "--store", store, "--most", "1")
    assert "bbbb" in first
    command = first.split("More: triage ")[1].split()
    assert "20261125-0931-aaaa" in shown(capsys, *command)


def test_the_list_tells_what_was_concluded_and_found(store: Path, capsys: Captured) -> None:
    out = shown(capsys, "log", "list", "--store", store)
    assert "path and ranking disagree" in out
    assert "found: Compressor" in out


def test_the_time_between_turns_is_shown(store: Path, capsys: Captured) -> None:
    with open_store(store) as opened:
        later = NOW + timedelta(seconds=42)
        opened.append("20261125-0931-aaaa", [("agent", Noted("x"))], "", later, len(CALL))
    assert "42 s later" in shown(capsys, "log", "show", "aaaa", "--store", store)


def test_a_whole_record_is_proved_and_leaves_a_mark(store: Path, capsys: Captured) -> None:
    out = shown(capsys, "log", "verify", "--store", store)
    assert "2 sessions, 13 events: whole" in out
    mark = out.split("Mark: ")[1].split(". ")[0]
    assert "whole" in shown(capsys, "log", "verify", "--store", store, "--against", mark)
    assert "1 session, 8 events: whole" in shown(
        capsys, "log", "verify", "20261125-0931", "--store", store
    )


def tamper(store: Path, statement: str) -> None:
    with sqlite3.connect(store) as connection:
        names = connection.execute("SELECT name FROM sqlite_master WHERE type = 'trigger'")
        for (name,) in names.fetchall():
            connection.execute(f'DROP TRIGGER "{name}"')
        connection.execute(statement)


def test_what_was_done_to_a_record_is_named_and_ends_in_4(store: Path, capsys: Captured) -> None:
    tamper(store, "DELETE FROM triage_events WHERE sequence = 3 AND session_id LIKE '%aaaa'")
    assert main(["log", "verify", "--store", str(store)]) == 4
    out = " ".join(capsys.readouterr().out.split())
    assert "DROPPED: session 20261125-0931-aaaa: event 3 is missing" in out
    assert "Restore a backup" in out
    assert main(["log", "verify", "--store", str(store), "--json"]) == 4
    told = json.loads(capsys.readouterr().out)
    assert not told["is_whole"]
    harms = {(fault["harm"], fault["sequence"]) for fault in told["faults"]}
    assert {("dropped", 3), ("unguarded", None)} <= harms


@pytest.mark.parametrize("mark", ["x", "12", "12-zz", "-0123456789abcdef"])
def test_what_is_no_mark_is_refused(store: Path, capsys: Captured, mark: str) -> None:
    message = refused(capsys, 2, "log", "verify", "--store", store, f"--against={mark}")
    assert "is no mark and no file" in message


def test_heads_kept_in_a_file_are_held_against_the_record_later(
    store: Path, tmp_path: Path, capsys: Captured
) -> None:
    kept = tmp_path / "heads.jsonl"
    shown(capsys, "log", "verify", "--store", store, "--keep", kept)
    assert kept.stat().st_mode & 0o777 == 0o600
    assert len(kept.read_text().splitlines()) == 2
    assert "whole" in shown(capsys, "log", "verify", "--store", store, "--against", kept)
    kept.write_text(kept.read_text().replace('"count": 8', '"count": 9'))
    assert main(["log", "verify", "--store", str(store), "--against", str(kept)]) == 4
    assert "event 9 was there when heads were kept, and is gone" in " ".join(
        capsys.readouterr().out.split()
    )
    kept.write_text("{}\n")
    message = refused(capsys, 2, "log", "verify", "--store", store, "--against", kept)
    assert "heads.jsonl:1: not a line that triage log verify --keep writes" in message


def test_a_purge_wants_a_word_or_an_option(store: Path, capsys: Captured) -> None:
    past = ["log", "purge", "--store", str(store), "--before"]
    soon = (datetime.now(UTC) + timedelta(days=9)).date().isoformat()
    assert "is a day to come" in refused(capsys, 2, *past, soon)
    with open_store(store) as opened:
        old = NOW - timedelta(days=900)
        opened.append("20240608-0931-cccc", CALL, "", old, 0)
    assert "cannot be undone" in refused(capsys, 2, *past, "2025-01-01")
    out = shown(capsys, *past, "2025-01-01", "--yes", "--by", "Ana", "--reason", "two years")
    assert "Purged 1 call with 8 events" in out
    assert "nothing to purge" in shown(capsys, *past, "2025-01-01", "--yes")
    assert "3 sessions, 13 events, 1 purged: whole" in shown(
        capsys, "log", "verify", "--store", store
    )
    assert "purged 2026" in shown(capsys, "log", "list", "--store", store)
    assert "were purged on" in refused(capsys, 2, "log", "show", "20240608", "--store", store)


def test_a_record_that_is_not_there_yet_is_no_error(capsys: Captured) -> None:
    assert "nothing to prove" in shown(capsys, "log", "verify")
    assert "nothing to purge" in shown(capsys, "log", "purge", "--before", "2025-01-01", "--yes")
    assert "No call is stored yet" in shown(capsys, "log", "list")
