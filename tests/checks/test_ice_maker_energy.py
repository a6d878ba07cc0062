"""Energy and water of the virtual machines against what the law allows real ones.

Sources: 10 CFR 431.136(c), batch ice makers from 2018-01-28 on (`tests/checks/test_rating.py`
checks its rows); rating conditions of AHRI 810. A healthy machine neither beats the limit absurdly
nor misses it by much.
"""

from dataclasses import replace

import pytest

from tests.machines_on_file import machines
from triage.physics.machine import Machine
from triage.physics.rated import published, rated_cycle
from triage.physics.units import Dimension, unit_of
from triage.physics.virtual_machine import reading_at

SELF_CONTAINED = {"klirr_u50", "klirr_u80"}
LEAST_SHARE, GREATEST_SHARE = 0.60, 1.15


def machine_on_file(name: str) -> Machine:
    return replace(machines()[name], is_self_contained=name in SELF_CONTAINED)


@pytest.mark.parametrize("name", sorted(machines()))
def test_energy_at_rating_conditions_is_plausible(name: str) -> None:
    machine = machine_on_file(name)
    limits = published(machine)
    assert limits is not None
    share = reading_at(rated_cycle(machine), "energy_use") / limits.energy_j_per_kg
    assert LEAST_SHARE <= share <= GREATEST_SHARE


@pytest.mark.parametrize("name", sorted(machines()))
def test_water_for_the_ice_is_that_of_a_thrifty_machine(name: str) -> None:
    """Above the 12 gal/100 lb of the ice itself, up to what a thrift label asks.

    ENERGY STAR 3.0 lets batch machines have 20, self-contained ones 25: from memory.
    """
    used = reading_at(rated_cycle(machine_on_file(name)), "water_use")
    gallons = unit_of("gal/100 lb", Dimension.VOLUME_PER_MASS).from_si(used, 0.0)
    assert 12.0 < gallons <= (25.0 if name in SELF_CONTAINED else 20.0)


def test_machines_span_the_sizes_the_rule_covers() -> None:
    """50 to 4000 lb in 24 h (10 CFR 431.134); ours from under-counter to very large."""
    unit = unit_of("lb/24 h", Dimension.MASS_PER_DAY)
    pounds = [
        unit.from_si(reading_at(rated_cycle(machine), "ice_production"), 0.0)
        for machine in machines().values()
    ]
    assert min(pounds) < 120.0
    assert max(pounds) > 1_500.0
    assert all(50.0 <= found <= 4000.0 for found in pounds)
