"""What a list of calls is narrowed to, out of the command line's options."""

from __future__ import annotations

import argparse
from collections.abc import Mapping
from datetime import UTC, datetime

from triage.console.asked import UsageError, machine_named
from triage.dialogue.events import FOUND_NO_FAULT, FOUND_OTHER
from triage.dialogue.names import find_exact
from triage.physics.refrigerant import find_refrigerant
from triage.store.listing import ANY_OUTCOME, NO_OUTCOME, SEVERAL_FAULTS, SessionFilter
from triage.tree.content import Cause, Content
from triage.tree.errors import nearest, quoted

OTHER_OUTCOMES = (FOUND_NO_FAULT, FOUND_OTHER, SEVERAL_FAULTS, ANY_OUTCOME, NO_OUTCOME)


def filter_of(options: argparse.Namespace, content: Content | None) -> SessionFilter:
    """Return the filter that the options ask for.

    content: what machines, refrigerants and causes are named by; None leaves names as they are
    Raises UsageError with the nearest name, and UnknownRefrigerant.
    """
    since, until = day_of(options.since, "--since"), day_of(options.until, "--until")
    if since and until and until <= since:
        raise UsageError("--until is the first day left out, so it has to be after --since")
    refrigerant = find_refrigerant(options.refrigerant).id if options.refrigerant else ""
    machines = content.machines if content else {}
    return SessionFilter(
        since=since,
        until=until,
        agent=options.agent or "",
        machine=_machine(options.machine, content),
        refrigerant=refrigerant,
        machines_of_refrigerant=tuple(
            machine.id for machine in machines.values() if machine.refrigerant == refrigerant
        ),
        serial_number=options.serial or "",
        cause=_cause(options.conclusion, content, "--conclusion", ()),
        result=options.result or "",
        is_disagreeing=options.disagreement,
        outcome=_cause(options.outcome, content, "--outcome", OTHER_OUTCOMES),
        text=options.text or "",
    )


def day_of(text: str | None, option: str) -> datetime | None:
    """Return the start of a day in UTC, or the moment named; None for None.

    Raises UsageError for what is no date of ISO 8601.
    """
    if text is None:
        return None
    try:
        at = datetime.fromisoformat(text.strip())
    except ValueError as error:
        raise UsageError(
            f"{option} {quoted(text)} is no date; write it as 2026-11-25, or 2026-11-25T14:30"
        ) from error
    return at if at.tzinfo else at.replace(tzinfo=UTC)


def _machine(text: str | None, content: Content | None) -> str:
    if not text or content is None:
        return text or ""
    return machine_named(content.machines, text).id


def _cause(text: str | None, content: Content | None, option: str, others: tuple[str, ...]) -> str:
    if not text or text in others or content is None:
        return text or ""
    names = names_of(content.causes)
    found = find_exact(text, names).id
    if found is None:
        known = [*names, *others]
        raise UsageError(f"{option} {quoted(text)} is no cause{nearest(text, known)}")
    return found


def names_of(causes: Mapping[str, Cause]) -> dict[str, tuple[str, ...]]:
    """Return what each cause is called: its id, its name, and as people say it."""
    return {cause.id: (cause.id, cause.name, *cause.spoken) for cause in causes.values()}
