"""What a drawing of a tree has to know of calls: what each gate asks, and the way one call took."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace

from triage.dialogue.case import Case
from triage.dialogue.engine import Engine
from triage.dialogue.events import Concluded
from triage.dialogue.gate import FLAMMABLE, applies, gate_cautions
from triage.dialogue.guide import ending_if_nothing_more
from triage.dialogue.judge import fitting
from triage.dialogue.view import (
    END_PROMPTS,
    AskCaution,
    Escalated,
    Finding,
    Prompt,
    Recommended,
    Source,
    Withheld,
)
from triage.dialogue.walk import Spot, walk
from triage.tree.content import UNKNOWN, Content, Rule, Tree
from triage.tree.drawing.sketch import Caution, Leap
from triage.tree.drawing.trail import Trail
from triage.tree.drawing.words import outcome_words
from triage.tree.graph import NodeKind, gate_node, is_met, recommendation_node

_TOLD = "ended here, the repair was told"
_WITHHELD = "ended here, the repair was withheld."
_ACKNOWLEDGED = "acknowledged"
_NOT_ASKED_FURTHER = "Not asked further: no single answer could change it."


def gates_of(content: Content, tree: Tree) -> Mapping[str, Sequence[str]]:
    """Return by ending the titles of the cautions its gate asks for in any call.

    Where readings may settle on several causes these are all they could bring. A refrigerant that
    burns brings one more.
    """
    fire = frozenset(FLAMMABLE.values())
    found = {}
    for ending in tree.endings.values():
        if ending.possible_causes:
            widest = replace(ending, causes=ending.possible_causes)
            cautions = gate_cautions(content, Case(), widest)
            found[ending.id] = [
                caution.title for caution in cautions if not fire.issuperset(caution.hazards)
            ]
    return found


def trail_of(engine: Engine, case: Case, session_id: str) -> Trail:
    """Return the way a call takes by its answers, as judged now, through the tree it is in."""
    return _Follower(engine.of(case), case).trail(session_id)


@dataclass(frozen=True, slots=True)
class _Gate:
    """How the gate of a call stands: `count` are all its cautions, met or not."""

    cautions: tuple[Caution, ...] = ()
    count: int = 0
    is_open: bool = False


class _Follower:
    def __init__(self, engine: Engine, case: Case) -> None:
        self._engine = engine
        self._content = engine.content
        self._case = fitting(engine.content, case)
        self._prompt: Prompt = engine.prompt(case)
        self._spot: Spot = walk(engine.graph, engine.content, self._case)
        self._findings = {item.reading.id: item for item in engine.findings(case)}

    def trail(self, session_id: str) -> Trail:
        """Return the trail."""
        spot, prompt = self._spot, self._prompt
        ending = self._ending()
        gate = self._gate(ending)
        last = self._last_box()
        path = list(spot.path)
        leap = None
        marks = dict(self._marks())
        if ending and ending != spot.node and last:
            # Cautions passed since then stand in front of a question that was not put.
            path = path[: path.index(last) + 1]
            leap = Leap(last, ending, _NOT_ASKED_FURTHER)
        else:
            path.append(spot.node)
        if ending:
            marks[ending] = self._end_words(ending)
            path += [gate_node(ending), recommendation_node(ending)] if gate.is_open else []
        elif prompt.node in self._engine.tree.questions:
            marks[prompt.node] = "the call waits here"
        return Trail(tuple(self._lines(session_id, ending, gate)), tuple(path), marks,
                     gate.cautions, leap)  # fmt: skip

    def _ending(self) -> str:
        """Return the ending the call came to, "" if it came to none yet."""
        if isinstance(self._prompt, END_PROMPTS):
            return self._prompt.node
        if isinstance(self._prompt, AskCaution) and self._prompt.seal:
            outcomes = {key: finding.outcome for key, finding in self._findings.items()}
            return ending_if_nothing_more(self._engine.graph, self._spot.node, outcomes)
        return ""

    def _last_box(self) -> str:
        nodes = self._engine.graph.nodes
        drawn = (NodeKind.QUESTION, NodeKind.JUNCTION)
        boxes = [name for name in self._spot.path if nodes[name]["kind"] in drawn]
        return boxes[-1] if boxes else ""

    def _marks(self) -> Iterator[tuple[str, str]]:
        nodes = self._engine.graph.nodes
        path = [name for name in self._spot.path if name in nodes]
        for name in path:
            node = nodes[name]
            if node["kind"] is NodeKind.QUESTION and node["reading"] in self._findings:
                yield name, _answer_words(self._findings[node["reading"]])
            elif node["kind"] is NodeKind.CAUTION:
                yield name, self._caution_word(node["subject"])
            elif node["kind"] is NodeKind.JUNCTION:
                yield name, self._fork_words(node["rules"])
        for name in dict.fromkeys(self._case.asked):
            question = self._engine.tree.questions.get(name)
            if question is not None and name not in path and question.reading in self._findings:
                words = _answer_words(self._findings[question.reading])
                yield name, f"asked beside the path: {words}"

    def _fork_words(self, rules: Sequence[Rule]) -> str:
        outcomes = {key: finding.outcome for key, finding in self._findings.items()}
        held = (number for number, rule in enumerate(rules, start=1) if is_met(rule, outcomes))
        number = next(held, 0)
        return f"rule ({number}) holds" if number else "no rule holds"

    def _caution_word(self, caution: str) -> str:
        if (caution, "") in self._case.acknowledged:
            return _ACKNOWLEDGED
        if (caution, "") in self._case.refused:
            return "refused"
        is_for_this_call = applies(self._content, self._case, self._content.cautions[caution])
        return "not needed" if is_for_this_call else "does not apply"

    def _recorded(self, ending: str) -> Concluded | None:
        """Return how the record says that the call ended, if it ended at just this ending."""
        recorded = self._case.concluded
        return recorded if recorded is not None and recorded.ending == ending else None

    def _gate(self, ending: str) -> _Gate:
        match self._prompt:
            case Recommended(cautions=cautions):
                met = [Caution(each.title, _ACKNOWLEDGED) for each in cautions]
                return _Gate(tuple(met), len(met), is_open=True)
            case Withheld(cautions=answers):
                refused = {caution for caution, seal in self._case.refused if seal}
                met = [
                    Caution(each.title, _gate_word(is_acknowledged, each.id in refused))
                    for each, is_acknowledged in answers
                ]
                return _Gate(tuple(met), len(met))
            case AskCaution(seal=seal) if seal and (recorded := self._recorded(ending)):
                # Ended with other content, whose seals open nothing today: told by the record.
                return self._recorded_gate(is_open=recorded.result == "recommended")
            case AskCaution(caution=waiting, seal=seal, of=count) if seal:
                met = [
                    Caution(each.title, _ACKNOWLEDGED)
                    for each in self._content.cautions.values()
                    if (each.id, seal) in self._case.acknowledged
                ]
                return _Gate((*met, Caution(waiting.title, "waits for an answer")), count)
            case _:
                return _Gate()

    def _recorded_gate(self, *, is_open: bool) -> _Gate:
        answered = self._case.acknowledged | self._case.refused
        counts = Counter(seal for _, seal in answered if seal)
        # The seal of the end is the one most was said to; others belong to ends left again.
        seal = max(counts, key=lambda each: (counts[each], each), default="")
        met = [
            Caution(each.title, _gate_word((each.id, seal) in self._case.acknowledged, True))
            for each in self._content.cautions.values()
            if (each.id, seal) in answered
        ]
        return _Gate(tuple(met), len(met), is_open=is_open)

    def _end_words(self, ending: str) -> str:
        match self._prompt:
            case Recommended():
                return _TOLD
            case Withheld(reason=reason):
                return f"{_WITHHELD} {reason}"
            case Escalated(reason=reason):
                return f"ended here, handed over. {reason}"
        recorded = self._recorded(ending)
        if recorded is None:
            return "the call waits here, at the gate"
        return _TOLD if recorded.result == "recommended" else f"{_WITHHELD} {recorded.reason}"

    def _lines(self, session_id: str, ending: str, gate: _Gate) -> Iterator[str]:
        case = self._case
        if ending:
            yield f"Call {session_id}: {ending}, {self._end_words(ending)}"
        else:
            yield f"Call {session_id}: not ended; it waits at {self._prompt.node}."
        if gate.cautions:
            done = sum(caution.mark == _ACKNOWLEDGED for caution in gate.cautions)
            yield f"Safety gate: {done} of {gate.count} cautions acknowledged."
        if case.content_version != self._content.version:
            yield "The call was held with other content; its answers are judged with this one."
        recorded = case.concluded.ending if case.concluded else ""
        if recorded and recorded != ending:
            yield f"By its record it ended at {recorded}."


def _answer_words(finding: Finding) -> str:
    words = outcome_words(finding.reading, [finding.outcome])[0]
    match finding.source:
        case Source.NOT_ASKED_OF_THIS_CALLER:
            return f"not asked of this caller, so {words}"
        case Source.WORKED_OUT:
            return f"worked out, {words}"
        case _:
            return words if finding.outcome == UNKNOWN else f"answered, {words}"


def _gate_word(is_acknowledged: bool, is_refused: bool) -> str:
    if is_acknowledged:
        return _ACKNOWLEDGED
    return "refused" if is_refused else "not asked"
