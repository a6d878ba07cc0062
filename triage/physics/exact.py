"""The same properties straight from CoolProp, for whoever wants to see how far the tables are off.

Importing CoolProp takes 1.8 s, and each look-up of a blend milliseconds; no call waits for this.
"""

from __future__ import annotations

from collections.abc import Callable
from functools import cache
from typing import Any

from triage.physics.refrigerant import REFRIGERANTS
from triage.physics.tables import Fluid, fluid

_NEAR_ENOUGH_K = 1e-6
_MOST_STEPS = 50
_FIRST_STEP_K = 0.5


class ExactFluid(Fluid):
    """A fluid whose look-ups ask CoolProp; its ranges and first guesses are those of the tables.

    Got by `exact_fluid`. Raises what `Fluid` raises.
    """

    def __init__(self, refrigerant_id: str) -> None:
        super().__init__(fluid(refrigerant_id)._table)
        import CoolProp
        from CoolProp.CoolProp import AbstractState

        from triage.physics.build_tables import (
            REFERENCE_ENTHALPY_J_PER_KG,
            REFERENCE_ENTROPY_J_PER_KG_K,
            REFERENCE_TEMPERATURE_K,
        )

        name = REFRIGERANTS[refrigerant_id].coolprop_name
        self._inputs: Any = CoolProp
        self._two_phase: Any = AbstractState("HEOS", name)
        self._gas: Any = AbstractState("HEOS", name)
        self._gas.specify_phase(CoolProp.iphase_gas)
        self._two_phase.update(CoolProp.QT_INPUTS, 0.0, REFERENCE_TEMPERATURE_K)
        self._enthalpy_shift = REFERENCE_ENTHALPY_J_PER_KG - self._two_phase.hmass()
        self._entropy_shift = REFERENCE_ENTROPY_J_PER_KG_K - self._two_phase.smass()

    def dew_pressure_pa(self, t_k: float) -> float:
        """Return the dew pressure [Pa absolute] at `t_k` [K]."""
        super().dew_pressure_pa(t_k)
        return self._saturated(1.0, t_k)

    def bubble_pressure_pa(self, t_k: float) -> float:
        """Return the bubble pressure [Pa absolute] at `t_k` [K]."""
        super().bubble_pressure_pa(t_k)
        return self._saturated(0.0, t_k)

    def dew_temperature_k(self, p_pa: float) -> float:
        """Return the dew temperature [K] at `p_pa` [Pa absolute]."""
        super().dew_temperature_k(p_pa)
        self._two_phase.update(self._inputs.PQ_INPUTS, p_pa, 1.0)
        return float(self._two_phase.T())

    def bubble_temperature_k(self, p_pa: float) -> float:
        """Return the bubble temperature [K] at `p_pa` [Pa absolute]."""
        super().bubble_temperature_k(p_pa)
        self._two_phase.update(self._inputs.PQ_INPUTS, p_pa, 0.0)
        return float(self._two_phase.T())

    def vapor_enthalpy_j_per_kg(self, p_pa: float, superheat_k: float) -> float:
        """Return the enthalpy [J/kg] of vapor `superheat_k` [K] above dew at `p_pa` [Pa]."""
        super().vapor_enthalpy_j_per_kg(p_pa, superheat_k)
        return float(self._vapor(p_pa, superheat_k).hmass()) + self._enthalpy_shift

    def vapor_entropy_j_per_kg_k(self, p_pa: float, superheat_k: float) -> float:
        """Return the entropy [J/(kg K)] of vapor `superheat_k` [K] above dew at `p_pa` [Pa]."""
        super().vapor_entropy_j_per_kg_k(p_pa, superheat_k)
        return float(self._vapor(p_pa, superheat_k).smass()) + self._entropy_shift

    def vapor_temperature_from_enthalpy_k(self, p_pa: float, h_j_per_kg: float) -> float:
        """Return the temperature [K] of vapor of `h_j_per_kg` [J/kg] at `p_pa` [Pa]."""
        guess = super().vapor_temperature_from_enthalpy_k(p_pa, h_j_per_kg)
        dew = self.dew_temperature_k(p_pa)

        def miss(superheat_k: float) -> float:
            return self.vapor_enthalpy_j_per_kg(p_pa, superheat_k) - h_j_per_kg

        return dew + _root(miss, max(guess - dew, 0.0))

    def superheat_from_entropy_k(self, p_pa: float, s_j_per_kg_k: float) -> float:
        """Return the superheat [K] of vapor of `s_j_per_kg_k` [J/(kg K)] at `p_pa` [Pa]."""
        guess = super().superheat_from_entropy_k(p_pa, s_j_per_kg_k)

        def miss(superheat_k: float) -> float:
            return self.vapor_entropy_j_per_kg_k(p_pa, superheat_k) - s_j_per_kg_k

        return _root(miss, guess)

    def _saturated(self, quality: float, t_k: float) -> float:
        self._two_phase.update(self._inputs.QT_INPUTS, quality, t_k)
        return float(self._two_phase.p())

    def _vapor(self, p_pa: float, superheat_k: float) -> Any:
        dew = self.dew_temperature_k(p_pa)
        if superheat_k <= 0.0:
            return self._two_phase
        self._gas.update(self._inputs.PT_INPUTS, p_pa, dew + superheat_k)
        return self._gas


@cache
def exact_fluid(refrigerant_id: str) -> ExactFluid:
    """Return a refrigerant computed by CoolProp; raises UnknownRefrigerant."""
    return ExactFluid(refrigerant_id)


def _root(miss: Callable[[float], float], guess: float) -> float:
    """Return where `miss` is zero, by secants from a guess that is already close; never below 0."""
    first, second = guess, guess + _FIRST_STEP_K
    at_first, at_second = miss(first), miss(second)
    for _ in range(_MOST_STEPS):
        if abs(second - first) < _NEAR_ENOUGH_K or at_second == at_first:
            break
        following = max(0.0, second - at_second * (second - first) / (at_second - at_first))
        first, at_first = second, at_second
        second, at_second = following, miss(following)
    return float(second)
