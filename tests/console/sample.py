"""Hand-made values of an invented call, to show on a screen without an engine."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from triage.console.telling import Telling
from triage.dialogue.case import Case, fold
from triage.dialogue.events import Answered, Started
from triage.dialogue.view import (
    Agreement,
    AskCaution,
    AskConfirmation,
    AskQuestion,
    Conclusion,
    Escalated,
    Evidence,
    Expected,
    Finding,
    RankedCause,
    Recommendation,
    Recommended,
    Source,
    Verdict,
    Withheld,
)
from triage.physics.bands import Band, Basis, BasisKind
from triage.physics.machine import CondenserKind, Conditions
from triage.tree.content import (
    Cause,
    Caution,
    Choice,
    Content,
    Ending,
    Place,
    Question,
    Reading,
    ReadingKind,
    Side,
    Stage,
)

HERE = Place("sample.yaml", 1, 1)
PSI_PA = 6894.757293168
ATMOSPHERE_PA = 101_325.0


def gauge_psi(psi: float) -> float:
    """Return absolute pascal for pounds per square inch gauge at sea level."""
    return psi * PSI_PA + ATMOSPHERE_PA


def fahrenheit(degrees: float) -> float:
    """Return kelvin."""
    return (degrees + 459.67) * 5.0 / 9.0


def reading(reading_id: str, name: str, kind: ReadingKind, **fields: Any) -> Reading:
    return Reading(reading_id, name, kind, HERE, **fields)


SUCTION = reading(
    "freeze_suction_pressure_late",
    "suction pressure late in the freeze",
    ReadingKind.GAUGE_PRESSURE,
    default_minute=12.0,
    is_banded=True,
)
DISCHARGE = reading(
    "freeze_discharge_pressure",
    "discharge pressure in the freeze",
    ReadingKind.GAUGE_PRESSURE,
    default_minute=6.0,
    is_banded=True,
)
HARVEST_SUCTION = reading(
    "harvest_suction_pressure",
    "suction pressure in the harvest",
    ReadingKind.GAUGE_PRESSURE,
    default_minute=1.0,
    is_banded=True,
)
AIR = reading("ambient_air_temperature", "air temperature at the machine", ReadingKind.TEMPERATURE)
PATTERN = reading(
    "ice_pattern",
    "pattern of the ice",
    ReadingKind.CHOICE,
    choices=(
        Choice("even", "even", ("even all over",)),
        Choice("thin_at_outlet", "thin at outlet", ("thin at the end",)),
        Choice("patchy", "patchy", ("spots",)),
    ),
    normal=("even",),
)
QUALIFICATION = reading(
    "caller_qualification",
    "caller qualification",
    ReadingKind.CHOICE,
    choices=(
        Choice("licensed", "licensed for refrigerant circuits and live tests", ("yes", "tech")),
        Choice("unlicensed", "not licensed for both of these", ("no", "owner")),
    ),
)
REFRIGERANT = reading("refrigerant", "refrigerant", ReadingKind.REFRIGERANT)
VOLTAGE = reading("coil_voltage", "voltage at the coil", ReadingKind.VOLTAGE, is_licensed=True)

PRESSURE_CAUTION = Caution(
    "stored_pressure",
    "Stored pressure",
    "Refrigerant is under pressure even when the machine is off. Wear safety glasses and gloves, "
    "and let nothing out into the air.",
    ("stored_pressure",),
    HERE,
)
ICE_CAUTION = Caution(
    "falling_ice",
    "Falling ice",
    "A slab can let go at any time. Keep hands and face out from under the plate.",
    ("falling_ice",),
    HERE,
)

FEED_CAUSE = Cause(
    id="receiver_vapor_feed_failed",
    name="receiver vapor feed failed",
    side=Side.HARVEST,
    explanation="the feed that lets receiver vapor into the low side in harvest does not open",
    signs={},
    repair="Replace the feed regulator and its solenoid as one repair.",
    replace_together=("feed regulator", "feed solenoid"),
    machine_state="Switched off at the disconnect, water shut, until the repair is done.",
    verify=("Watch two full cycles.", "Weigh a batch.", "Discard the first ice."),
    who="A technician licensed for refrigerant circuits.",
    hazards=("stored_pressure",),
    condemns=(),
    place=HERE,
)
HOT_GAS_CAUSE = Cause(
    id="hot_gas_valve_not_opening",
    name="hot gas valve does not open",
    side=Side.HARVEST,
    explanation="no hot gas reaches the plate",
    signs={},
    repair="Replace the hot gas valve.",
    replace_together=(),
    machine_state="Switched off.",
    verify=(),
    who="A licensed technician.",
    hazards=(),
    condemns=(),
    place=HERE,
)

CONTENT = Content(
    version="0123456789abcdef",
    readings={
        item.id: item
        for item in (
            SUCTION, DISCHARGE, HARVEST_SUCTION, AIR, PATTERN, QUALIFICATION, REFRIGERANT, VOLTAGE,
        )
    },
    cautions={item.id: item for item in (PRESSURE_CAUTION, ICE_CAUTION)},
    causes={item.id: item for item in (FEED_CAUSE, HOT_GAS_CAUSE)},
    machines={},
    trees={},
)  # fmt: skip


def telling(voice: str = "agent", units: str = "us", refrigerant: str = "R-404A") -> Telling:
    case = fold(
        [
            Started("sample", CONTENT.version, voice, units),
            Answered("refrigerant", refrigerant, refrigerant),
        ]
    )
    return Telling(CONTENT, case)


def band(low: float, high: float) -> Band:
    return Band(low, high, (low + high) / 2.0, BASIS)


BASIS = Basis(
    BasisKind.MODEL,
    "Invented 200",
    Conditions(fahrenheit(70.0), fahrenheit(70.0), fahrenheit(60.0)),
    720.0,
    "R-404A",
    CondenserKind.AIR,
)


LOW_SUCTION = Finding(
    SUCTION,
    gauge_psi(24.0),
    "below",
    Verdict.BELOW,
    typed="24",
    band=band(gauge_psi(28.0), gauge_psi(42.0)),
    residual=-1.6,
    minute_s=720.0,
    is_minute_assumed=True,
)
GOOD_DISCHARGE = Finding(
    DISCHARGE,
    gauge_psi(255.0),
    "within",
    Verdict.WITHIN,
    typed="255 psi at 6 min",
    band=band(gauge_psi(220.0), gauge_psi(290.0)),
    residual=0.0,
    minute_s=360.0,
)
LOW_HARVEST = Finding(
    HARVEST_SUCTION,
    gauge_psi(48.0),
    "below",
    Verdict.BELOW,
    typed="48",
    band=band(gauge_psi(70.0), gauge_psi(100.0)),
    residual=-2.5,
    minute_s=60.0,
)
WARM_AIR = Finding(AIR, fahrenheit(70.0), "known", Verdict.NOTED, typed="70 F")
EVEN_ICE = Finding(PATTERN, "even", "even", Verdict.WITHIN, typed="even")
PATCHY_ICE = Finding(PATTERN, "patchy", "patchy", Verdict.OUTSIDE, typed="spots")
NO_VOLTAGE = Finding(
    VOLTAGE, None, "unknown", Verdict.UNKNOWN, typed="unknown, no meter", reason="no meter"
)
NOT_ASKED = Finding(
    VOLTAGE, None, "unknown", Verdict.UNKNOWN, source=Source.NOT_ASKED_OF_THIS_CALLER
)

SUCTION_QUESTION = Question(
    id="suction_late",
    reading=SUCTION.id,
    stage=Stage.FREEZE,
    agent="What does the low-side gauge show about twelve minutes into the freeze?",
    technician="Read the low-side gauge about twelve minutes into the freeze.",
    why="It falls as the ice grows.",
    how="With the gauge set already on.",
    if_unknown="We go on without it.",
    routes={},
    place=HERE,
    minute=12.0,
)


def question(item: Reading, agent: str, technician: str, stage: Stage) -> AskQuestion:
    asked = Question(
        item.id, item.id, stage, agent, technician, "It tells.", "Look.", "We go on.", {}, HERE
    )
    return AskQuestion(item.id, stage, asked, item, None)


ASK_SUCTION = AskQuestion("suction_late", Stage.FREEZE, SUCTION_QUESTION, SUCTION, 12.0)
ASK_PATTERN = question(PATTERN, "What does the ice look like?", "Look at the slab.", Stage.FREEZE)
ASK_QUALIFICATION = question(
    QUALIFICATION, "Are you licensed for this?", "Are you licensed?", Stage.CALLER
)
ASK_REFRIGERANT = question(
    REFRIGERANT, "What refrigerant is on the plate?", "Read the plate.", Stage.MACHINE
)
ASK_AIR = question(AIR, "How warm is the room?", "Measure the room air.", Stage.MACHINE)
CONFIRM = AskConfirmation("suction_late", Stage.FREEZE, LOW_SUCTION, "", 3)
DOUBT = AskConfirmation(
    "suction_late",
    Stage.FREEZE,
    LOW_SUCTION,
    "Suction 24 psig is not below discharge 20 psig. Are the gauges swapped?",
    1,
)
CAUTION_ON_THE_WAY = AskCaution("caution", Stage.FREEZE, PRESSURE_CAUTION, "")
CAUTION_AT_THE_GATE = AskCaution("gate", Stage.CONFIRM, ICE_CAUTION, "5ea1", 2, 4)

ENDING = Ending(
    "feed",
    ("receiver_vapor_feed_failed",),
    "Both harvest pressures are low on a sound freeze.",
    HERE,
)
CONCLUSION = Conclusion(
    ending=ENDING,
    causes=ENDING.causes,
    ranked=(
        RankedCause("receiver_vapor_feed_failed", 0.87),
        RankedCause("hot_gas_valve_not_opening", 0.12),
    ),
    agreement=Agreement.AGREE,
    evidence_for=(Evidence(LOW_HARVEST, 3.0), Evidence(GOOD_DISCHARGE, 1.2)),
    evidence_against=(Evidence(EVEN_ICE, -0.4),),
    not_measured=(NO_VOLTAGE,),
    settling_reading=None,
)
RECOMMENDED = Recommended(
    "feed",
    CONCLUSION,
    Recommendation(
        repair=(FEED_CAUSE.repair,),
        replace_together=FEED_CAUSE.replace_together,
        machine_state=(FEED_CAUSE.machine_state,),
        verify=FEED_CAUSE.verify,
        expected_after_repair=(Expected(HARVEST_SUCTION, band(gauge_psi(70.0), gauge_psi(100.0))),),
        who=(FEED_CAUSE.who,),
    ),
    (PRESSURE_CAUTION, ICE_CAUTION),
)
WITHHELD = Withheld(
    "feed",
    CONCLUSION,
    'The caution "Falling ice" was refused.',
    (FEED_CAUSE.machine_state,),
    FEED_CAUSE.who,
    ((PRESSURE_CAUTION, True), (ICE_CAUTION, False)),
)
ESCALATED = Escalated(
    "unclear",
    Ending("unclear", (), "Too little could be measured.", HERE, escalate="Not enough is known."),
    "Not enough is known to name one cause.",
    Conclusion(
        ENDING, (), CONCLUSION.ranked, Agreement.OPEN, (), (), (NO_VOLTAGE, NOT_ASKED), DISCHARGE
    ),
    ("Switched off.",),
    "The service company that looks after the machine.",
)


def case_with(answers: Mapping[str, Answered]) -> Case:
    return Case(tree="sample", answers=answers)
