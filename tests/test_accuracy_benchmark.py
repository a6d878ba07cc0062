"""The accuracy benchmark measures what it says: masks, scores, mismatches and orders."""

from __future__ import annotations

import math
import random
from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache

import numpy
import pytest
from sklearn.calibration import calibration_curve
from sklearn.metrics import brier_score_loss

from tests.benchmarks.accuracy import condemned_falsely, report
from tests.benchmarks.accuracy_tables import WIDTH, outcome_of
from tests.benchmarks.bayes_limit import learn, masks_had, random_masks
from tests.benchmarks.calibration import (
    as_often_as,
    brier_score,
    expected_calibration_error,
    reliability,
)
from tests.benchmarks.features import columns_of
from tests.benchmarks.limit_draws import Draws, rows_of
from tests.benchmarks.mismatched import (
    HighPlace,
    Mismatch,
    caller_under,
    content_under,
    moved_unit,
    place_under,
)
from tests.benchmarks.other_ways import graph_alone
from tests.benchmarks.question_order import (
    askable,
    is_freeze_proven,
    may_be_repaired,
    order_table,
    pairs_of,
    rule_into_harvest,
)
from tests.benchmarks.scoring import columns_from, score
from tests.benchmarks.simulated_calls import (
    ALL,
    HAD,
    Batch,
    Call,
    Job,
    caller_for,
    content_in_use,
    plan,
    run_batch,
)
from tests.conversation import FEED_FAILED, SOUND_FREEZE, opened, shipped_engine, up_to
from tests.machines_on_file import machines
from triage.dialogue.judge import finding_of
from triage.drill.population import TRIED, Place, places_of
from triage.drill.simulated_caller import SimulatedCaller
from triage.physics.quantity import Dimension, parse_quantity
from triage.physics.tolerances import LOW_SIDE_GAUGE_PA, MACHINE_TOLERANCES

NAME = "gletsch_r500"


@cache
def few_batches() -> tuple[Batch, ...]:
    """Return the fullest places of a plan: bands are worked out once a place, which takes time."""
    return tuple(sorted(plan(105, 5), key=lambda batch: -len(batch.jobs))[:4])


@pytest.fixture(scope="module")
def calls() -> list[Call]:
    return [call for batch in few_batches() for call in run_batch(batch) if call is not None]


def some_place() -> Place:
    return places_of(machines()[NAME], 2, random.Random(1))[1]


# The plan and the calls


def test_every_cause_is_planned_as_often_as_the_others_where_it_can_happen() -> None:
    batches = plan(84, 1)
    counted = Counter(job.cause for batch in batches for job in batch.jobs)
    assert set(counted) == set(content_in_use().causes)
    assert set(counted.values()) == {4}
    causes = list(content_in_use().causes)
    for batch in batches:
        assert all(batch.drawn[causes.index(job.cause)] > 0.0 for job in batch.jobs)


def test_no_harvest_part_is_condemned_on_an_unhealthy_freeze(calls: list[Call]) -> None:
    assert len(calls) > 20
    assert condemned_falsely(calls) == 0


def test_what_could_not_be_had_is_shown_to_nobody(calls: list[Call]) -> None:
    columns = columns_of(content_in_use())
    assert any(call.not_had for call in calls)
    for call in calls:
        for readings in (HAD, ALL):
            known = {
                reading
                for (reading, _), value in zip(columns, call.shown[readings], strict=True)
                if not math.isnan(value)
            }
            assert not known & set(call.not_had)
        assert TRIED not in known


def test_posteriors_are_probabilities_of_every_cause(calls: list[Call]) -> None:
    for call in calls:
        for posterior in call.posteriors.values():
            assert len(posterior) == len(content_in_use().causes)
            assert sum(posterior) == pytest.approx(1.0)


def test_every_way_ends_right_or_wrong_or_missed_or_handed_over(calls: list[Call]) -> None:
    for column in columns_from(calls, {}):
        found = score(calls, column)
        assert found is not None
        assert found.repair + found.wrong + found.missed + found.handed_over == pytest.approx(1.0)
        assert found.first <= found.in_two
        by_missing = [
            score(calls, column, [n for n, call in enumerate(calls) if call.missing == missing])
            for missing in range(4)
        ]
        sizes = [sum(call.missing == missing for call in calls) for missing in range(4)]
        total = sum(size * part.first for size, part in zip(sizes, by_missing, strict=True) if part)
        assert total / len(calls) == pytest.approx(found.first)


def test_the_tables_are_plain_and_fit_120_columns(calls: list[Call]) -> None:
    lines = report(calls, Counter(), {})
    assert len(lines) > 100
    assert all(line.isascii() for line in lines)
    assert max(map(len, lines)) <= WIDTH


@pytest.mark.parametrize(
    ("cause", "concluded", "outcome"),
    [
        ("healthy", ("healthy",), "correct"),
        ("healthy", ("compressor_weak",), "false alarm"),
        ("compressor_weak", ("healthy",), "missed detection"),
        ("compressor_weak", ("bridge_set_thin",), "misdiagnosis"),
        ("compressor_weak", (), "no response"),
    ],
)
def test_a_diagnosis_falls_in_one_class(
    cause: str, concluded: tuple[str, ...], outcome: str
) -> None:
    assert outcome_of(cause, concluded) == outcome


@dataclass
class Reader:
    """A caller who reads out answers written down beforehand."""

    answers: Mapping[str, str]

    def answer(self, reading_id: str) -> str:
        return self.answers.get(reading_id, "unknown")


def test_the_graph_alone_comes_to_the_ending_of_its_path() -> None:
    found = graph_alone(shipped_engine(), opened(), Reader(FEED_FAILED))  # type: ignore[arg-type]
    assert found.concluded == ("receiver_vapor_feed_failed",)
    cut = {key: words for key, words in FEED_FAILED.items() if key != "coil_voltage"}
    assert graph_alone(shipped_engine(), opened(), Reader(cut)).concluded == ()  # type: ignore[arg-type]


# Scores


def random_probabilities(seed: int = 1) -> tuple[numpy.ndarray, numpy.ndarray, numpy.ndarray]:
    generator = numpy.random.default_rng(seed)
    probabilities = generator.dirichlet([0.3, 0.4, 0.5], 400)
    truth = numpy.array([generator.choice(3, p=row**0.7 / sum(row**0.7)) for row in probabilities])
    return probabilities, truth, generator.uniform(0.5, 2.0, 400)


def test_the_brier_score_is_that_of_scikit_learn() -> None:
    probabilities, truth, weights = random_probabilities()
    theirs = brier_score_loss(
        truth, probabilities, sample_weight=weights, labels=[0, 1, 2], scale_by_half=False
    )
    assert brier_score(probabilities, truth, weights) == pytest.approx(theirs)


def test_the_reliability_table_is_that_of_scikit_learn() -> None:
    probabilities, truth, _ = random_probabilities(2)
    bins = reliability(probabilities, truth, numpy.ones(len(truth)))
    is_right = probabilities.argmax(axis=1) == truth
    right, stated = calibration_curve(is_right, probabilities.max(axis=1), n_bins=10)
    assert [item.right for item in bins] == pytest.approx(list(right))
    assert [item.stated for item in bins] == pytest.approx(list(stated))
    assert sum(item.calls for item in bins) == len(truth)
    assert 0.0 < expected_calibration_error(bins) < 0.5


def test_a_posterior_is_restated_as_if_the_causes_had_come_as_often_as_drawn() -> None:
    likelihoods = numpy.array([[0.2, 0.5, 0.9], [0.1, 0.1, 0.0]])
    priors, drawn = numpy.array([0.7, 0.2, 0.1]), numpy.array([0.3, 0.3, 0.4])

    def posterior(shares: numpy.ndarray) -> numpy.ndarray:
        weights = likelihoods * shares
        return weights / weights.sum(axis=1, keepdims=True)

    restated = as_often_as(posterior(priors), priors, numpy.tile(drawn, (2, 1)))
    assert restated == pytest.approx(posterior(drawn))


# The limit


def test_random_masks_lack_none_to_three_readings_and_the_test_nobody_tries() -> None:
    names = [reading for reading, _ in columns_of(content_in_use())]
    lacking = [
        {name for name, is_had in zip(names, mask, strict=True) if not is_had}
        for mask in random_masks(1, 60)[NAME]
    ]
    assert all(TRIED in each for each in lacking)
    assert {len(each - {TRIED}) for each in lacking} == {0, 1, 2, 3}


def test_a_draw_for_the_limit_shows_all_readings_of_a_caller() -> None:
    batch = Batch(some_place(), (Job("healthy", 3, 5),), ())
    ((cause, row),) = rows_of(batch)
    known = {
        reading
        for (reading, _), value in zip(columns_of(content_in_use()), row, strict=True)
        if not math.isnan(value)
    }
    assert cause == "healthy"
    assert {TRIED, "suction_superheat", "coil_resistance", "machine"} <= known


def test_a_learner_finds_what_is_plainly_there_and_nothing_behind_a_mask() -> None:
    columns = columns_of(content_in_use())
    generator = numpy.random.default_rng(3)
    causes = generator.integers(2, size=200)
    rows = generator.uniform(-1.0, 1.0, (200, len(columns))).astype(numpy.float32)
    for number, (reading, choice) in enumerate(columns):
        if reading == "machine":
            rows[:, number] = choice == NAME
        elif reading == "suction_superheat":
            rows[:, number] += 4.0 * causes
    names = numpy.array([reading for reading, _ in columns])
    for masks, is_plain in (
        ({NAME: [numpy.ones(len(columns), bool)]}, True),
        ({NAME: [names != "suction_superheat"]}, False),
    ):
        limit = learn(Draws(rows, causes), masks, 1, lessons=1)
        shown = numpy.where(masks[NAME][0], rows, numpy.nan)
        probabilities = limit.probabilities(shown)
        assert probabilities.sum(axis=1) == pytest.approx(1.0)
        assert (limit.log_loss < 0.2) == is_plain


def test_masks_are_borrowed_from_calls_about_the_same_machine(calls: list[Call]) -> None:
    rows = numpy.array([call.shown[HAD] for call in calls])
    masks = masks_had([call.machine for call in calls], rows)
    assert set(masks) == {call.machine for call in calls}
    assert sum(map(len, masks.values())) == len(calls)


# Worlds that are not the model's


def test_a_machine_off_by_a_tenth_has_every_toleranced_value_within_that() -> None:
    machine = machines()[NAME]
    moved = moved_unit(machine, 0.1, random.Random(1))
    for tolerance in MACHINE_TOLERANCES:
        was = getattr(getattr(machine, tolerance.part), tolerance.field)
        now = getattr(getattr(moved, tolerance.part), tolerance.field)
        if tolerance.amount > 0.0 and was > 0.0:
            assert now != was
            assert now == pytest.approx(was, rel=0.1001)


def caller_in(mismatch: Mismatch) -> SimulatedCaller:
    place = place_under(mismatch, some_place())
    return caller_under(
        mismatch, content_in_use(), place, machines()[NAME], "healthy", random.Random(4), 0, {}
    )


def test_biased_gauges_show_more_by_their_limit_all_call_long() -> None:
    caller = caller_in(Mismatch.BIASED)
    twice = caller_in(Mismatch.BIASED_TWICE)
    for reading in ("freeze_suction_pressure_early", "harvest_suction_pressure"):
        shown, more = (
            parse_quantity(each.answer(reading), Dimension.GAUGE_PRESSURE, "bar").si()
            for each in (caller, twice)
        )
        assert more - shown == pytest.approx(LOW_SIDE_GAUGE_PA, abs=6e3)  # rounding, twice


def test_the_wrong_file_is_that_of_another_machine_on_file() -> None:
    said = caller_in(Mismatch.WRONG_FILE).answer("machine")
    assert said in {item.name.partition(" (")[0] for item in machines().values()}
    assert not machines()[NAME].name.startswith(said)


def test_a_machine_left_out_is_neither_named_nor_on_file() -> None:
    assert NAME not in content_under(Mismatch.LEFT_OUT, content_in_use(), NAME).machines
    assert caller_in(Mismatch.LEFT_OUT).answer("machine").startswith("unknown")


def test_high_up_the_air_presses_less_and_nobody_says_so() -> None:
    place = place_under(Mismatch.HIGH_UP, some_place())
    assert isinstance(place, HighPlace)
    # ISO 2533 at 2000 m: 79.5 kPa.
    assert place.conditions.barometric_pressure_pa == pytest.approx(79_500.0, rel=0.001)
    assert caller_in(Mismatch.HIGH_UP).answer("site_altitude").startswith("unknown")


# The order of questions


def test_harvest_readings_wait_until_the_freeze_is_proven_sound() -> None:
    engine, content = shipped_engine(), content_in_use()
    sound = rule_into_harvest(engine.tree)
    case = up_to("ice_released", SOUND_FREEZE)
    findings = {
        key: item for key in case.answers if (item := finding_of(content, case, key)) is not None
    }
    assert is_freeze_proven(sound, findings)
    assert "coil_voltage" in askable(content, engine.tree, findings, True)
    without = {key: item for key, item in findings.items() if key != "discharge_line_temperature"}
    assert not is_freeze_proven(sound, without)
    assert "coil_voltage" not in askable(content, engine.tree, without, False)
    assert "receiver_vapor_feed_failed" not in may_be_repaired(content, findings, True)


def test_a_plain_fault_is_found_in_the_best_order_with_no_more_than_needed() -> None:
    jobs = (Job("refrigerant_undercharge", 0, 11), Job("harvest_coil_open", 0, 12))
    pairs = pairs_of(Batch(some_place(), jobs, ()))
    assert [pair.best.is_right for pair in pairs] == [True, True]
    for pair in pairs:
        assert pair.context < pair.fewest <= pair.best.questions
    assert max(map(len, order_table(pairs))) <= WIDTH


def test_a_job_makes_the_same_caller_each_time() -> None:
    batch = few_batches()[0]
    found = [caller_for(batch, batch.jobs[0]) for _ in range(2)]
    assert found[0] is not None
    assert found[1] is not None
    assert found[0][0].answer("suction_superheat") == found[1][0].answer("suction_superheat")
