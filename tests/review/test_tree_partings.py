"""How conversations with a tree change between two contents, as shares of calls."""

from __future__ import annotations

import pytest

from tests.tree.miniature import Draft, Rule, sound_draft
from triage.review import tree_partings as module
from triage.review.tree_partings import DRAWN_CALLS, TreePartings, tree_partings
from triage.review.usual_answers import LICENSED_CALLER, OTHER_CALLER, usual_answers
from triage.tree.conversations import TooLarge

BEFORE = sound_draft().content()
TREE = "sticks"


def to(changed: Draft) -> TreePartings:
    return tree_partings(BEFORE, changed.content(), TREE)


def thin_is_handed_over() -> Draft:
    changed = sound_draft()
    changed.junctions["thin"] = ("freeze", [Rule("charge", {"freeze_time": "above"})], "hand_on")
    changed.route("pattern", thin_at_outlet="thin")
    return changed


def test_the_share_that_ends_otherwise_is_that_of_the_answers_it_hangs_on() -> None:
    found = to(thin_is_handed_over())
    assert found.callers == (LICENSED_CALLER, OTHER_CALLER)
    assert found.partings is not None
    (end,) = found.partings.ends
    assert (end.before, end.after) == ("charge", "hand_on")
    for number, who in enumerate(found.callers):
        usual = usual_answers(BEFORE, TREE, who)
        thin, above = (
            usual.chances[reading][outcome]
            for reading, outcome in (("ice_pattern", "thin_at_outlet"), ("freeze_time", "above"))
        )
        share = sum(of * thin[mode] * (1.0 - above[mode]) for mode, of in enumerate(usual.shares))
        assert end.shares[number] == pytest.approx(share)
        assert found.ends_otherwise()[number] == pytest.approx(share)
    assert found.partings.asks_otherwise == (0.0, 0.0)


def test_an_end_that_is_handed_over_has_other_causes_and_another_name_for_the_same_has_not() -> (
    None
):
    found = to(thin_is_handed_over())
    assert found.ends_otherwise(with_other_causes=True) == found.ends_otherwise()
    changed = sound_draft()
    changed.endings["thin"] = changed.endings["charge"]
    changed.junctions["fork"] = ("freeze", [Rule("charge", {"freeze_time": "above"})], "thin")
    changed.route("pattern", thin_at_outlet="fork")
    told = to(changed)
    assert told.ends_otherwise()[0] > 0.0
    assert told.ends_otherwise(with_other_causes=True) == (0.0, 0.0)


def test_an_ending_of_the_same_name_that_concludes_something_else_is_another_end() -> None:
    swapped = sound_draft()
    swapped.endings["charge"] = "causes: [feed_failed]"
    swapped.endings["feed"] = "causes: [thin_charge]"
    found = to(swapped)
    assert found.partings is not None
    ends = {
        (found.endings[item.before][1].causes, found.endings[item.after][1].causes)
        for item in found.partings.ends
    }
    assert ends == {(("thin_charge",), ("feed_failed",)), (("feed_failed",), ("thin_charge",))}


def test_other_words_and_other_advice_change_no_conversation() -> None:
    changed = sound_draft()
    changed.endings["hand_on"] = changed.endings["hand_on"].replace("Off", "On")
    found = to(changed)
    assert found.partings is not None
    assert found.partings.ends == ()
    assert found.partings.asks_otherwise == (0.0, 0.0)


def test_a_reading_that_is_new_is_drawn_as_the_second_content_has_it() -> None:
    changed = sound_draft()
    text = "  machine: {name: machine, kind: machine}\n"
    readings = changed.bytes()["readings.yaml"].decode()
    assert text in readings
    new = (
        "  noise: {name: noise, kind: choice, choices: {loud: {label: loud}, low: {label: low}}}\n"
    )
    changed.files["readings.yaml"] = readings.replace(text, text + new)
    changed.route("room", else_="noise")
    changed.ask("noise", "noise", "machine", loud="hand_on", else_="which")
    found = to(changed)
    assert found.partings is not None
    assert found.partings.asks_otherwise == pytest.approx((1.0, 1.0))
    thin = next(item for item in found.partings.ends if item.before == "charge")
    usual = usual_answers(BEFORE, TREE, OTHER_CALLER)
    share = sum(
        of * usual.chances["ice_pattern"]["thin_at_outlet"][mode]
        for mode, of in enumerate(usual.shares)
    )
    assert thin.after == "hand_on"
    assert thin.shares[1] == pytest.approx(0.475 * share)


def test_drawn_calls_come_to_the_same_shares_but_for_chance(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    exact = to(thin_is_handed_over())

    def refuse(*_: object) -> None:
        raise TooLarge

    monkeypatch.setattr(module, "partings", refuse)
    drawn = to(thin_is_handed_over())
    assert drawn.partings is not None
    assert len(drawn.standard_errors) == 2
    for found, true, error in zip(
        drawn.ends_otherwise(), exact.ends_otherwise(), drawn.standard_errors, strict=True
    ):
        assert 0.0 < error < 1.0 / DRAWN_CALLS**0.5
        assert abs(found - true) < 4.0 * error
    assert drawn == to(thin_is_handed_over()), "the lot is drawn alike each time"


def test_a_tree_too_entangled_is_told_as_such(monkeypatch: pytest.MonkeyPatch) -> None:
    def refuse(*_: object) -> None:
        raise TooLarge

    monkeypatch.setattr(module, "conversations", refuse)
    found = to(thin_is_handed_over())
    assert found.partings is None
    assert found.ends_otherwise() == (0.0, 0.0)
