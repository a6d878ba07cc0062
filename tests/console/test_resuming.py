"""Which call to go on with, and taking one from a desk that may still have it."""

from __future__ import annotations

import argparse
import sys
from collections.abc import Callable, Iterator
from datetime import UTC, datetime, timedelta
from io import StringIO
from pathlib import Path

import pytest

from tests.console.test_terminal import Desk
from tests.conversation import TREE, shipped_engine
from triage.cli import main
from triage.console import aside
from triage.console.resuming import may_go_on
from triage.dialogue.events import Answered, Asked, Event, Parked, Resumed, Started, Stopped
from triage.store import open_store
from triage.store.record import utc_text

Captured = pytest.CaptureFixture[str]
VERSION = shipped_engine().content.version
BEGUN = Started(TREE, VERSION, "agent", "us", 0.0, "Ana")
OPTIONS = {"color": "never", "plain": True}


@pytest.fixture
def start(tmp_path: Path, content_cache: Path) -> Iterator[Callable[..., Desk]]:
    desks: list[Desk] = []

    def spawn(*arguments: str) -> Desk:
        desks.append(
            Desk(
                tmp_path / "report.txt", program=("triage", *arguments),
                XDG_CACHE_HOME=str(content_cache),
            )
        )  # fmt: skip
        return desks[-1]

    yield spawn
    for desk in desks:
        desk.child.close(force=True)


def keep(store: Path, session_id: str, ago: timedelta, *more: Event) -> None:
    spoken = [
        ("agent", event)
        for event in (BEGUN, Answered("machine", "r500", "gletsch_r500"), Asked("complaint"), *more)
    ]
    with open_store(store) as opened:
        opened.append(session_id, spoken, VERSION, datetime.now(UTC) - ago, 0)


# From a desk that may still have it.


@pytest.mark.parametrize(
    ("agent", "seconds", "said", "goes_on", "is_asked"),
    [
        ("Bo", 30.0, ["maybe", "yes"], True, True),
        ("Bo", 30.0, ["no"], False, True),
        ("", 30.0, [], False, True),
        ("ana", 30.0, [], True, False),
        ("Bo", 121.0, [], True, False),
        ("Bo", 1801.0, [], True, False),
    ],
)
def test_call_that_is_most_likely_on_elsewhere_is_taken_over_only_on_a_yes(
    capsys: Captured, monkeypatch: pytest.MonkeyPatch, agent: str, seconds: float,
    said: list[str], goes_on: bool, is_asked: bool,
) -> None:  # fmt: skip
    monkeypatch.setattr(sys, "stdin", StringIO("".join(f"{line}\n" for line in said)))
    options = argparse.Namespace(agent=agent, **OPTIONS)
    assert may_go_on(options, [BEGUN], timedelta(seconds=seconds)) is goes_on
    out = capsys.readouterr().out
    assert ("Take it over? yes or no" in out) is is_asked
    assert ("The desk that had this call (Ana) neither stopped" in out) is (seconds < 1800.0)


def test_desk_that_had_it_is_the_last_to_go_on_with_it(
    capsys: Captured, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(sys, "stdin", StringIO("no\n"))
    options = argparse.Namespace(agent="Ana", **OPTIONS)
    assert not may_go_on(options, [BEGUN, Resumed(VERSION, "Bo")], timedelta(seconds=1))
    assert "had this call (Bo)" in capsys.readouterr().out


def test_call_left_where_it_is_gets_no_event(start: Callable[..., Desk], tmp_path: Path) -> None:
    store = tmp_path / "calls.sqlite3"
    keep(store, "20261125-0931-aaaa", timedelta(0))
    desk = start("resume", "aaaa", "--agent", "Bo", "--store", str(store))
    desk.see("Take it over? yes or no")
    desk.child.send("no\r")
    desk.see("Left where it is.")
    with open_store(store) as opened:
        assert len(opened.events("20261125-0931-aaaa")) == 3


# Without an id.


def test_what_waits_longest_is_offered_first_then_what_broke_off(
    start: Callable[..., Desk], tmp_path: Path
) -> None:
    store = tmp_path / "calls.sqlite3"
    now = datetime.now(UTC)
    due = Parked("freeze is running", utc_text(now - timedelta(minutes=2)))
    later = Parked("owner calls back", utc_text(now + timedelta(hours=2, minutes=1)))
    keep(store, "20261125-0931-aaaa", timedelta(hours=3), Stopped())
    keep(store, "20261125-0932-bbbb", timedelta(hours=2), later)
    keep(store, "20261125-0933-cccc", timedelta(hours=1), due)
    desk = start("resume", "--store", str(store))
    desk.see("Which one?")
    listed = [line for line in desk.text.splitlines() if line[:2] in ("1 ", "2 ", "3 ")]
    assert [line.split()[1][-4:] for line in listed] == ["cccc", "bbbb", "aaaa"]
    assert "parked: freeze is running (overdue 2" in " ".join(desk.text.split())
    desk.child.send("7\r")
    desk.see("There is no number 7.")
    desk.child.send("\r")
    desk.see("Session 20261125-0933-cccc resumed")


def test_nothing_to_go_on_with_is_told(start: Callable[..., Desk], tmp_path: Path) -> None:
    store = tmp_path / "calls.sqlite3"
    keep(store, "20261125-0931-aaaa", timedelta(hours=30), Stopped())
    desk = start("resume", "--store", str(store))
    desk.see("no call is parked, and none broke off in the last 24 hours")


# Messages and usage.


@pytest.mark.parametrize("command", ["parked", "log list", "resume", "tree priors"])
def test_word_that_is_not_known_is_answered_with_the_usage_of_its_command(
    command: str, capsys: Captured
) -> None:
    assert main([*command.split(), "--dew"]) == 2
    err = capsys.readouterr().err
    assert err.startswith(f"usage: triage {command} [")
    assert err.endswith(f"triage {command}: unrecognized arguments: --dew\n")


def test_message_on_a_terminal_is_never_broken_within_a_word(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    class Terminal(StringIO):
        def isatty(self) -> bool:
            return True

    monkeypatch.setenv("COLUMNS", "40")
    for stream, count in ((Terminal(), 3), (StringIO(), 1)):
        monkeypatch.setattr(sys, "stderr", stream)
        aside.write_aside("Lines are kept in /home/ana/.local/share/triage/waiting/x.lines: y")
        lines = stream.getvalue().splitlines()
        assert len(lines) == count
        assert any("/home/ana/.local/share/triage/waiting/x.lines:" in line for line in lines)
