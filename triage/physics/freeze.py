"""One freeze: the water charge chilled, then ice grown until the bridge is as thick as set.

The refrigerant side is taken as steady at every moment and tabulated once over suction; plate, ice
and water are followed in time.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

from triage.physics.circuit import CHARGE_ON_PLATE_FRACTION, Circuit
from triage.physics.freeze_side import FreezeSide, State
from triage.physics.ice import (
    FREEZING_POINT_K,
    ICE_CONDUCTIVITY_W_PER_M_K,
    ICE_DENSITY_KG_PER_M3,
    WATER_HEAT_CAPACITY_J_PER_KG_K,
    batch_mass_kg,
    heat_to_freeze_j_per_kg,
)

_CHILL_STEP_S = 15.0
_LONG_CHILL_STEP_S = 60.0
_CHILL_STEPS_UNTIL_S = 900.0
_LONGEST_STEP_S = 40.0
_SHORTEST_STEP_S = 3.0
_GROWTH_STEPS = 20
_LEAST_FILM_W_PER_M2_K = 20.0
_MOST_FROZEN_FRACTION = 0.97


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
    wet_fraction: float


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


class _Record:
    """Collects moments, lags the discharge line and sums heats."""

    def __init__(self, side: FreezeSide, body_k: float) -> None:
        self.side = side
        self.body_k = body_k
        self.memory = 1.0
        self.moments: list[Moment] = []
        self.evaporator_j = self.condenser_j = self.gain_j = self.electric_j = 0.0

    def add(self, elapsed_s: float, water_k: float, ice_m: float, state: State) -> None:
        side, circuit = self.side, self.side.circuit
        dew_k = state.dew_k
        if state.superheat_k > circuit.superheat_k + 0.5:
            dry = max(0.0, circuit.wet_fraction - state.wet_fraction)
            displaced = CHARGE_ON_PLATE_FRACTION * dry
            point = circuit.steady(dew_k, state.superheat_k, circuit.sink_k + 12.0, displaced)
            discharge_pa = point.discharge_pressure_pa
            hot_k = point.discharge_k
            liquid_k = point.liquid_k
            gas_w_per_k = point.gas_w_per_k
            power_w = point.electric_power_w
            condenser_w = point.condenser_w
        else:
            discharge_pa = side.at(side.discharge_pa, dew_k)
            hot_k = side.at(side.discharge_k, dew_k)
            liquid_k = side.at(side.liquid_k, dew_k)
            gas_w_per_k = side.at(side.gas_w_per_k, dew_k)
            power_w = side.at(side.power_w, dew_k)
            condenser_w = side.at(side.condenser_w, dew_k)
        compressor = circuit.machine.compressor
        coupling = compressor.body_coupling_fraction
        if self.moments:
            last = self.moments[-1]
            step_s = elapsed_s - last.elapsed_s
            lag = math.exp(-step_s * coupling * gas_w_per_k / compressor.body_heat_capacity_j_per_k)
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
                wet_fraction=state.wet_fraction,
            )
        )


class _Run:
    """A freeze under way: the water charge, the ice, and what the refrigerant side does."""

    def __init__(self, circuit: Circuit, body_k: float) -> None:
        evaporator, parts = circuit.machine.evaporator, circuit.parts
        self.circuit = circuit
        self.evaporator = evaporator
        self.side = FreezeSide(circuit)
        self.record = _Record(self.side, body_k)
        self.area = circuit.wet_area_m2
        self.plate = evaporator.plate_conductance_w_per_m2_k * parts.plate_conductance_factor
        self.film = max(
            _LEAST_FILM_W_PER_M2_K,
            evaporator.water_film_conductance_w_per_m2_k * parts.water_film_factor,
        )
        self.leak_w_per_k = parts.water_leak_kg_per_s * WATER_HEAT_CAPACITY_J_PER_KG_K
        self.last_s = evaporator.greatest_freeze_time_s
        thickness = evaporator.ice_thickness_m
        self.target_m = max(0.2 * thickness, thickness + parts.bridge_shift_m)
        if parts.water_leak_kg_per_s <= 0.0:
            most_kg = _MOST_FROZEN_FRACTION * evaporator.water_charge_kg
            self.target_m = min(self.target_m, most_kg / (ICE_DENSITY_KG_PER_M3 * self.area))
        self.elapsed = self.ice = 0.0
        self.water = circuit.water_inlet_k
        self.state = State(265.0, 0.0, 0.0, 0.0)

    def gain_w(self, water_k: float) -> float:
        """Return the heat room and leaking inlet bring to the water [W]."""
        from_room = self.evaporator.ambient_gain_w_per_k * (self.circuit.room_k - water_k)
        return from_room + self.leak_w_per_k * (self.circuit.water_inlet_k - water_k)

    def note(self) -> None:
        self.record.add(self.elapsed, self.water, self.ice, self.state)

    # Chilling: no ice while the plate's face stays above freezing.

    def chill(self) -> None:
        bare = self.area / (1.0 / self.plate + 1.0 / self.film)
        capacity = (
            self.evaporator.water_charge_kg * WATER_HEAT_CAPACITY_J_PER_KG_K
            + self.evaporator.plate_heat_capacity_j_per_k
        )
        losing = bare + self.leak_w_per_k + self.evaporator.ambient_gain_w_per_k
        settling_s = 0.7 * capacity / losing
        self.state = self.side.balance(self.water, bare, self.state.dew_k)
        self.note()
        above = self._face_above_freezing_k(self.water, self.state)
        while above > 0.0 and self.elapsed < self.last_s:
            longest = _CHILL_STEP_S if self.elapsed < _CHILL_STEPS_UNTIL_S else _LONG_CHILL_STEP_S
            step = min(longest, settling_s, self.last_s - self.elapsed)
            slope = (self.gain_w(self.water) - self.state.heat_w) / capacity
            halfway = self.water + 0.5 * step * slope
            middle = self.side.balance(halfway, bare, self.state.dew_k)
            slope = (self.gain_w(halfway) - middle.heat_w) / capacity
            following = self.side.balance(self.water + step * slope, bare, middle.dew_k)
            above_next = self._face_above_freezing_k(self.water + step * slope, following)
            if above_next < 0.0:
                # Land on the moment ice starts, so that results change smoothly with conditions.
                step *= above / (above - above_next)
                following = self.side.balance(self.water + step * slope, bare, middle.dew_k)
            self.record.gain_j += self.gain_w(halfway) * step
            self.elapsed += step
            self.water += step * slope
            self.state, above = following, above_next
            self.note()

    def _face_above_freezing_k(self, water_k: float, state: State) -> float:
        return water_k - state.heat_w / (self.film * self.area) - FREEZING_POINT_K

    # Growing: the face is at freezing, the water follows it down.

    def grow(self) -> None:
        if self.elapsed < self.last_s:
            self.state = self._through_ice(self.ice, self.state.dew_k)
        while self.ice < self.target_m and self.elapsed < self.last_s:
            brought = self.film * self.area * (self.water - FREEZING_POINT_K)
            rate = self._growth(self.ice, brought, self.state)
            step = _LONGEST_STEP_S
            if rate > 0.0:
                step = min(step, max(_SHORTEST_STEP_S, self.target_m / _GROWTH_STEPS / rate))
            step = min(step, self.last_s - self.elapsed)
            _, brought = self._water_after(step)
            middle_ice = min(max(0.0, self.ice + 0.5 * step * rate), self.target_m)
            middle = self._through_ice(middle_ice, self.state.dew_k)
            rate = self._growth(middle_ice, brought, middle, self._deepening(middle_ice, middle))
            if rate > 0.0:
                step = min(step, (self.target_m - self.ice) / rate)
            following, _ = self._water_after(step)
            self.record.gain_j += self.gain_w(0.5 * (self.water + following)) * step
            self.water = following
            self.ice = max(0.0, self.ice + step * rate)
            if self.target_m - self.ice < 1e-9:
                self.ice = self.target_m
            self.elapsed += step
            self.state = self._through_ice(self.ice, middle.dew_k)
            self.note()

    def _through_ice(self, ice_m: float, guess_k: float) -> State:
        conductance = self.area / (1.0 / self.plate + ice_m / ICE_CONDUCTIVITY_W_PER_M_K)
        return self.side.balance(FREEZING_POINT_K, conductance, guess_k)

    def _growth(
        self, ice_m: float, brought_w: float, state: State, deepening_k: float = 0.0
    ) -> float:
        """Return growth [m/s]: what the plate draws less what the water brings through its film.

        `deepening_k` is how much colder the grown ice gets while its thickness doubles [K].
        """
        # Water reaches the front as warm as it is.
        arriving = WATER_HEAT_CAPACITY_J_PER_KG_K * max(0.0, self.water - FREEZING_POINT_K)
        per_kg = heat_to_freeze_j_per_kg(self._below_k(ice_m, state) + deepening_k) + arriving
        return (state.heat_w - brought_w) / (ICE_DENSITY_KG_PER_M3 * self.area * per_kg)

    def _below_k(self, ice_m: float, state: State) -> float:
        """Return how cold the ice is on its plate side [K below freezing]."""
        return state.heat_w / self.area * ice_m / ICE_CONDUCTIVITY_W_PER_M_K

    def _deepening(self, ice_m: float, state: State) -> float:
        """Return thickness times the change of plate-side cold with thickness [K], since `ice`."""
        grown = ice_m - self.ice
        if grown < 1e-6:
            return 0.0
        change = self._below_k(ice_m, state) - self._below_k(self.ice, self.state)
        return max(0.0, ice_m * change / grown)

    def _water_after(self, step_s: float) -> tuple[float, float]:
        """Return the water's temperature after a step [K] and what it brings to the ice [W].

        The plate's metal is cooled with the water down to freezing. That it ends colder is made up
        for by its start: harvest leaves it colder than the new water.
        """
        charge = self.evaporator.water_charge_kg
        left = max(0.15 * charge, charge - batch_mass_kg(self.area, self.ice))
        capacity = (
            left * WATER_HEAT_CAPACITY_J_PER_KG_K + self.evaporator.plate_heat_capacity_j_per_k
        )
        film = self.film * self.area
        losing = film + self.evaporator.ambient_gain_w_per_k + self.leak_w_per_k
        rest_k = FREEZING_POINT_K + self.gain_w(FREEZING_POINT_K) / losing
        exponent = step_s * losing / capacity
        fading = math.exp(-exponent)
        mean_k = rest_k + (self.water - rest_k) * (1.0 - fading) / exponent
        return rest_k + (self.water - rest_k) * fading, film * (mean_k - FREEZING_POINT_K)


def run_freeze(circuit: Circuit, body_k: float) -> Freeze:
    """Return one freeze, with the compressor's metal at `body_k` [K] when it starts.

    Ends when the ice is as thick as the bridge setting asks, or at the machine's greatest freeze
    time with whatever ice there is.
    """
    run = _Run(circuit, body_k)
    run.chill()
    run.grow()
    record = run.record
    return Freeze(
        moments=tuple(record.moments),
        ice_thickness_m=run.ice,
        batch_mass_kg=batch_mass_kg(run.area, run.ice),
        evaporator_heat_j=record.evaporator_j,
        condenser_heat_j=record.condenser_j,
        water_gain_j=record.gain_j,
        electric_energy_j=record.electric_j,
        body_start_k=body_k,
        body_k=record.body_k,
        is_complete=run.ice >= run.target_m,
    )
