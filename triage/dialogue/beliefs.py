"""What is believed of a machine before and after its readings: Bayes' rule over causes and modes.

Each cause shows in a few modes (a mild one, one on a machine with a receiver, one with a stuck
regulator); within a mode readings are taken as independent. So readings that move together under a
cause speak together, as they do in the machine, and not once each. Modes and their chances come
from `likelihoods.json` of the content. Where that does not fit the content, each cause has the one
mode of its judged `signs`, and readings of one dependent group are each raised to the power of one
over the square root of how many of them are there: a judged compromise between counting them as
one and as many.
"""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from operator import mul

from triage.dialogue.grades import GRADES_OF, grade_of
from triage.dialogue.view import Finding, Source, Verdict
from triage.physics.bands import BasisKind
from triage.tree.content import HEALTHY, Cause, Content, Reading, Side
from triage.tree.likelihoods import (
    GRADES,
    MADE_OF_OTHERS,
    ON_FILE,
    TYPICAL,
    Mode,
    fitting_modes,
)

NORMAL_OUTCOME_PROBABILITY = 0.97
"""Chance of a healthy outcome where a cause names no sign for a reading (judged)."""

LEAST_PROBABILITY = 0.02
"""No judged outcome is held more unlikely than this: readings are misread, misheard (judged)."""

MISREAD_SHARE, MISSEEN_SHARE = 0.02, 0.01
"""Share of numbers that are misread, misheard or of a machine unlike any modelled, so that they
could be anything; and of choices, which are plain to see and whose chances allow for a poor look
already (judged)."""

IMPOSSIBLE = 1e-6
"""Chance of an outcome the content calls impossible; not 0, so that no case is without a cause."""

DEPENDENT_GROUPS = (
    frozenset({
        "freeze_time", "ice_bridge_thickness", "batch_ice_mass", "ice_pattern",
    }),
    frozenset({
        "freeze_suction_pressure_early", "freeze_suction_pressure_late", "suction_superheat",
    }),
    frozenset({"freeze_discharge_pressure", "liquid_subcooling", "condenser_fan_state"}),
    frozenset({
        "harvest_suction_pressure", "harvest_discharge_pressure", "hot_gas_line_temperature",
    }),
    frozenset({"coil_voltage", "coil_pulls_in"}),
    frozenset({"ice_released", "slab_loose_but_hanging", "harvest_time"}),
)  # fmt: skip
"""Readings moved by the same thing in the machine, so that one foretells the others (judged)."""


@dataclass(frozen=True)
class Beliefs:
    """Causes, their modes, and the chance of each grade or outcome of a reading in each mode.

    `causes` are the cause ids, `owners` the index of the cause of each mode, `shares` the
    probability of each mode before any reading. `columns` maps reading id and what was found (a
    grade, a verdict or a choice) to its chance in each mode. With `is_discounted`, dependent
    readings are discounted.
    """

    causes: tuple[str, ...]
    owners: tuple[int, ...]
    shares: tuple[float, ...]
    columns: Mapping[str, Mapping[str, tuple[float, ...]]]
    is_discounted: bool

    @cached_property
    def spans(self) -> tuple[tuple[int, int], ...]:
        """First mode and one past the last of each cause."""
        return tuple(
            (self.owners.index(number), self.owners.index(number) + self.owners.count(number))
            for number in range(len(self.causes))
        )

    @cached_property
    def whole_columns(self) -> Mapping[str, tuple[tuple[float, ...], ...]]:
        """For each reading the columns of outcomes that shut each other out and sum to one."""
        return {
            reading_id: tuple(
                column
                for found, column in columns.items()
                if GRADES[0] not in columns or found in GRADES
            )
            for reading_id, columns in self.columns.items()
        }

    def column(self, finding: Finding) -> tuple[float, ...] | None:
        """Return the chance of a finding in each mode, None for one that says nothing."""
        columns = self.columns.get(finding.reading.id)
        grade = grade_of(finding)
        if columns is None or grade is None:
            return None
        found = columns.get(grade)
        return columns.get(finding.outcome) if found is None else found

    def before(self, is_freeze_proven: bool, content: Content) -> list[float]:
        """Return the weight of each mode before any reading; harvest causes may be left out."""
        if is_freeze_proven:
            return list(self.shares)
        left_out = {
            number
            for number, cause in enumerate(self.causes)
            if content.causes[cause].side is Side.HARVEST
        }
        return [
            0.0 if owner in left_out else share
            for owner, share in zip(self.owners, self.shares, strict=True)
        ]

    def after(self, weights: Sequence[float], findings: Iterable[Finding]) -> list[float]:
        """Return the weight of each mode after `findings`, summing to one."""
        speaking = [
            (finding, column)
            for finding in findings
            if (column := self.column(finding)) is not None
        ]
        powers = _powers(finding for finding, _ in speaking) if self.is_discounted else {}
        for finding, column in speaking:
            power = powers.get(finding.reading.id, 1.0)
            if power != 1.0:
                column = tuple(chance**power for chance in column)
            weights = list(map(mul, weights, column))
        return scaled(weights)

    def by_cause(self, weights: Sequence[float]) -> list[float]:
        """Return the summed weight of each cause's modes."""
        return [sum(weights[first:end]) for first, end in self.spans]

    def chance(self, cause: str, reading_id: str, outcome: str) -> float:
        """Return the chance of an outcome or grade under a cause before any reading.

        Raises KeyError for a reading or outcome that says nothing here.
        """
        first, end = self.spans[self.causes.index(cause)]
        shares, column = self.shares[first:end], self.columns[reading_id][outcome][first:end]
        together: float = sum(map(mul, shares, column))
        return together / sum(shares)


def scaled(weights: Sequence[float]) -> list[float]:
    """Return `weights` scaled to sum to one; they are not all zero."""
    total = math.fsum(weights)
    return [weight / total for weight in weights]


def measured(findings: Iterable[Finding]) -> list[Finding]:
    """Return the findings that are known and say something the content foresaw.

    A figure worked out from other readings says nothing beside them.
    """
    return [
        finding
        for finding in findings
        if finding.verdict is not Verdict.UNKNOWN
        and finding.outcome in finding.reading.outcomes
        and not (finding.source is Source.WORKED_OUT and finding.reading.id in MADE_OF_OTHERS)
    ]


def setting_of(findings: Iterable[Finding]) -> str:
    """Return whether the call is judged by a machine on file or by a typical one."""
    for finding in findings:
        if finding.band is not None and finding.band.basis.kind is BasisKind.ADAPTED:
            return TYPICAL
    return ON_FILE


def group_of(reading_id: str) -> frozenset[str]:
    """Return the readings that move together with this one, itself among them."""
    return next(
        (group for group in DEPENDENT_GROUPS if reading_id in group), frozenset({reading_id})
    )


def _powers(findings: Iterable[Finding]) -> dict[str, float]:
    groups = {finding.reading.id: group_of(finding.reading.id) for finding in findings}
    counts = Counter(groups.values())
    return {reading_id: 1.0 / math.sqrt(counts[group]) for reading_id, group in groups.items()}


# Where the numbers come from


_KEPT: list[tuple[Content, str, Beliefs]] = []
_MOST_KEPT = 24


def beliefs_of(content: Content, setting: str = ON_FILE) -> Beliefs:
    """Return the beliefs of a content in a setting; made once and kept for the next call."""
    for kept, kept_setting, beliefs in _KEPT:
        if kept is content and kept_setting == setting:
            return beliefs
    modes = fitting_modes(content, setting)
    if modes and _are_enough(content, modes):
        beliefs = _computed(content, modes)
    else:
        beliefs = _judged(content)
    _KEPT.insert(0, (content, setting, beliefs))
    del _KEPT[_MOST_KEPT:]
    return beliefs


def _are_enough(content: Content, modes: Mapping[str, Sequence[Mode]]) -> bool:
    """Return whether some causes were computed, and the rest can stand beside them."""
    left = content.causes.keys() - modes.keys()
    return len(left) < len(content.causes) and (not left or HEALTHY in modes)


def _computed(content: Content, modes: Mapping[str, Sequence[Mode]]) -> Beliefs:
    """Return beliefs where modes were computed; causes without any stand in with their signs."""
    causes = tuple(content.causes)
    pairs = [
        (number, mode)
        for number, cause in enumerate(causes)
        for mode in modes.get(cause) or (_stand_in(content, content.causes[cause], modes[HEALTHY]),)
    ]
    owners = [causes[number] for number, _ in pairs]
    columns: dict[str, dict[str, tuple[float, ...]]] = {}
    for reading_id, foreseen in pairs[0][1].chances.items():
        mistaken = MISREAD_SHARE if GRADES[0] in foreseen else MISSEEN_SHARE
        kept, floor = 1.0 - mistaken, mistaken / len(foreseen)
        rows = [mode.chances[reading_id].values() for _, mode in pairs]
        columns[reading_id] = {
            found: tuple([kept * chance + floor for chance in chances])
            for found, chances in zip(foreseen, zip(*rows, strict=True), strict=True)
        }
    columns |= _judged_beside(content, owners, columns)
    _without_the_impossible(content, owners, columns)
    for outcomes in columns.values():
        if GRADES[0] in outcomes:
            for verdict, grades in GRADES_OF.items():
                parts = [outcomes[grade] for grade in grades]
                outcomes[verdict] = tuple(map(sum, zip(*parts, strict=True)))
    return Beliefs(
        causes,
        tuple(number for number, _ in pairs),
        tuple(content.causes[causes[number]].prior * mode.share for number, mode in pairs),
        columns,
        is_discounted=False,
    )


def _stand_in(content: Content, cause: Cause, healthy: Sequence[Mode]) -> Mode:
    """Return the mode of a cause the virtual machine cannot have, from its judged signs.

    Readings its signs do not name show as on a healthy machine. Of a banded reading the signs give
    the verdicts; within a verdict the grades are spread as on a healthy machine.
    """
    whole = sum(mode.share for mode in healthy)
    chances: dict[str, Mapping[str, float]] = {}
    for reading_id, foreseen in healthy[0].chances.items():
        usual = {
            found: sum(mode.share * mode.chances[reading_id][found] for mode in healthy) / whole
            for found in foreseen
        }
        if reading_id not in cause.signs:
            chances[reading_id] = usual
            continue
        reading = content.readings[reading_id]
        if GRADES[0] not in foreseen:
            judged = {found: judged_chance(cause, reading, found) for found in foreseen}
        else:
            judged = {}
            for verdict, grades in GRADES_OF.items():
                share = judged_chance(cause, reading, verdict)
                within = sum(usual[grade] for grade in grades)
                for grade in grades:
                    part = usual[grade] / within if within else 1.0 / len(grades)
                    judged[grade] = share * part
        total = sum(judged.values())
        chances[reading_id] = {found: judged[found] / total for found in foreseen}
    return Mode(1.0, chances)


def _without_the_impossible(
    content: Content, owners: Sequence[str], columns: Mapping[str, dict[str, tuple[float, ...]]]
) -> None:
    """A part that is not fitted cannot fail, whatever was counted or misheard."""
    for cause in content.causes.values():
        for reading_id, chances in cause.signs.items():
            barred = {found for found, chance in chances.items() if chance == 0.0}
            if barred and reading_id in columns:
                foreseen = columns[reading_id]
                left = [
                    sum(column[mode] for found, column in foreseen.items() if found not in barred)
                    for mode in range(len(owners))
                ]
                rest = 1.0 - IMPOSSIBLE * len(barred.intersection(foreseen))
                for found, column in foreseen.items():
                    foreseen[found] = tuple(
                        counted if owner != cause.id
                        else IMPOSSIBLE if found in barred
                        else counted * rest / whole
                        for owner, counted, whole in zip(owners, column, left, strict=True)
                    )  # fmt: skip


def _judged_beside(
    content: Content, owners: Sequence[str], computed: Collection[str]
) -> dict[str, dict[str, tuple[float, ...]]]:
    """Return the judged chances, in each mode, of the readings that were not computed.

    One that no sign names is the same under every cause and says nothing, so it is left out.
    """
    named = {reading for cause in content.causes.values() for reading in cause.signs}
    columns: dict[str, dict[str, tuple[float, ...]]] = {}
    for reading_id in sorted(named.difference(computed)):
        reading = content.readings[reading_id]
        rows = {
            cause.id: scaled(
                [judged_chance(cause, reading, each) for each in reading.outcomes[:-1]]
            )
            for cause in content.causes.values()
        }
        columns[reading_id] = {
            outcome: tuple(rows[owner][place] for owner in owners)
            for place, outcome in enumerate(reading.outcomes[:-1])
        }
    return columns


def _judged(content: Content) -> Beliefs:
    causes = tuple(content.causes.values())
    named = {reading_id for cause in causes for reading_id in cause.signs}
    columns = {
        reading.id: {
            outcome: tuple(judged_chance(cause, reading, outcome) for cause in causes)
            for outcome in reading.outcomes[:-1]
        }
        for reading in content.readings.values()
        if reading.id in named or reading.is_banded or reading.normal
    }
    return Beliefs(
        tuple(cause.id for cause in causes),
        tuple(range(len(causes))),
        tuple(cause.prior for cause in causes),
        columns,
        is_discounted=True,
    )


def judged_chance(cause: Cause, reading: Reading, outcome: str) -> float:
    """Return the judged chance of `outcome` of a reading under `cause`, never under the least one.

    Only an outcome the content calls impossible (0) gets next to nothing.
    """
    outcomes = reading.outcomes[:-1]
    named = cause.signs.get(reading.id)
    if named is None:
        normal = reading.normal or (("within",) if reading.is_banded else ())
        if not normal:
            return 1.0 / len(outcomes)
        named = {choice: NORMAL_OUTCOME_PROBABILITY / len(normal) for choice in normal}
    unnamed = [item for item in outcomes if item not in named]
    left = max(0.0, 1.0 - sum(named.values()))
    if named.get(outcome) == 0.0:
        return IMPOSSIBLE
    probability = named.get(outcome, left / len(unnamed) if unnamed else 0.0)
    return max(LEAST_PROBABILITY, probability)
