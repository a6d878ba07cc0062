"""The barometric pressure that lies between a gauge reading and an absolute pressure."""

from __future__ import annotations

from triage.physics.errors import OutOfRange

STANDARD_ATMOSPHERE_PA = 101_325.0

_LEAST_ALTITUDE_M = -500.0
_GREATEST_ALTITUDE_M = 9_000.0
_SEA_LEVEL_TEMPERATURE_K = 288.15
_LAPSE_RATE_K_PER_M = 0.0065
_EARTH_RADIUS_M = 6_356_766.0
# g0 M / (R* L) with the constants of ISO 2533: 9.80665, 28.964420 kg/kmol, 8314.32 J/(kmol K).
_EXPONENT = 9.80665 * 28.964420 / (8314.32 * _LAPSE_RATE_K_PER_M)


def barometric_pressure_pa(altitude_m: float) -> float:
    """Return the pressure of the standard atmosphere at an altitude in m above the sea.

    Weather moves the real one by about 3 %. Range -500 to 9000 m, OutOfRange beyond.
    Source: ISO 2533:1975, equal to the ICAO standard atmosphere below 32 km.

    >>> round(barometric_pressure_pa(1_500.0))
    84560
    """
    if not _LEAST_ALTITUDE_M <= altitude_m <= _GREATEST_ALTITUDE_M:
        raise OutOfRange(
            "altitude",
            altitude_m,
            _LEAST_ALTITUDE_M,
            _GREATEST_ALTITUDE_M,
            "m",
            "Give the altitude of the site; feet need their unit.",
        )
    geopotential_m = _EARTH_RADIUS_M * altitude_m / (_EARTH_RADIUS_M + altitude_m)
    ratio = 1.0 - _LAPSE_RATE_K_PER_M * geopotential_m / _SEA_LEVEL_TEMPERATURE_K
    return STANDARD_ATMOSPHERE_PA * float(ratio**_EXPONENT)
