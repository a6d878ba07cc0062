"""Questions at a terminal outside a call: help, back and stop work at each of them."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence

from rich.console import Console, RenderableType
from rich.text import Text

from triage.console.cards import Item
from triage.console.look import Margin, look_of, stack
from triage.console.turns import typed_margin
from triage.dialogue.repair import found_word
from triage.dialogue.words import agreement, control_in, plain_text, quoted
from triage.tree.content import Content

Asker = Callable[[Sequence[str]], str]
"""Takes a line from the person; what is offered can be completed with Tab."""

_NONE_OF_THEM = frozenset({"none", "none of them", "none of these", "neither", "other"})
_MOST_OFFERED = 5


class Left(Exception):
    """The person said stop: nothing is to be kept."""


class Questions:
    """Asks one person at one screen."""

    def __init__(self, console: Console, ask: Asker) -> None:
        self._console = console
        self._ask = ask

    def answer(
        self, question: RenderableType | str, help_words: str, offers: Sequence[str] = ()
    ) -> str | None:
        """Ask until something else than help comes; return it, or None for back.

        Raises Left for stop; Ctrl-C and the end of input are passed on.
        """
        body = Text(plain_text(question)) if isinstance(question, str) else question
        self.show("ask", body)
        while True:
            said = plain_text(self._ask(offers))
            control = control_in(said)
            match control[0] if control else "":
                case "help":
                    self.show("help", Text(help_words))
                case "back":
                    return None
                case "stop":
                    raise Left
                case _ if said and not said.strip("? "):
                    self.show("help", Text(help_words))
                case _:
                    return said

    def yes_or_no(self, question: str, help_words: str) -> bool | None:
        """Return what was answered, None for back."""
        while True:
            said = self.answer(question, help_words, ("yes", "no"))
            is_yes = None if said is None else agreement(said)
            if said is None or is_yes is not None:
                return is_yes
            self.sorry("Please answer yes or no.")

    def yes_no_or_else(self, question: str, help_words: str) -> bool | str | None:
        """Return yes, no or whatever else was typed; None for back."""
        said = self.answer(question, help_words, ("yes", "no"))
        is_yes = None if said is None else agreement(said)
        return said if is_yes is None else is_yes

    def which_fault(self, said: str, near: Sequence[str], content: Content) -> str | None:
        """Return which of `near`, ids of faults, was meant by `said`; None if none of them."""
        names = [plain_text(found_word(one, content)) for one in near[:_MOST_OFFERED]]
        if len(names) == 1:
            is_it = self.yes_or_no(f"Did you mean {quoted(names[0])}?", "yes or no.")
            return near[0] if is_it else None
        listed = stack(
            Text(f"Which one is {quoted(said)}? A number, or none."),
            *(Item(name, f"{number} ") for number, name in enumerate(names, start=1)),
        )
        while True:
            chosen = self.answer(listed, "A number of the list; none if it is none of them.", ())
            if chosen is None or chosen.casefold() in _NONE_OF_THEM or agreement(chosen) is False:
                return None
            if chosen.isdecimal() and 1 <= int(chosen) <= len(names):
                return near[int(chosen) - 1]
            self.sorry("Please give a number of the list, or none.")

    def sorry(self, words: str) -> None:
        """Show that something could not be used."""
        self._console.print(Margin("sorry", Text(plain_text(words)), "triage.outside"))

    def show(self, word: str, body: RenderableType) -> None:
        """Show something beside a word at the margin."""
        self._console.print(Margin(word, body))

    def print(self, body: RenderableType) -> None:
        """Show something by itself."""
        self._console.print(body)


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
