"""Hypothesis strategies for what people type."""

from __future__ import annotations

from dataclasses import dataclass

from hypothesis import settings
from hypothesis import strategies as st

from triage.physics.units import Dimension

FIXED = settings(derandomize=True, max_examples=120, deadline=None)
"""Settings of every property test here: the same examples in every run."""


@dataclass(frozen=True)
class Typed:
    """A text and the SI value it stands for (pressures absolute at 101 325 Pa)."""

    text: str
    si: float
    dimension: Dimension


# SI = number x factor + zero; the factors are written out, not taken from the code under test.
_UNITS: dict[Dimension, dict[str, tuple[float, float]]] = {
    Dimension.GAUGE_PRESSURE: {
        "psi": (6894.757293168, 101_325.0),
        "psig": (6894.757293168, 101_325.0),
        "lbs": (6894.757293168, 101_325.0),
        "psia": (6894.757293168, 0.0),
        "bar": (100_000.0, 101_325.0),
        "barg": (100_000.0, 101_325.0),
        "bara": (100_000.0, 0.0),
        "kPa": (1000.0, 101_325.0),
        "kPa abs": (1000.0, 0.0),
        "MPa": (1_000_000.0, 101_325.0),
    },
    Dimension.TEMPERATURE: {
        "F": (5 / 9, 255.3722222222),
        "°F": (5 / 9, 255.3722222222),
        "deg f": (5 / 9, 255.3722222222),
        "C": (1.0, 273.15),
        "degrees C": (1.0, 273.15),
        "K": (1.0, 0.0),
    },
    Dimension.TEMPERATURE_DIFFERENCE: {"F": (5 / 9, 0.0), "K": (1.0, 0.0), "C": (1.0, 0.0)},
    Dimension.DURATION: {"min": (60.0, 0.0), "s": (1.0, 0.0), "sec": (1.0, 0.0), "h": (3600.0, 0)},
    Dimension.LENGTH: {
        "in": (0.0254, 0.0),
        '"': (0.0254, 0.0),
        "mm": (0.001, 0.0),
        "cm": (0.01, 0.0),
        "ft": (0.3048, 0.0),
        "m": (1.0, 0.0),
    },
    Dimension.MASS: {
        "lb": (0.45359237, 0.0),
        "oz": (0.028349523125, 0.0),
        "kg": (1.0, 0.0),
        "g": (0.001, 0.0),
    },
    Dimension.VOLTAGE: {"V": (1.0, 0.0), "volts": (1.0, 0.0), "vac": (1.0, 0.0)},
    Dimension.RESISTANCE: {"ohm": (1.0, 0.0), "Ω": (1.0, 0.0), "k": (1e3, 0.0), "kohm": (1e3, 0)},
    Dimension.MASS_PER_DAY: {
        "lb/24 h": (0.45359237 / 86_400.0, 0.0),
        "pounds a day": (0.45359237 / 86_400.0, 0.0),
        "kg in 24 hours": (1 / 86_400.0, 0.0),
        "kg per hour": (1 / 3600.0, 0.0),
    },
    Dimension.ENERGY_PER_MASS: {
        "kWh/100 lb": (36_000.0 / 0.45359237, 0.0),
        "kWh per hundred pounds": (36_000.0 / 0.45359237, 0.0),
        "kwh per 100 kg of ice": (36_000.0, 0.0),
    },
    Dimension.VOLUME_PER_MASS: {
        "gal/100 lb": (3.785411784e-5 / 0.45359237, 0.0),
        "gallons per 100 lbs": (3.785411784e-5 / 0.45359237, 0.0),
        "L/100 kg": (1e-5, 0.0),
    },
    Dimension.CONCENTRATION: {
        "mg/L": (1e-3, 0.0),
        "ppm": (1e-3, 0.0),
        "gpg": (6.479891e-5 / 3.785411784e-3, 0.0),
        "grains per gallon": (6.479891e-5 / 3.785411784e-3, 0.0),
    },
    Dimension.WATER_PRESSURE: {
        "psi": (6894.757293168, 0.0),
        "pounds": (6894.757293168, 0.0),
        "bar": (100_000.0, 0.0),
        "kPa": (1000.0, 0.0),
    },
    Dimension.CURRENT: {"A": (1.0, 0.0), "amps": (1.0, 0.0), "mA": (1e-3, 0.0)},
    Dimension.VOLUME: {
        "gal": (3.785411784e-3, 0.0),
        "qt": (9.46352946e-4, 0.0),
        "L": (1e-3, 0.0),
        "mL": (1e-6, 0.0),
    },
    Dimension.AGE: {
        "days": (86_400.0, 0.0),
        "weeks ago": (604_800.0, 0.0),
        "months": (2_628_000.0, 0.0),
        "years": (31_536_000.0, 0.0),
    },
}


@st.composite
def quantities_as_typed(draw: st.DrawFn, dimension: Dimension | None = None) -> Typed:
    """A number with a written unit, with the spaces, commas and fillers people put in."""
    of = dimension or draw(st.sampled_from(list(Dimension)))
    unit = draw(st.sampled_from(sorted(_UNITS[of])))
    hundredths = draw(st.integers(0, 99_999))
    number = f"{hundredths / 100:.2f}" if hundredths % 100 else str(hundredths // 100)
    if draw(st.booleans()):
        number = number.replace(".", ",")
    space = draw(st.sampled_from(["", " ", "  ", "\N{NO-BREAK SPACE}"]))
    before = draw(st.sampled_from(["", "about ", "~", "roughly ", "it's "]))
    after = draw(st.sampled_from(["", " ", ".", " or so"]))
    factor, zero = _UNITS[of][unit]
    text = f"{before}{number}{space}{unit}{after}"
    return Typed(text, hundredths / 100 * factor + zero, of)


_LINE_WORDS = (
    "suction head discharge room bridge freeze yes no not sure can't reach it unknown why how "
    "note change the at after min minute 62 psi 4,3 bar 3/16 in 6:20 1,600 ft OL about half a "
    "quarter and , ; . / - = : ( ) ½ ″ − ° C F 1e999 nan inf 0/0 ::: 9999999999999999999"
)


def typed_lines() -> st.SearchStrategy[str]:
    """Lines that look like answers: words of the trade, numbers, separators, and noise."""
    words = st.sampled_from(_LINE_WORDS.split())
    return st.lists(st.one_of(words, st.text(max_size=6)), max_size=14).map(" ".join)
