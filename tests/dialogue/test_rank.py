"""The ranking by judged signs is Bayes' rule, checked against an enumeration written another way.

How the ranking by computed likelihoods is checked stands in `test_beliefs.py`; which reading
settles is checked here for both.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests.conversation import FEED_FAILED, shipped_engine, up_to
from tests.dialogue.likelihood_tables import manners, readings_told
from tests.dialogue.told import BOTH, JUDGED, SHIPPED, WAYS, findings
from tests.strategies import FIXED
from triage.dialogue import rank
from triage.dialogue.beliefs import (
    DEPENDENT_GROUPS,
    IMPOSSIBLE,
    LEAST_PROBABILITY,
    group_of,
    judged_chance,
)
from triage.dialogue.rank import evidence_about, rank_causes, settling_reading
from triage.dialogue.view import Finding, Verdict
from triage.tree.content import UNKNOWN
from triage.tree.likelihoods import ON_FILE

CONTENT = JUDGED
SPEAKING = [
    reading
    for reading in CONTENT.readings.values()
    if any(reading.id in cause.signs for cause in CONTENT.causes.values())
]


def finding_of(reading_id: str, outcome: str) -> Finding:
    """Return a finding with an outcome and no figure."""
    verdict = Verdict.UNKNOWN if outcome == UNKNOWN else Verdict.NOTED
    return Finding(CONTENT.readings[reading_id], None, outcome, verdict)


def chance_in_content(cause_id: str, reading_id: str, outcome: str) -> Fraction:
    """Return the judged chance of an outcome under a cause, read from the content by hand.

    Named outcomes as written, the rest shared evenly; no sign at all: 97 in 100 healthy; never
    less than one in fifty.
    """
    reading = CONTENT.readings[reading_id]
    possible = [item for item in reading.outcomes if item != UNKNOWN]
    table: dict[str, Fraction] = {}
    named: Mapping[str, float] = CONTENT.causes[cause_id].signs.get(reading_id, {})
    if not named:
        healthy = reading.normal or (("within",) if reading.is_banded else ())
        if not healthy:
            return max(Fraction(1, 50), Fraction(1, len(possible)))
        named = {item: 0.97 / len(healthy) for item in healthy}
    for item in possible:
        if item in named:
            table[item] = Fraction(named[item])
    left = max(Fraction(0), 1 - sum(table.values(), Fraction(0)))
    unnamed = [item for item in possible if item not in table]
    for item in unnamed:
        table[item] = left / len(unnamed)
    if named.get(outcome) == 0.0:  # called impossible by the content
        return Fraction(IMPOSSIBLE)
    return max(Fraction(1, 50), table[outcome])


def by_enumeration(observed: Mapping[str, str]) -> dict[str, float]:
    """Return the probability of each cause: joint probabilities multiplied out, then normalized.

    Readings of one group share a root: the geometric middle between one witness and many.
    """
    joint = {}
    for cause_id, cause in CONTENT.causes.items():
        product = cause.prior
        for reading_id, outcome in observed.items():
            mates = [
                other
                for group in DEPENDENT_GROUPS
                if reading_id in group
                for other in observed
                if other in group
            ] or [reading_id]
            chance = float(chance_in_content(cause_id, reading_id, outcome))
            product *= chance ** (len(mates) ** -0.5)
        joint[cause_id] = product
    whole = math.fsum(joint.values())
    return {cause_id: product / whole for cause_id, product in joint.items()}


@st.composite
def observations(draw: st.DrawFn) -> dict[str, str]:
    """Outcomes, possible ones and known, of some of the readings that tell causes apart."""
    readings = draw(st.lists(st.sampled_from(SPEAKING), unique=True, max_size=14))
    return {
        reading.id: draw(st.sampled_from([item for item in reading.outcomes if item != UNKNOWN]))
        for reading in readings
    }


@given(observed=observations())
@FIXED
def test_the_ranking_is_bayes_rule(observed: dict[str, str]) -> None:
    ranked = rank_causes(CONTENT, [finding_of(*item) for item in observed.items()])
    expected = by_enumeration(observed)
    assert {item.cause: item.probability for item in ranked} == pytest.approx(expected, rel=1e-9)


@given(observed=observations())
@FIXED
def test_the_probabilities_sum_to_one_and_come_likeliest_first(observed: dict[str, str]) -> None:
    ranked = rank_causes(CONTENT, [finding_of(*item) for item in observed.items()])
    assert sum(item.probability for item in ranked) == pytest.approx(1.0, abs=1e-12)
    chances = [item.probability for item in ranked]
    assert chances == sorted(chances, reverse=True)
    assert {item.cause for item in ranked} == set(CONTENT.causes)
    assert min(chances) > 0.0


@given(observed=observations(), seed=st.randoms(use_true_random=False))
@FIXED
def test_the_order_of_the_findings_does_not_matter(observed: dict[str, str], seed: object) -> None:
    found = [finding_of(*item) for item in observed.items()]
    first = {item.cause: item.probability for item in rank_causes(CONTENT, found)}
    seed.shuffle(found)  # type: ignore[attr-defined]
    second = {item.cause: item.probability for item in rank_causes(CONTENT, found)}
    assert second == pytest.approx(first, rel=1e-9)


@given(observed=observations(), silent=st.sampled_from(SPEAKING))
@FIXED
def test_an_unknown_reading_says_nothing(observed: dict[str, str], silent: object) -> None:
    reading_id = silent.id  # type: ignore[attr-defined]
    observed.pop(reading_id, None)
    found = [finding_of(*item) for item in observed.items()]
    more = [*found, finding_of(reading_id, UNKNOWN)]
    assert rank_causes(CONTENT, more) == rank_causes(CONTENT, found)


def test_without_findings_the_priors_stand() -> None:
    ranked = {item.cause: item.probability for item in rank_causes(CONTENT, [])}
    assert ranked == pytest.approx({cause.id: cause.prior for cause in CONTENT.causes.values()})
    assert sum(cause.prior for cause in CONTENT.causes.values()) == pytest.approx(1.0)


def test_the_textbook_case_of_one_test_comes_out() -> None:
    # Bayes' rule as any textbook states it: odds after = odds before x likelihood ratio.
    one, other = "receiver_vapor_feed_failed", "hot_gas_valve_not_opening"
    finding = finding_of("harvest_discharge_pressure", "below")
    ranked = {item.cause: item.probability for item in rank_causes(CONTENT, [finding])}
    causes = CONTENT.causes
    ratio = judged_chance(causes[one], finding.reading, "below") / judged_chance(
        causes[other], finding.reading, "below"
    )
    before = causes[one].prior / causes[other].prior
    assert ranked[one] / ranked[other] == pytest.approx(before * ratio)


@pytest.mark.parametrize("cause", list(CONTENT.causes))
def test_the_chances_of_a_readings_outcomes_are_those_of_the_content(cause: str) -> None:
    for reading in SPEAKING:
        known = [item for item in reading.outcomes if item != UNKNOWN]
        for outcome in known:
            chance = judged_chance(CONTENT.causes[cause], reading, outcome)
            assert chance == pytest.approx(float(chance_in_content(cause, reading.id, outcome)))
        total = sum(judged_chance(CONTENT.causes[cause], reading, item) for item in known)
        # The floor may lift it above one, by a fiftieth for each outcome at most.
        assert 1.0 - 1e-9 <= total <= 1.0 + LEAST_PROBABILITY * len(known)


def test_readings_of_one_group_count_less_than_as_many_witnesses() -> None:
    # sqrt(2) between two dependent readings: more than one of them, less than two.
    both = ("harvest_suction_pressure", "harvest_discharge_pressure")

    def chance(*readings: str) -> float:
        ranked = rank_causes(CONTENT, [finding_of(reading, "below") for reading in readings])
        return {item.cause: item.probability for item in ranked}["receiver_vapor_feed_failed"]

    def odds(*readings: str) -> float:
        return chance(*readings) / (1.0 - chance(*readings))

    assert group_of(both[0]) == group_of(both[1]) != frozenset(both[:1])
    raised = [odds(reading) / odds() for reading in both]
    assert max(raised) < odds(*both) / odds() < math.prod(raised)
    assert group_of("plate_condition") == {"plate_condition"}


def test_no_reading_stands_in_two_groups() -> None:
    members = [reading for group in DEPENDENT_GROUPS for reading in group]
    assert len(members) == len(set(members))
    assert set(members) <= set(CONTENT.readings)


# Evidence, of which more in test_evidence_weights.py.


def test_evidence_for_a_single_reading_is_the_log_of_its_likelihood_ratio() -> None:
    cause, reading, outcome = "receiver_vapor_feed_failed", "harvest_suction_pressure", "below"
    ((evidence,), _) = evidence_about(CONTENT, [cause], [finding_of(reading, outcome)])
    others = [item for item in CONTENT.causes.values() if item.id != cause]
    under_others = sum(
        item.prior * float(chance_in_content(item.id, reading, outcome)) for item in others
    ) / sum(item.prior for item in others)
    under_cause = float(chance_in_content(cause, reading, outcome))
    assert evidence.weight == pytest.approx(math.log(under_cause / under_others))


# The reading that settles it.

PAIRS: Sequence[tuple[str, str]] = (
    ("receiver_vapor_feed_failed", "hot_gas_valve_not_opening"),
    ("refrigerant_undercharge", "expansion_valve_starving"),
    ("condenser_airflow_poor", "refrigerant_overcharge"),
)


@pytest.mark.parametrize(("one", "other"), PAIRS)
def test_the_settling_reading_tells_the_two_apart_best_among_those_not_had(
    one: str, other: str
) -> None:
    settling = settling_reading(CONTENT, one, other, {})
    assert settling is not None

    def distance(reading_id: str) -> float:
        known = [item for item in CONTENT.readings[reading_id].outcomes if item != UNKNOWN]
        gaps = (
            abs(
                chance_in_content(one, reading_id, item)
                - chance_in_content(other, reading_id, item)
            )
            for item in known
        )
        return float(sum(gaps) / 2)

    signs = {*CONTENT.causes[one].signs, *CONTENT.causes[other].signs}
    assert distance(settling.id) == pytest.approx(max(map(distance, signs)))


@BOTH
@pytest.mark.parametrize(("one", "other"), PAIRS)
def test_the_settling_reading_is_one_that_is_not_had(way: str, one: str, other: str) -> None:
    content = WAYS[way]
    settling = settling_reading(content, one, other, {})
    assert settling is not None
    assert settling == settling_reading(content, other, one, {})
    had = {settling.id: finding_of(settling.id, settling.outcomes[0])}
    assert settling_reading(content, one, other, had) != settling
    not_had = {settling.id: finding_of(settling.id, UNKNOWN)}
    assert settling_reading(content, one, other, not_had) == settling
    assert settling_reading(content, one, other, {}, among=[]) is None
    others = [key for key in content.readings if key != settling.id]
    assert settling_reading(content, one, other, {}, among=others) != settling


@pytest.mark.parametrize(("one", "other"), PAIRS)
@pytest.mark.parametrize("told", [{}, {"ice_pattern": "even"}, {"liquid_subcooling": "far_below"}])
def test_the_settling_reading_of_computed_likelihoods_weighs_the_modes_as_believed(
    one: str, other: str, told: Mapping[str, str]
) -> None:
    # The chance of what a reading will show, given a cause and what is known of its modes.
    def foretold(cause: str, reading: str) -> dict[str, float]:
        ways = [way for way in manners(ON_FILE) if way.cause == cause]
        believed = [
            way.share * math.prod(way.chances[key][found] for key, found in told.items())
            for way in ways
        ]
        return {
            found: sum(
                weight * way.chances[reading][found]
                for weight, way in zip(believed, ways, strict=True)
            ) / math.fsum(believed)
            for found in ways[0].chances[reading]
        }  # fmt: skip

    def distance(reading: str) -> float:
        mine, theirs = foretold(one, reading), foretold(other, reading)
        return 0.5 * sum(abs(mine[found] - theirs[found]) for found in mine)

    known = dict(zip(told, findings(told), strict=True))
    settling = settling_reading(SHIPPED, one, other, known, among=readings_told())
    best = max(distance(reading) for reading in readings_told() if reading not in told)
    if settling is None:
        assert best <= rank.SETTLES + 1e-6
    else:
        assert distance(settling.id) == pytest.approx(best, abs=1e-6)


def test_nothing_settles_between_a_cause_and_itself() -> None:
    assert settling_reading(CONTENT, "healthy", "healthy", {}) is None


@BOTH
def test_the_failed_feed_callers_findings_rank_the_feed_first(way: str) -> None:
    found = shipped_engine().findings(up_to("manifold_test_result", FEED_FAILED))
    assert rank_causes(WAYS[way], found)[0].cause == "receiver_vapor_feed_failed"
