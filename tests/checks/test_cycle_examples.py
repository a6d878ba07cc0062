"""Vapor-compression cycles worked in textbooks, all with R-134a.

Printed results are from memory. Reference states differ between books, so only differences of
enthalpy count.

- Cengel and Boles, Thermodynamics, first and second example of the refrigeration chapter
- Moran and Shapiro, Fundamentals of Engineering Thermodynamics, examples 10.1 to 10.3
"""

from dataclasses import dataclass

import pytest

from triage.physics.compression import (
    compression_ratio,
    discharge_temperature_k,
    isentropic_discharge,
    subcooling_k,
    superheat_k,
)
from triage.physics.tables import fluid

TON_W = 3516.853
GAS = fluid("R-134a")


@dataclass(frozen=True)
class Cycle:
    """Suction gas, discharge gas and liquid enthalpies [J/kg] at a mass flow [kg/s]."""

    suction: float
    discharge: float
    liquid: float
    flow: float

    @property
    def cooling_w(self) -> float:
        return self.flow * (self.suction - self.liquid)

    @property
    def work_w(self) -> float:
        return self.flow * (self.discharge - self.suction)

    @property
    def performance(self) -> float:
        return self.cooling_w / self.work_w


def kelvin(celsius: float) -> float:
    return celsius + 273.15


def test_cengel_and_boles_ideal_cycle() -> None:
    """Saturated vapor at 0.14 MPa, isentropic to 0.8 MPa, saturated liquid, 0.05 kg/s."""
    end = isentropic_discharge(GAS, 140e3, 0.0, 800e3)
    liquid_k = GAS.bubble_temperature_k(800e3)
    cycle = Cycle(
        GAS.vapor_enthalpy_j_per_kg(140e3, 0.0),
        end.enthalpy_j_per_kg,
        GAS.liquid_enthalpy_j_per_kg(liquid_k),
        0.05,
    )
    assert cycle.cooling_w == pytest.approx(7_180.0, rel=0.005)
    assert cycle.work_w == pytest.approx(1_810.0, rel=0.005)
    assert cycle.performance == pytest.approx(3.97, rel=0.005)
    assert end.temperature_k == pytest.approx(kelvin(38.98), abs=0.3)


def test_cengel_and_boles_actual_cycle() -> None:
    """0.14 MPa -10 °C in, 0.8 MPa 50 °C out, liquid 26 °C at 0.72 MPa, 0.05 kg/s."""
    superheat = superheat_k(GAS, 140e3, kelvin(-10.0))
    out_superheat = superheat_k(GAS, 800e3, kelvin(50.0))
    cycle = Cycle(
        GAS.vapor_enthalpy_j_per_kg(140e3, superheat),
        GAS.vapor_enthalpy_j_per_kg(800e3, out_superheat),
        GAS.liquid_enthalpy_j_per_kg(kelvin(26.0)),
        0.05,
    )
    ideal = isentropic_discharge(GAS, 140e3, superheat, 800e3)
    efficiency = (ideal.enthalpy_j_per_kg - cycle.suction) / (cycle.discharge - cycle.suction)
    assert cycle.cooling_w == pytest.approx(7_930.0, rel=0.005)
    assert cycle.work_w == pytest.approx(2_020.0, rel=0.005)
    assert cycle.performance == pytest.approx(3.93, rel=0.005)
    assert efficiency == pytest.approx(0.939, rel=0.005)
    assert subcooling_k(GAS, 720e3, kelvin(26.0)) > 0.0
    hot = discharge_temperature_k(GAS, 140e3, superheat, 800e3, efficiency)
    assert hot == pytest.approx(kelvin(50.0), abs=0.05)


def test_moran_and_shapiro_ideal_cycle_between_0_and_26_c() -> None:
    """Example 10.1: 0.08 kg/s; printed about 1.4 kW, 3.67 tons, 9.24."""
    suction_pa, discharge_pa = GAS.dew_pressure_pa(kelvin(0.0)), GAS.dew_pressure_pa(kelvin(26.0))
    end = isentropic_discharge(GAS, suction_pa, 0.0, discharge_pa)
    cycle = Cycle(
        GAS.vapor_enthalpy_j_per_kg(suction_pa, 0.0),
        end.enthalpy_j_per_kg,
        GAS.liquid_enthalpy_j_per_kg(kelvin(26.0)),
        0.08,
    )
    assert cycle.work_w == pytest.approx(1_400.0, rel=0.015)
    assert cycle.cooling_w / TON_W == pytest.approx(3.67, rel=0.015)
    assert cycle.performance == pytest.approx(9.24, rel=0.015)
    assert end.temperature_k == pytest.approx(kelvin(29.3), abs=0.3)


def test_moran_and_shapiro_ideal_cycle_between_minus_10_c_and_9_bar() -> None:
    """Example 10.2: 0.08 kg/s; printed about 2.48 kW, 3.23 tons, recomputed 4.575."""
    suction_pa = GAS.dew_pressure_pa(kelvin(-10.0))
    end = isentropic_discharge(GAS, suction_pa, 0.0, 900e3)
    cycle = Cycle(
        GAS.vapor_enthalpy_j_per_kg(suction_pa, 0.0),
        end.enthalpy_j_per_kg,
        GAS.liquid_enthalpy_j_per_kg(GAS.bubble_temperature_k(900e3)),
        0.08,
    )
    assert cycle.work_w == pytest.approx(2_480.0, rel=0.01)
    assert cycle.cooling_w / TON_W == pytest.approx(3.23, rel=0.01)
    assert cycle.performance == pytest.approx(4.575, rel=0.01)


def test_moran_and_shapiro_cycle_with_a_real_compressor() -> None:
    """Example 10.3: as 10.2, efficiency 80 %, liquid 30 °C; printed 3.1 kW, 3.41 tons, 3.86."""
    suction_pa = GAS.dew_pressure_pa(kelvin(-10.0))
    hot_k = discharge_temperature_k(GAS, suction_pa, 0.0, 900e3, 0.80)
    cycle = Cycle(
        GAS.vapor_enthalpy_j_per_kg(suction_pa, 0.0),
        GAS.vapor_enthalpy_j_per_kg(900e3, superheat_k(GAS, 900e3, hot_k)),
        GAS.liquid_enthalpy_j_per_kg(kelvin(30.0)),
        0.08,
    )
    assert cycle.work_w == pytest.approx(3_100.0, rel=0.01)
    assert cycle.cooling_w / TON_W == pytest.approx(3.41, rel=0.01)
    assert cycle.performance == pytest.approx(3.86, rel=0.01)
    assert hot_k == pytest.approx(kelvin(48.84), abs=0.3)
    assert compression_ratio(suction_pa, 900e3) == pytest.approx(900.0 / 200.6, rel=0.002)
