"""The audit: stored calls held against the rules of a good call, each with the reason it exists.

Rules of harm and judgement are in `audit_safety`, those of care and follow-up in `audit_care`. A
finding is something to look at, not a verdict on a person: a call may break a rule for a good
reason, which its notes may tell.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from datetime import datetime

from triage.review.audit_call import AuditFinding, Rule, StoredCall
from triage.review.audit_care import CARE_RULES
from triage.review.audit_safety import SAFETY_RULES
from triage.store.record import StoredEvent
from triage.tree.content import Content

RULES: tuple[Rule, ...] = (*SAFETY_RULES, *CARE_RULES)
"""All rules, the gravest first."""


def audit(
    content: Content,
    stored: Sequence[StoredEvent],
    now: datetime,
    rules: Iterable[Rule] = RULES,
) -> list[AuditFinding]:
    """Return what in a stored call breaks a rule, in the order of its events.

    content: today's; what a call of older content asked that is gone from it is passed over
    stored: the events of the call as the store gives them
    now: the moment of the audit, with its zone; old calls without an outcome are told by it
    Raises StoreNewer or StoreDamaged for an event that this version cannot read.
    """
    call = StoredCall(content, stored, now)
    findings = [
        AuditFinding(rule.id, rule.weight, step.sequence, step.at, text, call.desk_at(step))
        for rule in rules
        for step, text in rule.check(call)
    ]
    return sorted(findings, key=lambda found: found.sequence)
