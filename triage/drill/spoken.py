"""What people say for a reading they ask for, beside the words they answer it in."""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType

ASKED_BY: Mapping[str, tuple[str, ...]] = MappingProxyType({
    "caller_qualification": (
        "license", "licensed", "licence", "licenced", "certified", "qualified",
    ),
    "complaint": ("wrong", "matter", "trouble", "fault", "wrong with the machine"),
    "ice_released": ("ice drop", "drop", "ice fall", "ice release", "ice let go", "released"),
    "ice_pattern": ("ice look", "look of the ice"),
    "coil_pulls_in": ("click", "valve click", "valves pull in"),
    "batch_ice_mass": ("weigh", "weight"),
    "condenser_fan_state": ("fan",),
    "freeze_time": ("freeze take", "freeze last"),
    "harvest_time": ("harvest take", "harvest last"),
})  # fmt: skip
"""Words by reading id."""
