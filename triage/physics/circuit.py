"""The refrigerant circuit at one moment: compressor, condenser, valves, given the low side.

A `Circuit` is one machine with its parts in some state at some conditions; everything that does not
change during a cycle is worked out once.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

from triage.physics.compression import isentropic_discharge
from triage.physics.errors import OutOfRange
from triage.physics.machine import CondenserKind, Conditions, Machine, Parts
from triage.physics.pressure import STANDARD_ATMOSPHERE_PA
from triage.physics.tables import Fluid, fluid

REEXPANSION_EXPONENT = 1.1
"""Polytropic exponent of gas re-expanding from the clearance [-]; judged, near the isentropic one
of heavy refrigerant vapor (1.05 to 1.2)."""

LEAST_VOLUMETRIC_EFFICIENCY = 0.05
"""Keeps the model in range where a worn compressor would pump nothing [-]; judged."""

TERMINAL_PRESSURE_RATIO = 0.6
"""Pressure drop over upstream pressure at which a valve chokes [-]: the factor x_T of
IEC 60534-2-1 for a small globe valve, from memory 0.6 to 0.75."""

LAMINAR_PRESSURE_RATIO = 0.01
"""Pressure drop over upstream pressure below which flow goes with the drop itself [-]; judged."""

FLOODING_PER_EXTRA_CHARGE = 2.5
"""Share of the condenser filled with liquid per share of charge beyond what the machine can store
[-]; judged: a condenser holds about two fifths of the charge when full of liquid."""

MOST_FLOODED_FRACTION = 0.75
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
        extra = max(0.0, -missing - reserve)
        flooded = min(MOST_FLOODED_FRACTION, FLOODING_PER_EXTRA_CHARGE * extra)
        self.condenser_w_per_k = (
            condenser.conductance_w_per_k * parts.condenser_factor * (1.0 - flooded)
        )
        reserve_left = min(1.0, max(0.0, 1.0 - missing / reserve)) if missing > 0.0 else 1.0
        self.subcooling_k = condenser.subcooling_k * reserve_left + 15.0 * flooded
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
        """Return the pressure [Pa] at which condensing is at `condensing_k` [K] on the mean."""
        gas = self.fluid
        t_k = min(max(condensing_k, _LEAST_DEW_K), gas.greatest_temperature_k)
        pressure = math.sqrt(gas.dew_pressure_pa(t_k) * gas.bubble_pressure_pa(t_k))
        return min(pressure, self.greatest_pressure_pa)

    def condensing_k(self, pressure_pa: float) -> float:
        """Return the mean condensing temperature [K] at a pressure [Pa]."""
        gas = self.fluid
        return 0.5 * (gas.dew_temperature_k(pressure_pa) + gas.bubble_temperature_k(pressure_pa))

    def liquid_k(self, discharge_pressure_pa: float) -> float:
        """Return the temperature of the liquid leaving the warm end [K].

        Subcooled, but never below the air or water that cools it.
        """
        bubble_k = self.fluid.bubble_temperature_k(discharge_pressure_pa)
        return max(bubble_k - self.subcooling_k, min(bubble_k, self.sink_k + 0.5))

    def fed_enthalpy_j_per_kg(self, discharge_pressure_pa: float) -> float:
        """Return the enthalpy [J/kg] of what reaches the expansion valve, flash gas included."""
        gas = self.fluid
        liquid_j = gas.liquid_enthalpy_j_per_kg(self.liquid_k(discharge_pressure_pa))
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
        gas, compressor = self.fluid, self.machine.compressor
        start = gas.vapor_enthalpy_j_per_kg(suction_pa, suction_superheat_k)
        if discharge_pa <= suction_pa * 1.0001:
            return 0.0, start, gas.dew_temperature_k(suction_pa) + suction_superheat_k
        try:
            ideal_j = isentropic_discharge(
                gas, suction_pa, suction_superheat_k, discharge_pa
            ).enthalpy_j_per_kg
        except OutOfRange:
            # Hotter than the tables reach: a real machine would have tripped long before.
            ideal_j = gas.vapor_enthalpy_j_per_kg(discharge_pa, _GREATEST_SUPERHEAT_K)
        work = (ideal_j - start) / (compressor.isentropic_efficiency * self.parts.isentropic_factor)
        end = start + compressor.heat_kept * work
        return work, end, self.gas_temperature_k(discharge_pa, end)

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

    def steady(self, dew_k: float, outlet_superheat_k: float, guess_k: float) -> Point:
        """Return the circuit in freeze with suction at dew point `dew_k` [K].

        `outlet_superheat_k` is that of the gas leaving the plate [K], `guess_k` a condensing
        temperature to start from [K].
        """
        gas, parts = self.fluid, self.parts
        suction_pa = gas.dew_pressure_pa(dew_k)
        outlet_j, suction_j = self.suction_gas(suction_pa, outlet_superheat_k)
        dry_j = gas.vapor_enthalpy_j_per_kg(suction_pa, 0.0)
        wet_j = max(0.0, dry_j - suction_j)
        superheat = 0.0
        if wet_j == 0.0:
            superheat = max(0.0, self.gas_temperature_k(suction_pa, suction_j) - dew_k)
        density = gas.vapor_density_kg_per_m3(suction_pa, superheat)
        leak_area = self.machine.harvest.hot_gas_flow_area_m2 * parts.hot_gas_leak_fraction

        def at(discharge_pa: float) -> tuple[float, float, float, float, float]:
            flow = self.swept_flow_kg_per_s(suction_pa, density, discharge_pa)
            work, end_j, end_k = self.compress(suction_pa, superheat, discharge_pa)
            if wet_j > 0.0:
                end_j -= wet_j
                end_k = self.gas_temperature_k(discharge_pa, end_j)
            leak = 0.0
            if leak_area > 0.0:
                upstream = self.gas_density_kg_per_m3(discharge_pa, end_k)
                leak = min(
                    0.9 * flow, valve_flow_kg_per_s(leak_area, discharge_pa, upstream, suction_pa)
                )
            return flow, work, end_j, end_k, leak

        def surplus_w(condensing_k: float) -> float:
            discharge_pa = self.condensing_pressure_pa(condensing_k)
            flow, _, end_j, _, leak = at(discharge_pa)
            given = self.condenser_w_per_k * (condensing_k - self.sink_k)
            return given - (flow - leak) * (end_j - self.fed_enthalpy_j_per_kg(discharge_pa))

        low = max(self.sink_k, _LEAST_DEW_K)
        high = gas.greatest_temperature_k - 2.0
        condensing = find_root(surplus_w, low, high, guess_k, 0.01)
        discharge_pa = max(
            self.condensing_pressure_pa(condensing), self.floor_pressure_pa, suction_pa * 1.02
        )
        flow, work, end_j, end_k, leak = at(discharge_pa)
        fed_j = self.fed_enthalpy_j_per_kg(discharge_pa)
        drop_pa = max(0.0, discharge_pa - suction_pa)
        warm_j = self.gas_enthalpy_j_per_kg(discharge_pa, end_k - 10.0)
        return Point(
            flow_kg_per_s=flow,
            discharge_pressure_pa=discharge_pa,
            discharge_k=end_k,
            gas_w_per_k=flow * max(100.0, (end_j - warm_j) / 10.0),
            electric_power_w=flow * work / self.machine.compressor.motor_efficiency,
            effect_j_per_kg=max(1000.0, outlet_j - fed_j),
            liquid_k=self.liquid_k(discharge_pa),
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


def valve_flow_kg_per_s(
    area_m2: float, upstream_pa: float, density_kg_per_m3: float, downstream_pa: float
) -> float:
    """Return the flow [kg/s] of gas through a valve, choked where it is.

    `area_m2` includes the discharge coefficient [m2]; `density_kg_per_m3` is that of the gas before
    the valve [kg/m3]. Zero for no pressure drop. Source: expansion factor of IEC 60534-2-1.

    >>> round(valve_flow_kg_per_s(1e-5, 1.2e6, 45.0, 0.9e6), 4)
    0.0447
    """
    ratio = (upstream_pa - downstream_pa) / upstream_pa
    if ratio <= 0.0:
        return 0.0
    ratio = min(ratio, TERMINAL_PRESSURE_RATIO)
    if ratio < LAMINAR_PRESSURE_RATIO:
        # Straight through zero: a square root there makes balances jump.
        ratio *= ratio / LAMINAR_PRESSURE_RATIO
    expansion = 1.0 - ratio / (3.0 * TERMINAL_PRESSURE_RATIO)
    return area_m2 * expansion * math.sqrt(2.0 * density_kg_per_m3 * ratio * upstream_pa)


def find_root(
    function: Callable[[float], float],
    low: float,
    high: float,
    guess: float,
    tolerance: float,
    step: float | None = None,
) -> float:
    """Return where a rising function crosses zero between `low` and `high`, or the nearer end.

    Secant steps from `guess`, the first one `step` long, kept inside a shrinking bracket; ends
    within `tolerance`. All in the unit of the function's argument.

    >>> round(find_root(lambda x: x**3 - 2.0, 0.0, 2.0, 1.0, 1e-9), 6)
    1.259921
    """
    if high <= low:
        return low
    x = min(max(guess, low), high)
    y = function(x)
    step = max(tolerance, 0.02 * (high - low)) if step is None else step
    previous_x, previous_y = x, y
    x = min(max(x + step if y < 0.0 else x - step, low), high)
    if x == previous_x:
        return x
    lowest, highest = low, high
    if previous_y < 0.0:
        lowest = previous_x
    else:
        highest = previous_x
    for _ in range(60):
        y = function(x)
        if y < 0.0:
            if x >= high:
                return high
            lowest = x
        else:
            if x <= low:
                return low
            highest = x
        slope = y - previous_y
        following = x - y * (x - previous_x) / slope if slope != 0.0 else 0.5 * (lowest + highest)
        if not lowest < following < highest:
            # The root may sit at an end of the span that has not been looked at yet.
            if following >= highest == high:
                following = high
            elif following <= lowest == low:
                following = low
            else:
                following = 0.5 * (lowest + highest)
        if abs(following - x) < tolerance or highest - lowest < tolerance:
            return following
        previous_x, previous_y = x, y
        x = following
    return x
