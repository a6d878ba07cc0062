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
) -> None:  # fmt: skip
    """Put a parked call on record, due so long from now."""
    now = datetime.now(UTC)
    spoken: Sequence[tuple[str, Event]] = (
        ("program", Started(TREE, VERSION, "agent", "us", 0.0, agent)),
        ("program", Identified("0451-77")),
        ("agent", Answered("machine", "r500", "gletsch_r500")),
        ("program", Asked("discharge_line_temperature")),
        ("agent", Said("park")),
        ("agent", Parked(reason, utc_text(now + due))),
        *more,
    )
    with open_store(store) as opened:
        opened.append(session_id, spoken, VERSION, now - timedelta(hours=1), 0)


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
    park(store, "20261125-0933-cccc", timedelta(seconds=20), "Bo", "read the line at minute six")
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
    assert shown(capsys, "parked", "--store", store) == "No call is parked.\n"


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
