"""The record: canonical text, the chain and what it shows, ids and times."""

from __future__ import annotations

from dataclasses import fields, replace
from datetime import UTC, datetime, timedelta, timezone
from hashlib import sha256
from typing import Any

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from tests.store.samples import (
    ANSWERED,
    CALL,
    CONTENT,
    NOW,
    SESSION,
    events,
    steady,
    turns,
    typed_texts,
)
from triage.dialogue.events import EVENT_FORMAT, Noted, event_to_data
from triage.store.errors import StoreDamaged, StoreNewer, shown
from triage.store.record import (
    FIRST_PREVIOUS_HASH,
    StoredEvent,
    canonical_json,
    chain,
    event_of,
    hash_of,
    new_session_id,
    utc_text,
    verify_chain,
)

chains = st.lists(turns, min_size=2, max_size=6).map(
    lambda spoken: chain(SESSION, spoken, CONTENT, NOW, 0, FIRST_PREVIOUS_HASH)
)


def a_call() -> list[StoredEvent]:
    return chain(SESSION, CALL, CONTENT, NOW, 0, FIRST_PREVIOUS_HASH)


def test_the_hash_is_sha256_of_the_canonical_text_of_all_other_fields() -> None:
    """Written out by hand, so that a record kept today can be checked without this program."""
    (stored,) = chain(SESSION, [("agent", Noted("18 °C"))], "v1", NOW, 0, FIRST_PREVIOUS_HASH)
    text = (
        '{"content_version":"v1","data":{"text":"18 \\u00b0C"},"event_format":1,"kind":"noted",'
        '"previous_hash":"' + "0" * 64 + '","recorded_at":"2026-11-25T09:31:07.250000+00:00",'
        '"sequence":1,"session_id":"20261125-0931-k7qm","speaker":"agent"}'
    )
    assert stored.hash == sha256(text.encode()).hexdigest()


def test_a_chain_starts_from_zeros_and_each_event_carries_the_hash_before_it() -> None:
    stored = a_call()
    assert [event.previous_hash for event in stored] == [
        "0" * 64,
        *(event.hash for event in stored[:-1]),
    ]
    assert [event.sequence for event in stored] == [1, 2, 3, 4]
    assert verify_chain(stored) is None


def test_a_chain_made_in_two_pieces_equals_one_made_at_once() -> None:
    head = chain(SESSION, CALL[:2], CONTENT, NOW, 0, FIRST_PREVIOUS_HASH)
    assert head + chain(SESSION, CALL[2:], CONTENT, NOW, 2, head[-1].hash) == a_call()


@steady
@given(events)
def test_every_event_comes_back_from_its_record(event: Noted) -> None:
    (stored,) = chain(SESSION, [("caller", event)], CONTENT, NOW, 0, FIRST_PREVIOUS_HASH)
    assert event_of(stored) == event


@steady
@given(chains, st.data())
def test_a_change_to_any_field_of_any_event_is_found(
    stored: list[StoredEvent], data: st.DataObject
) -> None:
    place = data.draw(st.integers(0, len(stored) - 1))
    name = data.draw(st.sampled_from([item.name for item in fields(StoredEvent)]))
    before = getattr(stored[place], name)
    if isinstance(before, int):
        after: Any = data.draw(st.integers(-3, 10))
    elif isinstance(before, dict):
        after = before | {"text": data.draw(typed_texts)}
    else:
        after = data.draw(typed_texts)
    assume(after != before)
    stored[place] = replace(stored[place], **{name: after})
    fault = verify_chain(stored)
    assert fault is not None
    assert fault.isprintable()
    if place > 0 or name != "session_id":
        assert f"event {place + 1} " in fault


@steady
@given(chains, st.data())
def test_a_changed_event_with_its_hash_made_anew_breaks_the_link_of_the_next(
    stored: list[StoredEvent], data: st.DataObject
) -> None:
    place = data.draw(st.integers(0, len(stored) - 2))
    changed = replace(stored[place], speaker="somebody")
    stored[place] = replace(changed, hash=hash_of(changed))
    assert verify_chain(stored) == f"event {place + 2} does not follow the event before it"


@steady
@given(chains, st.data())
def test_an_event_taken_from_before_the_end_is_found(
    stored: list[StoredEvent], data: st.DataObject
) -> None:
    place = data.draw(st.integers(0, len(stored) - 2))
    del stored[place]
    assert (verify_chain(stored) or "").startswith(f"event {place + 1} is missing")


@steady
@given(chains, st.data())
def test_any_other_order_is_found(stored: list[StoredEvent], data: st.DataObject) -> None:
    shuffled = data.draw(st.permutations(stored))
    assume(shuffled != stored)
    assert verify_chain(shuffled) is not None


@steady
@given(chains, st.data())
def test_an_event_put_in_or_repeated_is_found(
    stored: list[StoredEvent], data: st.DataObject
) -> None:
    place = data.draw(st.integers(0, len(stored) - 1))
    assert verify_chain([*stored[:place], stored[place], *stored[place:]]) is not None


def test_an_end_cut_off_leaves_a_chain_that_holds() -> None:
    """A limit stated in the module: only the length kept elsewhere can tell."""
    assert verify_chain(a_call()[:-1]) is None
    assert verify_chain([]) is None


def test_an_event_of_another_session_is_found() -> None:
    first = a_call()
    other = chain("20261125-0932-bbbb", CALL, CONTENT, NOW, 0, FIRST_PREVIOUS_HASH)
    assert "belongs to another session" in (verify_chain([first[0], *other[1:]]) or "")


def test_an_event_of_a_newer_format_is_refused_by_name() -> None:
    newer = replace(a_call()[2], event_format=EVENT_FORMAT + 1)
    with pytest.raises(StoreNewer, match=r"event 3 was written by a newer version.*update triage"):
        event_of(newer)


@pytest.mark.parametrize("change", [{"kind": "sung"}, {"data": {}}, {"data": {"pitch": 440}}])
def test_an_event_of_unknown_shape_is_damage(change: dict[str, Any]) -> None:
    with pytest.raises(StoreDamaged, match="event 3 cannot be read"):
        event_of(replace(a_call()[2], **change))


def test_what_is_no_number_is_never_recorded() -> None:
    broken = replace(ANSWERED, value=float("nan"))
    with pytest.raises(ValueError, match="not JSON compliant"):
        chain(SESSION, [("caller", broken)], CONTENT, NOW, 0, FIRST_PREVIOUS_HASH)


def test_an_open_circuit_comes_back_infinite() -> None:
    measured = replace(ANSWERED, value=float("inf"))
    (stored,) = chain(SESSION, [("caller", measured)], CONTENT, NOW, 0, FIRST_PREVIOUS_HASH)
    assert event_of(stored) == measured


@pytest.mark.parametrize("speaker", ["bot\n", "\x1b[31m", "a\0b"])
def test_a_name_with_control_characters_is_never_recorded(speaker: str) -> None:
    with pytest.raises(ValueError, match="unprintable"):
        chain(SESSION, [(speaker, CALL[0][1])], CONTENT, NOW, 0, FIRST_PREVIOUS_HASH)


@steady
@given(events)
def test_canonical_text_does_not_depend_on_the_order_of_keys(event: Noted) -> None:
    data = event_to_data(event)
    assert canonical_json(dict(reversed(data.items()))) == canonical_json(data)
    assert canonical_json(data).isascii()


def test_the_time_of_recording_is_utc_with_microseconds() -> None:
    local = datetime(2026, 11, 25, 4, 31, tzinfo=timezone(timedelta(hours=-5)))
    assert utc_text(local) == "2026-11-25T09:31:00.000000+00:00"
    with pytest.raises(ValueError, match="zone"):
        utc_text(datetime(2026, 11, 25))
    with pytest.raises(ValueError, match="zone"):
        new_session_id(datetime(2026, 11, 25), bytes(8))


@steady
@given(
    st.datetimes(datetime(1970, 1, 2), datetime(9998, 1, 1), timezones=st.just(UTC)),
    st.integers(1, 10**6),
    st.binary(min_size=4, max_size=8),
    st.binary(min_size=4, max_size=8),
)
def test_ids_sort_by_the_minute_and_spell_without_lookalikes(
    start: datetime, later_minutes: int, first: bytes, second: bytes
) -> None:
    one = new_session_id(start, first)
    other = new_session_id(start + timedelta(minutes=later_minutes), second)
    assert one < other
    assert len(one) == len("20261125-0931-k7qm")
    assert not set(one[14:]) & set("01aeiouyl")


def test_an_id_differs_by_its_random_bytes_alone() -> None:
    ids = {new_session_id(NOW, number.to_bytes(4, "big")) for number in range(2000)}
    assert len(ids) == 2000
    with pytest.raises(ValueError, match="4 random bytes"):
        new_session_id(NOW, b"abc")


@steady
@given(typed_texts)
def test_text_for_a_message_has_no_control_characters(text: str) -> None:
    assert shown(text).isprintable()
