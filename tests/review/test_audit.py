"""The audit as a whole, and the rules about what comes after a call."""

from __future__ import annotations

import sys
from dataclasses import replace
from datetime import UTC, datetime, timedelta

import pytest
from hypothesis import given

from tests.dialogue.event_lists import event_lists
from tests.review import test_audit_care, test_audit_safety
from tests.review.audited import (
    CONCLUDED,
    CONTENT,
    asked,
    found,
    had,
    of,
    report,
)
from tests.review.stored_calls import (
    BEGUN,
    DEMOS,
    Chained,
    chained,
    demo_record,
    desk_of,
)
from tests.strategies import FIXED
from triage.dialogue.events import (
    Event,
    Parked,
    Refused,
    Resumed,
)
from triage.review.audit import RULES, audit
from triage.review.audit_call import Weight
from triage.store.record import StoredEvent

# The whole list.


def test_a_sound_call_is_clean(sound: list[StoredEvent]) -> None:
    assert audit(CONTENT, sound, BEGUN + timedelta(days=1)) == []


JUSTIFIED = {
    # The caller said 52 °F, went back at the next question and said 62 °F: a slip, and mended.
    "06_coil_supply_low_technician_us": ["entered_twice"],
    # It is there to show what a no at a caution comes to.
    "10_caution_refused_technician_us": ["caution_refused"],
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
    modules = (sys.modules[__name__], test_audit_safety, test_audit_care)
    tests = " ".join(name for module in modules for name in vars(module))
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


def test_conclusion_was_wrong_where_the_repair_found_another_cause() -> None:
    stored = of(("program", CONCLUDED), report(found=("harvest_coil_open",), parts=()))
    (item,) = found(stored, "conclusion_was_wrong")
    assert "burned out" in item.text
    assert found(stored, "repair_did_not_hold") == [], "the repair itself held"
    assert found(of(("program", CONCLUDED), report()), "conclusion_was_wrong") == []


def test_repair_did_not_hold_is_told_once_with_bad_cycles_and_odd_readings() -> None:
    def of_report(**fields: object) -> list[str]:
        stored = of(("program", CONCLUDED), report(**fields))
        return [item.text for item in found(stored, "repair_did_not_hold")]

    assert of_report() == []
    (text,) = of_report(had_two_good_cycles=False)
    assert "two good cycles" in text
    odd = {"reading": "harvest_time", "value": 400.0, "verdict": "above"}
    (text,) = of_report(readings=(odd, {**odd, "reading": "freeze_time", "verdict": "within"}))
    assert text.endswith("harvest time")
    (text,) = of_report(had_two_good_cycles=False, readings=(odd,))
    assert "two good cycles" in text
    assert text.endswith("harvest time")


def test_conclusion_was_wrong_takes_no_fault_found_for_a_sound_machine() -> None:
    healthy = ("program", replace(CONCLUDED, causes=("healthy",)))
    sound = of(healthy, report(found=("no_fault_found",), parts=()))
    assert found(sound, "conclusion_was_wrong") == []
    broken = of(healthy, report(found=("plate_scaled_or_damaged",), parts=()))
    assert len(found(broken, "conclusion_was_wrong")) == 1


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


@pytest.mark.parametrize(
    "cause",
    [
        cause.id
        for cause in CONTENT.causes.values()
        if any(" if " in f" {part}" for part in cause.replace_together)
    ],
)
def test_parts_left_in_passes_over_parts_on_a_condition(cause: str) -> None:
    together = CONTENT.causes[cause].replace_together
    always = tuple(part for part in together if " if " not in f" {part}")
    ended = ("program", replace(CONCLUDED, causes=(cause,)))
    assert found(of(ended, report(found=(cause,), parts=always)), "parts_left_in") == []


def test_caution_refused_names_the_caution_and_who_was_at_the_desk() -> None:
    resumed = ("program", Resumed(CONTENT.version, "Hal"))
    no = ("agent", Refused("wet_floor", "no"))
    at_gate = ("agent", Refused("hot_parts", "no", "seal"))
    first, second = found(of(no, resumed, no, at_gate), "caution_refused")
    title = CONTENT.cautions["wet_floor"].title
    assert (
        first.text
        == f'the caution "{title}" was refused before a reading, with Mira Oduya at the desk'
    )
    assert "at the gate, with Hal at the desk" in second.text
    assert (first.desk, second.desk) == ("Mira Oduya", "Hal")


def test_the_last_report_counts() -> None:
    ended = ("program", CONCLUDED)
    stored = of(ended, report(had_two_good_cycles=False), report())
    assert found(stored, "repair_did_not_hold") == []
