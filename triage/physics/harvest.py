"""One harvest: plate and slab warmed to melting, then the layer that holds the slab melted.

Both pressures follow from balances, moment by moment, in `triage.physics.harvest_sides`.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from triage.physics.circuit import Circuit
from triage.physics.freeze import Freeze
from triage.physics.harvest_sides import LowSide, Receiver, Sides, low_side
from triage.physics.ice import (
    FREEZING_POINT_K,
    ICE_HEAT_CAPACITY_J_PER_KG_K,
    LATENT_HEAT_J_PER_KG,
    melt_for_release_kg,
)

_STEPS_S = ((6.0, 1.0), (24.0, 3.0), (150.0, 5.0), (math.inf, 10.0))
"""Until when which step is taken [s]: things move fast at first."""

_STANDING_STEP_S = 40.0
"""Step of a harvest that has come to a stand [s]."""

_STANDING_K = 1.0
"""A plate below freezing that a long step warms by less than this has come to a stand [K]."""

_SETTLED_S = 90.0
"""From when a harvest can be said to stand [s]: its pressures are read at one minute."""

LEFT_ON_PLATE_FRACTION = 0.05
"""Share of the charge lying as liquid in the plate's tubing when freeze ends [-]; judged."""

LINE_LOSS_FRACTION = 0.06
"""Flow, as a share of the full one, at which the hot gas line would be halfway between room and
gas temperature [-]; judged: it makes the line of a shut valve cool."""


@dataclass(frozen=True, slots=True)
class HarvestMoment:
    """The machine at `elapsed_s` [s] into the harvest."""

    elapsed_s: float
    suction_pressure_pa: float
    discharge_pressure_pa: float
    hot_gas_line_k: float
    plate_k: float
    melted_kg: float
    plate_w: float
    electric_power_w: float
    receiver_k: float
    receiver_liquid_kg: float
    feed_kg_per_s: float
    hot_gas_kg_per_s: float


@dataclass(frozen=True, slots=True)
class HarvestRun:
    """A whole harvest; `is_released` unless time ran out.

    `plate_heat_j` went into plate and ice, of `needed_heat_j` to let the slab go.
    """

    moments: tuple[HarvestMoment, ...]
    plate_heat_j: float
    needed_heat_j: float
    electric_energy_j: float
    body_k: float
    is_released: bool

    @property
    def duration_s(self) -> float:
        """How long the harvest took [s]."""
        return self.moments[-1].elapsed_s


class _Plate:
    """Metal and the slab's plate side, warmed to freezing, then melting."""

    def __init__(self, circuit: Circuit, freeze: Freeze) -> None:
        machine, last = circuit.machine, freeze.moments[-1]
        metal = machine.evaporator.plate_heat_capacity_j_per_k
        slab = freeze.batch_mass_kg * ICE_HEAT_CAPACITY_J_PER_KG_K / 2.0
        self.capacity = metal + slab
        # Metal lies between boiling refrigerant and ice; one temperature stands for both, weighted
        # by what each takes up.
        metal_k = min(0.5 * (last.plate_side_k + last.boiling_k), FREEZING_POINT_K)
        slab_k = min(last.plate_side_k, FREEZING_POINT_K)
        self.kelvin = (metal * metal_k + slab * slab_k) / self.capacity
        self.conductance = machine.harvest.conductance_w_per_k
        self.melted_kg = 0.0
        self.melt_kg = (
            melt_for_release_kg(circuit.wet_area_m2, machine.harvest.melt_thickness_m)
            * circuit.parts.adhesion_factor
            * circuit.parts.vacuum_factor
        )
        self.needed_j = (
            self.capacity * (FREEZING_POINT_K - self.kelvin) + self.melt_kg * LATENT_HEAT_J_PER_KG
        )

    @property
    def is_released(self) -> bool:
        return self.melted_kg >= self.melt_kg

    def is_standing(self, power_w: float) -> bool:
        """Whether a long step would hardly warm the frozen plate any more."""
        is_frozen = self.kelvin < FREEZING_POINT_K
        return is_frozen and power_w * _STANDING_STEP_S < _STANDING_K * self.capacity

    def take(self, power_w: float, step_s: float) -> tuple[float, float]:
        """Take `power_w` for a step; return the heat taken [J] and the part of the step needed [s].

        The step ends early when the slab lets go.
        """
        if self.kelvin < FREEZING_POINT_K:
            return self._warm(power_w, step_s), step_s
        heat = power_w * step_s
        if power_w <= 0.0:
            self.kelvin += heat / self.capacity
            return heat, step_s
        short = (self.melt_kg - self.melted_kg) * LATENT_HEAT_J_PER_KG
        if heat >= short:
            self.melted_kg = self.melt_kg
            return short, step_s * short / heat
        self.melted_kg += heat / LATENT_HEAT_J_PER_KG
        return heat, step_s

    def _warm(self, power_w: float, step_s: float) -> float:
        # The warmer the plate, the less it takes: relax towards the condensing temperature.
        fading = step_s * self.conductance / self.capacity
        share = -math.expm1(-fading) / fading
        heat = power_w * step_s * share
        short = self.capacity * (FREEZING_POINT_K - self.kelvin)
        if heat <= short:
            self.kelvin += heat / self.capacity
            return heat
        # The rest of the step melts, at the rate of a plate at freezing.
        left_s = (1.0 - short / heat) * step_s
        extra = power_w * max(0.0, 1.0 - fading * share) * left_s
        self.kelvin = FREEZING_POINT_K
        self.melted_kg = extra / LATENT_HEAT_J_PER_KG
        return short + extra


def run_harvest(circuit: Circuit, freeze: Freeze) -> HarvestRun:
    """Return one harvest, starting from the end of `freeze`.

    Ends when the layer is melted or at the machine's greatest harvest time.
    """
    machine, parts, gas = circuit.machine, circuit.parts, circuit.fluid
    harvest, compressor = machine.harvest, machine.compressor
    coupling = compressor.body_coupling_fraction
    last = freeze.moments[-1]
    plate = _Plate(circuit, freeze)
    missing_kg = machine.charge_kg * max(0.0, 1.0 - parts.charge_fraction)
    receiver_kg = max(0.0, harvest.receiver_liquid_kg - missing_kg)
    receiver_k = min(last.liquid_k, gas.greatest_temperature_k - 1.0)
    on_plate_kg = LEFT_ON_PLATE_FRACTION * machine.charge_kg * min(1.0, parts.charge_fraction)
    body_k = freeze.body_k
    sides = Sides(circuit, last.discharge_line_k)
    sides.set_receiver(receiver_k, receiver_kg > 0.0)
    receiver = Receiver(sides)
    full_flow = elapsed = plate_heat = electric = 0.0
    was_dry = False
    suction_pa = min(gas.dew_pressure_pa(max(plate.kelvin, 240.0)) * 1.2, circuit.feed_setpoint_pa)
    moments: list[HarvestMoment] = []
    while True:
        low = low_side(sides, plate.kelvin, on_plate_kg, suction_pa, was_dry)
        suction_pa, was_dry = low.suction_pa, low.is_dry
        work, _, hot_k = circuit.compress(low.suction_pa, low.superheat_k, low.discharge_pa)
        gas_k = hot_k - coupling * (hot_k - body_k)
        sides.set_gas(gas_k)
        full_flow = max(full_flow, low.swept)
        power = low.swept * work / compressor.motor_efficiency
        moments.append(
            HarvestMoment(
                elapsed_s=elapsed,
                suction_pressure_pa=low.suction_pa,
                discharge_pressure_pa=low.discharge_pa,
                hot_gas_line_k=_line_k(circuit.room_k, gas_k, low.hot, full_flow),
                plate_k=plate.kelvin,
                melted_kg=plate.melted_kg,
                plate_w=low.plate_w,
                electric_power_w=power,
                receiver_k=receiver_k,
                receiver_liquid_kg=receiver_kg,
                feed_kg_per_s=low.feed,
                hot_gas_kg_per_s=low.hot,
            )
        )
        if plate.is_released or elapsed >= harvest.greatest_harvest_time_s:
            break
        step = next(length for until, length in _STEPS_S if elapsed < until)
        if elapsed >= _SETTLED_S and plate.is_standing(low.plate_w):
            step = _STANDING_STEP_S
        heat, step = plate.take(low.plate_w, min(step, harvest.greatest_harvest_time_s - elapsed))
        plate_heat += heat
        electric += power * step
        # Metal warmer than the gas (pressure has fallen) gives its warmth back.
        exchange = coupling * _gas_heat_flow(circuit, low, hot_k) * step
        body_k = hot_k + (body_k - hot_k) * math.exp(
            -exchange / compressor.body_heat_capacity_j_per_k
        )
        if receiver_kg > 0.0 or low.condensed > 0.0:
            receiver_k, used = receiver.after(step, low, receiver_k, receiver_kg)
            receiver_kg = max(0.0, receiver_kg + low.condensed * step - used)
            sides.set_receiver(receiver_k, receiver_kg > 0.0)
        # A dry plate stays so until more comes than the compressor takes.
        gathered = 0.0 if low.is_dry else (low.hot + low.feed - low.swept) * step
        on_plate_kg = min(max(on_plate_kg + gathered, 0.0), machine.charge_kg)
        elapsed += step
    return HarvestRun(
        moments=tuple(moments),
        plate_heat_j=plate_heat,
        needed_heat_j=plate.needed_j,
        electric_energy_j=electric,
        body_k=body_k,
        is_released=plate.is_released,
    )


def _line_k(room_k: float, gas_k: float, flow: float, full_flow: float) -> float:
    """Return the temperature of the hot gas line [K]: the room's if nothing flows."""
    if flow <= 0.0:
        return room_k
    return room_k + (gas_k - room_k) * flow / (flow + LINE_LOSS_FRACTION * full_flow)


def _gas_heat_flow(circuit: Circuit, low: LowSide, hot_k: float) -> float:
    """Return the heat capacity flow of the discharge gas [W/K]."""
    upper = circuit.gas_enthalpy_j_per_kg(low.discharge_pa, hot_k + 10.0)
    lower = circuit.gas_enthalpy_j_per_kg(low.discharge_pa, hot_k)
    return low.swept * (upper - lower) / 10.0
