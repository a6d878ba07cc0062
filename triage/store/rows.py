"""Stored events as rows of the table and back, read with suspicion. No database is needed here."""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import fields
from typing import Any

from triage.store.errors import shown
from triage.store.record import StoredEvent, canonical_json

COLUMNS = tuple(item.name for item in fields(StoredEvent))
_WHOLE_NUMBERS = {"sequence", "event_format"}


class RowFault(Exception):
    """A row holds what was never written there; the message says which, in words."""


def to_row(stored: StoredEvent) -> dict[str, Any]:
    """Return the row that keeps `stored`."""
    return {name: getattr(stored, name) for name in COLUMNS} | {"data": canonical_json(stored.data)}


def from_row(row: Mapping[Any, Any]) -> StoredEvent:
    """Return the event a row keeps; raises RowFault if it is not as it was written."""
    values = {name: row[name] for name in COLUMNS}
    where = f"event {shown(values['sequence'])}"
    for name, value in values.items():
        # SQLite takes any type in any column, so a hand in the file can leave anything.
        if type(value) is not (int if name in _WHOLE_NUMBERS else str):
            raise RowFault(f"{where} was changed after it was written ({name})")
    try:
        data = json.loads(values["data"])
        is_as_written = isinstance(data, dict) and canonical_json(data) == values["data"]
    except (ValueError, RecursionError):
        is_as_written = False
    if not is_as_written:
        raise RowFault(f"{where} was changed after it was written (data)")
    return StoredEvent(**values | {"data": data})
