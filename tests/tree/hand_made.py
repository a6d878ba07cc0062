"""Likelihoods made by hand, for small contents whose sums can be done on paper."""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import Any

from triage.tree.content import Content
from triage.tree.likelihoods import fingerprint

GRADES = ("far_below", "just_below", "low", "middle", "high", "just_above", "far_above")

Shown = Mapping[str, Mapping[str, float]]
Modes = Sequence[tuple[float, Shown]]
"""Share of each mode of a cause, and by reading the chances named there; the rest share evenly."""


def likelihoods(
    content: Content, on_file: Mapping[str, Modes], typical: Mapping[str, Modes] | None = None
) -> dict[str, Any]:
    """Return the file of likelihoods as what its JSON says; causes not named show anything."""
    counted = {
        reading.id: list(GRADES) if reading.is_banded else [item.id for item in reading.choices]
        for reading in content.readings.values()
        if reading.is_banded or reading.choices
    }

    def table(named: Mapping[str, float], outcomes: Sequence[str]) -> list[float]:
        rest = [item for item in outcomes if item not in named]
        left = 1.0 - sum(named.values())
        return [named[item] if item in named else left / len(rest) for item in outcomes]

    def setting(named: Mapping[str, Modes]) -> dict[str, Any]:
        return {
            cause: [
                {
                    "share": share,
                    "chances": {
                        reading: table(shown.get(reading, {}), outcomes)
                        for reading, outcomes in counted.items()
                    },
                }
                for share, shown in named.get(cause, [(1.0, {})])
            ]
            for cause in content.causes
        }

    return {
        "format": 1,
        "grade_edges": [-2.5, -1.0, -0.4, 0.4, 1.0, 2.5],
        "provenance": {"fingerprint": fingerprint(content), "places": 1, "draws": 1, "seed": 1},
        "readings": counted,
        "settings": {"on_file": setting(on_file), "typical": setting(typical or on_file)},
        "probes": [],
    }


def with_likelihoods(
    content: Content, on_file: Mapping[str, Modes], typical: Mapping[str, Modes] | None = None
) -> Content:
    """Return the content ranked by these."""
    return replace(content, likelihoods=json.dumps(likelihoods(content, on_file, typical)))
