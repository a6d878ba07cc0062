"""Energy of the virtual machines against what the law allows real ones.

Sources: 10 CFR 431.136(c), batch ice makers from 2018-01-28 on, in `data/ice_maker_limits.csv`
(three rows from a public page, the rest from memory); rating conditions of AHRI 810: air 90 °F,
water 70 °F. A healthy machine neither beats the limit absurdly nor misses it by much.
"""

import csv
from pathlib import Path

import pytest

from tests.machines_on_file import machines, place
from triage.physics.ice import KG_PER_POUND
from triage.physics.machine import CondenserKind, Machine
from triage.physics.virtual_machine import run_cycle

LIMITS = Path(__file__).parent / "data" / "ice_maker_limits.csv"
SELF_CONTAINED = {"klirr_u50", "klirr_u80"}
LEAST_SHARE, GREATEST_SHARE = 0.60, 1.15


def limit_kwh_per_100_lb(machine: Machine, pounds_per_day: float) -> float:
    cooling = "water" if machine.condenser.kind is CondenserKind.WATER else "air"
    equipment = "SCU" if machine.id in SELF_CONTAINED else "IMH"
    if machine.condenser.kind is CondenserKind.REMOTE_AIR:
        equipment = "RCU without remote compressor"
    with LIMITS.open(encoding="utf-8", newline="") as file:
        for row in csv.DictReader(file):
            is_size = (
                float(row["harvest_from_lb_24h"])
                <= pounds_per_day
                < float(row["harvest_below_lb_24h"])
            )
            if row["class"] == equipment and row["cooling"] == cooling and is_size:
                slope = float(row["energy_slope_per_lb_24h"])
                return float(row["max_energy_kwh_per_100lb"]) + slope * pounds_per_day
    raise AssertionError(f"no limit for {machine.id} at {pounds_per_day:.0f} lb in 24 h")


def test_limits_are_read_as_the_rule_works_them() -> None:
    """Air-cooled ice-making head: 6.9175 at 250 lb, 5.8 at 500 lb, 4.92 at 1000 lb."""
    head = machines()["firnwerk_a200"]
    for pounds, expected in ((250.0, 6.9175), (500.0, 5.8), (1000.0, 4.92)):
        assert limit_kwh_per_100_lb(head, pounds) == pytest.approx(expected, abs=0.001)


@pytest.mark.parametrize("name", sorted(machines()))
def test_energy_at_rating_conditions_is_plausible(name: str) -> None:
    machine = machines()[name]
    cycle = run_cycle(machine, place(90.0, 70.0))
    pounds = cycle.production_kg_per_day / KG_PER_POUND
    share = cycle.energy_kwh_per_100_lb / limit_kwh_per_100_lb(machine, pounds)
    assert LEAST_SHARE <= share <= GREATEST_SHARE


def test_machines_span_the_sizes_the_rule_covers() -> None:
    """50 to 4000 lb in 24 h (10 CFR 431.134); ours from under-counter to very large."""
    pounds = [
        run_cycle(machine, place(90.0, 70.0)).production_kg_per_day / KG_PER_POUND
        for machine in machines().values()
    ]
    assert min(pounds) < 120.0
    assert max(pounds) > 1_500.0
    assert all(50.0 <= found <= 4000.0 for found in pounds)
