"""The refrigeration cycle of a call in enthalpy and pressure, and the saturation dome. Pure.

Enthalpies are those of the shipped tables [J/kg], which count from 200 kJ/kg for boiling liquid at
0 °C.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from triage.dialogue.case import Case
from triage.dialogue.judge import band_of, fitting, refrigerant_in_use
from triage.dialogue.view import Finding
from triage.physics.compression import isentropic_discharge
from triage.physics.errors import PhysicsError
from triage.physics.tables import Fluid, fluid
from triage.tree.content import Content

ASSUMED_SUPERHEAT_K = 5.0
"""Superheat of the suction gas where none was measured [K]; judged, what expansion valves hold."""

LATE, EARLY = "freeze_suction_pressure_late", "freeze_suction_pressure_early"
DISCHARGE, LINE = "freeze_discharge_pressure", "discharge_line_temperature"
SUPERHEAT, SUBCOOLING = "suction_superheat", "liquid_subcooling"

_DOME_POINTS = 60
_TOP_POINTS = 14
_CRITICAL_EXPONENT = 0.34
"""How the width of a dome closes towards the critical point, as a power of the distance from the
critical temperature [-]; between the 0.325 of the scaling law and what it is further off."""


@dataclass(frozen=True, slots=True)
class Point:
    """A state: absolute pressure [Pa], enthalpy [J/kg], temperature [K]."""

    pressure_pa: float
    enthalpy_j_per_kg: float
    temperature_k: float


@dataclass(frozen=True, slots=True)
class Cycle:
    """Suction gas, discharge gas, liquid before the valve, and the mixture behind it.

    `assumptions` say what was not measured.
    """

    refrigerant: str
    suction: Point
    discharge: Point
    liquid: Point
    mixture: Point
    assumptions: tuple[str, ...] = ()

    @property
    def points(self) -> tuple[Point, ...]:
        """Return the four states in the order the refrigerant passes them."""
        return (self.suction, self.discharge, self.liquid, self.mixture)


@dataclass(frozen=True, slots=True)
class Dome:
    """Boiling liquid, vapor about to condense, and what closes them towards the critical point.

    `top` runs from the last of `liquid` over the critical point to the last of `vapor`; it is drawn
    by a scaling law, for the tables end below it. Pairs of enthalpy [J/kg] and absolute pressure
    [Pa].
    """

    liquid: tuple[tuple[float, float], ...]
    vapor: tuple[tuple[float, float], ...]
    top: tuple[tuple[float, float], ...]


@dataclass(frozen=True, slots=True)
class CycleOfCall:
    """The measured cycle and, where the machine is known well enough, a healthy one's; or why not.

    `reason` is a sentence where there is no `measured`.
    """

    measured: Cycle | None
    healthy: Cycle | None = None
    reason: str = ""


def cycle_of_call(content: Content, case: Case, findings: Mapping[str, Finding]) -> CycleOfCall:
    """Return the cycle that the freeze readings of a call describe, or why there is none."""
    refrigerant = refrigerant_in_use(content, case)
    if refrigerant is None:
        return _none("the refrigerant is not known")
    values = {
        reading: finding.value
        for reading, finding in findings.items()
        if isinstance(finding.value, float)
    }
    suction = LATE if LATE in values else EARLY
    missing = [
        name
        for reading, name in ((suction, "suction"), (DISCHARGE, "discharge"))
        if reading not in values
    ]
    if missing:
        return _none(f"the {' and '.join(missing)} pressure of the freeze was not measured")
    try:
        measured = cycle_through(
            refrigerant,
            values[suction],
            values[DISCHARGE],
            superheat_k=values.get(SUPERHEAT),
            discharge_line_k=values.get(LINE),
            subcooling_k=values.get(SUBCOOLING),
        )
    except PhysicsError as error:
        return _none(f"the readings make no cycle: {error}")
    moments = {
        reading: findings[reading].minute_s if reading in findings else None
        for reading in (suction, DISCHARGE, LINE, SUPERHEAT, SUBCOOLING)
    }
    return CycleOfCall(measured, _healthy(content, case, refrigerant, suction, moments))


def cycle_through(
    refrigerant: str,
    suction_pressure_pa: float,
    discharge_pressure_pa: float,
    *,
    superheat_k: float | None = None,
    discharge_line_k: float | None = None,
    subcooling_k: float | None = None,
) -> Cycle:
    """Return the cycle through these readings; what is None is assumed, and said so.

    suction_pressure_pa, discharge_pressure_pa: absolute [Pa]
    superheat_k: of the suction gas above its dew point [K]
    discharge_line_k: temperature of the discharge line [K]
    subcooling_k: of the liquid below its bubble point [K]
    The valve changes no enthalpy. Raises OutOfRange for states the tables do not reach, or a
    suction above the discharge.
    """
    gas = fluid(refrigerant)
    assumptions = []
    if superheat_k is None:
        superheat_k = ASSUMED_SUPERHEAT_K
        assumptions.append("superheat was not measured: {superheat} assumed")
    if subcooling_k is None:
        subcooling_k = 0.0
        assumptions.append("subcooling was not measured: none assumed")
    suction_enthalpy = gas.vapor_enthalpy_j_per_kg(suction_pressure_pa, superheat_k)
    suction_k = gas.dew_temperature_k(suction_pressure_pa) + superheat_k
    # Also refuses a suction above the discharge.
    ideal = isentropic_discharge(gas, suction_pressure_pa, superheat_k, discharge_pressure_pa)
    dew_k = gas.dew_temperature_k(discharge_pressure_pa)
    if discharge_line_k is None:
        assumptions.append("the discharge line was not measured: ideal compression assumed")
        hot_k, hot_enthalpy = ideal.temperature_k, ideal.enthalpy_j_per_kg
    elif discharge_line_k <= dew_k:
        assumptions.append(
            "the discharge line reads no higher than the dew point: liquid is in the gas, or a "
            "reading is off; drawn at the dew point"
        )
        hot_k, hot_enthalpy = dew_k, gas.vapor_enthalpy_j_per_kg(discharge_pressure_pa, 0.0)
    else:
        hot_k = discharge_line_k
        hot_enthalpy = gas.vapor_enthalpy_j_per_kg(discharge_pressure_pa, hot_k - dew_k)
    liquid_k = gas.bubble_temperature_k(discharge_pressure_pa) - subcooling_k
    liquid_enthalpy = gas.liquid_enthalpy_j_per_kg(liquid_k)
    return Cycle(
        refrigerant,
        Point(suction_pressure_pa, suction_enthalpy, suction_k),
        Point(discharge_pressure_pa, hot_enthalpy, hot_k),
        Point(discharge_pressure_pa, liquid_enthalpy, liquid_k),
        Point(suction_pressure_pa, liquid_enthalpy, _boiling_k(gas, suction_pressure_pa,
                                                               liquid_enthalpy)),
        tuple(assumptions),
    )  # fmt: skip


def dome_of(refrigerant: str) -> Dome:
    """Return the saturation dome of a refrigerant: its tables, and the top they do not reach."""
    gas = fluid(refrigerant)
    least_k, last_k = gas.least_temperature_k, gas.greatest_temperature_k
    temperatures = [
        least_k + (last_k - least_k) * index / _DOME_POINTS for index in range(_DOME_POINTS + 1)
    ]
    liquid = tuple(
        (gas.liquid_enthalpy_j_per_kg(t_k), gas.bubble_pressure_pa(t_k)) for t_k in temperatures
    )
    # A dew pressure must not leave the tables by the last bit of a float.
    dew_pressures = [
        min(max(gas.dew_pressure_pa(t_k), gas.least_dew_pressure_pa), gas.greatest_dew_pressure_pa)
        for t_k in temperatures
    ]
    vapor = tuple((gas.vapor_enthalpy_j_per_kg(p_pa, 0.0), p_pa) for p_pa in dew_pressures)
    return Dome(liquid, vapor, _top(gas, temperatures, liquid, vapor))


def _top(
    gas: Fluid,
    temperatures: list[float],
    liquid: tuple[tuple[float, float], ...],
    vapor: tuple[tuple[float, float], ...],
) -> tuple[tuple[float, float], ...]:
    """Return the closing of a dome: its middle straight on, its width by a power law.

    That the middle goes straight in temperature is the law of rectilinear diameters (Cailletet and
    Mathias, 1886), there for densities.
    """
    before_k, last_k = temperatures[-2:]
    (before_liquid, _), (last_liquid, liquid_pa) = liquid[-2:]
    (before_vapor, _), (last_vapor, vapor_pa) = vapor[-2:]
    middle = (last_liquid + last_vapor) / 2.0
    slope = (middle - (before_liquid + before_vapor) / 2.0) / (last_k - before_k)
    half_width = (last_vapor - last_liquid) / 2.0
    critical_k, critical_pa = gas.critical_temperature_k, gas.critical_pressure_pa
    sides: tuple[list[tuple[float, float]], ...] = ([], [])
    for index in range(_TOP_POINTS + 1):
        # Closer together towards the top, where the curve turns.
        share = 1.0 - (1.0 - index / _TOP_POINTS) ** 3
        t_k = last_k + share * (critical_k - last_k)
        left = (critical_k - t_k) / (critical_k - last_k)
        for side, sign, from_pa in ((0, -1.0, liquid_pa), (1, 1.0, vapor_pa)):
            enthalpy = middle + slope * (t_k - last_k)
            enthalpy += sign * half_width * left**_CRITICAL_EXPONENT
            sides[side].append((enthalpy, from_pa * (critical_pa / from_pa) ** share))
    return (*sides[0], *reversed(sides[1]))


def _healthy(
    content: Content,
    case: Case,
    refrigerant: str,
    suction: str,
    moments: Mapping[str, float | None],
) -> Cycle | None:
    """Return the cycle through the middles of the bands, None where they do not hold for one."""
    case = fitting(content, case)
    middles: dict[str, float] = {}
    for reading_id, minute_s in moments.items():
        reading = content.readings.get(reading_id)
        if reading is None:
            return None
        if minute_s is None and reading.default_minute is not None:
            minute_s = 60.0 * reading.default_minute
        try:
            band = band_of(content, case, reading, minute_s)
        except PhysicsError:
            return None
        if band is None or band.basis.is_any_condition:
            return None
        middles[reading_id] = band.centre
    try:
        return cycle_through(
            refrigerant,
            middles[suction],
            middles[DISCHARGE],
            superheat_k=max(0.0, middles[SUPERHEAT]),
            discharge_line_k=middles[LINE],
            subcooling_k=max(0.0, middles[SUBCOOLING]),
        )
    except PhysicsError:
        return None


def _boiling_k(gas: Fluid, pressure_pa: float, enthalpy_j_per_kg: float) -> float:
    """Return the temperature [K] behind the valve, straight through the glide by enthalpy."""
    bubble_k, dew_k = gas.bubble_temperature_k(pressure_pa), gas.dew_temperature_k(pressure_pa)
    liquid = gas.liquid_enthalpy_j_per_kg(bubble_k)
    vapor = gas.vapor_enthalpy_j_per_kg(pressure_pa, 0.0)
    quality = min(1.0, max(0.0, (enthalpy_j_per_kg - liquid) / (vapor - liquid)))
    return bubble_k + quality * (dew_k - bubble_k)


def _none(reason: str) -> CycleOfCall:
    return CycleOfCall(None, reason=f"There is no diagram of the cycle: {reason}.")
