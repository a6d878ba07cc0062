"""The file of likelihoods as the formulas of the ranking read it, written again for the tests.

What goes in: the JSON of the file, priors and impossible signs, and the judged shares of mistakes.
Nothing here calls the ranking, so that it can be checked against this.
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache

from tests.dialogue.told import SHIPPED, VERDICTS
from triage.dialogue.beliefs import IMPOSSIBLE, MISREAD_SHARE, MISSEEN_SHARE
from triage.tree.content import Content

Table = Mapping[str, Mapping[str, float]]


@dataclass(frozen=True)
class Manner:
    """One way a cause shows: how likely it is under that cause, and the chances of each reading."""

    cause: str
    share: float
    chances: Table


def to_one(table: Mapping[str, float]) -> dict[str, float]:
    """Return chances scaled to sum to one: the file holds them rounded."""
    whole = sum(table.values())
    return {key: chance / whole for key, chance in table.items()}


@cache
def priors() -> Mapping[str, float]:
    """Return the written prior of each cause, as shares of their sum."""
    return to_one({cause.id: cause.prior for cause in SHIPPED.causes.values()})


@cache
def manners(setting: str) -> tuple[Manner, ...]:
    """Return every manner of every cause in a setting, causes in content order."""
    file = json.loads(SHIPPED.likelihoods)
    found = []
    for cause in SHIPPED.causes:
        modes = file["settings"][setting][cause]
        shares = to_one({str(number): mode["share"] for number, mode in enumerate(modes)})
        for share, mode in zip(shares.values(), modes, strict=True):
            chances = {
                reading: _possible(
                    SHIPPED, cause, reading, dict(zip(names, mode["chances"][reading], strict=True))
                )
                for reading, names in file["readings"].items()
            }
            found.append(Manner(cause, share, chances))
    return tuple(found)


def _possible(
    content: Content, cause: str, reading: str, rounded: Mapping[str, float]
) -> dict[str, float]:
    """Return the chances with the mistaken share spread evenly and the impossible ruled out.

    What is left over by the impossible goes to the rest in proportion.
    """
    mistaken = MISREAD_SHARE if content.readings[reading].is_banded else MISSEEN_SHARE
    mixed = {
        found: (1.0 - mistaken) * chance + mistaken / len(rounded)
        for found, chance in to_one(rounded).items()
    }
    signs = content.causes[cause].signs.get(reading, {})
    ruled_out = [found for found in mixed if signs.get(found) == 0.0]
    if not ruled_out:
        return mixed
    rest = to_one({found: chance for found, chance in mixed.items() if found not in ruled_out})
    left = 1.0 - IMPOSSIBLE * len(ruled_out)
    return {found: IMPOSSIBLE if found in ruled_out else left * rest[found] for found in mixed}


def readings_told() -> tuple[str, ...]:
    """Return the readings the file speaks of."""
    return tuple(json.loads(SHIPPED.likelihoods)["readings"])


def chance_of(table: Table, reading: str, found: str) -> float:
    """Return the chance of a grade, a choice, or of the grades a verdict stands for."""
    return sum(table[reading][one] for one in VERDICTS.get(found, (found,)))
