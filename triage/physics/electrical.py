"""What a voltage or a coil's resistance may be before something is wrong.

Nominal voltages covered: 24, 120, 208, 230 and 240 V. Local codes and the machine's own data plate
come first; measuring live conductors is for people trained and allowed to do it.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum
from types import MappingProxyType
from typing import Final, Literal

from triage.physics.errors import OutOfRange, UnknownNominalVoltage

NOMINAL_VOLTAGES_V: Final = (24.0, 120.0, 208.0, 230.0, 240.0)
"""The nominal voltages this module covers."""

SupplyPoint = Literal["service", "utilization"]
SupplySpan = Literal["A", "B"]

# ANSI C84.1 table 1, editions from 2011 on, three-wire and four-wire systems up to 240 V.
_ANSI_C84_1_V: Final[Mapping[tuple[float, SupplyPoint, SupplySpan], tuple[float, float]]] = (
    MappingProxyType(
        {
            (120.0, "service", "A"): (114.0, 126.0),
            (120.0, "service", "B"): (110.0, 127.0),
            (120.0, "utilization", "A"): (108.0, 126.0),
            (120.0, "utilization", "B"): (104.0, 127.0),
            (208.0, "service", "A"): (197.0, 218.0),
            (208.0, "service", "B"): (191.0, 220.0),
            (208.0, "utilization", "A"): (187.0, 218.0),
            (208.0, "utilization", "B"): (180.0, 220.0),
            (240.0, "service", "A"): (228.0, 252.0),
            (240.0, "service", "B"): (220.0, 254.0),
            (240.0, "utilization", "A"): (216.0, 252.0),
            (240.0, "utilization", "B"): (208.0, 254.0),
        }
    )
)

# IEC 60038: 230 V systems, plus or minus 10 %.
_IEC_60038_V: Final = (207.0, 253.0)

# What data plates say and the system it belongs to. Motors for 120 and 208 V systems are rated 115
# and 200 V: NEMA MG 1, from memory. 110 and 220 V are older names: common practice, no source.
# 220 V is judged by the wider band of IEC 60038, which will do in either part of the world.
_SYSTEM_OF_PLATE_V: Final = MappingProxyType(
    {110.0: 120.0, 115.0: 120.0, 200.0: 208.0, 220.0: 230.0}
)

# UL 429 and IEC 60730-2-8 for valve coils, IEC 60947-4-1 for contactor coils.
_COIL_SHARES: Final = (0.85, 1.10)

# A holding solenoid draws 6 to 40 VA, and winding resistance makes up a fifth to all of its
# impedance (alternating current with a closed armature to rectified). Common practice, no source.
_HOLDING_VOLT_AMPERES: Final = (6.0, 40.0)
_LEAST_RESISTIVE_SHARE: Final = 0.2

# Copper per K at 20 °C: IEC 60028. Winding -10 to 90 °C, wound to 10 %: common practice, no source.
_COPPER_PER_K: Final = 0.00393
_WINDING_RISE_K: Final = (-30.0, 70.0)
_WINDING_TOLERANCE: Final = 0.10


@dataclass(frozen=True, slots=True)
class VoltageBand:
    """Least and greatest voltage that is in order, in V, and on whose word."""

    low_v: float
    high_v: float
    basis: str


class CoilState(StrEnum):
    """What a resistance says of a coil's winding."""

    OPEN = "open"
    SHORTED = "shorted"
    PLAUSIBLE = "plausible"


@dataclass(frozen=True, slots=True)
class CoilVerdict:
    """What a measured resistance says of a coil, the span of plausible ohms, and its basis."""

    state: CoilState
    low_ohm: float
    high_ohm: float
    basis: str


def supply_band(
    nominal_v: float, point: SupplyPoint = "utilization", span: SupplySpan = "A"
) -> VoltageBand:
    """Return the supply voltage that is in order at a machine of nominal voltage `nominal_v` (V).

    `point` is where it is measured: at the machine (`utilization`) or where the supply enters the
    building (`service`). `span` A is the normal range, B the one tolerated for a while; both count
    only for 120, 208 and 240 V. No supply standard covers a 24 V control circuit: there the coil
    band holds. Raises UnknownNominalVoltage for other voltages.

    Sources: ANSI C84.1 table 1 for 120, 208, 240 V; IEC 60038 for 230 V.

    >>> supply_band(208.0)
    VoltageBand(low_v=187.0, high_v=218.0, basis='ANSI C84.1 utilization range A')
    """
    _check_nominal(nominal_v)
    if nominal_v == 24.0:
        return coil_band(nominal_v)
    if nominal_v == 230.0:
        return VoltageBand(*_IEC_60038_V, basis="IEC 60038")
    low_v, high_v = _ANSI_C84_1_V[nominal_v, point, span]
    return VoltageBand(low_v, high_v, f"ANSI C84.1 {point} range {span}")


def system_voltage_v(plate_v: float) -> float:
    """Return the nominal voltage (V) of the supply system that a data plate of `plate_v` means.

    A voltage no plate of one of the covered systems bears comes back as it is.

    >>> system_voltage_v(115.0), system_voltage_v(208.0)
    (120.0, 208.0)
    """
    return _SYSTEM_OF_PLATE_V.get(plate_v, plate_v)


def coil_band(nominal_v: float) -> VoltageBand:
    """Return the voltage (V) at which a valve or contactor coil rated `nominal_v` (V) must work.

    Raises UnknownNominalVoltage for voltages not covered.

    Source: UL 429 and IEC 60730-2-8, 85 to 110 % of the rated voltage.

    >>> band = coil_band(24.0)
    >>> band.low_v, band.high_v
    (20.4, 26.4)
    """
    _check_nominal(nominal_v)
    low, high = (round(nominal_v * share, 6) for share in _COIL_SHARES)
    return VoltageBand(low, high, "85 to 110 % of rated voltage")


def coil_resistance_band(
    nominal_v: float, rated_ohm: float | None = None
) -> tuple[float, float, str]:
    """Return least and greatest plausible winding resistance in ohm, and the basis in words.

    With `rated_ohm` from the data plate (at 20 °C) the span allows for winding tolerance and for
    copper between -10 and 90 °C. Without it the span follows from the rated voltage and the power
    such coils draw: wide, but it tells a sound winding from a broken or burnt one. Raises
    UnknownNominalVoltage or, for a rated resistance that is not positive, OutOfRange.

    Source: resistance of copper, IEC 60028; powers are common practice, no source.

    >>> low, high, basis = coil_resistance_band(24.0)
    >>> round(low, 2), round(high, 1)
    (2.88, 96.0)
    >>> low, high, basis = coil_resistance_band(24.0, rated_ohm=15.0)
    >>> round(low, 1), round(high, 1)
    (11.9, 21.0)
    """
    _check_nominal(nominal_v)
    if rated_ohm is None:
        least_va, greatest_va = _HOLDING_VOLT_AMPERES
        low = _LEAST_RESISTIVE_SHARE * nominal_v**2 / greatest_va
        return low, nominal_v**2 / least_va, "typical for this voltage"
    if not 0.0 < rated_ohm < float("inf"):
        raise OutOfRange(
            "rated coil resistance",
            rated_ohm,
            0.0,
            float("inf"),
            "ohm",
            "Give the value from the data plate, or leave it out.",
        )
    coldest, hottest = (1.0 + _COPPER_PER_K * rise for rise in _WINDING_RISE_K)
    return (
        rated_ohm * (1.0 - _WINDING_TOLERANCE) * coldest,
        rated_ohm * (1.0 + _WINDING_TOLERANCE) * hottest,
        "about the rated resistance",
    )


def coil_verdict(
    nominal_v: float, measured_ohm: float, rated_ohm: float | None = None
) -> CoilVerdict:
    """Return what a resistance measured across a disconnected, unpowered coil says of it.

    Below the plausible span the winding is shorted, above it open (a broken winding or lead, or a
    joint that no longer conducts); `measured_ohm` is infinite when the meter shows no reading.
    Raises OutOfRange for a negative resistance, else as `coil_resistance_band`.

    >>> coil_verdict(24.0, float("inf")).state.value
    'open'
    >>> coil_verdict(24.0, 0.3).state.value
    'shorted'
    >>> coil_verdict(24.0, 14.0, rated_ohm=15.0).state.value
    'plausible'
    """
    if not measured_ohm >= 0.0:
        raise OutOfRange(
            "coil resistance",
            measured_ohm,
            0.0,
            float("inf"),
            "ohm",
            "None is negative: power may still be on, or the meter is on another range.",
        )
    low_ohm, high_ohm, basis = coil_resistance_band(nominal_v, rated_ohm)
    if measured_ohm < low_ohm:
        state = CoilState.SHORTED
    elif measured_ohm > high_ohm:
        state = CoilState.OPEN
    else:
        state = CoilState.PLAUSIBLE
    return CoilVerdict(state, low_ohm, high_ohm, basis)


def _check_nominal(nominal_v: float) -> None:
    if nominal_v not in NOMINAL_VOLTAGES_V:
        raise UnknownNominalVoltage(nominal_v, NOMINAL_VOLTAGES_V)
