"""What Tab offers: the answers allowed here, then the words that work at every prompt.

A caution offers no yes or no before the first letter of it is typed: it is acknowledged in words,
not by a key pressed twice.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass

from prompt_toolkit.auto_suggest import AutoSuggest, Suggestion
from prompt_toolkit.buffer import Buffer
from prompt_toolkit.completion import CompleteEvent, Completer, Completion
from prompt_toolkit.document import Document

from triage.console.telling import CONTROL_WORDS, short_answers
from triage.dialogue.view import AskCaution, AskConfirmation, AskQuestion, Prompt
from triage.dialogue.words import plain_text
from triage.tree.content import Choice, Content, ReadingKind


@dataclass(frozen=True, slots=True)
class Offer:
    """Something that can be typed here, and what it means."""

    text: str
    meaning: str


def answers_at(prompt: Prompt, content: Content) -> tuple[Offer, ...]:
    """Return the answers a prompt allows by name; none where a number is wanted."""
    match prompt:
        case AskQuestion(reading=reading) if reading.kind is ReadingKind.CHOICE:
            return tuple(map(_offer_of, short_answers(reading), reading.choices))
        case AskQuestion(reading=reading) if reading.kind is ReadingKind.MACHINE:
            return tuple(
                Offer(plain_text(machine.name), f"{machine.refrigerant}, {machine.condenser.kind}")
                for machine in content.machines.values()
            )
        case AskQuestion(reading=reading) if reading.kind is ReadingKind.REFRIGERANT:
            from triage.physics.refrigerant import REFRIGERANTS

            return tuple(
                Offer(refrigerant.id, f"safety class {refrigerant.safety_class}")
                for refrigerant in REFRIGERANTS.values()
            )
        case AskConfirmation():
            return Offer("yes", "it counts"), Offer("no", "it is dropped")
        case AskCaution():
            return (
                Offer("yes", "I acknowledge this caution"),
                Offer("no", "I refuse it"),
            )
        case _:
            return ()


def _offer_of(text: str, choice: Choice) -> Offer:
    label = plain_text(choice.label)
    return Offer(text, label if text != label else ", ".join(map(plain_text, choice.spoken[:3])))


class AnswerCompleter(Completer):
    """Completes the line as a whole, at the prompt the call stands at."""

    def __init__(self, prompt: Callable[[], Prompt], content: Content) -> None:
        self._prompt = prompt
        self._content = content

    def get_completions(
        self, document: Document, complete_event: CompleteEvent
    ) -> Iterator[Completion]:
        """Yield what fits the text before the cursor, with its meaning beside it."""
        typed = document.text_before_cursor.lstrip()
        for offer in self._offers(typed):
            yield Completion(
                offer.text,
                start_position=-len(typed),
                display=offer.text,
                display_meta=offer.meaning,
            )

    def _offers(self, typed: str) -> Iterator[Offer]:
        prompt = self._prompt()
        if not (isinstance(prompt, AskCaution) and not typed):
            yield from _fitting(typed, answers_at(prompt, self._content))
        yield from _fitting(typed, _CONTROL_OFFERS)


class AnswerSuggest(AutoSuggest):
    """Suggests the rest of a word behind the cursor, taken over with the right arrow.

    Allowed answers and control words come first, then earlier lines. Lines with digits are never
    suggested, since a reading of another call is not a hint for this one, and nothing is suggested
    where a yes or no is wanted.
    """

    def __init__(self, prompt: Callable[[], Prompt], content: Content) -> None:
        self._prompt = prompt
        self._content = content

    def get_suggestion(self, buffer: Buffer, document: Document) -> Suggestion | None:
        """Return what would follow, None if nothing fits."""
        typed = document.text
        prompt = self._prompt()
        if len(typed.strip()) < 2 or isinstance(prompt, (AskCaution, AskConfirmation)):
            return None
        offers = (*answers_at(prompt, self._content), *_CONTROL_OFFERS)
        earlier = (
            line
            for line in reversed(buffer.history.get_strings())
            if not any(character.isdigit() for character in line)
        )
        for line in (*(offer.text for offer in offers), *earlier):
            if line.casefold().startswith(typed.casefold()) and len(line) > len(typed):
                return Suggestion(line[len(typed) :])
        return None


_CONTROL_OFFERS = tuple(Offer(word, meaning) for word, meaning in CONTROL_WORDS.items())


def _fitting(typed: str, offers: Iterable[Offer]) -> Iterator[Offer]:
    """Yield the offers one of whose words begins with what was typed."""
    wanted = typed.casefold()
    for offer in offers:
        text = offer.text.casefold()
        if text.startswith(wanted) or any(word.startswith(wanted) for word in text.split()):
            yield offer
