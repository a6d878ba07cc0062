"""A stored call as every form of the export sees it: events, the case, and how it ended. Pure."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

from triage.dialogue.case import Case, fold
from triage.dialogue.engine import Engine
from triage.dialogue.events import Concluded, Event, Resumed, Started
from triage.dialogue.view import END_PROMPTS, Escalated, Recommended, Withheld
from triage.review.export.redaction import (
    left_out,
    masked,
    part_names,
    role_of,
    without_personal_data,
)
from triage.store.listing import SessionSummary
from triage.store.record import StoredEvent

UNFINISHED = "unfinished"
"""The result of a call that has not ended."""


@dataclass(frozen=True, slots=True)
class Line:
    """One event of a call: when (UTC, ISO 8601), who, what."""

    at: str
    speaker: str
    event: Event


@dataclass(frozen=True, slots=True)
class ExportedCall:
    """A call with what today's content makes of it.

    `end` is how it ended as the engine tells it now, and the only place a repair can come from. It
    is None unless the record itself ended so: while the call is open, and where today's content
    comes to another end or finds the gate shut. Then `recorded`, the event that closed the call, is
    all there is to tell. `held_with` are the content versions it was held under, in order.
    """

    summary: SessionSummary
    lines: tuple[Line, ...]
    engine: Engine
    case: Case
    held_with: tuple[str, ...]
    has_personal_data: bool
    end: Recommended | Withheld | Escalated | None

    @property
    def session_id(self) -> str:
        """Return the id of the session."""
        return self.summary.session_id

    @property
    def recorded(self) -> Concluded | None:
        """Return the event that closed the call."""
        return self.case.concluded

    @property
    def is_same_content(self) -> bool:
        """Whether the call came to where it stands under the content in use now."""
        return self.held_with[-1] == self.engine.content.version

    @property
    def result(self) -> str:
        """Return recommended, withheld, escalated or unfinished."""
        if self.recorded is not None:
            return self.recorded.result
        return UNFINISHED if self.end is None else result_word(self.end)

    @property
    def reason(self) -> str:
        """Return why there is no recommendation, "" where there is one."""
        if self.recorded is not None:
            return self.recorded.reason
        return "" if self.end is None or isinstance(self.end, Recommended) else self.end.reason

    @property
    def causes(self) -> tuple[str, ...]:
        """Return the causes concluded."""
        if self.recorded is not None:
            return self.recorded.causes
        if self.end is None or isinstance(self.end, Escalated):
            return ()
        return self.end.conclusion.causes

    @property
    def agreement(self) -> str:
        """Return how path and ranking compared, "" where nothing was concluded."""
        if self.recorded is not None and self.recorded.agreement:
            return self.recorded.agreement
        return "" if self.end is None else self.end.conclusion.agreement.value

    @property
    def ranked(self) -> tuple[tuple[str, float], ...]:
        """Return the likeliest causes with their probabilities [-], the likeliest first."""
        if self.recorded is not None and self.recorded.ranked:
            return tuple(
                (str(item["cause"]), float(item["probability"])) for item in self.recorded.ranked
            )
        if self.end is None:
            return ()
        return tuple((item.cause, item.probability) for item in self.end.conclusion.ranked)


def exported_call(
    engine: Engine,
    summary: SessionSummary,
    stored: Sequence[StoredEvent],
    *,
    units: str | None = None,
    with_personal_data: bool = False,
) -> ExportedCall:
    """Return a stored call, ready for every form of the export.

    engine: that of the call's own tree
    stored: its events, at least one, verified
    units: `us` or `si` instead of the call's own
    Raises what `StoredEvent.event` raises.
    """
    lines = [Line(item.recorded_at, item.speaker, item.event) for item in stored]
    voice = next((line.event.voice for line in lines if isinstance(line.event, Started)), "")
    if not with_personal_data:
        parts = part_names(engine.content)
        lines = [
            Line(
                line.at,
                role_of(line.speaker, line.event, voice),
                without_personal_data(line.event, parts),
            )
            for line in lines
        ]
        summary = replace(
            summary,
            agent=left_out(summary.agent),
            desk=left_out(summary.desk),
            serial_number=masked(summary.serial_number),
            park_reason=left_out(summary.park_reason),
            words="",
        )
    case = fold(line.event for line in lines)
    if units is not None:
        case = replace(case, units=units)
    held_with = _held_with(lines) or (summary.content_version,)
    return ExportedCall(
        summary=summary,
        lines=tuple(lines),
        engine=engine,
        case=case,
        held_with=held_with,
        has_personal_data=with_personal_data,
        end=_end(engine, case, held_with[-1]),
    )


def result_word(end: Recommended | Withheld | Escalated) -> str:
    """Return the word for an ending in the record."""
    return {Recommended: "recommended", Withheld: "withheld", Escalated: "escalated"}[type(end)]


def _held_with(lines: Sequence[Line]) -> tuple[str, ...]:
    """Return the content versions of a call, each once, the one in force at its end last."""
    versions = [
        line.event.content_version for line in lines if isinstance(line.event, (Started, Resumed))
    ]
    # Backwards, so that a version that came back stands where it was in force last.
    return tuple(reversed(dict.fromkeys(reversed(versions))))


def _end(
    engine: Engine, case: Case, content_version: str
) -> Recommended | Withheld | Escalated | None:
    """Return how the call ended if today's content ends it as the record says, else None."""
    prompt = engine.prompt(case)
    if not isinstance(prompt, END_PROMPTS):
        return None
    recorded = case.concluded
    if recorded is None:
        return prompt if content_version == engine.content.version else None
    is_same = (recorded.ending, recorded.result) == (prompt.node, result_word(prompt))
    return prompt if is_same else None
