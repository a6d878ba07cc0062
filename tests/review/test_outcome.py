"""`triage outcome`: what the repair found goes behind the call, by options or asked for."""

from __future__ import annotations

import json
import sys
from collections.abc import Sequence
from io import StringIO
from pathlib import Path

import pytest

from tests.conversation import FEED_FAILED, shipped_engine
from tests.review.stored_calls import BEGUN, call_of
from triage.cli import main
from triage.console.look import ChatConsole, Look
from triage.dialogue.case import fold
from triage.dialogue.events import FOUND_OTHER, Event, RepairReported, Stopped
from triage.review.outcome import SPEAKER
from triage.review.outcome_talk import RepairTalk
from triage.store import open_store
from triage.store.record import StoredEvent
from triage.store.sql import Store

Captured = pytest.CaptureFixture[str]
SESSION = "20261125-0931-aaaa"
FEED = "receiver_vapor_feed_failed"
CONTENT = shipped_engine().content
CALL = call_of(FEED_FAILED)

pytestmark = pytest.mark.usefixtures("own_folders")


@pytest.fixture
def store(tmp_path: Path) -> Path:
    path = tmp_path / "calls.sqlite3"
    keep(path, CALL)
    return path


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


# By options.


def test_report_is_kept_behind_the_call_and_shown_with_gauges_and_the_agreement(
    store: Path, capsys: Captured
) -> None:
    out, err = run(
        capsys, store,
        "--found", "the vapor feed", "--part", "regulator and solenoid", "--part", "filter drier",
        "--good-cycles", "yes", "--reading", "harvest_suction_pressure=120 psi at 1 min",
        "--reading", "ambient_air_temperature=75 F", "--note", "quiet [bold]again", "--by", "Bo",
    )  # fmt: skip
    assert err == ""
    for words in (
        "REPAIR REPORTED: it held",
        'The repair found what was concluded: "Receiver vapor feed not working',
        "Parts replaced: regulator, solenoid, filter drier.",
        "Two good cycles followed.",
        "Suction pressure in the harvest 120 psig (8.3 bar), at minute 1.",
        "━◆━",
        "WITHIN 117 to 139 psig",
        'Note: "quiet [bold]again"',
        "Reported by Bo.",
        f"Kept with session {SESSION}.",
    ):
        assert words in out
    assert "not replaced" not in out
    (report,) = reports(store)
    assert report.found == (FEED,)
    assert report.had_two_good_cycles is True
    assert report.readings[0]["verdict"] == "within"
    with open_store(store) as opened:
        summary = opened.summary(SESSION)
        assert opened.confirmed_outcomes() == {FEED: 1}
    assert (summary.outcome, summary.had_two_good_cycles) == (FEED, True)


def test_repair_that_did_not_hold_says_how_to_leave_the_machine(
    store: Path, capsys: Captured
) -> None:
    out, _ = run(capsys, store, "--found", FEED, "--part", "filter drier", "--good-cycles", "no")
    assert "REPAIR REPORTED: it did NOT hold" in out
    assert "they are replaced together with filter drier." in out
    assert "switched off at the disconnect and tagged" in out
    assert "Call the desk back" in out
    with open_store(store) as opened:
        assert opened.confirmed_outcomes() == {}


def test_later_report_takes_the_place_of_the_first_and_both_stay_on_record(
    store: Path, capsys: Captured
) -> None:
    run(capsys, store, "--found", FEED)
    out, _ = run(capsys, store, "--found", "harvest_coil_open", "--good-cycles", "yes")
    assert 'found other than concluded: "Harvest valve coil burned out' in out
    assert "It takes the place of the report before; both stay on record." in out
    assert [report.found for report in reports(store)] == [(FEED,), ("harvest_coil_open",)]
    with open_store(store) as opened:
        assert opened.confirmed_outcomes() == {"harvest_coil_open": 1}
    assert main(["log", "show", SESSION, "--store", str(store)]) == 0
    shown = capsys.readouterr().out
    assert shown.count("REPAIR REPORTED") == 2
    assert main(["log", "show", SESSION, "--json", "--store", str(store)]) == 0
    assert json.loads(capsys.readouterr().out)["outcome"]["found"] == ["harvest_coil_open"]


def test_call_that_was_left_before_its_end_is_reported_on_and_told_so(
    tmp_path: Path, capsys: Captured
) -> None:
    store = tmp_path / "left.sqlite3"
    keep(store, CALL[:9])
    with open_store(store) as opened:
        opened.append(SESSION, [("agent", Stopped())], CONTENT.version, BEGUN, 9)
    out, _ = run(capsys, store, "--found", "no fault")
    assert "The call has not come to its end; the repair found" in out
    assert reports(store)[0].found == ("no_fault_found",)


def test_json_tells_all_of_it_in_units_with_the_same_keys(store: Path, capsys: Captured) -> None:
    readings = ("harvest_suction_pressure=4 bar", "coil_resistance=OL", "harvest_time=unknown")
    options = [word for reading in readings for word in ("--reading", reading)]
    out, _ = run(capsys, store, "--json", "--units", "si", "--found", FEED, *options)
    told = json.loads(out)
    assert set(told) == {
        "session_id", "found", "parts", "had_two_good_cycles", "readings", "note", "reported_by",
        "concluded", "comparison", "held", "missing_parts", "what_now",
        "takes_the_place_of_an_earlier_report",
    }  # fmt: skip
    assert (told["held"], told["comparison"]) == ("did_not_hold", "as_concluded")
    low, coil, timed = told["readings"]
    assert (low["value"], low["unit"], low["verdict"]) == (4.0, "bar", "below")
    assert low["band"]["unit"] == "bar"
    assert (coil["value"], coil["verdict"]) == ("open", "above")
    assert (timed["value"], timed["verdict"]) == (None, "unknown")
    run(capsys, store, "--json", "--found", "no fault")


def test_reading_that_cannot_well_be_true_is_kept_and_asked_about(
    store: Path, capsys: Captured
) -> None:
    _, err = run(capsys, store, "--found", FEED, "--reading", "harvest_suction_pressure=2700 psi")
    assert "harvest_suction_pressure is kept as given, but: " in err
    assert "Did you read it so?" in err


@pytest.mark.parametrize(
    ("options", "said"),
    [
        ((), "say what the repair found: --found CAUSE"),
        (("--json",), "say what the repair found: --found CAUSE"),
        (("--part", "coil"), "say what the repair found"),
        (("--found", "gremlin"), 'no cause is called "gremlin"'),
        (("--found", "harvest_coil_opne"), "did you mean harvest_coil_open (Harvest valve"),
        (("--found", "coil"), "or coil_supply_low"),
        (("--found", "other_fault"), "wants a note"),
        (("--found", "no fault", "--found", "coil_supply_low"), "stands by itself"),
        (("--found", FEED, "--reading", "harvest_tim=1:40"), 'did you mean "harvest_time"?'),
        (("--found", FEED, "--reading", "harvest_time"), "is no ID=VALUE"),
        (("--found", FEED, "--reading", "harvest_time=purple"), '"purple" cannot be read'),
        (("--found", "\x1b[31m"), 'no cause is called "[31m"'),
    ],
)
def test_what_cannot_be_used_is_told_and_nothing_is_kept(
    store: Path, capsys: Captured, options: tuple[str, ...], said: str
) -> None:
    out, err = run(capsys, store, *options, code=2)
    assert out == ""
    assert said in err
    assert reports(store) == []


def test_desk_that_added_meanwhile_is_told_and_the_report_is_not_kept(
    store: Path, capsys: Captured, monkeypatch: pytest.MonkeyPatch
) -> None:
    read = Store.events

    def and_then_somebody_adds(self: Store, session_id: str) -> list[StoredEvent]:
        stored = read(self, session_id)
        self.append(session_id, [("agent", Stopped())], CONTENT.version, BEGUN, len(stored))
        return stored

    monkeypatch.setattr(Store, "events", and_then_somebody_adds)
    out, err = run(capsys, store, "--found", FEED, code=4)
    monkeypatch.undo()
    assert out == ""
    assert "another desk has added to session" in err
    assert "report again" in err


def test_all_parts_are_those_the_repair_replaces_together(store: Path, capsys: Captured) -> None:
    out, _ = run(capsys, store, "--found", FEED, "--part", "all", "--part", "elbow")
    assert reports(store)[0].parts == (*CONTENT.causes[FEED].replace_together, "elbow")
    assert "not replaced" not in out


# Asked for at a terminal.


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


def talked(*lines: str | type[BaseException]) -> tuple[RepairReported | None, str, Answers]:
    """Return the report of a conversation, what it showed, and who answered."""
    stream, person = StringIO(), Answers(*lines)
    case = fold(item.event for item in CALL)
    talk = RepairTalk(CONTENT, case, ChatConsole(Look(), stream, 80), person, "Bo")
    report = talk.hold()
    assert not person._lines, "every line was asked for"
    return report, " ".join(stream.getvalue().replace("│", " ").replace("┃", " ").split()), person


def test_one_thing_at_a_time_and_shown_back_before_it_counts() -> None:
    report, text, person = talked(
        "1", "1, 2 and door latch", "yes",
        "75 F", "", "", "170 F at 6 min", "39 psi", "unknown", "done",
        "runs again", "yes",
    )  # fmt: skip
    assert report is not None
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


@pytest.mark.parametrize("last", ["no", "nope"])
def test_report_that_is_not_confirmed_is_none(last: str) -> None:
    assert talked("1", "all", "yes", "done", "", "maybe", last)[0] is None


@pytest.mark.parametrize("leaving", [KeyboardInterrupt, EOFError])
def test_leaving_in_the_middle_is_passed_on(leaving: type[BaseException]) -> None:
    with pytest.raises(leaving):
        talked("1", leaving)


def test_back_asks_the_step_before_again_and_help_says_what_can_be_typed() -> None:
    report, text, _ = talked(
        "help", "2", "back", "no power to the coil", "none", "back", "fuse", "unknown",
        "back", "no", "done", "back", "done", "", "back", "mended a wire", "yes",
    )  # fmt: skip
    assert report is not None
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
    assert report is not None
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
    _, _, person = talked("1", "all", "yes", "done", "", "no")
    names = list(person.offers[0])
    assert names[0] == CONTENT.causes[FEED].name
    assert names[-2:] == ["no fault", "another fault"]
    assert len(names) == len(set(names)) == 7


def test_nothing_is_kept_at_a_terminal_before_it_was_confirmed(
    store: Path, capsys: Captured, monkeypatch: pytest.MonkeyPatch
) -> None:
    class Terminal(StringIO):
        def isatty(self) -> bool:
            return True

    def answers(*lines: str | type[BaseException]) -> None:
        monkeypatch.setattr("triage.review.outcome_talk.line_asker", lambda _: Answers(*lines))

    monkeypatch.setattr("sys.stdin", Terminal())
    monkeypatch.setattr(sys.stdout, "isatty", lambda: True, raising=False)
    for lines, code in (
        (("1", "all", "yes", "done", "", "no"), 1),
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


def test_two_reports_of_one_call_do_not_part_the_chain(store: Path, capsys: Captured) -> None:
    for _ in range(3):
        run(capsys, store, "--found", FEED)
    with open_store(store) as opened:
        stored = opened.events(SESSION)  # verified as it is read
    last: list[Event] = [item.event for item in stored[-3:]]
    assert all(isinstance(event, RepairReported) for event in last)
    assert stored[-1].speaker == SPEAKER
