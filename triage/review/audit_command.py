"""`triage log audit`: stored calls held against the rules of a good call."""

from __future__ import annotations

import argparse
import json
import sys
from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from datetime import UTC, datetime
from typing import Any

from rich.console import RenderableType
from rich.padding import Padding
from rich.table import Table
from rich.text import Text

from triage.console.asked import UsageError
from triage.console.call import content_of
from triage.console.look import Card, ChatConsole, Prose, look_of, stack
from triage.console.screen import screen_of
from triage.dialogue.words import counted, plain_text
from triage.exits import BAD_STORE, DONE, NO_RECOMMENDATION
from triage.review.audit import RULES, audit
from triage.review.audit_call import AuditFinding, Rule, Weight
from triage.review.call_line import who
from triage.review.chosen import Chosen, chosen, opened_record
from triage.review.progress import progress_bar
from triage.store.errors import StoreError
from triage.store.listing import SessionSummary
from triage.tree.content import Content
from triage.tree.errors import nearest, quoted

_STYLES = {
    Weight.SAFETY: "triage.stop",
    Weight.JUDGEMENT: "triage.outside",
    Weight.CARE: "triage.unknown",
    Weight.FOLLOW_UP: "triage.noted",
}


def audit_calls(options: argparse.Namespace) -> int:
    """Audit the chosen calls and tell what was found; return the exit code.

    0 if all are clean, 1 if any breaks a rule, 4 if the record of any cannot be read. Raises
    StoreError, TreeError or UsageError.
    """
    rules = _rules(options.rule)
    if options.rules:
        _list_rules(options, rules)
        return DONE
    content = content_of(options)
    audited = Audited(content.version, rules, datetime.now(UTC))
    with opened_record(options) as store:
        if store is not None:
            calls = chosen(options, store, content)
            with progress_bar("calls audited") as progress:
                for call in calls:
                    audited.add(content, call)
                    progress(audited.calls, None)
    if options.json:
        sys.stdout.write(json.dumps(audited.to_data(), indent=2, ensure_ascii=False) + "\n")
    else:
        _show(screen_of(options), audited)
    if audited.unread:
        return BAD_STORE
    return NO_RECOMMENDATION if audited.kept else DONE


def _rules(names: Sequence[str]) -> tuple[Rule, ...]:
    """Return the rules named, in their own order, or all; raise UsageError for an unknown one."""
    known = [rule.id for rule in RULES]
    for name in names:
        if name not in known:
            raise UsageError(
                f"no rule is called {quoted(name)}{nearest(name, known)}; triage log audit --rules "
                "lists them"
            )
    return tuple(rule for rule in RULES if not names or rule.id in names)


@dataclass
class Audited:
    """What an audit came to: calls with findings are kept, of clean ones only how many."""

    content_version: str
    rules: Sequence[Rule]
    now: datetime
    calls: int = 0
    kept: list[tuple[SessionSummary, list[AuditFinding]]] = field(default_factory=list)
    unread: list[tuple[SessionSummary, str]] = field(default_factory=list)

    def add(self, content: Content, call: Chosen) -> None:
        """Audit one more call."""
        summary, stored = call
        self.calls += 1
        if summary.fault:
            self.unread.append((summary, summary.fault))
            return
        try:
            findings = audit(content, stored, self.now, self.rules)
        except StoreError as error:
            self.unread.append((summary, str(error)))
            return
        if findings:
            self.kept.append((summary, findings))

    @property
    def clean(self) -> int:
        """How many calls break none of the rules."""
        return self.calls - len(self.kept) - len(self.unread)

    def counts(self) -> Iterator[tuple[Rule, int, int]]:
        """Yield each rule with how many calls break it and how often."""
        calls: Counter[str] = Counter()
        findings: Counter[str] = Counter()
        for _, found in self.kept:
            findings.update(item.rule for item in found)
            calls.update({item.rule for item in found})
        for rule in self.rules:
            yield rule, calls[rule.id], findings[rule.id]

    def to_data(self) -> dict[str, Any]:
        """Return everything as JSON-ready data; the keys are always the same."""
        return {
            "content_version": self.content_version,
            "audited_at": self.now.isoformat(timespec="seconds"),
            "calls": self.calls,
            "clean": self.clean,
            "with_findings": len(self.kept),
            "unread": [
                {"session_id": summary.session_id, "fault": fault}
                for summary, fault in self.unread
            ],
            "rules": [
                {**_rule_data(rule), "calls": calls, "findings": findings}
                for rule, calls, findings in self.counts()
            ],
            "sessions": [
                {
                    "session_id": summary.session_id,
                    "started_at": summary.started_at,
                    "agent": summary.agent,
                    "desk": summary.desk,
                    "findings": [
                        {
                            "rule": item.rule,
                            "weight": item.weight.value,
                            "event": item.sequence,
                            "desk": item.desk or None,
                            "at": item.at.isoformat(timespec="seconds"),
                            "text": item.text,
                        }
                        for item in found
                    ],
                }
                for summary, found in self.kept
            ],
        }  # fmt: skip


def _rule_data(rule: Rule) -> dict[str, str]:
    return {
        "rule": rule.id, "weight": rule.weight.value, "title": rule.title, "reason": rule.reason,
    }  # fmt: skip


# On the screen.


def _list_rules(options: argparse.Namespace, rules: Sequence[Rule]) -> None:
    if options.json:
        listed = {"rules": [_rule_data(rule) for rule in rules]}
        sys.stdout.write(json.dumps(listed, indent=2, ensure_ascii=False) + "\n")
        return
    console = screen_of(options)
    for rule in rules:
        heading = Text.assemble(
            (rule.id, "triage.heading"), "  ", (rule.weight.value, _STYLES[rule.weight])
        )
        text = f"{rule.title[:1].upper()}{rule.title[1:]}. {rule.reason}"
        console.print(Prose(stack(heading, _under(console, Text(text)))))


def _under(console: ChatConsole, text: Text) -> RenderableType:
    """Return `text` set in from the margin; plain it is not."""
    return text if look_of(console).is_plain else Padding(text, (0, 0, 0, 2))


def _show(console: ChatConsole, audited: Audited) -> None:
    if not audited.calls:
        console.print(Prose("No stored call fits; triage log list shows those there are."))
        return
    for summary, found in audited.kept:
        # Where several were at it, each finding names the one.
        is_shared = who(summary) != summary.agent
        parts = [part for item in found for part in _told(console, item, is_shared)]
        style = _STYLES[min((item.weight for item in found), key=list(Weight).index)]
        console.print(Card(_name(summary), stack(*parts), style))
    for summary, fault in audited.unread:
        why = f"The record of this call cannot be read: {fault}"
        console.print(Card(f"{_name(summary)}: NOT AUDITED", Text(plain_text(why)), "triage.stop"))
    calls = counted(audited.calls, "call")
    line = f"{calls} audited: {audited.clean} clean, {len(audited.kept)} with findings"
    unread = f", {len(audited.unread)} not readable" if audited.unread else ""
    console.print(Prose(Text(f"{line}{unread}.")))
    if audited.kept:
        console.print(_table(audited))
        console.print(Prose("Why each rule is there: triage log audit --rules"))


def _name(summary: SessionSummary) -> str:
    started = summary.started_at[:16].replace("T", " ")
    names = who(summary)
    agent = f", {names}" if names else ""
    return plain_text(f"{summary.session_id}, started {started} UTC{agent}")


def _told(
    console: ChatConsole, item: AuditFinding, is_desk_named: bool
) -> Iterator[RenderableType]:
    at = f"{item.at:%Y-%m-%d %H:%M:%S}"
    desk = f"  {plain_text(item.desk, 40)}" if is_desk_named and item.desk else ""
    yield Text.assemble(
        (f"{at}  event {item.sequence}  ", "triage.hint"),
        (item.rule, _STYLES[item.weight]),
        (desk, "triage.hint"),
    )
    text = plain_text(item.text)
    end = "" if text.endswith(("?", ".")) else "."
    yield _under(console, Text(f"{text[:1].upper()}{text[1:]}{end}"))


def _table(audited: Audited) -> Table:
    table = Table(box=None, pad_edge=False, header_style="triage.heading")
    table.add_column("rule", no_wrap=True)
    table.add_column("weight", no_wrap=True)
    table.add_column("calls", justify="right", no_wrap=True)
    table.add_column("findings", justify="right", no_wrap=True)
    for rule, calls, findings in audited.counts():
        if findings:
            table.add_row(
                rule.id,
                Text(rule.weight.value, style=_STYLES[rule.weight]),
                str(calls),
                str(findings),
            )
    return table
