"""The cycle and the dome of the diagram against CoolProp, and the drawing itself.

Source of the reference values: CoolProp 7 or newer (Bell et al., Ind. Eng. Chem. Res. 53, 2014),
asked directly, not by way of the shipped tables.
"""

from __future__ import annotations

import math
import re
from dataclasses import replace
from xml.etree import ElementTree

import pytest
from CoolProp.CoolProp import PropsSI

from tests.review.exports import (
    ESCALATED,
    FLAMMABLE,
    FULL,
    NOT_ON_FILE,
    UNLICENSED,
    exported,
    spoken,
)
from triage.dialogue.events import Answered
from triage.physics.errors import PhysicsError
from triage.physics.quantity import UnitSystem
from triage.physics.refrigerant import REFRIGERANTS
from triage.review.export.call import ExportedCall
from triage.review.export.cycle import (
    ASSUMED_SUPERHEAT_K,
    CycleOfCall,
    cycle_of_call,
    cycle_through,
    dome_of,
)
from triage.review.export.cycle_diagram import diagram_svg
from triage.review.export.page import page_of

REFERENCE_K = 273.15
"""Where both count from: 200 kJ/kg for boiling liquid."""

ENTHALPY_TOLERANCE = 500.0
"""[J/kg]: the tables' own 300 and the pressures read back from them."""

LIQUID_TOLERANCE = 800.0
"""[J/kg]: subcooled liquid is taken as boiling liquid of its temperature, which leaves out what
pressure does to it."""

CYCLES = {
    "R-404A": (3.2e5, 17.5e5, 335.0),
    "R-290": (2.9e5, 12.0e5, 338.0),
    "R-448A": (2.6e5, 16.0e5, 352.0),
}
"""Suction and discharge pressure [Pa], discharge line [K]; of no machine, but as in a freeze."""


def enthalpy(refrigerant: str, first: str, x: float, second: str, y: float) -> float:
    """Return an enthalpy of CoolProp's [J/kg], counted as the tables count."""
    name = REFRIGERANTS[refrigerant].coolprop_name
    zero = PropsSI("H", "T", REFERENCE_K, "Q", 0, name)
    return float(PropsSI("H", first, x, second, y, name)) - zero + 200_000.0


def saturation_k(refrigerant: str, pressure_pa: float, quality: float) -> float:
    name = REFRIGERANTS[refrigerant].coolprop_name
    return float(PropsSI("T", "P", pressure_pa, "Q", quality, name))


@pytest.mark.parametrize("refrigerant", CYCLES)
def test_the_four_points_are_those_of_the_reference_library(refrigerant: str) -> None:
    suction_pa, discharge_pa, line_k = CYCLES[refrigerant]
    cycle = cycle_through(
        refrigerant, suction_pa, discharge_pa,
        superheat_k=6.0, discharge_line_k=line_k, subcooling_k=4.0,
    )  # fmt: skip
    dew_k = saturation_k(refrigerant, suction_pa, 1)
    bubble_k = saturation_k(refrigerant, discharge_pa, 0)
    assert cycle.suction.temperature_k == pytest.approx(dew_k + 6.0, abs=0.02)
    assert cycle.liquid.temperature_k == pytest.approx(bubble_k - 4.0, abs=0.02)
    suction = enthalpy(refrigerant, "T", dew_k + 6.0, "P", suction_pa)
    discharge = enthalpy(refrigerant, "T", line_k, "P", discharge_pa)
    liquid = enthalpy(refrigerant, "T", bubble_k - 4.0, "P", discharge_pa)
    assert cycle.suction.enthalpy_j_per_kg == pytest.approx(suction, abs=ENTHALPY_TOLERANCE)
    assert cycle.discharge.enthalpy_j_per_kg == pytest.approx(discharge, abs=ENTHALPY_TOLERANCE)
    assert cycle.liquid.enthalpy_j_per_kg == pytest.approx(liquid, abs=LIQUID_TOLERANCE)
    assert cycle.mixture.enthalpy_j_per_kg == cycle.liquid.enthalpy_j_per_kg
    assert cycle.mixture.pressure_pa == cycle.suction.pressure_pa == suction_pa
    bubble_k = saturation_k(refrigerant, suction_pa, 0)
    assert bubble_k - 0.02 <= cycle.mixture.temperature_k <= dew_k + 0.02
    assert cycle.assumptions == ()


@pytest.mark.parametrize("refrigerant", CYCLES)
def test_the_dome_is_the_saturation_of_the_reference_library(refrigerant: str) -> None:
    dome = dome_of(refrigerant)
    checked = 0
    for quality, side in ((0, dome.liquid), (1, dome.vapor)):
        for found, pressure_pa in side[::5]:
            if not 0.8e5 < pressure_pa < 30e5:
                continue
            real = enthalpy(refrigerant, "P", pressure_pa, "Q", quality)
            assert found == pytest.approx(real, abs=ENTHALPY_TOLERANCE)
            checked += 1
    assert checked >= 10


@pytest.mark.parametrize("refrigerant", ["R-290", "R-134a", "R-32"])
def test_the_top_of_the_dome_is_closed_near_the_real_one(refrigerant: str) -> None:
    """Within 2.5 % of the dome's width: less than a line is thick."""
    dome = dome_of(refrigerant)
    name = REFRIGERANTS[refrigerant].coolprop_name
    critical_k, critical_pa = PropsSI("TCRIT", name), PropsSI("PCRIT", name)
    width = dome.vapor[0][0] - dome.liquid[0][0]
    half = len(dome.top) // 2
    for side, quality in ((dome.top[:half], 0), (dome.top[half:], 1)):
        for found, pressure_pa in side:
            if pressure_pa < 0.998 * critical_pa:
                real = enthalpy(refrigerant, "P", pressure_pa, "Q", quality)
                assert found == pytest.approx(real, abs=0.025 * width)
    assert max(pressure for _, pressure in dome.top) == pytest.approx(critical_pa, rel=0.002)
    assert critical_k > saturation_k(refrigerant, dome.liquid[-1][1], 0)


def test_the_dome_is_one_closed_line() -> None:
    for refrigerant in REFRIGERANTS:
        dome = dome_of(refrigerant)
        assert dome.top[0] == pytest.approx(dome.liquid[-1])
        assert dome.top[-1] == pytest.approx(dome.vapor[-1])
        assert all(math.isfinite(number) for state in dome.top for number in state)
        pressures = [pressure for _, pressure in dome.liquid]
        assert pressures == sorted(pressures)


def test_without_a_discharge_line_the_compression_is_an_ideal_one() -> None:
    """An ideal compression keeps its entropy (CoolProp), and that is said."""
    cycle = cycle_through("R-290", 2.9e5, 12.0e5)
    dew_k = saturation_k("R-290", 2.9e5, 1)
    entropy = PropsSI("S", "T", dew_k + ASSUMED_SUPERHEAT_K, "P", 2.9e5, "R290")
    ideal_k = PropsSI("T", "P", 12.0e5, "S", entropy, "R290")
    assert cycle.discharge.temperature_k == pytest.approx(ideal_k, abs=0.1)
    assert [line.split(" was")[0] for line in cycle.assumptions] == [
        "superheat",
        "subcooling",
        "the discharge line",
    ]


def test_a_line_colder_than_the_dew_point_is_drawn_there_and_said_to_be_wet() -> None:
    cycle = cycle_through("R-404A", 3.2e5, 17.5e5, discharge_line_k=300.0)
    assert cycle.discharge.temperature_k == pytest.approx(
        saturation_k("R-404A", 17.5e5, 1), abs=0.02
    )
    assert any("liquid is in the gas" in line for line in cycle.assumptions)


def test_a_suction_above_the_discharge_is_no_cycle() -> None:
    with pytest.raises(PhysicsError):
        cycle_through("R-404A", 18e5, 17e5)


# Of a call


def cycle_of(call: ExportedCall) -> CycleOfCall:
    findings = {item.reading.id: item for item in call.engine.findings(call.case)}
    return cycle_of_call(call.engine.content, call.case, findings)


def test_a_call_is_drawn_through_its_own_readings_beside_a_healthy_machine() -> None:
    found = cycle_of(exported(spoken(FULL)))
    assert found.measured is not None
    assert found.healthy is not None
    call = exported(spoken(FULL)).case
    assert found.measured.suction.pressure_pa == call.answers["freeze_suction_pressure_late"].value
    assert found.measured.discharge.temperature_k == pytest.approx(
        float(call.answers["discharge_line_temperature"].value or 0.0)
    )
    assert "superheat was not measured" in found.measured.assumptions[0]
    assert found.healthy.assumptions == ()


def test_late_suction_is_taken_before_the_early_one() -> None:
    lines = [
        line for line in spoken(FULL)
        if getattr(line[2], "reading", "") != "freeze_suction_pressure_late"
    ]  # fmt: skip
    call = exported(lines)
    found = cycle_of(call)
    assert found.measured is not None
    early = call.case.answers["freeze_suction_pressure_early"].value
    assert found.measured.suction.pressure_pa == early


@pytest.mark.parametrize(
    ("readings", "words"),
    [
        (("freeze_discharge_pressure",), "the discharge pressure of the freeze was not measured"),
        (
            ("freeze_suction_pressure_late", "freeze_suction_pressure_early"),
            "the suction pressure of the freeze was not measured",
        ),
        (
            ("freeze_suction_pressure_late", "freeze_suction_pressure_early",
             "freeze_discharge_pressure"),
            "the suction and discharge pressure of the freeze was not measured",
        ),
        (("machine", "refrigerant"), "the refrigerant is not known"),
    ],
)  # fmt: skip
def test_the_page_says_in_a_sentence_why_there_is_no_diagram(
    readings: tuple[str, ...], words: str
) -> None:
    lines = [line for line in spoken(FULL) if getattr(line[2], "reading", "") not in readings]
    call = exported(lines)
    assert cycle_of(call).reason == f"There is no diagram of the cycle: {words}."
    page = page_of(call)
    assert words in page
    assert 'class="diagram"' not in page


def test_readings_that_make_no_cycle_draw_none() -> None:
    lines = [
        (at, who, replace(event, value=4.5e6))
        if isinstance(event, Answered) and event.reading == "freeze_suction_pressure_late"
        else (at, who, event)
        for at, who, event in spoken(FULL)
    ]
    assert cycle_of(exported(lines)).reason.startswith("There is no diagram of the cycle: the")


def test_a_caller_without_a_license_has_no_pressures_to_draw() -> None:
    assert cycle_of(exported(spoken(UNLICENSED))).measured is None


# The drawing


@pytest.mark.parametrize("name", [FULL, FLAMMABLE, NOT_ON_FILE, ESCALATED])
@pytest.mark.parametrize("system", list(UnitSystem))
def test_the_drawing_is_sound_and_the_same_each_time(name: str, system: UnitSystem) -> None:
    found = cycle_of(exported(spoken(name)))
    assert found.measured is not None
    svg = diagram_svg(found.measured, found.healthy, system)
    assert svg == diagram_svg(found.measured, found.healthy, system)
    root = ElementTree.fromstring(svg)
    texts = [item.text for item in root.iter("{http://www.w3.org/2000/svg}text")]
    units = {"us": ("psia", "Btu/lb"), "si": ("bar absolute", "kJ/kg")}[system.value]
    assert f"Pressure, {units[0]} (log)" in texts
    assert f"Enthalpy, {units[1]}" in texts
    assert {"1", "2", "3", "4", "measured", "saturation"} <= set(texts)
    assert ("healthy" in texts) is (found.healthy is not None)


def test_the_drawing_tells_nothing_of_how_and_when_it_was_made() -> None:
    found = cycle_of(exported(spoken(FULL)))
    assert found.measured is not None
    svg = diagram_svg(found.measured, found.healthy, UnitSystem.US)
    assert "matplotlib.org" not in svg
    assert "<metadata" not in svg
    assert not re.search(r"20\d\d-\d\d-\d\d", svg)
    addresses = set(re.findall(r"https?://[^\"']+", svg))
    assert addresses == {"http://www.w3.org/2000/svg", "http://www.w3.org/1999/xlink"}
    assert "#00000" not in svg  # every color is the page's


def test_settings_of_whoever_runs_it_do_not_show_in_the_drawing() -> None:
    import matplotlib

    found = cycle_of(exported(spoken(FULL)))
    assert found.measured is not None
    plain = diagram_svg(found.measured, None, UnitSystem.US)
    with matplotlib.rc_context({"font.size": 30, "lines.linewidth": 9, "axes.grid": False}):
        assert diagram_svg(found.measured, None, UnitSystem.US) == plain
