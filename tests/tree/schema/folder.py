"""A miniature content folder with a file of every kind, for schemas."""

from __future__ import annotations

from tests.tree.miniature import sound_draft

PART = """\
format: 1
part: supply
title: Is there voltage at the coil?
start: is_it_harvest
exits:
  good: the coil gets its voltage
  not_checked: nobody could measure it
parts:
  sound: {part: plate, exits: {looked: volts}}
questions:
  volts:
    reading: coil_voltage
    stage: harvest
    agent: Words.
    technician: Words.
    why: Words.
    how: Words.
    if_unknown: Go on.
    minute: 1.5
    routes: {within: exit.good, unknown: exit.not_checked, below|above: hand_on}
junctions:
  is_it_harvest:
    stage: harvest
    rules:
      - says: the plate was not looked at
        if_any: {ice_pattern: unknown}
        then: sound
    otherwise: volts
endings:
  hand_on: {escalate: Second line, machine_state: Off, call_whom: them, because: so,
            shortlist: [feed_failed], settles: [feed_failed]}
"""

INNER_PART = """\
format: 1
part: plate
title: How does the plate look?
start: pattern
exits: {looked: it was looked at}
questions:
  pattern: {reading: ice_pattern, stage: freeze, agent: a, technician: t, why: w, how: h,
            if_unknown: u, routes: {else: exit.looked}}
endings: {}
"""

USER = """\
format: 1
tree: sticks_late
title: Sticks late
start: coil
most_questions: 3
causes: {feed_failed: 40}
parts:
  coil: {part: supply, exits: {good: feed, not_checked: feed}}
endings:
  feed: {causes: [feed_failed], because: so}
"""

MORE = {
    "parts/supply.yaml": PART,
    "parts/plate.yaml": INNER_PART,
    "sticks_late.yaml": USER,
    "readings/more.yaml": "format: 1\nreadings:\n  plate: {name: plate, kind: machine}\n",
    "cautions/more.yaml": "format: 1\ncautions:\n  slip: {title: a, text: b, hazards: [floor]}\n",
    "outcomes.json": '{"format": 1, "confirmed": {"sticks": {"feed_failed": 3}}}',
}


def sound_files() -> dict[str, bytes]:
    """Return every file of a folder that loads; it is not proved."""
    more = {name: text.encode() for name, text in MORE.items()}
    return {**sound_draft().bytes(), **more}
