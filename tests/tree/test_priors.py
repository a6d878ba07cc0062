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

from tests.conversation import CONTENT_FOLDER, TREE
from triage.dialogue.rank import rank_causes
from triage.tree.cache import checked_content
from triage.tree.content import OUTCOMES, Content
from triage.tree.errors import ContentErrors, UnknownTree
from triage.tree.load import load_content
from triage.tree.load_outcomes import outcomes_text
from triage.tree.priors import content_for, corrected_priors


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    copy = tmp_path / "trees"
    shutil.copytree(CONTENT_FOLDER, copy)
    return copy


def write(folder: Path, text: str) -> None:
    (folder / OUTCOMES).write_text(text, encoding="utf-8")


def view(folder: Path) -> Content:
    return content_for(load_content(folder), TREE)


def test_corrected_priors_are_those_worked_by_hand(folder: Path) -> None:
    written = view(folder)
    assert written.stakes.priors_are_worth_calls == 50.0
    assert written.causes["hot_gas_valve_not_opening"].prior == pytest.approx(0.07)
    assert written.causes["receiver_vapor_feed_failed"].prior == pytest.approx(0.14)
    write(folder, outcomes_text({TREE: {"hot_gas_valve_not_opening": 25, "healthy": 5}}))
    content = view(folder)
    # 50 calls' worth of written priors and 30 confirmed: (50 * 0.07 + 25) / 80 and so on.
    assert content.causes["hot_gas_valve_not_opening"].prior == pytest.approx(28.5 / 80)
    assert content.causes["healthy"].prior == pytest.approx(5.5 / 80)
    assert content.causes["receiver_vapor_feed_failed"].prior == pytest.approx(7.0 / 80)
    assert sum(cause.prior for cause in content.causes.values()) == pytest.approx(1.0)
    assert content.outcomes == {TREE: {"hot_gas_valve_not_opening": 25, "healthy": 5}}
    assert corrected_priors(written, TREE, content.outcomes[TREE]) == pytest.approx(
        {key: cause.prior for key, cause in content.causes.items()}
    )


def test_what_one_complaint_confirmed_does_not_move_another(folder: Path) -> None:
    text = (folder / f"{TREE}.yaml").read_text(encoding="utf-8")
    (folder / "twin.yaml").write_text(text.replace(f"tree: {TREE}", "tree: twin"), encoding="utf-8")
    write(folder, outcomes_text({"twin": {"healthy": 30}}))
    content = load_content(folder)
    assert content_for(content, TREE).causes["healthy"].prior == pytest.approx(0.01)
    assert content_for(content, "twin").causes["healthy"].prior == pytest.approx(30.5 / 80)


def test_a_complaint_sees_its_own_causes_alone(folder: Path) -> None:
    content = load_content(folder)
    seen = content_for(content, TREE)
    assert list(seen.causes) == list(content.trees[TREE].causes)
    assert list(seen.trees) == [TREE]
    assert seen.version == content.version
    with pytest.raises(UnknownTree):
        content_for(content, "no_such_tree")


def test_ranking_without_a_reading_is_the_corrected_priors(folder: Path) -> None:
    before = {item.cause: item.probability for item in rank_causes(view(folder), [])}
    assert max(before, key=before.__getitem__) == "receiver_vapor_feed_failed"
    write(folder, outcomes_text({TREE: {"hot_gas_valve_not_opening": 25}}))
    after = {item.cause: item.probability for item in rank_causes(view(folder), [])}
    assert max(after, key=after.__getitem__) == "hot_gas_valve_not_opening"
    assert after["hot_gas_valve_not_opening"] == pytest.approx(28.5 / 75)
    assert after["harvest_coil_open"] == pytest.approx(before["harvest_coil_open"] * 50 / 75)


def test_outcomes_are_part_of_the_version_and_of_what_is_remembered(
    folder: Path, tmp_path: Path
) -> None:
    cache = tmp_path / "cache"
    without = checked_content(folder, cache)
    write(folder, outcomes_text({TREE: {"healthy": 1}}))
    first, remembered = checked_content(folder, cache), checked_content(folder, cache)
    assert first.version != without.version
    assert remembered.outcomes == first.outcomes == {TREE: {"healthy": 1}}


def test_counts_written_are_the_counts_read_in_one_order() -> None:
    text = outcomes_text({"b": {"y": 2, "x": 1}, "a": {"x": 3}})
    assert text == outcomes_text({"a": {"x": 3}, "b": {"x": 1, "y": 2}})
    assert json.loads(text) == {"format": 1, "confirmed": {"a": {"x": 3}, "b": {"x": 1, "y": 2}}}


def test_file_without_counts_leaves_the_priors_as_written(folder: Path) -> None:
    before = view(folder)
    write(folder, outcomes_text({}))
    assert view(folder).causes == before.causes


@pytest.mark.parametrize(
    ("confirmed", "place", "said"),
    [
        ('{"will_not_release": {"gremlins": 3}}', "1:50", 'names "gremlins", which is no cause'),
        ('{"will_not_release": {"healty": 3}}', "1:50", 'did you mean "healthy"?'),
        ('{"will_not_release": {"healthy": -2}}', "1:61", "must lie from 0"),
        ('{"will_not_release": {"healthy": 1.5}}', "1:61", "counts whole repairs"),
        ('{"will_not_release": {"healthy": "4"}}', "1:61", "drop the quotes"),
        ('{"will_not_release": {"healthy": [4]}}', "1:61", "wants one whole number"),
        ('{"will_not_release": {"healthy": null}}', "1:61", "wants one whole number"),
        ('{"will_not_release": {"healthy": 1, "healthy": 2}}', "1:64", "a second time"),
        ('{"will_not_relaese": {"healthy": 1}}', "1:29", 'did you mean "will_not_release"?'),
        ('{"healthy": 3}', "1:40", "wants causes with their counts"),
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
