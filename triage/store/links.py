"""Rows that follow one another: the register of sessions and the list of purges. Pure."""

from __future__ import annotations

from collections.abc import Mapping
from hashlib import sha256
from typing import Any

from triage.store.record import FIRST_PREVIOUS_HASH, canonical_json

FIRST_PREVIOUS_LINK = FIRST_PREVIOUS_HASH
"""What stands in the place of a link before the first row."""

MARK_SIGNS = 16
"""How much of a link a mark repeats."""


def linked(position: int, previous_link: str, row: Mapping[str, Any]) -> dict[str, Any]:
    """Return `row` as the one at `position`, with the link that covers it and the one before.

    The link is SHA-256 of the canonical JSON of everything else in the row.
    """
    values = {**row, "position": position, "previous_link": previous_link}
    return {**values, "link": link_of(values)}


def link_of(row: Mapping[str, Any]) -> str:
    """Return the link a row must carry."""
    values = {name: value for name, value in row.items() if name != "link"}
    return sha256(canonical_json(values).encode("ascii")).hexdigest()


def mark_of(position: int, link: str) -> str:
    """Return the mark of a register that ends at `position`, to be kept elsewhere.

    >>> mark_of(12, "ab" * 32)
    '12-abababababababab'
    """
    return f"{position}-{link[:MARK_SIGNS]}"
