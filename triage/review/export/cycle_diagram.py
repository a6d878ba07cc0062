"""The pressure-enthalpy diagram of a call as inline SVG: text stays text, colors are the page's."""

from __future__ import annotations

import io
import math
import re
from collections.abc import Sequence
from typing import TYPE_CHECKING

from triage.physics.quantity import UnitSystem
from triage.review.export.cycle import Cycle, Dome, dome_of

if TYPE_CHECKING:
    from matplotlib.axes import Axes

J_PER_KG_OF = {UnitSystem.SI: 1000.0, UnitSystem.US: 2326.0}
"""One kJ/kg, one Btu/lb [J/kg]; the latter by the definition of the international table Btu."""

PA_OF = {UnitSystem.SI: 100_000.0, UnitSystem.US: 6894.757293168}
"""One bar, one psi [Pa] (NIST SP 811, appendix B)."""

ENTHALPY_UNIT = {UnitSystem.SI: "kJ/kg", UnitSystem.US: "Btu/lb"}
PRESSURE_UNIT = {UnitSystem.SI: "bar absolute", UnitSystem.US: "psia"}

_INCHES = (4.7, 3.7)
_POINTS = 11.5
_MEASURED, _HEALTHY, _DOME, _INK, _GRID = "#000001", "#000002", "#000003", "#000004", "#000005"
_COLORS = {
    _MEASURED: "var(--measured)",
    _HEALTHY: "var(--healthy)",
    _DOME: "var(--dome)",
    _INK: "var(--ink)",
    _GRID: "var(--line)",
}
"""Matplotlib knows no custom properties: these stand in for them until the text is there."""

_STEPS = (1.0, 2.0, 5.0)


def diagram_svg(measured: Cycle, healthy: Cycle | None, system: UnitSystem) -> str:
    """Return an `svg` element with the dome, the measured cycle and, dashed, a healthy one.

    The same cycles give the same text. Colors are the custom properties --measured, --healthy,
    --dome, --ink and --line of the page around it. Its title and description are its ids
    `diagram-title` and `diagram-text`.
    """
    import matplotlib  # 0.5 s; only a page with a diagram pays for it
    from matplotlib.figure import Figure

    out = io.StringIO()
    with matplotlib.rc_context():
        matplotlib.rcdefaults()  # the settings of whoever runs this must not show in the picture
        matplotlib.rc("svg", fonttype="none", hashsalt="triage")
        matplotlib.rc("font", family="sans-serif", size=_POINTS)
        matplotlib.rc("text", color=_INK)
        matplotlib.rc("axes", edgecolor=_INK, labelcolor=_INK)
        matplotlib.rc("xtick", color=_INK)
        matplotlib.rc("ytick", color=_INK)
        figure = Figure(figsize=_INCHES, layout="constrained")
        axes = figure.add_subplot()
        _draw(axes, measured, healthy, system)
        nothing = dict.fromkeys(("Date", "Creator", "Format", "Type"))
        figure.savefig(out, format="svg", metadata=nothing, transparent=True)
    return _for_a_page(out.getvalue(), measured.refrigerant, is_compared=healthy is not None)


def round_pressures(least: float, greatest: float) -> list[float]:
    """Return 1, 2 and 5 times the powers of ten between two numbers above zero.

    >>> round_pressures(1.5, 60.0)
    [2.0, 5.0, 10.0, 20.0, 50.0]
    """
    powers = range(math.floor(math.log10(least)), math.ceil(math.log10(greatest)) + 1)
    ticks = (step * 10.0**power for power in powers for step in _STEPS)
    return [tick for tick in ticks if least <= tick <= greatest]


def _draw(axes: Axes, measured: Cycle, healthy: Cycle | None, system: UnitSystem) -> None:
    dome = dome_of(measured.refrigerant)
    cycles = [measured] if healthy is None else [measured, healthy]
    greatest_pa = 1.25 * max(pressure for _, pressure in dome.top)
    least_pa = min(cycle.suction.pressure_pa for cycle in cycles) / 1.8
    _draw_dome(axes, dome, system)
    if healthy is not None:
        _draw_cycle(axes, healthy, system, _HEALTHY, is_measured=False)
    _draw_cycle(axes, measured, system, _MEASURED, is_measured=True)
    unit_pa = PA_OF[system]
    axes.set_yscale("log")
    axes.set_ylim(least_pa / unit_pa, greatest_pa / unit_pa)
    axes.set_xlim(*_span(dome, cycles, least_pa, system))
    ticks = round_pressures(least_pa / unit_pa, greatest_pa / unit_pa)
    axes.set_yticks(ticks, [f"{tick:g}" for tick in ticks])
    axes.set_yticks([], minor=True)
    axes.locator_params(axis="x", nbins=6)
    axes.grid(visible=True, color=_GRID, linewidth=0.6)
    axes.set_axisbelow(True)
    axes.set_ylabel(f"Pressure, {PRESSURE_UNIT[system]} (log)")
    axes.set_xlabel(f"Enthalpy, {ENTHALPY_UNIT[system]}")
    for side in ("top", "right"):
        axes.spines[side].set_visible(False)
    axes.figure.legend(loc="outside upper center", ncols=3, frameon=False, handlelength=1.8,
                       columnspacing=1.2)  # fmt: skip


def _draw_dome(axes: Axes, dome: Dome, system: UnitSystem) -> None:
    axes.plot(*_scaled(dome.liquid, system), color=_DOME, linewidth=1.3, label="saturation")
    axes.plot(*_scaled(dome.vapor, system), color=_DOME, linewidth=1.3)
    axes.plot(*_scaled(dome.top, system), color=_DOME, linewidth=1.3, linestyle=":")


def _draw_cycle(
    axes: Axes, cycle: Cycle, system: UnitSystem, color: str, *, is_measured: bool
) -> None:
    states = [(point.enthalpy_j_per_kg, point.pressure_pa) for point in cycle.points]
    x, y = _scaled([*states, states[0]], system)
    if not is_measured:
        axes.plot(x, y, color=color, linewidth=1.6, linestyle="--", label="healthy")
        return
    axes.plot(x, y, color=color, linewidth=2.4, marker="o", markersize=5, label="measured")
    beside = ((7, -13), (7, 4), (-12, 5), (-12, -13))
    for number, offset in enumerate(beside, start=1):
        axes.annotate(
            str(number),
            (x[number - 1], y[number - 1]),
            xytext=offset,
            textcoords="offset points",
            color=color,
            fontweight="bold",
        )


def _span(
    dome: Dome, cycles: Sequence[Cycle], least_pa: float, system: UnitSystem
) -> tuple[float, float]:
    """Return the least and greatest enthalpy shown, in the unit of the diagram."""
    shown = [enthalpy for enthalpy, pressure in (*dome.liquid, *dome.vapor) if pressure >= least_pa]
    shown += [point.enthalpy_j_per_kg for cycle in cycles for point in cycle.points]
    margin = 0.06 * (max(shown) - min(shown))
    unit = J_PER_KG_OF[system]
    return (min(shown) - margin) / unit, (max(shown) + margin) / unit


def _scaled(
    states: Sequence[tuple[float, float]], system: UnitSystem
) -> tuple[list[float], list[float]]:
    """Return enthalpies and pressures in the units of the diagram."""
    return (
        [enthalpy / J_PER_KG_OF[system] for enthalpy, _ in states],
        [pressure / PA_OF[system] for _, pressure in states],
    )


def _for_a_page(document: str, refrigerant: str, *, is_compared: bool) -> str:
    """Return the `svg` element of a document alone, its colors and its font the page's."""
    svg = document[document.index("<svg") :].strip()
    svg = re.sub(r"<style[^>]*>.*?</style>", "", svg, flags=re.DOTALL)
    svg = re.sub(r"<defs>\s*</defs>\s*", "", svg)
    svg = re.sub(r"font-family: [^;\"]*|(?<=\d)px '[^;\"]*", _own_font, svg)
    for stand_in, color in _COLORS.items():
        svg = svg.replace(stand_in, color)
    size = re.search(r'viewBox="[^"]*"', svg)
    compared = (
        " A dashed line shows a healthy machine at the same conditions." if is_compared else ""
    )
    head = (
        f'<svg xmlns="http://www.w3.org/2000/svg" xmlns:xlink="http://www.w3.org/1999/xlink" '
        f'{size[0] if size else ""} role="img" aria-labelledby="diagram-title diagram-text" '
        f'class="diagram"><title id="diagram-title">Pressure over enthalpy of {refrigerant}</title>'
        f'<desc id="diagram-text">The measured cycle, points 1 to 4, with the saturation '
        f"dome.{compared} The points stand in numbers beside it.</desc>"
    )
    return re.sub(r"<svg[^>]*>", lambda _: head, svg, count=1)


def _own_font(found: re.Match[str]) -> str:
    return "font-family: inherit" if found[0].startswith("font-family") else "px inherit"
