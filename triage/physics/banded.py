"""Which readings can be judged against a band: the one list, for whoever writes content."""

from __future__ import annotations

from triage.physics.virtual_machine import READING_IDS

_WORKING_LIMITS = (
    "ambient_air_temperature",
    "condenser_air_temperature",
    "water_inlet_temperature",
)
_AT_THE_SITE = (
    "coil_voltage",
    "coil_resistance",
    "inlet_coil_voltage",
    "inlet_coil_resistance",
    "supply_voltage",
    "fill_volume",
    "water_supply_pressure",
    "water_hardness",
    "total_dissolved_solids",
    "cleaning_age",
    "filter_age",
)


def banded_readings() -> frozenset[str]:
    """Return the ids of the readings for which `triage.physics.bands.expected_band` has a band.

    >>> "freeze_time" in banded_readings(), "ice_pattern" in banded_readings()
    (True, False)
    """
    return frozenset({*READING_IDS, *_WORKING_LIMITS, *_AT_THE_SITE})
