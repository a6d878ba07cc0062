"""Readings nobody asked for: they count everywhere, and open nothing to anybody."""

from __future__ import annotations

import pytest

from tests.conversation import FEED_FAILED, opened, say, shipped_engine, up_to
from triage.dialogue.view import AskConfirmation, Echo, Escalated, Explained, Recommended, Withheld
from triage.tree.content import Side

METER = "Meter"


def run_out(case: object) -> object:
    """Return where a call ends if it goes on as the failed-feed caller would."""
    engine = shipped_engine()
    while not isinstance(prompt := engine.prompt(case), (Recommended, Withheld, Escalated)):  # type: ignore[arg-type]
        reading = getattr(prompt, "reading", None)
        line = FEED_FAILED.get(reading.id, "unknown") if reading else "yes"
        case, _ = say(case, line)  # type: ignore[arg-type]
    return prompt


@pytest.mark.parametrize(
    "besides",
    ["subcooling 0 F, superheat 40 F", "superheat 40 F, batch 3 lb"],
)
def test_an_unhealthy_freeze_said_besides_keeps_the_call_out_of_the_harvest(besides: str) -> None:
    case, _ = say(up_to("freeze_discharge_pressure"), besides, "yes", "yes")
    end = run_out(case)
    content = shipped_engine().content
    if isinstance(end, (Recommended, Withheld)):
        sides = {content.causes[cause].side for cause in end.conclusion.causes}
        assert Side.HARVEST not in sides


@pytest.mark.parametrize(
    ("line", "reading"),
    [
        ("suction 62 psi, head 305 psi", "freeze_discharge_pressure"),
        ("coil voltage 24 V", "coil_voltage"),
    ],
)
def test_what_an_unlicensed_caller_measured_is_on_record_and_counts_for_nothing(
    line: str, reading: str
) -> None:
    case, remarks = say(opened(), "no", "will not drop", line)
    assert reading in case.answers
    assert not isinstance(shipped_engine().prompt(case), AskConfirmation)
    (finding,) = [f for f in shipped_engine().findings(case) if f.reading.id == reading]
    assert finding.outcome == "unknown"
    echoes = [remark for remark in remarks if isinstance(remark, Echo)]
    assert "gauges or leads" in echoes[-1].advice


def test_how_to_measure_is_not_told_to_an_unlicensed_caller() -> None:
    case, _ = say(opened(), "no", "will not drop", "suction 62 psi, about 70 in the room")
    case, remarks = say(case, "how")
    assert not any(
        isinstance(remark, Explained) and "hose" in remark.text.lower() for remark in remarks
    )


def test_the_handover_says_that_gauges_may_still_be_connected() -> None:
    case, _ = say(opened(), "no", "will not drop", "suction 62 psi, head 305 psi")
    end = run_out(case)
    assert isinstance(end, (Escalated, Withheld))
    assert "connected" in " ".join(end.machine_state)


def test_a_harvest_part_is_not_even_ranked_while_the_freeze_is_not_proven() -> None:
    case, _ = say(up_to("discharge_line_temperature"), "unknown no probe")
    end = run_out(case)
    assert isinstance(end, Escalated)
    content = shipped_engine().content
    assert not any(
        content.causes[item.cause].side is Side.HARVEST for item in end.conclusion.ranked
    )


def test_what_is_said_beside_the_machine_is_not_lost() -> None:
    line = "Gletsch R500, on a roof condenser, suction 40, head 320, 72 in the room"
    case, _ = say(opened(), "yes both", "will not drop", line)
    assert [item.reading for item in case.offered] == [
        "machine", "condenser_kind", "freeze_suction_pressure_early",
        "freeze_discharge_pressure", "ambient_air_temperature",
    ]  # fmt: skip


def test_a_machine_by_itself_counts_at_once() -> None:
    for line in ("Gletsch R500", "it's a gletsch r500"):
        case, _ = say(opened(), "yes both", "will not drop", line)
        assert case.answers["machine"].value == "gletsch_r500"
