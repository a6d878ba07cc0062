"""Results of drills: kept in a file of their own, read again, summed up."""

from __future__ import annotations

import json
import os
import stat
from dataclasses import asdict, replace
from pathlib import Path

import pytest

from tests.drill.calls import call_with, say
from triage.drill.debrief import debrief
from triage.drill.results import (
    Result,
    default_results_path,
    keep,
    make_ready,
    read_results,
    result_of,
)
from triage.drill.standing import is_of, standings
from triage.store.errors import StoreError, StoreFull, StoreUnreachable
from triage.store.where import default_store_path

SOME = Result(
    "2026-01-05T09:00:00+00:00", "Ana", 7, "easy", "gletsch_r500", "compressor_weak", 0.9, "right",
    ("compressor_weak",), ("freeze_time",), 30.0, 25.0, 1, 2, 0, "abc",
)  # fmt: skip


def test_a_drill_is_kept_and_read_again(tmp_path: Path) -> None:
    path = tmp_path / "a" / "b" / "drills.jsonl"
    call = call_with("compressor_weak")
    practice, _ = say(call, "license", "fan", "hint", "propose compressor_weak")
    result = result_of(debrief(call, practice), "Ana", SOME.at)
    keep(path, result)
    keep(path, SOME)
    assert read_results(path) == ([result, SOME], [])
    assert result.readings == ("caller_qualification", "condenser_fan_state")
    assert (result.hints, result.cautions_skipped, result.outcome) == (1, 1, "right")


def test_results_lie_beside_the_calls_and_are_the_owners_alone(
    own_folders: dict[str, str],
) -> None:
    path = default_results_path()
    assert path.parent == default_store_path().parent
    assert path != default_store_path()
    assert str(path).startswith(own_folders["XDG_DATA_HOME"])
    make_ready(path)
    assert stat.S_IMODE(path.stat().st_mode) == 0o600
    assert stat.S_IMODE(path.parent.stat().st_mode) == 0o700
    path.chmod(0o644)
    keep(path, SOME)
    assert stat.S_IMODE(path.stat().st_mode) == 0o600
    assert read_results(path) == ([SOME], [])


def test_no_file_holds_no_results(tmp_path: Path) -> None:
    assert read_results(tmp_path / "none.jsonl") == ([], [])


@pytest.mark.parametrize(
    ("line", "problem"),
    [
        (b"{", "no JSON"),
        (b"\xff\xfe", "no JSON"),
        (b"[1]", "no result"),
        (b"[" * 100_000, ""),
        (b'{"format": 2}', "format"),
        (b'{"format": 1}', "at is missing"),
        (json.dumps({"format": 1, **asdict(SOME), "minutes": "many"}).encode(), "minutes"),
        (json.dumps({"format": 1, **asdict(SOME), "seed": True}).encode(), "seed"),
        (json.dumps({"format": 1, **asdict(SOME), "proposed": [1]}).encode(), "proposed"),
        (json.dumps({"format": 1, **asdict(SOME), "outcome": "great"}).encode(), "outcome"),
        (json.dumps({"format": 1, **asdict(SOME), "minutes": float("nan")}).encode(), "bounds"),
        (json.dumps({"format": 1, **asdict(SOME), "hints": 10**30}).encode(), "bounds"),
    ],
)  # fmt: skip
def test_a_damaged_line_is_told_with_its_place_and_left_out(
    tmp_path: Path, line: bytes, problem: str
) -> None:
    path = tmp_path / "drills.jsonl"
    keep(path, SOME)
    with path.open("ab") as file:
        file.write(line + b"\n\n")
    keep(path, SOME)
    results, damaged = read_results(path)
    assert results == [SOME, SOME]
    assert [item.place for item in damaged] == [f"{path}:2"]
    assert problem in damaged[0].problem


def test_a_write_cut_short_spoils_no_later_line(tmp_path: Path) -> None:
    path = tmp_path / "drills.jsonl"
    path.write_bytes(b'{"format": 1, "at": "2026')
    keep(path, SOME)
    results, damaged = read_results(path)
    assert results == [SOME]
    assert len(damaged) == 1


def test_a_line_that_finds_no_room_is_told_with_the_result_in_it(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = tmp_path / "drills.jsonl"
    make_ready(path)
    monkeypatch.setattr(os, "write", lambda handle, data: len(data) // 2)
    with pytest.raises(StoreFull, match="compressor_weak"):
        keep(path, SOME)

    def refuse(handle: int, data: bytes) -> int:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(os, "write", refuse)
    with pytest.raises(StoreFull, match="No space left"):
        keep(path, SOME)


def test_a_folder_in_the_place_of_the_file_is_told(tmp_path: Path) -> None:
    with pytest.raises(StoreUnreachable):
        make_ready(tmp_path)
    with pytest.raises(StoreError):
        read_results(tmp_path)


# Summed up.


def drills(*right: bool, **more: object) -> list[Result]:
    """Return finished drills in order, each right or wrong."""
    return [
        replace(SOME, outcome="right" if is_right else "wrong", **more)  # type: ignore[arg-type]
        for is_right in right
    ]


def test_results_are_summed_up_for_each_trainee() -> None:
    second = replace(SOME, proposed=("compressor_weak", "leak"), minutes=20.0, level="hard")
    left = replace(SOME, outcome="unfinished", minutes=2.0, proposed=())
    bo = replace(SOME, trainee="Bo", outcome="given up", proposed=())
    ana, other = standings([SOME, bo, second, left, replace(SOME, trainee="ANA")])
    assert (ana.trainee, other.trainee) == ("ANA", "Bo")
    assert (ana.drills, ana.unfinished, ana.tally.finished, ana.tally.right) == (4, 1, 3, 3)
    assert ana.right_first == 2
    assert ana.tally.minutes_over == pytest.approx((5.0 - 5.0 + 5.0) / 3)
    assert other.tally.minutes_over is None
    assert ana.cautions_skipped == 2.0
    assert ana.too_early == 1.0
    assert {level: tally.right for level, tally in ana.by_level.items()} == {"easy": 2, "hard": 1}
    assert (other.tally.right, other.most_missed[0].cause) == (0, "compressor_weak")


def test_right_counts_apart_from_right_and_safe_and_from_found_without_proof() -> None:
    lucky = replace(SOME, minutes=1.0, model_readings=20)
    safe = replace(SOME, cautions_skipped=0)
    (standing,) = standings([SOME, safe, lucky, *drills(False, cautions_skipped=0, minutes=500.0)])
    assert (standing.tally.right, standing.tally.right_and_safe) == (3, 1)
    assert standing.without_proof == 1
    assert standing.tally.minutes_over == pytest.approx(5.0)


def test_a_line_from_before_the_models_readings_were_kept_is_read(tmp_path: Path) -> None:
    path = tmp_path / "drills.jsonl"
    data = {"format": 1, **asdict(SOME)}
    del data["model_readings"]
    path.write_text(json.dumps(data) + "\n")
    assert read_results(path) == ([SOME], [])


def test_a_trend_lays_the_first_half_beside_the_last() -> None:
    assert standings(drills(False, True, True))[0].trend is None
    (standing,) = standings(drills(False, False, False, True, True))
    assert standing.trend is not None
    first, last = standing.trend
    assert (first.right, first.finished) == (0, 2)
    assert (last.right, last.finished) == (2, 2)


def test_the_causes_most_missed_come_with_how_often_they_were_there() -> None:
    (standing,) = standings(
        [
            *drills(True, False, cause="compressor_weak"),
            *drills(False, False, False, cause="coil_supply_low"),
            *drills(True, cause="healthy"),
        ]
    )
    assert [(item.cause, item.missed, item.of) for item in standing.most_missed] == [
        ("coil_supply_low", 3, 3), ("compressor_weak", 1, 2),
    ]  # fmt: skip


def test_names_of_marks_alone_are_kept_apart() -> None:
    results = [replace(SOME, trainee=name) for name in ("!!", "??", "", "ana", "Ana ")]
    assert [item.drills for item in standings(results)] == [1, 1, 1, 2]
    assert is_of(results[0], "!!")
    assert not is_of(results[0], "??")
