"""The difference between two contents on a screen, in the order a desk cares about."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Sequence
from itertools import groupby

from rich.console import RenderableType
from rich.text import Text

from triage.console.look import Prose, stack
from triage.dialogue.words import counted, plain_text
from triage.review.figures_pen import MOST_LINES, and_more, note, say, table_of
from triage.review.replay_command import end_words
from triage.review.replayed import End
from triage.review.tree_diff_calls import CallsTally
from triage.review.tree_diff_found import Difference
from triage.review.tree_partings import DRAWN_CALLS, TreePartings
from triage.review.tree_paths_screen import CALLERS, item, percent
from triage.review.usual_answers import UNKNOWN_SHARE
from triage.tree.content import Reading
from triage.tree.difference import ADDED, REMOVED, RENAMED, Change, Kind, ending_words
from triage.tree.facets import PHRASES, outcome_words, reading_name
from triage.tree.parting import Parted

_HEADINGS = {
    Kind.TREE: "trees",
    Kind.QUESTION: "questions",
    Kind.JUNCTION: "junctions",
    Kind.ENDING: "endings",
    Kind.PRIOR: "how often causes are behind a call",
    Kind.READING: "readings",
    Kind.CAUTION: "cautions",
    Kind.CAUSE: "causes and their repairs",
    Kind.MACHINE: "machines",
    Kind.RANKING: "what the ranking of causes goes by",
}

_JUDGED = frozenset({Kind.MACHINE, Kind.CAUSE, Kind.PRIOR, Kind.RANKING})
"""What changes verdicts and ranking, and no route."""

_CONTEXT_WORDS = 4
"""Words told before and behind those that changed."""

_LONGEST = 240
"""Characters of a text that was added, removed or written anew."""

_MOST_ENDS = 8
"""Ends that changed which are told of a tree; --json has all."""

_MOST_NAMES = 12
"""Nodes with other names that are told one by one."""


def difference_card(found: Difference, examples: int) -> RenderableType:
    """Return the whole difference; `examples` is how many conversations are told."""
    parts: list[RenderableType] = [_head(found)]
    parts += _changes(found)
    alike = [parted.tree for parted in found.conversations if _is_alike(parted)]
    for parted in found.conversations:
        if parted.tree not in alike:
            parts += [Text(""), *_conversations(parted)]
    if alike:
        words = f"In {', '.join(alike)} every caller is asked the same and ends alike."
        parts += [Text(""), say(words)]
    parts += _examples(found, examples)
    if len(alike) < len(found.conversations):
        words = (
            "Shares are of calls drawn by the priors of the first content, answers by how each "
            f"cause shows, {UNKNOWN_SHARE:.0%} of readings not had. The order of the tree is "
            "followed; the engine may stop earlier, or ask beyond it."
        )
        parts += [Text(""), note(words)]
    if found.calls is None and any(change.kind in _JUDGED for change in found.changes):
        words = (
            "Figures of machines change what is within its limits, and causes how they are ranked. "
            "That shows in recorded calls alone: name a record with --store."
        )
        parts += [Text(""), note(words)]
    if found.calls is not None:
        parts += [Text(""), *_calls(found.calls)]
    return stack(*parts)


def _head(found: Difference) -> RenderableType:
    names = [f"{side.name} ({side.content.version[:12]})" for side in (found.before, found.after)]
    if not found.changes:
        return say(f"Calls go alike with {names[0]} and {names[1]}.")
    return say(f"From {names[0]} to {names[1]}: {counted(len(found.changes), 'change')}.")


# What changed.


def _changes(found: Difference) -> Iterator[RenderableType]:
    are_many = len({*found.before.content.trees, *found.after.content.trees}) > 1
    for kind, of_kind in groupby(found.changes, key=lambda change: change.kind):
        told = list(of_kind)
        yield Text("")
        yield Text(_HEADINGS[kind].upper(), style="triage.heading")
        renamed = [change for change in told if change.what == RENAMED]
        if len(renamed) > 1:
            yield _names(renamed)
            told = [change for change in told if change.what != RENAMED]
        for (name, trees), those in groupby(told, key=lambda change: (change.id, change.trees)):
            where = f" ({', '.join(trees)})" if are_many and trees else ""
            yield Prose(Text(plain_text(f"{name}{where}")))
            for change in those:
                yield item(_words(change))


def _names(renamed: Sequence[Change]) -> RenderableType:
    told = ", ".join(f"{change.before} is {change.after}" for change in renamed[:_MOST_NAMES])
    more = len(renamed) - _MOST_NAMES
    return say(f"Other names: {told}{f', and {more} more' if more > 0 else ''}.")


def _words(change: Change) -> str:
    if change.what.startswith(PHRASES):  # each may be the one that is looked for
        return f"{change.what}: {change.before or change.after}"
    before, after = shortened(change.before, change.after)
    if change.what.endswith((ADDED, REMOVED)):
        return f"{change.what}: {before or after}"
    if change.what == RENAMED:
        return f"was called {change.before}"
    if not before:
        return f"{change.what}: {after} (nothing before)"
    if not after:
        return f"{change.what}: nothing (before: {before})"
    return f"{change.what}: {before} -> {after}"


def shortened(before: str, after: str) -> tuple[str, str]:
    """Return both texts without most of what is the same at their ends.

    >>> shortened("Look at the ice near the end of a freeze, and wait.",
    ...           "Look at the ice at the end of a freeze, and wait.")
    ('Look at the ice near the end of a …', 'Look at the ice at the end of a …')
    """
    one, other = before.split(), after.split()
    if not one or not other:
        return plain_text(before, _LONGEST), plain_text(after, _LONGEST)
    most = min(len(one), len(other))
    head = next((place for place in range(most) if one[place] != other[place]), most)
    tail = next(
        (place for place in range(most - head) if one[-1 - place] != other[-1 - place]),
        most - head,
    )
    return _piece(one, head, tail), _piece(other, head, tail)


def _piece(words: Sequence[str], head: int, tail: int) -> str:
    first = head - _CONTEXT_WORDS if head > _CONTEXT_WORDS + 1 else 0
    last = tail - _CONTEXT_WORDS if tail > _CONTEXT_WORDS + 1 else 0
    kept = " ".join(words[first : len(words) - last])
    return plain_text(f"{'… ' if first else ''}{kept}{' …' if last else ''}", _LONGEST)


# Conversations.


def _conversations(parted: TreePartings) -> Iterator[RenderableType]:
    yield Text(f"CONVERSATIONS: {parted.tree}", style="triage.heading")
    if parted.partings is None:
        yield say(
            "Too many answers hang together in this tree to follow its conversations; what is told "
            "above stands."
        )
        return
    yield from map(item, _shares(parted))
    if parted.standard_errors:
        yield note(
            f"The trees are too unlike to follow every call; {DRAWN_CALLS:,} of each kind were "
            "drawn by lot."
        )
    if parted.partings.ends:
        yield Prose(_ends(parted))
        more = len(parted.partings.ends) - _MOST_ENDS
        if more > 0:
            yield note(f"and {more:,} more ends; --json has all.")


def _is_alike(parted: TreePartings) -> bool:
    found = parted.partings
    return found is not None and not found.ends and not any(found.asks_otherwise)


def _shares(parted: TreePartings) -> Iterator[str]:
    assert parted.partings is not None
    ends, others = parted.ends_otherwise(), parted.ends_otherwise(with_other_causes=True)
    for number, who in enumerate(parted.callers):
        asked = parted.partings.asks_otherwise[number]
        if asked == ends[number] == 0.0:
            yield f"{CALLERS[who]}: every call is asked the same and ends alike."
            continue
        error = ""
        if parted.standard_errors:
            error = f" (+/- {percent(parted.standard_errors[number])})"
        yield (
            f"{CALLERS[who]}: {percent(asked)} of calls are asked otherwise, "
            f"{percent(ends[number])}{error} end otherwise, {percent(others[number])} with other "
            "causes or handed over."
        )


def _ends(parted: TreePartings) -> RenderableType:
    assert parted.partings is not None
    shown = parted.partings.ends[:_MOST_ENDS]
    callers = [
        number
        for number in range(len(parted.callers))
        if number == 0 or any(told.shares[number] for told in shown)
    ]
    columns = [CALLERS[parted.callers[number]].removesuffix(" callers") for number in callers]
    table = table_of(*columns, "ended before in -> ends now in")
    for told in shown:
        same = " (same causes)" if parted.has_same_causes(told) else ""
        before, after = (parted.endings[name][1].id for name in (told.before, told.after))
        if before == after:
            same = " (which concludes something else now)"
        shares = (percent(told.shares[number]) for number in callers)
        table.add_row(*shares, Text(plain_text(f"{before} -> {after}{same}")))
    return table


def _examples(found: Difference, most: int) -> Iterator[RenderableType]:
    """Yield a shortest call of each of the changes of an end with the largest shares."""
    chosen: dict[tuple[str, str], tuple[TreePartings, Parted]] = {}
    told = [(of, one) for of in found.conversations if of.partings for one in of.partings.ends]
    for of, one in sorted(told, key=lambda each: -max(each[1].shares)):
        chosen.setdefault((one.before, one.after), (of, one))
    for of, one in list(chosen.values())[:most]:
        yield Text("")
        yield from _example(found, of, one)


def _example(found: Difference, parted: TreePartings, told: Parted) -> Iterator[RenderableType]:
    rows: list[tuple[str, str]] = []
    for place, (reading_id, outcome) in enumerate(told.answers):
        sides = (found.before.content, found.after.content)
        content = next(each for each in sides if reading_id in each.readings)
        if place == told.alike:
            rows.append(("from here on they part", ""))
        if place >= told.alike or not _is_usual(content.readings[reading_id], outcome):
            words = outcome_words(content, reading_id, (outcome,))
            rows.append((reading_name(content, reading_id), words))
    left_out = len(told.answers) - len(rows) + (told.alike < len(told.answers))
    yield Text(f"EXAMPLE: {parted.tree}", style="triage.heading")
    yield say(
        f"{counted(len(told.answers), 'question')}, as few as any with this end. "
        f"{left_out} answers are within their limits, known or as they should be; the others:"
    )
    table = table_of("", "", has_head=False)
    for name, words in rows:
        table.add_row(Text(plain_text(name)), Text(plain_text(words)))
    yield Prose(table)
    for when, name in (("ended before in", told.before), ("ends now in", told.after)):
        content, ending = parted.endings[name]
        causes = f" ({', '.join(ending.causes)})" if ending.causes else ""
        yield say(f"{when} {ending.id}: {ending_words(content, ending)}{causes}")


def _is_usual(reading: Reading, outcome: str) -> bool:
    """Return whether an answer needs no mention: nothing is odd, and nothing else hangs on it."""
    return outcome in (reading.normal or ("within", "known"))


# Recorded calls.


def _calls(tally: CallsTally) -> Iterator[RenderableType]:
    yield Text("RECORDED CALLS", style="triage.heading")
    ended = len(tally.moved)
    yield say(
        f"{counted(tally.calls, 'call')} replayed with both: {ended or 'none'} would end "
        f"otherwise, {len(tally.asked_otherwise) or 'none'} would be asked or warned otherwise."
    )
    ends = Counter(
        (_end(it.before, it.stands_before), _end(it.after, it.stands_after)) for it in tally.moved
    )
    if ends:
        table = table_of("calls", "with the first", "with the second")
        for (before, after), calls in ends.most_common(MOST_LINES):
            table.add_row(f"{calls:,}", Text(before), Text(after))
        yield Prose(table)
        yield from and_more(len(ends))
        yield say(f"Ending otherwise: {_some([it.session_id for it in tally.moved])}.")
    moved = {it.session_id for it in tally.moved}
    only_asked = [it for it in tally.asked_otherwise if it not in moved]
    if only_asked:
        yield say(f"Only asked or warned otherwise: {_some(only_asked)}.")
    for why, calls in tally.not_replayed.most_common():
        yield note(f"Not replayed: {counted(calls, 'call')}. {why}")
    if tally.damaged:
        yield note(
            f"Damaged: {counted(tally.damaged, 'call')}; triage log verify names the events."
        )


def _some(names: Sequence[str]) -> str:
    more = len(names) - MOST_LINES
    return f"{', '.join(names[:MOST_LINES])}{f' and {more:,} more' if more > 0 else ''}"


def _end(end: End | None, stands: str) -> str:
    where = f" (in {end.ending})" if end is not None and end.causes else ""
    return plain_text(f"{end_words(end, stands)}{where}")
