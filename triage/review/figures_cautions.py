"""Which cautions are refused, and at which desks: counts of the record. Pure."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from triage.review.measures import Share
from triage.store.tallies import CautionCount

NAMELESS = "(no name, or purged)"


@dataclass(frozen=True, slots=True)
class CautionFigures:
    """How often one caution was refused, of the times it was put: in all, and at each desk."""

    node: str
    refused: Share
    desks: Mapping[str, Share]


def cautions_of(counts: Iterable[CautionCount]) -> tuple[CautionFigures, ...]:
    """Return the figures of every caution, the one refused most often first."""
    names: dict[str, str] = {}
    desks: dict[str, dict[str, Share]] = {}
    for item in counts:
        name = names.setdefault(item.desk.casefold(), item.desk or NAMELESS)
        _add(desks.setdefault(item.node, {}), name, item)
    found = (CautionFigures(node, _sum(by), _ordered(by)) for node, by in desks.items())
    return tuple(sorted(found, key=lambda one: (-one.refused.count, -one.refused.of, one.node)))


def cautions_by_desk(counts: Iterable[CautionCount]) -> dict[str, Share]:
    """Return by desk how often any caution was refused; names that differ in case are one."""
    names: dict[str, str] = {}
    desks: dict[str, Share] = {}
    for item in counts:
        _add(desks, names.setdefault(item.desk.casefold(), item.desk or NAMELESS), item)
    return _ordered(desks)


def _add(shares: dict[str, Share], name: str, item: CautionCount) -> None:
    shares[name] = shares.get(name, Share()) + Share(item.refused, item.asked)


def _sum(shares: Mapping[str, Share]) -> Share:
    return sum(shares.values(), Share())


def _ordered(shares: Mapping[str, Share]) -> dict[str, Share]:
    return dict(sorted(shares.items(), key=lambda one: (-one[1].count, -one[1].of, one[0])))
