"""A machine on file redesigned for another refrigerant, to stand in for one that is not on file."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace

from triage.physics.circuit import Circuit
from triage.physics.errors import PhysicsError
from triage.physics.machine import HEALTHY, CondenserKind, Conditions, Machine
from triage.physics.roots import find_root
from triage.physics.tables import fluid
from triage.physics.valve import valve_flow_kg_per_s

_REFERENCE = Conditions(
    ambient_air_temperature_k=294.15,
    condenser_air_temperature_k=294.15,
    water_inlet_temperature_k=288.15,
)
"""Where old and new design are made to agree: a 21 °C room, 15 °C water."""

_FREEZE_DEW_K = 258.15
_HARVEST_BOILING_K = 279.15
_HARVEST_GAS_K = 320.15
_RECEIVER_K = 303.15


def adapt(machine: Machine, refrigerant_id: str) -> Machine:
    """Return `machine` redesigned for `refrigerant_id` and marked as generic.

    Displacement, valve areas, setpoint and charge are scaled so that, at a 21 °C room, it freezes
    with the same capacity and harvests at the same saturation temperatures; plate, water and
    condenser stay. Its own chart no longer holds and is left out. With the machine's own
    refrigerant only the mark and the chart change. Raises UnknownRefrigerant.
    """
    generic = replace(machine, chart=(), is_generic=True)
    if refrigerant_id == machine.refrigerant:
        return generic
    fluid(refrigerant_id)
    trial = replace(generic, refrigerant=refrigerant_id)
    old, new = _design(machine), _design(trial)
    swept = old.capacity_w / new.capacity_w
    hot_gas = _hot_gas_area_m2(machine, swept * machine.compressor.displacement_m3_per_s, new)
    latent = old.latent_j_per_kg / new.latent_j_per_kg
    density = new.liquid_density / old.liquid_density
    harvest = machine.harvest
    return replace(
        trial,
        charge_kg=machine.charge_kg * density,
        compressor=replace(
            machine.compressor,
            displacement_m3_per_s=machine.compressor.displacement_m3_per_s * swept,
        ),
        evaporator=replace(
            machine.evaporator,
            valve_flow_area_m2=machine.evaporator.valve_flow_area_m2
            * (old.effect_j_per_kg / new.effect_j_per_kg)
            * old.liquid_flow_per_area
            / new.liquid_flow_per_area,
        ),
        harvest=replace(
            harvest,
            hot_gas_flow_area_m2=hot_gas,
            feed_flow_area_m2=harvest.feed_flow_area_m2 * latent * old.vapor_flow / new.vapor_flow,
            feed_setpoint_pa=_same_boiling_pa(old, new, harvest.feed_setpoint_pa),
            feed_band_pa=harvest.feed_band_pa
            * _same_boiling_pa(old, new, harvest.feed_setpoint_pa)
            / harvest.feed_setpoint_pa,
            boil_flow_area_m2=harvest.boil_flow_area_m2 * latent * old.vapor_flow / new.vapor_flow,
            receiver_liquid_kg=harvest.receiver_liquid_kg * density,
        ),
    )


def typical_machine(
    machines: Iterable[Machine], refrigerant_id: str, condenser_kind: CondenserKind
) -> Machine:
    """Return what stands in for a machine that is not on file.

    Among those with this kind of condenser, those that already use the refrigerant come first, then
    the one of middling size; it is adapted and marked generic. Raises PhysicsError when `machines`
    is empty, UnknownRefrigerant for a refrigerant without tables.
    """
    known = list(machines)
    if not known:
        raise PhysicsError("No machine is on file to stand in for this one; add a machine file.")
    candidates = [found for found in known if found.condenser.kind is condenser_kind] or known
    candidates = [
        found for found in candidates if found.refrigerant == refrigerant_id
    ] or candidates
    by_size = sorted(candidates, key=lambda found: (found.evaporator.plate_area_m2, found.id))
    return adapt(by_size[(len(by_size) - 1) // 2], refrigerant_id)


class _Design:
    """What one refrigerant does in a machine at the reference conditions."""

    def __init__(self, machine: Machine) -> None:
        circuit = Circuit(machine, _REFERENCE, HEALTHY)
        gas = circuit.fluid
        self.circuit = circuit
        condensing_k = 310.15
        discharge_pa = circuit.condensing_pressure_pa(condensing_k)
        suction_pa = gas.dew_pressure_pa(_FREEZE_DEW_K)
        outlet_j, suction_j = circuit.suction_gas(suction_pa, circuit.superheat_k)
        superheat = max(0.0, circuit.gas_temperature_k(suction_pa, suction_j) - _FREEZE_DEW_K)
        density = gas.vapor_density_kg_per_m3(suction_pa, superheat)
        liquid_k = gas.bubble_temperature_k(discharge_pa) - circuit.subcooling_k
        self.effect_j_per_kg = outlet_j - gas.liquid_enthalpy_j_per_kg(liquid_k)
        flow = circuit.swept_flow_kg_per_s(suction_pa, density, discharge_pa)
        self.capacity_w = flow * self.effect_j_per_kg
        self.liquid_density = gas.liquid_density_kg_per_m3(_RECEIVER_K)
        self.liquid_flow_per_area = (
            gas.liquid_density_kg_per_m3(liquid_k) * (discharge_pa - suction_pa)
        ) ** 0.5
        receiver_pa = gas.dew_pressure_pa(_RECEIVER_K)
        vapor = gas.vapor_density_kg_per_m3(receiver_pa, 0.0)
        low_pa = circuit.condensing_pressure_pa(_HARVEST_BOILING_K)
        self.vapor_flow = valve_flow_kg_per_s(1.0, receiver_pa, vapor, low_pa)
        self.latent_j_per_kg = gas.vapor_enthalpy_j_per_kg(
            low_pa, 0.0
        ) - gas.liquid_enthalpy_j_per_kg(_HARVEST_BOILING_K)
        self.harvest_suction_pa = low_pa
        self.harvest_density = gas.vapor_density_kg_per_m3(low_pa, 4.0)

    def harvest_flow(self, displacement_m3_per_s: float, discharge_pa: float) -> float:
        compressor = self.circuit.machine.compressor
        full = self.circuit.swept_flow_kg_per_s(
            self.harvest_suction_pa, self.harvest_density, discharge_pa
        )
        return full * displacement_m3_per_s / compressor.displacement_m3_per_s

    def hot_gas_flow(self, area_m2: float, discharge_pa: float) -> float:
        density = self.circuit.gas_density_kg_per_m3(discharge_pa, _HARVEST_GAS_K)
        return valve_flow_kg_per_s(area_m2, discharge_pa, density, self.harvest_suction_pa)


def _design(machine: Machine) -> _Design:
    return _Design(machine)


def _hot_gas_area_m2(machine: Machine, displacement_m3_per_s: float, new: _Design) -> float:
    """Return the hot gas valve area [m2] that keeps the condensing temperature of harvest."""
    old = _design(machine)
    area = machine.harvest.hot_gas_flow_area_m2

    def surplus(discharge_pa: float) -> float:
        swept = old.harvest_flow(machine.compressor.displacement_m3_per_s, discharge_pa)
        return old.hot_gas_flow(area, discharge_pa) - swept

    low_pa = old.harvest_suction_pa
    discharge_pa = find_root(
        surplus, 1.01 * low_pa, old.circuit.greatest_pressure_pa, 1.4 * low_pa, 100.0
    )
    discharge_k = old.circuit.condensing_k(discharge_pa)
    new_discharge_pa = max(
        new.circuit.condensing_pressure_pa(discharge_k), 1.02 * new.harvest_suction_pa
    )
    wanted = new.harvest_flow(displacement_m3_per_s, new_discharge_pa)
    return wanted / new.hot_gas_flow(1.0, new_discharge_pa)


def _same_boiling_pa(old: _Design, new: _Design, pressure_pa: float) -> float:
    """Return the new refrigerant's pressure [Pa] at the saturation temperature of `pressure_pa`."""
    return new.circuit.condensing_pressure_pa(old.circuit.condensing_k(pressure_pa))
