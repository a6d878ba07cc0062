"""The ranking is exact inference in a Bayesian network: checked against pyAgrum's, and by its laws.

Reference: pyAgrum, a general-purpose library for Bayesian networks (agrum.org), which infers by
lazy propagation in a junction tree; it is given the same tables and knows nothing of modes.
"""

from __future__ import annotations

import math
import random
from collections.abc import Mapping, Sequence
from dataclasses import replace
from functools import cache
from itertools import product

import pyagrum
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import dirichlet

from tests.conversation import TREE
from tests.dialogue.likelihood_tables import chance_of, manners, priors, readings_told
from tests.dialogue.told import (
    JUDGED,
    RESIDUALS,
    SHIPPED,
    VERDICTS,
    finding,
    findings,
    told_readings,
)
from tests.strategies import FIXED
from tests.tree.hand_made import with_likelihoods
from tests.tree.miniature import sound_draft
from triage.dialogue.beliefs import (
    DEPENDENT_GROUPS,
    MISREAD_SHARE,
    beliefs_of,
    judged_chance,
)
from triage.dialogue.grades import grade_of
from triage.dialogue.rank import rank_causes
from triage.dialogue.view import Finding
from triage.physics.bands import Basis, BasisKind
from triage.tree.content import UNKNOWN, Content, Side
from triage.tree.likelihoods import ON_FILE, TYPICAL
from triage.tree.priors import content_for, corrected_priors

TOLD = readings_told()
BANDED = tuple(key for key in TOLD if SHIPPED.readings[key].is_banded)
LONE = tuple(
    key
    for key in TOLD
    if not any(key in group and len(group) > 1 for group in DEPENDENT_GROUPS)
)  # fmt: skip
"""Readings in no group of dependent ones."""

ROUNDING = 1e-9
"""Both ways multiply some thirty numbers; far less than a person could see."""


def chances(found: Sequence[Finding], content: Content = SHIPPED) -> dict[str, float]:
    """Return the probability of each cause, by the code under test."""
    return {item.cause: item.probability for item in rank_causes(content, found)}


class Network:
    """A network of pyAgrum's: cause, the mode it shows in, and the readings behind the mode."""

    def __init__(self, tables: Mapping[str, Mapping[str, Sequence[Sequence[float]]]]) -> None:
        """Take the tables of `cause`, `mode` and each reading: outcomes by parent, in rows."""
        self.net = pyagrum.BayesNet("machine")
        for name, table in tables.items():
            labels = list(table["labels"])
            self.net.add(pyagrum.LabelizedVariable(name, name, labels))
            parent = {"cause": None, "mode": "cause"}.get(name, "mode")
            if parent:
                self.net.addArc(parent, name)
            self.net.cpt(name)[:] = table["rows"] if parent else table["rows"][0]
        self.inference = pyagrum.LazyPropagation(self.net)
        self.inference.setTargets({"cause"})

    def posterior(self, told: Mapping[str, str]) -> dict[str, float]:
        """Return the probability of each cause; a verdict is soft evidence over its grades."""
        self.inference.eraseAllEvidence()
        evidence = {}
        for reading, found in told.items():
            labels = self.net.variable(reading).labels()
            meant = VERDICTS.get(found, (found,)) if found not in labels else (found,)
            evidence[reading] = [float(label in meant) for label in labels]
        self.inference.setEvidence(evidence)
        self.inference.makeInference()
        posterior = self.inference.posterior("cause")
        return dict(zip(SHIPPED.causes, posterior.tolist(), strict=True))


@cache
def computed_network(setting: str) -> Network:
    """Return the network of the file of likelihoods."""
    ways = manners(setting)
    tables: dict[str, dict[str, object]] = {
        "cause": {"labels": list(SHIPPED.causes), "rows": [list(priors().values())]},
        "mode": {
            "labels": [f"{way.cause}_{number}" for number, way in enumerate(ways)],
            "rows": [
                [way.share if way.cause == cause else 0.0 for way in ways]
                for cause in SHIPPED.causes
            ],
        },
    }
    for reading in TOLD:
        labels = list(ways[0].chances[reading])
        tables[reading] = {
            "labels": labels,
            "rows": [[way.chances[reading][label] for label in labels] for way in ways],
        }
    return Network(tables)  # type: ignore[arg-type]


@cache
def judged_network() -> Network:
    """Return the network of the judged signs: one mode to a cause, each row made to sum to one."""
    causes = list(JUDGED.causes.values())
    tables: dict[str, dict[str, object]] = {
        "cause": {"labels": list(JUDGED.causes), "rows": [list(priors().values())]},
        "mode": {
            "labels": list(JUDGED.causes),
            "rows": [[float(one is other) for one in causes] for other in causes],
        },
    }
    for reading in TOLD:
        labels = [item for item in JUDGED.readings[reading].outcomes if item != UNKNOWN]
        tables[reading] = {
            "labels": labels,
            "rows": [
                [judged_chance(cause, JUDGED.readings[reading], label) for label in labels]
                for cause in causes
            ],
        }
    return Network(tables)  # type: ignore[arg-type]


# Against pyAgrum.


@given(told=told_readings(TOLD))
@FIXED
def test_the_ranking_of_a_machine_on_file_is_that_of_pyagrum(told: dict[str, str]) -> None:
    expected = computed_network(ON_FILE).posterior(told)
    assert chances(findings(told)) == pytest.approx(expected, abs=ROUNDING)


@given(told=told_readings(TOLD), graded=st.sampled_from(BANDED), at=st.sampled_from([*RESIDUALS]))
@FIXED
def test_the_ranking_of_a_typical_machine_is_that_of_pyagrum(
    told: dict[str, str], graded: str, at: str
) -> None:
    # One reading with a band of a typical machine is what tells that there is none on file.
    told = {**told, graded: at}
    expected = computed_network(TYPICAL).posterior(told)
    assert chances(findings(told, is_typical=True)) == pytest.approx(expected, abs=ROUNDING)


@given(told=told_readings(BANDED, verdicts_only=True))
@FIXED
def test_a_verdict_alone_is_soft_evidence_over_its_grades(told: dict[str, str]) -> None:
    expected = computed_network(ON_FILE).posterior(told)
    assert chances(findings(told)) == pytest.approx(expected, abs=ROUNDING)


@given(told=told_readings(LONE, verdicts_only=True))
@FIXED
def test_the_judged_ranking_without_groups_is_that_of_pyagrum(told: dict[str, str]) -> None:
    expected = judged_network().posterior(told)
    assert chances(findings(told, JUDGED), JUDGED) == pytest.approx(expected, abs=ROUNDING)


@pytest.mark.parametrize("setting", [ON_FILE, TYPICAL])
def test_everything_read_at_once_is_still_that_of_pyagrum(setting: str) -> None:
    generator = random.Random(20)
    for _ in range(20):
        told = {
            reading: generator.choice(list(manners(setting)[0].chances[reading]))
            for reading in TOLD
        }
        found = findings(told, is_typical=setting == TYPICAL)
        expected = computed_network(setting).posterior(told)
        assert chances(found) == pytest.approx(expected, abs=ROUNDING)


# Laws.


@pytest.mark.parametrize("content", [SHIPPED, JUDGED], ids=["computed", "judged"])
def test_before_any_reading_the_written_priors_stand(content: Content) -> None:
    assert chances([], content) == pytest.approx(priors(), abs=ROUNDING)


@given(told=told_readings(TOLD), mixer=st.randoms(use_true_random=False))
@FIXED
def test_the_order_of_the_findings_does_not_matter(
    told: dict[str, str], mixer: random.Random
) -> None:
    found = findings(told)
    first = chances(found)
    mixer.shuffle(found)
    assert chances(found) == pytest.approx(first, rel=1e-9)


@given(told=told_readings(TOLD), silent=st.sampled_from(TOLD))
@FIXED
def test_an_unknown_reading_says_nothing(told: dict[str, str], silent: str) -> None:
    told.pop(silent, None)
    assert chances([*findings(told), finding(silent, UNKNOWN)]) == chances(findings(told))


@given(told=told_readings(TOLD))
@FIXED
def test_harvest_causes_have_no_chance_while_the_freeze_is_not_proven(told: dict[str, str]) -> None:
    every = chances(findings(told))
    freeze_only = {
        item.cause: item.probability
        for item in rank_causes(SHIPPED, findings(told), is_freeze_proven=False)
    }
    left = [key for key, cause in SHIPPED.causes.items() if cause.side is not Side.HARVEST]
    assert set(freeze_only) == set(left)
    # What is left keeps its odds: leaving causes out is conditioning on the rest.
    whole = math.fsum(every[cause] for cause in left)
    assert freeze_only == pytest.approx({c: every[c] / whole for c in left}, rel=1e-9)


@pytest.mark.parametrize("setting", [ON_FILE, TYPICAL])
def test_what_a_reading_may_show_sums_to_one_in_every_mode(setting: str) -> None:
    # Else a question would seem to make some of the probability, and its cost, vanish.
    beliefs = beliefs_of(SHIPPED, setting)
    for reading, columns in beliefs.whole_columns.items():
        for number, sums in enumerate(zip(*columns, strict=True)):
            whole = math.fsum(sums)
            assert whole == pytest.approx(1.0, abs=1e-9), (reading, beliefs.owners[number])


@pytest.mark.parametrize("setting", [ON_FILE, TYPICAL])
@pytest.mark.parametrize("cause", list(SHIPPED.causes))
def test_the_chance_of_an_outcome_is_its_mean_over_the_modes(cause: str, setting: str) -> None:
    beliefs = beliefs_of(SHIPPED, setting)
    ways = [way for way in manners(setting) if way.cause == cause]
    for reading in TOLD:
        for found in (*ways[0].chances[reading], *(VERDICTS if reading in BANDED else ())):
            expected = sum(way.share * chance_of(way.chances, reading, found) for way in ways)
            assert beliefs.chance(cause, reading, found) == pytest.approx(expected, abs=1e-9)


def test_no_reading_rules_a_cause_out_but_what_the_content_calls_impossible() -> None:
    beliefs = beliefs_of(SHIPPED, ON_FILE)
    for cause, reading in product(SHIPPED.causes, TOLD):
        impossible = {
            found for found, chance in SHIPPED.causes[cause].signs.get(reading, {}).items()
            if chance == 0.0
        }  # fmt: skip
        for found in beliefs.columns[reading]:
            chance = beliefs.chance(cause, reading, found)
            assert (chance < 1e-4) == (found in impossible), (cause, reading, found)


# A reading that repeats another one.

TWINS = ("freeze_suction_pressure_early", "freeze_suction_pressure_late")
SAME = [{TWINS[0]: {grade: 1.0}, TWINS[1]: {grade: 1.0}} for grade in ("just_below", "middle")]
LOW_OR_NOT = with_likelihoods(
    content_for(sound_draft().content(), "sticks"),
    {
        "thin_charge": [(0.8, SAME[0]), (0.2, SAME[1])],
        "feed_failed": [(0.1, SAME[0]), (0.9, SAME[1])],
        "nothing_wrong": [(0.1, SAME[0]), (0.9, SAME[1])],
    },
)
"""Two readings that are the same one in every machine: low in most of one cause, else as usual."""


def log_odds(found: Mapping[str, str]) -> float:
    share = chances(findings(found, LOW_OR_NOT), LOW_OR_NOT)["thin_charge"]
    return math.log(share / (1.0 - share))


def test_a_reading_that_only_repeats_another_adds_next_to_nothing() -> None:
    none, one, both = (log_odds(dict.fromkeys(TWINS[:n], "just_below")) for n in range(3))
    # By hand: 0.8 against 0.1, with a few numbers in a hundred misread as any of seven grades.
    read, misread = 1.0 - MISREAD_SHARE, MISREAD_SHARE / 7.0
    ratio = (read * 0.8 + misread) / (read * 0.1 + misread)
    assert one - none == pytest.approx(math.log(ratio), rel=1e-9)
    # What is left is the doubt whether the first of the two was misread.
    assert 0.0 < both - one < MISREAD_SHARE * (one - none)


def test_a_reading_that_denies_its_twin_takes_back_what_the_first_one_said() -> None:
    # One of the two was misread, and nothing tells which.
    none, split = log_odds({}), log_odds({TWINS[0]: "just_below", TWINS[1]: "middle"})
    assert split == pytest.approx(none, abs=0.01)


@given(told=told_readings(TOLD, most=6), more=st.sampled_from(TOLD))
@FIXED
def test_what_is_believed_now_is_the_mean_of_what_will_be_believed(
    told: dict[str, str], more: str
) -> None:
    # No reading, twin of another or not, can be expected to make anything surer than it is.
    told.pop(more, None)
    beliefs = beliefs_of(SHIPPED, ON_FILE)
    now = beliefs.after(beliefs.shares, findings(told))
    mean = dict.fromkeys(beliefs.causes, 0.0)
    for found in manners(ON_FILE)[0].chances[more]:
        column = beliefs.columns[more][found]
        foretold = sum(weight * chance for weight, chance in zip(now, column, strict=True))
        for cause, chance in chances(findings({**told, more: found})).items():
            mean[cause] += foretold * chance
    assert mean == pytest.approx(chances(findings(told)), abs=1e-9)


# Grades.


@given(
    residual=st.floats(-6.0, 6.0) | st.sampled_from([-2.5, -1.0, -0.4, 0.0, 0.4, 1.0, 2.5]),
    kind=st.sampled_from([BasisKind.MODEL, BasisKind.ADAPTED, BasisKind.STANDARD]),
)
@FIXED
def test_a_grade_never_contradicts_the_verdict(residual: float, kind: BasisKind) -> None:
    # On the edge of its band a reading still lies within.
    verdict = "below" if residual < -1.0 else "above" if residual > 1.0 else "within"
    graded = replace(finding("freeze_time", VERDICTS[verdict][0]), residual=residual)
    assert graded.band is not None
    graded = replace(graded, band=replace(graded.band, basis=Basis(kind)))
    assert grade_of(graded) in VERDICTS[verdict]


@given(residuals=st.lists(st.floats(-6.0, 6.0), min_size=2, max_size=2).map(sorted))
@FIXED
def test_a_higher_residual_never_gets_a_lower_grade(residuals: list[float]) -> None:
    order = list(RESIDUALS)
    graded = [replace(finding("freeze_time", "middle"), residual=item) for item in residuals]
    places = [order.index(str(grade_of(item))) for item in graded]
    assert places == sorted(places)


def test_a_chart_or_a_band_over_all_conditions_has_verdicts_alone() -> None:
    graded = finding("freeze_time", "low")
    assert graded.band is not None
    assert grade_of(graded) == "low"
    for basis in (Basis(BasisKind.CHART), Basis(BasisKind.MODEL, is_any_condition=True)):
        assert grade_of(replace(graded, band=replace(graded.band, basis=basis))) == "within"
    assert grade_of(finding("freeze_time", UNKNOWN)) is None


# Priors and confirmed outcomes.


@given(counts=st.dictionaries(st.sampled_from(list(SHIPPED.causes)), st.integers(0, 500)))
@FIXED
def test_corrected_priors_are_the_mean_of_a_dirichlet_distribution(counts: dict[str, int]) -> None:
    worth = SHIPPED.stakes.priors_are_worth_calls
    alpha = [worth * priors()[cause] + counts.get(cause, 0) for cause in SHIPPED.causes]
    expected = dict(zip(SHIPPED.causes, dirichlet(alpha).mean(), strict=True))
    assert corrected_priors(SHIPPED, TREE, counts) == pytest.approx(expected, rel=1e-9)


def test_nothing_confirmed_leaves_the_written_priors() -> None:
    assert corrected_priors(SHIPPED, TREE, {}) == pytest.approx(priors(), rel=1e-12)


def test_priors_worth_nothing_stand_until_something_is_confirmed() -> None:
    content = replace(SHIPPED, stakes=replace(SHIPPED.stakes, priors_are_worth_calls=0.0))
    assert corrected_priors(content, TREE, {}) == pytest.approx(priors(), rel=1e-12)
    assert corrected_priors(content, TREE, {"healthy": 3})["healthy"] == 1.0


def test_confirmed_causes_unknown_here_change_nothing() -> None:
    assert corrected_priors(SHIPPED, TREE, {"gremlins": 90}) == corrected_priors(SHIPPED, TREE, {})


def test_as_many_confirmed_as_the_priors_are_worth_count_half() -> None:
    worth = int(SHIPPED.stakes.priors_are_worth_calls)
    corrected = corrected_priors(SHIPPED, TREE, {"healthy": worth})
    assert corrected["healthy"] == pytest.approx((priors()["healthy"] + 1.0) / 2.0)
    others = [cause for cause in SHIPPED.causes if cause != "healthy"]
    assert all(corrected[cause] == pytest.approx(priors()[cause] / 2.0) for cause in others)
