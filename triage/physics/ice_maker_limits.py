"""What an ice maker may use for 100 lb of ice in the United States: 10 CFR 431.136.

The rule is written in pounds and gallons, and so are the figures here. H is the harvest rate at
rating conditions in pounds of ice in 24 h; a limit is straight in H between its steps.

Of paragraph (b) all rows come from a public page, of (c) the water-cooled heads below 1,500 lb; all
other rows are from memory, and limits on both sides of a step agree.
"""

from __future__ import annotations

from collections.abc import Mapping
from enum import StrEnum
from types import MappingProxyType
from typing import Final

from triage.physics.errors import OutOfRange, PhysicsError


class Paragraph(StrEnum):
    """Which machines a table holds for, by the paragraph of the rule."""

    CUBE_2010 = "b"
    BATCH_2018 = "c"
    CONTINUOUS_2018 = "d"


class Equipment(StrEnum):
    """How a machine is built, in the words of the rule."""

    HEAD = "IMH"
    REMOTE = "RCU without remote compressor"
    REMOTE_COMPRESSOR = "RCU with remote compressor"
    SELF_CONTAINED = "SCU"


class Cooling(StrEnum):
    """What takes the heat of the condenser; a remote condenser is cooled by air."""

    AIR = "air"
    WATER = "water"


_Steps = tuple[tuple[float, float, float], ...]
"""From H [lb/24 h] on: the limit at H = 0 [kWh/100 lb] and its slope."""

_B, _C, _D = Paragraph.CUBE_2010, Paragraph.BATCH_2018, Paragraph.CONTINUOUS_2018
_HEAD, _SCU = Equipment.HEAD, Equipment.SELF_CONTAINED
_RCU, _RCU_COMPRESSOR = Equipment.REMOTE, Equipment.REMOTE_COMPRESSOR
_AIR, _WATER = Cooling.AIR, Cooling.WATER

_ENERGY: Final[Mapping[tuple[Paragraph, Equipment, Cooling], _Steps]] = MappingProxyType({
    # 10 CFR 431.136(b): cube type, made from 2010-01-01 to 2018-01-27.
    (_B, _HEAD, _WATER): ((50, 7.80, -0.0055), (500, 5.58, -0.0011), (1436, 4.0, 0.0)),
    (_B, _HEAD, _AIR): ((50, 10.26, -0.0086), (450, 6.89, -0.0011)),
    (_B, _RCU, _AIR): ((50, 8.85, -0.0038), (1000, 5.1, 0.0)),
    (_B, _RCU_COMPRESSOR, _AIR): ((50, 8.85, -0.0038), (934, 5.3, 0.0)),
    (_B, _SCU, _WATER): ((50, 11.4, -0.019), (200, 7.6, 0.0)),
    (_B, _SCU, _AIR): ((50, 18.0, -0.0469), (175, 9.8, 0.0)),
    # 10 CFR 431.136(c): batch type, made from 2018-01-28 on.
    (_C, _HEAD, _WATER): (
        (50, 6.88, -0.0055), (300, 5.80, -0.00191), (850, 4.42, -0.00028), (1500, 4.0, 0.0)
    ),
    (_C, _HEAD, _AIR): (
        (50, 10.0, -0.01233), (300, 7.05, -0.0025), (800, 5.55, -0.00063), (1500, 4.61, 0.0)
    ),
    (_C, _RCU, _AIR): ((50, 7.97, -0.00342), (988, 4.59, 0.0)),
    (_C, _RCU_COMPRESSOR, _AIR): ((50, 7.97, -0.00342), (930, 4.79, 0.0)),
    (_C, _SCU, _WATER): ((50, 9.5, -0.019), (200, 5.7, 0.0)),
    (_C, _SCU, _AIR): ((50, 14.79, -0.0469), (110, 12.42, -0.02533), (200, 7.35, 0.0)),
    # 10 CFR 431.136(d): continuous type, made from 2018-01-28 on.
    (_D, _HEAD, _WATER): ((50, 6.48, -0.00267), (801, 4.34, 0.0)),
    (_D, _HEAD, _AIR): ((50, 9.19, -0.00629), (310, 8.23, -0.0032), (820, 5.61, 0.0)),
    (_D, _RCU, _AIR): ((50, 9.7, -0.0058), (800, 5.06, 0.0)),
    (_D, _RCU_COMPRESSOR, _AIR): ((50, 9.9, -0.0058), (800, 5.26, 0.0)),
    (_D, _SCU, _WATER): ((50, 7.6, -0.00302), (900, 4.88, 0.0)),
    (_D, _SCU, _AIR): ((50, 14.22, -0.03), (200, 9.47, -0.00624), (700, 5.1, 0.0)),
})  # fmt: skip

_CONDENSER_WATER: Final[Mapping[tuple[Paragraph, Equipment], tuple[float, float, float]]] = (
    MappingProxyType({
        (_B, _HEAD): (200.0, -0.022, 145.0),
        (_B, _SCU): (191.0, -0.0315, 112.25),
        (_C, _HEAD): (200.0, -0.022, 145.0),
        (_C, _SCU): (191.0, -0.0315, 112.0),
        (_D, _HEAD): (180.0, -0.0198, 130.5),
        (_D, _SCU): (153.0, -0.0252, 90.0),
    })
)  # fmt: skip
"""The most condenser water at H = 0 [gal/100 lb], its slope, and the level from 2,500 lb on."""

_LEAST_H = 50.0
_GREATEST_H: Final[Mapping[Paragraph, float]] = MappingProxyType(
    {_B: 2500.0, _C: 4000.0, _D: 4000.0}
)
_WATER_LEVEL_FROM_H = 2500.0


def energy_limit_kwh_per_100_lb(
    equipment: Equipment,
    cooling: Cooling,
    harvest_lb_per_24_h: float,
    paragraph: Paragraph = Paragraph.BATCH_2018,
) -> float:
    """Return the most energy [kWh] for 100 lb of ice of a machine that makes `harvest_lb_per_24_h`.

    Raises OutOfRange for a harvest rate [lb/24 h] the paragraph does not cover, PhysicsError for a
    remote machine cooled by water, of which it says nothing.

    >>> round(energy_limit_kwh_per_100_lb(Equipment.HEAD, Cooling.AIR, 500.0), 3)
    5.8
    """
    _check_harvest(harvest_lb_per_24_h, paragraph)
    steps = _ENERGY.get((paragraph, equipment, cooling))
    if steps is None:
        raise PhysicsError(f"10 CFR 431.136 has no limit for {equipment} cooled by {cooling}.")
    _, at_zero, slope = next(step for step in reversed(steps) if step[0] <= harvest_lb_per_24_h)
    return at_zero + slope * harvest_lb_per_24_h


def condenser_water_limit_gal_per_100_lb(
    equipment: Equipment,
    harvest_lb_per_24_h: float,
    paragraph: Paragraph = Paragraph.BATCH_2018,
) -> float:
    """Return the most condenser water [US gal] for 100 lb of ice of a water-cooled machine.

    Water that is drunk as ice or drained from the sump is not counted; of that the rule sets no
    limit. Raises OutOfRange and PhysicsError as `energy_limit_kwh_per_100_lb`.

    >>> round(condenser_water_limit_gal_per_100_lb(Equipment.HEAD, 500.0), 2)
    189.0
    """
    _check_harvest(harvest_lb_per_24_h, paragraph)
    line = _CONDENSER_WATER.get((paragraph, equipment))
    if line is None:
        raise PhysicsError(f"10 CFR 431.136 has no condenser water limit for {equipment}.")
    at_zero, slope, level = line
    is_level = harvest_lb_per_24_h >= _WATER_LEVEL_FROM_H
    return level if is_level else at_zero + slope * harvest_lb_per_24_h


def _check_harvest(harvest_lb_per_24_h: float, paragraph: Paragraph) -> None:
    greatest = _GREATEST_H[paragraph]
    if not _LEAST_H <= harvest_lb_per_24_h <= greatest:
        raise OutOfRange(
            "harvest rate",
            harvest_lb_per_24_h,
            _LEAST_H,
            greatest,
            "lb/24 h",
            "The rule sets no limit for other machines.",
        )
