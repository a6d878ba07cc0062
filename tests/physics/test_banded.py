"""The list of readings with a band is what the bands themselves say, one by one."""

from __future__ import annotations

import pytest

from tests.conversation import shipped_engine
from triage.physics.banded import banded_readings
from triage.physics.bands import expected_band
from triage.physics.errors import PhysicsError
from triage.physics.machine import Conditions

CONTENT = shipped_engine().content
MACHINE = CONTENT.machines["gletsch_r500"]
PLACE = Conditions(294.15, 294.15, 288.15)


@pytest.mark.parametrize("reading_id", sorted(banded_readings()))
def test_a_listed_reading_has_a_band(reading_id: str) -> None:
    band = expected_band(MACHINE, PLACE, reading_id)
    assert band.low < band.high


@pytest.mark.parametrize("reading_id", sorted(CONTENT.readings.keys() - banded_readings()))
def test_any_other_reading_has_none(reading_id: str) -> None:
    with pytest.raises(PhysicsError, match="No band is known"):
        expected_band(MACHINE, PLACE, reading_id)
