"""The exact fluid agrees with the tables through the whole pocket calculator."""

from __future__ import annotations

import pytest

from triage.physics.compression import discharge_temperature_k, subcooling_k, superheat_k
from triage.physics.exact import exact_fluid
from triage.physics.tables import fluid


@pytest.mark.parametrize("refrigerant", ["R-290", "R-410A", "R-449A"])
def test_the_tables_lead_to_what_coolprop_leads_to(refrigerant: str) -> None:
    exact, table = exact_fluid(refrigerant), fluid(refrigerant)
    suction_pa, discharge_pa = table.dew_pressure_pa(258.15), table.bubble_pressure_pa(311.15)
    assert exact.dew_temperature_k(suction_pa) == pytest.approx(258.15, abs=0.01)
    assert exact.bubble_temperature_k(discharge_pa) == pytest.approx(311.15, abs=0.01)
    assert superheat_k(exact, suction_pa, 265.0) == pytest.approx(6.85, abs=0.01)
    assert subcooling_k(exact, discharge_pa, 306.15) == pytest.approx(5.0, abs=0.01)
    hot = [discharge_temperature_k(gas, suction_pa, 6.85, discharge_pa, 0.65) for gas in
           (exact, table)]  # fmt: skip
    assert hot[0] == pytest.approx(hot[1], abs=0.05)
