"""Build the shipped property tables from CoolProp: `python -m triage.physics.build_tables`.

Each table samples one refrigerant on a uniform grid of temperatures from 203.15 K to 0.985 of its
critical temperature, and its vapor on a grid of dew temperature by superheat. Nodes hold CoolProp's
own values, rounded far below the interpolation error. Enthalpy and entropy are shifted to the
reference of the International Institute of Refrigeration: 200 kJ/kg and 1 kJ/(kg K) for boiling
liquid at 0 °C. Running it twice gives the same bytes.
"""

from __future__ import annotations

import json
import math
import sys
from collections.abc import Iterable, Iterator
from pathlib import Path
from typing import Any

from triage.physics.refrigerant import REFRIGERANTS, Refrigerant
from triage.physics.tables import DATA_FOLDER

LEAST_TEMPERATURE_K = 203.15
GREATEST_SHARE_OF_CRITICAL = 0.985
"""Nearer to the critical point mixture flashes grow unreliable and the curves too steep."""

TEMPERATURE_INTERVALS = 50
SUPERHEAT_INTERVALS = 22
GREATEST_SUPERHEAT_K = 200.0
SUPERHEAT_SCALE_K = 12.0
"""Nodes lie even in log(1 + superheat / scale): dense where vapor is least like an ideal gas."""

REFERENCE_TEMPERATURE_K = 273.15
REFERENCE_ENTHALPY_J_PER_KG = 200_000.0
REFERENCE_ENTROPY_J_PER_KG_K = 1_000.0


def coolprop_version() -> str:
    """Return the version of the CoolProp library in use."""
    from CoolProp import __version__

    return str(__version__)


def saturation_states(state: Any, quality: float, temperatures_k: Iterable[float]) -> Iterator[Any]:
    """Bring a CoolProp state to saturation at rising temperatures, yielding it at each.

    `quality` is 0 for bubble and 1 for dew. For blends every flash starts from the two before it,
    extrapolated: from nothing the library's flash fails here and there above 0.9 of the critical
    temperature. Steps of a few K are small enough.
    """
    import CoolProp
    from CoolProp.CoolProp import PyGuessesStructure

    is_blend = len(state.fluid_names()) > 1
    before: list[tuple[float, list[float]]] = []
    for temperature in temperatures_k:
        state.unspecify_phase()
        if not is_blend or len(before) < 2:
            state.update(CoolProp.QT_INPUTS, quality, temperature)
        else:
            (first_t, first), (second_t, second) = before
            share = (temperature - first_t) / (second_t - first_t)
            guessed = [a * (b / a) ** share for a, b in zip(first, second, strict=True)]
            count = (len(guessed) - 3) // 2
            guesses = PyGuessesStructure()
            guesses.T = temperature
            guesses.p, guesses.rhomolar_liq, guesses.rhomolar_vap = guessed[:3]
            guesses.x, guesses.y = guessed[3 : 3 + count], guessed[3 + count :]
            state.update_with_guesses(CoolProp.QT_INPUTS, quality, temperature, guesses)
        if is_blend:
            reached = [
                state.p(),
                state.saturated_liquid_keyed_output(CoolProp.iDmolar),
                state.saturated_vapor_keyed_output(CoolProp.iDmolar),
                *state.mole_fractions_liquid(),
                *state.mole_fractions_vapor(),
            ]
            before = [*before[-1:], (temperature, reached)]
        yield state


def build_table(refrigerant: Refrigerant) -> dict[str, Any]:
    """Return the table of one refrigerant as plain data, computed by CoolProp (about a second)."""
    import CoolProp
    from CoolProp.CoolProp import AbstractState

    state = AbstractState("HEOS", refrigerant.coolprop_name)
    gas = AbstractState("HEOS", refrigerant.coolprop_name)
    gas.specify_phase(CoolProp.iphase_gas)
    state.update(CoolProp.QT_INPUTS, 0.0, REFERENCE_TEMPERATURE_K)
    enthalpy_shift = REFERENCE_ENTHALPY_J_PER_KG - state.hmass()
    entropy_shift = REFERENCE_ENTROPY_J_PER_KG_K - state.smass()
    gas_constant = state.gas_constant() / state.molar_mass()
    # For blends the search also turns up roots without physical meaning, below the true one.
    critical_temperature, critical_pressure = max(
        (point.T, point.p) for point in state.all_critical_points() if point.p > 0.0
    )
    greatest = math.floor(GREATEST_SHARE_OF_CRITICAL * critical_temperature * 100.0) / 100.0
    step = round((greatest - LEAST_TEMPERATURE_K) / TEMPERATURE_INTERVALS, 6)
    temperatures = [LEAST_TEMPERATURE_K + i * step for i in range(TEMPERATURE_INTERVALS + 1)]
    superheat_step = round(
        math.log1p(GREATEST_SUPERHEAT_K / SUPERHEAT_SCALE_K) / SUPERHEAT_INTERVALS, 12
    )
    superheats = [
        SUPERHEAT_SCALE_K * math.expm1(j * superheat_step) for j in range(SUPERHEAT_INTERVALS + 1)
    ]

    log_bubble, liquid_enthalpy, liquid_density = [], [], []
    for boiling in saturation_states(state, 0.0, temperatures):
        log_bubble.append(round(math.log(boiling.p()), 9))
        liquid_enthalpy.append(round(boiling.hmass() + enthalpy_shift, 1))
        liquid_density.append(round(boiling.rhomass(), 3))

    log_dew, enthalpy, entropy, compressibility = [], [], [], []
    for dew in saturation_states(state, 1.0, temperatures):
        pressure, temperature = dew.p(), dew.T()
        log_dew.append(round(math.log(pressure), 9))
        rows: tuple[list[float], list[float], list[float]] = ([], [], [])
        for superheat in superheats:
            if superheat > 0.0:
                gas.update(CoolProp.PT_INPUTS, pressure, temperature + superheat)
            point = gas if superheat > 0.0 else dew
            factor = pressure / (point.rhomass() * gas_constant * point.T())
            rows[0].append(round(point.hmass() + enthalpy_shift, 1))
            rows[1].append(round(point.smass() + entropy_shift, 4))
            rows[2].append(round(factor, 7))
        enthalpy.append(rows[0])
        entropy.append(rows[1])
        compressibility.append(rows[2])
    return {
        "refrigerant": refrigerant.id,
        "source": f"computed with CoolProp {coolprop_version()}, fluid {refrigerant.coolprop_name}",
        "coolprop_version": coolprop_version(),
        "critical_temperature_k": round(critical_temperature, 4),
        "critical_pressure_pa": round(critical_pressure, 0),
        "gas_constant_j_per_kg_k": round(gas_constant, 7),
        "temperature_start_k": LEAST_TEMPERATURE_K,
        "temperature_step_k": step,
        "superheat_scale_k": SUPERHEAT_SCALE_K,
        "superheat_step": superheat_step,
        "log_bubble_pressure": log_bubble,
        "log_dew_pressure": log_dew,
        "liquid_enthalpy": liquid_enthalpy,
        "liquid_density": liquid_density,
        "vapor_enthalpy": enthalpy,
        "vapor_entropy": entropy,
        "vapor_compressibility": compressibility,
    }


def table_text(table: dict[str, Any]) -> str:
    """Return a table as the text of its file: one column, or one row of a grid, a line."""
    lines = []
    for key, value in table.items():
        if isinstance(value, list) and isinstance(value[0], list):
            rows = ",\n  ".join(json.dumps(row, separators=(",", ":")) for row in value)
            lines.append(f"{json.dumps(key)}: [\n  {rows}\n ]")
        else:
            lines.append(f"{json.dumps(key)}: {json.dumps(value, separators=(',', ':'))}")
    return "{\n " + ",\n ".join(lines) + "\n}\n"


def write_tables(folder: Path) -> None:
    """Write the table of every refrigerant into a folder, replacing what is there."""
    folder.mkdir(parents=True, exist_ok=True)
    for refrigerant in REFRIGERANTS.values():
        text = table_text(build_table(refrigerant))
        (folder / f"{refrigerant.id}.json").write_text(text, encoding="ascii")
        sys.stdout.write(f"{refrigerant.id}: {len(text) / 1000:.0f} kB\n")


if __name__ == "__main__":
    write_tables(DATA_FOLDER)
