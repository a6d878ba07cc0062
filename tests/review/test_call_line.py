"""What a list says of a call, in words that are not the program's own."""

from __future__ import annotations

from dataclasses import replace

import pytest

from tests.conversation import TREE, shipped_engine
from triage.review.call_line import machine_of, standing, who
from triage.store.listing import PARKED, STOPPED, SessionSummary

CONTENT = shipped_engine().content
LINE = SessionSummary("20261125-0931-aaaa", tree=TREE, agent="Eve", desk="Eve")
ENDED = replace(LINE, state="ended", result="recommended", cause="receiver_vapor_feed_failed")


def test_a_resumed_call_names_both_desks() -> None:
    assert who(LINE) == "Eve"
    assert who(replace(LINE, desk="eve")) == "Eve"
    assert who(replace(LINE, desk="Hal")) == "Eve, then Hal"
    assert who(replace(LINE, agent="", desk="Hal")) == "no name, then Hal"
    assert who(replace(LINE, agent="", desk="")) == ""


def test_an_invented_machine_is_not_called_so_on_every_line() -> None:
    assert machine_of(replace(LINE, machine="gletsch_r500"), CONTENT) == "Gletsch R500"
    assert machine_of(replace(LINE, refrigerant="R-404A"), CONTENT) == "R-404A"


@pytest.mark.parametrize(
    ("line", "words"),
    [
        (LINE, "going on"),
        (replace(LINE, node="freeze_time"), "going on, at freeze time"),
        (replace(LINE, node="freeze_time", last_kind="asked"), "going on, at freeze time"),
        (replace(LINE, state=STOPPED, node="freeze_time"), "left at freeze time"),
        (replace(LINE, state=STOPPED), "left before the first question"),
        (replace(LINE, state=STOPPED, node="caution:wet_floor@freeze_time"),
         f'left at the caution "{CONTENT.cautions["wet_floor"].title}"'),
        (replace(LINE, state=PARKED, due_at="2026-11-25T19:00:00+01:00"),
         "parked until 2026-11-25 18:00"),
        (replace(LINE, state=PARKED, due_at="soon"), "parked"),
        (replace(LINE, state="ended", result="escalated", ending="freeze.freeze_not_proven"),
         "escalated: The freeze is not proven sound"),
        (replace(LINE, state="ended", result="escalated", ending="gone"), "escalated"),
    ],
)  # fmt: skip
def test_how_a_call_stands(line: SessionSummary, words: str) -> None:
    assert standing(line, CONTENT) == words


@pytest.mark.parametrize(
    ("had_two_good_cycles", "words"),
    [(True, "held"), (False, "did not hold"), (None, "not proven")],
)
def test_what_a_repair_found_is_told_with_whether_it_held(
    had_two_good_cycles: bool | None, words: str
) -> None:
    line = replace(
        ENDED, outcome="receiver_vapor_feed_failed", had_two_good_cycles=had_two_good_cycles
    )
    name = CONTENT.causes["receiver_vapor_feed_failed"].name
    assert standing(line, CONTENT) == f"recommended: {name}; found: {name}, {words}"
