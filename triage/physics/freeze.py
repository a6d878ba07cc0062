"""One freeze: the water charge chilled, then ice grown until the bridge is as thick as set.

The refrigerant side is taken as steady at every moment and tabulated once over suction; plate, ice
and water are followed in time.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, replace

from triage.physics.circuit import Circuit, Point, find_root
from triage.physics.curves import Pieces, pieces_through, value_at
from triage.physics.ice import (
    FREEZING_POINT_K,
    ICE_CONDUCTIVITY_W_PER_M_K,
    ICE_DENSITY_KG_PER_M3,
    WATER_HEAT_CAPACITY_J_PER_KG_K,
    batch_mass_kg,
    heat_to_freeze_j_per_kg,
)

_COLDEST_DEW_K = 222.0
_WARMEST_DEW_K = 306.0
_NODES = 15
_CHILL_STEP_S = 15.0
_LONGEST_STEP_S = 40.0
_SHORTEST_STEP_S = 3.0
_GROWTH_STEPS = 20
_VAPOR_HEAT_CAPACITY_J_PER_KG_K = 900.0
"""Specific heat of suction gas, for the little a starved plate adds [J/(kg K)]; judged."""


@dataclass(frozen=True, slots=True)
class Moment:
    """The machine at `elapsed_s` [s] into the freeze."""

    elapsed_s: float
    water_k: float
    ice_m: float
    suction_pressure_pa: float
    discharge_pressure_pa: float
    discharge_line_k: float
    superheat_k: float
    liquid_k: float
    evaporator_w: float
    condenser_w: float
    electric_power_w: float
    plate_side_k: float
    boiling_k: float
    body_memory: float


@dataclass(frozen=True, slots=True)
class Freeze:
    """A whole freeze. Heats and energy are sums over it [J]; `is_complete` unless time ran out.

    `body_k` is the temperature of the compressor's metal at the end [K], `body_start_k` at the
    beginning; `body_memory` of a moment is how much of the latter is still felt (1 to 0).
    """

    moments: tuple[Moment, ...]
    ice_thickness_m: float
    batch_mass_kg: float
    evaporator_heat_j: float
    condenser_heat_j: float
    water_gain_j: float
    electric_energy_j: float
    body_start_k: float
    body_k: float
    is_complete: bool

    @property
    def duration_s(self) -> float:
        """How long the freeze took [s]."""
        return self.moments[-1].elapsed_s

    def started_with_body_at(self, body_k: float, coupling_fraction: float) -> Freeze:
        """Return the same freeze with the compressor's metal at `body_k` [K] when it began.

        Only the discharge line shows it, by `coupling_fraction` [-], and less as time passes.
        """
        change_k = body_k - self.body_start_k
        return replace(
            self,
            moments=tuple(
                replace(
                    moment,
                    discharge_line_k=moment.discharge_line_k
                    + coupling_fraction * moment.body_memory * change_k,
                )
                for moment in self.moments
            ),
            body_start_k=body_k,
            body_k=self.body_k + self.moments[-1].body_memory * change_k,
        )


@dataclass(slots=True)
class _State:
    """What the refrigerant side does at one moment, before the slow things are added."""

    dew_k: float
    superheat_k: float
    heat_w: float
    boiling_k: float


class _LowSide:
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

    def at(self, pieces: Pieces, dew_k: float) -> float:
        return value_at(pieces, (dew_k - _COLDEST_DEW_K) / self.step)

    def balance(self, load_k: float, conductance_w_per_k: float, guess_k: float) -> _State:
        """Return the suction at which the compressor takes away what the plate boils off.

        `load_k` is the temperature at the far end of `conductance_w_per_k`. Where the expansion
        valve cannot feed the whole plate, the dry part warms the gas instead.
        """
        circuit = self.circuit
        room_k = circuit.room_k
        base_superheat = circuit.superheat_k
        gain = circuit.machine.evaporator.suction_line_gain_fraction
        heat = superheat = boiling = 0.0

        def surplus(dew_k: float) -> float:
            nonlocal heat, superheat, boiling
            flow = self.at(self.flow, dew_k)
            effect = self.at(self.effect, dew_k)
            boiling = self.at(self.boiling_k, dew_k)
            heat = max(0.0, conductance_w_per_k * (load_k - boiling))
            leak = leak_w = 0.0
            if self.has_leak:
                leak = self.at(self.leak, dew_k)
                leak_w = leak * self.at(self.leak_heat, dew_k)
            superheat = base_superheat
            needed = (heat + leak_w) / effect
            most = self.at(self.valve_flow, dew_k)
            if needed > most:
                dry_k = max(0.0, load_k - dew_k - base_superheat)
                warming = _VAPOR_HEAT_CAPACITY_J_PER_KG_K * dry_k
                wet = min(1.0, max(0.0, (most * effect - leak_w) / heat)) if heat > 0.0 else 0.0
                superheat += (1.0 - wet) * dry_k
                heat = wet * heat + (1.0 - wet) * most * warming
                before = dew_k + base_superheat
                before += gain * max(0.0, room_k - before)
                after = dew_k + superheat
                after += gain * max(0.0, room_k - after)
                flow *= before / after
                needed = most
            return flow - needed - leak

        dew_k = find_root(surplus, _COLDEST_DEW_K, _WARMEST_DEW_K, guess_k, 0.005, 0.3)
        surplus(dew_k)
        return _State(dew_k, superheat, heat, boiling)


class _Record:
    """Collects moments, lags the discharge line and sums heats."""

    def __init__(self, side: _LowSide, body_k: float) -> None:
        self.side = side
        self.body_k = body_k
        self.memory = 1.0
        self.moments: list[Moment] = []
        self.evaporator_j = self.condenser_j = self.gain_j = self.electric_j = 0.0

    def add(self, elapsed_s: float, water_k: float, ice_m: float, state: _State) -> None:
        side, circuit = self.side, self.side.circuit
        dew_k = state.dew_k
        if state.superheat_k > circuit.superheat_k + 0.5:
            point = circuit.steady(dew_k, state.superheat_k, circuit.sink_k + 12.0)
            discharge_pa, hot_k, liquid_k = (
                point.discharge_pressure_pa, point.discharge_k, point.liquid_k,
            )  # fmt: skip
            gas_w_per_k, power_w = point.gas_w_per_k, point.electric_power_w
            condenser_w = point.condenser_w
        else:
            discharge_pa, hot_k = side.at(side.discharge_pa, dew_k), side.at(side.discharge_k, dew_k)
            liquid_k, condenser_w = side.at(side.liquid_k, dew_k), side.at(side.condenser_w, dew_k)
            gas_w_per_k, power_w = side.at(side.gas_w_per_k, dew_k), side.at(side.power_w, dew_k)
        compressor = circuit.machine.compressor
        coupling = compressor.body_coupling_fraction
        if self.moments:
            last = self.moments[-1]
            step_s = elapsed_s - last.elapsed_s
            lag = math.exp(
                -step_s * coupling * gas_w_per_k / compressor.body_heat_capacity_j_per_k
            )
            self.body_k = hot_k + (self.body_k - hot_k) * lag
            self.memory *= lag
            self.evaporator_j += 0.5 * (state.heat_w + last.evaporator_w) * step_s
            self.condenser_j += 0.5 * (condenser_w + last.condenser_w) * step_s
            self.electric_j += 0.5 * (power_w + last.electric_power_w) * step_s
        area = circuit.wet_area_m2
        self.moments.append(
            Moment(
                elapsed_s=elapsed_s,
                water_k=water_k,
                ice_m=ice_m,
                suction_pressure_pa=circuit.fluid.dew_pressure_pa(dew_k),
                discharge_pressure_pa=discharge_pa,
                discharge_line_k=hot_k - coupling * (hot_k - self.body_k),
                superheat_k=state.superheat_k,
                liquid_k=liquid_k,
                evaporator_w=state.heat_w,
                condenser_w=condenser_w,
                electric_power_w=power_w,
                plate_side_k=FREEZING_POINT_K
                - state.heat_w / area * ice_m / ICE_CONDUCTIVITY_W_PER_M_K,
                boiling_k=state.boiling_k,
                body_memory=self.memory,
            )
        )


def run_freeze(circuit: Circuit, body_k: float) -> Freeze:
    """Return one freeze, with the compressor body at `body_k` [K] when it starts.

    Ends when the ice is as thick as the bridge setting asks, or at the machine's greatest freeze
    time with whatever ice there is.
    """
    evaporator, parts = circuit.machine.evaporator, circuit.parts
    side = _LowSide(circuit)
    record = _Record(side, body_k)
    area = circuit.wet_area_m2
    plate = evaporator.plate_conductance_w_per_m2_k * parts.plate_conductance_factor
    film = max(20.0, evaporator.water_film_conductance_w_per_m2_k * parts.water_film_factor)
    target_m = max(0.2 * evaporator.ice_thickness_m, evaporator.ice_thickness_m + parts.bridge_shift_m)
    most_m = 0.97 * evaporator.water_charge_kg / (ICE_DENSITY_KG_PER_M3 * area)
    if parts.water_leak_kg_per_s <= 0.0:
        target_m = min(target_m, most_m)
    last_s = evaporator.greatest_freeze_time_s
    leak_w_per_k = parts.water_leak_kg_per_s * WATER_HEAT_CAPACITY_J_PER_KG_K

    def gain_w(water_k: float) -> float:
        return evaporator.ambient_gain_w_per_k * (circuit.room_k - water_k) + leak_w_per_k * (
            circuit.water_inlet_k - water_k
        )

    # Chilling: no ice while the plate's face stays above freezing.
    elapsed, water, ice = 0.0, circuit.water_inlet_k, 0.0
    bare = area / (1.0 / plate + 1.0 / film)
    capacity = (
        evaporator.water_charge_kg * WATER_HEAT_CAPACITY_J_PER_KG_K
        + evaporator.plate_heat_capacity_j_per_k
    )
    settling_s = 0.7 * capacity / (bare + leak_w_per_k + evaporator.ambient_gain_w_per_k)
    state = side.balance(water, bare, 265.0)
    record.add(elapsed, water, ice, state)

    def face_above_freezing(water_k: float, now: _State) -> float:
        return water_k - now.heat_w / (film * area) - FREEZING_POINT_K

    above = face_above_freezing(water, state)
    while above > 0.0 and elapsed < last_s:
        step = min(_CHILL_STEP_S if elapsed < 900.0 else 60.0, settling_s, last_s - elapsed)
        slope = (gain_w(water) - state.heat_w) / capacity
        middle = side.balance(water + 0.5 * step * slope, bare, state.dew_k)
        slope = (gain_w(water + 0.5 * step * slope) - middle.heat_w) / capacity
        following = side.balance(water + step * slope, bare, middle.dew_k)
        above_next = face_above_freezing(water + step * slope, following)
        if above_next < 0.0:
            # Land on the moment ice starts, so that results change smoothly with conditions.
            step *= above / (above - above_next)
            following = side.balance(water + step * slope, bare, middle.dew_k)
        record.gain_j += gain_w(water + 0.5 * step * slope) * step
        elapsed, water, state = elapsed + step, water + step * slope, following
        above = above_next
        record.add(elapsed, water, ice, state)

    # Growing: the face is at freezing, the water follows it down.
    def at(ice_m: float, guess_k: float) -> _State:
        through = area / (1.0 / plate + ice_m / ICE_CONDUCTIVITY_W_PER_M_K)
        return side.balance(FREEZING_POINT_K, through, guess_k)

    def growth(ice_m: float, water_k: float, now: _State) -> float:
        below = now.heat_w / area * ice_m / ICE_CONDUCTIVITY_W_PER_M_K
        brought = film * area * (water_k - FREEZING_POINT_K)
        heat = ICE_DENSITY_KG_PER_M3 * area * heat_to_freeze_j_per_kg(below)
        return (now.heat_w - brought) / heat

    def water_after(water_k: float, ice_m: float, step_s: float) -> float:
        mass = max(0.15 * evaporator.water_charge_kg,
                   evaporator.water_charge_kg - batch_mass_kg(area, ice_m))  # fmt: skip
        losing = film * area + evaporator.ambient_gain_w_per_k + leak_w_per_k
        rest_k = FREEZING_POINT_K + gain_w(FREEZING_POINT_K) / losing
        fading = math.exp(-step_s * losing / (mass * WATER_HEAT_CAPACITY_J_PER_KG_K))
        return rest_k + (water_k - rest_k) * fading

    if elapsed < last_s:
        state = at(ice, state.dew_k)
    while ice < target_m and elapsed < last_s:
        rate = growth(ice, water, state)
        step = _LONGEST_STEP_S
        if rate > 0.0:
            step = min(step, max(_SHORTEST_STEP_S, target_m / _GROWTH_STEPS / rate))
        step = min(step, last_s - elapsed)
        halfway = water_after(water, ice, 0.5 * step)
        middle_ice = min(max(0.0, ice + 0.5 * step * rate), target_m)
        middle = at(middle_ice, state.dew_k)
        rate = growth(middle_ice, halfway, middle)
        if rate > 0.0:
            step = min(step, (target_m - ice) / rate)
        record.gain_j += gain_w(halfway) * step
        water = water_after(water, ice, step)
        ice = max(0.0, ice + step * rate)
        if target_m - ice < 1e-9:
            ice = target_m
        elapsed += step
        state = at(ice, middle.dew_k)
        record.add(elapsed, water, ice, state)

    return Freeze(
        moments=tuple(record.moments),
        ice_thickness_m=ice,
        batch_mass_kg=batch_mass_kg(area, ice),
        evaporator_heat_j=record.evaporator_j,
        condenser_heat_j=record.condenser_j,
        water_gain_j=record.gain_j,
        electric_energy_j=record.electric_j,
        body_start_k=body_k,
        body_k=record.body_k,
        is_complete=ice >= target_m,
    )
