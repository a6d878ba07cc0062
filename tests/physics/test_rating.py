"""Rating formulas refuse what they are not good for."""

import pytest

from triage.physics import rating
from triage.physics.errors import OutOfRange


def test_no_cycle_makes_no_ice_a_day() -> None:
    with pytest.raises(OutOfRange, match="cycle time"):
        rating.production_kg_per_day(3.0, 0.0, 0.0)
    with pytest.raises(OutOfRange, match="batch mass"):
        rating.production_kg_per_day(-1.0, 600.0, 90.0)


def test_what_no_ice_was_made_with_has_no_rate() -> None:
    with pytest.raises(OutOfRange, match="batch mass"):
        rating.energy_kwh_per_100_lb(1e6, 0.0)
    with pytest.raises(OutOfRange, match="batch mass"):
        rating.water_use_m3_per_kg(5.0, 0.0)
    with pytest.raises(OutOfRange, match="water filled in"):
        rating.water_use_m3_per_kg(-5.0, 3.0)


def test_hardness_in_a_fraction_or_absurd_is_refused() -> None:
    with pytest.raises(OutOfRange, match="ice hardness"):
        rating.hardness_adjustment(0.0)
    with pytest.raises(OutOfRange, match="ice hardness"):
        rating.hardness_adjustment(150.0)


def test_a_calorimeter_that_did_not_cool_tells_nothing() -> None:
    with pytest.raises(OutOfRange, match="cooling of the water"):
        rating.calorimeter_hardness_percent(13.6, 305.0, 2.7, 305.0)
    with pytest.raises(OutOfRange, match="warming of the melt"):
        rating.calorimeter_hardness_percent(13.6, 305.0, 2.7, 270.0)
