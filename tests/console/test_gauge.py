"""The one-line gauge."""

from __future__ import annotations

from itertools import pairwise

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.console.conftest import Shown
from triage.console.gauge import LEAST_WIDTH, WIDTH, Gauge
from triage.console.look import Look

ASCII = Look(is_ascii=True)


def test_value_in_the_middle_of_the_band_stands_in_the_middle_of_the_gauge(shown: Shown) -> None:
    assert shown(Gauge(70.0, 60.0, 80.0), look=ASCII) == ".........[====O====].........\n"


def test_gauge_uses_line_characters_where_the_encoding_has_them(shown: Shown) -> None:
    assert shown(Gauge(70.0, 60.0, 80.0)) == "·········┣━━━━◆━━━━┫·········\n"


def test_value_one_band_width_below_stands_outside_on_the_left(shown: Shown) -> None:
    assert shown(Gauge(50.0, 60.0, 80.0), look=ASCII) == ".....O...[=========].........\n"


@pytest.mark.parametrize(("value", "line"), [
    (-500.0, "<........[=========].........\n"),
    (900.0, ".........[=========]........>\n"),
    (float("inf"), ".........[=========]........>\n"),
])  # fmt: skip
def test_value_off_the_scale_is_an_arrow_at_that_end(shown: Shown, value: float, line: str) -> None:
    assert shown(Gauge(value, 60.0, 80.0), look=ASCII) == line


@pytest.mark.parametrize(("value", "line"), [
    (5.0, ".........[====O====].........\n"),
    (4.9, "<........[=========].........\n"),
    (5.1, ".........[=========]........>\n"),
])  # fmt: skip
def test_band_without_width_still_tells_below_within_and_above(
    shown: Shown, value: float, line: str
) -> None:
    assert shown(Gauge(value, 5.0, 5.0), look=ASCII) == line


def test_band_without_an_end_still_tells_below_and_within(shown: Shown) -> None:
    open_end = float("inf")
    assert shown(Gauge(4.0, 5.0, open_end), look=ASCII) == "<........[=========].........\n"
    assert shown(Gauge(6.0, 5.0, open_end), look=ASCII) == ".........[====O====].........\n"
    assert shown(Gauge(open_end, 5.0, open_end), look=ASCII) == ".........[====O====].........\n"


def test_gauge_shrinks_to_a_narrow_screen(shown: Shown) -> None:
    line = shown(Gauge(70.0, 60.0, 80.0), width=LEAST_WIDTH, look=ASCII)
    assert line == ".....[=O=].....\n"


def test_gauge_is_left_out_where_it_would_say_nothing(shown: Shown) -> None:
    assert shown(Gauge(70.0, 60.0, 80.0), width=LEAST_WIDTH - 1, look=ASCII) == ""


@settings(derandomize=True, max_examples=200)
@given(
    value=st.floats(-1e6, 1e6),
    low=st.floats(-1e5, 1e5),
    span=st.floats(0.0, 1e5),
    width=st.integers(LEAST_WIDTH, WIDTH),
)
def test_picture_never_contradicts_the_verdict(
    value: float, low: float, span: float, width: int
) -> None:
    high = low + span
    line = Gauge(value, low, high).drawn(width, is_ascii=True).plain
    assert len(line) == width
    mark = next(i for i, sign in enumerate(line) if sign in "O<>")
    if value < low:
        assert mark < line.index("[")
    elif value > high:
        assert mark > line.index("]")
    else:
        assert line.index("[") < mark < line.index("]")


def test_mark_never_moves_left_as_the_value_rises() -> None:
    marks = [
        next(
            i
            for i, sign in enumerate(Gauge(value / 2.0, 60.0, 80.0).drawn(is_ascii=True).plain)
            if sign in "O<>"
        )
        for value in range(300)
    ]
    assert all(left <= right for left, right in pairwise(marks))
