"""A stored call on one line of a list: whose it was, on what machine, how it stands. Pure."""

from __future__ import annotations

from datetime import UTC, datetime

from triage.dialogue.words import plain_text
from triage.store.listing import PARKED, STOPPED, SessionSummary
from triage.tree.content import Content

_INVENTED = "(invented)"
"""Stands behind the name of a machine that no maker makes; a list has no room for it."""

_LONGEST_REASON = 100
"""Longest reason of an escalation that a list has room for [signs] (judged)."""

_HELD = {True: "held", False: "did not hold", None: "not proven"}


def who(line: SessionSummary) -> str:
    """Return who took a call and who was at it last: `Eve, then Hal`; empty if nobody is named."""
    if not line.desk or line.desk.casefold() == line.agent.casefold():
        return line.agent
    return f"{line.agent or 'no name'}, then {line.desk}"


def machine_of(line: SessionSummary, content: Content) -> str:
    """Return the machine by its name, else its refrigerant; empty if neither is known."""
    machine = content.machines.get(line.machine)
    name = machine.name if machine else line.machine or line.refrigerant
    return name.removesuffix(_INVENTED).strip()


def standing(line: SessionSummary, content: Content) -> str:
    """Return how a call stands, in a few words: its end, what was concluded, what was found."""
    if line.fault:
        return f"DAMAGED: {line.fault}"
    words = line.result or _open_words(line, content)
    if line.cause:
        words += f": {_cause(line.cause, content)}"
    elif line.result:
        words += _why_escalated(line, content)
    if line.agreement == "disagree":
        words += "; path and ranking disagree"
    if line.outcome:
        words += f"; found: {_cause(line.outcome, content)}, {_HELD[line.had_two_good_cycles]}"
    return f"{words}; purged {line.purged_at[:10]}" if line.purged_at else words


def _open_words(line: SessionSummary, content: Content) -> str:
    if line.state == PARKED:
        due = _utc(line.due_at)
        return f"parked until {due}" if due else "parked"
    place = _place(line, content)
    if line.state == STOPPED:
        return f"left at {place}" if place else "left before the first question"
    return f"going on, at {place}" if place else "going on"


def _utc(moment: str) -> str:
    """Return a stored moment as the list writes times, "" for what is none."""
    try:
        return f"{datetime.fromisoformat(moment).astimezone(UTC):%Y-%m-%d %H:%M}"
    except (ValueError, OverflowError):
        return ""


def _place(line: SessionSummary, content: Content) -> str:
    """Return what was asked last by the name of its reading, or the caution by its title."""
    if line.node.startswith("caution:"):
        name = line.node.removeprefix("caution:").split("@", 1)[0]
        caution = content.cautions.get(name)
        return f'the caution "{caution.title}"' if caution else f"the caution {name}"
    tree = content.trees.get(line.tree)
    question = tree.questions.get(line.node) if tree else None
    if question is None:
        return line.node.replace("_", " ")
    return content.readings[question.reading].name


def _why_escalated(line: SessionSummary, content: Content) -> str:
    tree = content.trees.get(line.tree)
    ending = tree.endings.get(line.ending) if tree else None
    why = plain_text(ending.escalate or "") if ending else ""
    if not why or len(why) > _LONGEST_REASON:
        return ""
    return f": {why.removesuffix('.')}"


def _cause(cause_id: str, content: Content) -> str:
    cause = content.causes.get(cause_id)
    return cause.name if cause else cause_id.replace("_", " ")
