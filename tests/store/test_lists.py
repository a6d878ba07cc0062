"""Lists: filters, pages, search, parked calls and outcomes, the same on every engine."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from datetime import timedelta
from typing import TYPE_CHECKING

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from tests.conversation import TREE
from tests.dialogue.event_lists import event_lists
from tests.store.samples import ANSWERED, CALL, CONCLUDED, CONTENT, NOW, STARTED, steady
from triage.dialogue.events import (
    Answered,
    Asked,
    Event,
    Identified,
    Noted,
    Parked,
    RepairReported,
    Resumed,
    Stopped,
    TakenBack,
)
from triage.store.listing import (
    ANY_OUTCOME,
    NO_AGENT,
    NO_OUTCOME,
    OPEN_RESULT,
    SessionFilter,
    SessionSummary,
    searchable,
)
from triage.store.open import open_store

if TYPE_CHECKING:
    from triage.store.sql import Store

Spoken = Sequence[tuple[str, Event]]

JUDGED = replace(
    CONCLUDED, agreement="agree", machine="gletsch_r500", refrigerant="R-404A",
    ranked=({"cause": "receiver_vapor_feed_failed", "probability": 0.9},),
)  # fmt: skip
CALLS: dict[str, Spoken] = {
    "a": (("p", STARTED), ("p", JUDGED)),
    "b": (("p", replace(STARTED, agent="Teo")), ("p", replace(JUDGED, agreement="disagree"))),
    "c": (
        ("p", STARTED),
        ("p", replace(JUDGED, result="withheld", refrigerant="R-290", machine="other")),
    ),
    "d": (("p", STARTED), ("x", Answered("machine", "gletsch", "gletsch_r500"))),
    "e": (("p", STARTED), ("x", Noted("Fan rattles loudly")), ("x", Noted("door open"))),
    "f": (
        ("p", STARTED),
        ("p", replace(JUDGED, causes=("compressor_weak",))),
        ("x", RepairReported(("compressor_weak",), had_two_good_cycles=True)),
    ),
    "g": (("p", STARTED), ("x", Identified("gl 42-7"))),
    "h": (("p", STARTED), ("x", Identified("GL427"))),
}


@pytest.fixture
def listed(store: Store) -> Store:
    """Eight calls, an hour apart."""
    for number, (name, spoken) in enumerate(CALLS.items()):
        now = NOW + timedelta(hours=number)
        store.append(f"20261125-000{number}-{name}", spoken, CONTENT, now, 0)
    return store


def names(store: Store, where: SessionFilter, **options: int) -> str:
    return "".join(line.session_id[-1] for line in store.sessions(where=where, **options))


@pytest.mark.parametrize(
    ("where", "expected"),
    [
        (SessionFilter(), "hgfedcba"),
        (SessionFilter(since=NOW + timedelta(hours=5)), "hgf"),
        (SessionFilter(until=NOW + timedelta(hours=2)), "ba"),
        (SessionFilter(since=NOW + timedelta(hours=1), until=NOW + timedelta(hours=3)), "cb"),
        (SessionFilter(agent="teo"), "b"),
        (SessionFilter(machine="gletsch_r500"), "fdba"),
        (SessionFilter(refrigerant="R-404A"), "fba"),
        (SessionFilter(refrigerant="R-404A", machines_of_refrigerant=("gletsch_r500",)), "fdba"),
        (SessionFilter(cause="compressor_weak"), "f"),
        (SessionFilter(result="withheld"), "c"),
        (SessionFilter(result=OPEN_RESULT), "hged"),
        (SessionFilter(is_disagreeing=True), "b"),
        (SessionFilter(outcome="compressor_weak"), "f"),
        (SessionFilter(outcome=ANY_OUTCOME), "f"),
        (SessionFilter(outcome=NO_OUTCOME), "hgedcba"),
        (SessionFilter(serial_number="Gl-4 2 7"), "hg"),
        (SessionFilter(text="rattles"), "e"),
        (SessionFilter(text="DOOR rat"), "e"),
        (SessionFilter(text="door rats"), ""),
        (SessionFilter(text="!?"), ""),
        (SessionFilter(text="' OR 1=1 --"), ""),
        (SessionFilter(agent="' OR ''='"), ""),
        (SessionFilter(machine="gletsch_r500", cause="compressor_weak", result="recommended"), "f"),
        (SessionFilter(machine="gletsch_r500", is_disagreeing=True, text="rattles"), ""),
    ],
)
def test_a_list_is_narrowed_to_what_was_asked_for(
    listed: Store, where: SessionFilter, expected: str
) -> None:
    assert names(listed, where) == expected


def test_pages_follow_one_another_without_gap_or_overlap(listed: Store) -> None:
    found, before = "", None
    while page := listed.sessions(3, before, SessionFilter(result=OPEN_RESULT)):
        found += "".join(line.session_id[-1] for line in page)
        before = page[-1].number
    assert found == "hged"


def test_many_matches_are_found_as_few_are(store: Store, monkeypatch: pytest.MonkeyPatch) -> None:
    from triage.store import notes

    for number in range(6):
        spoken: Spoken = (
            ("p", STARTED),
            ("x", Noted(f"fan {'rattles' if number % 2 else 'hums'}")),
        )
        store.append(f"20261125-000{number}-n{number}", spoken, CONTENT, NOW, 0)

    def found() -> list[str]:
        """Words, beginnings short and long, alone and beside something else."""
        return [
            names(store, SessionFilter(text=text, agent=agent))
            for text in ("fan", "rattles", "rattl", "rat", "fa rattle", "fan zzzz")
            for agent in ("", "Mira Oduya", "Nobody")
        ]

    rattling = ["531", "531", ""]
    assert found() == ["543210", "543210", "", *4 * rattling, *3 * [""]]
    before = found()
    monkeypatch.setattr(notes, "VERY_COMMON", 0)
    assert found() == before
    monkeypatch.setattr(notes, "MOST_SPELLED_OUT", 0)
    assert found() == before


def test_the_call_before_on_the_same_machine_is_known(listed: Store) -> None:
    later, earlier = (listed.summary(f"20261125-000{n}-{name}") for n, name in ((7, "h"), (6, "g")))
    assert later.previous_number == earlier.number
    assert earlier.previous_number is None


def test_every_call_is_read_with_its_events_and_a_damaged_one_is_named(listed: Store) -> None:
    read = dict(listed.each_session())
    assert [line.session_id[-1] for line in read] == list("hgfedcba")
    assert all(
        [(item.speaker, item.event) for item in stored] == list(CALLS[line.session_id[-1]])
        for line, stored in read.items()
    )
    assert len(list(listed.each_session(limit=3))) == 3


def test_a_call_is_its_takers_and_its_last_desks(store: Store) -> None:
    spoken: Spoken = (("p", replace(STARTED, agent="Eve")), ("p", Resumed(CONTENT, "Hal")))
    store.append("20261125-0000-a", spoken, CONTENT, NOW, 0)
    store.append("20261125-0001-b", [("p", replace(STARTED, agent="Hal"))], CONTENT, NOW, 0)
    store.append("20261125-0002-c", [("p", replace(STARTED, agent=""))], CONTENT, NOW, 0)
    assert names(store, SessionFilter(agent="eve")) == "a"
    assert names(store, SessionFilter(agent="Hal")) == "ba"
    assert names(store, SessionFilter(agent="Hal", text="nothing")) == ""
    assert names(store, SessionFilter(agent=NO_AGENT)) == "c"
    assert names(store, SessionFilter(agent="Hal"), limit=1) == "b"


def test_calls_on_a_machine_follow_one_another_however_late_it_is_named(store: Store) -> None:
    for number, name in enumerate("abc"):
        now = NOW + timedelta(hours=number)
        store.append(f"20261125-000{number}-{name}", [("p", STARTED)], CONTENT, now, 0)

    def identify(name: str, serial: str) -> None:
        session_id = next(f"20261125-000{n}-{name}" for n, one in enumerate("abc") if one == name)
        length = store.summary(session_id).count
        store.append(session_id, [("x", Identified(serial))], CONTENT, NOW, length)

    def followed() -> dict[str, str]:
        lines = {line.number: line for line in store.sessions()}
        return {
            line.session_id[-1]: lines[line.previous_number].session_id[-1]
            for line in lines.values()
            if line.previous_number is not None
        }

    identify("c", "GL-1")
    identify("a", "gl 1")
    assert followed() == {"c": "a"}
    identify("b", "GL1")
    assert followed() == {"c": "b", "b": "a"}
    identify("b", "another")
    assert followed() == {"c": "a"}
    identify("a", "another")
    assert followed() == {"b": "a"}
    assert store.verify().faults == ()


def test_what_was_taken_back_is_no_longer_said_of_a_call(store: Store) -> None:
    spoken: Spoken = (*CALLS["d"], ("x", TakenBack("machine")))
    store.append("20261125-0000-a", spoken, CONTENT, NOW, 0)
    assert store.summary("20261125-0000-a").machine == ""


# Parked calls.


def test_a_parked_call_waits_until_somebody_goes_on(store: Store) -> None:
    due = ((NOW + timedelta(minutes=minutes)).isoformat() for minutes in (20, 5))
    for name, at, agent in zip("ab", due, ("Ana", "Teo"), strict=True):
        spoken = (("p", replace(STARTED, agent=agent)), ("x", Parked("freeze is running", at)))
        store.append(f"20261125-0000-{name}", spoken, CONTENT, NOW, 0)
    assert [line.session_id[-1] for line in store.parked()] == ["b", "a"]
    assert [line.park_reason for line in store.parked("ana")] == ["freeze is running"]
    store.append("20261125-0000-b", [("p", Resumed(CONTENT, "Ana"))], CONTENT, NOW, 2)
    assert [line.session_id[-1] for line in store.parked()] == ["a"]
    resumed = store.summary("20261125-0000-b")
    assert (resumed.state, resumed.agent, resumed.desk, resumed.due_at) == (
        "open",
        "Teo",
        "Ana",
        "",
    )


def test_the_time_a_call_waits_does_not_count(store: Store) -> None:
    turns: list[tuple[int, Event]] = [
        (0, STARTED), (10, Asked("freeze_time")), (40, Parked("wait", "")),
        (4000, Resumed(CONTENT)), (4020, ANSWERED), (4030, Stopped()),
        (9000, Resumed(CONTENT)), (9005, CONCLUDED),
    ]  # fmt: skip
    for length, (second, event) in enumerate(turns):
        now = NOW + timedelta(seconds=second)
        store.append("20261125-0000-a", [("x", event)], CONTENT, now, length)
    assert store.summary("20261125-0000-a").active_s == pytest.approx(40 + 30 + 5)


def test_a_clock_set_back_takes_no_time_away(store: Store) -> None:
    for length, second in enumerate((0, 60, -3600, -3590)):
        now = NOW + timedelta(seconds=second)
        event: Event = STARTED if length == 0 else Noted(str(second))
        store.append("20261125-0000-a", [("x", event)], CONTENT, now, length)
    assert store.summary("20261125-0000-a").active_s == pytest.approx(70.0)
    assert store.verify().faults == ()


# Outcomes.


def test_only_repairs_that_held_confirm_a_cause(store: Store) -> None:
    reports = [("compressor_weak",), ("compressor_weak",), ("coil_supply_low",), ("a", "b"), ()]
    for number, (found, held) in enumerate(
        zip(reports, (True, None, False, True, True), strict=True)
    ):
        report = RepairReported(found, had_two_good_cycles=held)
        spoken: Spoken = (*CALL, ("x", report))
        store.append(f"20261125-0000-a{number}", spoken, CONTENT, NOW, 0)
    assert store.confirmed_outcomes() == {TREE: {"compressor_weak": 2, "several_faults": 1}}


def test_the_last_report_counts(store: Store) -> None:
    reports = (RepairReported(("coil_supply_low",)), RepairReported(("compressor_weak",)))
    store.append("20261125-0000-a", (*CALL, *(("x", item) for item in reports)), CONTENT, NOW, 0)
    assert store.confirmed_outcomes() == {TREE: {"compressor_weak": 1}}


# Lines follow from events, however they came.


@settings(
    steady,
    max_examples=40,
    suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow],
)
@given(st.lists(st.tuples(event_lists(), st.integers(-100, 10_000)), min_size=1, max_size=4))
def test_a_line_kept_turn_by_turn_is_the_one_its_events_give(
    every_store: list[Store], turns: list[tuple[list[Event], int]]
) -> None:
    session_id = f"20261125-{len(every_store[0].sessions(None)):04}-zzzz"
    length = 0
    for said, second in turns:
        spoken = [("x", event) for event in said]
        now = NOW + timedelta(seconds=second)
        for store in every_store:
            store.append(session_id, spoken, CONTENT, now, length)
        length += len(spoken)
    if not length:
        return
    lines: list[SessionSummary] = [store.summary(session_id) for store in every_store]
    assert lines[0] == lines[1] == lines[2]
    assert [store.verify_session(session_id).faults for store in every_store] == [(), (), ()]


@given(st.text(max_size=60))
@steady
def test_what_was_noted_is_found_by_each_of_its_words(note: str) -> None:
    with open_store(":memory:") as store:
        store.append("20261125-0000-a", [("p", STARTED), ("x", Noted(note))], CONTENT, NOW, 0)
        for word in searchable(note):
            assert names(store, SessionFilter(text=word)) == "a"
