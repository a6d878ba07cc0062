"""How often each cause is behind a complaint: as its tree says, corrected by what repairs found."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from types import MappingProxyType

from triage.tree.content import Content
from triage.tree.errors import UnknownTree


def content_for(content: Content, tree_id: str) -> Content:
    """Return the content as one complaint sees it: its tree, and its causes with their priors.

    Everything else stays, the version too. Raises UnknownTree for a tree that is not there.
    """
    if tree_id not in content.trees:
        raise UnknownTree(tree_id, content.trees)
    priors = corrected_priors(content, tree_id, content.outcomes.get(tree_id, {}))
    return replace(
        content,
        trees=MappingProxyType({tree_id: content.trees[tree_id]}),
        causes=MappingProxyType(
            {
                key: replace(content.causes[key], prior=prior)
                for key, prior in priors.items()
                if key in content.causes
            }
        ),
    )


def corrected_priors(
    content: Content, tree_id: str, confirmed: Mapping[str, int]
) -> dict[str, float]:
    """Return the probability of each cause of a tree given how often each was confirmed.

    The mean of a Dirichlet distribution whose counts are the tree's shares, worth
    `priors_are_worth_calls`, plus the confirmed ones. Causes the tree does not know are left out.
    With nothing to count the written shares stand.
    """
    shares = content.trees[tree_id].causes
    worth = content.stakes.priors_are_worth_calls
    whole = sum(shares.values())
    counts = {
        cause: worth * share / whole + confirmed.get(cause, 0) for cause, share in shares.items()
    }
    total = sum(counts.values())
    if total == 0.0:
        return {cause: share / whole for cause, share in shares.items()}
    return {cause: count / total for cause, count in counts.items()}
