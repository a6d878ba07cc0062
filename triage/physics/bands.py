"""What a healthy machine should show: a band for each reading, and on what it rests.

The machine's own chart wins over the model where it reaches; else the healthy virtual machine is
run at the call's conditions and widened by what `triage.physics.tolerances` states.
"""

from __future__ import annotations

from collections.abc import Mapping
from functools import lru_cache
from itertools import pairwise

from triage.physics.adapt import adapt, typical_machine
from triage.physics.band import Band, Basis, BasisKind, Beside, basis_words
from triage.physics.circuit import Circuit
from triage.physics.errors import PhysicsError
from triage.physics.machine import HEALTHY, ChartRow, CondenserKind, Conditions, Machine
from triage.physics.rated import told_beside
from triage.physics.rating import production_kg_per_day
from triage.physics.sensitivity import study_of
from triage.physics.site_bands import (
    coil_resistance_band,
    coil_voltage_band,
    fill_volume_band,
    practice_band,
    site_band,
    supply_voltage_band,
)
from triage.physics.tolerances import AIR_THERMOMETER_K, INSTRUMENT_LIMITS, PRODUCTION_PARTS
from triage.physics.units import DAY_S
from triage.physics.virtual_machine import DEFAULT_MOMENT_S, READING_IDS

__all__ = [
    "Band",
    "Basis",
    "BasisKind",
    "Beside",
    "adapt",
    "basis_words",
    "coil_resistance_band",
    "coil_voltage_band",
    "expected_band",
    "fill_volume_band",
    "manifold_window",
    "practice_band",
    "supply_voltage_band",
    "typical_machine",
]

LEAST_MELTING_K = 275.65
"""Least low-side saturation of the confirming test [K]: 2.5 °C, warm enough to melt ice through the
plate; judged."""

GREATEST_SAFE_LOW_SIDE_K = 285.15
"""Greatest low-side saturation of the confirming test [K]: 12 °C; judged, far below the 26.7 °C for
which low sides are designed at least (ASHRAE 15, from memory) and near what a healthy harvest
shows."""

_CHART_REACH_K = 0.6
"""How far beyond its outermost rows a chart is still read [K]: rounding between °C and °F."""

_CHART_MOMENT_S = 60.0
"""A chart's figure holds for the usual moment of a reading and this long around it [s]; judged."""

_GENERIC_SPANS: Mapping[str, tuple[float, float]] = {
    "batch_ice_mass": (0.1, 8.0),
    "freeze_time": (0.55, 2.0),
    "harvest_time": (0.45, 2.5),
    "ice_production": (0.1, 8.0),
    "energy_use": (0.6, 2.2),
    "water_use": (0.65, 2.0),
}
"""How far readings that go with a machine's size may lie from a typical machine's [shares]; judged:
batches run from half a kilogram to twenty, small machines use twice the energy of large ones for
the same ice (10 CFR 431.136 allows as much), and rinse with more water or less."""

_GAUGE_PRESSURES = frozenset(found for found in READING_IDS if "pressure" in found)


def expected_band(
    machine: Machine, conditions: Conditions, reading_id: str, minute_s: float | None = None
) -> Band:
    """Return the band of a reading on a healthy `machine` at `conditions`.

    `minute_s` is the moment it is taken, in seconds into its freeze or harvest; None for its usual
    moment. The first question about a machine at some conditions runs the model some forty times (a
    fifth of a second); all further ones are kept. Raises PhysicsError for a reading without a band
    and UnknownRefrigerant for a machine whose refrigerant has no tables.
    """
    return _expected_band(machine, conditions, reading_id, minute_s)


@lru_cache(maxsize=2048)
def _expected_band(
    machine: Machine, conditions: Conditions, reading_id: str, minute_s: float | None
) -> Band:
    at_the_site = site_band(machine, reading_id)
    if at_the_site is not None:
        return at_the_site
    limits = _working_limits(machine, reading_id)
    if limits is not None:
        # On the limit by the plate is not beyond it by a thermometer.
        low, high = limits[0] - AIR_THERMOMETER_K, limits[1] + AIR_THERMOMETER_K
        basis = Basis(BasisKind.MACHINE_FILE, machine.name)
        return Band(low, high, 0.5 * (low + high), basis)
    if reading_id not in READING_IDS:
        raise PhysicsError(f'No band is known for "{reading_id}": it is not a figure to judge.')
    from_chart = _chart_band(machine, conditions, reading_id, minute_s)
    if from_chart is None and reading_id == "ice_production":
        from_chart = _chart_production(machine, conditions)
    if from_chart is not None:
        return from_chart
    return _model_band(machine, conditions, reading_id, minute_s)


def _working_limits(machine: Machine, reading_id: str) -> tuple[float, float] | None:
    match reading_id:
        case "ambient_air_temperature":
            return machine.least_air_temperature_k, machine.greatest_air_temperature_k
        case "condenser_air_temperature":
            return (
                machine.least_condenser_air_temperature_k,
                machine.greatest_condenser_air_temperature_k,
            )
        case "water_inlet_temperature":
            return machine.least_water_temperature_k, machine.greatest_water_temperature_k
        case _:
            return None


def _model_band(
    machine: Machine, conditions: Conditions, reading_id: str, minute_s: float | None
) -> Band:
    spread = study_of(machine, conditions).spread(reading_id, minute_s)
    low, high = max(0.0, spread.centre - spread.down), spread.centre + spread.up
    if machine.is_generic and reading_id in _GENERIC_SPANS:
        least, most = _GENERIC_SPANS[reading_id]
        low, high = min(low, least * spread.centre), max(high, most * spread.centre)
    basis = Basis(
        kind=BasisKind.ADAPTED if machine.is_generic else BasisKind.MODEL,
        machine_name=machine.name,
        conditions=conditions,
        minute_s=DEFAULT_MOMENT_S.get(reading_id) if minute_s is None else minute_s,
        refrigerant=machine.refrigerant,
        condenser_kind=machine.condenser.kind,
        is_beyond_chart=any(reading_id in row.ranges for row in machine.chart),
        is_beyond_limits=_is_beyond_limits(machine, conditions),
        beside=told_beside(machine, reading_id),
    )
    return Band(low, high, spread.centre, basis)


def _is_beyond_limits(machine: Machine, conditions: Conditions) -> bool:
    slack_k = 0.6
    spans = [
        (
            machine.least_air_temperature_k,
            conditions.ambient_air_temperature_k,
            machine.greatest_air_temperature_k,
        ),
        (
            machine.least_water_temperature_k,
            conditions.water_inlet_temperature_k,
            machine.greatest_water_temperature_k,
        ),
    ]
    if machine.condenser.kind is CondenserKind.REMOTE_AIR:
        spans.append(
            (
                machine.least_condenser_air_temperature_k,
                conditions.condenser_air_temperature_k,
                machine.greatest_condenser_air_temperature_k,
            )
        )
    return any(not low - slack_k <= value <= high + slack_k for low, value, high in spans)


# The machine's own chart


def _chart_band(
    machine: Machine, conditions: Conditions, reading_id: str, minute_s: float | None
) -> Band | None:
    """Return the chart's range at these conditions, or None where the chart does not reach."""
    if minute_s is not None and not _is_chart_moment(machine, conditions, reading_id, minute_s):
        return None
    rows = [row for row in machine.chart if reading_id in row.ranges]
    found = _between_rows(rows, conditions, reading_id)
    if found is None:
        return None
    offset = conditions.barometric_pressure_pa if reading_id in _GAUGE_PRESSURES else 0.0
    low, high = (value + offset for value in found)
    centre = 0.5 * (low + high)
    limit = INSTRUMENT_LIMITS[reading_id](centre) if reading_id in INSTRUMENT_LIMITS else 0.0
    basis = Basis(BasisKind.CHART, machine.name, conditions, minute_s)
    return Band(max(0.0, low - limit), high + limit, centre, basis)


def _chart_production(machine: Machine, conditions: Conditions) -> Band | None:
    """Return ice in a day [kg/s] from the chart's batch and times, None where one is missing.

    The middle is the chart's. How far around it others lie is the model's, which knows that a
    thicker batch takes longer; three ranges of a chart do not tell.
    """
    bands = [_chart_band(machine, conditions, part, None) for part in PRODUCTION_PARTS]
    found = [band for band in bands if band is not None]
    spread = study_of(machine, conditions).spread("ice_production", None)
    if len(found) < len(PRODUCTION_PARTS) or spread.centre == 0.0:
        return None
    batch, freeze, harvest = found
    centre = production_kg_per_day(batch.centre, freeze.centre, harvest.centre) / DAY_S
    low, high = (spread.centre - spread.down) / spread.centre, 1.0 + spread.up / spread.centre
    return Band(max(0.0, low) * centre, high * centre, centre, batch.basis)


def _is_chart_moment(
    machine: Machine, conditions: Conditions, reading_id: str, minute_s: float
) -> bool:
    """Whether the chart's figure holds at this moment: near its usual one, or as the freeze ends.

    A freeze that goes on longer than it should does not make its end another moment.
    """
    usual_s = DEFAULT_MOMENT_S.get(reading_id)
    if usual_s is not None:
        return abs(minute_s - usual_s) <= _CHART_MOMENT_S
    rows = [row for row in machine.chart if "freeze_time" in row.ranges]
    freeze_s = _between_rows(rows, conditions, "freeze_time")
    return freeze_s is not None and minute_s >= freeze_s[0] - _CHART_MOMENT_S


def _between_rows(
    rows: list[ChartRow], conditions: Conditions, reading_id: str
) -> tuple[float, float] | None:
    """Return a range straight between the four rows around the conditions; None outside them."""
    by_place = {
        (row.ambient_air_temperature_k, row.water_inlet_temperature_k): row.ranges[reading_id]
        for row in rows
    }
    air = _bracket({air for air, _ in by_place}, conditions.ambient_air_temperature_k)
    water = _bracket({water for _, water in by_place}, conditions.water_inlet_temperature_k)
    if air is None or water is None:
        return None
    low = high = 0.0
    for air_k, air_share in air:
        for water_k, water_share in water:
            share = air_share * water_share
            if share == 0.0:
                continue
            corner = by_place.get((air_k, water_k))
            if corner is None:
                return None
            low += share * corner[0]
            high += share * corner[1]
    return low, high


def _bracket(values: set[float], wanted: float) -> tuple[tuple[float, float], ...] | None:
    """Return the neighbors of `wanted` among `values` with their shares; None beyond the ends."""
    ordered = sorted(values)
    if not ordered or not ordered[0] - _CHART_REACH_K <= wanted <= ordered[-1] + _CHART_REACH_K:
        return None
    wanted = min(max(wanted, ordered[0]), ordered[-1])
    for below, above in pairwise(ordered):
        if below <= wanted <= above:
            share = (wanted - below) / (above - below)
            return (below, 1.0 - share), (above, share)
    return ((ordered[0], 1.0),)


# The confirming test


def manifold_window(machine: Machine, conditions: Conditions) -> Band:
    """Return the low-side window [Pa absolute] of the confirming test.

    Receiver vapor is metered into the low side during harvest: saturation, on the mean of its
    glide, must be warm enough to melt ice and stay below a safe top. Raises UnknownRefrigerant.
    """
    circuit = Circuit(machine, conditions, HEALTHY)
    low = circuit.condensing_pressure_pa(LEAST_MELTING_K)
    high = circuit.condensing_pressure_pa(GREATEST_SAFE_LOW_SIDE_K)
    basis = Basis(
        BasisKind.STANDARD,
        machine.name,
        refrigerant=machine.refrigerant,
        words=f"saturation of {machine.refrigerant} warm enough to melt ice, and not above a safe "
        "top",
    )
    return Band(low, high, 0.5 * (low + high), basis)
