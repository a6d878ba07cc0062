"""Reports of repairs for tests: a call in a store, the command run on it, and who answers it."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

import pytest

from tests.conversation import FEED_FAILED, shipped_engine
from tests.review.stored_calls import BEGUN, call_of
from triage.cli import main
from triage.dialogue.events import RepairReported
from triage.store import open_store
from triage.store.record import StoredEvent

Captured = pytest.CaptureFixture[str]
SESSION = "20261125-0931-aaaa"
FEED = "receiver_vapor_feed_failed"
CONTENT = shipped_engine().content
CALL = call_of(FEED_FAILED)


def keep(path: Path, events: Sequence[StoredEvent], session_id: str = SESSION) -> None:
    spoken = [(item.speaker, item.event) for item in events]
    with open_store(path) as opened:
        opened.append(session_id, spoken, CONTENT.version, BEGUN, 0)


def run(capsys: Captured, store: Path, *options: str, code: int = 0) -> tuple[str, str]:
    command = ["outcome", SESSION, "--store", str(store), "--color", "never"]
    assert main([*command, *options]) == code
    out, err = capsys.readouterr()
    return " ".join(out.replace("┃", " ").split()), " ".join(err.split())


def reports(store: Path) -> list[RepairReported]:
    with open_store(store) as opened:
        events = [item.event for item in opened.events(SESSION)]
    return [event for event in events if isinstance(event, RepairReported)]


class Answers:
    """A person who says one line after the other; Ctrl-C and the end of input are types."""

    def __init__(self, *lines: str | type[BaseException]) -> None:
        self._lines = list(lines)
        self.offers: list[Sequence[str]] = []

    def __call__(self, offers: Sequence[str]) -> str:
        self.offers.append(offers)
        line = self._lines.pop(0)
        if isinstance(line, str):
            return line
        raise line
