"""The audit: for each rule a call that breaks it and one that keeps it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from datetime import UTC, datetime, timedelta

import pytest
from hypothesis import given

from tests.conversation import FEED_FAILED, TREE, shipped_engine
from tests.dialogue.event_lists import event_lists
from tests.review.stored_calls import (
    BEGUN,
    DEMOS,
    Chained,
    call_of,
    chained,
    demo_record,
    desk_of,
)
from tests.strategies import FIXED
from triage.dialogue.events import (
    Acknowledged,
    Answered,
    Asked,
    Concluded,
    Event,
    NotUnderstood,
    Offered,
    Parked,
    Refused,
    RepairReported,
    Resumed,
    Said,
    Started,
    TakenBack,
)
from triage.review.audit import RULES, audit
from triage.review.audit_call import AuditFinding, Weight
from triage.store.record import StoredEvent
from triage.tree.proofs_of_order import FREEZE_HEALTH

CONTENT = shipped_engine().content
STARTED = ("program", Started(TREE, CONTENT.version, "agent", "us", 0.0, "Mira Oduya"))
LICENSED = ("agent", Answered("caller_qualification", "yes both", "licensed"))
SECOND = timedelta(seconds=1)
Spoken = tuple[str, Event]


def found(
    stored: Sequence[StoredEvent], rule: str, now: datetime = BEGUN + timedelta(hours=2)
) -> list[AuditFinding]:
    """Return what breaks one rule."""
    return [item for item in audit(CONTENT, stored, now) if item.rule == rule]


def of(*spoken: Spoken, step: timedelta = timedelta(seconds=40), version: str = "") -> list[
    StoredEvent
]:  # fmt: skip
    """Return a call of a licensed caller."""
    return chained(STARTED, LICENSED, *spoken, step=step, version=version)


def had(reading: str, value: float | str | None, typed: str = "x", reason: str = "") -> Spoken:
    return ("agent", Answered(reading, typed, value, reason))


def asked(node: str) -> Spoken:
    return ("program", Asked(node))


def report(**fields: object) -> Spoken:
    parts = tuple(CONTENT.causes["receiver_vapor_feed_failed"].replace_together)
    given = {"found": ("receiver_vapor_feed_failed",), "parts": parts, **fields}
    return ("agent", RepairReported(**{"had_two_good_cycles": True, **given}))  # type: ignore[arg-type]


CONCLUDED = Concluded("feed_confirmed", "recommended", ("receiver_vapor_feed_failed",))


@pytest.fixture(scope="module")
def sound() -> list[StoredEvent]:
    """A call nobody hurried, from its start to the repair."""
    return call_of(FEED_FAILED)


# The whole list.


def test_a_sound_call_is_clean(sound: list[StoredEvent]) -> None:
    assert audit(CONTENT, sound, BEGUN + timedelta(days=1)) == []


JUSTIFIED = {
    # The caller said 52 °F, went back at the next question and said 62 °F: a slip, and mended.
    "06_coil_supply_low_technician_us": ["entered_twice"],
    # The owner does not know the refrigerant, and was not asked why.
    "08_owner_not_licensed_agent_us": ["unknown_without_reason"],
}


@pytest.mark.parametrize("name", DEMOS)
def test_a_demo_call_is_clean_or_shows_what_it_is_there_to_show(name: str) -> None:
    stored = demo_record(name)
    now = datetime.fromisoformat(stored[-1].recorded_at)
    assert [item.rule for item in audit(CONTENT, stored, now)] == JUSTIFIED.get(name, [])


def test_every_rule_says_what_it_wants_and_why() -> None:
    assert len({rule.id for rule in RULES}) == len(RULES)
    for rule in RULES:
        assert rule.id == rule.id.lower()
        assert rule.reason.endswith(".")
        assert not rule.title.endswith(".")
    weights = [list(Weight).index(rule.weight) for rule in RULES]
    assert weights == sorted(weights), "the gravest come first"


def test_every_rule_is_held_to_a_test_of_its_own() -> None:
    tests = " ".join(name for name in globals() if name.startswith("test_"))
    assert [rule.id for rule in RULES if f"test_{rule.id}_" not in tests] == []


@given(event_lists())
@FIXED
def test_no_record_is_too_odd_to_be_audited(events: list[Event]) -> None:
    stored = chained(*(("agent", event) for event in events))
    for item in audit(CONTENT, stored, BEGUN + timedelta(days=30)):
        assert 1 <= item.sequence <= len(stored)
        assert item.text


def test_findings_come_in_the_order_of_the_events() -> None:
    stored = of(had("ice_pattern", None, "?"), had("freeze_time", None, "?"), version="0ld")
    sequences = [item.sequence for item in audit(CONTENT, stored, BEGUN)]
    assert sequences == sorted(sequences) == [3, 4]


# Harm.


def freeze(leave_out: str = "") -> list[Spoken]:
    """Return the readings of a freeze, as a caller gives them."""
    return [had(key, None, reason="no gauge") for key in FREEZE_HEALTH if key != leave_out]


def test_order_kept_names_what_was_not_known_when_the_harvest_came_up() -> None:
    (item,) = found(of(*freeze("discharge_line_temperature"), asked("ice_released")), "order_kept")
    assert "discharge line temperature" in item.text
    assert "freeze time" not in item.text
    assert item.sequence == 2 + len(FREEZE_HEALTH) - 1 + 1


def test_order_kept_lets_a_reading_be_known_to_be_unknown() -> None:
    assert found(of(*freeze(), asked("ice_released")), "order_kept") == []
    # Not for this caller: unknown by itself, nobody asks.
    spoken = [item for item in freeze() if "pressure" not in str(item) and "line" not in str(item)]
    unlicensed = ("agent", Answered("caller_qualification", "no", "unlicensed"))
    assert found(chained(STARTED, unlicensed, *spoken, asked("ice_released")), "order_kept") == []


def test_order_kept_blames_no_harvest_part_on_an_unknown_freeze() -> None:
    (item,) = found(of(("program", CONCLUDED)), "order_kept")
    assert "Receiver vapor feed" in item.text


def test_caution_before_reading_wants_the_yes_first() -> None:
    yes = ("agent", Acknowledged("falling_ice", "yes"))
    even = had("ice_pattern", "even", "even")
    (item,) = found(of(asked("ice_pattern"), even, yes), "caution_before_reading")
    assert item.sequence == 4
    assert "Ice that lets go" in item.text
    patchy = had("ice_pattern", "patchy", "patchy")
    assert len(found(of(asked("ice_pattern"), even, patchy, yes), "caution_before_reading")) == 1
    assert found(of(yes, asked("ice_pattern"), even), "caution_before_reading") == []


def test_caution_before_reading_finds_a_value_against_a_refusal() -> None:
    no = ("agent", Refused("falling_ice", "no"))
    (item,) = found(of(no, had("ice_pattern", "even")), "caution_before_reading")
    assert "refused" in item.text
    assert found(of(no, had("ice_pattern", None, reason="refused")), "caution_before_reading") == []


def test_caution_rushed_goes_by_how_long_it_takes_to_read_aloud() -> None:
    spoken = (
        asked("caution:live_measurement@coil_voltage"),
        ("agent", Acknowledged("live_measurement", "yes")),
    )
    (item,) = found(of(*spoken, step=2 * SECOND), "caution_rushed")
    assert "after 2 s" in item.text
    assert found(of(*spoken, step=30 * SECOND), "caution_rushed") == []
    # Heard once, it is known; and nobody reads out what a file answers.
    again = (asked("caution:live_measurement@gate"), spoken[1])
    assert len(found(of(*spoken, *again, step=2 * SECOND), "caution_rushed")) == 1
    by_file = ("answers file", spoken[1][1])
    assert found(of(spoken[0], by_file, step=SECOND), "caution_rushed") == []


def without(stored: Sequence[StoredEvent], kind: str, last: int = 1) -> list[StoredEvent]:
    """Return a record without the last events of a kind."""
    places = [place for place, item in enumerate(stored) if item.kind == kind][-last:]
    return [item for place, item in enumerate(stored) if place not in places]


def test_gate_kept_wants_every_caution_under_one_seal(sound: list[StoredEvent]) -> None:
    assert found(sound, "gate_kept") == []
    (item,) = found(without(sound, "acknowledged"), "gate_kept")
    assert "Ice is food" in item.text
    assert item.sequence == sound[-1].sequence
    (item,) = found(of(("program", CONCLUDED)), "gate_kept")
    assert "without a caution" in item.text


def test_gate_kept_knows_the_seal_of_another_repair(sound: list[StoredEvent]) -> None:
    forged = [
        replace(item, data={**item.data, "seal": "0" * 16}) if item.data.get("seal") else item
        for item in sound
    ]
    (item,) = found(forged, "gate_kept")
    assert "seal" in item.text


def test_gate_kept_is_judged_by_the_record_alone_where_the_content_was_another() -> None:
    yes = ("agent", Acknowledged("food_safety", "yes", "5ea1"))
    kept = (asked("caution:food_safety@gate"), yes, ("program", CONCLUDED))
    old = ("program", replace(STARTED[1], content_version="0ld"))  # type: ignore[type-var]
    assert found(chained(old, LICENSED, *kept), "gate_kept") == []
    broken = (asked("caution:data_plate@gate"), *kept)
    (item,) = found(chained(old, LICENSED, *broken), "gate_kept")
    assert "The data plate" in item.text
    # What stood at the gate of an earlier conclusion is no business of this one.
    before = (asked("caution:data_plate@gate"), had("freeze_time", 860.0, "14:20"))
    assert found(chained(old, LICENSED, *before, *kept), "gate_kept") == []


def test_licensed_repair_told_is_for_the_licensed(sound: list[StoredEvent]) -> None:
    assert found(sound, "licensed_repair_told") == []
    unlicensed = ("agent", Answered("caller_qualification", "no", "unlicensed"))
    assert len(found(chained(STARTED, unlicensed, ("program", CONCLUDED)),
                     "licensed_repair_told")) == 1  # fmt: skip


def test_licensed_reading_from_unlicensed_is_named(sound: list[StoredEvent]) -> None:
    assert found(sound, "licensed_reading_from_unlicensed") == []
    said = {
        "caller_qualification": "no, I am the cook",
        "complaint": "will not drop, suction is 40 psi",
    }
    stored = call_of(said)
    (item,) = found(stored, "licensed_reading_from_unlicensed")
    assert "suction" in item.text
    assert found(stored, "caution_before_reading") == [], "nobody asked for it: told once"


# Judgement.


def test_against_ranking_is_where_the_two_ways_part() -> None:
    ours = ({"cause": "receiver_vapor_feed_failed", "probability": 0.9},)
    theirs = ({"cause": "hot_gas_valve_not_opening", "probability": 0.6}, *ours)
    agreed = replace(CONCLUDED, agreement="agree", ranked=ours)
    assert found(of(("program", agreed)), "against_ranking") == []
    (item,) = found(of(("program", replace(agreed, ranked=theirs))), "against_ranking")
    assert "Hot gas valve does not open" in item.text
    assert len(found(of(("program", replace(agreed, agreement="disagree"))), "against_ranking"))
    handed_over = replace(agreed, result="escalated", causes=(), ranked=theirs)
    assert found(of(("program", handed_over)), "against_ranking") == []


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


# Care.


def test_unknown_without_reason_wants_one() -> None:
    (item,) = found(of(had("freeze_time", None, "?", "")), "unknown_without_reason")
    assert "freeze time" in item.text
    assert found(of(had("freeze_time", None, "?", "no watch")), "unknown_without_reason") == []
    said = {**FEED_FAILED, "ice_bridge_thickness": "unknown"}
    assert len(found(call_of(said), "unknown_without_reason")) == 1
    said = {**FEED_FAILED, "ice_bridge_thickness": "unknown, no ruler at hand"}
    assert found(call_of(said), "unknown_without_reason") == []


def at(*timed: tuple[float, Spoken]) -> list[StoredEvent]:
    """Return a call whose events stand at these minutes."""
    record = Chained()
    for number, (minute, item) in enumerate(timed):
        when = BEGUN + timedelta(minutes=minute)
        record.append("", [item], CONTENT.version, when, number)
    return record.events


def test_time_sink_is_beyond_five_minutes_or_three_times_what_the_reading_takes() -> None:
    question, answer = asked("water_flow_over_plate"), had("water_flow_over_plate", "even")
    end = asked("freeze_time")
    (item,) = found(at((0, STARTED), (0, question), (7, answer), (7, end)), "time_sink")
    assert "7 min" in item.text
    assert item.sequence == 2
    assert found(at((0, STARTED), (0, question), (4, answer), (4, end)), "time_sink") == []
    # The confirming test takes 15 minutes by itself.
    long = asked("manifold_test_result")
    done = had("manifold_test_result", "no_change")
    assert found(at((0, STARTED), (0, long), (40, done), (40, end)), "time_sink") == []
    assert len(found(at((0, STARTED), (0, long), (46, done), (46, end)), "time_sink")) == 1


def test_time_sink_leaves_out_how_long_the_end_was_talked_over() -> None:
    question, answer = asked("water_flow_over_plate"), had("water_flow_over_plate", None, "?", "x")
    done = ("agent", Said("done"))
    end = ("program", Concluded("refrigerant_not_known", "escalated", ()))
    talk = at((0, STARTED), (0, question), (2, answer), (20, done), (20, end))
    assert found(talk, "time_sink") == []


def test_time_sink_counts_no_parked_time() -> None:
    question, answer = asked("water_flow_over_plate"), had("water_flow_over_plate", "even")
    parked = ("agent", Parked("freeze is running", (BEGUN + timedelta(minutes=20)).isoformat()))
    on = ("program", Resumed(CONTENT.version, "Ada"))
    waits = at((0, STARTED), (0, question), (2, parked), (30, on), (32, answer))
    assert found(waits, "time_sink") == []
    sits = at((0, STARTED), (0, question), (2, parked), (30, on), (40, answer))
    assert len(found(sits, "time_sink")) == 1


def test_time_sink_of_a_clock_set_back_is_never_negative_and_forgets_no_time() -> None:
    question, answer = asked("water_flow_over_plate"), had("water_flow_over_plate", "even")
    why = ("agent", Said("why"))
    back = at((0, STARTED), (60, question), (0, why), (2, answer))
    assert found(back, "time_sink") == []
    late = at((0, STARTED), (60, question), (0, why), (9, answer))
    assert "9 min" in found(late, "time_sink")[0].text


def test_often_not_understood_is_three_lines_at_one_question() -> None:
    lost = ("agent", NotUnderstood("freeze_time", "quick-ish", "That is no time."))
    (item,) = found(of(asked("freeze_time"), lost, lost, lost), "often_not_understood")
    assert "quick-ish" in item.text
    kept = of(asked("freeze_time"), lost, lost, asked("ice_pattern"), lost)
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


# Follow-up.


def test_left_open_is_a_call_nobody_went_on_with_for_a_day() -> None:
    record = Chained()
    desk_of(record).say("yes both")
    assert found(record.events, "left_open", BEGUN + timedelta(hours=20)) == []
    (item,) = found(record.events, "left_open", BEGUN + timedelta(hours=40))
    assert "complaint" in item.text
    due = (BEGUN + timedelta(hours=30)).isoformat()
    parked = of(asked("freeze_time"), ("agent", Parked("a freeze", due)))
    assert found(parked, "left_open", BEGUN + timedelta(hours=40)) == []
    (item,) = found(parked, "left_open", BEGUN + timedelta(hours=60))
    assert "it was due 30 h ago" in item.text
    ended = of(("program", CONCLUDED))
    assert found(ended, "left_open", BEGUN + timedelta(days=9)) == []


def test_no_outcome_is_told_after_two_weeks() -> None:
    ended = of(("program", CONCLUDED))
    assert found(ended, "no_outcome", BEGUN + timedelta(days=14)) == []
    (item,) = found(ended, "no_outcome", BEGUN + timedelta(days=15))
    assert item.at == BEGUN.astimezone(UTC) + timedelta(seconds=80)
    reported = of(("program", CONCLUDED), report())
    assert found(reported, "no_outcome", BEGUN + timedelta(days=15)) == []
    withheld = of(("program", replace(CONCLUDED, result="withheld")))
    assert found(withheld, "no_outcome", BEGUN + timedelta(days=15)) == []


def test_repair_did_not_hold_tells_other_outcomes_bad_cycles_and_odd_readings() -> None:
    def of_report(**fields: object) -> list[str]:
        stored = of(("program", CONCLUDED), report(**fields))
        return [item.text for item in found(stored, "repair_did_not_hold")]

    assert of_report() == []
    (text,) = of_report(found=("harvest_coil_open",), parts=())
    assert "burned out" in text
    (text,) = of_report(had_two_good_cycles=False)
    assert "two good cycles" in text
    odd = {"reading": "harvest_time", "value": 400.0, "verdict": "above"}
    (text,) = of_report(readings=(odd, {**odd, "reading": "freeze_time", "verdict": "within"}))
    assert text.endswith("harvest time")


def test_repair_did_not_hold_takes_no_fault_found_for_a_sound_machine() -> None:
    healthy = ("program", replace(CONCLUDED, causes=("healthy",)))
    sound = of(healthy, report(found=("no_fault_found",), parts=()))
    assert found(sound, "repair_did_not_hold") == []
    broken = of(healthy, report(found=("plate_scaled_or_damaged",), parts=()))
    assert len(found(broken, "repair_did_not_hold")) == 1


def test_good_cycles_not_watched_are_no_good_cycles() -> None:
    ended = ("program", CONCLUDED)
    assert found(of(ended, report()), "good_cycles_not_watched") == []
    assert len(found(of(ended, report(had_two_good_cycles=None)), "good_cycles_not_watched")) == 1


def test_parts_left_in_names_what_is_replaced_together() -> None:
    ended = ("program", CONCLUDED)
    assert found(of(ended, report()), "parts_left_in") == []
    together = CONTENT.causes["receiver_vapor_feed_failed"].replace_together
    assert len(together) > 1
    (item,) = found(of(ended, report(parts=together[:1])), "parts_left_in")
    assert together[-1] in item.text


def test_the_last_report_counts() -> None:
    ended = ("program", CONCLUDED)
    stored = of(ended, report(had_two_good_cycles=False), report())
    assert found(stored, "repair_did_not_hold") == []
