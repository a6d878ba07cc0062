"""Paths and coverage of trees on a screen: a summary, the nodes, and what no call covers."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from itertools import groupby

from rich.console import RenderableType
from rich.text import Text

from triage.console.cards import Item
from triage.console.look import Prose, stack
from triage.dialogue.words import counted, plain_text
from triage.review.figures_pen import note, say, table_of
from triage.review.tree_coverage import Covered, Mark, rule_says
from triage.review.tree_figures import Covers, Line, TreeFigures
from triage.review.usual_answers import (
    ANY_CALLER,
    LICENSED_CALLER,
    OTHER_CALLER,
    UNKNOWN_SHARE,
)
from triage.tree.content import Content
from triage.tree.facets import outcome_words, reading_name
from triage.tree.paths import Talk

CALLERS = {
    LICENSED_CALLER: "licensed callers",
    OTHER_CALLER: "all other callers",
    ANY_CALLER: "all callers",
}
"""What callers are called."""

_HEADINGS = {
    Covered.QUESTION: "questions",
    Covered.RULE: "rules of junctions",
    Covered.ENDING: "endings",
    Covered.CAUTION: "cautions on the way",
    Covered.GATE: "cautions at the gate",
}

_LONGEST_ANSWER = 74
"""Characters of a question and its answer in a conversation that is told: a line (judged)."""

_ENDINGS_SHOWN = 5
"""Endings whose share is told beside the expected length; --json has them all (judged)."""


def paths_card(
    content: Content, figures: Sequence[TreeFigures], covers: Covers, *, is_each_wanted: bool
) -> RenderableType:
    """Return the trees under each other; with `is_each_wanted` every node and what covers it."""
    parts: list[RenderableType] = []
    for each in figures:
        lines = covers.lines(content, each.plan)
        tree = each.tree
        parts.append(Text(plain_text(f"{tree.id}: {tree.title}"), style="triage.heading"))
        parts += map(say, _counts(each))
        parts += _lengths(content, each, is_each_wanted=is_each_wanted)
        parts += map(item, _expected(each))
        if each.never_met:
            words = f"No caller can come to: {', '.join(each.never_met)}."
            parts.append(item(words, "triage.outside"))
        parts += [item(_coverage(lines)), Text("")]
        if is_each_wanted:
            parts += [*_nodes(each, lines), *by_none(each, lines), Text("")]
    parts += _closing(covers, figures, is_each_wanted=is_each_wanted)
    return stack(*parts)


def item(words: str, style: str = "none") -> RenderableType:
    """Return a line of a list."""
    return Prose(Item(plain_text(words), style=style))


def _counts(figures: TreeFigures) -> Iterator[str]:
    paths, talks = counted(figures.paths.count, "path"), figures.talks
    if talks is None:
        yield (
            f"{paths} through the graph. Too many answers hang together here to count which of "
            "them a caller can take."
        )
    else:
        yield (
            f"{counted(talks.count, 'conversation')} a caller can have, of {paths} through the "
            "graph."
        )


def _lengths(
    content: Content, figures: TreeFigures, *, is_each_wanted: bool
) -> Iterator[RenderableType]:
    spans = [("conversation", figures.talks), ("path", figures.paths)]
    for what, span in spans:
        if span is None:
            continue
        for name, talk in (("Shortest", span.shortest), ("Longest", span.longest)):
            asked = counted(len(talk.answers), "question")
            is_told = is_each_wanted and span is figures.talks
            yield item(f"{name} {what}: {asked}, ends in {talk.ending}{':' if is_told else '.'}")
            if is_told:
                for line in _answers(content, figures, talk):
                    yield Prose(Item(line, "    "))


def _answers(content: Content, figures: TreeFigures, talk: Talk) -> Iterator[str]:
    """Yield what is asked for and the answer, short enough for a line each."""
    for question, outcome in talk.answers:
        reading = figures.tree.questions[question].reading
        answer = outcome_words(content, reading, (outcome,))
        yield plain_text(f"{reading_name(content, reading)}: {answer}", _LONGEST_ANSWER)


def _expected(figures: TreeFigures) -> Iterator[str]:
    for who, hoped in figures.expected.items():
        likely = sorted(hoped.endings.items(), key=lambda each: -each[1])[:_ENDINGS_SHOWN]
        ends = ", ".join(f"{ending} {share:.0%}" for ending, share in likely)
        yield f"Expected of {CALLERS[who]}: {hoped.questions:.1f} questions. Most end in {ends}."


def _coverage(lines: Sequence[Line]) -> str:
    counts = []
    for kind in Covered:
        of_kind = [line.is_covered for line in lines if line.mark.kind is kind]
        if of_kind:
            counts.append(f"{sum(of_kind)} of {len(of_kind)} {_HEADINGS[kind]}")
    return f"Covered: {', '.join(counts)}."


def _nodes(figures: TreeFigures, lines: Sequence[Line]) -> Iterator[RenderableType]:
    for kind, heading in _HEADINGS.items():
        of_kind = [line for line in lines if line.mark.kind is kind]
        if not of_kind:
            continue
        table = table_of("demo", "calls", heading)
        # What is written in the tree itself is what is being worked on; parts are shared.
        for line in sorted(of_kind, key=lambda line: bool(_space_of(line.mark))):
            style = "none" if line.is_covered else "triage.outside"
            words = Text(plain_text(_words(figures, line.mark)), style=style)
            table.add_row(f"{len(line.demo):,}", f"{line.recorded:,}", words)
        yield Prose(table)
        yield Text("")


def _words(figures: TreeFigures, mark: Mark) -> str:
    if mark.kind is not Covered.RULE:
        return mark.id
    is_rule = mark.rule < len(figures.tree.junctions[mark.id].rules)
    number = f" rule {mark.rule + 1}" if is_rule else ""
    return f"{mark.id}{number}: {rule_says(figures.tree, mark)}"


def by_none(figures: TreeFigures, lines: Sequence[Line]) -> Iterator[RenderableType]:
    """Yield what no call passed, by the part it stands in, the tree's own first.

    Questions and endings are told with the share of calls that would come there, most of all the
    kinds of callers, and the largest share first.
    """
    yield Text("covered by none", style="triage.heading")
    if all(line.is_covered for line in lines):
        yield say("Nothing: every question, rule, ending and caution is covered.")
        return
    spaces: dict[str, list[Line]] = {"": []}
    for line in lines:
        spaces.setdefault(_space_of(line.mark), []).append(line)
    for space, held in spaces.items():
        none = [line.mark for line in held if not line.is_covered]
        if none:
            yield say(f"{_where(figures, space)}: {len(none)} of {len(held)}")
            for kind, heading in _HEADINGS.items():
                of_kind = [mark for mark in none if mark.kind is kind]
                if of_kind:
                    whole = sum(line.mark.kind is kind for line in held)
                    names = _names_of(figures, of_kind, space)
                    yield item(f"{heading}, {len(of_kind)} of {whole}: {names}")
    yield note(
        "In brackets: the share of calls expected there. Rules by their number, else is where none "
        "holds."
    )


def _space_of(mark: Mark) -> str:
    """Return the namespace of the part a node stands in, "" for the tree's own and for cautions."""
    return mark.id.rpartition(".")[0]


def _where(figures: TreeFigures, space: str) -> str:
    if not space:
        return f"{figures.tree.id} itself"
    part = figures.tree.parts.get(space, space)
    return f"part {space}" if part == space else f"part {space} ({part})"


def _names_of(figures: TreeFigures, marks: Sequence[Mark], space: str) -> str:
    """Return marks of one kind as a list, without the name of their part."""
    if marks[0].kind is Covered.RULE:
        by_junction = groupby(marks, key=lambda mark: mark.id)
        told = [(_local(name, space), _rules(figures, list(held))) for name, held in by_junction]
        return "; ".join(f"{name} {rules}" for name, rules in told)
    shares = [(_local(mark.id, space), _share(figures, mark)) for mark in marks]
    return ", ".join(
        name if share is None else f"{name} ({percent(share)})"
        for name, share in sorted(shares, key=lambda each: -(each[1] or 0.0))
    )


def _local(name: str, space: str) -> str:
    return name.removeprefix(f"{space}.")


def _rules(figures: TreeFigures, marks: Sequence[Mark]) -> str:
    """Return which rules of a junction these are: numbers, those that follow each other joined."""
    rules = len(figures.tree.junctions[marks[0].id].rules)
    runs: list[list[int]] = []
    for mark in marks:
        if mark.rule == rules:
            continue
        if runs and runs[-1][-1] == mark.rule:
            runs[-1].append(mark.rule + 1)
        else:
            runs.append([mark.rule + 1])
    told = [f"{run[0]}" if len(run) == 1 else f"{run[0]}-{run[-1]}" for run in runs]
    return ", ".join([*told, *(["else"] if marks[-1].rule == rules else [])])


def _share(figures: TreeFigures, mark: Mark) -> float | None:
    """Return the share of calls expected at a question or ending, None for what has none."""
    shares = []
    for hoped in figures.expected.values():
        if mark.kind is Covered.QUESTION:
            shares.append(hoped.asked.get(mark.id, 0.0))
        elif mark.kind is Covered.ENDING:
            shares.append(hoped.endings.get(mark.id, 0.0))
    return max(shares, default=None)


def percent(share: float) -> str:
    """Return a share in percent, fine enough to tell a small one from none.

    >>> percent(0.1234), percent(0.00012), percent(1e-9), percent(0.0)
    ('12.3%', '0.012%', 'under 0.001%', '0%')
    """
    if share == 0.0:
        return "0%"
    if share < 1e-5:
        return "under 0.001%"
    return f"{share:.1%}" if share >= 0.001 else f"{share:.3%}"


def _closing(
    covers: Covers, trees: Sequence[TreeFigures], *, is_each_wanted: bool
) -> Iterator[RenderableType]:
    yield note(
        f"Walked: {counted(len(covers.demo_calls), 'demo call')} and "
        f"{counted(covers.recorded_calls, 'recorded call')}."
    )
    for why, calls in covers.not_walked.most_common():
        yield note(f"Not walked: {counted(calls, 'call')}. {why}")
    if covers.damaged:
        yield note(
            f"Not walked: {counted(covers.damaged, 'damaged call')}; triage log verify names "
            "the events."
        )
    if any(each.expected for each in trees):
        yield note(
            "Expected: causes by the priors of the tree, answers by how each cause shows, "
            f"{UNKNOWN_SHARE:.0%} of readings not had. Counted is the order of the tree: the "
            "engine may stop earlier, or ask beyond it."
        )
    if not is_each_wanted:
        yield note("triage tree paths TREE shows every node and what covers it.")
