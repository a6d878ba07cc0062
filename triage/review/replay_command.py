"""`triage log replay`: stored calls through today's content, or that of another folder."""

from __future__ import annotations

import argparse
import json
import sys
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import Any

from rich.console import RenderableType
from rich.table import Table
from rich.text import Text

from triage.console.call import content_of
from triage.console.look import Card, ChatConsole, Prose, stack
from triage.console.screen import screen_of
from triage.dialogue.words import counted, plain_text
from triage.exits import BAD_STORE, DONE, NO_RECOMMENDATION
from triage.review.chosen import chosen, opened_record
from triage.review.progress import progress_bar
from triage.review.replay_many import Done, replay_many
from triage.review.replayed import COMPARED, End, Replay
from triage.store.listing import SessionSummary

MOST_SHOWN = 20
"""Calls shown one by one where none was named; the table and --json have them all (judged)."""


def replay_calls(options: argparse.Namespace) -> int:
    """Replay the chosen calls and tell what differs; return the exit code.

    0 if all went the same, 1 if any differs or cannot be replayed, 4 if the record of any is
    damaged. Raises StoreError, TreeError or UsageError.
    """
    content = content_of(options)
    tally = Tally(content.version, is_each_wanted=bool(options.session))
    with opened_record(options) as store:
        if store is not None:
            calls = chosen(options, store, content)
            with progress_bar("calls replayed") as progress:
                for done in replay_many(content, calls, progress):
                    tally.add(done)
    if options.json:
        sys.stdout.write(json.dumps(tally.to_data(), indent=2, ensure_ascii=False) + "\n")
    else:
        _show(screen_of(options), tally)
    if tally.damaged:
        return BAD_STORE
    return DONE if tally.same == tally.calls else NO_RECOMMENDATION


@dataclass
class Tally:
    """What many replays come to; those that differ are kept, of the rest only how many."""

    content_version: str
    is_each_wanted: bool = False
    calls: int = 0
    same: int = 0
    damaged: int = 0
    cannot: int = 0
    other_path: int = 0
    other_conclusion: int = 0
    other_ranking: int = 0
    other_repair_verdict: int = 0
    for_want_of_answers: int = 0
    reported: int = 0
    agreed_then: int = 0
    agree_now: int = 0
    conclusions: Counter[tuple[str, str]] = field(default_factory=Counter)
    kept: list[Done] = field(default_factory=list)

    def add(self, done: Done) -> None:
        """Count one more call."""
        summary, found = done
        self.calls += 1
        self.same += found.is_same
        if self.is_each_wanted or not found.is_same:
            self.kept.append(done)
        if found.cannot:
            self.damaged += bool(summary.fault)
            self.cannot += not summary.fault
            return
        self.other_path += not found.is_same_path
        self.other_conclusion += not found.is_same_conclusion
        self.other_ranking += not found.is_same_ranking
        self.other_repair_verdict += bool(found.rejudged)
        self.for_want_of_answers += bool(found.unanswered) and not found.is_same
        self.reported += bool(found.found)
        self.agreed_then += found.agreed_then
        self.agree_now += found.agrees_now
        if not found.is_same_conclusion:
            self.conclusions[end_words(found.end_then), end_words(found.end_now)] += 1

    def to_data(self) -> dict[str, Any]:
        """Return everything as JSON-ready data; the keys are always the same."""
        return {
            "content_version": self.content_version,
            "compared": list(COMPARED),
            "calls": self.calls,
            "same": self.same,
            "differing": self.calls - self.same - self.damaged - self.cannot,
            "other_path": self.other_path,
            "other_conclusion": self.other_conclusion,
            "other_ranking": self.other_ranking,
            "other_repair_verdict": self.other_repair_verdict,
            "for_want_of_answers": self.for_want_of_answers,
            "repairs": {
                "reported": self.reported,
                "agreed_then": self.agreed_then,
                "agree_now": self.agree_now,
            },
            "not_replayed": self.cannot,
            "damaged": self.damaged,
            "conclusions": [
                {"then": then, "now": now, "calls": count}
                for (then, now), count in self.conclusions.most_common()
            ],
            "sessions": [_session(summary, found) for summary, found in self.kept],
        }


def _session(summary: SessionSummary, found: Replay) -> dict[str, Any]:
    parting = found.parting
    return {
        "session_id": summary.session_id,
        "started_at": summary.started_at,
        "tree": found.tree,
        "recorded_content_version": summary.content_version,
        "is_same": found.is_same,
        "is_same_path": found.is_same_path,
        "is_same_conclusion": found.is_same_conclusion,
        "is_same_ranking": found.is_same_ranking,
        "parting": None
        if parting is None
        else {"number": parting.number, "then": parting.then, "now": parting.now},
        "path_then": list(found.path_then),
        "path_now": list(found.path_now),
        "put_only_then": list(found.asked_only_then),
        "put_only_now": list(found.asked_only_now),
        "then": end_data(found.end_then),
        "now": end_data(found.end_now),
        "stands_then": found.stands_then or None,
        "stands_now": found.stands_now or None,
        "taken_as_unknown": list(found.unanswered),
        "taken_as_acknowledged": list(found.assumed_cautions),
        "verdicts_after_repair": [
            {"reading": item.reading, "then": item.then, "now": item.now}
            for item in found.rejudged
        ],
        "repair": None
        if not found.found
        else {
            "found": list(found.found),
            "agreed_then": found.agreed_then,
            "agrees_now": found.agrees_now,
        },
        "no_longer_in_content": list(found.gone),
        "not_replayed": found.cannot or None,
    }  # fmt: skip


def end_data(end: End | None) -> dict[str, Any] | None:
    """Return how a call ended as JSON-ready data, None for an open one."""
    if end is None:
        return None
    return {
        "ending": end.ending,
        "result": end.result,
        "causes": list(end.causes),
        "agreement": end.agreement or None,
        "likeliest": end.likeliest or None,
        "likeliest_probability": end.probability,
    }


# On the screen.


def _show(console: ChatConsole, tally: Tally) -> None:
    if not tally.calls:
        console.print(Prose("No stored call fits; triage log list shows those there are."))
        return
    shown = tally.kept if tally.is_each_wanted else tally.kept[:MOST_SHOWN]
    for summary, found in shown:
        console.print(_one(summary, found))
    if len(shown) < len(tally.kept):
        more = len(tally.kept) - len(shown)
        console.print(Prose(f"{more} more that differ; --json has them all."))
    for line in _closing(tally):
        console.print(Prose(Text(line)))
    if tally.conclusions:
        console.print(_conclusions(tally))


def _closing(tally: Tally) -> Iterator[str]:
    version = tally.content_version[:12]
    differing = tally.calls - tally.same - tally.damaged - tally.cannot
    yield (
        f"{counted(tally.calls, 'call')} replayed through content {version}: "
        f"{tally.same} the same, {differing} not{_want_words(tally.for_want_of_answers)}."
    )
    parts = [
        (tally.other_path, "would ask or warn otherwise"),
        (tally.other_ranking, "would rank the causes otherwise"),
        (tally.other_repair_verdict, "would judge a reading after the repair otherwise"),
        (tally.cannot, "cannot be replayed"),
        (tally.damaged, "damaged (triage log verify names the events)"),
    ]
    told = [f"{tally.other_conclusion or 'None'} would end differently"]
    told += [f"{count} {words}" for count, words in parts if count]
    yield f"{', '.join(told)}."
    if tally.reported:
        yield (
            f"Agrees with the repair: then {tally.agreed_then} of {tally.reported}, now "
            f"{tally.agree_now} of {tally.reported}."
        )
    yield (
        "Compared is what the record keeps: questions and cautions in their order, ending, result, "
        "causes, agreement and likeliest cause. Verdicts during a call it does not keep."
    )


def _want_words(calls: int) -> str:
    """Return how many differ where the record has no answer to what is asked today."""
    if not calls:
        return ""
    return f", of these {calls} for want of answers (what was not asked then counts as unknown)"


def _conclusions(tally: Tally) -> Table:
    table = Table(box=None, pad_edge=False, header_style="triage.heading")
    table.add_column("calls", justify="right", no_wrap=True)
    table.add_column("ended then", overflow="fold")
    table.add_column("would end now", overflow="fold")
    for (then, now), count in tally.conclusions.most_common():
        table.add_row(str(count), Text(then), Text(now))
    return table


def _one(summary: SessionSummary, found: Replay) -> RenderableType:
    started = summary.started_at[:16].replace("T", " ")
    name = plain_text(f"{summary.session_id}, started {started} UTC")
    if found.is_same:
        end = end_words(found.end_then)
        put = len(found.path_now)
        return Prose(Text(f"{name}: the same; {put} questions and cautions, {end}."))
    if found.cannot:
        return Card(f"{name}: NOT REPLAYED", Text(plain_text(found.cannot)), "triage.stop")
    lines = [_fact(label, words) for label, words in _facts(found)]
    return Card(f"{name}: {_what_differs(found)}", stack(*lines), "triage.outside")


def _what_differs(found: Replay) -> str:
    parts = [
        (found.is_same_path, "other path"),
        (found.is_same_conclusion, "OTHER END"),
        (found.is_same_ranking, "other ranking"),
        (not found.rejudged, "other verdict after the repair"),
    ]
    return ", ".join(words for is_same, words in parts if not is_same)


def _facts(found: Replay) -> Iterator[tuple[str, str]]:
    """Yield what there is to say of a call that differs: a word and what it stands before."""
    if found.parting is not None:
        parting = found.parting
        yield "part at", f"number {parting.number} of what is put to the caller"
        yield "then", _put_words(parting.then) if parting.then else "nothing more is on record"
        yield "now", _put_words(parting.now)
    yield "ended", end_words(found.end_then, found.stands_then)
    if not found.is_same_conclusion or not found.is_same_ranking:
        yield "would end", end_words(found.end_now, found.stands_now)
    if found.found:
        yield "repair", f"found {' and '.join(found.found)}; {_agreement_words(found)}"
    if not found.is_same_ranking:
        yield "ranked then", _ranking_words(found.end_then)
        yield "ranked now", _ranking_words(found.end_now)
    listed = (
        ("only then", map(_put_words, found.asked_only_then)),
        ("only now", map(_put_words, found.asked_only_now)),
        ("no answer", (f"{reading} (taken as unknown)" for reading in found.unanswered)),
        ("not asked", (f"{item} (taken as acknowledged)" for item in found.assumed_cautions)),
        ("repair", (f"{it.reading} was {it.then}, is {it.now} now" for it in found.rejudged)),
        ("gone", found.gone),
    )
    for label, words in listed:
        told = ", ".join(words)
        if told:
            yield label, told


def _agreement_words(found: Replay) -> str:
    match found.agreed_then, found.agrees_now:
        case True, True:
            return "it was concluded then and would be now"
        case True, False:
            return "it was concluded then and would NOT be now"
        case False, True:
            return "it was not concluded then and would be now"
        case _:
            return "it was not concluded then and would not be now"


def _fact(label: str, words: str) -> Table:
    row = Table.grid(padding=(0, 1))
    row.add_column(width=11, no_wrap=True, style="triage.hint")
    row.add_column(overflow="fold")
    row.add_row(label, Text(plain_text(words)))
    return row


def _put_words(node: str) -> str:
    """Return a node as words: a question by its id, a caution with where it stands."""
    if not node.startswith("caution:"):
        return plain_text(node)
    caution, _, where = node.removeprefix("caution:").partition("@")
    place = "at the gate" if where == "gate" else f"before {where}"
    return plain_text(f"caution {caution} {place}")


def end_words(end: End | None, stands: str = "") -> str:
    """Return how a call ended, or what it waits for, in words."""
    if end is None:
        return f"open, at {_put_words(stands)}" if stands else "open"
    causes = " and ".join(end.causes)
    return plain_text(f"{end.result}: {causes}" if causes else f"{end.result} at {end.ending}")


def _ranking_words(end: End | None) -> str:
    if end is None or not end.likeliest:
        return "not on record"
    chance = "" if end.probability is None else f" {100.0 * end.probability:.0f} %"
    agreement = f"; path and ranking: {end.agreement}" if end.agreement else ""
    return f"{end.likeliest}{chance}{agreement}"
