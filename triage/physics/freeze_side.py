"""The circuit all through a freeze: tabulated over suction, balanced with the plate at a moment."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from triage.physics.circuit import CHARGE_ON_PLATE_FRACTION, Circuit, Point
from triage.physics.curves import Pieces, pieces_through, value_at
from triage.physics.roots import find_root

_COLDEST_DEW_K = 222.0
_WARMEST_DEW_K = 306.0
_NODES = 15
_VAPOR_HEAT_CAPACITY_J_PER_KG_K = 900.0
"""Specific heat of suction gas, for the little a starved plate adds [J/(kg K)]; judged."""


@dataclass(slots=True)
class State:
    """What the refrigerant side does at one moment, before the slow things are added."""

    dew_k: float
    superheat_k: float
    heat_w: float
    boiling_k: float
    wet_fraction: float = 1.0


class FreezeSide:
    """The refrigerant side over suction dew temperature, as smooth curves through exact nodes."""

    def __init__(self, circuit: Circuit) -> None:
        self.circuit = circuit
        self.step = (_WARMEST_DEW_K - _COLDEST_DEW_K) / (_NODES - 1)
        guess = circuit.sink_k + 15.0
        points: list[Point] = []
        for index in range(_NODES):
            point = circuit.steady(_COLDEST_DEW_K + index * self.step, circuit.superheat_k, guess)
            guess = circuit.condensing_k(point.discharge_pressure_pa)
            points.append(point)

        def curve(value: Callable[[Point], float]) -> Pieces:
            return pieces_through([value(point) for point in points])

        self.flow = curve(lambda point: point.flow_kg_per_s)
        self.discharge_pa = curve(lambda point: point.discharge_pressure_pa)
        self.discharge_k = curve(lambda point: point.discharge_k)
        self.gas_w_per_k = curve(lambda point: point.gas_w_per_k)
        self.power_w = curve(lambda point: point.electric_power_w)
        self.effect = curve(lambda point: point.effect_j_per_kg)
        self.liquid_k = curve(lambda point: point.liquid_k)
        self.valve_flow = curve(lambda point: point.valve_flow_kg_per_s)
        self.leak = curve(lambda point: point.leak_kg_per_s)
        self.leak_heat = curve(lambda point: point.leak_heat_j_per_kg)
        self.boiling_k = curve(lambda point: point.mean_boiling_k)
        self.condenser_w = curve(lambda point: point.condenser_w)
        self.has_leak = circuit.parts.hot_gas_leak_fraction > 0.0
        self.effect_per_dry = self._effect_per_dry(points[_NODES // 2])

    def _effect_per_dry(self, point: Point) -> float:
        """Return what liquid backed up by a plate run dry adds to the effect [J/kg per share]."""
        circuit, dry = self.circuit, 0.5
        displaced = CHARGE_ON_PLATE_FRACTION * dry
        if circuit.flooded_by(displaced) == circuit.flooded_by(0.0):
            return 0.0
        dew_k = _COLDEST_DEW_K + _NODES // 2 * self.step
        guess = circuit.condensing_k(point.discharge_pressure_pa)
        backed_up = circuit.steady(dew_k, circuit.superheat_k, guess, displaced)
        return (backed_up.effect_j_per_kg - point.effect_j_per_kg) / dry

    def at(self, pieces: Pieces, dew_k: float) -> float:
        """Return a tabulated curve's value at a suction dew temperature [K]."""
        return value_at(pieces, (dew_k - _COLDEST_DEW_K) / self.step)

    def balance(self, load_k: float, conductance_w_per_k: float, guess_k: float) -> State:
        """Return the suction at which the compressor takes away what the plate boils off.

        `load_k` is the temperature at the far end of `conductance_w_per_k`. Where the expansion
        valve does not feed the whole plate (too little charge, too small an opening, more superheat
        held than built for), the dry part warms the gas instead.
        """
        circuit = self.circuit
        room_k = circuit.room_k
        base_superheat = circuit.superheat_k
        gain = circuit.machine.evaporator.suction_line_gain_fraction
        heat = superheat = boiling = 0.0
        wet = 1.0

        def surplus(dew_k: float) -> float:
            nonlocal heat, superheat, boiling, wet
            flow = self.at(self.flow, dew_k)
            effect = self.at(self.effect, dew_k)
            boiling = self.at(self.boiling_k, dew_k)
            heat = max(0.0, conductance_w_per_k * (load_k - boiling))
            leak = leak_w = 0.0
            if self.has_leak:
                leak = self.at(self.leak, dew_k)
                leak_w = leak * self.at(self.leak_heat, dew_k)
            superheat = base_superheat
            dry_k = max(0.0, load_k - dew_k - base_superheat)
            wet = circuit.wet_fraction
            if circuit.extra_superheat_k > 0.0:
                wet = min(wet, max(0.0, 1.0 - circuit.extra_superheat_k / max(dry_k, 1e-6)))
            more = self.effect_per_dry
            needed = (wet * heat + leak_w) / (effect + more * (1.0 - wet))
            most = self.at(self.valve_flow, dew_k)
            if needed > most:
                # The share kept wet by all that the valve lets through, colder the less it is.
                kept_w, drawn_w = most * (effect + more) - leak_w, heat + most * more
                wet = min(wet, max(0.0, kept_w / drawn_w)) if heat > 0.0 else 0.0
                needed = most
            if wet < 1.0:
                warming = _VAPOR_HEAT_CAPACITY_J_PER_KG_K * dry_k
                superheat += (1.0 - wet) * dry_k
                heat = wet * heat + (1.0 - wet) * needed * warming
                before = dew_k + base_superheat
                before += gain * max(0.0, room_k - before)
                after = dew_k + superheat
                after += gain * max(0.0, room_k - after)
                flow *= before / after
            return flow - needed - leak

        dew_k = find_root(surplus, _COLDEST_DEW_K, _WARMEST_DEW_K, guess_k, 0.005, 0.3)
        surplus(dew_k)
        return State(dew_k, superheat, heat, boiling, wet)
