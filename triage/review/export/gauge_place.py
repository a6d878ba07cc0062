"""Where the mark of a drawn gauge stands: the same picture as the console's, without columns."""

from __future__ import annotations

import math
from dataclasses import dataclass

from triage.console.gauge import SCALE_HALF_WIDTHS


@dataclass(frozen=True, slots=True)
class GaugePlace:
    """Where the mark of a gauge stands: `share` of its width [0 to 1].

    The band is its middle third. `is_off` where the value lies beyond the scale.
    """

    share: float
    is_off: bool


def gauge_place(value: float, low: float, high: float) -> GaugePlace:
    """Return where the mark of a gauge stands; the band `low` to `high` fills the middle third.

    >>> gauge_place(73.0, 66.0, 80.0).share, round(gauge_place(66.0, 66.0, 80.0).share, 3)
    (0.5, 0.333)
    """
    half = (high - low) / 2.0
    if 0.0 < half < math.inf and math.isfinite(value):
        distance = (value - (low + high) / 2.0) / half
    else:  # a band without width or without an end: only the side can be told
        distance = 0.0 if low <= value <= high else math.copysign(math.inf, value - low)
    held = max(-SCALE_HALF_WIDTHS, min(SCALE_HALF_WIDTHS, distance))
    return GaugePlace((held / SCALE_HALF_WIDTHS + 1.0) / 2.0, held != distance)
