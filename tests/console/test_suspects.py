"""The causes an escalation is left with, and how much the others have."""

from __future__ import annotations

from dataclasses import replace

from tests.console import sample
from triage.console.cards import suspects_left
from triage.dialogue.view import RankedCause

FEED, VALVE = "receiver_vapor_feed_failed", "hot_gas_valve_not_opening"


def left(named: tuple[str, ...], **ranked: float) -> list[str]:
    """Return the suspects of an escalation that names some causes, of these probabilities."""
    end = sample.ESCALATED
    causes = tuple(RankedCause(cause, probability) for cause, probability in ranked.items())
    end = replace(
        end,
        ending=replace(end.ending, shortlist=named),
        conclusion=replace(end.conclusion, ranked=causes),
    )
    return suspects_left(end, sample.telling())


def test_where_others_have_more_than_half_it_says_how_much() -> None:
    lines = left((VALVE,), **{FEED: 0.87, VALVE: 0.12})
    assert [line.partition(" % ")[0] for line in lines] == ["12", "87"]
    assert lines[-1] == "87 % all other causes together"


def test_where_the_listed_ones_have_most_or_all_there_is_no_such_line() -> None:
    assert len(left((FEED,), **{FEED: 0.87, VALVE: 0.12})) == 1
    assert len(left((FEED, VALVE), **{FEED: 0.3, VALVE: 0.3})) == 2


def test_where_nothing_is_blamed_nothing_is_said_of_others() -> None:
    assert left((), **{FEED: 0.87, VALVE: 0.12}) == []
