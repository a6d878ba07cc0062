"""Table look-ups invert exactly, stay ordered and refuse what lies outside."""

import json
import math
import subprocess
import sys
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from triage.physics import tables
from triage.physics.errors import (
    NotSuperheated,
    OutOfRange,
    PhysicsError,
    TableUnusable,
    UnknownRefrigerant,
)
from triage.physics.refrigerant import REFRIGERANTS
from triage.physics.tables import Fluid, fluid

IDS = sorted(REFRIGERANTS)
SHARE = st.floats(0.0, 1.0)


def temperature_at(gas: Fluid, share: float) -> float:
    span = gas.greatest_temperature_k - gas.least_temperature_k
    return min(gas.least_temperature_k + share * span, gas.greatest_temperature_k)


@settings(derandomize=True, max_examples=150, deadline=None)
@given(st.sampled_from(IDS), SHARE)
def test_saturation_round_trips_exactly(refrigerant_id: str, share: float) -> None:
    gas = fluid(refrigerant_id)
    t = temperature_at(gas, share)
    assert gas.dew_temperature_k(gas.dew_pressure_pa(t)) == pytest.approx(t, abs=1e-9)
    assert gas.bubble_temperature_k(gas.bubble_pressure_pa(t)) == pytest.approx(t, abs=1e-9)


@settings(derandomize=True, max_examples=150, deadline=None)
@given(st.sampled_from(IDS), SHARE, st.floats(0.001, 199.9))
def test_vapor_round_trips_exactly(refrigerant_id: str, share: float, superheat: float) -> None:
    gas = fluid(refrigerant_id)
    t = temperature_at(gas, share)
    p = gas.dew_pressure_pa(t)
    h = gas.vapor_enthalpy_j_per_kg(p, superheat)
    s = gas.vapor_entropy_j_per_kg_k(p, superheat)
    assert gas.vapor_temperature_from_enthalpy_k(p, h) == pytest.approx(t + superheat, abs=1e-6)
    assert gas.superheat_from_entropy_k(p, s) == pytest.approx(superheat, abs=1e-6)


@settings(derandomize=True, max_examples=100, deadline=None)
@given(st.sampled_from(IDS), SHARE, st.floats(0.0, 195.0))
def test_properties_keep_their_order(refrigerant_id: str, share: float, superheat: float) -> None:
    gas = fluid(refrigerant_id)
    t = temperature_at(gas, share * 0.98)
    p = gas.dew_pressure_pa(t)
    # Near-azeotropes: bubble and dew pressures agree to within the spline's error.
    assert gas.bubble_pressure_pa(t) >= p * (1.0 - 1e-5)
    assert gas.dew_pressure_pa(t + 1.0) > p
    assert gas.liquid_density_kg_per_m3(t) > gas.vapor_density_kg_per_m3(p, superheat)
    assert gas.liquid_enthalpy_j_per_kg(t) < gas.vapor_enthalpy_j_per_kg(p, superheat)
    warmer = superheat + 1.0
    assert gas.vapor_enthalpy_j_per_kg(p, warmer) > gas.vapor_enthalpy_j_per_kg(p, superheat)
    assert gas.vapor_entropy_j_per_kg_k(p, warmer) > gas.vapor_entropy_j_per_kg_k(p, superheat)
    assert gas.vapor_density_kg_per_m3(p, warmer) < gas.vapor_density_kg_per_m3(p, superheat)


@settings(derandomize=True, max_examples=100, deadline=None)
@given(st.sampled_from(IDS), st.floats(0.05, 0.9), st.floats(2.0, 120.0))
def test_heat_entropy_and_volume_obey_the_first_and_second_law(
    refrigerant_id: str, share: float, superheat: float
) -> None:
    """Between neighbors dh = T ds along an isobar and dh = v dp along an isentrope."""
    gas = fluid(refrigerant_id)
    t = temperature_at(gas, share)
    p = gas.dew_pressure_pa(t)
    low, high = superheat - 0.05, superheat + 0.05
    dh = gas.vapor_enthalpy_j_per_kg(p, high) - gas.vapor_enthalpy_j_per_kg(p, low)
    ds = gas.vapor_entropy_j_per_kg_k(p, high) - gas.vapor_entropy_j_per_kg_k(p, low)
    assert dh / ds == pytest.approx(t + superheat, rel=0.003)
    entropy = gas.vapor_entropy_j_per_kg_k(p, superheat)
    step = 0.001 * p
    rise = gas.vapor_enthalpy_j_per_kg(
        p + step, gas.superheat_from_entropy_k(p + step, entropy)
    ) - gas.vapor_enthalpy_j_per_kg(p - step, gas.superheat_from_entropy_k(p - step, entropy))
    density = gas.vapor_density_kg_per_m3(p, superheat)
    assert rise / (2.0 * step) == pytest.approx(1.0 / density, rel=0.01)


@pytest.mark.parametrize("refrigerant_id", IDS)
def test_the_ends_of_the_range_count_as_inside(refrigerant_id: str) -> None:
    gas = fluid(refrigerant_id)
    for t in (gas.least_temperature_k, gas.greatest_temperature_k):
        assert gas.dew_temperature_k(gas.dew_pressure_pa(t)) == pytest.approx(t, abs=1e-9)
    assert gas.dew_temperature_k(gas.greatest_dew_pressure_pa) <= gas.greatest_temperature_k
    assert gas.bubble_temperature_k(gas.least_bubble_pressure_pa) >= gas.least_temperature_k
    for p in (gas.least_pressure_pa, gas.greatest_pressure_pa):
        assert gas.bubble_temperature_k(p) <= gas.dew_temperature_k(p) + 1e-3
    assert gas.vapor_density_kg_per_m3(gas.least_dew_pressure_pa, gas.greatest_superheat_k) > 0.0
    assert gas.greatest_temperature_k / gas.critical_temperature_k == pytest.approx(0.985, abs=1e-4)


@pytest.mark.parametrize("outside", [math.nan, math.inf, -math.inf, -1.0, 0.0, 1e9])
def test_a_value_outside_the_tables_is_an_error_and_never_a_number(outside: float) -> None:
    gas = fluid("R-448A")
    for look_up in (
        gas.dew_pressure_pa,
        gas.bubble_pressure_pa,
        gas.dew_temperature_k,
        gas.bubble_temperature_k,
        gas.liquid_enthalpy_j_per_kg,
        gas.liquid_density_kg_per_m3,
    ):
        with pytest.raises(OutOfRange, match=r"R-448A is .* outside .*\. Check"):
            look_up(outside)
    for vapor in (
        gas.vapor_enthalpy_j_per_kg,
        gas.vapor_entropy_j_per_kg_k,
        gas.vapor_density_kg_per_m3,
        gas.vapor_temperature_from_enthalpy_k,
        gas.superheat_from_entropy_k,
    ):
        with pytest.raises(OutOfRange):
            vapor(outside, 10.0)
        if outside != 0.0 or vapor == gas.vapor_temperature_from_enthalpy_k:
            with pytest.raises(OutOfRange):
                vapor(500_000.0, outside)


def test_a_wet_state_is_told_apart_from_one_beyond_the_tables() -> None:
    gas = fluid("R-404A")
    with pytest.raises(NotSuperheated, match="liquid") as caught:
        gas.vapor_density_kg_per_m3(500_000.0, -2.0)
    assert (caught.value.value, caught.value.least) == (-2.0, 0.0)
    boiling = gas.liquid_enthalpy_j_per_kg(273.15)
    with pytest.raises(NotSuperheated, match="liquid"):
        gas.vapor_temperature_from_enthalpy_k(500_000.0, boiling)
    with pytest.raises(OutOfRange, match="200 K above its dew point"):
        gas.vapor_temperature_from_enthalpy_k(500_000.0, 900_000.0)


@pytest.mark.parametrize("refrigerant_id", IDS)
def test_boiling_liquid_at_0_c_is_the_origin_of_enthalpy(refrigerant_id: str) -> None:
    """The reference of the International Institute of Refrigeration."""
    assert fluid(refrigerant_id).liquid_enthalpy_j_per_kg(273.15) == pytest.approx(200e3, abs=5.0)


def test_a_fluid_is_read_once() -> None:
    assert fluid("R-290") is fluid("R-290")
    assert repr(fluid("R-290")) == "<Fluid R-290>"


@pytest.mark.parametrize("text", ["r404a", "R404A", "404"])
def test_a_fluid_is_had_by_its_exact_id_only(text: str) -> None:
    with pytest.raises(UnknownRefrigerant, match="Did you mean R-404A"):
        fluid(text)


@pytest.mark.parametrize("content", [None, "", "{", "[]", "{}", '{"refrigerant": "R-22"}', "\x00"])
def test_a_missing_or_damaged_table_is_named(
    content: str | None, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    if content is not None:
        (tmp_path / "R-22.json").write_text(content, encoding="utf-8")
    monkeypatch.setattr(tables, "DATA_FOLDER", tmp_path)
    with pytest.raises(TableUnusable, match=r"table of R-22 .* Install the program again"):
        fluid.__wrapped__("R-22")


def test_a_table_cut_short_is_refused(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    table = json.loads((tables.DATA_FOLDER / "R-22.json").read_text(encoding="ascii"))
    table["vapor_entropy"] = table["vapor_entropy"][:-1]
    (tmp_path / "R-22.json").write_text(json.dumps(table), encoding="ascii")
    monkeypatch.setattr(tables, "DATA_FOLDER", tmp_path)
    with pytest.raises(TableUnusable, match="vapor_entropy"):
        fluid.__wrapped__("R-22")


def test_every_error_is_of_this_room() -> None:
    for error in (OutOfRange, NotSuperheated, UnknownRefrigerant, TableUnusable):
        assert issubclass(error, PhysicsError)
        assert issubclass(error, ValueError)


def test_look_ups_load_neither_the_property_library_nor_numpy() -> None:
    script = (
        "import sys\n"
        "from triage.physics.tables import fluid\n"
        "from triage.physics.compression import isentropic_discharge\n"
        "isentropic_discharge(fluid('R-449A'), 3e5, 5.0, 15e5)\n"
        "heavy = {'CoolProp', 'numpy', 'scipy'} & set(sys.modules)\n"
        "sys.exit(f'loaded {heavy}' if heavy else 0)\n"
    )
    root = Path(tables.__file__).parents[2]
    done = subprocess.run(
        [sys.executable, "-c", script], cwd=root, capture_output=True, text=True, check=False
    )
    assert done.returncode == 0, done.stderr
