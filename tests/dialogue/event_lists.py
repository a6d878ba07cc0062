"""Hypothesis strategies for events as a store may hold them: any kind, any text, in any order."""

from __future__ import annotations

from dataclasses import asdict
from math import inf
from typing import Any

from hypothesis import strategies as st

from triage.dialogue.events import (
    Acknowledged,
    Answered,
    Asked,
    Concluded,
    Declined,
    Event,
    Identified,
    Looked,
    Noted,
    NotUnderstood,
    Offered,
    Parked,
    Refused,
    RepairReported,
    Resumed,
    Said,
    Started,
    Stopped,
    TakenBack,
    TreeChosen,
)

EVENT_KINDS: tuple[type[Any], ...] = (
    Started, TreeChosen, Asked, Said, Answered, Offered, Declined, NotUnderstood, TakenBack,
    Looked, Noted,
    Acknowledged, Refused, Stopped, Identified, Parked, Resumed, Concluded, RepairReported,
)  # fmt: skip

TEXTS = st.text(max_size=8)
_READINGS = st.sampled_from(
    ["caller_qualification", "coil_resistance", "freeze_time", "site_altitude", "no_such_reading"]
)
_CAUTIONS = st.sampled_from(["falling_ice", "licensed_practice", "no_such_caution"])
_SEALS = st.sampled_from(["", "0123456789abcdef"])
_VALUES = st.one_of(
    st.none(),
    st.floats(allow_nan=False, allow_infinity=False),
    st.just(inf),
    st.sampled_from(["licensed", "unlicensed", "yes"]),
)


_RANKED = st.fixed_dictionaries({"cause": TEXTS, "probability": st.floats(0.0, 1.0)})
_AFTER_REPAIR = st.fixed_dictionaries({
    "reading": _READINGS, "typed": TEXTS, "value": _VALUES, "minute_s": st.none() | st.just(60.0),
    "verdict": st.sampled_from(["within", "above"]), "low": st.floats(0.0, 9.0), "high": _VALUES,
})  # fmt: skip


def answers() -> st.SearchStrategy[Answered]:
    """An answer to one of a few readings, with any value."""
    return st.builds(
        Answered,
        reading=_READINGS,
        typed=TEXTS,
        value=_VALUES,
        reason=TEXTS,
        minute_s=st.none() | st.floats(0.0, 3600.0),
        is_minute_assumed=st.booleans(),
    )


def events() -> st.SearchStrategy[Event]:
    """One event of any kind."""
    return st.one_of(
        st.builds(
            Started,
            tree=TEXTS,
            content_version=TEXTS,
            voice=TEXTS,
            units=TEXTS,
            altitude_m=st.floats(-400.0, 5000.0),
            agent=TEXTS,
        ),
        st.builds(Asked, node=TEXTS),
        st.builds(Said, text=TEXTS),
        answers(),
        st.builds(
            Offered,
            items=st.lists(answers().map(asdict), max_size=3).map(tuple),
            doubt=TEXTS,
        ),
        st.builds(Declined, reading=_READINGS, typed=TEXTS),
        st.builds(NotUnderstood, node=TEXTS, typed=TEXTS, message=TEXTS),
        st.builds(TakenBack, reading=_READINGS, typed=TEXTS),
        st.builds(Looked, topic=TEXTS, typed=TEXTS, node=TEXTS),
        st.builds(Noted, text=TEXTS),
        st.builds(Acknowledged, caution=_CAUTIONS, typed=TEXTS, seal=_SEALS),
        st.builds(Refused, caution=_CAUTIONS, typed=TEXTS, seal=_SEALS),
        st.builds(Stopped, typed=TEXTS),
        st.builds(Identified, serial_number=TEXTS, typed=TEXTS),
        st.builds(Parked, reason=TEXTS, due_at=TEXTS, typed=TEXTS),
        st.builds(Resumed, content_version=TEXTS, agent=TEXTS),
        st.builds(
            Concluded,
            ending=TEXTS,
            result=TEXTS,
            causes=st.lists(TEXTS, max_size=3).map(tuple),
            reason=TEXTS,
            agreement=TEXTS,
            ranked=st.lists(_RANKED, max_size=2).map(tuple),
            machine=TEXTS,
            refrigerant=TEXTS,
        ),
        st.builds(
            RepairReported,
            found=st.lists(TEXTS, max_size=2).map(tuple),
            parts=st.lists(TEXTS, max_size=2).map(tuple),
            had_two_good_cycles=st.none() | st.booleans(),
            readings=st.lists(_AFTER_REPAIR, max_size=2).map(tuple),
            note=TEXTS,
            reported_by=TEXTS,
        ),
    )


def event_lists() -> st.SearchStrategy[list[Event]]:
    """A session of any events in any order."""
    return st.lists(events(), max_size=25)
