"""`triage expect`: what a healthy machine should show at stated conditions."""

from __future__ import annotations

import argparse
import json
import sys
from collections.abc import Iterator
from functools import lru_cache
from typing import Any

from rich.table import Table
from rich.text import Text

from triage.console.asked import UsageError, altitude_m, machine_named, quantity_si
from triage.console.call import content_of
from triage.console.expect_rating import rating_data, rating_lines
from triage.console.figures import (
    CONDENSER_WORDS,
    TELLS_NOTHING_IF_GENERIC,
    at_any_minute,
    basis_of,
)
from triage.console.screen import screen_of
from triage.dialogue.words import plain_text
from triage.physics.bands import (
    Band,
    adapt,
    expected_band,
    manifold_window,
    typical_machine,
)
from triage.physics.electrical import supply_band
from triage.physics.errors import PhysicsError
from triage.physics.machine import CondenserKind, Machine
from triage.physics.pressure import barometric_pressure_pa
from triage.physics.quantity import (
    Dimension,
    UnitSystem,
    default_unit_of,
    dimension_of,
    format_quantity,
)
from triage.physics.refrigerant import find_refrigerant
from triage.physics.units import unit_of
from triage.physics.virtual_machine import Conditions
from triage.tree.content import Content, Reading, ReadingKind

MANIFOLD_WINDOW = "manifold_window"
"""Key of the low-side window of the confirming test among the bands."""

_SUPPLY = "supply_voltage"

_OF_THE_PLATE = frozenset(
    {
        "coil_voltage",
        "coil_resistance",
        "inlet_coil_voltage",
        "inlet_coil_resistance",
        "fill_volume",
        _SUPPLY,
    }
)
"""Each coil and each data plate says itself what it is made for; there is no typical one."""

LIMIT_SLACK_K = 0.6
"""Limits are stated in whole degrees; one is not passed by the rounding of another unit."""

_USUAL_AIR, _USUAL_WATER = "70 F", "60 F"


def print_expected(options: argparse.Namespace) -> int:
    """Print the band table, or the machines on file; raises UsageError, PhysicsError."""
    content = content_of(options)
    system = UnitSystem(options.units or "us")
    if options.machine is None and options.refrigerant is None:
        given = (options.air, options.water, options.condenser, options.condenser_air)
        if any(item is not None for item in given):
            raise UsageError("name a machine, or --refrigerant for a typical one")
        return _list_machines(options, content)
    barometer_pa = barometric_pressure_pa(altitude_m(options.altitude))
    machine = _machine(options, content)
    conditions = _conditions(options, system, barometer_pa)
    bands = list(expected_bands(content, machine, conditions))
    missing = not_computed(content, machine, conditions)
    is_on_file = options.machine is not None
    if options.json:
        without_feed = is_on_file and not machine.has_receiver_vapor_feed
        bands = [item for item in bands if item[0] != MANIFOLD_WINDOW or not without_feed]
        rating = None if machine.is_generic else rating_data(machine, conditions, system)
        _print_json(machine, bands, missing, rating, system, barometer_pa)
        return 0
    console = screen_of(options)
    console.print(Text(plain_text(_heading(machine, is_on_file=is_on_file))))
    for words in _beyond_limits(machine, conditions, system):
        console.print(Text(words, style="triage.outside"))
    table = Table(box=None, pad_edge=False, header_style="triage.heading")
    for heading in ("reading", "from", "to", "minute", "basis"):
        table.add_column(heading, justify="left" if heading == "reading" else "right")
    left_out = _left_out(machine, is_on_file=is_on_file)
    bands = [item for item in bands if item[0] not in left_out]
    bases: dict[str, int] = {}
    for key, name, kind, minute, band in bands:
        words = basis_of(at_any_minute(band), key, system, is_on_file=is_on_file)
        number = bases.setdefault(words, len(bases) + 1)
        low, high = (
            format_quantity(value, dimension_of(kind.value), system, barometer_pa)
            for value in (band.low, band.high)
        )
        table.add_row(name, low, high, "" if minute is None else f"{minute:g}", str(number))
    console.print(table)
    for words, number in bases.items():
        console.print(Text(f"Basis {number}: {words}"))
    if is_on_file and _SUPPLY not in {key for key, *_ in bands}:
        console.print(Text(_supply(machine)))
    if not machine.is_generic:
        for line in rating_lines(machine, conditions, system):
            console.print(Text(line))
    missing = {key: reason for key, reason in missing.items() if key not in left_out}
    for reason in dict.fromkeys(missing.values()):
        names = ", ".join(content.readings[key].name for key in missing if missing[key] == reason)
        console.print(Text(plain_text(f"Not computed: {names}. {reason}")))
    console.print("The data plate and the machine's own chart win over these figures.")
    return 0


def _supply(machine: Machine) -> str:
    nominal_v = machine.electrical.supply_voltage_v
    band = supply_band(nominal_v)
    return (
        f"Supply, nominal {nominal_v:g} V: {band.low_v:.0f} to {band.high_v:.0f} V at the machine "
        f"({band.basis})"
    )


def _heading(machine: Machine, *, is_on_file: bool) -> str:
    if is_on_file:
        return f"{machine.name}, {machine.refrigerant}"
    kind = CONDENSER_WORDS[machine.condenser.kind]
    return f"A typical {kind} {machine.refrigerant} machine (none on file named)"


def _beyond_limits(machine: Machine, conditions: Conditions, system: UnitSystem) -> Iterator[str]:
    """Yield what to know before the figures where conditions lie outside the machine's limits."""
    spans = [
        ("air at the machine", conditions.ambient_air_temperature_k,
         machine.least_air_temperature_k, machine.greatest_air_temperature_k),
        ("water at the inlet", conditions.water_inlet_temperature_k,
         machine.least_water_temperature_k, machine.greatest_water_temperature_k),
    ]  # fmt: skip
    if machine.condenser.kind is CondenserKind.REMOTE_AIR:
        spans.append(
            ("air at the condenser", conditions.condenser_air_temperature_k,
             machine.least_condenser_air_temperature_k,
             machine.greatest_condenser_air_temperature_k)
        )  # fmt: skip
    for name, value_k, least_k, greatest_k in spans:
        if not least_k - LIMIT_SLACK_K <= value_k <= greatest_k + LIMIT_SLACK_K:
            value, least, greatest = (
                format_quantity(item, Dimension.TEMPERATURE, system)
                for item in (value_k, least_k, greatest_k)
            )
            yield (
                f"OUTSIDE THE STATED LIMITS: {name} {value}, the machine is made for "
                f"{least.partition(' ')[0]} to {greatest}. Take these figures with care."
            )


def _left_out(machine: Machine, *, is_on_file: bool) -> frozenset[str]:
    """Return the readings whose band would tell nothing, or of a part that is not fitted."""
    left_out = TELLS_NOTHING_IF_GENERIC if machine.is_generic else frozenset()
    if not is_on_file:
        return left_out | _OF_THE_PLATE
    has_feed = machine.harvest.feed_flow_area_m2 > 0.0
    return left_out if has_feed else left_out | {MANIFOLD_WINDOW}


def expected_bands(
    content: Content, machine: Machine, conditions: Conditions
) -> Iterator[tuple[str, str, ReadingKind, float | None, Band]]:
    """Yield id, name, kind, minute and band of every reading a band exists for."""
    for reading in content.readings.values():
        band = _band(machine, conditions, reading) if reading.is_banded else None
        if isinstance(band, Band):
            yield reading.id, reading.name, reading.kind, reading.default_minute, band
    yield (
        MANIFOLD_WINDOW,
        "low side in the confirming test",
        ReadingKind.GAUGE_PRESSURE,
        None,
        manifold_window(machine, conditions),
    )


def not_computed(content: Content, machine: Machine, conditions: Conditions) -> dict[str, str]:
    """Return why there is no band, by id, for the readings that should have one."""
    bands = {
        reading.id: _band(machine, conditions, reading)
        for reading in content.readings.values()
        if reading.is_banded
    }
    return {key: reason for key, reason in bands.items() if isinstance(reason, str)}


@lru_cache(maxsize=256)
def _band(machine: Machine, conditions: Conditions, reading: Reading) -> Band | str:
    """Return the band of a reading, or why there is none at these conditions."""
    minute = reading.default_minute
    try:
        return expected_band(
            machine, conditions, reading.id, None if minute is None else minute * 60.0
        )
    except PhysicsError as error:
        return str(error)


def _machine(options: argparse.Namespace, content: Content) -> Machine:
    refrigerant = find_refrigerant(options.refrigerant).id if options.refrigerant else None
    if options.machine is None:
        kind = CondenserKind(options.condenser or CondenserKind.AIR.value)
        return typical_machine(content.machines.values(), str(refrigerant), kind)
    if options.condenser:
        raise UsageError("--condenser belongs to a typical machine; this one is on file")
    machine = machine_named(content.machines, options.machine)
    if refrigerant is None or refrigerant == machine.refrigerant:
        return machine
    return adapt(machine, refrigerant)


def _conditions(options: argparse.Namespace, system: UnitSystem, barometer_pa: float) -> Conditions:
    def temperature(text: str) -> float:
        return quantity_si(text, Dimension.TEMPERATURE, system, barometer_pa)

    air_k = temperature(options.air or _USUAL_AIR)
    return Conditions(
        ambient_air_temperature_k=air_k,
        condenser_air_temperature_k=(
            temperature(options.condenser_air) if options.condenser_air else air_k
        ),
        water_inlet_temperature_k=temperature(options.water or _USUAL_WATER),
        barometric_pressure_pa=barometer_pa,
    )


def _list_machines(options: argparse.Namespace, content: Content) -> int:
    if options.json:
        machines = {
            machine.id: {
                "name": machine.name,
                "refrigerant": machine.refrigerant,
                "condenser": machine.condenser.kind.value,
            }
            for machine in content.machines.values()
        }
        sys.stdout.write(json.dumps({"machines": machines}, indent=2, ensure_ascii=False) + "\n")
        return 0
    console = screen_of(options)
    table = Table(box=None, pad_edge=False, header_style="triage.heading")
    for heading in ("machine", "name", "refrigerant", "condenser"):
        table.add_column(heading, overflow="fold")
    for machine in content.machines.values():
        table.add_row(
            *(
                Text(plain_text(cell))
                for cell in (
                    machine.id,
                    machine.name,
                    machine.refrigerant,
                    machine.condenser.kind.value,
                )
            )
        )
    console.print(table)
    return 0


def _print_json(
    machine: Machine,
    bands: list[tuple[str, str, ReadingKind, float | None, Band]],
    missing: dict[str, str],
    rating: dict[str, Any] | None,
    system: UnitSystem,
    barometer_pa: float,
) -> None:
    def plain(kind: ReadingKind, value: float) -> float:
        dimension = dimension_of(kind.value)
        unit = unit_of(default_unit_of(dimension, system), dimension)
        return round(unit.from_si(value, barometer_pa), 3)

    json.dump(
        {
            "machine": None if machine.is_generic else machine.id,
            "refrigerant": machine.refrigerant,
            "bands": {
                key: {
                    "low": plain(kind, band.low),
                    "high": plain(kind, band.high),
                    "centre": plain(kind, band.centre),
                    "unit": default_unit_of(dimension_of(kind.value), system),
                    "minute": minute,
                    "basis": basis_of(band, key, system, is_on_file=not machine.is_generic),
                }
                for key, _, kind, minute, band in bands
            },
            "not_computed": missing,
            "rating": rating,
        },
        sys.stdout,
        indent=2,
        ensure_ascii=False,
    )
    sys.stdout.write("\n")
