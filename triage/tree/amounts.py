"""Amounts with a unit in content files, as in `"120 psi"`, turned into SI."""

from __future__ import annotations

from collections.abc import Sequence

from triage.physics.pressure import STANDARD_ATMOSPHERE_PA
from triage.physics.quantity import QuantityError, parse_quantity
from triage.physics.units import HINTS, Dimension, unit_of
from triage.tree.content import ReadingKind
from triage.tree.errors import quoted
from triage.tree.marked_yaml import Scalar
from triage.tree.sections import Section

DIMENSIONAL_KINDS = frozenset(ReadingKind(dimension.value) for dimension in Dimension)
"""Kinds of reading that are a number with a unit."""


def span_in_si(
    section: Section, key: str, words: Sequence[Scalar], kind: ReadingKind
) -> tuple[float, float] | None:
    """Return least and greatest of a two-item list in SI, pressures in pascal gauge.

    A list of another length, an amount that cannot be read or an upside-down span leaves a mistake
    in the section and returns None. key: what the list stands under, for the message.
    """
    if len(words) != 2:
        place = words[0].place if words else section.place
        section.complain(
            place, f"wants two amounts under {quoted(key)}: the least and the greatest"
        )
        return None
    least, greatest = (amount_in_si(section, key, word, kind) for word in words)
    if least is None or greatest is None:
        return None
    if least >= greatest:
        section.complain(
            words[0].place,
            f"has {quoted(words[0].text)} up to {quoted(words[1].text)} under {quoted(key)}; put "
            "the smaller first",
        )
        return None
    return least, greatest


def amount_in_si(section: Section, key: str, word: Scalar, kind: ReadingKind) -> float | None:
    """Return one amount in SI (pressures in pascal gauge), or None after keeping a mistake."""
    dimension = Dimension(kind.value)
    try:
        quantity = parse_quantity(word.text, dimension, None)
        unit = unit_of(quantity.unit, dimension)
        value = quantity.si(STANDARD_ATMOSPHERE_PA)
    except QuantityError as error:
        section.complain(
            word.place,
            f"has {quoted(word.text)} under {quoted(key)}, which cannot be read ({error}); write a "
            f"number with its unit: {HINTS[dimension]}",
        )
        return None
    if dimension is not Dimension.GAUGE_PRESSURE:
        return value
    if not unit.is_gauge:
        section.complain(
            word.place,
            f"has {quoted(word.text)} under {quoted(key)}; write gauge pressure, as a gauge shows "
            "it: psig or bar",
        )
        return None
    return value - STANDARD_ATMOSPHERE_PA
