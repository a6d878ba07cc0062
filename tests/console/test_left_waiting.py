"""What an outage left waiting: every command that reads the record writes it, two name the rest."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.store.samples import CONTENT, NOW, SESSION
from tests.store.waiting_lines import PLACE, ROW, spooled
from triage.cli import main
from triage.console.left_waiting import tell_of_others
from triage.dialogue.events import Noted, Said
from triage.store.open import open_store
from triage.store.waiting import WaitingLine, is_anything_waiting, place_of
from triage.store.where import waiting_folder

pytestmark = pytest.mark.usefixtures("own_folders")


@pytest.fixture
def store(tmp_path: Path) -> str:
    """A store with the beginning of a call whose next line waits."""
    path = str(tmp_path / "calls.db")
    with open_store(path) as opened:
        opened.append(SESSION, ROW[0].spoken, ROW[0].content_version, ROW[0].recorded_at, 0)
    spooled(waiting_folder(), ROW[1:2], place_of(path))
    return path


@pytest.mark.parametrize(
    "command", ["parked", "log list", "log verify", "log figures", "tree priors"]
)
def test_a_command_that_reads_the_record_writes_what_waits_for_it(
    store: str, command: str, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main([*command.split(), "--store", store]) == 0
    told = f"triage: The record is back: 1 line of session {SESSION} written.\n"
    assert capsys.readouterr().err == told
    assert not is_anything_waiting(waiting_folder())


@pytest.mark.parametrize(
    ("command", "tells"), [("parked", True), ("log verify", True), ("log list", False)]
)
def test_what_waits_for_other_records_is_told_in_one_sentence_where_one_looks_for_it(
    store: str, command: str, tells: bool, capsys: pytest.CaptureFixture[str]
) -> None:
    spooled(waiting_folder(), ROW, PLACE)
    assert main([*command.split(), "--store", store]) == 0
    told = capsys.readouterr().err.splitlines()[1:]
    assert told == [
        "triage: Not for this record, but waiting on this computer: 5 lines for "
        f"{PLACE.location}; a command with --store and its address writes them."
    ] * tells  # fmt: skip
    assert is_anything_waiting(waiting_folder())


def test_no_word_where_nothing_waits_for_another_record(
    store: str, capsys: pytest.CaptureFixture[str]
) -> None:
    tell_of_others(store)
    assert capsys.readouterr().err == ""


def test_lines_another_desk_left_no_place_for_are_told_as_they_were_typed(
    store: str, capsys: pytest.CaptureFixture[str]
) -> None:
    main(["parked", "--store", store])
    capsys.readouterr()
    with open_store(store) as opened:
        length = len(opened.events(SESSION))
        opened.append(SESSION, [("agent", Noted("I went on"))], CONTENT, NOW, length)
    lines = [
        WaitingLine(SESSION, length + at, NOW, CONTENT, (("caller", Said(text)),))
        for at, text in enumerate(("70 F\x1b[31m", "even"))
    ]
    spooled(waiting_folder(), lines, place_of(store))
    assert main(["parked", "--store", store]) == 0
    why, typed = capsys.readouterr().err.splitlines()
    assert "2 lines typed here could not be added" in why
    assert typed == f'triage: Typed here, not in session {SESSION}: "70 F[31m"; "even".'
