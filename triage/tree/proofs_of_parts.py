"""Properties of what is called bad: no part is condemned before what tells it apart is known.

They go by the part (`triage.tree.machine_parts`), not by the side its cause was written for.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from typing import Any

from triage.tree.content import Content, Rule
from triage.tree.machine_parts import Check, checks_of, parts_of, unknown_moved_part
from triage.tree.proof_case import Case, Finding, path_to
from triage.tree.proofs_of_safety import CAUSES


def parts_are_condemned_on_their_check_alone(case: Case) -> Iterator[Finding]:
    """No ending condemns a part while its check is missing, bad or unknown."""
    condemned: dict[Check, set[str]] = {}
    for cause in case.content.causes.values():
        for check in checks_of(cause):
            condemned.setdefault(check, set()).add(cause.id)
    for check, causes in condemned.items():
        blamed = [
            (ending, found)
            for ending in case.concluding()
            if (found := [cause for cause in _causes_of(case, ending, check) if cause in causes])
        ]
        if not blamed:
            continue
        reached = case.reach(is_open=_unless_checked(case, check.good))
        for ending, found in blamed:
            if ending in reached:
                kind = "a good coil check" if check.is_of_coil else "its check"
                yield Finding(
                    f"ending {ending} concludes {', '.join(found)} without {kind} ({check}); lead "
                    "there from that outcome alone, or by a rule that demands it",
                    case.place(ending),
                    path_to(ending, reached),
                    (case.outcomes_but(check.good),),
                )


def _causes_of(case: Case, ending: str, check: Check) -> tuple[str, ...]:
    """Return the causes of an ending that a check holds for: settling weighs all readings."""
    if check.is_of_coil:
        return case.causes_of(ending)
    return case.tree.endings[case.nodes[ending]["subject"]].causes


def _unless_checked(
    case: Case, checks: Mapping[str, frozenset[str]]
) -> Callable[[str, str, Mapping[str, Any]], bool]:
    """Return the test for edges that can be taken without one of the checks being good."""
    good_by_question = {
        question: good
        for reading, good in checks.items()
        for question in case.questions_of.get(reading, ())
    }

    def is_open(source: str, _: str, facts: Mapping[str, Any]) -> bool:
        if source in good_by_question:
            outcomes = facts["outcomes"]
            return not outcomes or not outcomes <= good_by_question[source]
        rules: tuple[Rule | None, ...] = facts["rules"]
        return not rules or any(
            rule is None
            or not any(
                reading in rule.all_of and rule.all_of[reading] <= good
                for reading, good in checks.items()
            )
            for rule in rules
        )

    return is_open


def parts_belong_to_their_side(content: Content) -> Iterator[Finding]:
    """Yield the causes that condemn or replace a part of another side than their own."""
    for cause in content.causes.values():
        if cause.id in CAUSES:
            continue
        for part in parts_of(cause):
            if cause.side not in part.checks:
                does = "condemns" if part.id in cause.condemns else "replaces"
                sides = " or ".join(
                    f"side: {side.value}" + (f" (behind {check})" if check is not None else "")
                    for side, check in part.checks.items()
                )
                yield Finding(
                    f"cause {cause.id} {does} the part {part.id}, which belongs to the "
                    f"{part.side.value}; write {sides}",
                    cause.place,
                )


def valves_have_a_coil_check(content: Content) -> Iterator[Finding]:
    """Yield the causes that replace a part which a coil moves, and no coil check covers it."""
    for cause in content.causes.values():
        part = unknown_moved_part(cause)
        if part:
            yield Finding(
                f"cause {cause.id} replaces a part that a coil moves ({part}), and no check of its "
                "coil is known; name the valve in full, such as hot gas valve or water inlet "
                "valve, or teach the program its check",
                cause.place,
            )
