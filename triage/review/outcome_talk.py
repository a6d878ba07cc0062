"""Asking for what a repair found, one thing at a time; nothing is kept before it was confirmed."""

from __future__ import annotations

from collections.abc import Sequence

from rich.text import Text

from triage.console.cards import Item
from triage.console.look import stack
from triage.console.repair_card import reading_lines, repair_card
from triage.console.telling import Telling, sentence
from triage.dialogue.after_repair import (
    CONDITIONS,
    as_recorded,
    breath_after_repair,
    judged_after_repair,
    read_after_repair,
)
from triage.dialogue.case import Case, fold
from triage.dialogue.conclude import expected_after_repair
from triage.dialogue.events import FOUND_NO_FAULT, FOUND_OTHER, Answered, RepairReported
from triage.dialogue.found import found_in
from triage.dialogue.judge import fitting
from triage.dialogue.names import Found
from triage.dialogue.repair import (
    flaw_of,
    found_word,
    no_parts_words,
    part_named,
    parts_in,
    parts_together,
)
from triage.dialogue.words import agreement, plain_text, quoted, unknown_reason
from triage.dialogue.words import fold as folded
from triage.review.questions import Questions
from triage.tree.content import Content, Reading, Stage

_SUSPECTS_SHOWN = 5
_LONGEST_NAME = 80
_NONE = frozenset({"none", "no", "no parts", "nothing"})
_ALL = frozenset({"all", "all of them"})
_REST = frozenset({"done", "rest", "skip rest", "that is all", "thats all", "no more"})


class RepairTalk:
    """One conversation about a repair; `hold` returns the report once it was confirmed."""

    def __init__(
        self, content: Content, case: Case, questions: Questions, reported_by: str = ""
    ) -> None:
        self._content = content
        self._case = fitting(content, case)
        self._telling = Telling(content, case)
        self._questions = questions
        self._by = plain_text(reported_by, _LONGEST_NAME)
        self._found: tuple[str, ...] = ()
        self._parts: tuple[str, ...] = ()
        self._good_cycles: bool | None = None
        self._answers: dict[str, Answered] = {}
        self._note = ""

    def hold(self) -> RepairReported:
        """Ask for everything, show it back, and return it once that is confirmed.

        Raises Left for stop; Ctrl-C and the end of input are passed on. Nothing is kept then.
        """
        self._questions.show("repair", Text(
            "What did the repair find? One thing at a time: help says what can be typed, unknown "
            "passes over, back goes one step back, stop leaves and keeps nothing."
        ))  # fmt: skip
        steps = (
            self._ask_found, self._ask_parts, self._ask_cycles, self._ask_readings, self._ask_note,
        )  # fmt: skip
        at = 0
        while True:
            if at < len(steps):
                at = at + 1 if steps[at]() else max(0, at - 1)
                continue
            report = self._report()
            self._questions.print(repair_card(report, self._telling))
            if self._questions.yes_or_no(
                "Is that so? yes keeps it, no goes back to the last question.",
                "back goes back too, as often as you like; stop leaves and keeps nothing.",
            ):
                return report
            at = len(steps) - 1

    def _report(self) -> RepairReported:
        judged = judged_after_repair(self._content, self._case, list(self._answers.values()))
        return RepairReported(
            self._found,
            self._parts,
            self._good_cycles,
            as_recorded(judged),
            self._note,
            self._by,
        )

    # The steps; each returns False to go one back.

    def _ask_found(self) -> bool:
        options = self._suspects()
        names = [found_word(one, self._content) for one in options]
        listed = stack(
            Text("What was found? A number, or the cause in your words; several with commas."),
            *(Item(name, f"{number} ") for number, name in enumerate(names, start=1)),
        )
        while True:
            said = self._questions.answer(
                listed,
                "Any cause on file can be named, not only those listed; or no fault found, or "
                "another fault (then say which in the note).",
                names,
            )
            if said is None:
                return False
            if unknown_reason(said) and not self._near(said).id:
                self._questions.sorry("Without what was found there is nothing to report yet.")
                continue
            found, problem = self._found_in(said, options)
            if not problem and found:
                flaw = flaw_of(found, "to be asked for")
                problem = sentence(flaw.value) if flaw else ""
            if problem or not found:
                self._questions.sorry(problem or "Type a number or a cause.")
                continue
            self._found = found
            return True

    def _suspects(self) -> list[str]:
        concluded = self._case.concluded
        ids = list(concluded.causes) if concluded else []
        ids += [str(item.get("cause")) for item in (concluded.ranked if concluded else ())]
        known = [one for one in dict.fromkeys(ids) if one in self._content.causes]
        return [*known[:_SUSPECTS_SHOWN], FOUND_NO_FAULT, FOUND_OTHER]

    def _near(self, said: str) -> Found:
        return found_in(said, self._content, self._suspects())

    def _found_in(self, said: str, options: Sequence[str]) -> tuple[tuple[str, ...], str]:
        whole = self._near(said)
        if whole.id:
            return (whole.id,), ""
        found: list[str] = []
        for piece in parts_in(said):
            if piece.isdigit():
                if not 1 <= int(piece) <= len(options):
                    return (), f"There is no number {piece} here."
                found.append(options[int(piece) - 1])
                continue
            meant = self._near(piece)
            known = meant.id
            if known is None and meant.near:
                known = self._questions.which_fault(piece, meant.near, self._content)
            if known is None:
                return (), f'No cause is called "{piece}". Type help to see more.'
            found.append(known)
        return tuple(dict.fromkeys(found)), ""

    def _ask_parts(self) -> bool:
        together = parts_together(self._content, self._found)
        head = "Which parts were replaced? Names with commas between; none if none."
        listed = [Item(part, f"{number} ") for number, part in enumerate(together, start=1)]
        if together:
            head = "Which parts were replaced? Numbers or names with commas between; all; or none."
        while True:
            said = self._questions.answer(
                stack(Text(head), *listed), "Parts not listed are kept in your words.", together
            )
            if said is None:
                return False
            is_all = folded(said) in _ALL
            if not is_all or together:
                break
            self._questions.sorry(sentence(no_parts_words(self._content, self._found)))
        if unknown_reason(said) or folded(said) in _NONE or not said:
            self._parts = ()
        elif is_all:
            self._parts = together
        else:
            self._parts = tuple(dict.fromkeys(_part(one, together) for one in parts_in(said)))
        return True

    def _ask_cycles(self) -> bool:
        while True:
            said = self._questions.answer(
                "Did two good cycles follow, freeze and harvest? yes, no or unknown.",
                "Yes only if both were watched to the end and the whole slab dropped each time.",
                ("yes", "no", "unknown"),
            )
            if said is None:
                return False
            is_yes = agreement(said)
            if is_yes is None and not unknown_reason(said):
                self._questions.sorry("Please answer yes, no or unknown.")
                continue
            self._good_cycles = is_yes
            return True

    def _ask_readings(self) -> bool:
        self._answers = {}
        wanted = self._wanted()
        if wanted:
            self._questions.show(
                "repair",
                Text("Readings after the repair, each as in a call; done leaves the rest out."),
            )
        at = 0
        while at < len(wanted):
            if wanted[at] in self._answers:  # said along with another
                at += 1
                continue
            said = self._ask_reading(wanted[at], wanted)
            if said is None:
                if at == 0:
                    return False
                at -= 1
                self._answers.pop(wanted[at], None)
                continue
            if said == "done":
                break
            at += 1
        return True

    def _wanted(self) -> list[str]:
        expected = [item.reading.id for item in expected_after_repair(self._content, self._case)]
        if not expected:
            return []
        return [*(one for one in CONDITIONS if one in self._case.answers), *expected]

    def _ask_reading(self, reading_id: str, wanted: Sequence[str]) -> str | None:
        """Take one reading; return None to go back, "done" to leave the rest out."""
        reading = self._content.readings[reading_id]
        hint = self._telling.hint(reading, reading.default_minute, _stage_of(reading_id))[0]
        question = stack(
            Text(sentence(plain_text(reading.name))[:-1] + self._to_see(reading_id)),
            Text(hint, style="triage.hint"),
        )
        while True:
            said = self._questions.answer(
                question, "unknown, or Enter, passes over; done ends them.", ()
            )
            if said is None:
                return None
            if folded(said) in _REST:
                return "done"
            if not said or unknown_reason(said):
                return ""
            for answer in self._heard(reading, wanted, said):
                self._take(answer)
            if reading_id in self._answers:
                return ""

    def _heard(self, reading: Reading, wanted: Sequence[str], said: str) -> tuple[Answered, ...]:
        """Return the readings of a line; what is more than the one asked for only after a yes."""
        asked = (reading.id, *(one for one in wanted if one != reading.id))
        while True:
            answer = read_after_repair(self._content, self._case, reading.id, said)
            if isinstance(answer, Answered):
                return (answer,)
            answers, leftover = breath_after_repair(
                self._content, self._case, asked, _stage_of(reading.id).value, said
            )
            if not answers:
                self._questions.sorry(answer)
                return ()
            if len(answers) == 1 and answers[0].reading == reading.id and not leftover:
                return answers
            heard = [
                self._telling.named_value_then(item.finding)
                for item in judged_after_repair(self._content, self._case, answers)
            ]
            rest = f" Nothing was made of {quoted(leftover)}." if leftover else ""
            meant = self._questions.yes_no_or_else(
                f"Heard: {'; '.join(heard)}.{rest} Is that so?", "yes, no, or say it anew."
            )
            if not isinstance(meant, str):
                return answers if meant else ()
            said = meant

    def _take(self, answer: Answered) -> None:
        """Keep a reading once it is not odd or was confirmed."""
        others = [item for key, item in self._answers.items() if key != answer.reading]
        settled = settled_reading(self._content, self._case, answer, others, self._questions)
        if settled is None:
            return
        self._answers[answer.reading] = settled
        judged = judged_after_repair(self._content, self._case, [*others, settled])
        (recorded,) = as_recorded(judged[-1:])
        self._questions.show("heard", stack(*reading_lines(recorded, self._telling, "")))

    def _to_see(self, reading_id: str) -> str:
        """Return the band to see, or what was said of a condition in the call."""
        if reading_id in CONDITIONS:
            answer = self._case.answers[reading_id]
            reading = self._content.readings[reading_id]
            said = self._telling.value(reading, answer.value)
            return f" now? Enter keeps that of the call, {said}."
        after = fold(self._answers.values(), self._case)
        for item in expected_after_repair(self._content, after):
            if item.reading.id == reading_id:
                minute_s = item.band.basis.minute_s
                at = "" if minute_s is None else f" at minute {minute_s / 60.0:g}"
                return f"{at}? To see: {self._telling.band(item.band, item.reading)}."
        return "?"

    def _ask_note(self) -> bool:
        is_wanted = FOUND_OTHER in self._found
        head = "Which fault was it?" if is_wanted else "Anything else? Enter if not."
        while True:
            said = self._questions.answer(
                head, "A note in your own words, kept with the report.", ()
            )
            if said is None:
                return False
            note = "" if folded(said) in _NONE else said
            flaw = flaw_of(self._found, note)
            if flaw is not None:
                self._questions.sorry(sentence(flaw.value))
                continue
            self._note = note
            return True


def _part(text: str, together: Sequence[str]) -> str:
    if text.isdigit() and 1 <= int(text) <= len(together):
        return together[int(text) - 1]
    return part_named(text, together) or text


def _stage_of(reading_id: str) -> Stage:
    return Stage.HARVEST if reading_id.startswith("harvest") else Stage.FREEZE


def settled_reading(
    content: Content,
    case: Case,
    answer: Answered,
    others: Sequence[Answered],
    questions: Questions,
) -> Answered | None:
    """Return `answer`, or the value given instead, once none is odd or the odd one was confirmed.

    None for no and back: it is to be asked again.
    """
    while True:
        doubt = judged_after_repair(content, case, [*others, answer])[-1].doubt
        if not doubt:
            return answer
        said = questions.yes_no_or_else(
            f"{doubt} Type yes, no, or what it reads.", "yes keeps it, no asks again."
        )
        if said is None or said is False:
            return None
        if said is True:
            return answer
        anew = read_after_repair(content, case, answer.reading, said)
        if isinstance(anew, str):
            questions.sorry(anew)
        else:
            answer = anew
