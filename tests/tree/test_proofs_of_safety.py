"""Content that loses a license, a caution or a hazard is told, each edit by itself."""

from __future__ import annotations

from dataclasses import replace

import pytest

from tests.conversation import shipped_engine
from triage.tree.content import Content, Reading, ReadingKind, Side
from triage.tree.errors import ProofFailed
from triage.tree.proofs import check_content
from triage.tree.proofs_of_safety import CAUSES, LICENSED_READINGS

CONTENT = shipped_engine().content
GUARDED = [
    reading.id
    for reading in CONTENT.readings.values()
    if reading.kind is ReadingKind.GAUGE_PRESSURE or reading.id in LICENSED_READINGS
]


def with_reading(reading: Reading) -> Content:
    return replace(CONTENT, readings={**CONTENT.readings, reading.id: reading})


@pytest.mark.parametrize("reading_id", GUARDED)
def test_a_hazardous_reading_is_never_for_everybody(reading_id: str) -> None:
    edited = with_reading(replace(CONTENT.readings[reading_id], is_licensed=False))
    with pytest.raises(ProofFailed, match=f"reading {reading_id} is work for a licensed"):
        check_content(edited)


@pytest.mark.parametrize("reading_id", GUARDED)
def test_a_hazardous_reading_never_loses_its_caution(reading_id: str) -> None:
    edited = with_reading(replace(CONTENT.readings[reading_id], cautions=()))
    with pytest.raises(ProofFailed, match=f"no caution in front of reading {reading_id}"):
        check_content(edited)


@pytest.mark.parametrize("cause_id", list(CAUSES))
def test_a_repair_never_hides_its_hazards(cause_id: str) -> None:
    cause = replace(CONTENT.causes[cause_id], hazards=())
    edited = replace(CONTENT, causes={**CONTENT.causes, cause_id: cause})
    with pytest.raises(ProofFailed, match=f"the repair of cause {cause_id} has the hazard"):
        check_content(edited)


@pytest.mark.parametrize("cause_id", list(CAUSES))
def test_a_cause_stays_on_its_half_of_the_cycle(cause_id: str) -> None:
    other = Side.FREEZE if CAUSES[cause_id][0] is Side.HARVEST else Side.HARVEST
    cause = replace(CONTENT.causes[cause_id], side=other)
    edited = replace(CONTENT, causes={**CONTENT.causes, cause_id: cause})
    with pytest.raises(ProofFailed, match=f"cause {cause_id} belongs to the"):
        check_content(edited)
