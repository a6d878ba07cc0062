"""Which readings each fault moves, which way, and why.

None of this is put into the model: the parts are turned and the readings follow. The tests hold
the model to it on every machine on file, in mild, hot and cold weather, and to the directions of
the literature.

The head moves only above the floor that its control holds: on a cold roof, or where a valve
regulates the condenser's water, a move of the freeze's discharge pressure may not show at all.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType

UP, DOWN, EITHER = 1, -1, 0


@dataclass(frozen=True, slots=True)
class Move:
    """A reading, which way it goes as the fault gets worse, and why.

    `direction` is UP, DOWN or EITHER: that depends on the machine, the weather or how bad it is.
    `is_steady`: it never turns back as the fault gets worse; else it only stays off to that side
    from half severity on. `on` are beginnings of the names of the variants it holds for, none for
    all.
    """

    reading: str
    direction: int
    why: str
    is_steady: bool = True
    on: tuple[str, ...] = ()

    def holds_on(self, variant: str) -> bool:
        """Return whether this is a move of a variant."""
        return not self.on or variant.startswith(self.on)


_SUCTION_EARLY = "freeze_suction_pressure_early"
_SUCTION_LATE = "freeze_suction_pressure_late"
_HEAD = "freeze_discharge_pressure"
_DISCHARGE_LINE = "discharge_line_temperature"
_HARVEST_LOW = "harvest_suction_pressure"
_HARVEST_HIGH = "harvest_discharge_pressure"
_HOT_GAS_LINE = "hot_gas_line_temperature"

_SHUT, _UNFED = ("hot_gas", "both"), ("feed",)
_LESS_COLD = "the plate ends the freeze less cold"
_HOT_START = "the freeze starts with a compressor hot from a long harvest"
_READ_LATER = "a harvest once over within its minute is now read further on, when it has sagged"
_COLD_IF_SHUT = "cold when nothing flows, hotter than usual while something does"

# Half shut, a hot gas valve makes the compressor work harder and may even speed the harvest.
_NO_HOT_GAS = (
    Move(_HARVEST_LOW, DOWN, "no hot gas comes to the plate"),
    Move("harvest_time", UP, "no heat comes to the plate", False),
    # Highest while some gas still goes round; shut altogether there is less to pump.
    Move(_HARVEST_HIGH, UP, "gas is held up before the valve", False),
    Move(_DISCHARGE_LINE, UP, _HOT_START),
    Move(_HOT_GAS_LINE, EITHER, _COLD_IF_SHUT),
)

_COIL_OFF = (
    Move(_HARVEST_LOW, DOWN, "no hot gas comes, or no vapor makes good what condenses"),
    Move("harvest_time", UP, "little or no heat comes to the plate", False),
    Move(_HARVEST_HIGH, UP, "gas is held up before a shut hot gas valve", False, _SHUT),
    Move(_HARVEST_HIGH, DOWN, "without the feed the compressor has little to pump", True, _UNFED),
    Move(_DISCHARGE_LINE, UP, _HOT_START, True, _SHUT),
    Move(_HOT_GAS_LINE, DOWN, "nothing flows in it", False, _SHUT),
    Move(_HOT_GAS_LINE, EITHER, "less gas, but hotter", True, _UNFED),
)

MOVES: Mapping[str, tuple[Move, ...]] = MappingProxyType({
    "healthy": (),
    "receiver_vapor_feed_failed": (
        Move(_HARVEST_LOW, DOWN, "vapor that condenses is not made good"),
        Move(_HARVEST_HIGH, DOWN, "the compressor has little gas to pump"),
        Move("harvest_time", UP, "less gas carries less heat to the plate"),
        Move(_HOT_GAS_LINE, EITHER, "less gas, but hotter"),
    ),
    "harvest_coil_unpowered": _COIL_OFF,
    "harvest_coil_open": _COIL_OFF,
    "coil_supply_low": _NO_HOT_GAS,
    "hot_gas_valve_not_opening": _NO_HOT_GAS,
    "hot_gas_valve_leaking": (
        Move(_SUCTION_LATE, UP, "the compressor pumps the leak as well"),
        Move(_SUCTION_EARLY, UP, "the compressor pumps the leak as well"),
        Move("freeze_time", UP, "the leak's heat has to be taken out again"),
        Move(_DISCHARGE_LINE, DOWN, "suction is higher, so the gas is compressed less"),
        Move(_HEAD, DOWN, "the leak goes past the condenser"),
        Move("harvest_time", DOWN, _LESS_COLD),
        Move(_HOT_GAS_LINE, DOWN, "the harvest starts with a cooler compressor"),
        Move("batch_ice_mass", DOWN, "if the freeze runs out of time"),
        Move("ice_bridge_thickness", DOWN, "if the freeze runs out of time"),
        Move(_HARVEST_LOW, UP, _LESS_COLD),
        Move(_HARVEST_HIGH, UP, "follows the suction"),
    ),
    "refrigerant_undercharge": (
        Move("liquid_subcooling", DOWN, "no liquid stands in the condenser any more"),
        Move("freeze_time", UP, "part of the plate runs dry"),
        Move("suction_superheat", UP, "the dry part warms the gas"),
        # At first both rise a little: liquid that is not subcooled cools less per kilogram.
        Move(_SUCTION_LATE, DOWN, "less boils, the compressor pulls", False),
        Move(_SUCTION_EARLY, DOWN, "less boils, the compressor pulls", False),
        Move(_HEAD, DOWN, "less heat, and no liquid to hold the head"),
        Move(_DISCHARGE_LINE, EITHER, "superheat raises it, a falling head lowers it"),
        Move(_HARVEST_LOW, EITHER, "falls once the receiver runs empty; else the plate is warmer"),
        Move(_HARVEST_HIGH, EITHER, "follows the suction"),
        Move("harvest_time", EITHER, "longer once the receiver runs empty; else the ice is warmer"),
        Move(_HOT_GAS_LINE, EITHER, "a hotter compressor, but less gas from an empty receiver"),
    ),
    "refrigerant_overcharge": (
        Move("liquid_subcooling", UP, "liquid stands in the condenser and is cooled longer; over "
             "air the gauge shows more than the refrigerant's own pressure"),
        Move(_HEAD, UP, "less of the condenser is left to condense; air adds its own pressure"),
        Move(_DISCHARGE_LINE, UP, "the gas is compressed further"),
        Move(_SUCTION_LATE, EITHER, "a higher head raises it, colder liquid lowers it"),
        Move(_SUCTION_EARLY, EITHER, "a higher head raises it, colder liquid lowers it"),
        Move("freeze_time", EITHER, "a higher head costs capacity, colder liquid adds some"),
        Move(_HARVEST_LOW, EITHER, "warmer or colder liquid is left to boil"),
        Move(_HARVEST_HIGH, EITHER, "follows the suction"),
        Move("harvest_time", EITHER, "warmer or colder liquid is left to boil"),
        Move(_HOT_GAS_LINE, UP, "the compressor is hotter"),
    ),
    "condenser_airflow_poor": (
        Move(_HEAD, UP, "the same heat needs a warmer condenser"),
        Move(_DISCHARGE_LINE, UP, "the gas is compressed further"),
        Move("freeze_time", UP, "warmer liquid and a higher ratio take capacity"),
        Move(_SUCTION_LATE, UP, "the compressor fills less, and warmer liquid brings more vapor"),
        Move(_SUCTION_EARLY, UP, "the compressor fills less, and warmer liquid brings more vapor"),
        Move(_HARVEST_LOW, UP, "hot liquid in the condenser boils back; a feed regulator holds it"),
        Move(_HARVEST_HIGH, UP, "hot liquid in the condenser boils back"),
        Move("harvest_time", DOWN, "there is more stored heat"),
        Move(_HOT_GAS_LINE, UP, "the compressor is hotter"),
    ),
    "head_pressure_control_low": (
        Move(_HEAD, DOWN, "cold air takes the head down"),
        Move(_DISCHARGE_LINE, DOWN, "the gas is compressed less"),
        Move(_HARVEST_LOW, DOWN, "the receiver is colder and gives less vapor"),
        Move(_HARVEST_HIGH, DOWN, "the receiver is colder and gives less vapor"),
        Move("harvest_time", UP, "the harvest has less gas and a cooler machine to draw on"),
        Move(_HOT_GAS_LINE, DOWN, "the compressor is cooler"),
        Move("freeze_time", DOWN, "colder liquid and a lower ratio add capacity"),
        Move(_SUCTION_EARLY, DOWN, "the compressor fills better"),
        Move(_SUCTION_LATE, DOWN, "the compressor fills better"),
    ),
    "expansion_valve_starving": (
        Move("suction_superheat", UP, "the plate runs dry before its outlet"),
        Move(_SUCTION_EARLY, DOWN, "less boils, and the compressor draws on"),
        Move(_SUCTION_LATE, DOWN, "less boils, and the compressor draws on"),
        Move("freeze_time", UP, "part of the plate runs dry"),
        Move(_DISCHARGE_LINE, UP, "the gas comes warm and is compressed further"),
        Move("liquid_subcooling", UP, "what the plate does not hold stands in the condenser; a "
             "receiver takes it up"),
        Move(_HEAD, EITHER, "less heat lowers it, liquid standing in the condenser raises it"),
        Move("harvest_time", DOWN, "the ice is less cold, the compressor hotter"),
        Move(_HARVEST_LOW, UP, "the ice is less cold, the compressor hotter"),
        Move(_HARVEST_HIGH, UP, "follows the suction"),
        Move(_HOT_GAS_LINE, UP, "the compressor is hotter"),
    ),
    "expansion_valve_flooding": (
        Move(_DISCHARGE_LINE, DOWN, "liquid boils off in the compressor"),
        Move("suction_superheat", DOWN, "liquid leaves the plate"),
        Move("freeze_time", UP, "what leaves as liquid has cooled nothing"),
        Move(_SUCTION_EARLY, UP, "each kilogram cools less, so more stays to be pumped"),
        Move(_SUCTION_LATE, UP, "each kilogram cools less, so more stays to be pumped"),
        Move(_HEAD, DOWN, "less heat comes to the condenser"),
        Move(_HARVEST_LOW, EITHER, "a colder compressor lowers it, then wet gas raises it"),
        Move(_HARVEST_HIGH, UP, "follows the suction", False),
        Move("harvest_time", EITHER, "a colder compressor lengthens it, then wet gas shortens it"),
        Move(_HOT_GAS_LINE, DOWN, "the compressor is cold", False),
    ),
    "compressor_weak": (
        Move("freeze_time", UP, "it takes away less heat"),
        Move(_SUCTION_LATE, UP, "it takes away less gas"),
        Move(_SUCTION_EARLY, UP, "it takes away less gas"),
        Move(_HARVEST_HIGH, DOWN, "it pumps less gas round"),
        Move(_HEAD, DOWN, "less heat comes to the condenser"),
        Move(_HOT_GAS_LINE, UP, "gas compressed worse is hotter"),
        Move("harvest_time", DOWN, f"{_LESS_COLD}, which outweighs the weaker pumping"),
        Move(_DISCHARGE_LINE, EITHER, "worse compression raises it, a lower ratio lowers it"),
        Move(_HARVEST_LOW, EITHER, "a warmer plate raises it, less gas lowers it"),
    ),
    "plate_scaled_or_damaged": (
        Move("harvest_time", UP, "more has to melt before the slab slides"),
        Move("freeze_time", UP, "scale insulates the plate", True, ("scaled",)),
        Move(_SUCTION_EARLY, DOWN, "scale insulates the plate", True, ("scaled",)),
        Move(_HARVEST_LOW, DOWN, _READ_LATER),
        Move(_HARVEST_HIGH, DOWN, _READ_LATER),
        Move(_HOT_GAS_LINE, DOWN, _READ_LATER),
    ),
    "vacuum_break_failed": (
        Move("harvest_time", UP, "more has to melt before air gets behind the slab"),
    ),
    "water_inlet_leaking": (
        Move("freeze_time", UP, "the water that runs in is cooled as well"),
        Move("batch_ice_mass", DOWN, "if the freeze runs out of time"),
        Move("ice_bridge_thickness", DOWN, "if the freeze runs out of time"),
        Move(_SUCTION_EARLY, UP, "the water is warmer"),
        Move(_SUCTION_LATE, UP, "thinner ice, if the freeze runs out of time"),
        Move(_HEAD, UP, "more heat comes to the condenser"),
        Move("harvest_time", DOWN, "thinner ice, if the freeze runs out of time"),
        Move(_HARVEST_LOW, UP, "thinner ice, if the freeze runs out of time"),
    ),
    "water_supply_warm": (
        Move("water_inlet_temperature", UP, "it is the fault itself"),
        Move("freeze_time", UP, "the charge takes longer to cool"),
        Move(_SUCTION_EARLY, UP, "warm water boils more refrigerant"),
        Move(_SUCTION_LATE, UP, "a condenser on the same water is warmer"),
        Move(_HEAD, UP, "more heat comes to the condenser; on the same water it is warmer too"),
        Move(_DISCHARGE_LINE, EITHER, "a lower ratio lowers it, warmer condenser water raises it"),
        Move(_HARVEST_LOW, UP, "liquid in a condenser on the same water boils back harder"),
        Move(_HARVEST_HIGH, UP, "liquid in a condenser on the same water boils back harder"),
        Move("harvest_time", DOWN, "a condenser on the same water gives more vapor"),
        Move(_HOT_GAS_LINE, UP, "with the head, if the condenser is on the same water"),
    ),
    "water_flow_poor": (
        Move("batch_ice_mass", DOWN, "ice grows only where water runs"),
        Move(_SUCTION_EARLY, DOWN, "a smaller wet plate takes less heat"),
        Move(_SUCTION_LATE, DOWN, "a smaller wet plate takes less heat"),
        Move(_HEAD, DOWN, "less heat comes to the condenser"),
        Move("harvest_time", DOWN, "less ice has to let go", False),
        Move("liquid_subcooling", DOWN, "so low a head leaves nothing above the air", True,
             ("stopped",)),
        Move("freeze_time", EITHER, "the wet part bridges sooner, or in the heat never"),
        Move(_DISCHARGE_LINE, EITHER, "a higher ratio raises it, a falling head lowers it"),
        Move(_HARVEST_LOW, EITHER, "less ice takes less gas, less stored heat gives less"),
        Move(_HARVEST_HIGH, EITHER, "follows the suction"),
        Move(_HOT_GAS_LINE, EITHER, "follows the discharge line"),
    ),
    "bridge_set_thick": (
        Move("ice_bridge_thickness", UP, "it is the fault itself"),
        Move("batch_ice_mass", UP, "more ice grows"),
        Move("freeze_time", UP, "more ice grows"),
        Move(_SUCTION_LATE, DOWN, "thick ice insulates the plate"),
        Move("harvest_time", UP, "plate and ice are colder"),
        Move(_HARVEST_LOW, DOWN, "plate and ice are colder"),
        Move(_HARVEST_HIGH, DOWN, "follows the suction"),
        Move(_HOT_GAS_LINE, EITHER, "a longer freeze, but a longer pull on its heat"),
    ),
    "bridge_set_thin": (
        Move("ice_bridge_thickness", DOWN, "it is the fault itself"),
        Move("batch_ice_mass", DOWN, "less ice grows"),
        Move("freeze_time", DOWN, "less ice grows"),
        Move(_SUCTION_LATE, UP, "the freeze ends before suction has fallen"),
        Move("harvest_time", DOWN, "plate and ice are less cold"),
        Move(_HARVEST_LOW, UP, "plate and ice are less cold"),
        Move(_HARVEST_HIGH, UP, "follows the suction"),
        Move(_HOT_GAS_LINE, EITHER, "a shorter freeze, but a shorter pull on its heat"),
    ),
})  # fmt: skip
"""Of each cause what moves and why; what shows most plainly first."""
