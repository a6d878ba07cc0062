"""Splines reproduce what they must and invert exactly."""

import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from triage.physics.interpolation import Curve, Surface, slopes_at_nodes


def cubic(x: float) -> float:
    return 2.0 - 3.0 * x + 0.5 * x**2 + 0.25 * x**3


def test_a_curve_reproduces_a_cubic_everywhere() -> None:
    curve = Curve([cubic(float(i)) for i in range(9)])
    for step in range(81):
        x = step / 10.0
        assert curve.at(x) == pytest.approx(cubic(x), abs=1e-10)


def test_a_surface_reproduces_a_product_of_cubics_everywhere() -> None:
    surface = Surface([[cubic(float(i)) * cubic(float(j)) for j in range(6)] for i in range(7)])
    for step in range(61):
        x, y = step / 10.0, step / 12.0
        assert surface.at(x, y) == pytest.approx(cubic(x) * cubic(y), rel=1e-9, abs=1e-8)


def test_a_curve_has_no_kink_at_its_nodes() -> None:
    curve = Curve([math.exp(0.3 * i) for i in range(10)])
    for node in range(1, 9):
        before = (curve.at(node) - curve.at(node - 1e-6)) / 1e-6
        after = (curve.at(node + 1e-6) - curve.at(node)) / 1e-6
        assert before == pytest.approx(after, rel=1e-4)


def test_slopes_of_a_straight_line_are_its_rise() -> None:
    assert slopes_at_nodes([1.0, 3.0, 5.0, 7.0]) == pytest.approx([2.0] * 4)


@settings(derandomize=True, max_examples=100, deadline=None)
@given(st.floats(0.0, 9.0))
def test_the_inverse_of_a_rising_curve_returns_where_it_came_from(x: float) -> None:
    curve = Curve([math.log(1.0 + i) for i in range(10)])
    assert curve.coordinate_of(curve.at(x)) == pytest.approx(x, abs=1e-9)


@settings(derandomize=True, max_examples=100, deadline=None)
@given(st.floats(0.0, 6.0), st.floats(0.0, 8.0))
def test_the_second_coordinate_of_a_surface_inverts_it(x: float, y: float) -> None:
    surface = Surface(
        [[math.sqrt(1.0 + i) + 2.0 * math.log1p(j) for j in range(9)] for i in range(7)]
    )
    found = surface.second_coordinate_of(x, surface.at(x, y))
    if found is None:  # the last bit may carry a value on the rim past it
        assert y == pytest.approx(0.0, abs=1e-9) or y == pytest.approx(8.0, abs=1e-9)
    else:
        assert found == pytest.approx(y, abs=1e-8)


def test_a_value_off_the_surface_has_no_second_coordinate() -> None:
    surface = Surface([[float(j) for j in range(5)] for _ in range(5)])
    assert surface.second_coordinate_of(2.5, -0.1) is None
    assert surface.second_coordinate_of(2.5, 4.1) is None
