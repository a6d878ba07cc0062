"""Names of refrigerants are forgiving in form and strict in meaning."""

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from triage.physics.errors import PhysicsError, UnknownRefrigerant
from triage.physics.refrigerant import REFRIGERANTS, find_refrigerant


@pytest.mark.parametrize(
    ("typed", "expected"),
    [
        ("R-404A", "R-404A"),
        ("r404a", "R-404A"),
        ("404A", "R-404A"),
        ("R 404 A", "R-404A"),
        ("refrigerant 404a", "R-404A"),
        ("HFC-134a", "R-134a"),
        ("hc290", "R-290"),
        ("propane", "R-290"),
        (" R22 ", "R-22"),
        ("32", "R-32"),
        ("r_454_c", "R-454C"),
    ],
)
def test_a_refrigerant_is_found_however_it_is_typed(typed: str, expected: str) -> None:
    assert find_refrigerant(typed).id == expected


@pytest.mark.parametrize(
    ("typed", "nearest"), [("404", "R-404A"), ("R-410", "R-410A"), ("propan", "R-290")]
)
def test_a_near_miss_is_refused_and_the_nearest_name_offered(typed: str, nearest: str) -> None:
    with pytest.raises(UnknownRefrigerant, match=f"Did you mean {nearest}") as caught:
        find_refrigerant(typed)
    assert caught.value.nearest == nearest
    assert isinstance(caught.value, PhysicsError)


@pytest.mark.parametrize("typed", ["", "   ", "water", "-", "r", "\x1b[31m"])
def test_what_is_no_refrigerant_is_refused_with_the_known_ones(typed: str) -> None:
    with pytest.raises(UnknownRefrigerant, match="Known: R-134a, R-290") as caught:
        find_refrigerant(typed)
    assert str(caught.value).isprintable()


@settings(derandomize=True, max_examples=100, deadline=None)
@given(st.text(max_size=60))
def test_any_text_is_either_known_or_refused_printably(typed: str) -> None:
    try:
        answer = find_refrigerant(typed).id
    except UnknownRefrigerant as error:
        answer = str(error)
    assert answer in REFRIGERANTS or "Known: R-134a" in answer
    assert answer.isprintable()
    assert len(answer) < 500


def test_there_are_thirteen_and_each_finds_itself() -> None:
    assert len(REFRIGERANTS) == 13
    for name, refrigerant in REFRIGERANTS.items():
        assert find_refrigerant(name) is refrigerant
        assert find_refrigerant(name.lower().replace("-", "")) is refrigerant


def test_compositions_add_up_to_one() -> None:
    for refrigerant in REFRIGERANTS.values():
        assert sum(refrigerant.composition.values()) == pytest.approx(1.0)
        assert refrigerant.is_blend is refrigerant.id.startswith(("R-4", "R-5"))


def test_only_classes_2l_and_3_count_as_flammable() -> None:
    flammable = {
        refrigerant.id for refrigerant in REFRIGERANTS.values() if refrigerant.is_flammable
    }
    assert flammable == {"R-290", "R-32", "R-454B", "R-454C"}
