"""A few readings as a content folder would hold them, for the tests of what is typed."""

from dataclasses import dataclass

from triage.tree.content import Choice, Place, Reading, ReadingKind

HERE = Place("readings.yaml", 1, 1)


def _reading(
    id_: str,
    name: str,
    kind: ReadingKind,
    *spoken: str,
    choices: tuple[Choice, ...] = (),
    plausible: tuple[float, float] | None = None,
    minute: float | None = None,
) -> Reading:
    return Reading(
        id_, name, kind, HERE, choices, (), spoken, plausible=plausible, default_minute=minute
    )


LICENSED = _reading(
    "caller_qualification",
    "caller qualification",
    ReadingKind.CHOICE,
    choices=(
        Choice("licensed", "licensed for refrigeration work", ("yes", "tech", "certified")),
        Choice("unlicensed", "not licensed", ("no", "owner", "not certified", "neither")),
    ),
)
MACHINE = _reading("machine", "machine", ReadingKind.MACHINE, "machine", "model")
REFRIGERANT = _reading("refrigerant", "refrigerant", ReadingKind.REFRIGERANT, "refrigerant", "gas")
ROOM = _reading(
    "ambient_air_temperature", "air temperature at the machine", ReadingKind.TEMPERATURE,
    "room", "in the room", "ambient", "in here",
)  # fmt: skip
WATER = _reading(
    "water_inlet_temperature", "inlet water temperature", ReadingKind.TEMPERATURE,
    "water", "inlet water",
)  # fmt: skip
ALTITUDE = _reading(
    "site_altitude", "altitude of the site", ReadingKind.LENGTH, "altitude", "elevation",
    plausible=(-430.0, 5500.0),
)  # fmt: skip
FREEZE_TIME = _reading("freeze_time", "freeze time", ReadingKind.DURATION, "freeze", "freezes in")
BRIDGE = _reading(
    "ice_bridge_thickness", "ice bridge thickness", ReadingKind.LENGTH, "bridge", "thickness",
    plausible=(0.0, 0.06),
)  # fmt: skip
PATTERN = _reading(
    "ice_pattern", "ice pattern", ReadingKind.CHOICE, "pattern",
    choices=(
        Choice("even", "even all over", ("uniform", "ok", "fine")),
        Choice("thin_at_outlet", "thin at the outlet", ("thin one side", "lopsided")),
        Choice("thin_all_over", "thin all over", ("thin", "hollow")),
        Choice("patchy", "patchy, with bare spots", ("patches", "holes")),
    ),
)  # fmt: skip
MASS = _reading("batch_ice_mass", "mass of one batch", ReadingKind.MASS, "batch", "weighs")
FAN = _reading(
    "condenser_fan_state", "condenser fan", ReadingKind.CHOICE, "fan", "condenser fan",
    choices=(
        Choice("running", "runs steadily", ("on", "turning")),
        Choice("cycling", "goes on and off", ("cycles", "stop and go", "case")),
        Choice("stopped", "stands still", ("stop", "off", "not running")),
    ),
)  # fmt: skip
SUCTION_EARLY = _reading(
    "freeze_suction_pressure_early", "suction pressure early in the freeze",
    ReadingKind.GAUGE_PRESSURE, "suction", "low side", minute=2.0,
)  # fmt: skip
SUCTION_LATE = _reading(
    "freeze_suction_pressure_late", "suction pressure late in the freeze",
    ReadingKind.GAUGE_PRESSURE, "suction", "low side", minute=12.0,
)  # fmt: skip
HEAD = _reading(
    "freeze_discharge_pressure", "discharge pressure in the freeze", ReadingKind.GAUGE_PRESSURE,
    "head", "discharge", "high side", minute=6.0,
)  # fmt: skip
DISCHARGE_LINE = _reading(
    "discharge_line_temperature", "discharge line temperature", ReadingKind.TEMPERATURE,
    "discharge line", "hot line", minute=6.0,
)  # fmt: skip
SUPERHEAT = _reading(
    "suction_superheat", "suction superheat", ReadingKind.TEMPERATURE_DIFFERENCE, "superheat"
)
HARVEST_SUCTION = _reading(
    "harvest_suction_pressure", "suction pressure in the harvest", ReadingKind.GAUGE_PRESSURE,
    "suction", "low side", minute=1.0,
)  # fmt: skip
HARVEST_HEAD = _reading(
    "harvest_discharge_pressure", "discharge pressure in the harvest", ReadingKind.GAUGE_PRESSURE,
    "head", "discharge", minute=1.0,
)  # fmt: skip
HARVEST_TIME = _reading(
    "harvest_time", "harvest time", ReadingKind.DURATION, "harvest", "harvests in"
)
RELEASED = _reading(
    "ice_released", "ice released in the harvest", ReadingKind.CHOICE, "ice dropped",
    choices=(
        Choice("yes", "yes, all of it", ("dropped", "it fell", "all")),
        Choice("partly", "only some of it", ("half", "some")),
        Choice("no", "no, nothing", ("stuck", "nothing", "did not drop", "not at all")),
    ),
)  # fmt: skip
COIL_VOLTAGE = _reading(
    "coil_voltage", "voltage at the coil", ReadingKind.VOLTAGE, "coil voltage", "at the coil"
)
COIL_RESISTANCE = _reading(
    "coil_resistance", "coil resistance", ReadingKind.RESISTANCE, "resistance", "ohms"
)

READINGS = (
    LICENSED, MACHINE, REFRIGERANT, ROOM, WATER, ALTITUDE, FREEZE_TIME, BRIDGE, PATTERN, MASS, FAN,
    SUCTION_EARLY, SUCTION_LATE, HEAD, DISCHARGE_LINE, SUPERHEAT, HARVEST_SUCTION, HARVEST_HEAD,
    HARVEST_TIME, RELEASED, COIL_VOLTAGE, COIL_RESISTANCE,
)  # fmt: skip


@dataclass(frozen=True)
class NamedMachine:
    """All that the words for a machine depend on."""

    name: str
    spoken: tuple[str, ...] = ()


MACHINES = {
    "fjordline_450": NamedMachine("Fjordline 450", ("fjord 450",)),
    "fjordline_700": NamedMachine("Fjordline 700"),
    "tarn_r2": NamedMachine("Tarn R-2", ("the little tarn",)),
}
"""Invented machines."""
