"""`triage expect`: what a healthy machine should show at stated conditions."""

from __future__ import annotations

import argparse
import json
import sys
from collections.abc import Iterator

from rich.table import Table
from rich.text import Text

from triage.console.asked import UsageError, altitude_m, machine_named, quantity_si
from triage.console.call import content_of
from triage.console.screen import screen_of
from triage.dialogue.words import plain_text
from triage.physics.bands import (
    Band,
    adapt,
    basis_words,
    expected_band,
    manifold_window,
    typical_machine,
)
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

_USUAL_AIR, _USUAL_WATER = "70 F", "60 F"


def print_expected(options: argparse.Namespace) -> int:
    """Print the band table, or the machines on file; raises UsageError, PhysicsError."""
    content = content_of(options)
    system = UnitSystem(options.units or "us")
    if options.machine is None and options.refrigerant is None:
        return _list_machines(options, content)
    barometer_pa = barometric_pressure_pa(altitude_m(options.altitude))
    machine = _machine(options, content)
    conditions = _conditions(options, system, barometer_pa)
    bands = list(expected_bands(content, machine, conditions))
    if options.json:
        _print_json(machine, bands, system, barometer_pa)
        return 0
    console = screen_of(options)
    console.print(Text(plain_text(f"{machine.name}, {machine.refrigerant}")))
    table = Table(box=None, pad_edge=False, header_style="triage.heading")
    for heading in ("reading", "from", "to", "minute"):
        table.add_column(heading, justify="left" if heading == "reading" else "right")
    for _, name, kind, minute, band in bands:
        low, high = (
            format_quantity(value, dimension_of(kind.value), system, barometer_pa)
            for value in (band.low, band.high)
        )
        table.add_row(name, low, high, "" if minute is None else f"{minute:g}")
    console.print(table)
    for words in dict.fromkeys(basis_words(band.basis, system) for *_, band in bands):
        console.print(Text(f"Basis: {words}"))
    console.print("The data plate and the machine's own chart win over these figures.")
    return 0


def expected_bands(
    content: Content, machine: Machine, conditions: Conditions
) -> Iterator[tuple[str, str, ReadingKind, float | None, Band]]:
    """Yield id, name, kind, minute and band of every reading a band exists for."""
    for reading in content.readings.values():
        band = _band(machine, conditions, reading)
        if band is not None:
            yield reading.id, reading.name, reading.kind, reading.default_minute, band
    yield (
        MANIFOLD_WINDOW,
        "low side in the confirming test",
        ReadingKind.GAUGE_PRESSURE,
        None,
        manifold_window(machine, conditions),
    )


def _band(machine: Machine, conditions: Conditions, reading: Reading) -> Band | None:
    if not reading.is_banded:
        return None
    minute = reading.default_minute
    try:
        return expected_band(
            machine, conditions, reading.id, None if minute is None else minute * 60.0
        )
    except PhysicsError:
        return None


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
    system: UnitSystem,
    barometer_pa: float,
) -> None:
    def plain(kind: ReadingKind, value: float) -> float:
        dimension = dimension_of(kind.value)
        unit = unit_of(default_unit_of(dimension, system), dimension)
        return round(unit.from_si(value, barometer_pa), 3)

    json.dump(
        {
            "machine": machine.id,
            "refrigerant": machine.refrigerant,
            "bands": {
                key: {
                    "low": plain(kind, band.low),
                    "high": plain(kind, band.high),
                    "centre": plain(kind, band.centre),
                    "unit": default_unit_of(dimension_of(kind.value), system),
                    "minute": minute,
                    "basis": basis_words(band.basis, system),
                }
                for key, _, kind, minute, band in bands
            },
        },
        sys.stdout,
        indent=2,
        ensure_ascii=False,
    )
    sys.stdout.write("\n")
