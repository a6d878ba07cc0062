"""What callers usually answer follows the priors of the tree and how each cause shows."""

from __future__ import annotations

import pytest

from tests.conversation import shipped_engine
from tests.tree.miniature import sound_draft
from triage.dialogue.beliefs import beliefs_of
from triage.review.usual_answers import (
    ANY_CALLER,
    LICENSED_CALLER,
    OTHER_CALLER,
    UNKNOWN_SHARE,
    callers_of,
    usual_answers,
)
from triage.tree.content import UNKNOWN
from triage.tree.priors import content_for

MINIATURE = sound_draft().content()
SHIPPED = shipped_engine().content


@pytest.mark.parametrize("who", [LICENSED_CALLER, OTHER_CALLER, ANY_CALLER])
@pytest.mark.parametrize("tree", sorted(SHIPPED.trees))
def test_chances_of_each_reading_sum_to_one_in_every_mode(tree: str, who: str) -> None:
    usual = usual_answers(SHIPPED, tree, who)
    assert sum(usual.shares) == pytest.approx(1.0)
    for reading in SHIPPED.readings.values():
        columns = usual.chances[reading.id]
        assert set(columns) == set(reading.outcomes)
        assert [sum(mode) for mode in zip(*columns.values(), strict=True)] == pytest.approx(
            [1.0] * len(usual.shares)
        )


def test_causes_are_as_likely_as_the_tree_says() -> None:
    usual = usual_answers(MINIATURE, "sticks", LICENSED_CALLER)
    shares = dict.fromkeys(usual.causes, 0.0)
    for cause, share in zip(usual.causes, usual.shares, strict=True):
        shares[cause] += share
    written = MINIATURE.trees["sticks"].causes
    whole = sum(written.values())
    assert shares == pytest.approx({cause: share / whole for cause, share in written.items()})


def test_a_reading_shows_as_the_ranking_believes_but_for_the_share_that_is_not_had() -> None:
    tree = "will_not_release"
    usual = usual_answers(SHIPPED, tree, LICENSED_CALLER)
    beliefs = beliefs_of(content_for(SHIPPED, tree))
    cause = beliefs.causes[0]
    reading = next(name for name in beliefs.columns if SHIPPED.readings[name].is_banded)
    modes = [number for number, owner in enumerate(usual.causes) if owner == cause]
    whole = sum(usual.shares[mode] for mode in modes)
    for outcome in ("below", "within", "above"):
        shown = sum(usual.shares[mode] * usual.chances[reading][outcome][mode] for mode in modes)
        assert shown / whole == pytest.approx(
            (1.0 - UNKNOWN_SHARE) * beliefs.chance(cause, reading, outcome), rel=1e-6
        )
    assert set(usual.chances[reading][UNKNOWN]) == {UNKNOWN_SHARE}


def test_a_licensed_caller_says_so_and_nobody_else_does() -> None:
    for who, is_licensed in ((LICENSED_CALLER, 1.0), (OTHER_CALLER, 0.0)):
        chances = usual_answers(MINIATURE, "sticks", who).chances["caller_qualification"]
        assert set(chances["licensed"]) == {is_licensed}
        assert set(chances["unlicensed"]) == {1.0 - is_licensed}


def test_the_complaint_is_that_of_the_tree() -> None:
    for tree in SHIPPED.trees:
        chances = usual_answers(SHIPPED, tree, LICENSED_CALLER).chances["complaint"]
        assert {name for name, column in chances.items() if any(column)} == {tree}


def test_what_says_nothing_of_a_cause_is_any_outcome_alike() -> None:
    chances = usual_answers(MINIATURE, "sticks", LICENSED_CALLER).chances["machine"]
    assert set(chances["known"]) == {1.0 - UNKNOWN_SHARE}


def test_callers_are_told_apart_where_a_tree_asks_who_they_are() -> None:
    assert callers_of(MINIATURE.trees["sticks"]) == (LICENSED_CALLER, OTHER_CALLER)
    draft = sound_draft()
    draft.start = "room"
    del draft.questions["who"]
    assert callers_of(draft.content().trees["sticks"]) == (ANY_CALLER,)
