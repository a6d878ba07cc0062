"""The rules about harm and the conclusion: calls that break each, and calls that keep it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from tests.review.audited import (
    CONCLUDED,
    LICENSED,
    SECOND,
    STARTED,
    Spoken,
    asked,
    found,
    had,
    of,
)
from tests.review.stored_calls import (
    call_of,
    chained,
)
from triage.dialogue.events import (
    Acknowledged,
    Answered,
    Refused,
)
from triage.store.record import StoredEvent
from triage.tree.proofs_of_order import FREEZE_HEALTH


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


def test_caution_before_reading_finds_a_value_given_after_an_unknown_one() -> None:
    unknown, even = had("ice_pattern", None, "?", "cannot see it"), had("ice_pattern", "even")
    (item,) = found(of(unknown, even), "caution_before_reading")
    assert item.sequence == 4
    yes = ("agent", Acknowledged("falling_ice", "yes"))
    assert found(of(unknown, yes, even), "caution_before_reading") == []


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
