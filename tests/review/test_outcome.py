"""`triage outcome` by options: what the repair found goes behind the call."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from tests.conversation import TREE
from tests.review.outcomes import CALL, CONTENT, FEED, SESSION, Captured, keep, reports, run
from tests.review.stored_calls import BEGUN
from triage.cli import main
from triage.console.telling import Telling
from triage.dialogue.case import fold
from triage.dialogue.events import Event, RepairReported, Stopped
from triage.review.export.outcome_words import outcome_rows
from triage.review.outcome import SPEAKER
from triage.store import open_store
from triage.store.record import StoredEvent
from triage.store.sql import Store

pytestmark = pytest.mark.usefixtures("own_folders")


@pytest.fixture
def store(tmp_path: Path) -> Path:
    path = tmp_path / "calls.sqlite3"
    keep(path, CALL)
    return path


def test_report_is_kept_behind_the_call_and_shown_with_gauges_and_the_agreement(
    store: Path, capsys: Captured
) -> None:
    out, err = run(
        capsys, store,
        "--found", "vapor feed", "--part", "regulator and solenoid", "--part", "filter drier",
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
        assert opened.confirmed_outcomes() == {TREE: {FEED: 1}}
    assert (summary.outcome, summary.had_two_good_cycles) == (FEED, True)


def test_repair_that_did_not_hold_says_how_to_leave_the_machine(
    store: Path, capsys: Captured
) -> None:
    out, _ = run(capsys, store, "--found", FEED, "--part", "filter drier", "--good-cycles", "no")
    assert "REPAIR REPORTED: it did NOT hold" in out
    assert "they are replaced together with filter drier." in out
    assert "The repair did not hold, because two good cycles did not follow." in out
    assert "tagged, until the cause is found." in out
    assert "until both parts are replaced" not in out
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
        assert opened.confirmed_outcomes() == {TREE: {"harvest_coil_open": 1}}
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
    _, err = run(capsys, store, "--found", "no fault", code=2)
    assert f"end it first with: triage resume {SESSION}" in err
    assert "--although-open" in err
    _, err = run(capsys, store, "--found", "no fault", "--json", code=2)
    assert "--although-open" in err
    assert reports(store) == []
    out, _ = run(capsys, store, "--found", "no fault", "--although-open")
    assert "No fault was found, so nothing was repaired." in out
    assert "The call has not come to its end; the repair found" in out
    assert reports(store)[0].found == ("no_fault_found",)


def test_json_tells_all_of_it_in_units_with_the_same_keys(store: Path, capsys: Captured) -> None:
    readings = ("harvest_suction_pressure=4", "coil_resistance=OL", "harvest_time=unknown")
    options = [word for reading in readings for word in ("--reading", reading)]
    out, _ = run(capsys, store, "--json", "--units", "si", "--found", FEED, *options)
    told = json.loads(out)
    assert set(told) == {
        "session_id", "found", "parts", "had_two_good_cycles", "readings", "note", "reported_by",
        "concluded", "comparison", "held", "missing_parts", "what_now",
        "takes_the_place_of_an_earlier_report", "found_other_than_concluded", "because",
    }  # fmt: skip
    assert (told["held"], told["comparison"]) == ("did_not_hold", "as_concluded")
    low, coil, timed = told["readings"]
    assert (low["value"], low["unit"], low["verdict"]) == (4.0, "bar", "below")
    assert (low["band"]["unit"], low["unit_assumed"]) == ("bar", "bar")
    assert (low["minute_assumed"], low["only_just_outside"]) == (True, False)
    assert coil["unit_assumed"] is None
    assert len(told["because"]) == 2
    assert (coil["value"], coil["verdict"]) == ("open", "above")
    assert (timed["value"], timed["verdict"]) == (None, "unknown")
    run(capsys, store, "--json", "--found", "no fault")


def test_reading_that_cannot_well_be_true_is_kept_only_where_that_is_said(
    store: Path, capsys: Captured
) -> None:
    options = ("--found", FEED, "--reading", "freeze_suction_pressure_late=999 psi at 20 min")
    for more in ((), ("--json",)):
        out, err = run(capsys, store, *options, *more, code=2)
        assert out == ""
        assert "freeze_suction_pressure_late: 999 psig is more than" in err
        assert "(limit " in err
        assert "--accept-odd-readings if it was read so" in err
    assert reports(store) == []
    _, err = run(capsys, store, *options, "--accept-odd-readings")
    assert "kept as given: freeze_suction_pressure_late: " in err
    assert reports(store)[0].readings[0]["verdict"] == "above"


def test_unit_and_minute_that_were_made_up_are_told(store: Path, capsys: Captured) -> None:
    out, _ = run(capsys, store, "--found", FEED, "--reading", "harvest_suction_pressure=120")
    assert "taken as minute 1. No unit was given: taken as psig." in out
    out, _ = run(
        capsys, store, "--found", FEED, "--reading", "harvest_suction_pressure=120 psi at 1 min"
    )
    assert "taken as" not in out


def test_one_reading_just_outside_does_not_undo_two_good_cycles(
    store: Path, capsys: Captured
) -> None:
    just = ("--found", FEED, "--reading", "harvest_suction_pressure=116 psi at 1 min")
    out, _ = run(capsys, store, *just, "--good-cycles", "yes")
    assert "REPAIR REPORTED: it held" in out
    assert "only just outside" in out
    name = CONTENT.readings["harvest_suction_pressure"].name
    assert f"with one reading just outside: {name} is just below its band. Look at it" in out
    out, _ = run(capsys, store, *just)
    assert "REPAIR REPORTED: not proven" in out
    out, _ = run(
        capsys, store, "--found", FEED, "--good-cycles", "yes",
        "--reading", "harvest_suction_pressure=100 psi at 1 min",
    )  # fmt: skip
    assert "it did NOT hold" in out
    assert f"because {name} is below its band." in out


def test_cycles_not_told_of_are_not_called_unwatched(store: Path, capsys: Captured) -> None:
    out, _ = run(capsys, store, "--found", FEED)
    assert "Two cycles: not reported." in out
    assert "Nobody watched" not in out


def test_no_fault_is_no_repair_that_held_or_did_not(store: Path, capsys: Captured) -> None:
    for found in ("no_fault_found", "healthy"):
        for cycles in ("yes", "no", "unknown"):
            out, _ = run(capsys, store, "--found", found, "--good-cycles", cycles)
            assert "REPAIR REPORTED: no fault found" in out
            assert "No fault was found, so nothing was repaired." in out
            assert " hold" not in out
            assert " held" not in out
            assert "Parts replaced" not in out


def test_all_parts_of_a_repair_that_has_none_on_file_is_told(store: Path, capsys: Captured) -> None:
    _, err = run(capsys, store, "--found", "harvest_coil_unpowered", "--part", "all", code=2)
    assert "no parts are on file that the repair of " in err
    assert reports(store) == []


@pytest.mark.parametrize(
    ("options", "said"),
    [
        ((), "say what the repair found: --found CAUSE"),
        (("--json",), "say what the repair found: --found CAUSE"),
        (("--part", "coil"), "say what the repair found"),
        (("--found", "gremlin"), 'no cause is called "gremlin"'),
        (("--found", "harvest_coil_opne"), "did you mean harvest_coil_open (Harvest valve"),
        (("--found", "coil"), "or coil_supply_low"),
        (("--found", "harvest_valve"), "did you mean harvest_coil_unpowered ("),
        (("--found", "fan"), "did you mean condenser_airflow_poor ("),
        (("--found", "leak"), "or refrigerant_undercharge (Too little refrigerant (a leak))"),
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


def test_export_tells_whether_it_held(store: Path) -> None:
    case = fold(item.event for item in CALL)
    for cycles, words in (
        (True, "held"), (False, "did not hold, because two good cycles did not follow"),
        (None, "not proven"),
    ):  # fmt: skip
        report = RepairReported((FEED,), had_two_good_cycles=cycles)
        rows = dict(outcome_rows(report, case.concluded, Telling(CONTENT, case)))
        assert rows["The repair"] == words
    assert rows["Two good cycles followed"] == "not reported"
    report = RepairReported(("no_fault_found",))
    rows = dict(outcome_rows(report, case.concluded, Telling(CONTENT, case)))
    assert rows["The repair"] == "no fault found, so nothing was repaired"


def test_two_reports_of_one_call_do_not_part_the_chain(store: Path, capsys: Captured) -> None:
    for _ in range(3):
        run(capsys, store, "--found", FEED)
    with open_store(store) as opened:
        stored = opened.events(SESSION)  # verified as it is read
    last: list[Event] = [item.event for item in stored[-3:]]
    assert all(isinstance(event, RepairReported) for event in last)
    assert stored[-1].speaker == SPEAKER
