"""The figures: rates and times held against reference libraries, and how they are told.

Sources: `scipy.stats` for the interval of Wilson (1927), `numpy.quantile` for quantiles of number 7
of Hyndman and Fan (1996).
"""

from __future__ import annotations

import json
import math
import re
import xml.etree.ElementTree as ET
from collections.abc import Sequence
from datetime import UTC, date, datetime, timedelta
from itertools import pairwise
from pathlib import Path

import numpy
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import binomtest

from tests.conversation import TREE, shipped_engine
from tests.strategies import FIXED
from triage.cli import main
from triage.dialogue.events import (
    Asked,
    Concluded,
    Event,
    Identified,
    RepairReported,
    Started,
    Stopped,
)
from triage.review.figures import Report, report_of
from triage.review.measures import Share, Times
from triage.store import open_store
from triage.store.listing import SEVERAL_FAULTS
from triage.store.tallies import (
    BIN_S,
    EndCount,
    Figures,
    OutcomeCount,
    QuestionCount,
    StopCount,
    TimeCount,
    time_bin,
)
from triage.tree.content import Side

Captured = pytest.CaptureFixture[str]
CONTENT = shipped_engine().content
NOW = datetime(2026, 11, 2, 9, 0, tzinfo=UTC)
FEED, SUPPLY = "receiver_vapor_feed_failed", "coil_supply_low"

pytestmark = pytest.mark.usefixtures("own_folders")


def reported(*outcomes: OutcomeCount) -> Report:
    return report_of(Figures(None, None, outcomes=outcomes), CONTENT)


def outcome(
    found: str, cause: str, calls: int = 1, result: str = "recommended", ending: str = "",
    likeliest: str = "", had_two_good_cycles: bool | None = None, desk: str = "Ana",
) -> OutcomeCount:  # fmt: skip
    return OutcomeCount(found, result, ending, cause, likeliest, had_two_good_cycles, desk, calls)


# Rates and times against reference libraries.


@FIXED
@given(st.integers(1, 5000), st.data())
def test_the_interval_is_that_of_wilson(of: int, data: st.DataObject) -> None:
    count = data.draw(st.integers(0, of))
    low, high = Share(count, of).interval() or (-1.0, -1.0)
    expected = binomtest(count, of).proportion_ci(confidence_level=0.95, method="wilson")
    assert low == pytest.approx(expected.low, abs=1e-12)
    assert high == pytest.approx(expected.high, abs=1e-12)
    assert 0.0 <= low <= count / of <= high <= 1.0


def test_there_is_no_share_of_nothing() -> None:
    nothing = Share()
    assert nothing.fraction is None
    assert nothing.interval() is None
    assert nothing.to_data(with_interval=True) == {
        "count": 0, "of": 0, "share": None, "share_low_95": None, "share_high_95": None,
    }  # fmt: skip


@FIXED
@given(
    st.lists(st.floats(0.0, 14_000.0), min_size=1, max_size=200),
    st.sampled_from((0.0, 0.25, 0.5, 0.75, 0.9, 1.0)),
)
def test_a_quantile_is_at_most_half_a_bin_from_that_of_the_times_themselves(
    seconds: list[float], fraction: float
) -> None:
    times = Times.of((time_bin(one), 1) for one in seconds)
    told = times.quantile_s(fraction)
    assert told == pytest.approx(float(numpy.quantile(seconds, fraction)), abs=BIN_S / 2 + 1e-6)


@FIXED
@given(st.lists(st.tuples(st.integers(0, 1440), st.integers(1, 9)), min_size=1, max_size=60))
def test_wide_bins_hold_every_call_once_side_by_side(counts: list[tuple[int, int]]) -> None:
    times = Times.of(counts)
    bins = times.wide_bins()
    assert sum(calls for _, _, calls in bins) == times.calls
    assert len(bins) <= 16
    assert all(end == begin for (_, end, _), (begin, _, _) in pairwise(bins))
    first, last = min(times.bins) * BIN_S, max(times.bins) * BIN_S
    assert bins[0][0] <= first
    assert last < bins[-1][1]
    assert all(math.isfinite(end) for _, end, _ in bins[:-1])


# Conclusion against outcome.


def test_what_was_found_is_held_against_the_cause_named() -> None:
    report = reported(
        outcome(FEED, FEED, 7, had_two_good_cycles=True),
        outcome(SUPPLY, FEED, 2, had_two_good_cycles=False),
        outcome("other_fault", FEED, 1),
        outcome(SEVERAL_FAULTS, FEED, 3),
    )
    (row,) = report.rows
    assert row.agreement == Share(7, 10)
    assert row.unclear == 3
    assert row.good_cycles == Share(7, 9)
    assert dict(row.found) == {FEED: 7, SEVERAL_FAULTS: 3, SUPPLY: 2, "other_fault": 1}
    assert report.cycles_not_watched == 4


def test_no_fault_found_is_what_a_sound_machine_shows() -> None:
    sound = next(cause.id for cause in CONTENT.causes.values() if cause.side is Side.NONE)
    (row,) = reported(outcome("no_fault_found", sound)).rows
    assert row.agreement == Share(1, 1)
    (row,) = reported(outcome("no_fault_found", FEED)).rows
    assert row.agreement == Share(0, 1)


def test_an_ending_of_two_causes_is_right_with_either() -> None:
    ending = next(
        ending for ending in CONTENT.trees[TREE].endings.values() if len(ending.causes) == 2
    )
    first, second = ending.causes
    found = [outcome(cause, first, ending=ending.id) for cause in (first, second)]
    (row,) = reported(*found).rows
    assert row.agreement == Share(2, 2)
    (row,) = reported(outcome(second, first, ending="another")).rows
    assert row.agreement == Share(0, 1)


def test_an_escalated_call_is_held_against_what_was_ranked_likeliest() -> None:
    report = reported(
        outcome(FEED, "", result="escalated", likeliest=FEED),
        outcome(FEED, "", result="escalated", likeliest=SUPPLY),
        outcome(FEED, "", result="escalated"),
    )
    shares = {row.cause: row.agreement for row in report.rows}
    assert shares == {FEED: Share(1, 1), SUPPLY: Share(0, 1), "": Share()}


def test_desks_that_differ_in_case_alone_are_one() -> None:
    report = report_of(
        Figures(
            None, None,
            times=(
                TimeCount("Ana", "recommended", 6, 2),
                TimeCount("ana", "", -1, 1),
                TimeCount("", "escalated", 3, 1),
            ),
            outcomes=(outcome(FEED, FEED, desk="ANA"),),
        ),
        CONTENT,
    )  # fmt: skip
    ana, nobody = report.desks
    assert (ana.name, ana.calls, ana.ended, ana.agreement) == ("Ana", 3, 2, Share(1, 1))
    assert ana.times.quantile_s(0.5) == 65.0
    assert nobody.name == "(no name, or purged)"


def test_where_calls_stop_names_the_stage_by_todays_content() -> None:
    stops = (
        StopCount("open", "opening.machine", 2), StopCount("parked", "opening.machine", 1),
        StopCount("open", "caution:hot_parts", 9), StopCount("open", "gone_long_ago", 1),
        StopCount("open", "", 1),
    )  # fmt: skip
    report = report_of(Figures(None, None, stops=stops), CONTENT)
    assert [(stop.node, stop.stage, stop.all) for stop in report.stops] == [
        ("caution:hot_parts", "caution", 9), ("opening.machine", "machine", 3),
        ("", "before the first question", 1), ("gone_long_ago", "not in today's content", 1),
    ]  # fmt: skip


def test_the_worst_time_sink_comes_first() -> None:
    questions = (
        QuestionCount("opening.machine", 10, 1, 2, 3, 100.0),
        QuestionCount("freeze.freeze_time", 2, 0, 0, 0, 900.0),
        QuestionCount("", 0, 0, 0, 0, 5.0),
    )
    report = report_of(Figures(None, None, questions=questions), CONTENT)
    assert [item.counts.node for item in report.questions] == [
        "freeze.freeze_time",
        "opening.machine",
    ]
    assert [item.mean_s for item in report.questions] == [450.0, 10.0]


@pytest.mark.parametrize(
    ("since", "until", "cut"),
    [
        (datetime(2026, 3, 1, tzinfo=UTC), datetime(2026, 4, 1, tzinfo=UTC), ()),
        (datetime(2026, 3, 2, tzinfo=UTC), datetime(2026, 4, 1, tzinfo=UTC), ("2026-03",)),
        (None, datetime(2026, 4, 1, 0, 0, 1, tzinfo=UTC), ("2026-04",)),
        (datetime(2026, 3, 2, tzinfo=UTC), datetime(2026, 3, 9, tzinfo=UTC), ("2026-03",)),
        (None, None, ()),
    ],
)
def test_a_month_cut_by_the_span_is_named(
    since: datetime | None, until: datetime | None, cut: Sequence[str]
) -> None:
    assert report_of(Figures(since, until), CONTENT).cut_months == tuple(cut)


def test_a_repeat_share_is_of_the_calls_that_name_their_machine() -> None:
    ends = (
        EndCount("recommended", FEED, "agree", identified=4, calls=9),
        EndCount("recommended", FEED, "disagree", identified=1, calls=1),
        EndCount("escalated", "", "open", identified=0, calls=5),
    )
    report = report_of(Figures(None, None, ends=ends), CONTENT)
    assert report.repeats == Share(0, 5)
    assert dict(report.repeats_of) == {("recommended", FEED): Share(0, 5)}
    assert dict(report.path_and_ranking) == {"agree": 9, "open": 5, "disagree": 1}


# The command.


def keep(store: Path, number: int, at: datetime, *events: Event) -> None:
    with open_store(store) as opened:
        for place, event in enumerate(events):
            opened.append(
                f"{at:%Y%m%d-%H%M}-{number:04x}", [("program", event)], CONTENT.version,
                at + timedelta(seconds=40 * place), place,
            )  # fmt: skip


@pytest.fixture
def store(tmp_path: Path) -> Path:
    """A record of a few calls of every kind."""
    path = tmp_path / "calls.sqlite3"
    desks = ("Mira Oduya", "Ana [bold]\x1b[31mBrandt", "大野 さくら", "")
    for number in range(12):
        at = NOW + timedelta(days=number)
        started = Started(TREE, CONTENT.version, "agent", "us", 0.0, desks[number % 4])
        asked = (started, Identified(f"GL-{number % 3}"), Asked("machine"), Asked("freeze_time"))
        match number % 4:
            case 0:
                keep(path, number, at, *asked, Stopped("stop"))
            case 1:
                keep(path, number, at, *asked, Concluded("e", "escalated", (), agreement="open"))
            case _:
                told = Concluded("e", "recommended", (FEED,), agreement="agree")
                found = RepairReported((FEED if number % 3 else SUPPLY,), (), True)
                keep(path, number, at, *asked, told, found)
    return path


def run(capsys: Captured, *arguments: str | Path) -> str:
    assert main(["log", "figures", *map(str, arguments)]) == 0
    out, err = capsys.readouterr()
    assert err == ""
    return out


def keys_of(data: object, depth: int = 2) -> object:
    if not isinstance(data, dict) or depth == 0:
        return None
    return {key: keys_of(value, depth - 1) for key, value in data.items()}


def test_a_record_without_calls_is_one_sentence(
    tmp_path: Path, capsys: Captured, monkeypatch: pytest.MonkeyPatch
) -> None:
    assert run(capsys) == "No call is stored yet; triage call takes one.\n"
    path = tmp_path / "empty.sqlite3"
    open_store(path).close()
    out = run(capsys, "--store", path, "--since", "2026-01-01", "--until", "2026-02-01")
    assert out.startswith("No stored call started from 2026-01-01 00:00 before 2026-02-01")
    assert main(["log", "figures", "--store", str(tmp_path / "none.sqlite3")]) == 4


def test_the_object_has_the_same_keys_with_and_without_calls(store: Path, capsys: Captured) -> None:
    full = json.loads(run(capsys, "--store", store, "--json"))
    none = json.loads(run(capsys, "--store", store, "--json", "--until", "2020-01-01"))
    for data in (full, none):
        # What depends on what is there are counts by result, cause or word.
        for part in ("reported_by_result", "agreement_by_result"):
            data["outcomes"][part] = None
        data["path_and_ranking"] = None
    assert keys_of(full) == keys_of(none)
    assert (full["calls"], none["calls"]) == (12, 0)
    assert full["volumes"]["by_end"] == {
        "recommended": 6, "withheld": 0, "escalated": 3, "open": 0, "stopped": 3, "parked": 0,
    }  # fmt: skip
    assert none["time_to_conclusion"]["median_s"] is None


@pytest.mark.parametrize("columns", [40, 80, 120])
def test_no_line_is_wider_than_the_screen_and_no_name_gets_through_as_markup(
    store: Path, capsys: Captured, monkeypatch: pytest.MonkeyPatch, columns: int
) -> None:
    monkeypatch.setenv("COLUMNS", str(columns))
    out = run(capsys, "--store", store)
    assert max(len(line.rstrip()) for line in out.splitlines()) <= columns
    assert "\x1b" not in out
    assert "Ana [bold]" in out
    assert "█" in out


def test_plain_figures_are_words_without_bars(store: Path, capsys: Captured) -> None:
    out = run(capsys, "--store", store, "--plain")
    assert "█" not in out
    assert "recommended: 6 (50%)" in " ".join(out.split())


def test_every_share_stands_beside_its_counts(store: Path, capsys: Captured) -> None:
    out = " ".join(run(capsys, "--store", store, "--plain").split())
    for share in re.finditer(r"\d+%(?! confidence|\))", out):
        before = out[: share.start()]
        assert re.search(r"(\d+ of \d+, |\d+, |\d+ \()[<>]?$", before), before[-40:]


def test_a_desk_of_one_call_has_one_call(store: Path, capsys: Captured) -> None:
    out = run(capsys, "--store", store, "--plain", "--until", "2026-11-03")
    assert "Mira Oduya: 1 call, 0 ended" in " ".join(out.split())


def test_a_span_that_cuts_a_month_says_so(store: Path, capsys: Captured) -> None:
    out = " ".join(run(capsys, "--store", store, "--since", "2026-11-05").split())
    assert "9 calls, started 2026-11-05 to 2026-11-13 (UTC)." in out
    assert "all of 2026-11 is in them" in out
    out = " ".join(run(capsys, "--store", store, "--since", "2026-11-01").split())
    assert "whole months" not in out


@pytest.mark.parametrize(
    "arguments", [("--since", "soon"), ("--since", "2026-02-01", "--until", "2026-02-01")]
)
def test_a_span_that_is_none_is_refused(
    store: Path, capsys: Captured, arguments: Sequence[str]
) -> None:
    assert main(["log", "figures", "--store", str(store), *arguments]) == 2
    out, err = capsys.readouterr()
    assert out == ""
    assert "--" in err


def test_images_are_pictures_with_labelled_axes_and_always_the_same(
    store: Path, tmp_path: Path, capsys: Captured
) -> None:
    import matplotlib.image

    for name in ("one", "two"):
        out = run(capsys, "--store", store, "--images", tmp_path / name)
        assert "16 images" in " ".join(out.split())
    found = sorted(path.name for path in (tmp_path / "one").iterdir())
    names = (
        "agreement", "desks", "outcomes", "questions", "repeats", "stops", "time_to_conclusion",
        "volumes",
    )  # fmt: skip
    assert found == sorted(f"{name}.{form}" for name in names for form in ("png", "svg"))
    for name in names:
        picture = matplotlib.image.imread(tmp_path / "one" / f"{name}.png")
        assert picture.shape[0] > 300
        assert len(numpy.unique(picture)) > 5, "something is drawn"
        root = ET.parse(tmp_path / "one" / f"{name}.svg").getroot()
        words = " ".join("".join(element.itertext()) for element in root.iter() if element.text)
        assert re.search(r"\[(count|min|h|%)\]", words), f"{name} names its unit"
        assert "(UTC)" in words
    for name in found:
        one, two = ((tmp_path / folder / name).read_bytes() for folder in ("one", "two"))
        assert one == two, name


def test_a_folder_that_cannot_be_made_is_named(
    store: Path, tmp_path: Path, capsys: Captured
) -> None:
    (tmp_path / "file").write_text("")
    where = tmp_path / "file" / "plots"
    assert main(["log", "figures", "--store", str(store), "--images", str(where)]) == 2
    assert "file" in capsys.readouterr().err


def test_a_call_without_an_outcome_draws_what_there_is(tmp_path: Path, capsys: Captured) -> None:
    path = tmp_path / "one.sqlite3"
    keep(path, 1, NOW, Started(TREE, CONTENT.version, "agent", "us", 0.0, "Ana"), Asked("machine"))
    out = run(capsys, "--store", path, "--images", tmp_path / "plots")
    assert "No call has ended yet." in out
    drawn = {item.stem for item in (tmp_path / "plots").iterdir()}
    assert drawn == {"volumes", "stops"}


def test_periods_are_named_as_dates() -> None:
    from triage.review.figures import period_name
    from triage.store.tallies import Period

    assert period_name(date(2026, 11, 23), Period.WEEK) == "2026-11-23"
    assert period_name(date(2026, 1, 1), Period.YEAR) == "2026"
