"""A stored call run through other content than it was held with, to see where the two part.

The record is followed turn by turn: its answers, corrections and cautions arrive one by one, and at
every turn today's content says what it would ask. Where that is another thing, the two part. From
there on today's content asks and the record answers with what counted in the end.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace

from triage.dialogue.after_repair import judged_after_repair
from triage.dialogue.case import Case, apply, fold
from triage.dialogue.ends import GATE
from triage.dialogue.engine import Engine
from triage.dialogue.events import (
    Acknowledged,
    Answered,
    Asked,
    Concluded,
    Declined,
    Event,
    Offered,
    Refused,
    RepairReported,
    Said,
    Started,
    TakenBack,
    TreeChosen,
)
from triage.dialogue.judge import fitting
from triage.dialogue.repair import Comparison, compared
from triage.dialogue.view import (
    END_PROMPTS,
    AskCaution,
    AskQuestion,
    Escalated,
    Prompt,
    Recommended,
)
from triage.review.replayed import End, Parting, Rejudged, Replay
from triage.tree.content import Content, Tree
from triage.tree.graph import caution_node

NOT_ASKED_THEN = "not asked in that call"
"""Why a reading is unknown that today's content asks for and the record does not hold."""

NO_LONGER_AN_ANSWER = "what was answered in that call is no answer in this content"

_MOST_PROMPTS = 400
"""A call is a few dozen prompts; more means that the content asks in a circle (judged)."""

_CHANGES = (Answered, Offered, Declined, TakenBack, Acknowledged, Refused, TreeChosen)
"""What can change which question comes next."""


def replay(engine: Engine, events: Sequence[Event]) -> Replay:
    """Return how the call of `events` goes with the content of `engine`, beside how it went.

    The engine is that of the tree the call began in; where the content has no tree it went on in,
    UnknownTree is raised. Answers of a record that was gone on with after its
    end are taken up to its last conclusion. A session that does not begin with its start comes
    back with `cannot` set.
    """
    if not events or not isinstance(events[0], Started):
        return Replay("", cannot="the session does not begin with its start")
    record = _Record(engine, events)
    walked = _Walk(engine, record)
    walked.follow()
    if walked.parting is not None:
        walked.go_on()
    prompt = walked.prompt
    closing = engine.end_event(walked.case) if isinstance(prompt, END_PROMPTS) else None
    end_then = _end_of(record.concluded)
    end_now = _end_of(closing)
    if end_then is None and walked.is_open_escalation:
        end_now = None  # then and now it waits for somebody to close it
    return Replay(
        tree=walked.case.tree,
        path_then=record.path,
        path_now=tuple(dict.fromkeys(walked.path)),
        parting=walked.parting,
        end_then=end_then,
        end_now=end_now,
        stands_then="" if end_then else record.stands_at(walked.is_open_escalation, prompt),
        stands_now="" if end_now else _name_of(prompt),
        unanswered=tuple(walked.unanswered),
        assumed_cautions=tuple(walked.assumed),
        rejudged=tuple(_rejudged(engine.content, walked.case, record.repair)),
        gone=tuple(_gone(engine.content, engine.of(walked.case).tree, record)),
        found=record.repair.found if record.repair else (),
        agreed_then=_agrees(record.concluded, record.repair, engine.content),
        agrees_now=_agrees(closing, record.repair, engine.content),
    )


class _Record:
    """What a stored call holds, up to its last conclusion."""

    def __init__(self, engine: Engine, events: Sequence[Event]) -> None:
        ends = [place for place, item in enumerate(events) if isinstance(item, Concluded)]
        self.events = events[: ends[-1] + 1] if ends else events
        last = self.events[-1]
        self.concluded = last if isinstance(last, Concluded) else None
        self.repair = next(
            (item for item in reversed(events) if isinstance(item, RepairReported)), None
        )
        self.case = fold(self.events)
        self.path = tuple(dict.fromkeys(self.case.asked))
        self.final = dict(self.case.answers)
        self._engine = engine

    def stands_at(self, is_open_escalation: bool, prompt: Prompt) -> str:
        """Return what an open call waits for; the record does not name an escalation."""
        if is_open_escalation:
            return _name_of(prompt)
        return self.case.asked[-1] if self.case.asked else ""

    def cautions(self) -> dict[tuple[str, bool], bool]:
        """Return for each caution, on the way (False) and at the gate (True), the last answer."""
        found: dict[tuple[str, bool], bool] = {}
        for event in self.events:
            if isinstance(event, (Acknowledged, Refused)):
                found[event.caution, bool(event.seal)] = isinstance(event, Acknowledged)
        return found

    def besides(self) -> dict[str, list[str]]:
        """Return for the reading of each question the readings that were said along with it."""
        questions = self._engine.of(self.case).tree.questions
        still_asked = {question.reading for question in questions.values()}
        found: dict[str, list[str]] = {}
        host, host_of = "", {}
        for event in self.events:
            if isinstance(event, Asked):
                question = questions.get(event.node)
                # A question that is gone is known by nothing but its name, often its reading's.
                host = question.reading if question else event.node
            elif isinstance(event, Answered):
                host_of[event.reading] = host
        for reading, given_at in host_of.items():
            if given_at != reading and reading in self.final:
                # Nobody asks for it today: it was known from where the two part.
                found.setdefault(given_at if given_at in still_asked else "", []).append(reading)
        return found


class _Walk:
    """Today's content on a stored call: first in step with the record, then on its own."""

    def __init__(self, engine: Engine, record: _Record) -> None:
        self._engine = engine
        self._record = record
        self.case = Case()
        self.path: list[str] = []
        self.parting: Parting | None = None
        self.prompt: Prompt = engine.prompt(self.case)
        self.unanswered: list[str] = []
        self.assumed: list[str] = []
        self._is_stale = True

    @property
    def is_open_escalation(self) -> bool:
        """Whether a record without an end is followed to an escalation nobody closed."""
        return (
            self._record.concluded is None
            and self.parting is None
            and isinstance(self.prompt, Escalated)
        )

    def follow(self) -> None:
        """Follow the record until today's content would do another thing than it did."""
        events = self._record.events
        standing = ""
        for place, event in enumerate(events):
            if isinstance(event, Asked):
                if self._is_parted(event.node, event):
                    return
                if self._is_through_the_gate(events[place:]):
                    return
                standing = event.node
                self.path.append(event.node)
            elif isinstance(event, Said):
                # The turn before put nothing new: then today's content must not either.
                if self._is_parted(standing, event):
                    return
            elif isinstance(event, Concluded):
                if place + 1 == len(events) and self._is_parted(event.ending, event):
                    return
            elif isinstance(event, (Started, *_CHANGES)):
                self.case = apply(self.case, self._resealed(event))
                self._is_stale = True
        if self._record.concluded is None:
            self._is_parted(standing, None)

    def _is_parted(self, then: str, event: Event | None) -> bool:
        """Look what comes now, and return whether it is another thing than `then`.

        `event` is the next one of the record, None at its end.
        """
        is_told = isinstance(event, (Asked, Concluded))
        if not self._is_stale and not is_told:
            return False  # nothing was said since the last look
        if self.case.offered:
            return False  # both wait for a yes
        self._look()
        now = _name_of(self.prompt)
        is_ended = isinstance(self.prompt, END_PROMPTS)
        if now == then or (is_ended and isinstance(event, Concluded)):
            return False  # two endings are compared as such
        if not is_told and isinstance(self.prompt, Escalated):
            return False  # an escalation stays open until it is closed, and is not on record
        if not is_told and (not then or self._is_answered(then)):
            # So the record stood at such an escalation; what it did next is compared.
            if event is not None:
                return False
            then = ""
        self.parting = Parting(len(self.path) + 1, then, now)
        return True

    def _is_through_the_gate(self, rest: Sequence[Event]) -> bool:
        """Go through a gate at once if the record says yes to each of its cautions, in order.

        An acknowledgement changes nothing but that the next caution is put: eleven looks are saved.
        """
        first = self.prompt
        *turns, last = rest
        if not isinstance(first, AskCaution) or not first.seal or first.number != 1:
            return False
        if not isinstance(last, Concluded):
            return False
        if not all(isinstance(event, (Asked, Said, Acknowledged)) for event in turns):
            return False
        put = [event.node for event in turns if isinstance(event, Asked)]
        said = [event.caution for event in turns if isinstance(event, Acknowledged)]
        case = self.case
        for caution in said:
            case = apply(case, Acknowledged(caution, "", first.seal))
        end = self._engine.prompt(case)
        if not isinstance(end, Recommended):
            return False
        cautions = [caution.id for caution in end.cautions]
        if said != cautions or put != [caution_node(caution, GATE) for caution in cautions]:
            return False
        self.case, self.prompt, self._is_stale = case, end, False
        self.path += put
        return True

    def _is_answered(self, node: str) -> bool:
        question = self._engine.of(self.case).tree.questions.get(node)
        return question is not None and question.reading in self.case.answers

    def _look(self) -> None:
        # A record of a time before its complaint had a tree of its own does not say so.
        self.case = fold(self._engine.tree_chosen(self.case), self.case)
        self.prompt = self._engine.prompt(self.case)
        self._is_stale = False

    def _resealed(self, event: Event) -> Event:
        """Return an answer to a gate's caution under today's seal: it stands by the caution."""
        if not isinstance(event, (Acknowledged, Refused)) or not event.seal:
            return event
        if self._is_stale:
            self._look()
        if isinstance(self.prompt, AskCaution) and self.prompt.caution.id == event.caution:
            return replace(event, seal=self.prompt.seal)
        return event

    def go_on(self) -> None:
        """Answer what today's content asks with what counted in the record.

        An open call is gone on with as far as its answers reach.
        """
        self._correct()
        cautions = self._record.cautions()
        besides = self._record.besides()
        self._give(besides.get("", ()))
        is_open = self._record.concluded is None
        for _ in range(_MOST_PROMPTS):
            self._look()
            match self.prompt:
                case AskQuestion(node=node, reading=reading):
                    answer = self._record.final.get(reading.id)
                    if is_open and answer is None:
                        return
                    self.path.append(node)
                    self._answer(reading.id, answer)
                    self._give(besides.get(reading.id, ()))
                case AskCaution(node=node, caution=caution, seal=seal):
                    is_acknowledged = cautions.get((caution.id, bool(seal)))
                    if is_open and is_acknowledged is None:
                        return
                    self.path.append(node)
                    if is_acknowledged is None:
                        self.assumed.append(caution.id)
                    made = Refused if is_acknowledged is False else Acknowledged
                    self.case = apply(self.case, made(caution.id, "", seal))
                case _:
                    return

    def _correct(self) -> None:
        """Let every answer given so far be what it was in the end."""
        self.case = replace(self.case, offered=(), doubt="")
        final = self._record.final
        for reading, answer in tuple(self.case.answers.items()):
            if reading not in final:
                self.case = apply(self.case, TakenBack(reading))
            elif final[reading] != answer:
                self.case = apply(self.case, final[reading])

    def _give(self, readings: Iterable[str]) -> None:
        for reading in readings:
            if reading not in self.case.answers:
                self.case = apply(self.case, self._record.final[reading])

    def _answer(self, reading: str, answer: Answered | None) -> None:
        if answer is None:
            self.unanswered.append(reading)
            answer = Answered(reading, "", None, NOT_ASKED_THEN)
        given = apply(self.case, answer)
        if reading not in fitting(self._engine.content, given).answers:
            given = apply(self.case, Answered(reading, answer.typed, None, NO_LONGER_AN_ANSWER))
        self.case = given


def _name_of(prompt: Prompt) -> str:
    """Return the node of a prompt, or the id of the ending it is."""
    return prompt.node


def _end_of(concluded: Concluded | None) -> End | None:
    if concluded is None:
        return None
    first: Mapping[str, object] = concluded.ranked[0] if concluded.ranked else {}
    probability = first.get("probability")
    return End(
        concluded.ending,
        concluded.result,
        concluded.causes,
        concluded.agreement,
        str(first.get("cause", "")),
        float(probability) if isinstance(probability, (int, float)) else None,
    )


def _agrees(concluded: Concluded | None, repair: RepairReported | None, content: Content) -> bool:
    """Whether any of what the repair found was concluded."""
    if repair is None:
        return False
    return compared(concluded, repair.found, content) in (
        Comparison.AS_CONCLUDED,
        Comparison.MORE,
    )


def _rejudged(content: Content, case: Case, repair: RepairReported | None) -> Iterable[Rejudged]:
    """Yield the readings after the repair whose verdict is another one today."""
    then: list[str] = []
    answers: list[Answered] = []
    for item in repair.readings if repair else ():
        verdict, reading = str(item.get("verdict", "")), str(item.get("reading", ""))
        answer = Answered(reading, "", item.get("value"), minute_s=item.get("minute_s"))
        # One that is no answer today is left out, and the rest stays.
        if verdict and fitting(content, replace(case, answers={reading: answer})).answers:
            then.append(verdict)
            answers.append(answer)
    for verdict, judged in zip(then, judged_after_repair(content, case, answers), strict=True):
        now = judged.finding.verdict.value
        if now != verdict:
            yield Rejudged(judged.finding.reading.id, verdict, now)


def _gone(content: Content, tree: Tree, record: _Record) -> Iterable[str]:
    """Yield in words what the record names and the content does not know."""
    for node in record.path:
        if node.startswith("caution:"):
            caution = node.removeprefix("caution:").split("@", 1)[0]
            if caution not in content.cautions:
                yield f"caution {caution}"
        elif node not in tree.questions:
            yield f"question {node}"
    case = record.case
    for answer in case.answers.values():
        if answer.reading not in content.readings:
            yield f"reading {answer.reading}"
        elif not fitting(content, replace(case, answers={answer.reading: answer})).answers:
            yield f"{answer.value} as an answer to {answer.reading}"
    if record.concluded is None:
        return
    if record.concluded.ending not in tree.endings:
        yield f"ending {record.concluded.ending}"
    ranked = [str(item.get("cause", "")) for item in record.concluded.ranked]
    for cause in dict.fromkeys((*record.concluded.causes, *ranked)):
        if cause and cause not in content.causes:
            yield f"cause {cause}"
