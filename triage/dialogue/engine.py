"""The pure engine of a call: what to ask now, and what a typed line does.

Nothing here writes, prints, or looks at a clock. A surface shows `Engine.prompt`, hands what was
typed to `Engine.turn`, stores the events it returns, folds them, and shows the remarks.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from datetime import datetime
from functools import cached_property
from typing import TYPE_CHECKING

from triage.dialogue import heard
from triage.dialogue.case import COMPLAINT, Case, fold
from triage.dialogue.doubts import doubt_about, show
from triage.dialogue.ends import asked, concluded, end_of_call
from triage.dialogue.events import (
    Acknowledged,
    Answered,
    Concluded,
    Declined,
    Noted,
    NotUnderstood,
    Refused,
    Said,
    TreeChosen,
)
from triage.dialogue.guide import beyond_the_path
from triage.dialogue.judge import (
    finding_of,
    fitting,
    judge,
    minute_of,
    word,
)
from triage.dialogue.rank import rank_causes
from triage.dialogue.reply import (
    Control,
    Unclear,
    Unknown,
    Value,
    YesNo,
    read_confirmation,
    read_control,
)
from triage.dialogue.steering import parked, steered
from triage.dialogue.taking import breath, given, refuses_to_license, taken, unclear
from triage.dialogue.view import (
    END_PROMPTS,
    AskCaution,
    AskConfirmation,
    AskQuestion,
    CautionAnswered,
    Escalated,
    Finding,
    NotClear,
    NoteKept,
    NotTaken,
    Prompt,
    Recommended,
    Turn,
    Withheld,
)
from triage.dialogue.walk import Spot, walk
from triage.dialogue.words import plain_text
from triage.tree.content import Content, Ending, ReadingKind, Stage
from triage.tree.graph import NodeKind, build_graph
from triage.tree.priors import content_for

if TYPE_CHECKING:
    import networkx as nx

CLOSING_WORDS = ("done", "end", "finish", "close", "bye")
"""What ends a call that stands at an escalation."""


class Engine:
    """A content, ready to guide calls that begin in one of its trees; it holds no call's state.

    `view` is the content as that tree's complaint sees it (`content_for`).
    """

    def __init__(self, content: Content, tree_id: str) -> None:
        """Raise UnknownTree if the content has no such tree."""
        self.view = content_for(content, tree_id)
        self.content = content
        self.tree = content.trees[tree_id]
        self._by_tree = {tree_id: self}
        self._last: tuple[Case, Prompt] | None = None

    @cached_property
    def graph(self) -> nx.DiGraph[str]:
        """The decision graph; networkx takes 130 ms to import, so it waits until it is walked."""
        return build_graph(self.content, self.tree.id)

    def of(self, case: Case) -> Engine:
        """Return the engine of the tree a call is in by now; raise UnknownTree if it is gone."""
        tree_id = case.tree or self.tree.id
        if tree_id not in self._by_tree:
            other = Engine(self.content, tree_id)
            other._by_tree = self._by_tree
            self._by_tree[tree_id] = other
        return self._by_tree[tree_id]

    # What to ask now.

    def prompt(self, case: Case) -> Prompt:
        """Return the one thing the call waits for now, or how it ended."""
        here = self.of(case)
        if here is not self:
            return here.prompt(case)
        # A surface asks several times a turn; a case never changes, so the last one is remembered.
        last = self._last
        if last is None or last[0] is not case:
            last = self._last = (case, self._prompt(case))
        return last[1]

    def _prompt(self, case: Case) -> Prompt:
        case = fitting(self.content, case)
        opening = self.tree.questions.get(self.tree.start)
        if opening is not None and not case.answers and not case.offered:
            reading = self.content.readings[opening.reading]
            if not reading.cautions:  # nothing to walk yet: no need to wait for the graph
                minute = minute_of(opening, reading)
                return AskQuestion(opening.id, opening.stage, opening, reading, minute)
        spot = walk(self.graph, self.content, case)
        stage = self._stage(spot.node)
        if case.offered:
            finding = judge(self.content, case, case.offered[0])
            return AskConfirmation(spot.node, stage, finding, case.doubt, len(case.offered))
        reopened = self._reopened(case)
        if reopened is not None:
            return reopened
        attributes = self.graph.nodes[spot.node]
        found, reached = self._all_findings(case, spot), self._reached(spot)
        beyond = beyond_the_path(self.graph, self.view, self.tree, case, spot.node, reached, found)
        if isinstance(beyond, Ending):
            return end_of_call(self.view, self.tree, beyond, case, found, reached)
        if beyond is not None and beyond.reading != attributes["reading"]:
            return asked(self.content, case, beyond, self._suspects(found, reached))
        if attributes["kind"] is NodeKind.CAUTION:
            caution = self.content.cautions[attributes["subject"]]
            return AskCaution(spot.node, stage, caution, "")
        question = self.tree.questions[spot.node]
        reading = self.content.readings[question.reading]
        return AskQuestion(spot.node, stage, question, reading, minute_of(question, reading))

    def _suspects(self, found: Mapping[str, Finding], reached: Stage) -> tuple[str, ...]:
        """Return the two likeliest causes that may be named by now."""
        is_proven = reached in (Stage.HARVEST, Stage.CONFIRM)
        ranked = rank_causes(self.view, found.values(), is_freeze_proven=is_proven)
        return tuple(item.cause for item in ranked[:2])

    def _reopened(self, case: Case) -> Prompt | None:
        """Return the question about what was taken back last: it is asked again, never dropped.

        Licensed work is not asked for while nobody knows whether the caller may do it.
        """
        by_reading = {
            question.reading: question for question in reversed(list(self.tree.questions.values()))
        }
        for reading_id in reversed(case.reopened):
            question = by_reading.get(reading_id)
            is_allowed = case.is_licensed or not self.content.readings[reading_id].is_licensed
            if question is None or not is_allowed:
                continue
            if finding_of(self.content, case, reading_id) is None:
                return asked(self.content, case, question)
        return None

    def findings(self, case: Case) -> tuple[Finding, ...]:
        """Return what is known, in the order of the path, then what was volunteered besides."""
        case = fitting(self.content, case)
        if not case.answers:
            return ()
        graph = self.of(case).graph
        return tuple(self._all_findings(case, walk(graph, self.content, case)).values())

    def path(self, case: Case) -> tuple[str, ...]:
        """Return the questions that were put to the caller, in the order asked, each once."""
        questions = self.of(case).tree.questions
        return tuple(dict.fromkeys(node for node in case.asked if node in questions))

    def _all_findings(self, case: Case, spot: Spot) -> Mapping[str, Finding]:
        found = dict(spot.findings)
        for reading_id in case.answers:
            if reading_id not in found:
                finding = finding_of(self.content, case, reading_id)
                if finding is not None:
                    found[reading_id] = finding
        return found

    def _reached(self, spot: Spot) -> Stage:
        """Return the latest stage of the path's questions."""
        order = list(Stage)
        stages = [
            self.tree.questions[node].stage for node in spot.path if node in self.tree.questions
        ]
        return max(stages, key=order.index, default=Stage.CALLER)

    def _stage(self, node: str) -> Stage:
        return self.graph.nodes[node]["stage"] or Stage.CONFIRM

    # What a typed line does.

    def turn(self, case: Case, text: str, now: datetime | None = None) -> Turn:
        """Return the events and remarks that `text`, typed at the current prompt, leads to.

        The first event is the line itself. `now` is the time of the desk with its zone; only when
        a call that is parked is due goes by it, and without it such a call has no time due.
        """
        typed = plain_text(text)
        case = fitting(self.content, case)
        turn = self.of(case)._turn(case, self.prompt(case), typed, now)
        chosen = self.tree_chosen(fold(turn.events, case))
        return Turn((Said(typed), *turn.events, *chosen), turn.remarks)

    def tree_chosen(self, case: Case) -> tuple[TreeChosen, ...]:
        """Return the event that leads the call into the tree of its complaint, if it is another.

        The id of a complaint is that of the tree which serves it.
        """
        complaint = word(case, COMPLAINT)
        if complaint is None or complaint not in self.content.trees:
            return ()
        return () if complaint == self.of(case).tree.id else (TreeChosen(complaint),)

    def _turn(self, case: Case, prompt: Prompt, typed: str, now: datetime | None) -> Turn:
        control = read_control(typed)
        is_over = isinstance(prompt, END_PROMPTS) and (
            case.concluded is not None or not isinstance(prompt, Escalated)
        )
        if control is not None and control.command == "park" and not is_over:
            return parked(prompt, typed, control.argument, now)
        if isinstance(prompt, Escalated) and case.concluded is None:
            return self._at_escalation(case, prompt, typed)
        if isinstance(prompt, END_PROMPTS):
            return unclear(prompt, typed, "This call has ended; start a new one.")
        if not typed.strip():
            return Turn((), (NotClear("Nothing was typed. Type help to see what you can say."),))
        match prompt:
            case AskConfirmation():
                return self._at_confirmation(case, prompt, typed)
            case AskCaution():
                return self._at_caution(case, prompt, typed)
            case AskQuestion():
                return self._at_question(case, prompt, typed)
        raise AssertionError(prompt)  # pragma: no cover

    def end_event(self, case: Case) -> Concluded | None:
        """Return the event that closes a call standing at its end, None before or if closed."""
        prompt = self.prompt(case)
        if case.concluded is not None:
            return None
        match prompt:
            case Recommended():
                return concluded(self.view, case, prompt, "recommended")
            case Withheld():
                return concluded(self.view, case, prompt, "withheld", prompt.reason)
            case Escalated():
                return concluded(self.view, case, prompt, "escalated", prompt.reason)
            case _:
                return None

    def _at_question(self, case: Case, prompt: AskQuestion, typed: str) -> Turn:
        reply = heard.read(self.content, case, prompt.reading, typed)
        if isinstance(reply, Control):
            return steered(self, case, prompt, typed, reply)
        if isinstance(reply, Unknown):
            answer = Answered(prompt.reading.id, typed, None, reply.reason)
            return taken(self.view, case, answer, prompt.question.if_unknown)
        parts, leftover = heard.parts_of(self.view, case, prompt, typed)
        hidden = heard.half_cleared(self.content, prompt, reply, parts, typed)
        if hidden:
            return unclear(prompt, typed, hidden)
        if isinstance(reply, Unclear) and any(map(heard.claims_license, parts)):
            # "yep, I'm the manager": a claim to be licensed is never picked out of a longer line.
            return unclear(prompt, typed, reply.message)
        if len(parts) > 1 or (parts and parts[0].reading != prompt.reading.id):
            return breath(self.view, case, prompt, parts, leftover, typed)
        if isinstance(reply, Value):
            return given(self.view, case, heard.answer_of(prompt.reading, reply, prompt.minute))
        if parts and isinstance(parts[0].value, Value):
            # "62 psi and it sounds loud": the reading counts, the rest is kept as a note.
            answer = heard.answer_of(prompt.reading, parts[0].value, prompt.minute)
            if leftover and prompt.reading.kind is ReadingKind.CHOICE:
                # "running, but weak": what was left out may turn the answer round.
                meaning = show(self.content, case, prompt.reading, answer.value)
                doubt = f'I take that as "{meaning}" and leave out "{leftover}". Is that right?'
                return Turn((heard.offered((answer,), doubt),), ())
            turn = given(self.view, case, answer)
            if not leftover:
                return turn
            return Turn((*turn.events, Noted(leftover)), (*turn.remarks, NoteKept(leftover)))
        meant = heard.meant(self.content, prompt, reply)
        if meant is not None:
            return Turn((heard.offered((replace(meant, typed=typed),), reply.message),), ())
        return unclear(prompt, typed, reply.message)

    def _at_confirmation(self, case: Case, prompt: AskConfirmation, typed: str) -> Turn:
        waiting = case.offered[0]
        reply = read_confirmation(typed)
        if isinstance(reply, YesNo):
            if not reply.is_yes:
                declined = Declined(waiting.reading, waiting.typed)
                return Turn((declined,), (NotTaken(prompt.finding.reading, waiting.typed),))
            refusal = refuses_to_license(case, waiting)
            if refusal:
                declined = Declined(waiting.reading, waiting.typed)
                unused = NotUnderstood(prompt.node, waiting.typed, refusal)
                return Turn((declined, unused), (NotClear(refusal),))
            # The altitude may have been said in the same breath, and counts by now.
            waiting = heard.with_barometer(self.content, case, waiting)
            doubt = "" if case.doubt else doubt_about(self.content, case, waiting)
            if doubt:
                return Turn((heard.offered((waiting, *case.offered[1:]), doubt),), ())
            return taken(self.view, case, waiting)
        control = read_control(typed)
        if control is not None and control.command != "unknown":
            return steered(self, case, prompt, typed, control)
        # A new value typed instead of yes or no replaces the one in doubt.
        reading = prompt.finding.reading
        again = heard.read(self.content, case, reading, typed)
        if isinstance(again, Value):
            declined = Declined(waiting.reading, waiting.typed)
            after = fold((declined,), case)
            turn = given(
                self.content, after, heard.answer_of(reading, again, minute_of(None, reading))
            )
            return Turn((declined, *turn.events), turn.remarks)
        if isinstance(again, Unknown):
            declined = Declined(waiting.reading, waiting.typed)
            after = fold((declined,), case)
            turn = taken(self.view, after, Answered(reading.id, typed, None, again.reason))
            return Turn((declined, *turn.events), turn.remarks)
        return unclear(
            prompt, typed, f"Please answer yes or no, or type the right value, for {reading.name}."
        )

    def _at_caution(self, case: Case, prompt: AskCaution, typed: str) -> Turn:
        reply = read_confirmation(typed)
        if isinstance(reply, YesNo):
            made = Acknowledged if reply.is_yes else Refused
            event = made(prompt.caution.id, typed, prompt.seal)
            return Turn((event,), (CautionAnswered(prompt.caution, reply.is_yes),))
        control = read_control(typed)
        if control is not None and control.command != "unknown":
            return steered(self, case, prompt, typed, control)
        message = "A caution is answered by itself: yes if it is understood and kept to, or no."
        return unclear(prompt, typed, message)

    def _at_escalation(self, case: Case, prompt: Escalated, typed: str) -> Turn:
        """An escalation is final only once it is closed: one unknown too many can be mended."""
        control = read_control(typed)
        if control is not None and control.command not in ("why", "how", "unknown"):
            return steered(self, case, prompt, typed, control)
        closing = self.end_event(case)
        if closing is not None and (typed.strip().lower() in CLOSING_WORDS):
            return Turn((closing,), ())
        message = "Type done to end the call, or back, or change and what, to mend an answer."
        return unclear(prompt, typed, message)
