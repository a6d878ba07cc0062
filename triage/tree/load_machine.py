"""One machine from its file, filled by the type hints of `triage.physics.machine.Machine`.

Keys of the file are the fields of the dataclasses, so a field added there is read here without
further work. Numbers are plain and in the unit the key ends with; a chart is written with units,
as it is printed: rows of air and water temperature with the ranges read there.
"""

from __future__ import annotations

import dataclasses
import types
from collections.abc import Mapping
from enum import StrEnum
from types import MappingProxyType
from typing import Any, Union, get_args, get_origin, get_type_hints

from triage.physics.errors import UnknownRefrigerant
from triage.physics.machine import ChartRow, Machine
from triage.physics.refrigerant import find_refrigerant
from triage.tree.amounts import DIMENSIONAL_KINDS, amount_in_si, span_in_si
from triage.tree.content import ReadingKind
from triage.tree.errors import quoted
from triage.tree.load_readings import Readings
from triage.tree.marked_yaml import Items, Scalar, Table
from triage.tree.sections import Section

ID_KEY = "id"
"""Key of a machine file that names the machine."""

GREATEST_NUMBER = 1e9
"""Greatest number of a machine file; far past any figure of one (judged)."""

SHARES = ("_fraction", "_efficiency", "_kept", "_share", "_effectiveness")
"""Endings of keys whose value is a plain fraction of one."""


def read_machine(file: Section, readings: Readings) -> Machine | None:
    """Return the machine a file holds, or None if a mistake keeps it from being built.

    readings: the readings a chart may give ranges for; None when their file could not be read.
    """
    count = len(file.mistakes.found)
    name = file.scalar(ID_KEY)
    if name is not None:
        file.is_id(name, "machine")
    values = _fields(file, Machine, readings, {"id": name.text if name else ""})
    if len(file.mistakes.found) > count:
        return None
    machine = Machine(**values)
    _check_spans(file, machine)
    _check_refrigerant(file, machine)
    return machine


def _fields(
    section: Section,
    cls: type,
    readings: Readings,
    given: Mapping[str, Any] = MappingProxyType({}),
) -> dict[str, Any]:
    """Return the values of the fields of `cls` that are not `given`, with those that are."""
    hints = get_type_hints(cls)
    values = dict(given)
    for field in dataclasses.fields(cls):
        if field.name in given:
            continue
        is_required = (
            field.default is dataclasses.MISSING and field.default_factory is dataclasses.MISSING
        )
        if not section.has(field.name) and not is_required:
            continue
        values[field.name] = _value(section, field.name, hints[field.name], readings)
    return values


def _value(section: Section, key: str, hint: Any, readings: Readings) -> Any:
    """Return the value under `key` as the type `hint` wants it; None after a mistake."""
    if get_origin(hint) in (Union, types.UnionType):
        hint = next(part for part in get_args(hint) if part is not type(None))
    if hint is bool:
        return section.flag(key, is_required=True)
    if hint is float:
        return section.number(key, 0.0, 1.0 if key.endswith(SHARES) else GREATEST_NUMBER)
    if hint is int:
        number = section.number(key, 0.0, GREATEST_NUMBER)
        return None if number is None else int(number)
    if hint is str:
        return section.text(key)
    if isinstance(hint, type) and issubclass(hint, StrEnum):
        return section.member(key, hint)
    if dataclasses.is_dataclass(hint) and isinstance(hint, type):
        return _part(section, key, hint, readings)
    if hint == tuple[str, ...]:
        return section.texts(key, at_least=1)
    if hint == tuple[ChartRow, ...]:
        return _chart(section, key, readings)
    if get_origin(hint) is tuple and set(get_args(hint)) <= {float, Ellipsis}:
        return _numbers(section, key)
    raise TypeError(f"a content file cannot fill {key} of type {hint}")


def _part(section: Section, key: str, cls: type, readings: Readings) -> Any:
    table = section.table_under(key)
    if table is None:
        return None
    part = Section(table, f"{section.what} {key}", section.mistakes)
    part.place = section.table.entries[key].key.place
    count = len(section.mistakes.found)
    values = _fields(part, cls, readings)
    part.finish()
    return cls(**values) if len(section.mistakes.found) == count else None


def _numbers(section: Section, key: str) -> tuple[float, ...]:
    numbers = (
        section.number_in(word, key, 0.0, GREATEST_NUMBER)
        for word in section.words(key, at_least=1)
    )
    return tuple(number for number in numbers if number is not None)


def _chart(section: Section, key: str, readings: Readings) -> tuple[ChartRow, ...]:
    table = section.table_under(key)
    if table is None:
        return ()
    chart = Section(table, f"{section.what} {key}", section.mistakes)
    node = chart.node("rows")
    chart.finish()
    if node is None:
        return ()
    if not isinstance(node, Items) or not node.items:
        chart.complain(node.place, "wants a list of rows, each with air, water and ranges")
        return ()
    rows: list[ChartRow] = []
    for number, item in enumerate(node.items, start=1):
        if not isinstance(item, Table):
            chart.complain(item.place, f"has a row {number} without air, water and ranges")
            continue
        row = Section(item, f"{chart.what} row {number}", section.mistakes)
        rows.append(_chart_row(row, readings))
        row.finish()
    return tuple(rows)


def _chart_row(row: Section, readings: Readings) -> ChartRow:
    temperatures = []
    for key in ("air", "water"):
        word = row.scalar(key)
        kelvin = amount_in_si(row, key, word, ReadingKind.TEMPERATURE) if word else None
        temperatures.append(kelvin or 0.0)
    ranges: dict[str, tuple[float, float]] = {}
    for word, node in row.entries("ranges"):
        if not row.known(word, None if readings is None else frozenset(readings), "reading"):
            continue
        if not isinstance(node, Items):
            row.complain(
                node.place, f'wants two amounts for {word.text}, such as ["120 psi", "130 psi"]'
            )
            continue
        words = row.words_in(node, word.text)
        reading = readings.get(word.text) if readings is not None else None
        if reading is None:
            continue
        if reading.kind not in DIMENSIONAL_KINDS:
            row.complain(word.place, f"gives a range for {word.text}, which is a {reading.kind}")
            continue
        span = span_in_si(row, word.text, words, reading.kind)
        if span is not None:
            ranges[word.text] = span
    return ChartRow(temperatures[0], temperatures[1], MappingProxyType(ranges))


def _check_spans(file: Section, machine: Machine) -> None:
    for field in dataclasses.fields(machine):
        if not field.name.startswith("least_"):
            continue
        greatest = field.name.replace("least_", "greatest_", 1)
        least_value = getattr(machine, field.name)
        if hasattr(machine, greatest) and least_value >= getattr(machine, greatest):
            file.complain(
                file.place_of(field.name), f"has {field.name} not below {greatest}; swap them or "
                "mend one"
            )  # fmt: skip


def _check_refrigerant(file: Section, machine: Machine) -> None:
    try:
        found = find_refrigerant(machine.refrigerant)
    except UnknownRefrigerant as error:
        file.complain(file.place_of("refrigerant"), f"has no usable refrigerant: {error}")
        return
    if found.id != machine.refrigerant:
        file.complain(
            file.place_of("refrigerant"),
            f"writes {quoted(machine.refrigerant)}; write it as {quoted(found.id)}",
        )


def check_spoken(machines: Mapping[str, tuple[Section, Machine]]) -> None:
    """Keep a mistake for each name that two machines answer to.

    machines: id to the section the machine was read from, and the machine.
    """
    owners: dict[str, str] = {}
    for name, (section, machine) in machines.items():
        own = [(machine.id, section.place_of(ID_KEY)), (machine.name, section.place_of("name"))]
        entry = section.table.entries.get("spoken")
        if entry is not None and isinstance(entry.value, Items):
            own += [
                (word.text, word.place) for word in entry.value.items if isinstance(word, Scalar)
            ]
        for said, place in own:
            owner = owners.setdefault(said.strip().casefold(), name)
            if owner != name:
                section.complain(
                    place, f"answers to {quoted(said)}, as machine {quoted(owner)} does; a caller "
                    "saying it means one of them, so keep it in one"
                )  # fmt: skip
