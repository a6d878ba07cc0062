"""Findings in words: values, bands, moments and verdicts in the caller's units.

Everything here returns plain strings already cleaned of control characters.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from triage.console.figures import (
    AIR,
    WATER,
    at_any_minute,
    basis_of,
    between,
    other_system,
)
from triage.dialogue.case import COMPLAINT, Case
from triage.dialogue.judge import (
    ALTITUDE,
    barometric_pressure_of,
    coil_state_of,
    finding_of,
    fitting,
    manifold_window_of,
    number,
    refrigerant_in_use,
    word,
)
from triage.dialogue.view import Finding, Source, Verdict
from triage.dialogue.words import plain_text
from triage.physics.bands import Band
from triage.physics.errors import PhysicsError
from triage.physics.quantity import Dimension, UnitSystem, format_both, format_quantity
from triage.physics.units import NOUNS
from triage.tree.content import UNKNOWN, Choice, Content, Question, Reading, ReadingKind, Stage

AGENT = "agent"

CONFIRMING_TEST = "manifold_test_result"
"""The reading whose question shows a window to stay inside."""

CONTROL_WORDS: Mapping[str, str] = {
    "back": "take the last answer back",
    "change": "take an earlier answer back: change air temperature",
    "unknown": "it cannot be had; say why: unknown, can't reach it",
    "why": "why this is asked",
    "how": "how to measure it safely",
    "note": "keep a free note: note caller is on a ladder",
    "case": "everything known so far",
    "serial": "keep which very machine it is: serial 0451-77",
    "park": "let the call wait, and say why: park 20 min freeze is running",
    "stop": "leave and keep the call; it can be resumed",
    "help": "what can be typed here",
}
"""The words that work at every prompt, with their meaning."""

VERDICT_WORDS = {
    Verdict.BELOW: "BELOW",
    Verdict.WITHIN: "WITHIN",
    Verdict.ABOVE: "ABOVE",
    Verdict.OUTSIDE: "NOT NORMAL",
    Verdict.NOTED: "NOTED",
    Verdict.UNKNOWN: "UNKNOWN",
}

_SEA_LEVEL = {UnitSystem.US: "0 ft (0 m)", UnitSystem.SI: "0 m (0 ft)"}

LONGEST_TYPED_LABEL = 20
"""Characters of a choice's label that people can be asked to type (judged)."""

_NUMBER_KINDS = frozenset(ReadingKind) - {
    ReadingKind.CHOICE,
    ReadingKind.MACHINE,
    ReadingKind.REFRIGERANT,
}

_EXAMPLES = {
    ReadingKind.GAUGE_PRESSURE: ("62 psi", "4.3 bar"),
    ReadingKind.TEMPERATURE: ("150 F", "65 C"),
    ReadingKind.TEMPERATURE_DIFFERENCE: ("12 F", "7 K"),
    ReadingKind.DURATION: ("6:20", "6 min 20"),
    ReadingKind.LENGTH: ("1/8 in", "3 mm"),
    ReadingKind.MASS: ("6.5 lb", "3 kg"),
    ReadingKind.VOLTAGE: ("24 V", "23.5 V"),
    ReadingKind.RESISTANCE: ("18 ohm", "OL"),
    ReadingKind.MASS_PER_DAY: ("420 lb a day", "190 kg a day"),
    ReadingKind.ENERGY_PER_MASS: ("5.8 kWh/100 lb", "12.8 kWh/100 kg"),
    ReadingKind.VOLUME_PER_MASS: ("18 gal/100 lb", "150 L/100 kg"),
    ReadingKind.CONCENTRATION: ("120 mg/L", "7 gpg"),
    ReadingKind.WATER_PRESSURE: ("45 psi", "3.1 bar"),
    ReadingKind.CURRENT: ("9.5 A", "12 A"),
    ReadingKind.VOLUME: ("1.4 gal", "5.3 L"),
    ReadingKind.AGE: ("3 months", "never"),
}

_SPECIAL_EXAMPLES = {
    "discharge_pressure": ("305 psi", "21 bar"),
    "air_temperature": ("72 F", "22 C"),
    "inlet_temperature": ("60 F", "16 C"),
    "altitude": ("5000 ft", "1500 m"),
}
"""Examples that look like the reading asked for, by how its id ends."""


@dataclass(frozen=True, slots=True)
class Telling:
    """What it takes to put things into this caller's words: the content and the case so far."""

    content: Content
    case: Case

    @property
    def is_agent(self) -> bool:
        """Whether somebody reads the questions out to a caller."""
        return self.case.voice == AGENT

    @property
    def speaker(self) -> str:
        """Return the word at the margin of a typed line."""
        return "caller" if self.is_agent else "you"

    @property
    def units(self) -> UnitSystem:
        """Return the caller's own units."""
        return UnitSystem(self.case.units)

    def words_of(self, question: Question) -> str:
        """Return the question in the voice of the call."""
        return plain_text(question.agent if self.is_agent else question.technician)

    def value(self, reading: Reading, value: float | str | None) -> str:
        """Return a value in both systems, the caller's first, or the label of what was chosen."""
        if value is None:
            return "unknown"
        if isinstance(value, str):
            return self._label(reading, value)
        if reading.kind not in _NUMBER_KINDS:
            return plain_text(str(value))
        if reading.id == ALTITUDE and abs(value) < 1.0:  # a small length is told in inches
            return _SEA_LEVEL[self.units]
        return format_both(
            value, Dimension(reading.kind.value), self.units, barometric_pressure_of(self.case)
        )

    def finding(self, finding: Finding) -> str:
        """Return name, value and moment: `late freeze suction 62 psig (4.3 bar), at minute 12`."""
        name = plain_text(finding.reading.name)
        joint = " " if finding.reading.kind in _NUMBER_KINDS and finding.value is not None else ": "
        return f"{name}{joint}{self.value(finding.reading, finding.value)}{moment(finding)}"

    def brief(self, finding: Finding) -> str:
        """Return a finding in one breath: name, value in the caller's units, verdict."""
        words = self.named_value(finding)
        return words if finding.verdict is Verdict.NOTED else f"{words}, {self.verdict(finding)}"

    def named_value(self, finding: Finding) -> str:
        """Return name and value in the caller's units alone: `suction pressure 62 psig`."""
        reading, value = finding.reading, finding.value
        name = plain_text(reading.name)
        if isinstance(value, str) or value is None or reading.kind not in _NUMBER_KINDS:
            return f"{name}: {self.value(reading, value)}"
        return f"{name} {self._single(value, reading)}"

    def named_value_then(self, finding: Finding) -> str:
        """Return `named_value` with when it was taken: `suction pressure 62 psig, minute 12`."""
        return f"{self.named_value(finding)}{short_moment(finding)}"

    def answered(self) -> tuple[Finding, ...]:
        """Return what the caller answered, judged by everything said by now, in that order."""
        case = fitting(self.content, self.case)
        found = (finding_of(self.content, case, reading_id) for reading_id in case.answers)
        return tuple(finding for finding in found if finding is not None)

    def band(self, band: Band, reading: Reading) -> str:
        """Return a band in the caller's units: `66 to 80 psig`."""
        dimension = Dimension(reading.kind.value)
        return between(band, dimension, self.units, barometric_pressure_of(self.case))

    def basis(self, band: Band, reading_id: str) -> str:
        """Return what the band of a reading rests on."""
        unknown = [each for each in (AIR, WATER) if number(self.content, self.case, each) is None]
        is_on_file = word(self.case, "machine") in self.content.machines
        return plain_text(
            basis_of(band, reading_id, self.units, is_on_file=is_on_file, unknown=unknown)
        )

    def basis_at_any_minute(self, band: Band, reading_id: str) -> str:
        """Return what a band rests on but for its moment, so that bands can share the words."""
        return self.basis(at_any_minute(band), reading_id)

    def verdict(self, finding: Finding) -> str:
        """Return the verdict with the limit passed: `BELOW 66 psig (band 66 to 80 psig)`."""
        said, band = verdict_word(finding), finding.band
        if band is None:
            return said
        limits = self.band(band, finding.reading)
        match finding.verdict:
            case Verdict.BELOW:
                return f"{said} {self._single(band.low, finding.reading)} (band {limits})"
            case Verdict.ABOVE:
                return f"{said} {self._single(band.high, finding.reading)} (band {limits})"
            case _:
                return f"{said} {limits}"

    def winding(self, finding: Finding) -> str:
        """Return in words what a coil's resistance says of its winding, "" for other readings."""
        value = finding.value
        reading_id = finding.reading.id
        if not reading_id.endswith("coil_resistance") or not isinstance(value, float):
            return ""
        state = coil_state_of(self.content, self.case, value, reading_id)
        return f"that winding reads {state.value}" if state else ""

    def saturation(self, finding: Finding) -> str:
        """Return the saturation temperature that belongs to a pressure, "" where there is none.

        Suction counts by its dew point, discharge by its bubble point.
        """
        refrigerant = refrigerant_in_use(self.content, self.case)
        value = finding.value
        is_pressure = finding.reading.kind is ReadingKind.GAUGE_PRESSURE
        if not is_pressure or refrigerant is None or not isinstance(value, float):
            return ""
        from triage.physics.tables import fluid

        is_discharge = "discharge" in finding.reading.id
        try:
            properties = fluid(refrigerant)
            if is_discharge:
                saturated_k = properties.bubble_temperature_k(value)
            else:
                saturated_k = properties.dew_temperature_k(value)
        except PhysicsError:
            return ""
        degrees = format_both(
            saturated_k, Dimension.TEMPERATURE, self.units, barometric_pressure_of(self.case)
        )
        return f"{'bubble' if is_discharge else 'dew'} point of {refrigerant} there: {degrees}"

    def window(self, reading: Reading) -> str:
        """Return between which low-side pressures the confirming test is held; "" for others."""
        if reading.id != CONFIRMING_TEST:
            return ""
        band = manifold_window_of(self.content, self.case)
        if band is None:
            return (
                "No window can be computed for this call, so do not start the test: answer unknown."
            )
        barometer_pa = barometric_pressure_of(self.case)
        first, second = (
            between(band, Dimension.GAUGE_PRESSURE, system, barometer_pa)
            for system in (self.units, other_system(self.units))
        )
        basis = self.basis(band, CONFIRMING_TEST)
        return f"Window for the low side: {first} ({second}); {basis}."

    def reason(self, finding: Finding) -> str:
        """Return why a value or verdict is missing, "" if nothing was said."""
        if finding.source is Source.NOT_ASKED_OF_THIS_CALLER and not finding.reason:
            return "not asked of this caller"
        return plain_text(finding.reason)

    def cause(self, cause_id: str) -> str:
        """Return a cause by its name."""
        cause = self.content.causes.get(cause_id)
        return plain_text(cause.name if cause else cause_id)

    def hint(self, reading: Reading, minute: float | None, stage: Stage) -> tuple[str, ...]:
        """Return what an answer looks like: one line, then the choices or when it was read."""
        match reading.kind:
            case ReadingKind.CHOICE:
                return _choice_hint(reading)
            case ReadingKind.MACHINE:
                names = [plain_text(machine.name) for machine in self.content.machines.values()]
                shown = ", ".join(names[:2])
                return (f"Answer: the model, such as {shown}; or unknown (Tab lists all on file)",)
            case ReadingKind.REFRIGERANT:
                return ("Answer: what the data plate says, such as R-404A; or unknown",)
        us, si = _examples(reading)
        first, second = (si, us) if self.units is UnitSystem.SI else (us, si)
        if self.units is UnitSystem.SI and reading.kind is ReadingKind.GAUGE_PRESSURE:
            # A bar can be absolute too; a psi that a gauge shows never is.
            first = _as_gauge(first)
        line = f"Answer: {NOUNS[Dimension(reading.kind.value)]}, such as {first} or {second}; "
        if minute is None and reading.kind is ReadingKind.GAUGE_PRESSURE:
            return (f'{line}or unknown. Add the minute: "at 12 min"',)
        if minute is None:
            return (f"{line}or unknown",)
        phase = "harvest" if stage is Stage.HARVEST else "freeze"
        return (f'{line}or unknown. Add when in the {phase}: "at {minute:g} min"',)

    def _label(self, reading: Reading, value: str) -> str:
        for choice in reading.choices:
            if choice.id == value:
                return plain_text(choice.label)
        machine = self.content.machines.get(value)
        return plain_text(machine.name if machine else value)

    def _single(self, value: float, reading: Reading) -> str:
        return format_quantity(
            value, Dimension(reading.kind.value), self.units, barometric_pressure_of(self.case)
        )


def verdict_word(finding: Finding) -> str:
    """Return the verdict in capitals; a choice is normal or not, it has no band to lie in."""
    if finding.reading.kind is ReadingKind.CHOICE and finding.verdict is Verdict.WITHIN:
        return "NORMAL"
    return VERDICT_WORDS[finding.verdict]


def short_answers(reading: Reading) -> tuple[str, ...]:
    """Return the fewest words for each choice: all labels, or if one is long what people say.

    A complaint is said in free words; the list of them goes by numbers.
    """
    if reading.id == COMPLAINT:
        return tuple(str(number) for number, _ in enumerate(reading.choices, start=1))
    if all(len(plain_text(choice.label)) <= LONGEST_TYPED_LABEL for choice in reading.choices):
        return tuple(plain_text(choice.label) for choice in reading.choices)
    return tuple(plain_text(_short_answer(choice)) for choice in reading.choices)


def _short_answer(choice: Choice) -> str:
    """Return the beginning of a label that can stand for it, else the first thing people say."""
    beginning = choice.label.split(",")[0]
    if beginning in ("yes", "no", *choice.spoken) or not choice.spoken:
        return beginning
    return choice.spoken[0]


def _choice_hint(reading: Reading) -> tuple[str, ...]:
    """Return the choices in one line, or one a line where their labels are long."""
    shorts = short_answers(reading)
    labels = [plain_text(choice.label) for choice in reading.choices]
    if list(shorts) == labels:
        return ("Answer: " + " / ".join((*shorts, UNKNOWN)),)
    lines = (
        label if label.split(",")[0] == short else f"{short} = {label}"
        for short, label in zip(shorts, labels, strict=True)
    )
    head = "Answer in free words, or a number:" if reading.id == COMPLAINT else "Answer:"
    return (head, *lines, UNKNOWN)


def _examples(reading: Reading) -> tuple[str, str]:
    """Return how the answer may be typed in US and in SI units."""
    for ending, examples in _SPECIAL_EXAMPLES.items():
        if reading.id.endswith(ending):
            return examples
    return _EXAMPLES[reading.kind]


def _as_gauge(example: str) -> str:
    """Return an example of a pressure that says what it counts from: `4.3 bar gauge`."""
    return example.replace(" bar", " bar gauge").replace(" psi", " psig")


def moment(finding: Finding) -> str:
    """Return when a reading was taken: `, at minute 12`, `, taken as minute 12`, or ""."""
    if finding.minute_s is None or finding.value is None:
        return ""
    minutes, seconds = divmod(round(finding.minute_s), 60)
    at = f"{minutes}" if seconds == 0 else f"{minutes}:{seconds:02d}"
    return f", taken as minute {at}" if finding.is_minute_assumed else f", at minute {at}"


def short_moment(finding: Finding) -> str:
    """Return when a reading was taken, for a table: `, minute 12`, `, minute 6 assumed`, or ""."""
    said = moment(finding)
    if not said:
        return ""
    at = said.rpartition(" ")[2]
    return f", minute {at} assumed" if finding.is_minute_assumed else f", minute {at}"


def sentence(words: str) -> str:
    """Return words with a capital and a full stop.

    >>> sentence("fan stands still")
    'Fan stands still.'
    """
    text = words.strip()
    if not text:
        return ""
    closed = text if text[-1] in ".!?:" else f"{text}."
    return closed[:1].upper() + closed[1:]
