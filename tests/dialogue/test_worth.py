"""What a question is worth, and what to do: checked by trying out every answer and every act."""

from __future__ import annotations

import math
from collections.abc import Collection, Mapping
from dataclasses import replace
from itertools import pairwise, permutations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests.dialogue.likelihood_tables import chance_of, manners, readings_told
from tests.dialogue.told import SHIPPED, by_id, findings, told_readings
from tests.strategies import FIXED
from tests.tree.hand_made import with_likelihoods
from tests.tree.miniature import sound_draft
from triage.dialogue.beliefs import MISSEEN_SHARE
from triage.dialogue.rank import rank_causes
from triage.dialogue.worth import best_decision, minutes_of, worth_asking
from triage.tree.content import UNKNOWN, Content, Reading, Side
from triage.tree.likelihoods import ON_FILE

TOLD = readings_told()
CAUSES = list(SHIPPED.causes)
causes_allowed = st.lists(st.sampled_from(CAUSES), unique=True, max_size=len(CAUSES))


def as_if_paid_for(content: Content) -> Content:
    """Return the content with readings that cost less than nothing, so that each one is told."""
    readings = {key: replace(item, minutes=-1e6) for key, item in content.readings.items()}
    return replace(content, readings=readings)


FREE = as_if_paid_for(SHIPPED)


def cheapest_act(causes: Mapping[str, float], allowed: Collection[str], content: Content) -> float:
    """Return the least expected minutes [min]: hand the call over, or repair something."""
    acts = [content.stakes.hand_over_minutes]
    for blamed in allowed:
        wrong = content.causes[blamed].minutes + content.stakes.call_back_minutes
        acts.append(sum(0.0 if true == blamed else wrong * p for true, p in causes.items()))
    return min(acts)


def believed(told: Mapping[str, str]) -> dict[str, float]:
    """Return the probability of each cause; `test_beliefs` checks it against pyAgrum."""
    return {item.cause: item.probability for item in rank_causes(SHIPPED, findings(told))}


def foretold(told: Mapping[str, str], reading: str) -> dict[str, float]:
    """Return how likely each outcome of a reading is, given what was told."""
    ways = manners(ON_FILE)
    priors = {key: cause.prior for key, cause in SHIPPED.causes.items()}
    weights = [
        priors[way.cause]
        * way.share
        * math.prod(chance_of(way.chances, key, found) for key, found in told.items())
        for way in ways
    ]
    return {
        found: sum(w * way.chances[reading][found] for w, way in zip(weights, ways, strict=True))
        / math.fsum(weights)
        for found in ways[0].chances[reading]
    }


@given(
    told=told_readings(TOLD, most=6),
    asked=st.sampled_from(TOLD),
    allowed=st.none() | causes_allowed,
)
@FIXED
def test_a_reading_saves_what_trying_out_all_its_answers_says(
    told: dict[str, str], asked: str, allowed: list[str] | None
) -> None:
    told.pop(asked, None)
    acts = CAUSES if allowed is None else allowed
    now = cheapest_act(believed(told), acts, SHIPPED)
    after = sum(
        chance * cheapest_act(believed({**told, asked: found}), acts, SHIPPED)
        for found, chance in foretold(told, asked).items()
    )
    (worth,) = worth_asking(FREE, by_id(told), [asked], allowed=allowed)
    assert worth.reading == asked
    assert worth.saved_minutes == pytest.approx(now - after, abs=1e-6)


@given(told=told_readings(TOLD, most=10), allowed=causes_allowed)
@FIXED
def test_knowing_more_never_costs_more_before_the_price_of_asking(
    told: dict[str, str], allowed: list[str]
) -> None:
    for worth in worth_asking(FREE, by_id(told), TOLD, allowed=allowed):
        assert worth.saved_minutes >= -1e-9, worth


@given(told=told_readings(TOLD, most=8), allowed=causes_allowed)
@FIXED
def test_no_reading_is_worth_more_than_certainty(told: dict[str, str], allowed: list[str]) -> None:
    # To know the cause itself would save the whole cost of the best act but the hand-overs.
    causes = believed(told)
    now = cheapest_act(causes, allowed, SHIPPED)
    hand_over = SHIPPED.stakes.hand_over_minutes
    left = sum(hand_over * chance for cause, chance in causes.items() if cause not in allowed)
    for worth in worth_asking(FREE, by_id(told), TOLD, allowed=allowed):
        assert worth.saved_minutes <= now - left + 1e-6


def test_a_reading_that_cannot_change_the_decision_is_worth_nothing() -> None:
    # Sure of the cause: whatever the plate looks like, the same repair is the best act.
    told = {
        "harvest_suction_pressure": "far_below", "harvest_discharge_pressure": "far_below",
        "manifold_test_result": "slab_released", "coil_voltage": "middle",
        "coil_resistance": "middle", "coil_pulls_in": "yes", "hot_gas_line_temperature": "middle",
        "ice_pattern": "even", "freeze_time": "middle", "freeze_suction_pressure_late": "middle",
        "liquid_subcooling": "middle",
    }  # fmt: skip
    decision = best_decision(SHIPPED, by_id(told), allowed=CAUSES)
    assert decision.cause == "receiver_vapor_feed_failed"
    for asked in ("plate_condition", "water_leaking_into_sump", "condenser_kind"):
        acts = {
            best_decision(SHIPPED, by_id({**told, asked: found}), allowed=CAUSES).cause
            for found in manners(ON_FILE)[0].chances[asked]
        }
        assert acts == {"receiver_vapor_feed_failed"}
        (worth,) = worth_asking(FREE, by_id(told), [asked])
        assert worth.saved_minutes == pytest.approx(0.0, abs=1e-9)
        assert worth_asking(SHIPPED, by_id(told), [asked]) == ()


def test_where_nothing_may_be_repaired_no_reading_is_worth_anything() -> None:
    for worth in worth_asking(FREE, {}, TOLD, allowed=[]):
        assert worth.saved_minutes == pytest.approx(0.0, abs=1e-9)


@given(told=told_readings(TOLD, most=8))
@FIXED
def test_only_what_is_not_had_and_pays_is_told_the_most_worth_first(told: dict[str, str]) -> None:
    found = worth_asking(SHIPPED, by_id(told), SHIPPED.readings)
    assert not {worth.reading for worth in found} & set(told)
    assert all(worth.net_minutes > 0.0 for worth in found)
    gains = [worth.saved_minutes - worth.taken_minutes for worth in found]
    assert gains == sorted(gains, reverse=True)
    assert gains == [worth.net_minutes for worth in found]


def test_a_reading_that_could_not_be_had_may_be_reckoned_with_again() -> None:
    told = {"harvest_suction_pressure": "far_below"}
    fresh = worth_asking(SHIPPED, by_id(told), TOLD)
    assert fresh
    tried = by_id({**told, fresh[0].reading: UNKNOWN})
    assert worth_asking(SHIPPED, tried, TOLD) == fresh


# On paper.

PAPER = replace(
    sound_draft().content(),
    causes={
        key: replace(cause, prior=prior, minutes=60.0)
        for (key, cause), prior in zip(
            sound_draft().content().causes.items(), (0.5, 0.5, 1e-6), strict=True
        )
    },
)
PATTERN = {"even": 0.1, "thin_at_outlet": 0.9}
ON_PAPER = with_likelihoods(
    PAPER,
    {
        "thin_charge": [(1.0, {"ice_pattern": PATTERN})],
        "feed_failed": [(1.0, {"ice_pattern": {"even": 0.9, "thin_at_outlet": 0.1}})],
    },
)


def test_the_worth_of_one_look_as_reckoned_on_paper() -> None:
    # Two causes, even odds. A wrong repair costs 60 + 120, so half of that beats no hand-over (60):
    # 60 now. A look that errs once in ten (and is misseen now and then) leaves 180 x 0.1 or so.
    error = (1.0 - MISSEEN_SHARE) * 0.1 + MISSEEN_SHARE / 2.0
    (worth,) = worth_asking(as_if_paid_for(ON_PAPER), {}, ["ice_pattern"])
    assert worth.saved_minutes == pytest.approx(60.0 - 180.0 * error, rel=1e-4)
    decision = best_decision(ON_PAPER, {}, allowed=list(PAPER.causes))
    assert decision.cause is None
    assert decision.expected_minutes == 60.0
    after = best_decision(
        ON_PAPER, by_id({"ice_pattern": "thin_at_outlet"}, ON_PAPER), allowed=list(PAPER.causes)
    )
    assert after.cause == "thin_charge"
    assert after.probability == pytest.approx(1.0 - error, rel=1e-4)
    assert after.expected_minutes == pytest.approx(180.0 * error, rel=1e-4)


# The price of asking.


def test_licensed_work_and_hazards_make_a_minute_dearer() -> None:
    plain = replace(SHIPPED.readings["ice_pattern"], minutes=4.0, is_licensed=False, cautions=())
    licensed = replace(plain, is_licensed=True)
    cautioned = replace(plain, cautions=("hot_parts",))
    both = replace(licensed, cautions=("hot_parts", "gauges_under_pressure"))
    assert minutes_of(plain) == 4.0
    assert minutes_of(plain) < minutes_of(cautioned) < minutes_of(licensed) < minutes_of(both)
    twice = replace(plain, minutes=8.0)
    assert minutes_of(twice) == 2.0 * minutes_of(plain)


@pytest.mark.parametrize("reading", SHIPPED.readings.values(), ids=lambda item: item.id)
def test_no_reading_is_cheaper_than_the_time_it_takes(reading: Reading) -> None:
    assert minutes_of(reading) >= reading.minutes > 0.0


def test_of_two_readings_that_tell_the_same_the_harmless_one_comes_first() -> None:
    two = {"ice_pattern": PATTERN, "water_flow_over_plate": {"full": 0.1, "poor": 0.9}}
    other = {"ice_pattern": {"even": 0.9, "thin_at_outlet": 0.1},
             "water_flow_over_plate": {"full": 0.9, "poor": 0.1}}  # fmt: skip
    content = with_likelihoods(PAPER, {"thin_charge": [(1.0, two)], "feed_failed": [(1.0, other)]})
    for risky, harmless in permutations(two):
        readings = {
            **content.readings, risky: replace(content.readings[risky], cautions=("hot_lines",))
        }  # fmt: skip
        found = worth_asking(replace(content, readings=readings), {}, [risky, harmless])
        assert [worth.reading for worth in found] == [harmless, risky]
        assert found[0].saved_minutes == pytest.approx(found[1].saved_minutes)


# Deciding.


@given(told=told_readings(TOLD), allowed=causes_allowed)
@FIXED
def test_the_decision_is_the_cheapest_act_there_is(
    told: dict[str, str], allowed: list[str]
) -> None:
    causes = believed(told)
    decision = best_decision(SHIPPED, by_id(told), allowed=allowed)
    least = cheapest_act(causes, allowed, SHIPPED)
    assert decision.expected_minutes == pytest.approx(least, abs=1e-6)
    if decision.cause is None:
        assert decision.expected_minutes == SHIPPED.stakes.hand_over_minutes
        assert decision.probability == pytest.approx(max(causes.values()), abs=1e-9)
    else:
        assert decision.cause in allowed
        assert decision.probability == pytest.approx(causes[decision.cause], abs=1e-9)


@given(told=told_readings(TOLD))
@FIXED
def test_what_is_not_allowed_is_never_decided(told: dict[str, str]) -> None:
    freeze = [key for key, cause in SHIPPED.causes.items() if cause.side is Side.FREEZE]
    assert best_decision(SHIPPED, by_id(told), allowed=[]).cause is None
    assert best_decision(SHIPPED, by_id(told), allowed=freeze).cause in (None, *freeze)


DEARER = [
    replace(SHIPPED, stakes=replace(SHIPPED.stakes, hand_over_minutes=minutes))
    for minutes in (30.0, 60.0, 61.0, 240.0)
]
"""The same content where handing a call over costs ever more."""


@given(told=told_readings(TOLD))
@FIXED
def test_a_dearer_hand_over_never_makes_the_tool_shyer(told: dict[str, str]) -> None:
    acts = [best_decision(content, by_id(told), allowed=CAUSES).cause for content in DEARER]
    for before, after in pairwise(acts):
        assert before in (None, after)
