"""A path that breaks a promise, told as the conversation a caller would have on it.

Nobody mends a tree from a list of node ids. So the path is told in turns: what the desk asks in the
agent's words, what the caller answers, the cautions read out, the rule that holds at a fork, and
where it ends; each with the id to look for in the file. The answers agree with each other where
any do (`triage.tree.path_answers`); where none do, that is said as well.
"""

from __future__ import annotations

import textwrap
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from enum import StrEnum
from itertools import groupby, takewhile, zip_longest
from typing import TYPE_CHECKING, Any

from triage.tree.content import LICENSED, QUALIFICATION, UNKNOWN, Content, Reading
from triage.tree.graph import NodeKind, build_graph, is_met
from triage.tree.path_answers import (
    Answers,
    answers_along,
)
from triage.tree.proof_case import in_words

if TYPE_CHECKING:
    import networkx

    from triage.tree.proof_case import Finding

WIDTH = 80
"""Characters of a told line, its indent counted."""

MOST_CONVERSATIONS = 8
"""How many conversations are told at once; more of them hide the findings (judged)."""

MOST_LINES = 80
"""Lines of a conversation that are told; of a longer one the first and the last (judged)."""

_FILE = "-- "
_FIRST_LINES = 15
_LEAST_SAME = 6
_INDENT = "    "
_LEAST_TEXT = 20
_LINES_OF_END = 2
_SPEAKER_WIDTH = 8
_JOINED = "\N{NO-BREAK SPACE}"
_WORDS = {
    "below": "below its band",
    "within": "within its band",
    "above": "above its band",
    "known": "gives it",
    UNKNOWN: "could not be had",
}


class Speaker(StrEnum):
    """Who or what has the turn, as its line begins."""

    DESK = "desk"
    CALLER = "caller"
    CAUTION = "caution"
    FORK = "because"
    END = "ends"


@dataclass(frozen=True, slots=True)
class Turn:
    """One turn; `id` is what to look for: a node, a reading, an outcome or a caution.

    `file` holds the node of the turn; `namespace` is that of the part in the file, "" for a tree.
    `number` is that of the last question of a path with more than the tree promises, 0 elsewhere.
    """

    speaker: Speaker
    text: str
    id: str
    file: str
    namespace: str = ""
    number: int = 0


@dataclass(frozen=True, slots=True)
class Conversation:
    """The turns of a path; `doubt` says why no call shows the harm today, "" if one does."""

    turns: tuple[Turn, ...]
    doubt: str = ""


def conversation_on(
    graph: networkx.DiGraph[str],
    content: Content,
    path: Sequence[str],
    shows: Sequence[Mapping[str, frozenset[str]]] = (),
) -> Conversation:
    """Return the conversation of a path: nodes of `graph`, from its start, each linked to the next.

    shows: outcomes, by reading, each of which makes the harm plain; any do if there are none. As in
    a call, a reading that was had, or that this caller may not take, is not asked for, and a
    caution is read out once.
    """
    answers = answers_along(graph, content, path, shows or ({},))
    turns = _Teller(graph, content, path, answers).turns()
    return Conversation(tuple(turns), _doubt(graph, answers, path))


def _doubt(graph: networkx.DiGraph[str], answers: Answers, path: Sequence[str]) -> str:
    if answers.is_shown:
        return ""
    if answers.leads == len(path):
        return (
            "Whoever comes this way today has the readings for it. But nothing on the way demands "
            "them, and the next edit can let others in."
        )
    stuck = in_words(graph.nodes[path[answers.leads - 1]])
    if answers.is_certain:
        return (
            f"No caller comes this way today: at {stuck} the answers would have to contradict each "
            "other. But nothing in the tree forbids the way, and the next edit can open it."
        )
    return (
        f"No answers were found that lead a caller on from {stuck}. But nothing in the tree "
        "forbids the way."
    )


def lines_of(conversation: Conversation, width: int = WIDTH) -> list[str]:
    """Return a conversation as lines of at most `width` characters.

    A question has up to three, its end whole, for there it asks; other turns have one. Where the
    call goes on in another file, a line says so.
    """
    return [line for block in _blocks(conversation, width) for line in block]


def told(findings: Iterable[Finding], content: Content, width: int = WIDTH) -> list[str]:
    """Return findings as lines: where and what, and below it the call that shows it.

    Findings that follow each other and are shown by one call share it. Of a call that begins as the
    one above, or is very long, only a part is told. width: characters of a line of a call, its
    indent counted.
    """
    lines: list[str] = []
    graphs: dict[str, networkx.DiGraph[str]] = {}
    before: list[list[str]] = []
    count = 0
    for (path, shows, trees), group in groupby(
        findings, key=lambda each: (each.path, each.shows, each.trees)
    ):
        same = list(group)
        lines += [line for finding in same for line in str(finding).splitlines()]
        if not trees:
            continue
        tree, also = trees[0], f" (also in {', '.join(trees[1:])})" if trees[1:] else ""
        if not path:
            if also or not _is_of_tree(same[-1], tree, content):
                lines.append(f"{_INDENT}in {tree}{also}")
            continue
        if count == MOST_CONVERSATIONS:
            lines.append(f"{_INDENT}mend what is above to see the call in {tree} that shows it")
            continue
        count += 1
        if tree not in graphs:
            graphs[tree] = build_graph(content, tree)
        lines.append(f"{_INDENT}a call in {tree}{also} that shows it:")
        conversation = conversation_on(graphs[tree], content, path, shows)
        blocks = _blocks(conversation, width - len(_INDENT))
        lines += [_INDENT + line for line in _shortened(blocks, before)]
        before = blocks
    return lines


def _is_of_tree(finding: Finding, tree: str, content: Content) -> bool:
    """Whether the place of a finding says already which tree it is about."""
    return tree in content.trees and content.trees[tree].place.file == finding.place.file


def _blocks(conversation: Conversation, width: int) -> list[list[str]]:
    """Return the lines of a conversation, those of a turn together."""
    doubt = textwrap.wrap(conversation.doubt, width, break_on_hyphens=False)
    blocks = [[line] for line in doubt]
    where = ("", "")
    for turn in conversation.turns:
        if (turn.file, turn.namespace) != where:
            where = (turn.file, turn.namespace)
            used_as = f", as {turn.namespace}" if turn.namespace else ""
            blocks.append([f"{_FILE}{turn.file}{used_as}"])
        blocks.append(_lines(turn, width))
    return blocks


def _shortened(blocks: list[list[str]], before: list[list[str]]) -> list[str]:
    """Return lines without those they share with the conversation before, nor too many."""
    same = len(list(takewhile(lambda pair: pair[0] == pair[1], zip(blocks, before, strict=False))))
    shared = [line for block in blocks[:same] for line in block]
    lines = [line for block in blocks[same:] for line in block]
    if len(shared) >= _LEAST_SAME:
        files = [line for line in shared if line.startswith(_FILE)]
        is_told = bool(lines) and lines[0].startswith(_FILE)
        lines = [f"… {len(shared)} lines as above …", *([] if is_told else files[-1:]), *lines]
    else:
        lines = shared + lines
    if len(lines) > MOST_LINES:
        rest = len(lines) - MOST_LINES + _FIRST_LINES
        left_out = rest - _FIRST_LINES
        lines = [*lines[:_FIRST_LINES], f"… {left_out} more lines …", *lines[rest:]]
    return lines


class _Teller:
    """Tells the turns of one path in order, remembering what was had and read out."""

    def __init__(
        self,
        graph: networkx.DiGraph[str],
        content: Content,
        path: Sequence[str],
        answers: Answers,
    ) -> None:
        self._graph = graph
        self._content = content
        self._tree = content.trees[graph.graph["tree"]]
        self._path = path
        self._outcomes = answers.outcomes
        self._besides = answers.besides
        self._had: dict[str, str] = {}
        self._read_out: set[str] = set()
        self._subject = self._file = ""
        questions = [n for n in path if graph.nodes[n]["kind"] is NodeKind.QUESTION]
        is_too_long = len(questions) > graph.graph["most_questions"]
        self._last = {questions[-1]: len(questions)} if is_too_long else {}

    def turns(self) -> Iterator[Turn]:
        """Yield the turns of the whole path."""
        for node, target in zip_longest(self._path, self._path[1:]):
            facts = self._graph.nodes[node]
            self._subject = facts["subject"] if facts["question"] is None else facts["question"]
            self._file = facts["place"].file
            edge = self._graph.edges[node, target] if target is not None else None
            for name in self._besides.get(node, ()):
                yield self._said_besides(name)
            match facts["kind"]:
                case NodeKind.CAUTION:
                    yield from self._caution(facts)
                case NodeKind.QUESTION:
                    yield from self._question(node, facts, edge)
                case NodeKind.JUNCTION:
                    yield from self._fork(node, facts, edge)
                case _:
                    yield self._end(node, facts)
        if self._path[-1] in self._path[:-1]:
            yield self._turn(Speaker.END, "never: the call goes round from here", self._subject)

    def _turn(self, speaker: Speaker, text: str, name: str) -> Turn:
        namespace, _, own = self._subject.rpartition(".")
        number = self._last.get(name, 0) if speaker is Speaker.DESK else 0
        # A part's file knows nothing of namespaces.
        shown = own if name == self._subject else name
        return Turn(speaker, text, shown, self._file, namespace, number)

    def _said_besides(self, name: str) -> Turn:
        reading = self._content.readings[name]
        self._had[name] = self._outcomes[name]
        said = _said(reading, self._outcomes[name])
        return self._turn(Speaker.CALLER, f"says besides: {reading.name} {said}", name)

    def _caution(self, facts: dict[str, Any]) -> Iterator[Turn]:
        caution = self._content.cautions[facts["subject"]]
        reading = self._content.readings[facts["reading"]]
        if caution.id in self._read_out or self._is_closed(reading):
            return
        self._read_out.add(caution.id)
        yield self._turn(Speaker.CAUTION, f"{caution.title}. {caution.text}", caution.id)

    def _question(
        self, node: str, facts: dict[str, Any], edge: dict[str, Any] | None
    ) -> Iterator[Turn]:
        reading = self._content.readings[facts["reading"]]
        before = self._had.get(reading.id)
        outcome = self._outcome(reading, edge)
        if self._is_closed(reading) and outcome in (UNKNOWN, None):
            yield self._turn(Speaker.DESK, "asks nothing here: this is for a licensed caller", node)
        elif before is not None and outcome in (before, None):
            before_that = f"{reading.name} was had before ({before})"
            yield self._turn(Speaker.DESK, f"asks nothing here: {before_that}", node)
        else:
            yield self._turn(Speaker.DESK, self._tree.questions[facts["subject"]].agent, node)
            if outcome is not None:
                yield self._turn(Speaker.CALLER, _said(reading, outcome), outcome)
        if outcome is not None:
            self._had[reading.id] = outcome

    def _fork(
        self, node: str, facts: dict[str, Any], edge: dict[str, Any] | None
    ) -> Iterator[Turn]:
        ways = edge["rules"] if edge is not None else ()
        held = next((rule for rule in facts["rules"] if is_met(rule, self._had)), None)
        rule = held if any(each is held for each in ways) or not ways else ways[0]
        yield self._turn(Speaker.FORK, rule.says if rule else "none of its rules holds", node)

    def _end(self, node: str, facts: dict[str, Any]) -> Turn:
        if facts["kind"] is NodeKind.GATE:
            return self._turn(Speaker.CAUTION, "each caution of the repair, one by one", node)
        ending = self._tree.endings[facts["subject"]]
        names = " or ".join(self._content.causes[cause].name for cause in ending.possible_causes)
        if facts["kind"] is NodeKind.RECOMMENDATION:
            return self._turn(Speaker.END, f"tells the repair for: {names}", node)
        if ending.escalate is None:
            return self._turn(Speaker.END, f"concludes: {names}", node)
        settling = f" It may settle on: {names}" if names else ""
        return self._turn(Speaker.END, f"hands over: {ending.escalate}{settling}", node)

    def _is_closed(self, reading: Reading) -> bool:
        """Whether this caller may not take the reading, as far as is known here."""
        who = self._had.get(QUALIFICATION)
        return reading.is_licensed and who is not None and who != LICENSED

    def _outcome(self, reading: Reading, edge: dict[str, Any] | None) -> str | None:
        """Return what leads along an edge: what all answers agree on, else what the edge needs."""
        if edge is None:
            return None
        found = self._outcomes.get(reading.id)
        allowed = edge["outcomes"] or reading.outcomes
        return (
            found
            if found in allowed
            else next(each for each in reading.outcomes if each in allowed)
        )


def _said(reading: Reading, outcome: str) -> str:
    label = next((choice.label for choice in reading.choices if choice.id == outcome), None)
    return label or _WORDS[outcome]


def _lines(turn: Turn, width: int) -> list[str]:
    """Return a turn as lines, its text cut to make room for the id."""
    begin = f"{turn.speaker.value:<{_SPEAKER_WIDTH}}"
    # The id stays in one piece, and so does what is said of it.
    number = f",{_JOINED}question{_JOINED}{turn.number}" if turn.number else ""
    end = f" [{turn.id}{number}]"
    words = "".join(c if c.isprintable() else " " for c in turn.text).split()
    if turn.speaker is not Speaker.DESK:
        room = max(width - len(begin) - len(end), _LEAST_TEXT)
        return [f"{begin}{_cut(' '.join(words), room)}{end}"]
    room = max(width - len(begin), _LEAST_TEXT)
    words = [_cut(word, room) for word in words]
    lines = _wrapped(" ".join(words) + end, room)
    if len(lines) > 1 + _LINES_OF_END:
        kept = end
        while len(longer := _wrapped(f" {words[-1]}{kept}", room)) <= _LINES_OF_END:
            lines, kept = longer, f" {words.pop()}{kept}"
        lines = [_cut(f"{' '.join(words)} …", room), *lines]
    lines = [" " * len(begin) + line.replace(_JOINED, " ") for line in lines]
    return [begin + lines[0].removeprefix(" " * len(begin)), *lines[1:]]


def _wrapped(text: str, room: int) -> list[str]:
    return textwrap.wrap(text, room, break_long_words=False, break_on_hyphens=False)


def _cut(text: str, room: int) -> str:
    return text if len(text) <= room else text[: room - 1].rstrip(" ,;:.") + "…"
