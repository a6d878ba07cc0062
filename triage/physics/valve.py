"""Gas through a valve."""

from __future__ import annotations

import math

TERMINAL_PRESSURE_RATIO = 0.6
"""Pressure drop over upstream pressure at which a valve chokes [-]: the factor x_T of
IEC 60534-2-1 for a small globe valve, from memory 0.6 to 0.75."""

LAMINAR_PRESSURE_RATIO = 0.01
"""Pressure drop over upstream pressure below which flow goes with the drop itself [-]; judged."""


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
