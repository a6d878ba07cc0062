"""No form of the export opens the gate: a repair is told only where the record ended with it."""

from __future__ import annotations

from dataclasses import replace

import pytest

from tests.conversation import TREE, shipped_engine
from tests.review.exports import (
    ESCALATED,
    FORMS,
    FULL,
    REFUSED,
    UNLICENSED,
    Spoken,
    exported,
    spoken,
    with_events,
)
from triage.dialogue.engine import Engine
from triage.dialogue.events import (
    Acknowledged,
    Answered,
    Asked,
    Concluded,
    Event,
    Resumed,
    Started,
)
from triage.dialogue.words import plain_text
from triage.review.export.call import ExportedCall
from triage.review.export.jsonl import call_data
from triage.review.export.told import CallWords

CAUSES = shipped_engine().content.causes
OTHER = Engine(replace(shipped_engine().content, version="f" * 64), TREE)
"""The same content under another version, as after an edit anywhere in it."""


def repair_words() -> list[str]:
    """Return a beginning of every repair of the content, long enough to be told by."""
    return [plain_text(cause.repair)[:40] for cause in CAUSES.values()]


def told_repairs(call: ExportedCall) -> list[str]:
    """Return the forms in which any repair is told, or any part to replace."""
    texts = {form: text_of(call) for form, text_of in FORMS.items()}
    return [form for form, text in texts.items() if any(map(text.__contains__, repair_words()))]


def test_a_recommended_call_tells_its_repair_in_every_form_that_has_room_for_it() -> None:
    """So that the other tests here can fail."""
    assert told_repairs(exported(spoken(FULL))) == ["jsonl", "markdown", "html"]


@pytest.mark.parametrize("name", [REFUSED, ESCALATED, UNLICENSED])
def test_a_call_that_ended_without_a_recommendation_tells_none(name: str) -> None:
    call = exported(spoken(name), with_personal_data=True)
    assert told_repairs(call) == []
    assert call_data(call)["judged"]["recommendation"] is None


def test_a_call_cut_off_anywhere_before_its_end_tells_none() -> None:
    lines = spoken(FULL)
    gate = [place for place, (_, _, event) in enumerate(lines) if isinstance(event, Acknowledged)]
    for cut in (*range(2, len(lines), 16), *gate):
        call = exported(lines[:cut])
        assert call.result == "unfinished"
        assert CallWords(call).repair is None
        assert call_data(call)["judged"]["recommendation"] is None
    assert told_repairs(exported(lines[: gate[-1]])) == []


def test_an_answer_put_in_behind_the_gate_shuts_it_again() -> None:
    lines = spoken(FULL)
    changed = with_events(lines, ("agent", Answered("freeze_time", "13 min", 780.0)))
    call = exported(changed)
    assert call.recorded is not None
    assert call.recorded.result == "recommended"
    assert told_repairs(call) == []
    assert CallWords(call).no_repair


def test_a_conclusion_put_in_without_its_gate_tells_none() -> None:
    lines = [line for line in spoken(FULL) if not _is_gate(line)]
    call = exported(lines)
    assert call.result == "recommended"  # so says the record
    assert told_repairs(call) == []


def test_a_call_held_under_other_content_is_told_as_its_record_says_without_a_repair() -> None:
    call = exported(spoken(FULL), engine=OTHER)
    words = CallWords(call)
    assert not call.is_same_content
    assert call.result == "recommended"
    assert call.causes == ("receiver_vapor_feed_failed",)
    assert told_repairs(call) == []
    held, now = shipped_engine().content.version[:12], OTHER.content.version[:12]
    assert f"Held with content {held}; judged here with content {now}." in words.content_note
    data = call_data(call)
    assert data["content"] == {
        "held_with": [shipped_engine().content.version],
        "judged_with": OTHER.content.version,
        "is_same": False,
    }
    assert data["recorded"]["cause_ids"] == ["receiver_vapor_feed_failed"]
    for form in ("markdown", "html"):
        assert "The repair is not shown" in FORMS[form](call)


def test_a_call_held_under_content_long_gone_can_still_be_read() -> None:
    content = shipped_engine().content
    cautions = {key: item for key, item in content.cautions.items() if key != "wet_floor"}
    lacking = Engine(replace(content, version="e" * 64, cautions=cautions), TREE)
    old = [(at, who, _of_old(event)) for at, who, event in spoken(FULL)]
    call = exported(old, engine=lacking)
    texts = {form: text_of(call) for form, text_of in FORMS.items()}
    assert "a_reading_of_old: not known to the content in use now" in texts["html"]
    assert "(a_question_of_old)" in texts["html"]
    assert "a_reading_of_old" in texts["jsonl"]
    for form, text in texts.items():
        plain = text.replace("\\", "")
        assert "wet_floor" in plain, form  # nobody knows its title any more
        assert "a_cause_of_old" in plain, form
    assert told_repairs(call) == []


def test_a_call_resumed_under_other_content_names_both() -> None:
    lines = list(spoken(ESCALATED))
    first = lines[0][2]
    assert isinstance(first, Started)
    lines[0] = (lines[0][0], lines[0][1], replace(first, content_version="a" * 64))
    at = lines[-2][0]
    lines.insert(-1, (at, "agent", Resumed(shipped_engine().content.version)))
    call = exported(lines)
    assert call.held_with == ("a" * 64, shipped_engine().content.version)
    assert call.is_same_content
    assert "aaaaaaaaaaaa" in CallWords(call).content_note


def _is_gate(line: Spoken) -> bool:
    return isinstance(line[2], Acknowledged) and bool(line[2].seal)


def _of_old(event: Event) -> Event:
    match event:
        case Asked("freeze.ice_pattern"):
            return Asked("a_question_of_old")
        case Concluded():
            return replace(event, ending="an_ending_of_old", causes=("a_cause_of_old",))
        case Answered("ice_pattern"):
            return replace(event, reading="a_reading_of_old")
        case _:
            return event


def test_a_caution_that_was_never_put_to_the_caller_is_named_and_not_told() -> None:
    page = FORMS["html"](exported(spoken(REFUSED)))
    cautions = shipped_engine().content.cautions
    assert cautions["brazing"].text in page  # refused
    assert cautions["food_safety"].title in page
    assert cautions["food_safety"].text not in page
    assert "Not reached." in page
