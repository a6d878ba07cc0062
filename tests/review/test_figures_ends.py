"""Where calls went without a recommendation, and which cautions were refused at which desk."""

from __future__ import annotations

import json
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from tests.conversation import TREE, shipped_engine
from triage.cli import main
from triage.dialogue.events import (
    Acknowledged,
    Asked,
    Concluded,
    Event,
    Identified,
    Refused,
    Started,
)
from triage.review.figures import report_of
from triage.review.measures import Share
from triage.store import open_store
from triage.store.tallies import CautionCount, EndCount, EndingCount, Figures, FollowedCount

Captured = pytest.CaptureFixture[str]
CONTENT = shipped_engine().content
NOW = datetime(2026, 11, 2, 9, 0, tzinfo=UTC)
FEED = "receiver_vapor_feed_failed"

pytestmark = pytest.mark.usefixtures("own_folders")


def test_cautions_refused_are_told_by_caution_and_desk() -> None:
    report = report_of(
        Figures(
            None, None,
            cautions=(
                CautionCount("Eve", "caution:wet_floor", 10, 2),
                CautionCount("EVE", "caution:hot_parts", 5, 0),
                CautionCount("Hal", "caution:wet_floor", 30, 1),
                CautionCount("", "caution:wet_floor", 1, 0),
            ),
        ),
        CONTENT,
    )  # fmt: skip
    wet, hot = report.cautions
    assert (wet.node, wet.refused, hot.refused) == ("caution:wet_floor", Share(3, 41), Share(0, 5))
    assert dict(wet.desks) == {
        "Eve": Share(2, 10), "Hal": Share(1, 30), "(no name, or purged)": Share(0, 1),
    }  # fmt: skip
    assert dict(report.refused_at) == {
        "Eve": Share(2, 15), "Hal": Share(1, 30), "(no name, or purged)": Share(0, 1),
    }  # fmt: skip


def test_ends_without_a_recommendation_are_counted_by_ending() -> None:
    report = report_of(
        Figures(
            None, None,
            endings=(
                EndingCount("escalated", "freeze.freeze_not_proven", "", 3),
                EndingCount("escalated", "gone", "", 4),
                EndingCount("withheld", "harvest.feed_confirmed", FEED, 2),
            ),
        ),
        CONTENT,
    )  # fmt: skip
    ends = report.without_repair
    assert list(ends.escalated.items()) == [("gone", 4), ("freeze.freeze_not_proven", 3)]
    assert ends.reasons == {"freeze.freeze_not_proven": "The freeze is not proven sound."}
    assert dict(ends.withheld) == {("harvest.feed_confirmed", FEED): 2}


@pytest.mark.parametrize(
    ("since", "until", "months"),
    [
        (None, None, ""),
        (datetime(2026, 3, 2, tzinfo=UTC), datetime(2026, 3, 9, tzinfo=UTC), "2026-03"),
        (datetime(2026, 3, 30, tzinfo=UTC), datetime(2026, 4, 6, tzinfo=UTC), "2026-03 to 2026-04"),
        (datetime(2026, 3, 1, tzinfo=UTC), datetime(2026, 4, 1, tzinfo=UTC), "2026-03"),
        (datetime(2026, 3, 2, tzinfo=UTC), None, "2026-03 on"),
        (None, datetime(2026, 4, 1, tzinfo=UTC), "up to 2026-03"),
    ],
)
def test_the_months_that_questions_are_counted_over(
    since: datetime | None, until: datetime | None, months: str
) -> None:
    assert report_of(Figures(since, until), CONTENT).months == months


# The command.


def keep(store: Path, number: int, *events: Event) -> None:
    at = NOW + timedelta(days=number)
    with open_store(store) as opened:
        for place, event in enumerate(events):
            opened.append(
                f"{at:%Y%m%d-%H%M}-{number:04x}", [("agent", event)], CONTENT.version,
                at + timedelta(seconds=40 * place), place,
            )  # fmt: skip


@pytest.fixture
def store(tmp_path: Path) -> Path:
    """Three calls: one escalated, one withheld, one recommended; two desks."""
    path = tmp_path / "calls.sqlite3"

    def started(desk: str) -> tuple[Event, ...]:
        return Started(TREE, CONTENT.version, "agent", "us", 0.0, desk), Identified("GL-1")

    wet = Asked("caution:wet_floor@freeze_time")
    keep(path, 0, *started("Eve"), wet, Refused("wet_floor", "no"),
         Concluded("freeze.freeze_not_proven", "escalated", ()))  # fmt: skip
    keep(path, 1, *started("Eve"), Asked("caution:wet_floor@gate"), Refused("wet_floor", "no", "s"),
         Concluded("harvest.feed_confirmed", "withheld", (FEED,)))  # fmt: skip
    keep(path, 2, *started("Hal"), wet, Acknowledged("wet_floor", "yes"),
         Concluded("harvest.feed_confirmed", "recommended", (FEED,)))  # fmt: skip
    return path


def run(capsys: Captured, *arguments: str | Path) -> str:
    assert main(["log", "figures", *map(str, arguments)]) == 0
    return " ".join(capsys.readouterr().out.split())


@pytest.mark.parametrize("look", [(), ("--plain",)])
def test_the_screen_tells_where_calls_went_without_a_recommendation(
    store: Path, capsys: Captured, look: tuple[str, ...]
) -> None:
    out = run(capsys, "--store", store, *look)
    assert "Escalated, by ending; 1 of 3, 33% of calls" in out
    assert "The freeze is not proven sound: 1 of 1, 100%" in out
    assert f"feed_confirmed, {FEED}: 1 of 1, 100%" in out
    assert "wet_floor: 2 of 3, 67%" in out
    assert "refused at: Eve 2 of 2" in out
    assert "1 other desk: 0 of 1, 0%" in out
    assert "refused 2 of 3" in out
    assert "withheld 1 (50%)" in out


def test_the_object_tells_it_too(store: Path, capsys: Captured) -> None:
    told = json.loads(run(capsys, "--store", store, "--json"))
    assert told["escalated_by_ending"] == [
        {"ending": "freeze.freeze_not_proven", "because": "The freeze is not proven sound.",
         "count": 1, "of": 1, "share": 1.0},
    ]  # fmt: skip
    assert told["withheld_by_ending"][0]["cause"] == FEED
    (caution,) = told["cautions"]["by_caution"]
    assert caution["refused"]["count"] == 2
    assert [item["desk"] for item in caution["by_desk"]] == ["Eve", "Hal"]
    (node,) = [item for item in told["questions"]["by_node"] if item["stage"] == "caution"]
    assert (node["asked"], node["refused"]) == (3, 2)


def test_a_week_is_told_with_the_months_its_questions_are_of(store: Path, capsys: Captured) -> None:
    out = run(capsys, "--store", store, "--since", "2026-11-02", "--until", "2026-11-04")
    assert "QUESTIONS, IN ALL OF 2026-11" in out
    assert "CAUTIONS REFUSED, IN ALL OF 2026-11" in out
    assert "IN ALL OF" not in run(capsys, "--store", store)


def test_repeats_of_every_end_are_told_so_that_they_add_up(store: Path, capsys: Captured) -> None:
    out = run(capsys, "--store", store, "--plain")
    assert "followed 2 of 3, 67%" in out
    assert f"recommended {FEED}: 0 of 1, 0%" in out


def test_purged_calls_are_told_to_be_left_out_of_the_repeats(store: Path, capsys: Captured) -> None:
    assert "purged call" not in run(capsys, "--store", store)
    with open_store(store) as opened:
        opened.purge(NOW + timedelta(days=1, hours=-1), "Ana", "old", NOW + timedelta(days=9))
    assert "1 purged call has no number and is left out." in run(capsys, "--store", store)
    assert "1 purged call" in run(capsys, "--store", store, "--since", "2026-11-01")
    assert "purged call" not in run(capsys, "--store", store, "--since", "2026-11-03")


def test_a_repeat_share_without_repeats_is_kept() -> None:
    ends = (EndCount("recommended", FEED, "agree", 4, 4), EndCount("withheld", FEED, "agree", 2, 2))
    followed = (FollowedCount("recommended", FEED, 1),)
    report = report_of(Figures(None, None, ends=ends, followed=followed), CONTENT)
    assert list(report.repeats_of.values()) == [Share(1, 4), Share(0, 2)]


def test_images_are_in_the_bins_and_months_of_the_screen(
    store: Path, tmp_path: Path, capsys: Captured
) -> None:
    images = tmp_path / "plots"
    span = ("--since", "2026-11-02", "--until", "2026-11-04")
    told = json.loads(run(capsys, "--store", store, *span, "--images", images, "--json"))
    first = told["time_to_conclusion"]["histogram"][0]
    minutes = (first["below_s"] - first["from_s"]) / 60.0
    assert f"each {minutes:g} min" in (images / "time_to_conclusion.svg").read_text("utf-8")
    questions = (images / "questions.svg").read_text("utf-8")
    assert "all that was asked in 2026-11 (UTC)" in questions


def test_long_calls_are_in_the_same_bins_in_the_image(tmp_path: Path, capsys: Captured) -> None:
    path = tmp_path / "long.sqlite3"
    started = Started(TREE, CONTENT.version, "agent", "us", 0.0, "Eve")
    end = Concluded("harvest.feed_confirmed", "recommended", (FEED,))
    for number in range(20):
        keep(path, number, started, *[Asked("machine")] * (number * 10), end)
    told = json.loads(run(capsys, "--store", path, "--images", tmp_path / "plots", "--json"))
    first = told["time_to_conclusion"]["histogram"][0]
    minutes = (first["below_s"] - first["from_s"]) / 60.0
    drawn = (tmp_path / "plots" / "time_to_conclusion.svg").read_text("utf-8")
    assert f"each {minutes:g} min" in drawn
