"""What speaks for and against a cause is said in few lines, none of them twice."""

from __future__ import annotations

import math
from dataclasses import replace

from tests.console import sample
from triage.console.evidence import evidence_lines, weight_words
from triage.dialogue.view import Evidence, Source, Verdict

AGENT = sample.telling()
LOW_HARVEST_DISCHARGE = replace(
    sample.LOW_HARVEST,
    reading=replace(
        sample.HARVEST_SUCTION,
        id="harvest_discharge_pressure",
        name="discharge pressure in the harvest",
    ),
)
GOOD_SUCTION = replace(sample.LOW_SUCTION, outcome="within", verdict=Verdict.WITHIN, residual=0.1)


def test_both_harvest_pressures_share_one_line_and_one_word() -> None:
    pair = [Evidence(sample.LOW_HARVEST, 1.0), Evidence(LOW_HARVEST_DISCHARGE, 1.2)]
    (line,) = evidence_lines(pair, AGENT)
    assert line.startswith(
        "strong, odds up 9 times: suction pressure in the harvest 48 psig, BELOW"
    )
    assert "; discharge pressure in the harvest" in line


def test_what_is_as_it_should_be_is_one_line_after_what_is_not() -> None:
    lines = evidence_lines(
        [
            Evidence(sample.GOOD_DISCHARGE, 0.5),
            Evidence(GOOD_SUCTION, 0.4),
            Evidence(sample.LOW_HARVEST, 0.3),
        ],
        AGENT,
    )
    assert len(lines) == 2
    assert lines[0].startswith("slight, odds up 1.3 times: suction pressure in the harvest")
    assert lines[1].startswith(
        "clear, odds up 2.5 times: as they should be: discharge pressure in the freeze, "
    )


def test_what_leans_inside_its_band_is_said_to_lean() -> None:
    leaning = replace(GOOD_SUCTION, residual=-0.8)
    (line,) = evidence_lines([Evidence(leaning, 0.8)], AGENT)
    assert line == (
        "clear, odds up 2.2 times: inside their bands, but leaning this way: suction pressure late "
        "in the freeze"
    )


def test_a_band_held_against_a_cause_is_said_so() -> None:
    (line,) = evidence_lines([Evidence(sample.GOOD_DISCHARGE, -0.8)], AGENT)
    assert line == (
        "clear, odds down 2.2 times: discharge pressure in the freeze 255 psig is in its band; "
        "this fault often moves it"
    )


def test_what_was_worked_out_from_another_reading_is_left_out() -> None:
    derived = replace(sample.PATCHY_ICE, source=Source.WORKED_OUT)
    assert evidence_lines([Evidence(derived, 2.0)], AGENT) == []


def test_odds_moved_fivefold_are_strong_and_twofold_clear() -> None:
    # ln 5 = 1.609 and ln 2 = 0.693; the limits lie just below and just above.
    assert weight_words(math.log(5.0)) == "strong, odds up 5 times"
    assert weight_words(math.log(2.2)) == "clear, odds up 2.2 times"
    assert weight_words(math.log(0.52)) == "slight, odds down 1.9 times"
