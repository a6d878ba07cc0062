"""Replay: the same content gives the same call; other content parts where it says so."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from itertools import pairwise

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.conversation import FEED_FAILED, SOUND_FREEZE, TREE, shipped_engine
from tests.dialogue.calls import caller_by_number, turns_of
from tests.review.stored_calls import (
    DEMOS,
    Chained,
    call_of,
    chained,
    demo_record,
    desk_of,
    events_of,
)
from tests.strategies import FIXED
from triage.console.answers_file import AnswersFile
from triage.console.scripted import Script
from triage.dialogue.case import fold
from triage.dialogue.engine import Engine
from triage.dialogue.events import (
    Acknowledged,
    Answered,
    Asked,
    Concluded,
    Event,
    Refused,
    RepairReported,
    Said,
    Started,
)
from triage.dialogue.view import END_PROMPTS, AskCaution, AskQuestion
from triage.review.replay import NOT_ASKED_THEN, replay
from triage.review.replayed import Parting
from triage.tree.content import Caution

SHIPPED = shipped_engine().content
STARTED = Started(TREE, SHIPPED.version, "agent", "us", 0.0, "Mira Oduya")


def engine_with(**changed: object) -> Engine:
    """Return an engine of the shipped content with something else in it."""
    return Engine(replace(SHIPPED, version="other", **changed), TREE)  # type: ignore[arg-type]


def readings_with(reading_id: str, **changed: object) -> Mapping[str, object]:
    changed_reading = replace(SHIPPED.readings[reading_id], **changed)  # type: ignore[arg-type]
    return {**SHIPPED.readings, reading_id: changed_reading}


def engine_warning_at(reading_id: str) -> Engine:
    """Return an engine of content with a caution nobody has heard of in front of a reading."""
    place = SHIPPED.cautions["falling_ice"].place
    new = Caution("sharp_edges", "Sharp edges", "Wear gloves.", ("sharp",), place)
    return engine_with(
        cautions={**SHIPPED.cautions, "sharp_edges": new},
        readings=readings_with(reading_id, cautions=("sharp_edges",)),
    )


def tree_with(**changed: object) -> Mapping[str, object]:
    return {TREE: replace(SHIPPED.trees[TREE], **changed)}  # type: ignore[arg-type]


@pytest.fixture(scope="module")
def feed_failed() -> list[Event]:
    return events_of(call_of(FEED_FAILED))


@pytest.mark.parametrize("name", DEMOS)
def test_a_demo_call_goes_the_same_way_through_its_own_content(name: str) -> None:
    found = replay(shipped_engine(), events_of(demo_record(name)))
    assert found.is_same
    assert found.path_now == found.path_then
    assert found.end_now == found.end_then
    assert found.end_then is not None
    assert (found.gone, found.unanswered, found.assumed_cautions) == ((), (), ())


_LINES = st.sampled_from(
    ["back", "why", "how", "case", "note it rattles", "unknown no gauges", "yes", "no", "hm",
     "change refrigerant", "change freeze time", "stop here please", "R-404A", "68 F, water 55 F",
     "change discharge line", "the head is 300 psi at 6 min"]
)  # fmt: skip


@given(st.lists(st.one_of(st.none(), st.none(), st.none(), _LINES), max_size=60), st.booleans())
@settings(FIXED, max_examples=40)
def test_whatever_was_said_the_record_goes_the_same_way_wherever_it_stops(
    lines: list[str | None], is_licensed: bool
) -> None:
    record = Chained()
    desk = desk_of(record)
    said = dict(FEED_FAILED) if is_licensed else {**FEED_FAILED, "caller_qualification": "no"}
    script = Script(AnswersFile({key: (text,) * 9 for key, text in said.items()}, "all"))
    for line in lines:
        if desk.is_over:
            break
        desk.say(line or ("done" if desk.stage is None else script.line(desk.prompt)))
    events = events_of(record.events)
    for end in record.ends[-3:]:
        found = replay(shipped_engine(), events[:end])
        assert found.is_same, (found.parting, events[:end][-3:])
        assert found.path_now == found.path_then


def spoken_by(number: int) -> list[Event]:
    """Return the record of a made-up caller who corrects nothing."""
    events: list[Event] = [STARTED]
    turns = turns_of(caller_by_number(number))
    for turn, after in pairwise(turns):
        events.append(Asked(turn.prompt.node))
        prompt = turn.prompt
        if isinstance(prompt, AskCaution):
            key = (prompt.caution.id, prompt.seal)
            made = Acknowledged if key in after.case.acknowledged else Refused
            events.append(made(prompt.caution.id, "", prompt.seal))
        else:
            assert isinstance(prompt, AskQuestion)
            events.append(after.case.answers[prompt.reading.id])
    closing = shipped_engine().end_event(turns[-1].case)
    assert closing is not None
    return [*events, closing]


def asked_anew(engine: Engine, record: list[Event]) -> tuple[list[str], Concluded | None]:
    """Return what a call of the final answers is asked from its start: the definition of replay."""
    counted = fold(record)
    by_caution = {
        (item.caution, bool(item.seal)): item
        for item in record
        if isinstance(item, (Acknowledged, Refused))
    }
    case, path = fold([STARTED]), []
    while not isinstance(prompt := engine.prompt(case), END_PROMPTS):
        path.append(prompt.node)
        event: Event
        if isinstance(prompt, AskCaution):
            said = by_caution.get((prompt.caution.id, bool(prompt.seal)))
            made = Refused if isinstance(said, Refused) else Acknowledged
            event = made(prompt.caution.id, "", prompt.seal)
        else:
            assert isinstance(prompt, AskQuestion)
            reading = prompt.reading.id
            event = counted.answers.get(reading) or Answered(reading, "", None, NOT_ASKED_THEN)
        case = fold([event], case)
    return path, engine.end_event(case)


@given(st.integers(0, 10_000))
@settings(FIXED, max_examples=25)
def test_other_content_asks_what_it_would_have_asked_with_the_answers_one_by_one(
    number: int,
) -> None:
    # The judged signs rank otherwise than the computed likelihoods: other questions are worth it.
    record, other = spoken_by(number), engine_with(likelihoods="")
    path, closing = asked_anew(other, record)
    found = replay(other, record)
    assert list(found.path_now) == path
    assert closing is not None
    assert found.end_now is not None
    assert (found.end_now.ending, found.end_now.causes) == (closing.ending, closing.causes)
    parting = next(
        (place for place, pair in enumerate(zip(found.path_then, path, strict=False))
         if pair[0] != pair[1]),
        None,
    )  # fmt: skip
    if parting is not None:
        assert found.parting == Parting(parting + 1, found.path_then[parting], path[parting])


def test_the_gate_stands_open_to_who_acknowledged_whatever_the_seal(
    feed_failed: list[Event],
) -> None:
    found = replay(engine_with(), feed_failed)
    assert found.is_same
    assert found.end_now is not None
    assert found.end_now.result == "recommended"


def test_a_refusal_at_the_gate_withholds_today_as_it_did_then() -> None:
    events = events_of(call_of(FEED_FAILED, ("power_off_lockout",)))
    found = replay(engine_with(), events)
    assert found.is_same
    assert found.end_now is not None
    assert found.end_now.result == "withheld"


def test_a_new_caution_is_named_and_taken_as_acknowledged(feed_failed: list[Event]) -> None:
    other = engine_warning_at("freeze_time")
    found = replay(other, feed_failed)
    assert found.parting is not None
    assert (found.parting.then, found.parting.now) == (
        "freeze.freeze_time", "caution:sharp_edges@freeze.freeze_time",
    )  # fmt: skip
    assert found.assumed_cautions == ("sharp_edges",)
    assert found.asked_only_now == ("caution:sharp_edges@freeze.freeze_time",)
    assert not found.is_same_path
    assert found.is_same_conclusion


def test_a_question_nobody_asked_then_is_unknown_and_named(feed_failed: list[Event]) -> None:
    # Without the machine on file its condenser has to be asked for.
    machines = {key: item for key, item in SHIPPED.machines.items() if key != "gletsch_r500"}
    found = replay(engine_with(machines=machines), feed_failed)
    assert "conditions.condenser_kind" in found.asked_only_now
    assert "condenser_kind" in found.unanswered
    assert "gletsch_r500 as an answer to machine" in found.gone
    assert not found.is_same


def test_an_ending_with_another_cause_is_another_conclusion_on_the_same_way(
    feed_failed: list[Event],
) -> None:
    endings = SHIPPED.trees[TREE].endings
    changed = replace(endings["harvest.feed_confirmed"], causes=("hot_gas_valve_not_opening",))
    trees = tree_with(endings={**endings, "harvest.feed_confirmed": changed})
    found = replay(engine_with(trees=trees), feed_failed)
    assert not found.is_same_conclusion
    assert found.end_then is not None
    assert found.end_now is not None
    assert found.end_then.causes == ("receiver_vapor_feed_failed",)
    assert found.end_now.causes != found.end_then.causes


def test_a_band_that_moved_judges_a_reading_after_the_repair_otherwise(
    feed_failed: list[Event],
) -> None:
    machine = SHIPPED.machines["gletsch_r500"]
    warm_s = 60.0
    after = {
        "reading": "harvest_suction_pressure", "typed": "120 psi", "minute_s": warm_s,
        "value": 928_696.0, "verdict": "above", "low": 1.0, "high": 2.0,
    }  # fmt: skip
    report = RepairReported(("receiver_vapor_feed_failed",), readings=(after,))
    found = replay(shipped_engine(), [*feed_failed, report])
    assert machine.id == "gletsch_r500"
    assert [(item.then, item.now) for item in found.rejudged] == [("above", "within")]
    assert found.is_same_path
    assert found.is_same_conclusion
    assert not found.is_same


def test_what_the_content_no_longer_knows_is_named_and_nothing_fails() -> None:
    old = [
        replace(STARTED, content_version="0ld"),
        Asked("a_question_of_old"),
        Said("62 psi"),
        Answered("a_reading_of_old", "62 psi", 528_778.0),
        Asked("caution:a_caution_of_old@freeze.ice_pattern"),
        Acknowledged("a_caution_of_old", "yes"),
        Answered("ice_pattern", "wavy", "wavy"),
        Concluded("an_ending_of_old", "recommended", ("a_cause_of_old",), "both low"),
    ]
    found = replay(shipped_engine(), old)
    assert set(found.gone) == {
        "question a_question_of_old",
        "reading a_reading_of_old",
        "caution a_caution_of_old",
        "wavy as an answer to ice_pattern",
        "ending an_ending_of_old",
        "cause a_cause_of_old",
    }
    assert found.parting == Parting(1, "a_question_of_old", "opening.caller_qualification")
    assert not found.is_same_conclusion
    assert found.is_same_ranking, "the record is too old to hold a ranking"


def test_a_reading_said_besides_is_known_at_the_question_it_was_said_at() -> None:
    said = {**FEED_FAILED, "ambient_air_temperature": "70 F, water 55 F"}
    del said["water_inlet_temperature"]
    events = events_of(call_of(said))
    assert "water_inlet_temperature" not in fold(events).asked
    other = engine_warning_at("complaint")
    found = replay(other, events)
    assert found.parting is not None
    assert found.parting.now == "caution:sharp_edges@opening.complaint"
    assert "water_inlet_temperature" not in found.path_now
    assert found.is_same_conclusion


def test_an_open_call_is_compared_by_its_way_and_by_what_it_waits_for() -> None:
    record = Chained()
    desk = desk_of(record)
    script = Script(AnswersFile({key: (text,) for key, text in SOUND_FREEZE.items()}))
    for _ in range(5):
        desk.say(script.line(desk.prompt))
    desk.say("stop")
    events = events_of(record.events)
    found = replay(shipped_engine(), events)
    assert found.is_same
    assert found.stands_then == found.stands_now == desk.prompt.node
    machines = {key: item for key, item in SHIPPED.machines.items() if key != "gletsch_r500"}
    other = replay(engine_with(machines=machines), events)
    assert other.stands_then == desk.prompt.node
    assert other.stands_now == "conditions.condenser_kind"
    assert other.end_now is None
    assert not other.is_same_path


def test_corrections_count_as_they_stood_in_the_end() -> None:
    record = Chained()
    desk = desk_of(record)
    # A freeze of 24 minutes is taken back one question later.
    texts = {key: (text,) for key, text in FEED_FAILED.items()}
    texts["freeze_time"] = ("24:20", "14:20")
    script = Script(AnswersFile(texts, "all"))
    has_gone_back = False
    while not desk.is_over:
        is_time = desk.prompt.node.endswith("water_flow_over_plate") and not has_gone_back
        desk.say("back" if is_time else script.line(desk.prompt))
        has_gone_back = has_gone_back or is_time
    events = events_of(record.events)
    assert replay(shipped_engine(), events).is_same
    # The two part while the first one still stands.
    found = replay(engine_warning_at("water_flow_over_plate"), events)
    assert found.parting is not None
    assert found.parting.now == "caution:sharp_edges@freeze.water_flow_over_plate"
    mended = replay(engine_with(), events_of(call_of(FEED_FAILED)))
    assert found.end_now == mended.end_now
    assert found.is_same_ranking


def test_a_reading_said_at_a_question_that_is_gone_is_known_from_there_on() -> None:
    old = [
        STARTED,
        Asked("opening.caller_qualification"),
        Answered("caller_qualification", "yes both", "licensed"),
        Asked("a_question_of_old"),
        Answered("complaint", "will not drop", "will_not_release"),
    ]
    found = replay(shipped_engine(), old)
    assert found.parting == Parting(2, "a_question_of_old", "opening.complaint")
    assert found.stands_now == "opening.machine"
    assert "opening.complaint" not in found.path_now


def test_a_caution_the_gate_no_longer_puts_is_named(feed_failed: list[Event]) -> None:
    asked_at_gate = "caution:falling_ice@gate"
    assert asked_at_gate in fold(feed_failed).asked
    without = replace(SHIPPED.cautions["falling_ice"], hazards=("of_no_repair",))
    found = replay(engine_with(cautions={**SHIPPED.cautions, "falling_ice": without}), feed_failed)
    assert found.parting is not None
    assert found.parting.then == asked_at_gate
    assert found.asked_only_then == (asked_at_gate,)
    assert found.is_same_conclusion


def test_a_session_without_its_beginning_cannot_be_replayed() -> None:
    found = replay(shipped_engine(), events_of(chained(("agent", Said("hello")))))
    assert "does not begin with its start" in found.cannot
    assert not found.is_same
    assert replay(shipped_engine(), []).cannot


def test_replaying_reads_nothing_of_a_case_beyond_its_events() -> None:
    events = events_of(demo_record("03_undercharge_agent_us"))
    before = repr(events)
    assert replay(shipped_engine(), events) == replay(shipped_engine(), events)
    assert repr(events) == before
