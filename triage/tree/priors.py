"""How often each cause is behind a call: the written priors, corrected by what repairs found.

`outcomes.json` of a content folder holds how often each cause was confirmed. It is written by
`triage tree priors --write` from the record and read as part of the content, if it is there.
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import replace
from types import MappingProxyType

from triage.tree.content import Content
from triage.tree.load_readings import Names
from triage.tree.marked_yaml import Scalar
from triage.tree.sections import Section

FORMAT = 1

MOST_CONFIRMED = 1_000_000_000
"""Greatest count of one cause that is believed (judged)."""


def corrected_priors(content: Content, confirmed: Mapping[str, int]) -> dict[str, float]:
    """Return the probability of each cause given how often each was confirmed.

    The mean of a Dirichlet distribution whose counts are the written priors, worth
    `priors_are_worth_calls`, plus the confirmed ones. Causes unknown here are left out. With
    nothing to count the written priors stand.
    """
    worth = content.stakes.priors_are_worth_calls
    whole = sum(cause.prior for cause in content.causes.values())
    counts = {
        cause.id: worth * cause.prior / whole + confirmed.get(cause.id, 0)
        for cause in content.causes.values()
    }
    total = sum(counts.values())
    if total == 0.0:
        return {cause.id: cause.prior / whole for cause in content.causes.values()}
    return {cause: count / total for cause, count in counts.items()}


def with_outcomes(content: Content, confirmed: Mapping[str, int]) -> Content:
    """Return `content` with its priors corrected by confirmed outcomes; without any, as it is."""
    if not confirmed:
        return content
    priors = corrected_priors(content, confirmed)
    causes = {key: replace(cause, prior=priors[key]) for key, cause in content.causes.items()}
    return replace(
        content, causes=MappingProxyType(causes), outcomes=MappingProxyType(dict(confirmed))
    )


def read_outcomes(section: Section, causes: Names) -> dict[str, int]:
    """Return how often each cause was confirmed [count], as the file says.

    causes: what may be named; None when their file could not be read.
    """
    counts: dict[str, int] = {}
    for key, node in section.entries("confirmed"):
        section.known(key, causes, "cause")
        if not isinstance(node, Scalar) or node.is_null:
            section.complain(node.place, f"wants one whole number under {key.text}, such as 3")
            continue
        count = section.number_in(node, key.text, 0, MOST_CONFIRMED)
        if count is not None and not count.is_integer():
            section.complain(node.place, f"counts whole repairs under {key.text}; write 3, say")
        elif count is not None:
            counts[key.text] = int(count)
    return counts


def outcomes_text(confirmed: Mapping[str, int]) -> str:
    """Return the text of the file for these counts, the same for the same counts."""
    data = {"format": FORMAT, "confirmed": dict(sorted(confirmed.items()))}
    return json.dumps(data, indent=1) + "\n"
