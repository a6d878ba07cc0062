"""What is measured around a machine, and what it makes in a day, judged on a call.

The readings are made here, so that the tests hold whatever the content asks for.
"""

from __future__ import annotations

import math
from dataclasses import replace

import pytest

from tests.conversation import opened, shipped_engine
from triage.console.telling import Telling
from triage.dialogue.case import Case, fold
from triage.dialogue.doubts import doubt_about
from triage.dialogue.events import Answered
from triage.dialogue.judge import coil_state_of, finding_of
from triage.dialogue.reply import Unclear, Unknown, Value, read_reply
from triage.dialogue.result import finding_data
from triage.dialogue.view import Finding, Source, Verdict
from triage.physics.bands import expected_band
from triage.physics.electrical import CoilState
from triage.physics.machine import Conditions
from triage.physics.quantity import UnitSystem
from triage.tree.content import Content, Place, Reading, ReadingKind, Stage

KINDS = {
    "ice_production": ReadingKind.MASS_PER_DAY,
    "energy_use": ReadingKind.ENERGY_PER_MASS,
    "water_use": ReadingKind.VOLUME_PER_MASS,
    "supply_nominal_voltage": ReadingKind.VOLTAGE,
    "supply_voltage": ReadingKind.VOLTAGE,
    "compressor_current": ReadingKind.CURRENT,
    "water_supply_pressure": ReadingKind.WATER_PRESSURE,
    "water_hardness": ReadingKind.CONCENTRATION,
    "total_dissolved_solids": ReadingKind.CONCENTRATION,
    "cleaning_age": ReadingKind.AGE,
    "filter_age": ReadingKind.AGE,
    "inlet_coil_nominal_voltage": ReadingKind.VOLTAGE,
    "inlet_coil_voltage": ReadingKind.VOLTAGE,
    "inlet_coil_resistance": ReadingKind.RESISTANCE,
    "fill_volume": ReadingKind.VOLUME,
}
NOTED = ("supply_nominal_voltage", "inlet_coil_nominal_voltage", "compressor_current")


def reading(key: str) -> Reading:
    return Reading(
        key, key.replace("_", " "), KINDS[key], Place("here", 1, 1), is_banded=key not in NOTED
    )


SHIPPED = shipped_engine().content
CONTENT: Content = replace(
    SHIPPED, readings={**SHIPPED.readings, **{key: reading(key) for key in KINDS}}
)
ROOM = Conditions(294.26, 294.26, 285.93)
PSI_PA = 6894.757293168
MONTH_S = 365 * 86_400.0 / 12


def case_of(machine: str | None = "firnwerk_a320", **values: str | float | None) -> Case:
    """A licensed caller in a 70 °F room with 55 °F water."""
    said: dict[str, str | float | None] = {
        "caller_qualification": "licensed",
        "machine": machine,
        "ambient_air_temperature": 294.26,
        "water_inlet_temperature": 285.93,
        **values,
    }
    answers = [Answered(key, str(value), value) for key, value in said.items() if value is not None]
    return fold(answers, opened())


def found(case: Case, key: str) -> Finding:
    finding = finding_of(CONTENT, case, key)
    assert finding is not None
    return finding


def verdict(key: str, value: float, **others: str | float | None) -> Verdict:
    return found(case_of(**{**others, key: value}), key).verdict


# Ice in a day.


def test_ice_in_a_day_is_worked_out_from_batch_and_times() -> None:
    """7.5 lb every 12.5 minutes are 864 lb in 24 h: AHRI 810 with ASHRAE 29."""
    case = case_of(batch_ice_mass=7.5 * 0.45359237, freeze_time=660.0, harvest_time=90.0)
    finding = found(case, "ice_production")
    assert finding.source is Source.WORKED_OUT
    telling = Telling(CONTENT, case)
    assert telling.finding(finding) == "ice production 864 lb/24 h (392 kg/24 h)"


@pytest.mark.parametrize("missing", ["batch_ice_mass", "freeze_time", "harvest_time"])
def test_ice_in_a_day_is_open_while_a_part_is_missing(missing: str) -> None:
    parts = {"batch_ice_mass": 3.0, "freeze_time": 660.0, "harvest_time": 90.0}
    case = case_of(**{**parts, missing: None})
    assert finding_of(CONTENT, case, "ice_production") is None


def test_a_weighed_day_comes_before_what_one_cycle_would_make() -> None:
    """The machine may have stood for hours."""
    parts = {"batch_ice_mass": 3.0, "freeze_time": 660.0, "harvest_time": 90.0}
    finding = found(case_of(ice_production=0.002, **parts), "ice_production")
    assert (finding.value, finding.source) == (0.002, Source.CALLER)


def test_a_cycle_without_time_makes_nothing_to_judge() -> None:
    case = case_of(batch_ice_mass=3.0, freeze_time=0.0, harvest_time=0.0)
    assert finding_of(CONTENT, case, "ice_production") is None


def test_production_is_judged_at_the_air_and_water_of_the_site() -> None:
    """What is right in a warm kitchen is too little in a cool one."""
    machine = CONTENT.machines["firnwerk_a320"]
    warm = Conditions(308.15, 308.15, 303.15)
    here, there = (expected_band(machine, place, "ice_production").centre for place in (ROOM, warm))
    assert there < here
    assert verdict("ice_production", here) is Verdict.WITHIN
    assert verdict("ice_production", there) is Verdict.BELOW
    in_the_warm = {"ambient_air_temperature": 308.15, "water_inlet_temperature": 303.15}
    assert verdict("ice_production", there, **in_the_warm) is Verdict.WITHIN


def test_energy_and_water_are_judged_with_their_published_figures_beside() -> None:
    case = case_of(energy_use=900_000.0, water_use=0.003)
    telling = Telling(CONTENT, case)
    for key, figure in (("energy_use", "published maximum"), ("water_use", "the ice alone")):
        finding = found(case, key)
        assert finding.verdict is Verdict.ABOVE
        assert finding.band is not None
        assert figure in telling.basis(finding.band, key)


def test_production_of_a_machine_nobody_knows_is_not_judged() -> None:
    finding = found(case_of(machine=None, ice_production=0.002), "ice_production")
    assert finding.verdict is Verdict.UNKNOWN
    assert "neither the machine" in finding.reason


# Around the machine.


@pytest.mark.parametrize(
    ("volts", "expected"),
    [(206.0, Verdict.BELOW), (231.0, Verdict.WITHIN), (254.0, Verdict.ABOVE)],
)
def test_supply_is_judged_by_the_machines_file(volts: float, expected: Verdict) -> None:
    """230 V within 10 %: IEC 60038."""
    assert CONTENT.machines["firnwerk_a320"].electrical.supply_voltage_v == 230.0
    assert verdict("supply_voltage", volts) is expected


def test_what_the_plate_says_wins_over_the_file() -> None:
    """115 V belongs on a 120 V system, 108 to 126 V: ANSI C84.1 and NEMA MG 1, from memory."""
    assert verdict("supply_voltage", 110.0, supply_nominal_voltage=115.0) is Verdict.WITHIN
    nominal = found(case_of(), "supply_nominal_voltage")
    assert (nominal.value, nominal.source) == (230.0, Source.WORKED_OUT)


def test_a_supply_without_a_rated_voltage_is_not_judged() -> None:
    finding = found(case_of(machine=None, supply_voltage=230.0), "supply_voltage")
    assert finding.verdict is Verdict.UNKNOWN
    assert finding.reason == "the rated voltage is not known, so there is nothing to judge by"
    odd = found(case_of(supply_voltage=480.0, supply_nominal_voltage=480.0), "supply_voltage")
    assert odd.verdict is Verdict.UNKNOWN
    assert "nominal 480 V" in odd.reason


@pytest.mark.parametrize(
    ("psi", "expected"), [(15.0, Verdict.BELOW), (45.0, Verdict.WITHIN), (95.0, Verdict.ABOVE)]
)
def test_water_pressure_is_judged_without_a_machine_or_an_altitude(
    psi: float, expected: Verdict
) -> None:
    """20 to 80 psi on the gauge: common practice, no source."""
    case = replace(case_of(machine=None, water_supply_pressure=psi * PSI_PA), altitude_m=2000.0)
    finding = found(case, "water_supply_pressure")
    assert finding.verdict is expected
    telling = Telling(CONTENT, case)
    assert telling.value(finding.reading, finding.value).startswith(f"{psi:.0f} psi (")
    assert telling.saturation(finding) == ""


@pytest.mark.parametrize(
    ("key", "fine", "much"),
    [
        ("water_hardness", 0.12, 0.35),
        ("total_dissolved_solids", 0.3, 0.9),
        ("cleaning_age", 5 * MONTH_S, 8 * MONTH_S),
        ("filter_age", 6 * MONTH_S, 7 * MONTH_S),
        ("cleaning_age", 0.0, math.inf),
    ],
)
def test_what_has_a_most_alone_is_never_below(key: str, fine: float, much: float) -> None:
    assert verdict(key, fine, machine=None) is Verdict.WITHIN
    assert verdict(key, much, machine=None) is Verdict.ABOVE


def test_the_inlet_coil_is_judged_by_its_own_rated_voltage() -> None:
    """85 to 110 % of rated: UL 429, from memory."""
    rated = CONTENT.machines["firnwerk_a320"].electrical.coil_nominal_voltage_v
    assert verdict("inlet_coil_voltage", rated) is Verdict.WITHIN
    assert verdict("inlet_coil_voltage", 24.0) is not Verdict.WITHIN
    assert verdict("inlet_coil_voltage", 24.0, inlet_coil_nominal_voltage=24.0) is Verdict.WITHIN
    case = case_of(inlet_coil_nominal_voltage=24.0, inlet_coil_resistance=math.inf)
    assert found(case, "inlet_coil_resistance").verdict is Verdict.ABOVE
    state = coil_state_of(CONTENT, case, math.inf, "inlet_coil_resistance")
    assert state is CoilState.OPEN
    words = Telling(CONTENT, case).winding(found(case, "inlet_coil_resistance"))
    assert words == "that winding reads open"


def test_a_fill_is_judged_on_a_machine_on_file_alone() -> None:
    litres = CONTENT.machines["firnwerk_a320"].evaporator.water_charge_kg / 999.0
    assert verdict("fill_volume", litres) is Verdict.WITHIN
    assert verdict("fill_volume", 0.7 * litres) is Verdict.BELOW
    # Another refrigerant on the plate changes the circuit, not the sump.
    assert verdict("fill_volume", litres, refrigerant="R-404A") is Verdict.WITHIN
    other = found(case_of(machine=None, refrigerant="R-404A", fill_volume=litres), "fill_volume")
    assert other.verdict is Verdict.UNKNOWN
    assert "not on file" in other.reason


def test_a_current_is_noted() -> None:
    finding = found(case_of(compressor_current=9.5), "compressor_current")
    assert finding.verdict is Verdict.NOTED


# Doubts, words, and data.


def test_another_circuits_voltage_at_the_inlet_coil_is_doubted() -> None:
    case = case_of(inlet_coil_nominal_voltage=24.0)
    doubt = doubt_about(CONTENT, case, Answered("inlet_coil_voltage", "120 V", 120.0))
    assert doubt.startswith("120 V at a 24 V coil is another circuit's voltage.")
    assert doubt_about(CONTENT, case, Answered("coil_voltage", "24 V", 24.0)) == ""


def test_what_was_never_done_is_told_and_kept_as_never() -> None:
    case = case_of(cleaning_age=math.inf)
    finding = found(case, "cleaning_age")
    telling = Telling(CONTENT, case)
    assert telling.brief(finding) == (
        "cleaning age never, ABOVE 6 months (band 0 days to 6 months)"
    )
    data = finding_data(case, finding)
    assert (data["value"], data["si_value"]) == ("never", "never")
    assert (data["unit"], data["si_unit"]) == ("months", "s")
    assert data["band"]["high"] == 6.0


@pytest.mark.parametrize("key", sorted(KINDS))
@pytest.mark.parametrize("units", list(UnitSystem))
def test_the_example_of_each_kind_can_be_typed(key: str, units: UnitSystem) -> None:
    item = reading(key)
    telling = Telling(CONTENT, replace(case_of(), units=units.value))
    line = telling.hint(item, None, Stage.MACHINE)[0]
    examples = line.partition(", such as ")[2].partition(";")[0].split(" or ")
    assert len(examples) == 2
    for example in examples:
        assert isinstance(read_reply(example, item, system=units), Value), example


@pytest.mark.parametrize(
    ("key", "text", "si_value"),
    [
        ("ice_production", "it makes about 420 pounds a day", 420 * 0.45359237 / 86_400.0),
        ("water_use", "around 20 gallons per 100 pounds", 20 * 3.785411784e-3 / 45.359237),
        ("water_supply_pressure", "the gauge shows 45 psi", 45 * PSI_PA),
        ("water_hardness", "12 grains per gallon", 12 * 6.479891e-5 / 3.785411784e-3),
        ("cleaning_age", "never", math.inf),
        ("cleaning_age", "about 8 months ago", 8 * MONTH_S),
        ("filter_age", "filter is a year old", 12 * MONTH_S),
        ("fill_volume", "a gallon and a half", 1.5 * 3.785411784e-3),
    ],
)
def test_what_callers_say_of_it_is_understood(key: str, text: str, si_value: float) -> None:
    reply = read_reply(text, reading(key), system=UnitSystem.US)
    assert isinstance(reply, Value), reply
    assert reply.value == pytest.approx(si_value)


def test_a_current_can_be_told_with_its_minute() -> None:
    reply = read_reply("9.5 amps at 6 min", reading("compressor_current"), system=UnitSystem.US)
    assert reply == Value(9.5, "9.5 amps at 6 min", 360.0)


def test_what_is_no_age_is_asked_again() -> None:
    item = reading("cleaning_age")
    over = read_reply("over a year", item, system=UnitSystem.US)
    assert isinstance(over, Unclear)
    assert "number of weeks or months" in over.message
    assert isinstance(read_reply("no idea", item, system=UnitSystem.US), Unknown)
