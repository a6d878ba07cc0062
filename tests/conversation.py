"""Talking to the engine in tests: what is typed in, the case and the last prompt out."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from functools import cache
from pathlib import Path

from triage.console.answers_file import AnswersFile
from triage.console.scripted import Script
from triage.dialogue.case import Case, fold
from triage.dialogue.engine import Engine
from triage.dialogue.events import Event, Started
from triage.dialogue.view import END_PROMPTS, Prompt, Remark
from triage.tree.load import load_content

CONTENT_FOLDER = Path(__file__).parent.parent / "trees"
TREE = "will_not_release"

SOUND_FREEZE: Mapping[str, str] = {
    "caller_qualification": "yes both",
    "complaint": "will not drop",
    "machine": "Gletsch R500",
    "refrigerant": "R-410A",
    "ambient_air_temperature": "70 F",
    "condenser_air_temperature": "70 F",
    "water_inlet_temperature": "55 F",
    "ice_pattern": "even",
    "ice_bridge_thickness": "1/8 in",
    "freeze_time": "14:20",
    "water_flow_over_plate": "even",
    "water_leaking_into_sump": "no",
    "condenser_fan_state": "running",
    "freeze_suction_pressure_early": "73 psi at 2 min",
    "discharge_line_temperature": "168 F at 6 min",
    "freeze_discharge_pressure": "312 psi at 6 min",
    "freeze_suction_pressure_late": "39 psi",
}
"""A caller whose freeze is sound: an invented R-410A machine with remote condenser, 70 °F room."""

FEED_FAILED: Mapping[str, str] = {
    **SOUND_FREEZE,
    "ice_released": "no",
    "slab_loose_but_hanging": "frozen fast",
    "harvest_suction_pressure": "85 psi at 1 min",
    "harvest_discharge_pressure": "125 psi at 1 min",
    "coil_voltage": "24.5 V",
    "coil_resistance": "15 ohm",
    "coil_pulls_in": "yes",
    "hot_gas_line_temperature": "72 F at 1 min",
    "manifold_test_result": "slab released",
}
"""The same caller, both harvest pressures low, coil supply good, the confirming test positive."""


@cache
def shipped_engine() -> Engine:
    """Return the engine of the shipped content."""
    content = load_content(CONTENT_FOLDER)
    return Engine(content, TREE)


def opened(voice: str = "agent", units: str = "us") -> Case:
    """Return a case at its first question."""
    version = shipped_engine().content.version
    return fold([Started(TREE, version, voice, units)])


def say(case: Case, *lines: str) -> tuple[Case, tuple[Remark, ...]]:
    """Return the case after `lines` and the remarks on the last of them."""
    remarks: tuple[Remark, ...] = ()
    for line in lines:
        turn = shipped_engine().turn(case, line)
        case, remarks = fold(turn.events, case), turn.remarks
    return case, remarks


def events_of(answers: AnswersFile, case: Case | None = None) -> tuple[list[Event], Case]:
    """Return all events of a scripted call and the case at its end."""
    engine, case = shipped_engine(), case or opened()
    script, events = Script(answers), []
    while not isinstance(engine.prompt(case), END_PROMPTS):
        turn = engine.turn(case, script.line(engine.prompt(case)))
        events.extend(turn.events)
        case = fold(turn.events, case)
    return events, case


def ending(
    answers: Mapping[str, str | Sequence[str]], acknowledge: str | tuple[str, ...] = "all"
) -> tuple[Prompt, Case]:
    """Return where a scripted call ends."""
    texts = {
        reading: (text,) if isinstance(text, str) else tuple(text)
        for reading, text in answers.items()
    }
    _, case = events_of(AnswersFile(texts, acknowledge))
    return shipped_engine().prompt(case), case


def up_to(reading: str, answers: Mapping[str, str] = FEED_FAILED) -> Case:
    """Return the case at the question about `reading`, everything before it answered."""
    engine, case = shipped_engine(), opened()
    script = Script(AnswersFile({key: (text,) for key, text in answers.items()}))
    while True:
        prompt = engine.prompt(case)
        if isinstance(prompt, END_PROMPTS):
            raise AssertionError(f"the call ended before {reading}: {prompt}")
        if getattr(prompt, "reading", None) and prompt.reading.id == reading:  # type: ignore[union-attr]
            return case
        case = fold(engine.turn(case, script.line(prompt)).events, case)
