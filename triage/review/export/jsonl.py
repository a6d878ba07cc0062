"""A call as one line of JSON Lines: everything in the record and what today's content makes of it.

`KEYS` documents the keys; they are always there and always the same.
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from typing import Any

from triage.dialogue.events import event_to_data
from triage.dialogue.result import outcome_of, result_of
from triage.dialogue.view import Recommended
from triage.review.export.call import ExportedCall

FORMAT, FORMAT_VERSION = "triage-call", 1
"""Name and version of this form: a key may be added, a changed meaning makes a new version."""

KEYS: Mapping[str, str] = {
    "format": f"`{FORMAT}`",
    "format_version": f"{FORMAT_VERSION}; a changed meaning makes a new one",
    "session_id": "id of the call",
    "started_at": "first event, UTC, ISO 8601",
    "last_event_at": "last event, UTC, ISO 8601",
    "personal_data": "`left out` or `kept`",
    "content": "`held_with`: content versions the call was held with, the last one last; "
    "`judged_with`: the one in use now; `is_same`: whether the last is the one in use now",
    "summary": "`state` (open, stopped, parked, ended), `agent`, `voice`, `machine`, "
    "`refrigerant`, `serial_number`, `questions` asked, `active_s` (time somebody was at it), "
    "`events` (count), `head_hash` (of the last event)",
    "recorded": "how the call ended by its record: `result`, `reason`, `ending`, `cause_ids`, "
    "`agreement`, `ranked_causes`; null while it is open",
    "judged": "the call as `triage log show --json` prints it, judged with the content in use now: "
    "path, findings, conclusion, recommendation, cautions. The recommendation is null unless the "
    "record ended with it and the gate is open",
    "events": "every event in order: `at`, `speaker`, `kind`, `data`",
    "outcome": "what the repair found: `found`, `parts`, `had_two_good_cycles`, `readings`, "
    "`note`, `reported_by`; null without a report",
}


def call_data(call: ExportedCall) -> dict[str, Any]:
    """Return the whole call as JSON-ready data with the keys of `KEYS`."""
    summary, recorded = call.summary, call.recorded
    return {
        "format": FORMAT,
        "format_version": FORMAT_VERSION,
        "session_id": call.session_id,
        "started_at": call.lines[0].at,
        "last_event_at": call.lines[-1].at,
        "personal_data": "kept" if call.has_personal_data else "left out",
        "content": {
            "held_with": list(call.held_with),
            "judged_with": call.engine.content.version,
            "is_same": call.is_same_content,
        },
        "summary": {
            "state": summary.state,
            "agent": summary.agent,
            "voice": summary.voice,
            "machine": summary.machine,
            "refrigerant": summary.refrigerant,
            "serial_number": summary.serial_number,
            "questions": summary.questions,
            "active_s": round(summary.active_s, 3),
            "events": summary.count,
            "head_hash": summary.head_hash,
        },
        "recorded": None
        if recorded is None
        else {
            "result": recorded.result,
            "reason": recorded.reason,
            "ending": recorded.ending,
            "cause_ids": list(recorded.causes),
            "agreement": recorded.agreement or None,
            "ranked_causes": list(recorded.ranked),
        },
        "judged": judged(call),
        "events": [
            {
                "at": line.at,
                "speaker": line.speaker,
                "kind": line.event.kind,
                "data": event_to_data(line.event),
            }
            for line in call.lines
        ],
        "outcome": outcome_of(call.case),
    }


def judged(call: ExportedCall) -> dict[str, Any]:
    """Return `result_of` of the call, without a repair that its record did not end with."""
    result = result_of(call.engine, call.session_id, call.case)
    if not isinstance(call.end, Recommended):
        result["recommendation"] = None
    return result


def json_line(call: ExportedCall) -> str:
    """Return the call as one line of JSON (RFC 8259), its line end included."""
    return json.dumps(call_data(call), ensure_ascii=False, allow_nan=False) + "\n"
