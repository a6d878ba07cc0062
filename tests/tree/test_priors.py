"""Confirmed outcomes beside a content: read, checked, and what they do to the priors.

The corrected prior is the posterior mean of a Dirichlet distribution with multinomial counts,
(a_i + n_i) / (sum a + sum n): Gelman, Carlin, Stern, Dunson, Vehtari and Rubin, Bayesian Data
Analysis, 3rd edition, section 3.4 (from memory).
"""

from __future__ import annotations

import json
import shutil
from pathlib import Path

import pytest

from tests.conversation import CONTENT_FOLDER
from triage.dialogue.rank import rank_causes
from triage.tree.cache import checked_content
from triage.tree.content import OUTCOMES
from triage.tree.errors import ContentErrors
from triage.tree.load import load_content
from triage.tree.priors import corrected_priors, outcomes_text


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    copy = tmp_path / "trees"
    shutil.copytree(CONTENT_FOLDER, copy)
    return copy


def write(folder: Path, text: str) -> None:
    (folder / OUTCOMES).write_text(text, encoding="utf-8")


def test_corrected_priors_are_those_worked_by_hand(folder: Path) -> None:
    written = load_content(folder)
    assert written.stakes.priors_are_worth_calls == 50.0
    assert written.causes["hot_gas_valve_not_opening"].prior == 0.07
    assert written.causes["receiver_vapor_feed_failed"].prior == 0.14
    write(folder, outcomes_text({"hot_gas_valve_not_opening": 25, "healthy": 5}))
    content = load_content(folder)
    # 50 calls' worth of written priors and 30 confirmed: (50 * 0.07 + 25) / 80 and so on.
    assert content.causes["hot_gas_valve_not_opening"].prior == pytest.approx(28.5 / 80)
    assert content.causes["healthy"].prior == pytest.approx(5.5 / 80)
    assert content.causes["receiver_vapor_feed_failed"].prior == pytest.approx(7.0 / 80)
    assert sum(cause.prior for cause in content.causes.values()) == pytest.approx(1.0)
    assert content.outcomes == {"hot_gas_valve_not_opening": 25, "healthy": 5}
    assert corrected_priors(written, content.outcomes) == pytest.approx(
        {key: cause.prior for key, cause in content.causes.items()}
    )


def test_ranking_without_a_reading_is_the_corrected_priors(folder: Path) -> None:
    before = {item.cause: item.probability for item in rank_causes(load_content(folder), [])}
    assert max(before, key=before.__getitem__) == "receiver_vapor_feed_failed"
    write(folder, outcomes_text({"hot_gas_valve_not_opening": 25}))
    after = {item.cause: item.probability for item in rank_causes(load_content(folder), [])}
    assert max(after, key=after.__getitem__) == "hot_gas_valve_not_opening"
    assert after["hot_gas_valve_not_opening"] == pytest.approx(28.5 / 75)
    assert after["harvest_coil_open"] == pytest.approx(before["harvest_coil_open"] * 50 / 75)


def test_outcomes_are_part_of_the_version_and_of_what_is_remembered(
    folder: Path, tmp_path: Path
) -> None:
    cache = tmp_path / "cache"
    without = checked_content(folder, cache)
    write(folder, outcomes_text({"healthy": 1}))
    first, remembered = checked_content(folder, cache), checked_content(folder, cache)
    assert first.version != without.version
    assert remembered.outcomes == first.outcomes == {"healthy": 1}
    assert remembered.causes == first.causes


def test_counts_written_are_the_counts_read_in_one_order() -> None:
    text = outcomes_text({"b": 2, "a": 1})
    assert text == outcomes_text({"a": 1, "b": 2})
    assert json.loads(text) == {"format": 1, "confirmed": {"a": 1, "b": 2}}


def test_file_without_counts_leaves_the_priors_as_written(folder: Path) -> None:
    before = load_content(folder)
    write(folder, outcomes_text({}))
    assert load_content(folder).causes == before.causes


@pytest.mark.parametrize(
    ("confirmed", "place", "said"),
    [
        ('{"gremlins": 3}', "1:29", 'names "gremlins", which is no cause'),
        ('{"healty": 3}', "1:29", 'did you mean "healthy"?'),
        ('{"healthy": -2}', "1:40", "must lie from 0"),
        ('{"healthy": 1.5}', "1:40", "counts whole repairs"),
        ('{"healthy": "4"}', "1:40", "drop the quotes"),
        ('{"healthy": [4]}', "1:40", "wants one whole number"),
        ('{"healthy": null}', "1:40", "wants one whole number"),
        ('{"healthy": 1, "healthy": 2}', "1:43", "a second time"),
        ('[1]', "1:28", "wants a mapping"),
        ('{}, "more": 1', "1:32", 'has no key "more"'),
    ],
)  # fmt: skip
def test_mistakes_are_told_with_their_place(
    folder: Path, confirmed: str, place: str, said: str
) -> None:
    write(folder, f'{{"format": 1, "confirmed": {confirmed}}}')
    with pytest.raises(ContentErrors) as caught:
        load_content(folder)
    assert f"{OUTCOMES}:{place} " in str(caught.value)
    assert said in str(caught.value)


@pytest.mark.parametrize("data", [b"", b"\xff", b'{"format": 1', b"[]", b'{"format": 2}', b"x: *y"])
def test_what_is_no_such_file_is_told_and_not_used(folder: Path, data: bytes) -> None:
    (folder / OUTCOMES).write_bytes(data)
    with pytest.raises(ContentErrors, match=OUTCOMES):
        load_content(folder)
