"""Decision diagrams are the functions they stand for, and equal functions are the same diagram."""

from __future__ import annotations

from itertools import product

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from triage.tree.diagrams import MOST_VARIABLES, Diagram, Diagrams, TooLarge

SIZES = (2, 3, 2)
POINTS = list(product(*map(range, SIZES)))
Conditions = tuple[tuple[int, tuple[bool, ...]], ...]


def conditions() -> st.SearchStrategy[Conditions]:
    """Return strategies of conditions on different variables."""
    one = st.tuples(*(
        st.one_of(st.none(), st.tuples(*(st.booleans() for _ in range(size)))) for size in SIZES
    ))  # fmt: skip
    return one.map(lambda found: tuple((n, of) for n, of in enumerate(found) if of is not None))


def table(diagrams: Diagrams, diagram: Diagram) -> list[object]:
    """Return what a diagram is at every point."""
    fixed = (diagrams.fixed(diagram, dict(enumerate(point))) for point in POINTS)
    return list(map(diagrams.value, fixed))


def holds(wanted: Conditions, point: tuple[int, ...]) -> bool:
    return all(of[point[variable]] for variable, of in wanted)


@settings(derandomize=True, max_examples=200, deadline=None)
@given(st.lists(st.tuples(conditions(), st.integers(0, 3)), max_size=4))
def test_a_list_of_rules_becomes_the_function_of_the_first_that_holds(
    rules: list[tuple[Conditions, int]],
) -> None:
    diagrams = Diagrams(SIZES, 1000)
    found = diagrams.leaf(9)
    for wanted, value in reversed(rules):
        found = diagrams.choose(wanted, diagrams.leaf(value), found)
    assert table(diagrams, found) == [
        next((value for wanted, value in rules if holds(wanted, point)), 9) for point in POINTS
    ]


@settings(derandomize=True, max_examples=100, deadline=None)
@given(conditions(), conditions())
def test_functions_are_joined_point_by_point(one: Conditions, other: Conditions) -> None:
    diagrams = Diagrams(SIZES, 1000)
    yes, no = diagrams.leaf(1), diagrams.leaf(0)
    both = diagrams.joined(
        (diagrams.choose(one, yes, no), diagrams.choose(other, yes, no)), lambda values: values
    )
    assert table(diagrams, both) == [
        (int(holds(one, point)), int(holds(other, point))) for point in POINTS
    ]


def test_the_same_function_made_in_two_ways_is_the_same_diagram() -> None:
    diagrams = Diagrams((2, 2), 100)
    yes, no = diagrams.leaf("yes"), diagrams.leaf("no")
    first, second = (0, (False, True)), (1, (False, True))
    both = diagrams.choose((first, second), yes, no)
    in_turn = diagrams.choose((second,), diagrams.choose((first,), yes, no), no)
    assert both == in_turn
    not_either = diagrams.choose(((0, (True, False)),), no, diagrams.choose((second,), yes, no))
    assert not_either == both


def test_a_function_can_go_by_the_value_of_one_variable() -> None:
    diagrams = Diagrams(SIZES, 100)
    found = diagrams.by_value(1, [diagrams.leaf(value) for value in "abc"])
    assert table(diagrams, found) == ["abc"[point[1]] for point in POINTS]


def test_a_function_depends_on_the_variables_that_can_change_it() -> None:
    diagrams = Diagrams(SIZES, 100)
    yes, no = diagrams.leaf(1), diagrams.leaf(0)
    found = diagrams.choose(((0, (True, False)), (2, (False, True))), yes, no)
    assert diagrams.variables(found) == {0, 2}
    assert diagrams.variables(diagrams.fixed(found, {0: 0})) == {2}
    assert diagrams.variables(diagrams.fixed(found, {0: 1})) == frozenset()


def test_a_function_of_more_nodes_or_variables_than_allowed_is_refused() -> None:
    with pytest.raises(TooLarge):
        Diagrams([2] * (MOST_VARIABLES + 1), 1000)
    diagrams = Diagrams([2] * 4, 3)
    yes, no = diagrams.leaf(1), diagrams.leaf(0)
    with pytest.raises(TooLarge):
        diagrams.choose([(number, (False, True)) for number in range(4)], yes, no)


def test_a_chain_of_the_greatest_number_of_variables_is_walked_without_complaint() -> None:
    diagrams = Diagrams([2] * MOST_VARIABLES, 10_000)
    yes, no = diagrams.leaf(1), diagrams.leaf(0)
    all_of = diagrams.choose([(n, (False, True)) for n in range(MOST_VARIABLES)], yes, no)
    assert diagrams.joined((all_of, yes), lambda values: values[0]) == all_of
    assert diagrams.fixed(all_of, {MOST_VARIABLES - 1: 0}) == no
