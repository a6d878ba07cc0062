"""The refrigerant circuit at one moment: compressor, condenser, valves, given the low side.

A `Circuit` is one machine with its parts in some state at some conditions; everything that does not
change during a cycle is worked out once.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from triage.physics.compression import isentropic_discharge
from triage.physics.errors import OutOfRange
from triage.physics.machine import CondenserKind, Conditions, Machine, Parts
from triage.physics.pressure import STANDARD_ATMOSPHERE_PA
from triage.physics.roots import find_root
from triage.physics.tables import Fluid, fluid
from triage.physics.valve import valve_flow_kg_per_s

REEXPANSION_EXPONENT = 1.1
"""Polytropic exponent of gas re-expanding from the clearance [-]; judged, near the isentropic one
of heavy refrigerant vapor (1.05 to 1.2)."""

LEAST_VOLUMETRIC_EFFICIENCY = 0.05
"""Keeps the model in range where a worn compressor would pump nothing [-]; judged."""

FLOODING_PER_EXTRA_CHARGE = 2.5
"""Share of the condenser filled with liquid per share of charge beyond what the machine can store
[-]; judged: a condenser holds about two fifths of the charge when full of liquid."""

MOST_FLOODED_FRACTION = 0.75
SUBCOOLING_PER_FLOODING_K = 15.0
"""More subcooling per share of the condenser filled with liquid [K]; judged."""

CHARGE_ON_PLATE_FRACTION = 0.15
"""Share of the charge that boils on a plate fed as it should be [-]; judged. What a starved plate
does not hold stands in the receiver, or in the condenser of a machine that has none."""

FLOOR_LOST_PER_MISSING_CHARGE_K = 40.0
"""How far the least condensing temperature sinks when no liquid is left to hold it [K]; judged."""

FLASH_PER_STARVATION = 0.3
"""Vapor in the liquid line (share of the mass) per share of the charge missing beyond the reserve
[-]; judged: once no liquid stands in front of the line, what is missing there is vapor."""

MOST_FLASH_FRACTION = 0.6
DRY_PER_STARVATION = 2.2
"""Share of the plate that runs dry per share of the charge missing beyond the reserve [-]; judged:
plate and liquid line run short together, the plate a little sooner."""

LEAST_WET_FRACTION = 0.02

_GREATEST_SUPERHEAT_K = 145.0
_LEAST_DEW_K = 216.0
_NEAR_CRITICAL = 0.985
_LEAST_COVERAGE = 0.02
_LEAST_OWN_SHARE = 0.2
_UNCOMPRESSED = 1.0001


@dataclass(frozen=True, slots=True)
class Point:
    """The circuit in steady freeze at one suction pressure.

    Mass flow of the compressor [kg/s], high-side pressure [Pa], gas temperature at the discharge
    line once all is warm [K], heat capacity flow of that gas [W/K], electric power of the
    compressor [W], heat taken up per kg of liquid fed [J/kg], liquid temperature [K], wide-open
    flow of the expansion valve [kg/s], flow leaking through the hot gas valve [kg/s] with the heat
    it brings per kg [J/kg], mean boiling temperature [K], and heat given off by the condenser [W].
    """

    flow_kg_per_s: float
    discharge_pressure_pa: float
    discharge_k: float
    gas_w_per_k: float
    electric_power_w: float
    effect_j_per_kg: float
    liquid_k: float
    valve_flow_kg_per_s: float
    leak_kg_per_s: float
    leak_heat_j_per_kg: float
    mean_boiling_k: float
    condenser_w: float


class Circuit:
    """One machine, its parts in some state, at some conditions."""

    def __init__(self, machine: Machine, conditions: Conditions, parts: Parts) -> None:
        self.machine = machine
        self.conditions = conditions
        self.parts = parts
        self.fluid: Fluid = fluid(machine.refrigerant)
        condenser, reserve = machine.condenser, machine.charge_reserve_fraction
        self.room_k = conditions.ambient_air_temperature_k
        self.water_inlet_k = conditions.water_inlet_temperature_k + parts.water_warmer_k
        match condenser.kind:
            case CondenserKind.WATER:
                self.sink_k = self.water_inlet_k
            case CondenserKind.AIR:
                self.sink_k = self.room_k
            case CondenserKind.REMOTE_AIR:
                self.sink_k = conditions.condenser_air_temperature_k
        missing = 1.0 - parts.charge_fraction
        self.starvation = min(1.0, max(0.0, missing - reserve) / (1.0 - reserve))
        self.flash_fraction = min(MOST_FLASH_FRACTION, FLASH_PER_STARVATION * self.starvation)
        self.wet_fraction = max(LEAST_WET_FRACTION, 1.0 - DRY_PER_STARVATION * self.starvation)
        self.excess = -missing - storable_fraction(machine)
        reserve_left = min(1.0, max(0.0, 1.0 - missing / reserve)) if missing > 0.0 else 1.0
        self.least_subcooling_k = condenser.subcooling_k * reserve_left
        self.condenser_w_per_k, self.subcooling_k = self.flooded_by(0.0)
        self.greatest_pressure_pa = _NEAR_CRITICAL * min(
            self.fluid.greatest_dew_pressure_pa, self.fluid.greatest_bubble_pressure_pa
        )
        self.least_suction_pa = self.fluid.dew_pressure_pa(_LEAST_DEW_K)
        floor_k = condenser.least_condensing_temperature_k + parts.head_floor_shift_k
        floor_k -= FLOOR_LOST_PER_MISSING_CHARGE_K * self.starvation
        self.floor_pressure_pa = self.condensing_pressure_pa(floor_k)
        # More superheat than built for is bought with a dry end of the plate: see `freeze`.
        self.extra_superheat_k = max(0.0, parts.valve_superheat_shift_k)
        self.superheat_k = (
            0.0
            if parts.liquid_carry_over_fraction > 0.0
            else max(
                0.0,
                machine.evaporator.suction_superheat_k + min(0.0, parts.valve_superheat_shift_k),
            )
        )
        self.valve_area_m2 = machine.evaporator.valve_flow_area_m2 * parts.valve_capacity_factor
        self.wet_area_m2 = machine.evaporator.plate_area_m2 * max(
            _LEAST_COVERAGE, parts.water_coverage_fraction
        )
        harvest = machine.harvest
        self.feed_setpoint_pa = (
            harvest.feed_setpoint_pa
            + parts.feed_setpoint_shift_pa
            # A spring balances the low side against the local air, not against a vacuum.
            + (conditions.barometric_pressure_pa - STANDARD_ATMOSPHERE_PA)
        )

    # High side

    def condensing_pressure_pa(self, condensing_k: float) -> float:
        """Return the pressure [Pa] at which condensing is at `condensing_k` [K] on the mean.

        Refrigerant's own: any air adds its partial pressure (Dalton's law).
        """
        gas = self.fluid
        t_k = min(max(condensing_k, _LEAST_DEW_K), gas.greatest_temperature_k)
        pressure = math.sqrt(gas.dew_pressure_pa(t_k) * gas.bubble_pressure_pa(t_k))
        return min(pressure, self.greatest_pressure_pa - self.parts.air_pressure_pa)

    def condensing_k(self, pressure_pa: float) -> float:
        """Return the mean condensing temperature [K] at a pressure [Pa], any air's included."""
        gas, own_pa = self.fluid, self.own_pressure_pa(pressure_pa)
        return 0.5 * (gas.dew_temperature_k(own_pa) + gas.bubble_temperature_k(own_pa))

    def own_pressure_pa(self, pressure_pa: float) -> float:
        """Return the refrigerant's share [Pa] of a pressure in the condenser [Pa]."""
        return max(pressure_pa - self.parts.air_pressure_pa, _LEAST_OWN_SHARE * pressure_pa)

    def flooded_by(self, displaced_fraction: float) -> tuple[float, float]:
        """Return the condenser's conductance [W/K] and the subcooling [K].

        `displaced_fraction` is the share of the charge that the plate should hold and does not.
        """
        extra = max(0.0, self.excess + displaced_fraction)
        flooded = min(MOST_FLOODED_FRACTION, FLOODING_PER_EXTRA_CHARGE * extra)
        condenser = self.machine.condenser
        free = condenser.conductance_w_per_k * self.parts.condenser_factor * (1.0 - flooded)
        return free, self.least_subcooling_k + SUBCOOLING_PER_FLOODING_K * flooded

    def liquid_k(self, discharge_pressure_pa: float, subcooling_k: float | None = None) -> float:
        """Return the temperature of the liquid leaving the warm end [K].

        Subcooled (by the machine's own subcooling if None is given), but never below the air or
        water that cools it.
        """
        if subcooling_k is None:
            subcooling_k = self.subcooling_k
        bubble_k = self.fluid.bubble_temperature_k(self.own_pressure_pa(discharge_pressure_pa))
        return max(bubble_k - subcooling_k, min(bubble_k, self.sink_k + 0.5))

    def fed_enthalpy_j_per_kg(
        self, discharge_pressure_pa: float, subcooling_k: float | None = None
    ) -> float:
        """Return the enthalpy [J/kg] of what reaches the expansion valve, flash gas included."""
        gas = self.fluid
        liquid_j = gas.liquid_enthalpy_j_per_kg(self.liquid_k(discharge_pressure_pa, subcooling_k))
        if self.flash_fraction == 0.0:
            return liquid_j
        vapor_j = gas.vapor_enthalpy_j_per_kg(discharge_pressure_pa, 0.0)
        return liquid_j + self.flash_fraction * (vapor_j - liquid_j)

    def fed_density_kg_per_m3(self, discharge_pressure_pa: float) -> float:
        """Return the density [kg/m3] before the expansion valve, vapor and liquid moving as one.

        Source: homogeneous flow, volumes add by mass share.
        """
        gas = self.fluid
        liquid = gas.liquid_density_kg_per_m3(self.liquid_k(discharge_pressure_pa))
        if self.flash_fraction == 0.0:
            return liquid
        vapor = gas.vapor_density_kg_per_m3(discharge_pressure_pa, 0.0)
        return 1.0 / (self.flash_fraction / vapor + (1.0 - self.flash_fraction) / liquid)

    # Compressor

    def suction_gas(self, suction_pa: float, outlet_superheat_k: float) -> tuple[float, float]:
        """Return enthalpy at the plate's outlet and at the compressor [J/kg].

        Liquid carried over counts as heat missing from the gas.
        """
        gas, evaporator = self.fluid, self.machine.evaporator
        outlet = gas.vapor_enthalpy_j_per_kg(suction_pa, outlet_superheat_k)
        carry = self.parts.liquid_carry_over_fraction
        if carry > 0.0:
            liquid = gas.liquid_enthalpy_j_per_kg(gas.dew_temperature_k(suction_pa))
            outlet -= carry * (outlet - liquid)
        outlet_k = gas.dew_temperature_k(suction_pa) + outlet_superheat_k
        gain_k = evaporator.suction_line_gain_fraction * max(0.0, self.room_k - outlet_k)
        warmed = gas.vapor_enthalpy_j_per_kg(suction_pa, outlet_superheat_k + gain_k)
        unwarmed = gas.vapor_enthalpy_j_per_kg(suction_pa, outlet_superheat_k)
        return outlet, outlet + warmed - unwarmed

    def swept_flow_kg_per_s(
        self, suction_pa: float, density_kg_per_m3: float, discharge_pa: float
    ) -> float:
        """Return the compressor's mass flow [kg/s] from suction density and the two pressures."""
        compressor = self.machine.compressor
        ratio = max(1.0, discharge_pa / suction_pa)
        filling = 1.0 - compressor.clearance_fraction * (
            ratio ** (1.0 / REEXPANSION_EXPONENT) - 1.0
        )
        efficiency = max(LEAST_VOLUMETRIC_EFFICIENCY, filling * self.parts.volumetric_factor)
        return float(efficiency * compressor.displacement_m3_per_s * density_kg_per_m3)

    def compress(
        self, suction_pa: float, suction_superheat_k: float, discharge_pa: float
    ) -> tuple[float, float, float]:
        """Return work [J/kg], enthalpy [J/kg] and temperature [K] of the gas once all is warm."""
        work, end = self.compression(suction_pa, suction_superheat_k, discharge_pa)
        return work, end, self._end_k(suction_pa, suction_superheat_k, discharge_pa, end)

    def compression(
        self, suction_pa: float, suction_superheat_k: float, discharge_pa: float
    ) -> tuple[float, float]:
        """Return work and enthalpy of the gas once all is warm [J/kg]."""
        gas, compressor = self.fluid, self.machine.compressor
        start = gas.vapor_enthalpy_j_per_kg(suction_pa, suction_superheat_k)
        if discharge_pa <= suction_pa * _UNCOMPRESSED:
            return 0.0, start
        try:
            ideal_j = isentropic_discharge(
                gas, suction_pa, suction_superheat_k, discharge_pa
            ).enthalpy_j_per_kg
        except OutOfRange:
            # Hotter than the tables reach: a real machine would have tripped long before.
            ideal_j = gas.vapor_enthalpy_j_per_kg(discharge_pa, _GREATEST_SUPERHEAT_K)
        work = (ideal_j - start) / (compressor.isentropic_efficiency * self.parts.isentropic_factor)
        return work, start + compressor.heat_kept * work

    def _end_k(
        self, suction_pa: float, suction_superheat_k: float, discharge_pa: float, end_j: float
    ) -> float:
        if discharge_pa <= suction_pa * _UNCOMPRESSED:
            return self.fluid.dew_temperature_k(suction_pa) + suction_superheat_k
        return self.gas_temperature_k(discharge_pa, end_j)

    def gas_temperature_k(self, pressure_pa: float, enthalpy_j_per_kg: float) -> float:
        """Return the temperature [K] of gas, held between dew point and what the tables reach."""
        gas = self.fluid
        if enthalpy_j_per_kg <= gas.vapor_enthalpy_j_per_kg(pressure_pa, 0.0):
            return gas.dew_temperature_k(pressure_pa)
        if enthalpy_j_per_kg >= gas.vapor_enthalpy_j_per_kg(pressure_pa, _GREATEST_SUPERHEAT_K):
            return gas.dew_temperature_k(pressure_pa) + _GREATEST_SUPERHEAT_K
        return gas.vapor_temperature_from_enthalpy_k(pressure_pa, enthalpy_j_per_kg)

    def gas_enthalpy_j_per_kg(self, pressure_pa: float, temperature_k: float) -> float:
        """Return the enthalpy [J/kg] of gas at a pressure [Pa] and temperature [K], never wet."""
        superheat = temperature_k - self.fluid.dew_temperature_k(pressure_pa)
        return self.fluid.vapor_enthalpy_j_per_kg(
            pressure_pa, min(max(superheat, 0.0), _GREATEST_SUPERHEAT_K)
        )

    def gas_density_kg_per_m3(self, pressure_pa: float, temperature_k: float) -> float:
        """Return the density [kg/m3] of gas at a pressure [Pa] and temperature [K], never wet."""
        superheat = temperature_k - self.fluid.dew_temperature_k(pressure_pa)
        return self.fluid.vapor_density_kg_per_m3(
            pressure_pa, min(max(superheat, 0.0), _GREATEST_SUPERHEAT_K)
        )

    # The whole circuit in freeze

    def steady(
        self, dew_k: float, outlet_superheat_k: float, guess_k: float, displaced: float = 0.0
    ) -> Point:
        """Return the circuit in freeze with suction at dew point `dew_k` [K].

        `outlet_superheat_k` is that of the gas leaving the plate [K], `guess_k` a condensing
        temperature to start from [K], `displaced` the share of the charge that a plate run dry
        does not hold [-].
        """
        gas, parts = self.fluid, self.parts
        conductance, subcooling_k = self.flooded_by(displaced)
        suction_pa = gas.dew_pressure_pa(dew_k)
        outlet_j, suction_j = self.suction_gas(suction_pa, outlet_superheat_k)
        dry_j = gas.vapor_enthalpy_j_per_kg(suction_pa, 0.0)
        wet_j = max(0.0, dry_j - suction_j)
        superheat = 0.0
        if wet_j == 0.0:
            superheat = max(0.0, self.gas_temperature_k(suction_pa, suction_j) - dew_k)
        density = gas.vapor_density_kg_per_m3(suction_pa, superheat)
        leak_area = self.machine.harvest.hot_gas_flow_area_m2 * parts.hot_gas_leak_fraction

        def compressed(discharge_pa: float) -> tuple[float, float, float]:
            flow = self.swept_flow_kg_per_s(suction_pa, density, discharge_pa)
            work, end_j = self.compression(suction_pa, superheat, discharge_pa)
            return flow, work, end_j - wet_j

        def leaking(discharge_pa: float, flow: float, end_k: float) -> float:
            upstream = self.gas_density_kg_per_m3(discharge_pa, end_k)
            through = valve_flow_kg_per_s(leak_area, discharge_pa, upstream, suction_pa)
            return min(0.9 * flow, through)

        def hot_k(discharge_pa: float, end_j: float) -> float:
            if wet_j > 0.0:
                return self.gas_temperature_k(discharge_pa, end_j)
            return self._end_k(suction_pa, superheat, discharge_pa, end_j)

        def surplus_w(condensing_k: float) -> float:
            discharge_pa = self.condensing_pressure_pa(condensing_k) + parts.air_pressure_pa
            flow, _, end_j = compressed(discharge_pa)
            if leak_area > 0.0:
                flow -= leaking(discharge_pa, flow, hot_k(discharge_pa, end_j))
            given = conductance * (condensing_k - self.sink_k)
            return given - flow * (end_j - self.fed_enthalpy_j_per_kg(discharge_pa, subcooling_k))

        low = max(self.sink_k, _LEAST_DEW_K)
        high = gas.greatest_temperature_k - 2.0
        condensing = find_root(surplus_w, low, high, guess_k, 0.01)
        discharge_pa = max(
            self.condensing_pressure_pa(condensing) + parts.air_pressure_pa,
            self.floor_pressure_pa,
            suction_pa * 1.02,
        )
        flow, work, end_j = compressed(discharge_pa)
        end_k = hot_k(discharge_pa, end_j)
        leak = leaking(discharge_pa, flow, end_k) if leak_area > 0.0 else 0.0
        fed_j = self.fed_enthalpy_j_per_kg(discharge_pa, subcooling_k)
        drop_pa = max(0.0, discharge_pa - suction_pa)
        warm_j = self.gas_enthalpy_j_per_kg(discharge_pa, end_k - 10.0)
        return Point(
            flow_kg_per_s=flow,
            discharge_pressure_pa=discharge_pa,
            discharge_k=end_k,
            gas_w_per_k=flow * max(100.0, (end_j - warm_j) / 10.0),
            electric_power_w=flow * work / self.machine.compressor.motor_efficiency,
            effect_j_per_kg=max(1000.0, outlet_j - fed_j),
            liquid_k=self.liquid_k(discharge_pa, subcooling_k),
            valve_flow_kg_per_s=self.valve_area_m2
            * math.sqrt(2.0 * self.fed_density_kg_per_m3(discharge_pa) * drop_pa),
            leak_kg_per_s=leak,
            leak_heat_j_per_kg=end_j - outlet_j,
            mean_boiling_k=self.mean_boiling_k(suction_pa, dew_k),
            condenser_w=(flow - leak) * (end_j - fed_j),
        )

    def mean_boiling_k(self, suction_pa: float, dew_k: float) -> float:
        """Return the mean temperature [K] of refrigerant boiling through its glide.

        It enters about 30 % vapor, so the plate sees the upper 70 % of the glide.
        """
        return dew_k - 0.35 * (dew_k - self.fluid.bubble_temperature_k(suction_pa))


def storable_fraction(machine: Machine) -> float:
    """Return the share of the charge too much that a machine's receiver takes up [-]."""
    return machine.charge_reserve_fraction if machine.has_receiver_vapor_feed else 0.0
