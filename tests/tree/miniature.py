"""A miniature content folder that reads and proves clean, and ways to break it one spot at a time.

A tree is drafted as `Draft`: plain tables of questions, junctions and endings that a test changes
before it is written out as YAML. The other files are texts in which a test replaces one snippet;
a » in the new text marks where the mistake is expected.
"""

from __future__ import annotations

import copy
import dataclasses
from collections.abc import Iterator
from dataclasses import dataclass, field
from enum import Enum
from pathlib import Path
from typing import get_type_hints

from triage.physics.machine import Machine
from triage.tree.content import Content, Place
from triage.tree.load import content_from_files

FOLDER = Path("miniature")
TREE = "sticks.yaml"

READINGS = """\
format: 1
readings:
  caller_qualification:
    name: who is calling
    kind: choice
    choices:
      licensed: {label: licensed technician, spoken: [tech, yes]}
      unlicensed: {label: anyone else, spoken: [no, owner]}
  freeze_time: {name: freeze time, kind: duration, banded: true, plausible: [1 min, "90:00"]}
  ice_bridge_thickness: {name: bridge, kind: length, banded: true, plausible: [0 mm, 2 in]}
  ice_pattern:
    name: ice pattern
    kind: choice
    choices:
      even: {label: even all over, spoken: [good, normal]}
      thin_at_outlet: {label: thin at the outlet, spoken: [thin at the end]}
    normal: [even]
  water_flow_over_plate:
    name: water over the plate
    kind: choice
    choices:
      full: {label: all over}
      poor: {label: poor}
    normal: [full]
  water_leaking_into_sump:
    name: water running in
    kind: choice
    choices:
      tight: {label: none}
      leaking: {label: running in}
    normal: [tight]
  discharge_line_temperature:
    name: discharge line
    kind: temperature
    licensed: true
    banded: true
    default_minute: 6
    cautions: [hot_lines]
  freeze_suction_pressure_early:
    name: early suction
    kind: gauge_pressure
    spoken: [suction, low side]
    plausible: ["-0.9 bar", 580 psi]
    licensed: true
    banded: true
    cautions: [hot_lines, gauges]
  freeze_suction_pressure_late:
    {name: late suction, kind: gauge_pressure, licensed: true, banded: true, cautions: [gauges]}
  freeze_discharge_pressure:
    {name: discharge, kind: gauge_pressure, licensed: true, banded: true, cautions: [gauges]}
  harvest_suction_pressure:
    {name: harvest suction, kind: gauge_pressure, licensed: true, banded: true, cautions: [gauges]}
  coil_voltage: {name: coil supply, kind: voltage, licensed: true, banded: true, cautions: [mains]}
  ambient_air_temperature: {name: room air, kind: temperature}
  machine: {name: machine, kind: machine}
"""

CAUTIONS = """\
format: 1
cautions:
  hot_lines: {title: Hot lines, text: The line burns., hazards: [heat, hot_parts]}
  gauges:
    {title: Gauges, text: Refrigerant under pressure.,
     hazards: [pressure, gauge_work, refrigerant_circuit]}
  mains: {title: Mains, text: Live parts., hazards: [mains, live_measurement]}
"""

CAUSES = """\
format: 1
causes:
  thin_charge:
    name: too little refrigerant
    side: freeze
    explanation: The end of the plate starves.
    signs:
      ice_pattern: {even: 0.2, thin_at_outlet: 0.8}
      discharge_line_temperature: {above: 0.7}
    repair: Find the leak, mend it, charge by weight.
    replace_together: []
    machine_state: Off.
    verify: [Weigh a batch.]
    who: A licensed technician.
    hazards: [pressure]
  feed_failed:
    name: receiver vapor feed failed
    side: harvest
    explanation: No vapor reaches the low side.
    signs: {harvest_suction_pressure: {below: 0.9}}
    repair: Replace both parts.
    replace_together: [feed regulator, feed solenoid valve]
    machine_state: Off until then.
    verify: [Watch two harvests.]
    who: A licensed technician.
    hazards: [pressure, mains, refrigerant_circuit]
    condemns: [receiver_vapor_regulator, receiver_vapor_solenoid]
  nothing_wrong:
    name: nothing wrong
    side: none
    explanation: All is as it should be.
    repair: None.
    machine_state: Running.
    who: Nobody.
"""

MACHINE_CHART = """\
chart:
  rows:
    - air: 21 C
      water: 50 F
      ranges:
        harvest_suction_pressure: [70 psi, 90 psi]
        freeze_time: ["11:00", "13:00"]
"""


def machine_yaml() -> str:
    """Return a machine file with every field of the dataclasses, whatever they are by now."""
    own = {"name": "Fennel 200", "refrigerant": "R-404A", "spoken": "[fennel]"}
    lines = ["format: 1", "id: fennel_200", *_fields_yaml(Machine, own, "")]
    return "\n".join(lines) + "\n" + MACHINE_CHART


def _fields_yaml(cls: type, own: dict[str, str], indent: str) -> Iterator[str]:
    hints = get_type_hints(cls)
    for item in dataclasses.fields(cls):
        hint = hints[item.name]
        if item.default is not dataclasses.MISSING or item.name == "id":
            continue
        if dataclasses.is_dataclass(hint):
            yield f"{indent}{item.name}:"
            yield from _fields_yaml(hint, {}, indent + "  ")
        elif item.name in own:
            yield f"{indent}{item.name}: {own[item.name]}"
        elif isinstance(hint, type) and issubclass(hint, Enum):
            yield f"{indent}{item.name}: {next(iter(hint)).value}"
        elif hint is bool:
            yield f"{indent}{item.name}: true"
        else:
            number = {"least": 270, "greatest": 310}.get(item.name.split("_")[0], 0.5)
            yield f"{indent}{item.name}: {number}"


ESCALATION = "escalate: Second line., machine_state: Off., call_whom: The second line."
SOUND_FREEZE = {
    "discharge_line_temperature": "within",
    "ice_pattern": "even",
    "freeze_time": "[within, unknown]",
    "ice_bridge_thickness": "[within, unknown]",
    "water_flow_over_plate": "[full, unknown]",
    "water_leaking_into_sump": "[tight, unknown]",
    "freeze_suction_pressure_early": "[within, unknown]",
    "freeze_suction_pressure_late": "[within, unknown]",
    "freeze_discharge_pressure": "[within, unknown]",
}
A_SUCTION_WITHIN = {
    "freeze_suction_pressure_early": "within",
    "freeze_suction_pressure_late": "within",
}


@dataclass
class Rule:
    """One rule of a drafted junction."""

    then: str
    all_of: dict[str, str]
    any_of: dict[str, str] = field(default_factory=dict)


@dataclass
class Draft:
    """A tree being written: tables a test may change."""

    start: str
    most_questions: int
    questions: dict[str, tuple[str, str, dict[str, str]]]
    junctions: dict[str, tuple[str, list[Rule], str]]
    endings: dict[str, str]
    files: dict[str, str] = field(default_factory=dict)
    causes: dict[str, str] = field(
        default_factory=lambda: {"thin_charge": "30", "feed_failed": "40", "nothing_wrong": "10"}
    )

    def ask(self, name: str, reading: str, stage: str, **routes: str) -> None:
        """Add a question; a route `else_` stands for else."""
        named = {key.rstrip("_").replace("__", "|"): node for key, node in routes.items()}
        self.questions[name] = (reading, stage, named)

    def route(self, name: str, **routes: str) -> None:
        """Change routes of a question."""
        self.questions[name][2].update({key.rstrip("_"): node for key, node in routes.items()})

    def yaml(self) -> str:
        """Return the tree as the text of its file."""
        lines = ["format: 1", "tree: sticks", "title: Ice sticks", f"start: {self.start}"]
        lines += [f"most_questions: {self.most_questions}", f"causes: {_flow(self.causes)}"]
        lines += ["questions:"]
        for name, (reading, stage, routes) in self.questions.items():
            lines += [f"  {name}:", f"    reading: {reading}", f"    stage: {stage}"]
            lines += [f"    {voice}: Words." for voice in ("agent", "technician", "why", "how")]
            lines += ["    if_unknown: Go on.", f"    routes: {_flow(routes)}"]
        lines += ["junctions:"] if self.junctions else []
        for name, (stage, rules, otherwise) in self.junctions.items():
            lines += [f"  {name}:", f"    stage: {stage}", f"    otherwise: {otherwise}"]
            lines += ["    rules:"]
            for rule in rules:
                lines += ["      - says: So it is.", f"        if: {_flow(rule.all_of)}"]
                lines += [f"        if_any: {_flow(rule.any_of)}"] if rule.any_of else []
                lines += [f"        then: {rule.then}"]
        lines += ["endings:"]
        lines += [f"  {name}: {{{body}, because: So.}}" for name, body in self.endings.items()]
        return "\n".join(lines) + "\n"

    def content(self) -> Content:
        """Return the checked content of the whole miniature folder."""
        return content_from_files(FOLDER, self.bytes())

    def bytes(self) -> dict[str, bytes]:
        """Return every file of the folder."""
        texts = {**other_files(), TREE: self.yaml(), **self.files}
        return {name: text.encode() for name, text in sorted(texts.items())}


def other_files() -> dict[str, str]:
    """Return the files beside the tree."""
    return {
        "readings.yaml": READINGS,
        "cautions.yaml": CAUTIONS,
        "causes.yaml": CAUSES,
        "machines/fennel_200.yaml": machine_yaml(),
    }


def sound_draft() -> Draft:
    """Return a tree that holds every promise: who, machine, freeze, junction, harvest, ending."""
    draft = Draft("who", 12, {}, {}, {})
    draft.ask("who", "caller_qualification", "caller", else_="room")
    draft.ask("room", "ambient_air_temperature", "machine", else_="which")
    draft.ask("which", "machine", "machine", else_="bridge")
    draft.ask("bridge", "ice_bridge_thickness", "freeze", else_="time")
    draft.ask("time", "freeze_time", "freeze", else_="pattern")
    draft.ask("pattern", "ice_pattern", "freeze", thin_at_outlet="charge", else_="flow")
    draft.ask("flow", "water_flow_over_plate", "freeze", else_="leak")
    draft.ask("leak", "water_leaking_into_sump", "freeze", else_="line")
    draft.ask("line", "discharge_line_temperature", "freeze", else_="early")
    draft.ask("early", "freeze_suction_pressure_early", "freeze", else_="late")
    draft.ask("late", "freeze_suction_pressure_late", "freeze", else_="high")
    draft.ask("high", "freeze_discharge_pressure", "freeze", else_="is_freeze_sound")
    draft.junctions["is_freeze_sound"] = (
        "freeze",
        [Rule("coil", dict(SOUND_FREEZE), dict(A_SUCTION_WITHIN))],
        "hand_on",
    )
    draft.ask("coil", "coil_voltage", "harvest", within="harvest", else_="hand_on")
    draft.ask("harvest", "harvest_suction_pressure", "harvest", below="feed", else_="hand_on")
    draft.most_questions = len(draft.questions)
    draft.endings = {
        "charge": "causes: [thin_charge]",
        "feed": "causes: [feed_failed]",
        "hand_on": f"{ESCALATION}, shortlist: [nothing_wrong]",
    }
    return copy.deepcopy(draft)


def broken(file: str, old: str, new: str) -> tuple[dict[str, bytes], Place]:
    """Return the miniature's files with `old` in one of them replaced, and where » stood in `new`.

    `old` must stand in the file exactly once.
    """
    files = sound_draft().bytes()
    text = files[file].decode()
    assert text.count(old) == 1, f"{old!r} stands {text.count(old)} times in {file}"
    text = text.replace(old, new)
    before = text[: text.index("»")]
    place = Place(file, before.count("\n") + 1, len(before) - (before.rfind("\n") + 1) + 1)
    files[file] = text.replace("»", "").encode()
    return files, place


def _flow(table: dict[str, str]) -> str:
    return "{" + ", ".join(f'"{key}": {value}' for key, value in table.items()) + "}"
