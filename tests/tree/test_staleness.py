"""Likelihoods that no longer belong to the content are told, and not used where they do not fit."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import replace
from typing import Any

import pytest

from tests.tree.hand_made import with_likelihoods
from tests.tree.miniature import sound_draft
from triage.dialogue.beliefs import beliefs_of
from triage.tree.content import Choice, Content
from triage.tree.likelihoods import ON_FILE, TYPICAL, fingerprint, fitting_modes, staleness

MINIATURE = sound_draft().content()
SHOWN = {
    "thin_charge": [(1.0, {"ice_pattern": {"thin_at_outlet": 0.9}})],
    "feed_failed": [(1.0, {"harvest_suction_pressure": {"far_below": 0.95}})],
}
NONE = "There are no computed likelihoods; causes are ranked by their judged signs."
MISFIT = (
    "likelihoods.json does not cover the readings there are, so causes are ranked by their judged "
    "signs; compute it anew with: triage tree likelihoods"
)
STALE = (
    "likelihoods.json was computed before machines, readings or causes changed; compute it anew "
    "with: triage tree likelihoods"
)
FRESH = with_likelihoods(MINIATURE, SHOWN)


def is_ranked_by_signs(content: Content) -> bool:
    return all(beliefs_of(content, setting).is_discounted for setting in (ON_FILE, TYPICAL))


def test_what_was_just_computed_is_not_stale() -> None:
    assert staleness(FRESH) == ""
    assert not is_ranked_by_signs(FRESH)


def test_content_without_the_file_says_so() -> None:
    assert staleness(MINIATURE) == NONE
    assert is_ranked_by_signs(MINIATURE)


def one_reading_less(content: Content) -> Content:
    readings = {key: item for key, item in content.readings.items() if key != "ice_pattern"}
    return replace(content, readings=readings)


def one_more_choice(content: Content) -> Content:
    pattern = content.readings["ice_pattern"]
    more = replace(pattern, choices=(*pattern.choices, Choice("patchy", "in patches")))
    return replace(content, readings={**content.readings, "ice_pattern": more})


def no_band_any_more(content: Content) -> Content:
    plain = replace(content.readings["freeze_time"], is_banded=False)
    return replace(content, readings={**content.readings, "freeze_time": plain})


@pytest.mark.parametrize("edited", [one_reading_less, one_more_choice, no_band_any_more])
def test_content_the_file_does_not_fit_is_ranked_by_signs_and_says_so(
    edited: Callable[[Content], Content],
) -> None:
    content = edited(FRESH)
    assert fitting_modes(content, ON_FILE) is fitting_modes(content, TYPICAL) is None
    assert staleness(content) == MISFIT
    assert is_ranked_by_signs(content)


def another_reading(content: Content) -> Content:
    reading = replace(content.readings["freeze_time"], id="harvest_time")
    return replace(content, readings={**content.readings, "harvest_time": reading})


def another_machine(content: Content) -> Content:
    (machine,) = content.machines.values()
    twin = replace(machine, id="twin", name="Twin")
    return replace(content, machines={**content.machines, "twin": twin})


def another_healthy_choice(content: Content) -> Content:
    pattern = replace(content.readings["ice_pattern"], normal=("even", "thin_at_outlet"))
    return replace(content, readings={**content.readings, "ice_pattern": pattern})


def another_minute(content: Content) -> Content:
    line = replace(content.readings["discharge_line_temperature"], default_minute=8.0)
    return replace(content, readings={**content.readings, "discharge_line_temperature": line})


@pytest.mark.parametrize(
    "edited", [another_reading, another_machine, another_healthy_choice, another_minute]
)
def test_content_changed_since_is_told_to_compute_anew(
    edited: Callable[[Content], Content],
) -> None:
    content = edited(FRESH)
    assert fingerprint(content) != fingerprint(FRESH)
    assert staleness(content) == STALE
    assert not is_ranked_by_signs(content)


def other_words(content: Content) -> Content:
    causes = {
        key: replace(item, name="other", explanation="other", minutes=7.0)
        for key, item in content.causes.items()
    }
    readings = {
        key: replace(item, name="other", spoken=("other",), minutes=9.0, cautions=())
        for key, item in content.readings.items()
    }
    trees = {"sticks": replace(content.trees["sticks"], title="other", most_questions=99)}
    return replace(content, causes=causes, readings=readings, trees=trees, cautions={})


def test_words_priors_minutes_and_routes_may_change_without_them() -> None:
    assert fingerprint(other_words(FRESH)) == fingerprint(FRESH)
    assert staleness(other_words(FRESH)) == ""


def test_the_order_of_causes_readings_and_machines_does_not_matter() -> None:
    def turned(items: Mapping[str, Any]) -> dict[str, Any]:
        return {key: items[key] for key in reversed(list(items))}

    both = another_machine(FRESH)
    other = replace(
        both, causes=turned(both.causes), readings=turned(both.readings),
        machines=turned(both.machines),
    )  # fmt: skip
    assert fingerprint(other) == fingerprint(both)
