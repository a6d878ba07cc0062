"""Asking for what a repair found, one thing at a time; nothing is kept before it was confirmed."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence

from rich.console import Console, RenderableType
from rich.text import Text

from triage.console.cards import Item
from triage.console.look import Margin, look_of, stack
from triage.console.repair_card import reading_lines, repair_card
from triage.console.telling import Telling, sentence
from triage.console.turns import typed_margin
from triage.dialogue.case import Case, fold
from triage.dialogue.conclude import expected_after_repair
from triage.dialogue.events import FOUND_NO_FAULT, FOUND_OTHER, Answered, RepairReported
from triage.dialogue.judge import fitting
from triage.dialogue.repair import (
    CONDITIONS,
    as_recorded,
    flaw_of,
    found_in,
    found_word,
    judged_after_repair,
    part_named,
    parts_in,
    parts_together,
    read_after_repair,
)
from triage.dialogue.words import agreement, plain_text, unknown_reason
from triage.dialogue.words import fold as folded
from triage.tree.content import Content, Stage

Asker = Callable[[Sequence[str]], str]
"""Takes a line from the person; what is offered can be completed with Tab."""

_SUSPECTS_SHOWN = 5
_LONGEST_NAME = 80
_NONE = frozenset({"none", "no", "no parts", "nothing"})
_REST = frozenset({"done", "rest", "skip rest", "that is all", "thats all", "no more"})


class RepairTalk:
    """One conversation about a repair; `hold` returns the report, None if it was not confirmed."""

    def __init__(
        self, content: Content, case: Case, console: Console, ask: Asker, reported_by: str = ""
    ) -> None:
        self._content = content
        self._case = fitting(content, case)
        self._telling = Telling(content, case)
        self._console = console
        self._ask = ask
        self._by = plain_text(reported_by, _LONGEST_NAME)
        self._found: tuple[str, ...] = ()
        self._parts: tuple[str, ...] = ()
        self._good_cycles: bool | None = None
        self._answers: dict[str, Answered] = {}
        self._note = ""

    def hold(self) -> RepairReported | None:
        """Ask for everything, show it back, and return it if that is confirmed.

        Ctrl-C and the end of input are passed on; nothing is kept then.
        """
        self._show("repair", Text(
            "What did the repair find? One thing at a time: help says what can be typed, unknown "
            "passes over, back goes one step back, Ctrl-C leaves and keeps nothing."
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
            self._console.print(repair_card(report, self._telling))
            is_kept = self._yes_or_no(
                "Is that so? yes keeps it, no drops it all.", "back mends the last answer."
            )
            if is_kept is not None:
                return report if is_kept else None
            at = len(steps) - 1

    def _report(self) -> RepairReported:
        judged = judged_after_repair(self._content, self._case, list(self._answers.values()))
        return RepairReported(
            self._found,
            self._parts,
            self._good_cycles,
            as_recorded(item.finding for item in judged),
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
            said = self._answer_of(
                listed,
                "Any cause on file can be named, not only those listed; or no fault found, or "
                "another fault (then say which in the note).",
                names,
            )
            if said is None:
                return False
            if unknown_reason(said) and not found_in(said, self._content).id:
                self._sorry("Without what was found there is nothing to report yet.")
                continue
            found, problem = self._found_in(said, options)
            if not problem and found:
                flaw = flaw_of(found, "to be asked for")
                problem = sentence(flaw.value) if flaw else ""
            if problem or not found:
                self._sorry(problem or "Type a number or a cause.")
                continue
            self._found = found
            return True

    def _suspects(self) -> list[str]:
        concluded = self._case.concluded
        ids = list(concluded.causes) if concluded else []
        ids += [str(item.get("cause")) for item in (concluded.ranked if concluded else ())]
        known = [one for one in dict.fromkeys(ids) if one in self._content.causes]
        return [*known[:_SUSPECTS_SHOWN], FOUND_NO_FAULT, FOUND_OTHER]

    def _found_in(self, said: str, options: Sequence[str]) -> tuple[tuple[str, ...], str]:
        whole = found_in(said, self._content)
        if whole.id:
            return (whole.id,), ""
        found: list[str] = []
        for piece in parts_in(said):
            if piece.isdigit():
                if not 1 <= int(piece) <= len(options):
                    return (), f"There is no number {piece} here."
                found.append(options[int(piece) - 1])
                continue
            meant = found_in(piece, self._content)
            if meant.id is None:
                near = [found_word(one, self._content) for one in meant.near]
                hint = f' Did you mean "{near[0]}"?' if near else " Type help to see more."
                return (), f'No cause is called "{piece}".{hint}'
            found.append(meant.id)
        return tuple(dict.fromkeys(found)), ""

    def _ask_parts(self) -> bool:
        together = parts_together(self._content, self._found)
        head = "Which parts were replaced? Names with commas between; none if none."
        listed = [Item(part, f"{number} ") for number, part in enumerate(together, start=1)]
        if together:
            head = "Which parts were replaced? Numbers or names with commas between; all; or none."
        said = self._answer_of(
            stack(Text(head), *listed), "Parts not listed are kept in your words.", together
        )
        if said is None:
            return False
        if unknown_reason(said) or folded(said) in _NONE or not said:
            self._parts = ()
        elif folded(said) in {"all", "all of them"} and together:
            self._parts = together
        else:
            self._parts = tuple(dict.fromkeys(_part(one, together) for one in parts_in(said)))
        return True

    def _ask_cycles(self) -> bool:
        while True:
            said = self._answer_of(
                "Did two good cycles follow, freeze and harvest? yes, no or unknown.",
                "Yes only if both were watched to the end and the whole slab dropped each time.",
                ("yes", "no", "unknown"),
            )
            if said is None:
                return False
            is_yes = agreement(said)
            if is_yes is None and not unknown_reason(said):
                self._sorry("Please answer yes, no or unknown.")
                continue
            self._good_cycles = is_yes
            return True

    def _ask_readings(self) -> bool:
        self._answers = {}
        wanted = self._wanted()
        if wanted:
            self._show(
                "repair",
                Text("Readings after the repair, each as in a call; done leaves the rest out."),
            )
        at = 0
        while at < len(wanted):
            said = self._ask_reading(wanted[at])
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

    def _ask_reading(self, reading_id: str) -> str | None:
        """Take one reading; return None to go back, "done" to leave the rest out."""
        reading = self._content.readings[reading_id]
        hint = self._telling.hint(reading, reading.default_minute, _stage_of(reading_id))[0]
        question = stack(
            Text(sentence(plain_text(reading.name))[:-1] + self._to_see(reading_id)),
            Text(hint, style="triage.hint"),
        )
        while True:
            said = self._answer_of(question, "unknown, or Enter, passes over; done ends them.", ())
            if said is None:
                return None
            if folded(said) in _REST:
                return "done"
            if not said or unknown_reason(said):
                return ""
            answer = read_after_repair(self._content, self._case, reading_id, said)
            if isinstance(answer, str):
                self._sorry(answer)
                continue
            known = [*self._answers.values(), answer]
            judged = judged_after_repair(self._content, self._case, known)[-1]
            if judged.doubt and not self._yes_or_no(judged.doubt, "yes keeps it, no asks again."):
                continue
            self._answers[reading_id] = answer
            (recorded,) = as_recorded([judged.finding])
            self._show("heard", stack(*reading_lines(recorded, self._telling, "")))
            return ""

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

    def _yes_or_no(self, question: str, help_words: str) -> bool | None:
        """Return what was answered, None for back."""
        while True:
            said = self._answer_of(question, help_words, ("yes", "no"))
            is_yes = None if said is None else agreement(said)
            if said is None or is_yes is not None:
                return is_yes
            self._sorry("Please answer yes or no.")

    def _ask_note(self) -> bool:
        is_wanted = FOUND_OTHER in self._found
        head = "Which fault was it?" if is_wanted else "Anything else? Enter if not."
        while True:
            said = self._answer_of(head, "A note in your own words, kept with the report.", ())
            if said is None:
                return False
            note = "" if folded(said) in _NONE else said
            flaw = flaw_of(self._found, note)
            if flaw is not None:
                self._sorry(sentence(flaw.value))
                continue
            self._note = note
            return True

    # Asking and showing.

    def _answer_of(
        self, question: RenderableType | str, help_words: str, offers: Sequence[str]
    ) -> str | None:
        """Ask until something else than help comes; return it, or None for back."""
        body = Text(plain_text(question)) if isinstance(question, str) else question
        self._show("ask", body)
        while True:
            said = plain_text(self._ask(offers))
            if folded(said) == "help":
                self._show("help", Text(help_words))
                continue
            return None if folded(said) in {"back", "go back"} else said

    def _sorry(self, words: str) -> None:
        self._console.print(Margin("sorry", Text(plain_text(words)), "triage.outside"))

    def _show(self, word: str, body: RenderableType) -> None:
        self._console.print(Margin(word, body))


def _part(text: str, together: Sequence[str]) -> str:
    if text.isdigit() and 1 <= int(text) <= len(together):
        return together[int(text) - 1]
    return part_named(text, together) or text


def _stage_of(reading_id: str) -> Stage:
    return Stage.HARVEST if reading_id.startswith("harvest") else Stage.FREEZE


def line_asker(console: Console) -> Asker:
    """Return what reads a line at this terminal: an editor with Tab, or a bare line if plain."""
    look = look_of(console)
    margin = typed_margin("you", is_plain=look.is_plain)
    if look.is_plain:
        return lambda offers: input(margin)
    from prompt_toolkit.completion import CompleteEvent, Completer, Completion
    from prompt_toolkit.document import Document
    from prompt_toolkit.shortcuts import PromptSession

    from triage.console.look import prompt_color_depth

    class _Offers(Completer):
        """Completes the last part of a list, divided by commas."""

        def __init__(self) -> None:
            self.offers: Sequence[str] = ()

        def get_completions(
            self, document: Document, complete_event: CompleteEvent
        ) -> Iterator[Completion]:
            typed = document.text_before_cursor.rpartition(",")[2].lstrip()
            for offer in (*self.offers, "unknown", "back", "help"):
                if offer.casefold().startswith(typed.casefold()):
                    yield Completion(offer, start_position=-len(typed))

    completer = _Offers()
    session: PromptSession[str] = PromptSession(
        message=margin, completer=completer, complete_while_typing=False,
        color_depth=prompt_color_depth(look),
    )  # fmt: skip

    def ask(offers: Sequence[str]) -> str:
        completer.offers = [plain_text(offer) for offer in offers]
        return " ".join(session.prompt().splitlines())

    return ask
