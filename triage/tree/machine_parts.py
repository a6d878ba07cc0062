"""The parts a conclusion may call bad, and what has to be known before one is.

The table is the program's own, on purpose beside the content: proofs go by the part that a cause
condemns, replaces or names in its repair, whatever side the cause was written for. Parts and their
checks are common practice, no source.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass

from triage.tree.content import Cause, Side


@dataclass(frozen=True, slots=True, eq=False)
class Check:
    """What has to be known of a part before it is condemned.

    `good` maps readings to outcomes; one of them has to be had. `is_of_coil`: a coil that is dead
    looks like a valve that is bad, so this holds too where all readings together settle on a cause.
    `words` say what is wanted where there are many such readings.
    """

    good: Mapping[str, frozenset[str]]
    is_of_coil: bool = False
    words: str = ""

    def __str__(self) -> str:
        return self.words or " or ".join(
            f"{reading}: {' or '.join(sorted(outcomes))}" for reading, outcomes in self.good.items()
        )


@dataclass(frozen=True, slots=True, eq=False)
class Part:
    """A part as `condemns` names it.

    `checks` has the sides a cause that condemns it may be on, each with its check, the side it
    belongs to first; None where the part is looked at, and seeing it is the check. `names` are what
    a repair calls it. Parts without names only go along with others, or need no such care.
    """

    id: str
    checks: Mapping[Side, Check | None]
    names: tuple[str, ...] = ()

    @property
    def side(self) -> Side:
        """The side it belongs to."""
        return next(iter(self.checks))

    def check_on(self, side: Side) -> Check | None:
        """Return its check for a cause of a side; of its own side where it may not be on that."""
        return self.checks.get(side, self.checks[self.side])


def _outcomes(text: str) -> frozenset[str]:
    return frozenset(text.split())


def _check(**good: str) -> Check:
    return Check({reading: _outcomes(outcomes) for reading, outcomes in good.items()})


def _coil(**good: str) -> Check:
    return Check({reading: _outcomes(each) for reading, each in good.items()}, is_of_coil=True)


def _anywhere(check: Check | None) -> dict[Side, Check | None]:
    return dict.fromkeys((Side.AROUND, Side.FREEZE, Side.HARVEST), check)


_HARVEST_COIL_FED = _coil(coil_voltage="within")
_SEAT_LEAKS = _coil(coil_voltage="within", hot_gas_line_in_freeze="hot_coil_off")
"""A valve that should be shut is leaking only if its line is hot while its coil is dead."""
_INLET_COIL_FED = _coil(inlet_coil_voltage="within")
_MEASURED = Check(
    {
        **dict.fromkeys(
            (
                "freeze_suction_pressure_early", "freeze_suction_pressure_late",
                "freeze_discharge_pressure", "discharge_line_temperature", "suction_superheat",
                "liquid_subcooling",
            ),
            _outcomes("below within above"),
        ),
        "running_pressures": _outcomes("apart close vacuum"),
    },
    words="a pressure, superheat, subcooling or discharge line temperature of the freeze",
)  # fmt: skip
"""What sits in the refrigerant circuit is condemned behind a gauge, not by a look."""

PARTS: Mapping[str, Part] = {
    part.id: part
    for part in (
        Part(
            "hot_gas_valve",
            {Side.HARVEST: _HARVEST_COIL_FED, Side.FREEZE: _SEAT_LEAKS},
            ("hot gas valve", "hot gas solenoid", "hot gas bypass", "harvest valve",
             "harvest solenoid"),
        ),
        Part(
            "receiver_vapor_regulator", {Side.HARVEST: _HARVEST_COIL_FED},
            ("vapor regulator", "feed regulator"),
        ),
        Part(
            "receiver_vapor_solenoid", {Side.HARVEST: _HARVEST_COIL_FED},
            ("vapor solenoid", "vapor valve", "feed solenoid", "feed valve"),
        ),
        Part(
            "harvest_coil", {Side.HARVEST: _check(coil_resistance="below above")},
            ("harvest coil", "harvest valve coil", "hot gas coil", "hot gas valve coil",
             "coil of the hot gas valve", "vapor solenoid coil", "feed coil"),
        ),
        Part("plate", {Side.HARVEST: None}, ("evaporator", "new plate", "freezing plate")),
        Part("vacuum_break_pump", {Side.HARVEST: None}, ("air pump", "vacuum break")),
        Part(
            "compressor",
            {
                Side.FREEZE: _MEASURED,
                Side.AROUND: _check(
                    compressor_windings="good open to_ground uneven", faulty_part="compressor"
                ),
            },
            ("compressor",),
        ),
        Part("expansion_valve", {Side.FREEZE: _MEASURED}, ("expansion valve",)),
        Part(
            "head_pressure_control", {Side.FREEZE: _MEASURED},
            ("head pressure control", "head pressure valve"),
        ),
        Part(
            "liquid_line_valve",
            # It has its voltage, and yet the line behind it is cold.
            {Side.FREEZE: _coil(liquid_line_valve="shut")},
            ("liquid line valve", "liquid line solenoid"),
        ),
        Part(
            "water_inlet_valve", {Side.AROUND: _INLET_COIL_FED, Side.FREEZE: _INLET_COIL_FED},
            ("inlet valve", "inlet water valve", "fill valve", "inlet solenoid", "fill solenoid",
             "water solenoid"),
        ),
        Part(
            "water_inlet_valve_coil", {Side.AROUND: _INLET_COIL_FED},
            ("inlet valve coil", "fill valve coil", "inlet coil"),
        ),
        Part(
            "valve_coil",
            _anywhere(_check(faulty_part="valve_coil", coil_resistance="below above")),
            ("valve coil",),
        ),
        Part("condenser_water_valve", _anywhere(_check(condenser_water_tap="open_and_clean"))),
        Part("high_pressure_switch", _anywhere(_check(cutout_trip_pressure="below_setting"))),
        Part("drop_switch", _anywhere(_check(drop_sensor_state="does_not_answer"))),
        Part("stop_switch", _anywhere(_check(stop_switches="bin_open curtain_open"))),
        Part("breaker", _anywhere(_check(faulty_part="none"))),
        Part("motor", _anywhere(_check(faulty_part="pump_or_fan"))),
        Part("wiring", _anywhere(None)),
        Part(
            "control_transformer",
            _anywhere(_check(control_circuit="low none_fuse_good none_fuse_blown")),
        ),
        Part("control", _anywhere(_check(open_contact="none", stop_switches="closed"))),
        Part("contactor", _anywhere(_check(contactor_state="contacts_dead out_powered"))),
        Part("start_parts", _anywhere(_check(start_parts="failed"))),
    )
}  # fmt: skip
"""Every part a cause may condemn, by its name there."""

IN_CIRCUIT = frozenset({
    "hot_gas_valve", "receiver_vapor_regulator", "receiver_vapor_solenoid", "compressor",
    "expansion_valve", "head_pressure_control", "liquid_line_valve",
})  # fmt: skip
"""Parts that hold refrigerant; whoever replaces one opens the circuit."""

WITHOUT_CHECK: frozenset[tuple[str, str]] = frozenset(
    {("water_inlet_valve", "water_inlet_leaking")}
)
"""Parts, each with a cause that needs no check of it: this valve stands open without its coil."""

_NAMED = {name: part for part in PARTS.values() for name in part.names}
# The longest name first: a coil of a valve is not the valve.
_NAMES = re.compile(
    r"\b(?<!for this )(?<!for the )(?:"
    + "|".join(sorted(map(re.escape, _NAMED), key=len, reverse=True))
    + r")(?!'s)"
)
_CLAUSES = re.compile(r"[.:;!?]+(?:\s|$)")
_REPLACES = re.compile(
    r"\b(?:replac(?:e|ed|es|ing)|exchang(?:e|ed|es|ing)|swap|renew|condemn|new)\b"
)
_MOVED_BY_A_COIL = ("solenoid", "with coil", "with its coil")


def parts_of(cause: Cause) -> tuple[Part, ...]:
    """Return the known parts that a cause condemns, replaces, or says in its repair to replace."""
    found = [PARTS[name] for name in cause.condemns if name in PARTS]
    for text in _parts_told(cause):
        found += _parts_in(text)
    return tuple(dict.fromkeys(found))


def checks_of(cause: Cause) -> tuple[Check, ...]:
    """Return what has to be known before a cause is concluded, check by check."""
    checks = (
        part.check_on(cause.side)
        for part in parts_of(cause)
        if (part.id, cause.id) not in WITHOUT_CHECK
    )
    return tuple(dict.fromkeys(check for check in checks if check is not None))


def unknown_moved_part(cause: Cause) -> str:
    """Return a part the cause replaces that a coil moves and no check is known for; "" if none."""
    is_checked = any(check.is_of_coil for check in checks_of(cause))
    for text in _listed(cause):
        if any(word in text for word in _MOVED_BY_A_COIL) and not _parts_in(text):
            return text
    for text in _repair_clauses(cause):
        if any(word in text for word in _MOVED_BY_A_COIL) and not (is_checked or _parts_in(text)):
            return text
    return ""


def is_of_harvest(cause: Cause) -> bool:
    """Whether a cause blames the harvest: by its side, or by a part that may not be on its side."""
    return cause.side is Side.HARVEST or any(
        part.side is Side.HARVEST and cause.side not in part.checks for part in parts_of(cause)
    )


def _parts_in(text: str) -> list[Part]:
    return [_NAMED[found.group()] for found in _NAMES.finditer(text)]


def _parts_told(cause: Cause) -> Iterator[str]:
    yield from _listed(cause)
    yield from _repair_clauses(cause)


def _listed(cause: Cause) -> Iterator[str]:
    """Yield what is condemned and not known by its name, and what is replaced."""
    for text in (*(name for name in cause.condemns if name not in PARTS), *cause.replace_together):
        yield _plain(text)


def _repair_clauses(cause: Cause) -> Iterator[str]:
    """Yield what the repair says to replace; other parts it names are looked at or set."""
    for clause in _CLAUSES.split(_plain(cause.repair)):
        if _REPLACES.search(clause):
            yield clause


def _plain(text: str) -> str:
    return " ".join(text.casefold().replace("_", " ").replace("-", " ").split())
