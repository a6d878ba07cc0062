"""Several readings in one line, taken apart."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests.dialogue.spoken_readings import (
    ALTITUDE,
    FREEZE_TIME,
    HARVEST_SUCTION,
    MACHINES,
    READINGS,
    RELEASED,
    ROOM,
    SUCTION_EARLY,
    SUCTION_LATE,
)
from tests.strategies import FIXED, typed_lines
from triage.dialogue.breath import Breath, take_apart
from triage.dialogue.reply import Unclear, Value, read_reply
from triage.dialogue.words import fold, plain_text
from triage.physics.quantity import UnitSystem
from triage.tree.content import Reading

US, SI = UnitSystem.US, UnitSystem.SI


def breath(text: str, current: Reading, system: UnitSystem = US) -> Breath:
    others = [reading for reading in READINGS if reading is not current]
    return take_apart(text, [current, *others], system=system, machines=MACHINES)


def texts(found: Breath) -> dict[str, str]:
    assert all(isinstance(part.value, Value) for part in found.parts), found
    return {part.reading: part.text for part in found.parts}


EARLY, LATE = "freeze_suction_pressure_early", "freeze_suction_pressure_late"
HEAD, AIR = "freeze_discharge_pressure", "ambient_air_temperature"
BRIDGE, TIME = "ice_bridge_thickness", "freeze_time"
WATER = "water_inlet_temperature"

# Line, question asked, what is taken, what is left.
LINES: list[tuple[str, Reading, dict[str, str], str]] = [
    (
        "suction 62, head 305, about 70 in the room",
        SUCTION_EARLY,
        {EARLY: "suction 62", HEAD: "head 305", AIR: "about 70 in the room"},
        "",
    ),
    (
        "suction was 62 psi at 3 min and discharge is 305",
        SUCTION_EARLY,
        {EARLY: "suction was 62 psi at 3 min", HEAD: "discharge is 305"},
        "",
    ),
    ("freeze 12:30, bridge 3/16", FREEZE_TIME, {TIME: "freeze 12:30", BRIDGE: "bridge 3/16"}, ""),
    ("12:30, bridge 3/16", FREEZE_TIME, {TIME: "12:30", BRIDGE: "bridge 3/16"}, ""),
    ("bridge 3/16, 12:30", FREEZE_TIME, {TIME: "12:30", BRIDGE: "bridge 3/16"}, ""),
    ("suction 62 head 305", SUCTION_EARLY, {EARLY: "suction 62", HEAD: "head 305"}, ""),
    ("62 suction 305 head", SUCTION_EARLY, {EARLY: "62 suction", HEAD: "305 head"}, ""),
    (
        "62 on the suction, 305 on the head",
        SUCTION_EARLY,
        {EARLY: "62 on the suction", HEAD: "305 on the head"},
        "",
    ),
    ("suction: 62; head: 305", SUCTION_EARLY, {EARLY: "suction: 62", HEAD: "head: 305"}, ""),
    ("suction=62 head=305", SUCTION_EARLY, {EARLY: "suction=62", HEAD: "head=305"}, ""),
    ("suction - 62, head - 305", SUCTION_EARLY, {EARLY: "suction - 62", HEAD: "head - 305"}, ""),
    ("suction 62 - head 305", SUCTION_EARLY, {EARLY: "suction 62", HEAD: "head 305"}, ""),
    ("suction 62 / head 305", SUCTION_EARLY, {EARLY: "suction 62", HEAD: "head 305"}, ""),
    ("suction 62 & head 305", SUCTION_EARLY, {EARLY: "suction 62", HEAD: "head 305"}, ""),
    ("suction 62 but head 305", SUCTION_EARLY, {EARLY: "suction 62", HEAD: "head 305"}, ""),
    ("suction 62 psi. Head 305 psi.", SUCTION_EARLY, {EARLY: "suction 62 psi",
                                                      HEAD: "Head 305 psi"}, ""),
    ("low side 62 high side 305", SUCTION_EARLY, {EARLY: "low side 62", HEAD: "high side 305"}, ""),
    ("4,3 bar, head 21,0 bar", SUCTION_EARLY, {EARLY: "4,3 bar", HEAD: "head 21,0 bar"}, ""),
    ("suction 4,3, head 21", SUCTION_EARLY, {EARLY: "suction 4,3", HEAD: "head 21"}, ""),
    ("suction sixty two and head three hundred and five", SUCTION_EARLY,
     {EARLY: "suction sixty two", HEAD: "head three hundred and five"}, ""),
    ("62 psi, 3 min in, head 305", SUCTION_EARLY, {EARLY: "62 psi, 3 min in", HEAD: "head 305"},
     ""),
    ("suction 75 early and 38 late", SUCTION_EARLY, {EARLY: "suction 75 early", LATE: "38 late"},
     ""),
    ("suction 75 at 2 min, suction 38 at 12 min late", SUCTION_EARLY,
     {EARLY: "suction 75 at 2 min", LATE: "suction 38 at 12 min late"}, ""),
    ("suction 62, discharge line 155 at 6 min", SUCTION_EARLY,
     {EARLY: "suction 62", "discharge_line_temperature": "discharge line 155 at 6 min"}, ""),
    ("suction 62, superheat 10", SUCTION_EARLY,
     {EARLY: "suction 62", "suction_superheat": "superheat 10"}, ""),
    ("harvest suction 120, freeze suction 38", SUCTION_LATE,
     {LATE: "freeze suction 38", "harvest_suction_pressure": "harvest suction 120"}, ""),
    ("suction 120, head 175", HARVEST_SUCTION,
     {"harvest_suction_pressure": "suction 120", "harvest_discharge_pressure": "head 175"}, ""),
    ("suction 120 head 175 at 1 min into the harvest", HARVEST_SUCTION,
     {"harvest_suction_pressure": "suction 120",
      "harvest_discharge_pressure": "head 175 at 1 min into the harvest"}, ""),
    ("freezes in 12 minutes, harvests in 2 minutes", FREEZE_TIME,
     {TIME: "freezes in 12 minutes", "harvest_time": "harvests in 2 minutes"}, ""),
    ("6 min and 20 sec, bridge is a quarter inch", FREEZE_TIME,
     {TIME: "6 min and 20 sec", BRIDGE: "bridge is a quarter inch"}, ""),
    ("six and a half minutes and bridge is an eighth", FREEZE_TIME,
     {TIME: "six and a half minutes", BRIDGE: "bridge is an eighth"}, ""),
    ("12 minutes, it weighs 7 lb 4 oz", FREEZE_TIME,
     {TIME: "12 minutes", "batch_ice_mass": "it weighs 7 lb 4 oz"}, ""),
    ("12 minutes, it weighs 7 lb and 4 oz", FREEZE_TIME,
     {TIME: "12 minutes", "batch_ice_mass": "it weighs 7 lb and 4 oz"}, ""),
    ("12:30, thin at the outlet", FREEZE_TIME, {TIME: "12:30", "ice_pattern": "thin at the outlet"},
     ""),
    ("fan is running and it freezes in 12 min", FREEZE_TIME,
     {TIME: "it freezes in 12 min", "condenser_fan_state": "fan is running"}, ""),
    ("70, water 60", ROOM, {AIR: "70", WATER: "water 60"}, ""),
    ("room 70 water 60 altitude 5,280 ft", ROOM,
     {AIR: "room 70", WATER: "water 60", "site_altitude": "altitude 5,280 ft"}, ""),
    ("altitude 1,600 m, 21 C", ROOM, {AIR: "21 C", "site_altitude": "altitude 1,600 m"}, ""),
    ("about 70 in here and the water is about 60", ROOM,
     {AIR: "about 70 in here", WATER: "water is about 60"}, ""),
    ("it's R-404A, 70 in the room", ROOM, {AIR: "70 in the room", "refrigerant": "it's R-404A"},
     ""),
    ("Fjordline 450, room 70", ROOM, {AIR: "room 70", "machine": "Fjordline 450"}, ""),
    ("no, freeze time 12:30", RELEASED, {"ice_released": "no", TIME: "freeze time 12:30"}, ""),
    ("no, it's still hanging and freeze time is 12:30", RELEASED,
     {"ice_released": "no, it's still hanging", TIME: "freeze time is 12:30"}, ""),
    ("suction 52 at 2, discharge 148 at 6", SUCTION_EARLY,
     {EARLY: "suction 52 at 2", HEAD: "discharge 148 at 6"}, ""),
    # One reading, some words that are not one: kept.
    ("88 F up top", ROOM, {AIR: "88 F"}, "88 F up top"),
    ("62 psi and it sounds loud", SUCTION_EARLY, {EARLY: "62 psi"}, "it sounds loud"),
    ("hi there, suction 62", SUCTION_EARLY, {EARLY: "suction 62"}, "hi there"),
    ("suction 62, can't reach the head", SUCTION_EARLY, {EARLY: "suction 62"},
     "can't reach the head"),
    ("62, 305", SUCTION_EARLY, {EARLY: "62"}, "305"),
    ("suction 62, suction 60", SUCTION_EARLY, {EARLY: "suction 62"}, "suction 60"),
    ("62 psi, the roof is locked; call me at 5", SUCTION_EARLY, {EARLY: "62 psi"},
     "the roof is locked, call me at 5"),
    # Not what was asked, but said.
    ("head 305", SUCTION_EARLY, {HEAD: "head 305"}, ""),
    ("the head is 305 psi", SUCTION_EARLY, {HEAD: "the head is 305 psi"}, ""),
    # A plain single answer.
    ("62", SUCTION_EARLY, {EARLY: "62"}, ""),
    ("62 psi at 3 min", SUCTION_EARLY, {EARLY: "62 psi at 3 min"}, ""),
    ("1,600 m", ALTITUDE, {"site_altitude": "1,600 m"}, ""),
    ("6 min and 20 sec", FREEZE_TIME, {TIME: "6 min and 20 sec"}, ""),
    ("12 min, 30 sec", FREEZE_TIME, {TIME: "12 min, 30 sec"}, ""),
    ("yes", RELEASED, {"ice_released": "yes"}, ""),
]  # fmt: skip


@pytest.mark.parametrize(
    ("line", "current", "parts", "leftover"), LINES, ids=[line for line, *_ in LINES]
)
def test_a_breath_is_taken_apart_and_nothing_is_dropped(
    line: str, current: Reading, parts: dict[str, str], leftover: str
) -> None:
    found = breath(line, current)
    assert texts(found) == parts
    assert found.leftover == leftover
    if current.id in parts:
        assert found.parts[0].reading == current.id


def test_each_part_holds_its_own_value_and_minute() -> None:
    found = breath("suction was 62 psi at 3 min and discharge is 305", SUCTION_EARLY)
    suction, head = (part.value for part in found.parts)
    assert isinstance(suction, Value)
    assert isinstance(head, Value)
    assert suction.value == pytest.approx(528_800, abs=1.0)
    assert suction.minute_s == 180.0
    assert head.value == pytest.approx(2_204_226, abs=1.0)
    assert head.minute_s is None


def test_a_minute_decides_between_readings_of_the_same_name() -> None:
    found = breath("suction 38 at 11 min, head 290", ROOM)
    assert set(texts(found)) == {LATE, HEAD}
    assert set(texts(breath("suction 75 at 2 min, head 290", ROOM))) == {EARLY, HEAD}


def test_the_stage_decides_between_readings_of_the_same_name() -> None:
    readings = [ROOM, *(reading for reading in READINGS if reading is not ROOM)]
    found = take_apart("suction 120, head 175", readings, system=US, stage="harvest")
    assert set(texts(found)) == {"harvest_suction_pressure", "harvest_discharge_pressure"}


def test_the_units_of_the_caller_hold_for_every_part() -> None:
    found = breath("suction 4,3, head 21, 20 in the room", SUCTION_EARLY, SI)
    values = [part.value.value for part in found.parts if isinstance(part.value, Value)]
    assert values == [pytest.approx(531_325), pytest.approx(2_201_325), pytest.approx(293.15)]


def test_a_unit_of_the_wrong_kind_shows_on_the_reading_it_was_said_for() -> None:
    found = breath("suction 62, head 40 C", SUCTION_EARLY)
    assert found.parts[0].reading == EARLY
    assert found.parts[1].reading == HEAD
    assert found.parts[1].value == Unclear(
        "C is a temperature; this asks for a pressure (psig or bar)."
    )


def test_a_line_that_means_nothing_is_unclear_for_the_question_asked() -> None:
    found = breath("bananas, and more bananas", SUCTION_EARLY)
    assert [part.reading for part in found.parts] == [EARLY]
    assert isinstance(found.parts[0].value, Unclear)


@pytest.mark.parametrize(
    "line",
    [
        "between 40 and 50",
        "between forty and fifty psi",
        "somewhere between 40 psi and 50 psi",
        "40 to 50",
        "from 40 to 50",
        "between 40 and 50, head 305",
        "suction between 40 and 50, head 305",
    ],
)
def test_two_values_for_one_reading_are_asked_back(line: str) -> None:
    first = breath(line, SUCTION_EARLY).parts[0]
    assert first.reading == EARLY
    assert isinstance(first.value, Unclear)
    assert "names two values" in first.value.message


@pytest.mark.parametrize("line", ["20 F above the room", "88 F up from yesterday"])
def test_a_difference_is_not_taken_for_a_temperature(line: str) -> None:
    found = breath(line, ROOM)
    assert not any(isinstance(part.value, Value) for part in found.parts)


@pytest.mark.parametrize("line", ["back", "why?", "note suction 62, head 305", "dunno", "unknown"])
def test_steering_words_and_unknown_are_no_breath(line: str) -> None:
    assert breath(line, SUCTION_EARLY) == Breath((), line)


def test_no_text_or_no_open_reading_gives_no_parts() -> None:
    assert breath("  ", SUCTION_EARLY) == Breath((), "")
    assert take_apart("62", [], system=US) == Breath((), "62")


def test_a_line_without_end_is_left_over_quickly() -> None:
    line = "suction 62, " * 300
    assert breath(line, SUCTION_EARLY) == Breath((), plain_text(line))


@FIXED
@given(typed_lines(), st.sampled_from(READINGS))
def test_any_line_is_taken_apart_without_losing_a_word(line: str, current: Reading) -> None:
    found = breath(line, current)
    ids = [part.reading for part in found.parts]
    assert len(ids) == len(set(ids))
    kept = fold(" ".join([*(part.text for part in found.parts), found.leftover])).split()
    joining = {"and", "but", "plus", "then", "with", "while", "also", "the", "a"}
    assert [word for word in fold(plain_text(line)).split() if word not in joining and
            kept.count(word) < fold(plain_text(line)).split().count(word)] == []  # fmt: skip


@FIXED
@given(
    st.lists(
        st.sampled_from(
            ["suction 62", "head 305 psi", "70 in the room", "bridge 3/16", "water is 60 F"]
        ),
        min_size=2,
        unique=True,
    ),
    st.sampled_from([", ", "; ", " and ", ", and ", " / ", " then "]),
)
def test_readings_joined_in_any_order_come_out_as_they_do_alone(
    pieces: list[str], joint: str
) -> None:
    found = breath(joint.join(pieces), SUCTION_EARLY)
    assert len(found.parts) == len(pieces)
    assert found.leftover == ""
    by_id = {reading.id: reading for reading in READINGS}
    for part in found.parts:
        assert part.value == read_reply(part.text, by_id[part.reading], system=US)
