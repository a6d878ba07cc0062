"""`triage log audit` at the command line: findings, the table by rule, exit codes."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from tests.conversation import FEED_FAILED
from tests.review.stored_calls import call_of
from tests.review.test_replay_command import OLD, keep
from triage.cli import main
from triage.review.audit import RULES

Captured = pytest.CaptureFixture[str]
CLEAN = {**FEED_FAILED, "ice_pattern": "even"}
TWICE = {**FEED_FAILED, "freeze_time": ("14 h", "yes")}

pytestmark = pytest.mark.usefixtures("own_folders")


@pytest.fixture
def store(tmp_path: Path) -> Path:
    return tmp_path / "calls.sqlite3"


def run(*arguments: str | Path) -> int:
    return main(["log", "audit", *map(str, arguments)])


# Rules that go by today's date would turn these calls stale.
DATELESS = [f"--rule={rule.id}" for rule in RULES if rule.id not in ("no_outcome", "left_open")]


def test_a_clean_record_ends_with_0(store: Path, capsys: Captured) -> None:
    keep(store, "20261125-0931-aaaa", call_of(CLEAN))
    assert run("--store", store, *DATELESS) == 0
    assert "1 call audited: 1 clean, 0 with findings." in capsys.readouterr().out


def test_a_finding_says_what_happened_when_and_at_which_event(
    store: Path, capsys: Captured
) -> None:
    keep(store, "20261125-0931-aaaa", call_of(CLEAN))
    stored = call_of(TWICE)
    keep(store, "20261125-1531-bbbb", stored)
    assert run("--store", store, *DATELESS) == 1
    out = " ".join(capsys.readouterr().out.split())
    event = next(item for item in stored if item.data.get("reading") == "freeze_time")
    at = event.recorded_at[:19].replace("T", " ")
    assert f"{at} event {event.sequence} implausible_accepted" in out
    assert "Freeze time counts on a yes to: " in out
    assert "20261125-0931-aaaa" not in out
    assert "implausible_accepted judgement 1 1" in out
    assert "2 calls audited: 1 clean, 1 with findings." in out


def test_one_rule_alone_is_held(store: Path, capsys: Captured) -> None:
    keep(store, "20261125-1531-bbbb", call_of(TWICE))
    assert run("--store", store, "--rule", "gate_kept") == 0
    assert run("--store", store, "--rule", "implausible_accepted") == 1
    capsys.readouterr()


def test_a_rule_that_is_none_is_told_with_the_nearest(capsys: Captured) -> None:
    assert run("--rule", "gatekept") == 2
    assert 'did you mean "gate_kept"?' in capsys.readouterr().err


def test_the_rules_are_listed_with_their_reasons(capsys: Captured) -> None:
    assert run("--rules") == 0
    out = " ".join(capsys.readouterr().out.split())
    for rule in RULES:
        assert rule.id in out
        assert rule.reason in out
    assert run("--rules", "--json", "--rule", "gate_kept") == 0
    (listed,) = json.loads(capsys.readouterr().out)["rules"]
    assert listed["rule"] == "gate_kept"


KEYS = {
    "content_version", "audited_at", "calls", "clean", "with_findings", "unread", "rules",
    "sessions",
}  # fmt: skip


def test_json_is_one_object_with_the_same_keys_always(store: Path, capsys: Captured) -> None:
    assert run("--json") == 0  # no call was ever stored
    assert set(json.loads(capsys.readouterr().out)) == KEYS
    keep(store, "20261125-1531-bbbb", OLD)
    assert run("--store", store, "--json", "--rule", "gate_kept") == 1
    told = json.loads(capsys.readouterr().out)
    assert set(told) == KEYS
    ((finding,), (rule,)) = (told["sessions"][0]["findings"], told["rules"])
    assert finding["event"] == len(OLD)
    assert (rule["calls"], rule["findings"]) == (1, 1)


def test_a_record_that_is_not_there_is_no_clean_one(tmp_path: Path, capsys: Captured) -> None:
    assert run("--store", tmp_path / "none.sqlite3") == 4
    assert "none.sqlite3" in capsys.readouterr().err
