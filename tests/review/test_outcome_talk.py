"""`triage outcome` at a terminal: one thing at a time, and nothing kept that was not confirmed."""

from __future__ import annotations

import sys
from collections.abc import Callable
from io import StringIO
from pathlib import Path

import pytest

from tests.review.outcomes import (
    CALL,
    CONTENT,
    FEED,
    SESSION,
    Answers,
    Captured,
    keep,
    reports,
    run,
)
from triage.console.look import ChatConsole, Look
from triage.dialogue.case import fold
from triage.dialogue.events import FOUND_OTHER, RepairReported
from triage.review.outcome_talk import RepairTalk
from triage.review.questions import Left, Questions

pytestmark = pytest.mark.usefixtures("own_folders")


@pytest.fixture
def store(tmp_path: Path) -> Path:
    path = tmp_path / "calls.sqlite3"
    keep(path, CALL)
    return path


def talked(*lines: str | type[BaseException]) -> tuple[RepairReported, str, Answers]:
    """Return the report of a conversation, what it showed, and who answered."""
    stream, person = StringIO(), Answers(*lines)
    case = fold(item.event for item in CALL)
    questions = Questions(ChatConsole(Look(), stream, 80), person)
    talk = RepairTalk(CONTENT, case, questions, "Bo")
    report = talk.hold()
    assert not person._lines, "every line was asked for"
    return report, " ".join(stream.getvalue().replace("│", " ").replace("┃", " ").split()), person


def test_one_thing_at_a_time_and_shown_back_before_it_counts() -> None:
    report, text, person = talked(
        "1", "1, 2 and door latch", "yes",
        "75 F", "", "", "170 F at 6 min", "39 psi", "unknown", "done",
        "runs again", "yes",
    )  # fmt: skip
    assert report.found == (FEED,)
    assert report.parts == (
        "receiver vapor regulator", "receiver vapor solenoid valve with coil", "door latch",
    )  # fmt: skip
    assert report.had_two_good_cycles is True
    assert [item["reading"] for item in report.readings] == [
        "ambient_air_temperature", "discharge_line_temperature", "freeze_suction_pressure_late",
    ]  # fmt: skip
    assert (report.note, report.reported_by) == ("runs again", "Bo")
    assert text.index("What was found?") < text.index("Which parts") < text.index("two good cycles")
    assert "Enter keeps that of the call, 70 °F (21.1 °C)." in text
    assert "To see: 1" in text
    assert "Filter drier was not replaced; it is replaced together with" in text
    assert text.index("REPAIR REPORTED") < text.index("Is that so?")
    assert "filter drier" in person.offers[1]


@pytest.mark.parametrize("last", ["no", "nope", "back"])
def test_no_at_the_end_goes_back_to_the_last_question(last: str) -> None:
    report, text, _ = talked("1", "all", "yes", "done", "", "maybe", last, "mended note", "yes")
    assert (report.found, report.note) == ((FEED,), "mended note")
    assert text.count("Is that so?") == 3


@pytest.mark.parametrize("leaving", [KeyboardInterrupt, EOFError])
def test_leaving_in_the_middle_is_passed_on(leaving: type[BaseException]) -> None:
    with pytest.raises(leaving):
        talked("1", leaving)


@pytest.mark.parametrize("before", [(), ("1",), ("1", "all", "yes", "done", "")])
def test_stop_leaves_at_any_question(before: tuple[str, ...]) -> None:
    with pytest.raises(Left):
        talked(*before, "stop")


def test_reading_is_heard_as_in_the_call() -> None:
    report, text, _ = talked(
        "1", "all", "yes",
        "", "discharge line 168 F at 6 min", "yes", "", "",
        "gremlins", "late suction 39 psi at 12 min and harvest suction 60 psi at 1 min",
        "late suction 39 psi at 12 min and harvest suction 128 psi at 1 min", "yes",
        "done", "", "yes",
    )  # fmt: skip
    kept = {item["reading"]: item for item in report.readings}
    assert set(kept) == {
        "discharge_line_temperature", "freeze_suction_pressure_late", "harvest_suction_pressure",
    }  # fmt: skip
    assert kept["harvest_suction_pressure"]["minute_s"] == 60.0
    assert kept["harvest_suction_pressure"]["verdict"] == "within"
    assert text.count("Heard: ") == 3


def test_reading_named_along_with_its_value_is_taken_at_its_own_question() -> None:
    report, _, _ = talked(
        "1", "all", "yes", "", "", "", "",
        "unknown", "unknown", "unknown", "harvest suction 128 psi at 1 min", "done", "", "yes",
    )  # fmt: skip
    assert [item["reading"] for item in report.readings] == ["harvest_suction_pressure"]


def test_question_mark_is_help_and_no_part() -> None:
    report, text, _ = talked("?", "1", "?", "all", "?", "yes", "done", "", "yes")
    assert report.parts == CONTENT.causes[FEED].replace_together
    assert "Parts not listed are kept in your words." in text


def test_new_value_is_taken_where_a_reading_is_doubted() -> None:
    report, text, _ = talked(
        "1", "all", "yes", "", "", "", "4000 F", "purple", "5000 F", "168 F", "done", "", "yes"
    )
    assert [item["value"] for item in report.readings] == [pytest.approx(348.7, abs=0.1)]
    assert text.count("Did you read it so?") == 3


def test_part_of_a_name_is_asked_about_with_the_concluded_cause_first() -> None:
    report, text, _ = talked("airflow", "no", "coil", "9", "2", "none", "yes", "done", "", "yes")
    assert report.found == ("harvest_coil_open",)
    assert 'Did you mean "Too little air through the condenser"?' in text
    assert 'Which one is "coil"?' in text
    report, _, _ = talked("feeds", "1", "all", "yes", "done", "", "yes")
    assert report.found == (FEED,)


def test_all_parts_where_none_are_on_file_is_asked_again() -> None:
    report, text, _ = talked("no power to the coil", "all", "fuse", "yes", "done", "", "yes")
    assert report.parts == ("fuse",)
    assert "No parts are on file" in text


def test_back_asks_the_step_before_again_and_help_says_what_can_be_typed() -> None:
    report, text, _ = talked(
        "help", "2", "back", "no power to the coil", "none", "back", "fuse", "unknown",
        "back", "no", "done", "back", "done", "", "back", "mended a wire", "yes",
    )  # fmt: skip
    assert report.found == ("harvest_coil_unpowered",)
    assert report.parts == ("fuse",)
    assert report.had_two_good_cycles is False
    assert report.note == "mended a wire"
    assert "Any cause on file can be named" in text
    assert "REPAIR REPORTED: it did NOT hold" in text


def test_another_fault_wants_a_note_and_a_slip_is_asked_about() -> None:
    report, text, _ = talked(
        "unknown", "99", "gremlins", "no fault, 1", "something else",
        "unknown", "dunno", "", "", "", "4000 F", "no", "purple", "168 F", "done",
        "", "door latch", "yes",
    )  # fmt: skip
    assert (report.found, report.note) == ((FOUND_OTHER,), "door latch")
    assert [item["reading"] for item in report.readings] == ["discharge_line_temperature"]
    for words in (
        "Without what was found there is nothing to report yet.",
        "There is no number 99 here.",
        'No cause is called "gremlins".',
        "stands by itself",
        "Did you read it so?",
        '"purple" cannot be read',
        "wants a note",
    ):
        assert words in text


def test_first_offered_is_what_was_concluded_then_what_the_readings_ranked() -> None:
    _, _, person = talked("1", "all", "yes", "done", "", "yes")
    names = list(person.offers[0])
    assert names[0] == CONTENT.causes[FEED].name
    assert names[-2:] == ["no fault", "another fault"]
    assert len(names) == len(set(names)) == 7


class Terminal(StringIO):
    """A screen with somebody before it."""

    def isatty(self) -> bool:
        """Return that it is one."""
        return True


At = Callable[..., None]


@pytest.fixture
def answers(monkeypatch: pytest.MonkeyPatch) -> At:
    """Return what makes the program run at a terminal where these lines are typed."""

    def at_terminal(*lines: str | type[BaseException]) -> None:
        monkeypatch.setattr("sys.stdin", Terminal())
        monkeypatch.setattr(sys.stdout, "isatty", lambda: True, raising=False)
        monkeypatch.setattr("triage.review.questions.line_asker", lambda _: Answers(*lines))

    return at_terminal


def test_what_options_leave_unclear_is_asked_at_a_terminal(
    store: Path, capsys: Captured, answers: At
) -> None:
    odd = ("--found", "feeds", "--reading", "freeze_suction_pressure_late=999 psi at 12 min")
    answers("1", "39 psi at 12 min")
    out, _ = run(capsys, store, *odd)
    assert 'Which one is "feeds"?' in out
    assert "999 psig is more than" in out
    assert "WITHIN" in out
    assert reports(store)[0].found == (FEED,)
    answers("1", "no")
    out, _ = run(capsys, store, *odd, code=1)
    assert out.endswith("Nothing was kept.")
    answers("none")
    _, err = run(capsys, store, *odd, code=2)
    assert "did you mean" in err
    assert len(reports(store)) == 1


def test_call_without_an_end_is_asked_about_at_a_terminal(
    tmp_path: Path, capsys: Captured, answers: At
) -> None:
    store = tmp_path / "left.sqlite3"
    keep(store, CALL[:9])
    answers("no")
    out, _ = run(capsys, store, "--found", FEED, code=1)
    assert "This call has not come to its end" in out
    assert reports(store) == []
    answers("yes")
    run(capsys, store, "--found", FEED)
    answers("yes", "no fault", "none", "yes", "", "yes")
    run(capsys, store)
    assert len(reports(store)) == 2


def test_nothing_is_kept_at_a_terminal_before_it_was_confirmed(
    store: Path, capsys: Captured, answers: At
) -> None:
    for lines, code in (
        (("1", "all", "yes", "done", "", "no", "stop"), 1),
        (("1", "all", EOFError), 1),
        (("1", KeyboardInterrupt), 130),
    ):
        answers(*lines)
        out, _ = run(capsys, store, code=code)
        assert out.endswith("Nothing was kept.")
        assert reports(store) == []
    answers("1", "all", "yes", "done", "", "yes")
    out, _ = run(capsys, store)
    assert out.endswith(f"Kept with session {SESSION}.")
    assert out.count("REPAIR REPORTED") == 1
    assert len(reports(store)) == 1
