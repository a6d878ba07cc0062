"""What differs between two contents, said as the trade would say it."""

from __future__ import annotations

import dataclasses
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from difflib import SequenceMatcher
from enum import StrEnum
from typing import TypeVar

from triage.tree import facets
from triage.tree.content import LIKELIHOODS, OUTCOMES, Content, Ending, Junction, Question, Tree
from triage.tree.facets import Sides
from triage.tree.matching import matched

ADDED, REMOVED, RENAMED = "added", "removed", "is called"

_Thing = TypeVar("_Thing")
_Node = TypeVar("_Node", Question, Junction, Ending)


class Kind(StrEnum):
    """What a change is about, in the order changes are told."""

    TREE = "tree"
    QUESTION = "question"
    JUNCTION = "junction"
    ENDING = "ending"
    PRIOR = "prior"
    READING = "reading"
    CAUTION = "caution"
    CAUSE = "cause"
    MACHINE = "machine"
    RANKING = "ranking"


@dataclass(frozen=True, slots=True)
class Change:
    """One side of one thing that differs.

    `trees` are those it stands in, none for what all share. `id` is the one it has after the
    change. `what` is the side, or one of ADDED, REMOVED and RENAMED; phrases that people say are
    told by those ADDED and those REMOVED, which the side then ends in. `before` and `after` say
    how it was and how it is, "" for nothing.
    """

    kind: Kind
    trees: tuple[str, ...]
    id: str
    what: str
    before: str
    after: str


def differences(before: Content, after: Content) -> tuple[Change, ...]:
    """Return every change from one content to the other; none where calls cannot differ.

    What is the same in several trees, as in a part they share, is one change.
    """
    changes = [
        *_trees(before, after),
        *_things(Kind.READING, before, after, lambda of: of.readings, facets.reading_sides),
        *_things(Kind.CAUTION, before, after, lambda of: of.cautions, facets.caution_sides),
        *_things(Kind.CAUSE, before, after, lambda of: of.causes, facets.cause_sides),
        *_things(Kind.MACHINE, before, after, lambda of: of.machines, facets.machine_sides),
        *_ranking(before, after),
    ]
    order = list(Kind)
    return tuple(sorted(_together(changes), key=lambda change: order.index(change.kind)))


def ending_words(content: Content, ending: Ending) -> str:
    """Return what an ending comes to, in words."""
    if ending.escalate is not None:
        return f"handed over: {ending.escalate}"
    return facets.cause_names(content, ending.causes)


# Trees and their nodes.


def _trees(before: Content, after: Content) -> Iterator[Change]:
    for name in dict.fromkeys((*before.trees, *after.trees)):
        one, other = before.trees.get(name), after.trees.get(name)
        if one is None and other is not None:
            yield Change(Kind.TREE, (name,), name, ADDED, "", _tree_words(other))
        elif other is None and one is not None:
            yield Change(Kind.TREE, (name,), name, REMOVED, _tree_words(one), "")
        elif one is not None and other is not None:
            yield from _TreeChanges(before, after, one, other).all()


def _tree_words(tree: Tree) -> str:
    return f"{tree.title} ({len(tree.questions)} questions, {len(tree.endings)} endings)"


class _TreeChanges:
    """What changed in one tree."""

    def __init__(self, before: Content, after: Content, one: Tree, other: Tree) -> None:
        self._before, self._after = before, after
        self._one, self._other = one, other
        self._same = matched(one, other)

    def all(self) -> Iterator[Change]:
        """Yield the changes of the tree."""
        yield from self._compared(Kind.TREE, self._other.id, *self._tree_sides())
        yield from self._nodes(
            Kind.QUESTION, self._one.questions, self._other.questions, self._same.questions,
            self._question,
        )  # fmt: skip
        yield from self._nodes(
            Kind.JUNCTION, self._one.junctions, self._other.junctions, self._same.junctions,
            self._junction,
        )  # fmt: skip
        yield from self._nodes(
            Kind.ENDING, self._one.endings, self._other.endings, self._same.endings, self._ending
        )
        for cause in dict.fromkeys((*self._one.causes, *self._other.causes)):
            sides = [
                {"of a hundred such calls": _number(tree.causes.get(cause))}
                for tree in (self._one, self._other)
            ]
            yield from self._compared(Kind.PRIOR, cause, *sides)

    def _tree_sides(self) -> tuple[Sides, Sides]:
        start = self._leads(self._one.start, self._other.start)
        return (
            {
                "title": self._one.title,
                "longest call promised": str(self._one.most_questions),
                "begins with": start[0],
            },
            {
                "title": self._other.title,
                "longest call promised": str(self._other.most_questions),
                "begins with": start[1],
            },
        )

    def _nodes(
        self,
        kind: Kind,
        before: Mapping[str, _Node],
        after: Mapping[str, _Node],
        same: Mapping[str, str],
        compare: Callable[[str, _Node, _Node], Iterator[Change]],
    ) -> Iterator[Change]:
        for name in before:
            if name not in same:
                yield self._change(kind, name, REMOVED, _says(self._before, before[name]), "")
        kept = {there: here for here, there in same.items()}
        for name, thing in after.items():
            if name not in kept:
                yield self._change(kind, name, ADDED, "", _says(self._after, thing))
                continue
            if kept[name] != name:
                yield self._change(kind, name, RENAMED, kept[name], name)
            yield from compare(name, before[kept[name]], thing)

    def _question(self, name: str, before: Question, after: Question) -> Iterator[Change]:
        yield from self._compared(
            Kind.QUESTION, name,
            facets.question_sides(before), facets.question_sides(after),
        )  # fmt: skip
        moved: dict[tuple[str, str], list[str]] = {}
        for outcome in dict.fromkeys((*before.routes, *after.routes)):
            one, other = before.routes.get(outcome), after.routes.get(outcome)
            if one is None or other is None or self._same[one] != other:
                moved.setdefault(self._leads(one, other), []).append(outcome)
        known = self._after if after.reading in self._after.readings else self._before
        for (was, leads), outcomes in moved.items():
            words = facets.outcome_words(known, after.reading, outcomes)
            yield self._change(Kind.QUESTION, name, f"when it is {words}", was, leads)

    def _junction(self, name: str, before: Junction, after: Junction) -> Iterator[Change]:
        yield from self._compared(
            Kind.JUNCTION, name, {"stage": before.stage.value}, {"stage": after.stage.value}
        )
        olds, news = _numbered(before), _numbered(after)
        for key in [key for key in olds if key not in news]:
            told = self._rule_words(self._before, self._one, before, olds[key])
            yield self._change(Kind.JUNCTION, name, f'rule "{key[0]}" {REMOVED}', told, "")
        for key, place in news.items():
            what, rule = f'rule "{key[0]}"', after.rules[place]
            if key not in olds:
                told = self._rule_words(self._after, self._other, after, place)
                yield self._change(Kind.JUNCTION, name, f"{what} {ADDED}", "", told)
                continue
            old = before.rules[olds[key]]
            if (old.all_of, old.any_of) != (rule.all_of, rule.any_of):
                was = facets.rule_words(self._before, old)
                holds = facets.rule_words(self._after, rule)
                yield self._change(Kind.JUNCTION, name, f"{what} holds where", was, holds)
            if self._same[old.then] != rule.then:
                yield self._change(
                    Kind.JUNCTION, name, f"{what} leads to", *self._leads(old.then, rule.then)
                )
        both = [key for key in olds if key in news], [key for key in news if key in olds]
        for key in _moved(*both):
            yield self._change(
                Kind.JUNCTION, name, f'rule "{key[0]}" is looked at',
                f"as number {olds[key] + 1}", f"as number {news[key] + 1}",
            )  # fmt: skip
        if self._same[before.otherwise] != after.otherwise:
            leads = self._leads(before.otherwise, after.otherwise)
            yield self._change(Kind.JUNCTION, name, "where no rule holds", *leads)

    def _ending(self, name: str, before: Ending, after: Ending) -> Iterator[Change]:
        yield from self._compared(
            Kind.ENDING, name,
            facets.ending_sides(self._before, before), facets.ending_sides(self._after, after),
        )  # fmt: skip

    def _leads(self, before: str | None, after: str | None) -> tuple[str, str]:
        """Return in words where a way led and where it leads."""
        return (
            "" if before is None else self._node_words(self._before, self._one, before),
            "" if after is None else self._node_words(self._after, self._other, after),
        )

    def _node_words(self, content: Content, tree: Tree, node: str) -> str:
        if node in tree.questions:
            question = tree.questions[node]
            reading = facets.reading_name(content, question.reading)
            return f"asks for {reading} [{node}]"
        if node in tree.endings:
            return f"ends: {ending_words(content, tree.endings[node])} [{node}]"
        return f"goes by the rules of [{node}]"

    def _rule_words(self, content: Content, tree: Tree, junction: Junction, place: int) -> str:
        rule = junction.rules[place]
        leads = self._node_words(content, tree, rule.then)
        return f"as number {place + 1}, where {facets.rule_words(content, rule)}: {leads}"

    def _compared(self, kind: Kind, name: str, before: Sides, after: Sides) -> Iterator[Change]:
        return _compared(kind, (self._other.id,), name, before, after)

    def _change(self, kind: Kind, name: str, what: str, before: str, after: str) -> Change:
        return Change(kind, (self._other.id,), name, what, before, after)


def _says(content: Content, node: Question | Junction | Ending) -> str:
    """Return what a node that was added or removed is for."""
    match node:
        case Question():
            return f"{node.stage} stage: {node.agent}"
        case Ending():
            return ending_words(content, node)
        case Junction():
            return f"{len(node.rules)} rule{'' if len(node.rules) == 1 else 's'}"


def _numbered(junction: Junction) -> dict[tuple[str, int], int]:
    """Return the place of each rule by what it says and how many before it say the same."""
    found: dict[tuple[str, int], int] = {}
    for place, rule in enumerate(junction.rules):
        count = 0
        while (rule.says, count) in found:
            count += 1
        found[rule.says, count] = place
    return found


def _moved(before: Sequence[_Thing], after: Sequence[_Thing]) -> list[_Thing]:
    """Return what stands at another place among the rest, as few as explain the new order."""
    kept: set[_Thing] = set()
    for block in SequenceMatcher(None, before, after, autojunk=False).get_matching_blocks():
        kept.update(before[block.a : block.a + block.size])
    return [item for item in after if item not in kept]


# What all trees share.


def _things(
    kind: Kind,
    before: Content,
    after: Content,
    table: Callable[[Content], Mapping[str, _Thing]],
    sides: Callable[[Content, _Thing], Sides],
) -> Iterator[Change]:
    olds, news = table(before), table(after)
    for name in dict.fromkeys((*olds, *news)):
        if name not in olds:
            yield Change(kind, (), name, ADDED, "", _first(sides(after, news[name])))
        elif name not in news:
            yield Change(kind, (), name, REMOVED, _first(sides(before, olds[name])), "")
        else:
            yield from _compared(
                kind, (), name, sides(before, olds[name]), sides(after, news[name])
            )


def _ranking(before: Content, after: Content) -> Iterator[Change]:
    sides = [
        {field.name.replace("_", " "): _number(getattr(of.stakes, field.name)) for field in
         dataclasses.fields(of.stakes)}
        for of in (before, after)
    ]  # fmt: skip
    yield from _compared(Kind.RANKING, (), "stakes", *sides)
    for tree in dict.fromkeys((*before.outcomes, *after.outcomes)):
        counts = [
            {f"repairs that found {cause}": str(count) for cause, count in of.items()}
            for of in (before.outcomes.get(tree, {}), after.outcomes.get(tree, {}))
        ]
        yield from _compared(Kind.RANKING, (tree,), OUTCOMES, *counts)
    if before.likelihoods != after.likelihoods:
        was, told = ("computed" if of.likelihoods else "" for of in (before, after))
        is_new = "computed anew" if was and told else told
        yield Change(Kind.RANKING, (), LIKELIHOODS, "how causes show", was, is_new)


def _compared(
    kind: Kind, trees: tuple[str, ...], name: str, before: Sides, after: Sides
) -> Iterator[Change]:
    for what in dict.fromkeys((*before, *after)):
        was, told = before.get(what, ""), after.get(what, "")
        if isinstance(was, frozenset) or isinstance(told, frozenset):
            said, says = frozenset(was), frozenset(told)  # "" holds no phrases either
            if says - said:
                yield Change(kind, trees, name, f"{what}, {ADDED}", "", _phrases(says - said))
            if said - says:
                yield Change(kind, trees, name, f"{what}, {REMOVED}", _phrases(said - says), "")
        elif was != told:
            yield Change(kind, trees, name, what, was, told)


def _together(changes: Iterable[Change]) -> Iterator[Change]:
    """Yield changes that are the same in several trees once."""
    trees: dict[Change, list[str]] = {}
    for change in changes:
        trees.setdefault(dataclasses.replace(change, trees=()), []).extend(change.trees)
    for change, those in trees.items():
        yield dataclasses.replace(change, trees=tuple(those))


def _phrases(phrases: Iterable[str]) -> str:
    return ", ".join(f'"{phrase}"' for phrase in sorted(phrases))


def _first(sides: Sides) -> str:
    return next((told for told in sides.values() if told and isinstance(told, str)), "")


def _number(value: float | None) -> str:
    return "" if value is None else f"{value:.12g}"
