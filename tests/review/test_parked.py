"""`triage parked`: what waits, what is overdue, across desks or one's own."""

from __future__ import annotations

import json
from collections.abc import Sequence
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from tests.conversation import TREE, shipped_engine
from triage.cli import main
from triage.dialogue.events import (
    Answered,
    Asked,
    Event,
    Identified,
    Parked,
    Resumed,
    Said,
    Started,
    Stopped,
)
from triage.store import open_store
from triage.store.record import utc_text

Captured = pytest.CaptureFixture[str]
VERSION = shipped_engine().content.version

pytestmark = pytest.mark.usefixtures("own_folders")


@pytest.fixture
def store(tmp_path: Path) -> Path:
    return tmp_path / "calls.sqlite3"


def park(
    store: Path, session_id: str, due: timedelta, agent: str = "Ana",
    reason: str = "freeze is running", *more: tuple[str, Event],
    left: timedelta = timedelta(hours=1),
) -> None:  # fmt: skip
    """Put a parked call on record, due so long from now."""
    now = datetime.now(UTC)
    spoken: Sequence[tuple[str, Event]] = (
        ("program", Started(TREE, VERSION, "agent", "us", 0.0, agent)),
        ("program", Identified("0451-77")),
        ("agent", Answered("machine", "r500", "gletsch_r500")),
        ("program", Asked("freeze.discharge_line_temperature")),
        ("agent", Said("park")),
        ("agent", Parked(reason, utc_text(now + due))),
        *more,
    )
    with open_store(store) as opened:
        opened.append(session_id, spoken, VERSION, now - left, 0)


def shown(capsys: Captured, *arguments: str | Path) -> str:
    assert main([str(argument) for argument in arguments]) == 0
    out, err = capsys.readouterr()
    assert err == ""
    return out


@pytest.mark.parametrize("columns", ["80", "120"])
def test_longest_overdue_comes_first_with_all_it_takes_to_go_on(
    store: Path, capsys: Captured, monkeypatch: pytest.MonkeyPatch, columns: str
) -> None:
    monkeypatch.setenv("COLUMNS", columns)
    park(store, "20261125-0931-aaaa", timedelta(minutes=8, seconds=10), "Bo")
    park(store, "20261125-0932-bbbb", -timedelta(minutes=12, seconds=10))
    park(store, "20261125-0933-cccc", -timedelta(seconds=20), "Bo", "read the line at minute six")
    out = shown(capsys, "parked", "--store", store)
    said = " ".join(out.split())
    places = [said.index(name) for name in ("0932-bbbb", "0933-cccc", "0931-aaaa")]
    assert places == sorted(places)
    for words in ("overdue 12 min", "due now", "in 8 min", "Bo", "Ana", "triage resume"):
        assert words in said
    together = "".join(out.split())
    assert "discharge" in together
    assert "Gletsch" in together
    assert max(map(len, out.splitlines())) <= int(columns)


def test_calls_of_one_desk_alone(store: Path, capsys: Captured) -> None:
    park(store, "20261125-0931-aaaa", timedelta(minutes=8), "Bo")
    park(store, "20261125-0932-bbbb", timedelta(minutes=9))
    out = shown(capsys, "parked", "--agent", "Bo", "--store", store)
    assert "aaaa" in out
    assert "bbbb" not in out
    assert (
        shown(capsys, "parked", "--agent", "Cy", "--store", store) == "No call is parked by Cy.\n"
    )


def test_call_another_desk_has_resumed_is_no_longer_parked(store: Path, capsys: Captured) -> None:
    gone_on = ("program", Resumed(VERSION, "Bo"))
    park(store, "20261125-0931-aaaa", timedelta(0), "Ana", "x", gone_on)
    assert shown(capsys, "parked", "--store", store).startswith("No call is parked.\n")
    assert shown(capsys, "parked", "--due", "--store", store) == "No call parked is due.\n"


def test_calls_that_were_left_without_parking_them_are_listed_for_a_day(
    store: Path, capsys: Captured, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("COLUMNS", "200")
    gone_on = ("program", Resumed(VERSION, "Bo"))
    for session_id, ago, *more in (
        ("20261125-0931-aaaa", timedelta(hours=1), gone_on),
        ("20261125-0932-bbbb", timedelta(minutes=5), gone_on),
        ("20261125-0933-cccc", timedelta(hours=25), gone_on),
        ("20261125-0934-dddd", timedelta(hours=2), gone_on, ("agent", Stopped())),
    ):
        park(store, session_id, timedelta(0), "Ana", "x", *more, left=ago)
    out = shown(capsys, "parked", "--store", store)
    first, heading, *listed, last = out.splitlines()
    assert (first, heading) == (
        "No call is parked.", "Broken off in the last 24 hours, not parked:"
    )  # fmt: skip
    machine = "Bo, Gletsch R500 (invented), serial 0451-77"
    assert listed == [
        f"  20261125-0932-bbbb  {machine}, broke off 5 min ago, may still be on",
        f"  20261125-0931-aaaa  {machine}, broke off 1 h ago",
        f"  20261125-0934-dddd  {machine}, stopped 2 h ago",
    ]
    assert "triage resume" in last
    told = json.loads(shown(capsys, "parked", "--json", "--store", store))["broken_off"]
    assert [(call["session_id"][-4:], call["state"], call["desk"]) for call in told] == [
        ("bbbb", "open", "Bo"), ("aaaa", "open", "Bo"), ("dddd", "stopped", "Bo"),
    ]  # fmt: skip
    assert "Broken off" not in shown(capsys, "parked", "--agent", "Cy", "--store", store)


def test_calls_that_are_not_due_yet_can_be_left_out(store: Path, capsys: Captured) -> None:
    park(store, "20261125-0931-aaaa", timedelta(minutes=8))
    park(store, "20261125-0932-bbbb", -timedelta(minutes=8))
    out = shown(capsys, "parked", "--due", "--store", store)
    assert "bbbb" in out
    assert "aaaa" not in out


def test_beginning_that_fits_several_calls_says_whose_they_are(
    store: Path, capsys: Captured
) -> None:
    park(store, "20261125-0931-aaaa", timedelta(minutes=8, seconds=9))
    park(store, "20261125-0932-bbbb", timedelta(minutes=9, seconds=9), "Bo", "\x1b[2Jx")
    assert main(["resume", "20261125", "--store", str(store)]) == 2
    _, *listed = capsys.readouterr().err.splitlines()
    machine = "Gletsch R500 (invented), serial 0451-77"
    assert listed == [
        f"20261125-0931-aaaa: Ana, {machine}, parked: freeze is running (in 8 min)",
        f"20261125-0932-bbbb: Bo, {machine}, parked: [2Jx (in 9 min)",
    ]


def test_call_to_resume_is_asked_for_only_at_a_terminal(store: Path, capsys: Captured) -> None:
    park(store, "20261125-0931-aaaa", timedelta(0))
    assert main(["resume", "--store", str(store)]) == 2
    assert "name the call: triage resume ID" in capsys.readouterr().err


def test_nothing_stored_yet_is_no_mistake(capsys: Captured, store: Path) -> None:
    assert shown(capsys, "parked") == "No call is parked.\n"
    assert json.loads(shown(capsys, "parked", "--json"))["parked"] == []
    assert main(["parked", "--store", str(store)]) == 4


def test_json_has_the_same_keys_for_every_call(store: Path, capsys: Captured) -> None:
    park(store, "20261125-0931-aaaa", -timedelta(minutes=2), "Ana", "freeze is running")
    (call,) = json.loads(shown(capsys, "parked", "--json", "--store", store))["parked"]
    assert set(call) == {
        "session_id", "due_at", "overdue_s", "reason", "agent", "parked_by", "machine",
        "refrigerant", "serial_number", "stage", "node", "stands_at", "started_at",
    }  # fmt: skip
    assert 119 <= call["overdue_s"] <= 180
    assert (call["stage"], call["stands_at"]) == (
        "freeze", "discharge line temperature in the freeze",
    )  # fmt: skip


def test_names_and_reasons_of_the_record_bring_no_control_characters(
    store: Path, capsys: Captured
) -> None:
    park(store, "20261125-0931-aaaa", timedelta(0), "A\x1b[31m", "[red]x\x1b]0;t\x07")
    for arguments in (["parked"], ["parked", "--plain"]):
        out = shown(capsys, *arguments, "--store", store)
        assert "\x1b" not in out
        assert "\x07" not in out
        assert "[red]x" in out
