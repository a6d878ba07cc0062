"""A reading that cannot well be true is asked about once, in one sentence, and taken on a yes."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests.conversation import FEED_FAILED, opened, say, shipped_engine, up_to
from tests.strategies import FIXED
from triage.dialogue.case import Case, fold
from triage.dialogue.doubts import doubt_about
from triage.dialogue.events import Answered
from triage.dialogue.view import AskConfirmation, AskQuestion, NotClear
from triage.physics.refrigerant import REFRIGERANTS
from triage.physics.tables import fluid


def doubtful(reading: str, line: str, *before: str) -> tuple[Case, str]:
    """Return the case after `line` is said to the question about `reading`, and the doubt."""
    case, _ = say(up_to(reading), *before, line)
    prompt = shipped_engine().prompt(case)
    assert isinstance(prompt, AskConfirmation), prompt
    assert prompt.doubt == case.doubt
    return case, prompt.doubt


QUERIES: Sequence[tuple[str, str, Sequence[str]]] = (
    ("harvest_suction_pressure", "2700 psi", ["2700 psig", "508 psig"]),
    ("freeze_time", "20 s", ["0:20", "1:00"]),
    ("ambient_air_temperature", "200 F", ["200 °F", "140 °F"]),
    ("freeze_discharge_pressure", "60 psi", ["60 psig", "73 psig", "swapped"]),
    ("harvest_discharge_pressure", "80 psi", ["80 psig", "85 psig", "swapped"]),
    ("freeze_suction_pressure_late", "90 psi", ["90 psig", "73 psig", "falls as ice grows"]),
    ("coil_voltage", "240 V", ["240 V", "24 V"]),
    ("refrigerant", "R-404A", ["R-410A", "R-404A", "plate"]),
    ("freeze_discharge_pressure", "700 psi", ["700 psig", "critical", "R-410A"]),
)


@pytest.mark.parametrize(("reading", "line", "told"), QUERIES)
def test_an_odd_reading_is_queried_in_one_plain_sentence_with_both_figures(
    reading: str, line: str, told: Sequence[str]
) -> None:
    case, doubt = doubtful(reading, line)
    assert reading not in case.answers
    assert doubt.count("?") == 1
    assert doubt.endswith("?")
    assert doubt[0].isupper() or doubt[0].isdigit()
    for words in told:
        assert words in doubt


@pytest.mark.parametrize(("reading", "line", "_told"), QUERIES)
def test_a_yes_takes_the_odd_reading_and_it_is_not_queried_again(
    reading: str, line: str, _told: Sequence[str]
) -> None:
    case, _ = doubtful(reading, line)
    case, _ = say(case, "yes")
    assert case.answers[reading].typed == line
    assert case.doubt == ""
    assert not isinstance(shipped_engine().prompt(case), AskConfirmation)


@pytest.mark.parametrize(("reading", "line", "_told"), QUERIES)
def test_a_no_leaves_the_reading_open(reading: str, line: str, _told: Sequence[str]) -> None:
    case, _ = doubtful(reading, line)
    case, _ = say(case, "no")
    prompt = shipped_engine().prompt(case)
    assert isinstance(prompt, AskQuestion)
    assert prompt.reading.id == reading


def test_a_refrigerant_confirmed_against_the_file_is_not_held_against_later_answers() -> None:
    case, _ = doubtful("refrigerant", "R-404A")
    case, _ = say(case, "yes", "70 F", "70 F", "55 F")
    assert {"ambient_air_temperature", "water_inlet_temperature"} <= set(case.answers)


def test_a_machine_named_after_its_refrigerant_is_compared_too() -> None:
    case, _ = say(opened(), "yes both", "will not drop", "unknown", "R-404A", "remote", "back",
                  "change machine", "Gletsch R500")  # fmt: skip
    assert "R-410A" in case.doubt
    assert "R-404A" in case.doubt


def test_a_condenser_of_another_kind_than_the_file_says_is_queried() -> None:
    case, _ = say(up_to("ambient_air_temperature"), "condenser is water cooled", "yes")
    assert "water-cooled" in case.doubt
    assert "Gletsch R500" in case.doubt


@pytest.mark.parametrize(
    ("reading", "line", "wrong", "wanted"),
    [
        ("ambient_air_temperature", "4 bar", "pressure", "temperature"),
        ("harvest_suction_pressure", "12 C", "temperature", "pressure"),
        ("freeze_time", "24 V", "voltage", "length of time"),
        ("ice_bridge_thickness", "3 V", "voltage", "length"),
        ("coil_resistance", "24 V", "voltage", "resistance"),
    ],
)
def test_a_unit_of_the_wrong_kind_is_told_and_not_taken(
    reading: str, line: str, wrong: str, wanted: str
) -> None:
    before = up_to(reading)
    case, (remark,) = say(before, line)
    assert isinstance(remark, NotClear)
    assert remark.message.index(wrong) < remark.message.index(wanted)
    assert case.answers == before.answers
    assert shipped_engine().prompt(case) == shipped_engine().prompt(before)


@pytest.mark.parametrize("line", ["OL", "open", "infinite"])
def test_an_open_coil_is_a_reading_and_no_doubt(line: str) -> None:
    case, _ = say(up_to("coil_resistance"), line)
    assert case.offered == ()
    assert case.answers["coil_resistance"].value == float("inf")


@pytest.mark.parametrize("reading", [key for key in FEED_FAILED if key != "manifold_test_result"])
def test_no_ordinary_answer_is_doubted(reading: str) -> None:
    case, _ = say(up_to(reading), FEED_FAILED[reading])
    assert case.offered == ()


def test_a_voltage_far_above_the_coil_is_queried_whichever_is_said_last() -> None:
    # Common practice, no source: a coil stands about a tenth above its rating.
    content = shipped_engine().content
    measured = Answered("coil_voltage", "240", 240.0)
    rated = Answered("coil_nominal_voltage", "24", 24.0)
    for first, second in ((measured, rated), (rated, measured)):
        assert "240 V at a 24 V coil" in doubt_about(content, fold([first], opened()), second)
    for volts in (20.0, 24.0, 26.4, 36.0):
        answer = Answered("coil_voltage", "", volts)
        assert doubt_about(content, fold([rated], opened()), answer) == ""


def test_gauge_limits_move_with_the_air_pressure() -> None:
    content = shipped_engine().content
    high_up = fold([Answered("site_altitude", "5000 ft", 1524.0)], opened())
    # The limit is 25 bar on the gauge; 25.9 bar absolute is 24.9 at the sea, 25.1 up there.
    suction = Answered("freeze_suction_pressure_early", "25.9 bar abs", 2.593e6)
    assert doubt_about(content, opened(), suction) == ""
    assert "25 bar" in doubt_about(content, replace(high_up, units="si"), suction)


@given(
    low=st.floats(1e5, 4e6),
    high=st.floats(1e5, 4e6),
    pair=st.sampled_from([("harvest_suction_pressure", "harvest_discharge_pressure")]),
)
@FIXED
def test_suction_at_or_above_discharge_is_queried_and_below_it_is_not(
    low: float, high: float, pair: tuple[str, str]
) -> None:
    content = shipped_engine().content
    suction, discharge = Answered(pair[0], "", low), Answered(pair[1], "", high)
    for first, second in ((suction, discharge), (discharge, suction)):
        plausible = [doubt_about(content, opened(), one) == "" for one in (first, second)]
        sentence = doubt_about(content, fold([first], opened()), second)
        if all(plausible):
            assert ("swapped" in sentence) == (low >= high)


@pytest.mark.parametrize("refrigerant", list(REFRIGERANTS))
def test_a_pressure_above_the_critical_one_is_doubted_for_every_refrigerant(
    refrigerant: str,
) -> None:
    content = shipped_engine().content
    case = fold([Answered("refrigerant", refrigerant, refrigerant)], opened())
    greatest = fluid(refrigerant).greatest_pressure_pa
    reading = "freeze_discharge_pressure"
    assert doubt_about(content, case, Answered(reading, "", greatest * 1.01)) != ""
    assert doubt_about(content, case, Answered(reading, "", greatest * 0.6)) == ""


def test_an_unknown_is_never_doubted() -> None:
    content = shipped_engine().content
    for reading in content.readings:
        assert doubt_about(content, up_to("coil_voltage"), Answered(reading, "dunno", None)) == ""
