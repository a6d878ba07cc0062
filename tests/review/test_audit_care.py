"""The rules about readings taken with care: calls that break each, and calls that keep it."""

from __future__ import annotations

from datetime import timedelta

from tests.conversation import FEED_FAILED
from tests.review.audited import (
    CONTENT,
    STARTED,
    asked,
    at,
    found,
    had,
    of,
)
from tests.review.stored_calls import (
    BEGUN,
    call_of,
)
from triage.dialogue.events import (
    Concluded,
    NotUnderstood,
    Offered,
    Parked,
    Resumed,
    Said,
    TakenBack,
)
from triage.store.record import StoredEvent


def test_implausible_accepted_is_a_yes_to_a_doubt(sound: list[StoredEvent]) -> None:
    assert found(sound, "implausible_accepted") == []
    said = {**FEED_FAILED, "freeze_time": ("14 h", "yes")}
    (item,) = found(call_of(said), "implausible_accepted")
    assert "freeze time" in item.text
    mended = {**FEED_FAILED, "freeze_time": ("14 h", "no", "14:20")}
    assert found(call_of(mended), "implausible_accepted") == []


def test_implausible_accepted_leaves_out_what_was_only_not_understood() -> None:
    answer = {"reading": "refrigerant", "typed": "R-410", "value": "R-410A"}
    did_you_mean = Offered((answer,), 'Did you mean "R-410A"?')
    spoken = (("agent", did_you_mean), had("refrigerant", "R-410A"))
    assert found(of(*spoken), "implausible_accepted") == []


def test_implausible_accepted_believes_the_doubt_of_a_content_that_is_gone() -> None:
    answer = {"reading": "freeze_time", "typed": "14:20", "value": 860.0}
    spoken = (("agent", Offered((answer,), "So long?")), had("freeze_time", 860.0, "14:20"))
    assert found(of(*spoken), "implausible_accepted") == [], "today's content doubts nothing here"
    assert len(found(of(*spoken, version="0ld"), "implausible_accepted")) == 1


def test_entered_twice_names_both_values(sound: list[StoredEvent]) -> None:
    assert found(sound, "entered_twice") == []
    first, second = had("freeze_time", 860.0, "14:20"), had("freeze_time", 1460.0, "24:20")
    back = ("agent", TakenBack("freeze_time", "back"))
    (item,) = found(of(first, back, second), "entered_twice")
    assert '"14:20" (event 3), then as "24:20"' in item.text
    assert item.sequence == 5
    again = had("freeze_time", 860.0, "14 min 20")
    assert found(of(first, back, again), "entered_twice") == []
    not_had = had("freeze_time", None, "?", "no watch")
    assert found(of(not_had, back, first), "entered_twice") == [], "first unknown, then had"
    assert len(found(of(first, back, not_had), "entered_twice")) == 1


def test_entered_twice_leaves_out_a_pressure_read_at_another_altitude() -> None:
    said = {**FEED_FAILED, "freeze_suction_pressure_late": "39 psi, altitude 4000 ft"}
    stored = call_of(said)
    late = [item for item in stored if item.data.get("reading") == "freeze_discharge_pressure"]
    assert len(late) > 1, "the altitude converts the pressures before it anew"
    assert found(stored, "entered_twice") == []


def test_unknown_without_reason_wants_one() -> None:
    (item,) = found(of(had("freeze_time", None, "?", "")), "unknown_without_reason")
    assert "freeze time" in item.text
    assert found(of(had("freeze_time", None, "?", "no watch")), "unknown_without_reason") == []
    said = {**FEED_FAILED, "ice_bridge_thickness": "unknown"}
    assert len(found(call_of(said), "unknown_without_reason")) == 1
    said = {**FEED_FAILED, "ice_bridge_thickness": "unknown, no ruler at hand"}
    assert found(call_of(said), "unknown_without_reason") == []


def test_time_sink_is_beyond_five_minutes_or_three_times_what_the_reading_takes() -> None:
    question, answer = asked("freeze.water_flow_over_plate"), had("water_flow_over_plate", "even")
    end = asked("freeze.freeze_time")
    (item,) = found(at((0, STARTED), (0, question), (7, answer), (7, end)), "time_sink")
    assert "7 min" in item.text
    assert item.sequence == 2
    assert found(at((0, STARTED), (0, question), (4, answer), (4, end)), "time_sink") == []
    # The confirming test takes 15 minutes by itself.
    long = asked("harvest.manifold_test_result")
    done = had("manifold_test_result", "no_change")
    assert found(at((0, STARTED), (0, long), (40, done), (40, end)), "time_sink") == []
    assert len(found(at((0, STARTED), (0, long), (46, done), (46, end)), "time_sink")) == 1


def test_time_sink_leaves_out_how_long_the_end_was_talked_over() -> None:
    question, answer = (
        asked("freeze.water_flow_over_plate"),
        had("water_flow_over_plate", None, "?", "x"),
    )
    done = ("agent", Said("done"))
    end = ("program", Concluded("conditions.refrigerant_not_known", "escalated", ()))
    talk = at((0, STARTED), (0, question), (2, answer), (20, done), (20, end))
    assert found(talk, "time_sink") == []


def test_time_sink_counts_no_parked_time() -> None:
    question, answer = asked("freeze.water_flow_over_plate"), had("water_flow_over_plate", "even")
    parked = ("agent", Parked("freeze is running", (BEGUN + timedelta(minutes=20)).isoformat()))
    on = ("program", Resumed(CONTENT.version, "Ada"))
    waits = at((0, STARTED), (0, question), (2, parked), (30, on), (32, answer))
    assert found(waits, "time_sink") == []
    sits = at((0, STARTED), (0, question), (2, parked), (30, on), (40, answer))
    assert len(found(sits, "time_sink")) == 1


def test_time_sink_of_a_clock_set_back_is_never_negative_and_forgets_no_time() -> None:
    question, answer = asked("freeze.water_flow_over_plate"), had("water_flow_over_plate", "even")
    why = ("agent", Said("why"))
    back = at((0, STARTED), (60, question), (0, why), (2, answer))
    assert found(back, "time_sink") == []
    late = at((0, STARTED), (60, question), (0, why), (9, answer))
    assert "9 min" in found(late, "time_sink")[0].text


def test_often_not_understood_is_three_lines_at_one_question() -> None:
    lost = ("agent", NotUnderstood("freeze_time", "quick-ish", "That is no time."))
    (item,) = found(of(asked("freeze.freeze_time"), lost, lost, lost), "often_not_understood")
    assert "quick-ish" in item.text
    kept = of(asked("freeze.freeze_time"), lost, lost, asked("freeze.ice_pattern"), lost)
    assert found(kept, "often_not_understood") == []


def test_resumed_under_other_content_is_told_where_it_changed() -> None:
    same, other = Resumed(CONTENT.version, "Ada"), Resumed("0ther", "Ada")
    assert found(of(("program", same)), "resumed_under_other_content") == []
    (item,) = found(of(("program", same), ("program", other)), "resumed_under_other_content")
    assert item.sequence == 4
    assert "0ther" in item.text


def test_clock_set_back_is_found_at_the_event_that_shows_it() -> None:
    note = ("agent", Said("hello"))
    (item,) = found(at((0, STARTED), (5, note), (2, note), (3, note)), "clock_set_back")
    assert item.sequence == 3
    assert "3 min earlier than event 2" in item.text
    assert found(at((0, STARTED), (5, note), (5, note)), "clock_set_back") == []
