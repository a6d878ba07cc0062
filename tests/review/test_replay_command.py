"""`triage log replay` at the command line: what it prints, its exit code, many calls at once."""

from __future__ import annotations

import json
import shutil
import sqlite3
from collections.abc import Sequence
from datetime import datetime
from itertools import groupby
from pathlib import Path

import pytest

from tests.conversation import CONTENT_FOLDER, FEED_FAILED, shipped_engine
from tests.review.stored_calls import BEGUN, TURN, call_of, chained, demo_record
from triage.cli import main
from triage.dialogue.events import Answered, Asked, Concluded, RepairReported, Said, Started
from triage.review import replay_many as many
from triage.review.chosen import Chosen
from triage.store import open_store
from triage.store.listing import SessionSummary
from triage.store.record import StoredEvent

Captured = pytest.CaptureFixture[str]
VERSION = shipped_engine().content.version

pytestmark = pytest.mark.usefixtures("own_folders")


@pytest.fixture
def store(tmp_path: Path) -> Path:
    return tmp_path / "calls.sqlite3"


def keep(store: Path, session_id: str, stored: Sequence[StoredEvent]) -> None:
    """Put a call on record."""
    with open_store(store) as opened:
        length = 0
        for recorded_at, turn in groupby(stored, key=lambda item: item.recorded_at):
            said = list(turn)
            at, version = datetime.fromisoformat(recorded_at), said[0].content_version
            spoken = [(item.speaker, item.event) for item in said]
            opened.append(session_id, spoken, version, at, length)
            length += len(said)


OLD = chained(
    ("program", Started("will_not_release", "0ld", "agent", "us", 0.0, "Mira Oduya")),
    ("program", Asked("a_question_of_old")),
    ("agent", Said("62 psi")),
    ("agent", Answered("a_reading_of_old", "62 psi", 528_778.0)),
    ("program", Concluded("feed", "recommended", ("a_cause_of_old",), "both low")),
    version="0ld", begun=BEGUN + 500 * TURN,
)  # fmt: skip


def run(*arguments: str | Path) -> int:
    return main(["log", "replay", *map(str, arguments)])


def test_calls_that_go_the_same_way_end_with_0(store: Path, capsys: Captured) -> None:
    keep(store, "20261125-0931-aaaa", call_of(FEED_FAILED))
    assert run("--store", store) == 0
    out, err = capsys.readouterr()
    assert err == ""
    assert "1 call replayed through content " + VERSION[:12] in out
    assert "1 the same, 0 not" in out
    assert "None would end differently" in out


def test_a_call_that_differs_is_told_and_counted(store: Path, capsys: Captured) -> None:
    keep(store, "20261125-0931-aaaa", call_of(FEED_FAILED))
    keep(store, "20261125-1531-bbbb", OLD)
    assert run("--store", store) == 1
    out = " ".join(capsys.readouterr().out.split())
    assert "20261125-1531-bbbb" in out
    assert "20261125-0931-aaaa" not in out, "only what differs is shown one by one"
    assert "a_question_of_old" in out
    assert "recommended: a_cause_of_old" in out
    assert "1 would end differently" in out


def test_a_named_call_is_shown_even_if_it_is_the_same(store: Path, capsys: Captured) -> None:
    keep(store, "20261125-0931-aaaa", call_of(FEED_FAILED))
    keep(store, "20261125-1531-bbbb", OLD)
    assert run("aaaa", "--store", store) == 0
    assert "aaaa, started 2026-11-25 09:31 UTC: the same" in capsys.readouterr().out


KEYS = {
    "content_version", "compared", "calls", "same", "differing", "other_path", "other_conclusion",
    "other_ranking", "other_repair_verdict", "for_want_of_answers", "repairs", "not_replayed",
    "damaged", "conclusions", "sessions",
}  # fmt: skip


def test_json_is_one_object_with_the_same_keys_always(store: Path, capsys: Captured) -> None:
    assert run("--json") == 0  # no call was ever stored
    assert set(json.loads(capsys.readouterr().out)) == KEYS
    keep(store, "20261125-1531-bbbb", OLD)
    assert run("--store", store, "--json") == 1
    told = json.loads(capsys.readouterr().out)
    assert set(told) == KEYS
    (session,) = told["sessions"]
    assert session["parting"] == {
        "number": 1, "then": "a_question_of_old", "now": "opening.caller_qualification",
    }  # fmt: skip
    assert session["then"]["causes"] == ["a_cause_of_old"]
    assert "reading a_reading_of_old" in session["no_longer_in_content"]
    assert told["conclusions"][0]["calls"] == 1


def test_a_changed_tree_is_tried_on_the_record(
    store: Path, tmp_path: Path, capsys: Captured
) -> None:
    keep(store, "20261125-0931-aaaa", call_of(FEED_FAILED))
    trees = tmp_path / "trees"
    shutil.copytree(CONTENT_FOLDER, trees)
    readings = (trees / "readings.yaml").read_text(encoding="utf-8")
    changed = readings.replace("    name: freeze time\n", "    name: time of the freeze\n")
    assert changed != readings
    (trees / "readings.yaml").write_text(changed, encoding="utf-8")
    assert run("--store", store, "--trees", trees) == 0, "a name asks and decides nothing"
    out = capsys.readouterr().out
    assert VERSION[:12] not in out
    changed = readings.replace(
        "    name: freeze time\n", "    name: freeze time\n    cautions: [wet_floor]\n"
    )
    (trees / "readings.yaml").write_text(changed, encoding="utf-8")
    assert run("--store", store, "--trees", trees) == 1
    out = " ".join(capsys.readouterr().out.split())
    assert "now caution wet_floor before freeze.freeze_time" in out
    assert "None would end differently, 1 would ask or warn otherwise" in out


def test_a_damaged_call_is_named_beside_the_sound_ones(store: Path, capsys: Captured) -> None:
    keep(store, "20261125-0931-aaaa", OLD)
    keep(store, "20261125-1531-bbbb", call_of(FEED_FAILED))
    with sqlite3.connect(store) as connection:
        names = connection.execute("select name from sqlite_master where type = 'trigger'")
        for (name,) in names.fetchall():
            connection.execute(f'drop trigger "{name}"')
        connection.execute(
            "update triage_events set speaker = 'somebody' "
            "where session_id like '%aaaa' and sequence = 2"
        )
    assert run("--store", store) == 4
    out = capsys.readouterr().out
    assert "20261125-0931-aaaa" in out
    assert "NOT REPLAYED" in out
    assert "1 damaged" in " ".join(out.split())


def test_names_and_filters_do_not_go_together(store: Path, capsys: Captured) -> None:
    keep(store, "20261125-0931-aaaa", OLD)
    assert run("aaaa", "--agent", "Mira Oduya", "--store", store) == 2
    assert "do not go together" in capsys.readouterr().err


def test_a_name_where_nothing_was_ever_stored_is_told(capsys: Captured) -> None:
    assert run("aaaa") == 2
    assert "no call is stored yet" in capsys.readouterr().err


def test_what_a_record_holds_brings_no_control_characters(store: Path, capsys: Captured) -> None:
    odd = chained(
        ("program", Started("will_not_release", "0ld", "agent", "us")),
        ("program", Asked("[bold]x\x1b[31m")),
        ("program", Concluded("[red]\x1b]0;t\x07", "withheld", ("\x1b[2J",))),
        version="0ld",
    )  # fmt: skip
    keep(store, "20261125-0931-aaaa", odd)
    assert run("--store", store) == 1
    out = capsys.readouterr().out
    assert "\x1b" not in out
    assert "\x07" not in out
    assert "[bold]x" in out


def calls(count: int) -> list[Chosen]:
    names = ("08_owner_not_licensed_agent_us", "09_bartender_water_agent_si")  # quickly judged
    found: list[Chosen] = [
        (SessionSummary(f"s{number}"), list(demo_record(names[number % len(names)])))
        for number in range(count)
    ]
    found[3] = (SessionSummary("s3", fault="event 2 was changed"), [])
    found[5] = (SessionSummary("s5"), chained(("program", Started("gone", "0ld", "agent", "us"))))
    return found


def test_many_calls_come_back_in_order_from_all_cores_as_from_one(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    told: list[tuple[int, int | None]] = []
    chosen = calls(20)
    content = shipped_engine().content
    alone = list(many.replay_many(content, chosen, lambda *_: None))
    monkeypatch.setattr(many, "FEW", 4)
    monkeypatch.setattr(many, "FIRST_WINDOW", 4)
    monkeypatch.setattr(many, "WINDOW", 8)
    monkeypatch.setattr(many.os, "cpu_count", lambda: 2)
    together = list(many.replay_many(content, chosen, lambda *done: told.append(done)))
    assert together == alone
    assert [summary.session_id for summary, _ in together] == [f"s{n}" for n in range(20)]
    assert "damaged" in together[3][1].cannot
    assert "no tree is called" in together[5][1].cannot
    assert told[-1] == (20, 20)


def test_what_a_repair_found_is_held_against_then_and_now(store: Path, capsys: Captured) -> None:
    found = ("agent", RepairReported(("a_cause_of_old",), (), True))
    keep(store, "20261125-1531-bbbb", OLD)
    with open_store(store) as opened:
        later = BEGUN + 600 * TURN
        opened.append("20261125-1531-bbbb", [found], VERSION, later, len(OLD))
    keep(store, "20261125-0931-aaaa", call_of(FEED_FAILED))
    assert run("--store", store) == 1
    out = " ".join(capsys.readouterr().out.split())
    assert "1 not, of these 1 for want of answers" in out
    assert "Agrees with the repair: then 1 of 1, now 0 of 1." in out
    assert "repair found a_cause_of_old; it was concluded then and would NOT be now" in out
    assert run("--store", store, "--json") == 1
    told = json.loads(capsys.readouterr().out)
    assert told["repairs"] == {"reported": 1, "agreed_then": 1, "agree_now": 0}
    assert told["for_want_of_answers"] == 1
    assert told["sessions"][0]["repair"] == {
        "found": ["a_cause_of_old"], "agreed_then": True, "agrees_now": False,
    }  # fmt: skip
