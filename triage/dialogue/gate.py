"""The safety gate: which cautions stand before a repair, who may hear it, and the seal.

A seal names one exact recommendation: change any answer, the conclusion or a caution's text, and
earlier acknowledgements no longer fit. So neither going back nor resuming nor an edited session
opens the gate.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterable, Sequence

from triage.dialogue.case import Case
from triage.dialogue.judge import refrigerant_in_use
from triage.physics.refrigerant import REFRIGERANTS
from triage.tree.content import Cause, Caution, Content, Ending

ALWAYS = ("licensed_practice", "data_plate", "food_safety")
"""Hazards of every repair: who may do it, what the plate says, ice made during the fault."""

LICENSED_WORK = frozenset({
    "refrigerant_circuit", "stored_pressure", "mains_voltage", "control_voltage", "brazing",
})  # fmt: skip
"""Hazards whose repair is told to a licensed caller only."""

UNLICENSED = "unlicensed_measurement"
"""Hazard of gauges or leads put on by somebody who may not."""

FLAMMABLE = {"A2L": "flammable_a2l", "A2": "flammable_a2l", "A3": "flammable_a3"}
"""ASHRAE 34 classes that burn, and the hazard each brings."""


NEAR_THE_REFRIGERANT = frozenset({
    "refrigerant_circuit", "stored_pressure", "brazing", "live_measurement", "mains_voltage",
    "control_voltage", "hot_parts",
})  # fmt: skip
"""Hazards of a repair that can let refrigerant out, or bring a spark or heat to it."""


def gate_cautions(content: Content, case: Case, ending: Ending) -> tuple[Caution, ...]:
    """Return the cautions to acknowledge before the ending's repair is told, in content order."""
    hazards = hazards_of(content, case, ending)
    return tuple(
        caution for caution in content.cautions.values() if hazards.intersection(caution.hazards)
    )


def hazards_of(content: Content, case: Case, ending: Ending) -> frozenset[str]:
    """Return the hazards of the repair and of the facts of the call.

    A refrigerant nobody could name is treated as one that burns where the repair comes near it: the
    data plate decides on site.
    """
    hazards = set(ALWAYS)
    for cause in _causes(content, ending):
        hazards.update(cause.hazards)
    if refrigerant_in_use(content, case) is not None or hazards & NEAR_THE_REFRIGERANT:
        hazards |= _burning(content, case)
    return frozenset(hazards)


def applies(content: Content, case: Case, caution: Caution) -> bool:
    """Return whether a caution met on the way belongs to this call.

    One that warns of fire alone belongs only to a refrigerant of its own safety class.
    """
    fire = frozenset(FLAMMABLE.values())
    if not fire.issuperset(caution.hazards):
        return True
    return bool(_burning(content, case).intersection(caution.hazards))


def needs_licensed_caller(content: Content, ending: Ending) -> bool:
    """Return whether the ending's repair is told to a licensed caller only."""
    return any(LICENSED_WORK.intersection(cause.hazards) for cause in _causes(content, ending))


def seal_of(content: Content, case: Case, ending: Ending, cautions: Sequence[Caution]) -> str:
    """Return the mark that ties acknowledgements to this conclusion, these answers and texts."""
    substance = {
        "content": content.version,
        "ending": ending.id,
        "causes": list(ending.causes),
        "licensed": case.is_licensed,
        "cautions": [[caution.id, caution.text] for caution in cautions],
        "answers": sorted(
            [answer.reading, answer.value, answer.minute_s] for answer in case.answers.values()
        ),
    }
    canonical = json.dumps(substance, sort_keys=True, ensure_ascii=True)
    return hashlib.sha256(canonical.encode()).hexdigest()[:16]


def measured_unlicensed(content: Content) -> tuple[Caution, ...]:
    """Return what to tell a caller who is not licensed and has measured all the same."""
    return tuple(caution for caution in content.cautions.values() if UNLICENSED in caution.hazards)


def has_measured_unlicensed(content: Content, case: Case) -> bool:
    """Return whether a caller who is not licensed took readings that only a licensed one may."""
    return not case.is_licensed and any(
        content.readings[answer.reading].is_licensed and answer.value is not None
        for answer in case.answers.values()
        if answer.reading in content.readings
    )


def _burning(content: Content, case: Case) -> frozenset[str]:
    refrigerant = refrigerant_in_use(content, case)
    safety_class = "A3" if refrigerant is None else REFRIGERANTS[refrigerant].safety_class
    return frozenset({FLAMMABLE[safety_class]}) if safety_class in FLAMMABLE else frozenset()


def _causes(content: Content, ending: Ending) -> Iterable[Cause]:
    return (content.causes[cause] for cause in ending.causes)
