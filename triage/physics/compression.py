"""States along the cycle: superheat, subcooling, compression and the discharge line."""

from __future__ import annotations

from dataclasses import dataclass

from triage.physics.errors import NotSubcooled, NotSuperheated, OutOfRange
from triage.physics.tables import Fluid

_ROUNDING_K = 1e-6
"""A state on the saturation line is not called wet for the last bits of a float."""

_PLAUSIBLE_SUPERHEAT_K = 150.0
_PLAUSIBLE_SUBCOOLING_K = 150.0


@dataclass(frozen=True, slots=True)
class Discharge:
    """The gas at the end of compression: enthalpy in J/kg, temperature in K."""

    enthalpy_j_per_kg: float
    temperature_k: float


def superheat_k(fluid: Fluid, pressure_pa: float, temperature_k: float) -> float:
    """Return how far vapor at absolute `pressure_pa` and `temperature_k` lies above its dew point.

    Raises NotSuperheated when it would be negative: liquid is coming back with the vapor, or one of
    the two readings is off. Raises OutOfRange for pressures outside the tables.

    >>> from triage.physics.tables import fluid
    >>> round(superheat_k(fluid("R-404A"), 600_000.0, 280.0), 1)
    6.9
    """
    result = temperature_k - fluid.dew_temperature_k(pressure_pa)
    if not result >= -_ROUNDING_K:
        raise NotSuperheated(
            f"superheat of {fluid.refrigerant_id}",
            result,
            0.0,
            _PLAUSIBLE_SUPERHEAT_K,
            "K",
            "The vapor is wet: liquid is coming back, or one of the two readings is off. "
            "Read pressure and temperature again at the same place and time.",
        )
    return max(result, 0.0)


def subcooling_k(fluid: Fluid, pressure_pa: float, temperature_k: float) -> float:
    """Return how far liquid at absolute `pressure_pa` and `temperature_k` lies below bubble point.

    Raises NotSubcooled when it would be negative: there is vapor in the liquid line, or one of the
    two readings is off. Raises OutOfRange for pressures outside the tables.

    >>> from triage.physics.tables import fluid
    >>> round(subcooling_k(fluid("R-404A"), 1_800_000.0, 308.0), 1)
    4.5
    """
    result = fluid.bubble_temperature_k(pressure_pa) - temperature_k
    if not result >= -_ROUNDING_K:
        raise NotSubcooled(
            f"subcooling of {fluid.refrigerant_id}",
            result,
            0.0,
            _PLAUSIBLE_SUBCOOLING_K,
            "K",
            "There is vapor in the liquid line, or one of the two readings is off. "
            "Read pressure and temperature again at the same place and time.",
        )
    return max(result, 0.0)


def compression_ratio(suction_pressure_pa: float, discharge_pressure_pa: float) -> float:
    """Return absolute discharge pressure over absolute suction pressure.

    Raises OutOfRange unless 0 < suction <= discharge.

    >>> compression_ratio(200_000.0, 1_600_000.0)
    8.0
    """
    if not 0.0 < suction_pressure_pa <= discharge_pressure_pa < float("inf"):
        raise OutOfRange(
            "suction pressure",
            suction_pressure_pa,
            0.0,
            discharge_pressure_pa,
            "Pa absolute",
            "Suction cannot lie above discharge or below a vacuum: check which gauge is which.",
        )
    return discharge_pressure_pa / suction_pressure_pa


def isentropic_discharge(
    fluid: Fluid, suction_pressure_pa: float, superheat_k: float, discharge_pressure_pa: float
) -> Discharge:
    """Return the gas after ideal compression, entropy unchanged.

    Pressures are absolute; `superheat_k` is that of the suction gas above its dew point. Raises
    NotSuperheated if the end state would be wet, OutOfRange if any state leaves the tables.

    >>> from triage.physics.tables import fluid
    >>> end = isentropic_discharge(fluid("R-134a"), 140_000.0, 0.0, 800_000.0)
    >>> round(end.temperature_k - 273.15, 1)
    39.0
    """
    compression_ratio(suction_pressure_pa, discharge_pressure_pa)
    entropy = fluid.vapor_entropy_j_per_kg_k(suction_pressure_pa, superheat_k)
    end_superheat_k = fluid.superheat_from_entropy_k(discharge_pressure_pa, entropy)
    return Discharge(
        fluid.vapor_enthalpy_j_per_kg(discharge_pressure_pa, end_superheat_k),
        fluid.dew_temperature_k(discharge_pressure_pa) + end_superheat_k,
    )


def discharge_temperature_k(
    fluid: Fluid,
    suction_pressure_pa: float,
    superheat_k: float,
    discharge_pressure_pa: float,
    isentropic_efficiency: float,
    heat_kept: float = 1.0,
) -> float:
    """Return the temperature of the gas leaving a real compressor.

    The work is the ideal one over `isentropic_efficiency` (0 to 1]; the share `heat_kept` (0 to 1]
    of it stays in the gas, the rest leaves through the shell. Pressures are absolute, `superheat_k`
    is that of the gas entering. Raises OutOfRange for shares outside their span or states outside
    the tables, NotSuperheated if the gas would be wet.

    Source: definition of isentropic efficiency, e.g. Cengel and Boles, Thermodynamics.

    >>> from triage.physics.tables import fluid
    >>> hot = discharge_temperature_k(fluid("R-134a"), 140_000.0, 8.0, 800_000.0, 0.7)
    >>> round(hot - 273.15, 1)
    62.7
    """
    for name, share in (
        ("isentropic efficiency", isentropic_efficiency),
        ("share of heat kept", heat_kept),
    ):
        if not 0.0 < share <= 1.0:
            raise OutOfRange(name, share, 0.0, 1.0, "(fraction)", "Give a fraction, not a percent.")
    start = fluid.vapor_enthalpy_j_per_kg(suction_pressure_pa, superheat_k)
    ideal = isentropic_discharge(fluid, suction_pressure_pa, superheat_k, discharge_pressure_pa)
    rise = (ideal.enthalpy_j_per_kg - start) * heat_kept / isentropic_efficiency
    return fluid.vapor_temperature_from_enthalpy_k(discharge_pressure_pa, start + rise)
