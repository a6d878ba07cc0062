"""What speaks for a cause and against it: what a finding weighs, and which findings are told."""

from __future__ import annotations

import math
from collections.abc import Sequence

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests.dialogue.likelihood_tables import readings_told
from tests.dialogue.told import BOTH, SHIPPED, WAYS, findings, told_readings
from tests.strategies import FIXED
from triage.dialogue import rank
from triage.dialogue.beliefs import group_of
from triage.dialogue.rank import evidence_about, rank_causes
from triage.dialogue.view import ODD, Finding
from triage.tree.content import Content

TOLD = tuple(
    key for key in readings_told() if any(key in cause.signs for cause in SHIPPED.causes.values())
)
"""Readings that speak in both ways."""

causes_together = st.lists(
    st.sampled_from(list(SHIPPED.causes)), unique=True, min_size=1, max_size=3
)


def log_odds(content: Content, causes: Sequence[str], found: Sequence[Finding]) -> float:
    ours = math.fsum(
        item.probability for item in rank_causes(content, found) if item.cause in causes
    )
    rest = math.fsum(
        item.probability for item in rank_causes(content, found) if item.cause not in causes
    )
    return math.log(ours / rest)


def weights_of(
    content: Content, causes: Sequence[str], found: Sequence[Finding], *, is_all: bool = False
) -> dict[str, float]:
    """Return the weight of each finding that is told, or of all that say anything."""
    with pytest.MonkeyPatch.context() as patch:
        if is_all:
            patch.setattr(rank, "AGAINST_THE_GROUP", -1.0)
            patch.setattr(rank, "TYPICAL", 2.0)
        sides = evidence_about(content, causes, found)
    return {item.finding.reading.id: item.weight for side in sides for item in side}


def stage_of(item: Finding) -> int:
    """Return the earliest stage in which the shipped tree asks for a reading, read by hand."""
    order = ["caller", "machine", "freeze", "harvest", "confirm"]
    return min(
        (
            order.index(question.stage.value)
            for tree in SHIPPED.trees.values()
            for question in tree.questions.values()
            if question.reading == item.reading.id
        ),
        default=0,
    )


def is_own_sign(cause: str, item: Finding) -> bool:
    """Return whether the content judges an outcome to come in four of ten calls of a cause."""
    signs = SHIPPED.causes[cause].signs.get(item.reading.id, {})
    return signs.get(item.outcome, 0.0) >= 0.4


def groups_of(found: Sequence[Finding]) -> list[tuple[list[Finding], list[Finding]]]:
    """Return what was found in earlier stages, and the findings of one stage that move together.

    The groups are those of the content's ranking; `test_rank` sees to it that they are disjoint.
    """
    groups: dict[tuple[int, frozenset[str]], list[Finding]] = {}
    for item in found:
        groups.setdefault((stage_of(item), group_of(item.reading.id)), []).append(item)
    return [
        ([item for item in found if stage_of(item) < stage], group)
        for (stage, _), group in groups.items()
    ]


@BOTH
@given(told=told_readings(TOLD, most=10), causes=causes_together)
@FIXED
def test_the_weights_of_a_group_add_up_to_how_far_it_moves_the_odds_after_earlier_stages(
    way: str, told: dict[str, str], causes: list[str]
) -> None:
    content = WAYS[way]
    found = findings(told, content)
    weights = weights_of(content, causes, found, is_all=True)
    for earlier, group in groups_of(found):
        after = log_odds(content, causes, [*earlier, *group])
        change = after - log_odds(content, causes, earlier)
        whole = math.fsum(weights.get(item.reading.id, 0.0) for item in group)
        assert whole == pytest.approx(change, abs=1e-9)


@BOTH
@given(told=told_readings(TOLD, most=8), causes=causes_together)
@FIXED
def test_a_weight_is_how_far_the_finding_moves_the_odds_given_its_group_so_far(
    way: str, told: dict[str, str], causes: list[str]
) -> None:
    content = WAYS[way]
    found = findings(told, content)
    weights = weights_of(content, causes, found, is_all=True)
    for earlier, group in groups_of(found):
        for number, item in enumerate(group, start=1):
            before = log_odds(content, causes, [*earlier, *group[: number - 1]])
            after = log_odds(content, causes, [*earlier, *group[:number]])
            assert weights.get(item.reading.id, 0.0) == pytest.approx(after - before, abs=1e-9)


@BOTH
@given(told=told_readings(TOLD), cause=st.sampled_from(list(SHIPPED.causes)))
@FIXED
def test_evidence_is_for_or_against_and_strongest_first(
    way: str, told: dict[str, str], cause: str
) -> None:
    speaks_for, speaks_against = evidence_about(WAYS[way], [cause], findings(told, WAYS[way]))
    assert all(item.weight > 0 for item in speaks_for)
    assert all(item.weight < 0 for item in speaks_against)
    weights = [abs(item.weight) for item in speaks_for], [abs(i.weight) for i in speaks_against]
    assert all(each == sorted(each, reverse=True) for each in weights)
    said = [item.finding.reading.id for item in (*speaks_for, *speaks_against)]
    assert len(said) == len(set(said))
    assert set(said) <= set(told)


@BOTH
@given(told=told_readings(TOLD), cause=st.sampled_from(list(SHIPPED.causes)))
@FIXED
def test_what_moves_the_odds_is_told_and_what_hardly_does_is_not(
    way: str, told: dict[str, str], cause: str
) -> None:
    content = WAYS[way]
    found = findings(told, content)
    every, said = (
        weights_of(content, [cause], found, is_all=True),
        weights_of(content, [cause], found),
    )
    assert said.items() <= every.items()
    for _, group in groups_of(found):
        weights = {item.reading.id: every.get(item.reading.id, 0.0) for item in group}
        joint = math.fsum(weights.values())
        for item in group:
            weight, is_told = weights[item.reading.id], item.reading.id in said
            if weight < 0.0 and is_own_sign(cause, item):
                assert not is_told
                continue
            if abs(weight) > math.log(2.0):  # twofold odds, judged
                assert is_told
            elif abs(joint) < math.log(1.2):  # a fifth, judged
                assert not is_told
            elif joint * weight > 0.0 and item.verdict in ODD:
                assert is_told  # though it may only repeat another one of its group


@BOTH
def test_nothing_speaks_for_all_causes_together_or_for_none(way: str) -> None:
    content = WAYS[way]
    found = findings({"harvest_suction_pressure": "below"}, content)
    assert evidence_about(content, list(content.causes), found) == ((), ())
    assert evidence_about(content, [], found) == ((), ())
    assert evidence_about(content, ["gremlins"], found) == ((), ())
