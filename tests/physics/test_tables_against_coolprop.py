"""Shipped tables against CoolProp itself, between the grid points, for every refrigerant."""

import json
import math

import CoolProp
import pytest
from CoolProp.CoolProp import AbstractState

from triage.physics.build_tables import (
    build_table,
    coolprop_version,
    saturation_states,
    table_text,
)
from triage.physics.compression import isentropic_discharge
from triage.physics.refrigerant import REFRIGERANTS
from triage.physics.tables import DATA_FOLDER, Fluid, fluid

IDS = sorted(REFRIGERANTS)
LEAST_C, STEPS = -70.0, 50
SUPERHEATS_K = (0.7, 3.1, 9.4, 27.0, 62.0, 170.0)
SATURATION_BOUND_K = 0.01
TEMPERATURE_BOUND_K = 0.05
ENTHALPY_BOUND_J_PER_KG = 300.0
DENSITY_BOUND = 0.002


def between_nodes(gas: Fluid) -> list[float]:
    """Temperatures in the middle of every interval, where a spline is worst, and near both ends."""
    step = (gas.greatest_temperature_k - gas.least_temperature_k) / STEPS
    middles = [gas.least_temperature_k + (i + 0.5) * step for i in range(STEPS)]
    return [gas.least_temperature_k + 0.1 * step, *middles, gas.greatest_temperature_k - 0.02]


def state_of(refrigerant_id: str, gas_only: bool = False) -> AbstractState:
    state = AbstractState("HEOS", REFRIGERANTS[refrigerant_id].coolprop_name)
    if gas_only:
        state.specify_phase(CoolProp.iphase_gas)
    return state


@pytest.mark.parametrize("refrigerant_id", IDS)
def test_bubble_line_agrees_between_grid_points(refrigerant_id: str) -> None:
    gas, state = fluid(refrigerant_id), state_of(refrigerant_id)
    state.update(CoolProp.QT_INPUTS, 0.0, 273.15)
    shift = 200_000.0 - state.hmass()
    for boiling in saturation_states(state, 0.0, between_nodes(gas)):
        t = boiling.T()
        assert gas.bubble_temperature_k(boiling.p()) == pytest.approx(t, abs=SATURATION_BOUND_K)
        enthalpy = boiling.hmass() + shift
        assert gas.liquid_enthalpy_j_per_kg(t) == pytest.approx(enthalpy, abs=50.0)
        assert gas.liquid_density_kg_per_m3(t) == pytest.approx(boiling.rhomass(), rel=0.001)


@pytest.mark.parametrize("refrigerant_id", IDS)
def test_dew_line_and_vapor_agree_between_grid_points(refrigerant_id: str) -> None:
    gas, state = fluid(refrigerant_id), state_of(refrigerant_id)
    vapor = state_of(refrigerant_id, gas_only=True)
    state.update(CoolProp.QT_INPUTS, 0.0, 273.15)
    enthalpy_shift, entropy_shift = 200_000.0 - state.hmass(), 1_000.0 - state.smass()
    unsolved = 0
    for number, dew in enumerate(saturation_states(state, 1.0, between_nodes(gas))):
        t, p = dew.T(), dew.p()
        assert gas.dew_temperature_k(p) == pytest.approx(t, abs=SATURATION_BOUND_K)
        for superheat in (0.0, SUPERHEATS_K[number % 6], SUPERHEATS_K[(number + 3) % 6]):
            if superheat > 0.0:
                try:
                    vapor.update(CoolProp.PT_INPUTS, p, t + superheat)
                except ValueError:  # the library itself finds no state here, next to critical
                    assert t > 0.97 * gas.critical_temperature_k
                    unsolved += 1
                    continue
            truth = vapor if superheat > 0.0 else dew
            h, s = truth.hmass() + enthalpy_shift, truth.smass() + entropy_shift
            found = gas.vapor_enthalpy_j_per_kg(p, superheat)
            assert found == pytest.approx(h, abs=ENTHALPY_BOUND_J_PER_KG)
            assert gas.vapor_entropy_j_per_kg_k(p, superheat) == pytest.approx(s, abs=0.8)
            density = truth.rhomass()
            assert gas.vapor_density_kg_per_m3(p, superheat) == pytest.approx(
                density, rel=DENSITY_BOUND
            )
            if superheat > 0.0:
                found_t = gas.vapor_temperature_from_enthalpy_k(p, h)
                assert found_t == pytest.approx(t + superheat, abs=TEMPERATURE_BOUND_K)
    assert unsolved <= 2


@pytest.mark.parametrize("refrigerant_id", IDS)
def test_saturation_agrees_with_flashes_started_from_nothing(refrigerant_id: str) -> None:
    """Guards against the guided flashes of the builder following a false root."""
    gas, state = fluid(refrigerant_id), state_of(refrigerant_id)
    for celsius in (-69.3, -51.7, -33.3, -18.2, -4.4, 9.9, 21.6, 38.1, 44.7):
        t = celsius + 273.15
        if t > 0.9 * gas.critical_temperature_k:
            continue  # flashes from nothing fail there, here and there
        state.update(CoolProp.QT_INPUTS, 0.0, t)
        assert gas.bubble_temperature_k(state.p()) == pytest.approx(t, abs=SATURATION_BOUND_K)
        state.update(CoolProp.QT_INPUTS, 1.0, t)
        assert gas.dew_temperature_k(state.p()) == pytest.approx(t, abs=SATURATION_BOUND_K)


@pytest.mark.parametrize("refrigerant_id", IDS)
def test_isentropic_discharge_keeps_coolprops_entropy(refrigerant_id: str) -> None:
    gas, vapor = fluid(refrigerant_id), state_of(refrigerant_id, gas_only=True)
    for evaporating, condensing, superheat in (
        (-33.0, 24.0, 6.0),
        (-21.0, 41.0, 2.0),
        (-8.0, 52.0, 11.0),
        (4.0, 33.0, 22.0),
    ):
        suction_pa = gas.dew_pressure_pa(evaporating + 273.15)
        discharge_pa = gas.dew_pressure_pa(condensing + 273.15)
        end = isentropic_discharge(gas, suction_pa, superheat, discharge_pa)
        vapor.update(CoolProp.PT_INPUTS, suction_pa, evaporating + 273.15 + superheat)
        entropy, enthalpy = vapor.smass(), vapor.hmass()
        vapor.update(CoolProp.PT_INPUTS, discharge_pa, end.temperature_k)
        # ds = cp dT / T turns the difference of entropy into one of temperature.
        error_k = (vapor.smass() - entropy) * end.temperature_k / vapor.cpmass()
        assert abs(error_k) < 0.01
        work = end.enthalpy_j_per_kg - gas.vapor_enthalpy_j_per_kg(suction_pa, superheat)
        assert work == pytest.approx(vapor.hmass() - enthalpy, abs=20.0)


@pytest.mark.parametrize("refrigerant_id", IDS)
def test_the_library_computes_with_the_stated_composition(refrigerant_id: str) -> None:
    refrigerant, state = REFRIGERANTS[refrigerant_id], state_of(refrigerant_id)
    names = [f"R-{name.removeprefix('R')}" for name in state.fluid_names()]
    if not refrigerant.is_blend:
        names = [refrigerant_id]
    computed = dict(zip(names, state.get_mass_fractions(), strict=True))
    assert computed == pytest.approx(dict(refrigerant.composition), abs=1e-6)


@pytest.mark.parametrize("refrigerant_id", IDS)
def test_every_shipped_table_names_its_source(refrigerant_id: str) -> None:
    path = DATA_FOLDER / f"{refrigerant_id}.json"
    text = path.read_text(encoding="ascii")
    table = json.loads(text)
    assert table["refrigerant"] == refrigerant_id
    assert table["coolprop_version"] in table["source"]
    assert table_text(table) == text


@pytest.mark.parametrize("refrigerant_id", ["R-290", "R-454C"])
def test_a_shipped_table_is_what_the_builder_makes(refrigerant_id: str) -> None:
    shipped = json.loads((DATA_FOLDER / f"{refrigerant_id}.json").read_text(encoding="ascii"))
    rebuilt = build_table(REFRIGERANTS[refrigerant_id])
    assert list(rebuilt) == list(shipped)
    if rebuilt["coolprop_version"] == shipped["coolprop_version"]:
        assert rebuilt["source"] == shipped["source"]
    assert rebuilt["coolprop_version"] == coolprop_version()
    for key, value in rebuilt.items():
        if isinstance(value, float):
            assert value == pytest.approx(shipped[key], rel=1e-6), key
        elif isinstance(value, list):
            for new, old in zip(value, shipped[key], strict=True):
                assert new == pytest.approx(old, rel=2e-6, abs=2e-6), key


def test_the_tables_folder_holds_nothing_else() -> None:
    assert sorted(path.stem for path in DATA_FOLDER.glob("*.json")) == IDS
    assert math.isclose(fluid("R-22").least_temperature_k, LEAST_C + 273.15)
