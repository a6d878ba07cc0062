"""Content that loses a license, a caution or a hazard is told, each edit by itself."""

from __future__ import annotations

from dataclasses import replace

import pytest

from tests.conversation import shipped_engine
from triage.tree.content import Cause, Content, Reading, ReadingKind, Side
from triage.tree.errors import ProofFailed
from triage.tree.proofs import check_content
from triage.tree.proofs_of_safety import (
    CAUSES,
    LICENSED_HAZARDS,
    LICENSED_KINDS,
    LICENSED_READINGS,
    PRINTED,
    WORK,
    readings_are_guarded,
)

CONTENT = shipped_engine().content
GUARDED = [
    reading.id
    for reading in CONTENT.readings.values()
    if reading.id not in PRINTED
    and (reading.kind in LICENSED_KINDS or reading.id in LICENSED_READINGS)
]
TOUCHING = [
    reading.id
    for reading in CONTENT.readings.values()
    if any(LICENSED_HAZARDS & {*CONTENT.cautions[name].hazards} for name in reading.cautions)
]


def with_reading(reading: Reading) -> Content:
    return replace(CONTENT, readings={**CONTENT.readings, reading.id: reading})


def with_cause(cause: Cause) -> Content:
    return replace(CONTENT, causes={**CONTENT.causes, cause.id: cause})


@pytest.mark.parametrize("reading_id", sorted({*GUARDED, *TOUCHING}))
def test_a_hazardous_reading_is_never_for_everybody(reading_id: str) -> None:
    edited = with_reading(replace(CONTENT.readings[reading_id], is_licensed=False))
    with pytest.raises(ProofFailed, match=f"reading {reading_id} is work for a licensed"):
        check_content(edited)


@pytest.mark.parametrize("reading_id", GUARDED)
def test_a_hazardous_reading_never_loses_its_caution(reading_id: str) -> None:
    edited = with_reading(replace(CONTENT.readings[reading_id], cautions=()))
    with pytest.raises(ProofFailed, match=f"no caution in front of reading {reading_id}"):
        check_content(edited)


@pytest.mark.parametrize("reading_id", sorted(LICENSED_READINGS))
def test_a_reading_of_the_list_is_guarded_as_soon_as_the_content_has_it(reading_id: str) -> None:
    reading = replace(CONTENT.readings["ice_pattern"], id=reading_id)
    told = [finding.message for finding in readings_are_guarded(with_reading(reading))]
    hazard = LICENSED_READINGS[reading_id]
    assert told == [
        f"reading {reading_id} is work for a licensed technician; write licensed: true",
        f"no caution in front of reading {reading_id} warns of {hazard}; add one that does",
    ]


@pytest.mark.parametrize("kind", sorted(LICENSED_KINDS))
def test_a_new_reading_of_a_licensed_kind_is_guarded(kind: ReadingKind) -> None:
    reading = replace(CONTENT.readings["freeze_time"], id="new_reading", kind=kind)
    assert len(list(readings_are_guarded(with_reading(reading)))) == 2


@pytest.mark.parametrize(
    "reading",
    [
        replace(CONTENT.readings["freeze_time"], id="new", kind=ReadingKind.WATER_PRESSURE),
        replace(CONTENT.readings["coil_nominal_voltage"], id="supply_nominal_voltage"),
    ],
    ids=["a water pressure is no gauge work", "a voltage on a plate is read, not measured"],
)
def test_a_harmless_reading_is_for_everybody(reading: Reading) -> None:
    assert list(readings_are_guarded(with_reading(reading))) == []


@pytest.mark.parametrize("cause_id", list(CAUSES))
def test_a_repair_never_hides_its_hazards(cause_id: str) -> None:
    edited = with_cause(replace(CONTENT.causes[cause_id], hazards=()))
    with pytest.raises(ProofFailed, match=f"the repair of cause {cause_id} has the hazard"):
        check_content(edited)


@pytest.mark.parametrize("cause_id", list(CAUSES))
def test_a_cause_stays_on_its_half_of_the_cycle(cause_id: str) -> None:
    other = Side.FREEZE if CAUSES[cause_id][0] is Side.HARVEST else Side.HARVEST
    edited = with_cause(replace(CONTENT.causes[cause_id], side=other))
    with pytest.raises(ProofFailed, match=f"cause {cause_id} belongs to the"):
        check_content(edited)


@pytest.mark.parametrize("word", sorted(WORK))
def test_the_words_of_a_repair_tell_its_hazard(word: str) -> None:
    cause = CONTENT.causes["bridge_set_thin"]
    assert WORK[word] not in cause.hazards
    edited = with_cause(replace(cause, repair=f"Now {word} it, and look."))
    with pytest.raises(ProofFailed, match=f"cause bridge_set_thin has the hazard {WORK[word]};"):
        check_content(edited)
