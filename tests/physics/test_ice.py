"""Ice formulas refuse what they are not good for."""

import pytest

from triage.physics import ice
from triage.physics.errors import OutOfRange


@pytest.mark.parametrize("surroundings_k", [271.9, 280.0])
def test_nothing_freezes_in_surroundings_no_colder_than_its_freezing_point(
    surroundings_k: float,
) -> None:
    with pytest.raises(OutOfRange, match="freezing point above surroundings"):
        ice.plank_freezing_time_s(
            ice.Shape.SLAB, 0.01, 1000.0, 250e3, 271.9, surroundings_k, 50.0, 1.2
        )


def test_negative_lengths_and_times_are_refused() -> None:
    with pytest.raises(OutOfRange, match="ice thickness"):
        ice.heat_flux_through_ice_w_per_m2(260.0, 1000.0, -0.001)
    with pytest.raises(OutOfRange, match="elapsed time"):
        ice.stefan_thickness_m(5.0, -1.0)


def test_ice_melts_where_the_water_brings_more_than_the_plate_draws() -> None:
    assert ice.growth_rate_m_per_s(270.0, 283.0, 500.0, 1000.0, 0.005) < 0.0
    assert ice.growth_rate_m_per_s(275.0, 273.15, 500.0, 1000.0, 0.005) < 0.0
