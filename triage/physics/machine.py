"""What the virtual machine needs to know: the machine, where it stands, the state of its parts.

All of it in SI units, temperatures in kelvin, pressures absolute pascal unless said otherwise.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import StrEnum

from triage.physics.pressure import STANDARD_ATMOSPHERE_PA


class CondenserKind(StrEnum):
    """How a machine gives its heat away."""

    REMOTE_AIR = "remote_air"
    AIR = "air"
    WATER = "water"


@dataclass(frozen=True, slots=True)
class Compressor:
    """A positive-displacement compressor; efficiencies are plain fractions.

    `heat_kept` is the share of compression work the gas still carries where the discharge line
    temperature is measured; the rest is lost through the shell. `body_heat_capacity_j_per_k` is
    that of the metal the hot gas warms up, `body_coupling_fraction` how near the gas comes to the
    metal's temperature (0: not at all, 1: fully): together they make the discharge line lag.
    """

    displacement_m3_per_s: float
    clearance_fraction: float
    isentropic_efficiency: float
    motor_efficiency: float
    heat_kept: float
    body_heat_capacity_j_per_k: float
    body_coupling_fraction: float


@dataclass(frozen=True, slots=True)
class Condenser:
    """The warm end: conductance against air or water, and the least condensing temperature held.

    The floor is held by a head-pressure valve (remote), fan cycling (air) or the water regulating
    valve (water). `standby_fraction` is the share of the conductance left in harvest, when fan or
    water are off or the head-pressure valve bypasses the condenser.
    """

    kind: CondenserKind
    conductance_w_per_k: float
    fan_power_w: float
    least_condensing_temperature_k: float
    subcooling_k: float
    standby_fraction: float


@dataclass(frozen=True, slots=True)
class Evaporator:
    """The plate the ice grows on, its expansion valve and its water.

    `plate_conductance_w_per_m2_k` is refrigerant side and plate together. `ice_thickness_m` is the
    mean layer on the effective area when the bridge between the cubes has its nominal
    `bridge_thickness_m`. `suction_line_gain_fraction` is how far the suction gas is warmed towards
    the room on its way to the compressor. `valve_flow_area_m2` is the expansion valve wide open
    (discharge coefficient included). The water charge is filled at the start of each freeze and
    what is not frozen is drained. `ambient_gain_w_per_k` is what the room gives the cold water.
    """

    plate_area_m2: float
    plate_conductance_w_per_m2_k: float
    water_film_conductance_w_per_m2_k: float
    plate_heat_capacity_j_per_k: float
    suction_superheat_k: float
    suction_line_gain_fraction: float
    valve_flow_area_m2: float
    ice_thickness_m: float
    bridge_thickness_m: float
    water_charge_kg: float
    ambient_gain_w_per_k: float
    pump_power_w: float
    greatest_freeze_time_s: float


@dataclass(frozen=True, slots=True)
class Harvest:
    """What warms the plate: hot gas through its valve, and vapor boiled off the stored liquid.

    With a receiver vapor feed, the vapor goes to the low side through `feed_flow_area_m2`, by a
    regulator that opens below `feed_setpoint_pa` (absolute at sea level) and is wide open
    `feed_band_pa` lower. Without one, `feed_flow_area_m2` is 0 and liquid left in the condenser
    boils back into the discharge line through `boil_flow_area_m2` (0 where a check valve stops it).
    Flow areas include the discharge coefficient.
    """

    hot_gas_flow_area_m2: float
    feed_flow_area_m2: float
    feed_setpoint_pa: float
    feed_band_pa: float
    boil_flow_area_m2: float
    receiver_liquid_kg: float
    receiver_heat_capacity_j_per_k: float
    conductance_w_per_k: float
    melt_thickness_m: float
    greatest_harvest_time_s: float


@dataclass(frozen=True, slots=True)
class Electrical:
    """Supply and control circuit as the data plate states them."""

    supply_voltage_v: float
    coil_nominal_voltage_v: float
    coil_resistance_ohm: float


@dataclass(frozen=True, slots=True)
class ChartRow:
    """One row of a machine's own chart: at these conditions these readings lie between two values.

    Pressures are pascal gauge, the rest as everywhere inside.
    """

    ambient_air_temperature_k: float
    water_inlet_temperature_k: float
    # A mapping has no hash; conditions and place in the chart tell rows apart well enough.
    ranges: Mapping[str, tuple[float, float]] = field(hash=False)


@dataclass(frozen=True, slots=True)
class Machine:
    """One model of batch ice machine. `has_vacuum_break` tells of the air pump behind the slab.

    `charge_reserve_fraction` is the share of the charge that may be missing before vapor reaches
    the expansion valve. Air temperatures are the limits of the room, `condenser_air` those of the
    air at a remote condenser (the room's where it stands in the room). `is_generic` marks a
    machine made up by `adapt` for a real one that is not on file. `is_self_contained`: machine and
    bin are one cabinet; only published limits hang on it, so likelihoods do not rest on it.
    """

    id: str
    name: str
    spoken: tuple[str, ...]
    refrigerant: str
    charge_kg: float
    charge_reserve_fraction: float
    compressor: Compressor
    condenser: Condenser
    evaporator: Evaporator
    harvest: Harvest
    electrical: Electrical
    has_vacuum_break: bool
    least_air_temperature_k: float
    greatest_air_temperature_k: float
    least_condenser_air_temperature_k: float
    greatest_condenser_air_temperature_k: float
    least_water_temperature_k: float
    greatest_water_temperature_k: float
    chart: tuple[ChartRow, ...] = ()
    is_generic: bool = False
    is_self_contained: bool = field(default=False, repr=False)

    @property
    def has_receiver_vapor_feed(self) -> bool:
        """Whether receiver vapor is fed to the low side in harvest (else no such part to fail)."""
        return self.harvest.feed_flow_area_m2 > 0.0


@dataclass(frozen=True, slots=True)
class Conditions:
    """Where a machine stands: room, air at the condenser, water supply [K] and barometer [Pa].

    An air-cooled machine in the room has its condenser air at the room's temperature; a water
    cooled one takes its condenser water from the same supply.
    """

    ambient_air_temperature_k: float
    condenser_air_temperature_k: float
    water_inlet_temperature_k: float
    barometric_pressure_pa: float = STANDARD_ATMOSPHERE_PA


@dataclass(frozen=True, slots=True)
class Parts:
    """The state of a machine's parts; the defaults are a healthy one.

    Every fault is one or more of these turned away from its default; readings then change through
    the physics alone. Factors multiply the machine file's value.

    charge_fraction: refrigerant in the machine over the plate's charge.
    air_pressure_pa: partial pressure of air caught in the condenser [Pa].
    condenser_factor: conductance against air or water (dirt, a stopped fan).
    head_floor_shift_k: the least condensing temperature held, moved [K].
    valve_capacity_factor: expansion valve wide-open flow area.
    valve_superheat_shift_k: superheat the expansion valve holds, moved [K].
    liquid_carry_over_fraction: share of the flow leaving the plate still liquid.
    volumetric_factor: gas the compressor moves.
    isentropic_factor: how well it compresses (leaking valves heat the gas again).
    hot_gas_leak_fraction: hot gas valve area open in freeze over its full area.
    hot_gas_opening_fraction: hot gas valve area open in harvest over its full area.
    feed_opening_fraction: receiver vapor feed area over its full area.
    feed_setpoint_shift_pa: pressure the feed regulator holds, moved [Pa].
    water_film_factor: conductance of the water film (flow over the plate).
    water_coverage_fraction: share of the plate the water runs over.
    water_leak_kg_per_s: water running into the sump all through the freeze [kg/s].
    water_warmer_k: supply water above what it should be [K].
    plate_conductance_factor: refrigerant side and plate (scale, oil, loose tubing).
    adhesion_factor: melt needed for release (scale, damage).
    vacuum_factor: melt needed because the slab is held by vacuum.
    bridge_shift_m: bridge thickness set above nominal [m].
    """

    charge_fraction: float = 1.0
    air_pressure_pa: float = 0.0
    condenser_factor: float = 1.0
    head_floor_shift_k: float = 0.0
    valve_capacity_factor: float = 1.0
    valve_superheat_shift_k: float = 0.0
    liquid_carry_over_fraction: float = 0.0
    volumetric_factor: float = 1.0
    isentropic_factor: float = 1.0
    hot_gas_leak_fraction: float = 0.0
    hot_gas_opening_fraction: float = 1.0
    feed_opening_fraction: float = 1.0
    feed_setpoint_shift_pa: float = 0.0
    water_film_factor: float = 1.0
    water_coverage_fraction: float = 1.0
    water_leak_kg_per_s: float = 0.0
    water_warmer_k: float = 0.0
    plate_conductance_factor: float = 1.0
    adhesion_factor: float = 1.0
    vacuum_factor: float = 1.0
    bridge_shift_m: float = 0.0


HEALTHY = Parts()
