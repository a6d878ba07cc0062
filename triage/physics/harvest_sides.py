"""The circuit at one moment of harvest: both pressures and what flows where.

High side: what the compressor moves (and what boils off in the condenser, where nothing stops it)
leaves through the hot gas valve, or condenses if the pressure is high enough. Low side: the heat
the gas gives up by cooling and condensing passes into the plate; vapor that condenses is made good
by the receiver vapor feed, or the pressure falls.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from triage.physics.circuit import Circuit
from triage.physics.curves import Pieces, pieces_through, value_at
from triage.physics.roots import find_root
from triage.physics.valve import valve_flow_kg_per_s

RECEIVER_ROOM_W_PER_K = 12.0
"""Heat the room gives a boiling receiver [W/K]; judged. Liquid left in a condenser takes it from
the air or water there, through what is left of the condenser's conductance."""

_CONDENSER_OPENS_OVER_PA = 100_000.0
"""A head-pressure valve opens over this span [Pa]; judged."""

_OUTLET_SUPERHEAT_K = 2.0
"""Gas leaves the warming plate this far above its dew point [K]; judged."""

_VAPOR_HEAT_CAPACITY_J_PER_KG_K = 900.0
"""Specific heat of gas passing a dry plate [J/(kg K)]; judged."""

_COLDEST_DEW_K = 217.0
_NODE_STEP_K = 5.0


class Sides:
    """Both pressures at one moment, given plate, receiver and gas temperatures."""

    def __init__(self, circuit: Circuit, gas_k: float) -> None:
        self.circuit = circuit
        self.gas_k = gas_k
        self.per_density: tuple[float, float, float] = (0.0, 0.0, 0.0)
        self.warmest_dew_k = (
            circuit.fluid.dew_temperature_k(0.95 * circuit.greatest_pressure_pa) - 12.0
        )
        self._tabulate()
        self.receiver_pa = 0.0
        self.receiver_k = 0.0
        self.has_liquid = True
        harvest, parts = circuit.machine.harvest, circuit.parts
        self.hot_gas_area = harvest.hot_gas_flow_area_m2 * parts.hot_gas_opening_fraction
        self.feed_area = harvest.feed_flow_area_m2 * parts.feed_opening_fraction
        self.boil_area = harvest.boil_flow_area_m2
        self.standby_w_per_k = (
            circuit.machine.condenser.standby_fraction * circuit.condenser_w_per_k
        )
        self.discharge_pa = circuit.floor_pressure_pa
        self.receiver_density = 0.0
        self.liquid_j = 0.0

    def set_receiver(self, receiver_k: float, has_liquid: bool) -> None:
        """Take the stored liquid's temperature [K], and whether there is any left."""
        gas = self.circuit.fluid
        self.receiver_k, self.has_liquid = receiver_k, has_liquid
        self.receiver_pa = gas.dew_pressure_pa(receiver_k)
        self.receiver_density = gas.vapor_density_kg_per_m3(self.receiver_pa, 0.0)
        self.liquid_j = gas.liquid_enthalpy_j_per_kg(receiver_k)

    def _tabulate(self) -> None:
        """Lay curves over suction dew temperature for what only depends on it."""
        circuit, gas = self.circuit, self.circuit.fluid
        count = int((self.warmest_dew_k - _COLDEST_DEW_K) / _NODE_STEP_K) + 2
        density, superheat, outlet, mean, liquid = [], [], [], [], []
        for index in range(count):
            dew_k = _COLDEST_DEW_K + index * _NODE_STEP_K
            suction_pa = gas.dew_pressure_pa(dew_k)
            outlet_j, suction_j = circuit.suction_gas(suction_pa, _OUTLET_SUPERHEAT_K)
            outlet.append(outlet_j)
            superheat.append(max(0.0, circuit.gas_temperature_k(suction_pa, suction_j) - dew_k))
            density.append(gas.vapor_density_kg_per_m3(suction_pa, superheat[-1]))
            mean.append(0.5 * (dew_k + gas.bubble_temperature_k(suction_pa)))
            liquid.append(gas.liquid_enthalpy_j_per_kg(mean[-1]))
        self.density, self.superheat = pieces_through(density), pieces_through(superheat)
        self.outlet_j, self.mean_k = pieces_through(outlet), pieces_through(mean)
        self.on_plate_j = pieces_through(liquid)

    @staticmethod
    def at(pieces: Pieces, dew_k: float) -> float:
        """Return a tabulated curve's value at a suction dew temperature [K]."""
        return value_at(pieces, (dew_k - _COLDEST_DEW_K) / _NODE_STEP_K)

    def gas_density(self, pressure_pa: float) -> float:
        """Return the density of the hot gas [kg/m3].

        Pressure over density is nearly straight in pressure: looked up anew only after a move.
        """
        reference, value, slope = self.per_density
        if not 0.9 * reference <= pressure_pa <= 1.1 * reference:
            circuit, lower = self.circuit, 0.95 * pressure_pa
            value = pressure_pa / circuit.gas_density_kg_per_m3(pressure_pa, self.gas_k)
            below = lower / circuit.gas_density_kg_per_m3(lower, self.gas_k)
            reference, slope = pressure_pa, (value - below) / (pressure_pa - lower)
            self.per_density = (reference, value, slope)
        return pressure_pa / (value + slope * (pressure_pa - reference))

    def set_gas(self, gas_k: float) -> None:
        """Take the temperature of the gas before the hot gas valve [K]."""
        self.gas_k = gas_k
        self.per_density = (0.0, 0.0, 0.0)

    def receiver_gain_w(self, receiver_k: float) -> float:
        """Return the heat the surroundings give the stored liquid [W]."""
        if self.circuit.machine.has_receiver_vapor_feed:
            return RECEIVER_ROOM_W_PER_K * (self.circuit.room_k - receiver_k)
        return self.standby_w_per_k * (self.circuit.sink_k - receiver_k)

    def feed(self, suction_pa: float) -> float:
        """Return the vapor let to the low side by the regulator [kg/s]."""
        if not self.has_liquid or self.feed_area <= 0.0:
            return 0.0
        harvest = self.circuit.machine.harvest
        opening = (self.circuit.feed_setpoint_pa - suction_pa) / harvest.feed_band_pa
        area = self.feed_area * min(1.0, max(0.0, opening))
        return valve_flow_kg_per_s(area, self.receiver_pa, self.receiver_density, suction_pa)

    def high(self, suction_pa: float, density: float) -> tuple[float, float, float, float, float]:
        """Return discharge pressure [Pa] and four flows [kg/s].

        Those through compressor and hot gas valve, boiled off and condensed.
        """
        circuit = self.circuit
        swept = hot = boiled = condensed = 0.0

        def surplus(discharge_pa: float) -> float:
            nonlocal swept, hot, boiled, condensed
            swept = circuit.swept_flow_kg_per_s(suction_pa, density, discharge_pa)
            upstream = self.gas_density(discharge_pa)
            hot = valve_flow_kg_per_s(self.hot_gas_area, discharge_pa, upstream, suction_pa)
            boiled = 0.0
            if self.boil_area > 0.0 and self.has_liquid:
                boiled = valve_flow_kg_per_s(
                    self.boil_area, self.receiver_pa, self.receiver_density, discharge_pa
                )
            condensed = 0.0
            if discharge_pa > circuit.floor_pressure_pa:
                excess_k = circuit.condensing_k(discharge_pa) - circuit.sink_k
                if excess_k > 0.0:
                    heat = circuit.gas_enthalpy_j_per_kg(discharge_pa, self.gas_k)
                    heat -= circuit.fluid.liquid_enthalpy_j_per_kg(circuit.liquid_k(discharge_pa))
                    above_pa = discharge_pa - circuit.floor_pressure_pa
                    opening = min(1.0, above_pa / _CONDENSER_OPENS_OVER_PA)
                    condensed = opening * self.standby_w_per_k * excess_k / heat
            return hot + condensed - swept - boiled

        self.discharge_pa = find_root(
            surplus,
            suction_pa,
            circuit.greatest_pressure_pa,
            self.discharge_pa,
            200.0,
            3_000.0,
        )
        surplus(self.discharge_pa)
        return self.discharge_pa, swept, hot, boiled, condensed


class Receiver:
    """Stored liquid, cooled by what boils off it.

    A small receiver settles within seconds: each step relaxes towards the balance that the last two
    steps point to, so that long steps do not swing past it.
    """

    def __init__(self, sides: Sides) -> None:
        self.sides = sides
        self.last: tuple[float, float] | None = None

    def after(
        self, step_s: float, low: LowSide, receiver_k: float, receiver_kg: float
    ) -> tuple[float, float]:
        """Return temperature [K] after a step and the mass boiled off in it [kg]."""
        sides, circuit = self.sides, self.sides.circuit
        gas = circuit.fluid
        latent = gas.vapor_enthalpy_j_per_kg(sides.receiver_pa, 0.0) - sides.liquid_j
        colder_j = gas.liquid_enthalpy_j_per_kg(receiver_k - 5.0)
        stored = (
            receiver_kg * (sides.liquid_j - colder_j) / 5.0
            + circuit.machine.harvest.receiver_heat_capacity_j_per_k
        )
        gain_w = sides.receiver_gain_w(receiver_k)
        if low.condensed > 0.0:
            returned_j = gas.liquid_enthalpy_j_per_kg(circuit.liquid_k(low.discharge_pa))
            gain_w += low.condensed * (returned_j - sides.liquid_j)
        rate = (gain_w - (low.feed + low.boiled) * latent) / stored
        settling = 0.0
        if self.last is not None and abs(receiver_k - self.last[0]) > 1e-3:
            settling = max(0.0, -(rate - self.last[1]) / (receiver_k - self.last[0]))
        self.last = (receiver_k, rate)
        exponent = settling * step_s
        share = -math.expm1(-exponent) / exponent if exponent > 1e-6 else 1.0
        change_k = rate * step_s * share
        following = min(max(receiver_k + change_k, 230.0), gas.greatest_temperature_k - 1.0)
        used = (gain_w * step_s - stored * (following - receiver_k)) / latent
        return following, min(receiver_kg, max(0.0, used))


@dataclass(slots=True)
class LowSide:
    """What goes on in the low side at the suction pressure that was found."""

    suction_pa: float
    discharge_pa: float
    swept: float
    hot: float
    boiled: float
    condensed: float
    feed: float
    plate_w: float
    left_on_plate: float
    superheat_k: float
    is_dry: bool = False
    heat_short_w: float = 0.0


def low_side(
    sides: Sides, plate_k: float, on_plate_kg: float, guess_pa: float, was_dry: bool = False
) -> LowSide:
    """Return the low side in balance with the plate at `plate_k` [K].

    With liquid on the plate, heat decides: the pressure is where gas condenses (or liquid boils) as
    fast as the plate takes (or gives) heat. Without, flow decides: the compressor takes what comes.
    `was_dry` says what to try first and changes the result by no more than the roots' tolerance.
    """
    circuit = sides.circuit
    gas = circuit.fluid
    conductance = circuit.machine.harvest.conductance_w_per_k
    found = LowSide(guess_pa, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0)

    def look(dew_k: float) -> float:
        suction_pa = gas.dew_pressure_pa(dew_k)
        discharge_pa, swept, hot, boiled, condensed = sides.high(
            suction_pa, sides.at(sides.density, dew_k)
        )
        feed = sides.feed(suction_pa)
        mean_k = sides.at(sides.mean_k, dew_k)
        liquid_j = sides.at(sides.on_plate_j, dew_k)
        outlet_j = sides.at(sides.outlet_j, dew_k)
        hot_j = circuit.gas_enthalpy_j_per_kg(discharge_pa, sides.gas_k)
        given = hot * (hot_j - liquid_j) - swept * (outlet_j - liquid_j)
        if feed > 0.0:
            feed_j = gas.vapor_enthalpy_j_per_kg(sides.receiver_pa, 0.0)
            given += feed * (feed_j - liquid_j)
        taken = conductance * (mean_k - plate_k)
        found.suction_pa, found.discharge_pa = suction_pa, discharge_pa
        found.superheat_k = sides.at(sides.superheat, dew_k)
        found.swept, found.hot, found.feed = swept, hot, feed
        found.boiled, found.condensed = boiled, condensed
        found.plate_w = taken
        found.left_on_plate = hot + feed - swept
        return taken - given

    low_k, high_k = _COLDEST_DEW_K, sides.warmest_dew_k
    guess_k = gas.dew_temperature_k(max(guess_pa, circuit.least_suction_pa))

    def look_at_flow(dew_k: float) -> float:
        found.heat_short_w = look(dew_k)
        return -found.left_on_plate

    # A plate that was dry mostly stays so: then flow is looked at first, and decides unless heat
    # would settle at a lower pressure.
    is_settled = False
    if was_dry and on_plate_kg <= 0.0:
        look_at_flow(find_root(look_at_flow, low_k, high_k, guess_k, 0.02, 0.5))
        is_settled = found.heat_short_w < 0.0
    if not is_settled:
        look(find_root(look, low_k, high_k, guess_k, 0.01, 0.2))
        if found.left_on_plate >= 0.0 or on_plate_kg > 0.0:
            return found
        look_at_flow(find_root(look_at_flow, low_k, high_k, guess_k, 0.02, 0.5))
    found.is_dry = True
    # A dry plate takes what gas gives by cooling, to the plate's temperature at most; with nothing
    # on it to boil it gives no heat.
    given_w = found.plate_w - found.heat_short_w
    gas_w = found.hot * _VAPOR_HEAT_CAPACITY_J_PER_KG_K * max(0.0, sides.gas_k - plate_k)
    found.plate_w = max(0.0, min(given_w, gas_w))
    return found
