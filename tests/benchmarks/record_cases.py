"""What the benchmark of lists narrows them to: each filter alone, and the hard pairs of them."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime, timedelta

from tests.benchmarks.record_plan import COMMON_WORDS, UNTIL, vocabulary
from tests.benchmarks.simulated_calls import content_in_use
from triage.store.listing import (
    ANY_OUTCOME,
    NO_OUTCOME,
    OPEN_RESULT,
    SessionFilter,
    SessionSummary,
)
from triage.store.sql import Store

LOOKED_AT = 3000


@dataclass(frozen=True, slots=True)
class Case:
    """A filter and what it is called."""

    name: str
    where: SessionFilter


def cases(store: Store) -> list[Case]:
    """Return the filters to be measured, with names that occur in the store."""
    lines = store.sessions(LOOKED_AT)
    return [Case(name, where) for name, where in _cases(lines)]


def _cases(lines: list[SessionSummary]) -> Iterator[tuple[str, SessionFilter]]:
    agents = _by_count(line.agent for line in lines)
    causes = _by_count(line.cause for line in lines)
    machines = _by_count(line.machine for line in lines)
    outcomes = _by_count(line.outcome for line in lines)
    serial = _by_count(line.serial_number for line in lines)[0]
    agent, cause, machine = agents[0], causes[0], machines[0]
    content = content_in_use()
    refrigerant = content.machines[machine].refrigerant
    charged_with_it = tuple(
        item.id for item in content.machines.values() if item.refrigerant == refrigerant
    )
    other_machine = next(item for item in machines if item not in charged_with_it)
    words = vocabulary()
    common, middling, rare = COMMON_WORDS[0], words[600], words[-7]
    year_ago = UNTIL - timedelta(days=400)
    day, month = (year_ago, year_ago + timedelta(days=1)), (year_ago, year_ago + timedelta(days=30))

    yield "everything", SessionFilter()
    yield "a day", _between(SessionFilter(), day)
    yield "a month", _between(SessionFilter(), month)
    yield "busy agent", SessionFilter(agent=agent)
    yield "agent nobody knows", SessionFilter(agent="Nobody")
    yield "machine", SessionFilter(machine=machine)
    yield "refrigerant", SessionFilter(refrigerant=refrigerant)
    of_refrigerant = SessionFilter(refrigerant=refrigerant, machines_of_refrigerant=charged_with_it)
    yield "refrigerant with its machines", of_refrigerant
    yield "serial number", SessionFilter(serial_number=serial)
    yield "common conclusion", SessionFilter(cause=cause)
    yield "rare conclusion", SessionFilter(cause=causes[-1])
    for result in ("recommended", "withheld", "escalated", OPEN_RESULT):
        yield f"result {result}", SessionFilter(result=result)
    yield "disagreement", SessionFilter(is_disagreeing=True)
    yield "outcome", SessionFilter(outcome=outcomes[0])
    yield "any outcome", SessionFilter(outcome=ANY_OUTCOME)
    yield "no outcome", SessionFilter(outcome=NO_OUTCOME)
    yield "common word", SessionFilter(text=common)
    yield "middling word", SessionFilter(text=middling)
    yield "rare word", SessionFilter(text=rare)
    yield "absent word", SessionFilter(text="qqqqqq")
    yield "beginning of many words", SessionFilter(text="ba")
    yield "two common words", SessionFilter(text=" ".join(COMMON_WORDS[:2]))
    yield "common and rare word", SessionFilter(text=f"{common} {rare}")
    yield "two middling words", SessionFilter(text=f"{middling} {words[601]}")

    # Pairs: the harder, the more each lets through and the less both.
    yield "agent, conclusion", SessionFilter(agent=agent, cause=cause)
    yield "agent, rare conclusion", SessionFilter(agent=agent, cause=causes[-1])
    yield "machine, conclusion", SessionFilter(machine=machine, cause=cause)
    yield (
        "machine, refrigerant of others",
        SessionFilter(
            machine=other_machine, refrigerant=refrigerant, machines_of_refrigerant=charged_with_it
        ),
    )
    yield "result open, any outcome", SessionFilter(result=OPEN_RESULT, outcome=ANY_OUTCOME)
    yield "result open, conclusion", SessionFilter(result=OPEN_RESULT, cause=cause)
    yield "escalated, conclusion", SessionFilter(result="escalated", cause=cause)
    yield "withheld, any outcome", SessionFilter(result="withheld", outcome=ANY_OUTCOME)
    yield "escalated, no outcome", SessionFilter(result="escalated", outcome=NO_OUTCOME)
    yield "conclusion, other outcome", SessionFilter(cause=cause, outcome=_other(outcomes, cause))
    yield "agent, any outcome", SessionFilter(agent=agent, outcome=ANY_OUTCOME)
    yield "agent, machine, result", SessionFilter(agent=agent, machine=machine, result="withheld")
    yield "disagreement, any outcome", SessionFilter(is_disagreeing=True, outcome=ANY_OUTCOME)
    yield "disagreement, agent", SessionFilter(is_disagreeing=True, agent=agent)
    yield "disagreement, a month", _between(SessionFilter(is_disagreeing=True), month)
    yield "agent, a day", _between(SessionFilter(agent=agent), day)
    yield "conclusion, a month", _between(SessionFilter(cause=cause), month)
    yield "common word, a day", _between(SessionFilter(text=common), day)
    yield "common word, a month", _between(SessionFilter(text=common), month)
    yield "rare word, a month", _between(SessionFilter(text=rare), month)
    yield "middling word, a month", _between(SessionFilter(text=middling), month)
    yield "common word, agent", SessionFilter(text=common, agent=agent)
    yield "common word, agent nobody knows", SessionFilter(text=common, agent="Nobody")
    yield "common word, rare conclusion", SessionFilter(text=common, cause=causes[-1])
    yield "common word, disagreement", SessionFilter(text=common, is_disagreeing=True)
    yield "common word, withheld", SessionFilter(text=common, result="withheld")
    yield (
        "common word, open, any outcome",
        SessionFilter(text=common, result=OPEN_RESULT, outcome=ANY_OUTCOME),
    )
    yield "middling word, withheld", SessionFilter(text=middling, result="withheld")
    yield (
        "middling word, refrigerant, agent",
        SessionFilter(
            text=middling, agent=agent, refrigerant=refrigerant,
            machines_of_refrigerant=charged_with_it,
        ),
    )  # fmt: skip
    yield "serial number, common word", SessionFilter(serial_number=serial, text=common)


def _by_count(names: Iterator[str]) -> list[str]:
    """Return the names that occur, the commonest first."""
    return [name for name, _ in Counter(name for name in names if name).most_common()]


def _other(outcomes: list[str], cause: str) -> str:
    return next(outcome for outcome in outcomes if outcome != cause)


def _between(where: SessionFilter, span: tuple[datetime, datetime]) -> SessionFilter:
    return SessionFilter(
        since=span[0], until=span[1],
        agent=where.agent, cause=where.cause, is_disagreeing=where.is_disagreeing, text=where.text,
    )  # fmt: skip
