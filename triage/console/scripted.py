"""The same call without a terminal: an answers file does the talking."""

from __future__ import annotations

from triage.console.answers_file import AnswersFile
from triage.console.desk import Desk
from triage.dialogue.judge import ALTITUDE
from triage.dialogue.view import (
    AskCaution,
    AskConfirmation,
    AskQuestion,
    NotClear,
    NotTaken,
    Prompt,
)

NOT_IN_FILE = "unknown not in the answers file"
NOT_CONFIRMED = "unknown it was queried and the answers file has no other value"
NOT_UNDERSTOOD = "unknown what the answers file says was not understood"

_MOST_TURNS = 1000
"""A call is a few dozen turns; more means that content and script chase each other (judged)."""


class Script:
    """Says the next line of an answers file at every prompt."""

    def __init__(self, answers: AnswersFile) -> None:
        self._answers = answers
        self._left = {reading: list(texts) for reading, texts in answers.answers.items()}
        self._queried: set[str] = set()

    @property
    def altitude(self) -> str | None:
        """Height of the site as written; it is never asked for, so it is taken from the start."""
        left = self._left.get(ALTITUDE)
        return left.pop(0) if left else None

    @property
    def unused(self) -> tuple[str, ...]:
        """Readings in the file that the call never asked for."""
        return tuple(
            reading
            for reading, texts in self._left.items()
            if len(texts) == len(self._answers.answers[reading])
        )

    def line(self, prompt: Prompt) -> str:
        """Return what is typed at `prompt`."""
        match prompt:
            case AskQuestion():
                return self._answer(prompt.reading.id)
            case AskConfirmation():
                return self._confirmation(prompt)
            case AskCaution():
                return self._caution(prompt)
        raise ValueError("the call has ended; there is nothing to say")

    def _answer(self, reading: str) -> str:
        left = self._left.get(reading)
        if left:
            return left.pop(0)
        if reading in self._queried:
            return NOT_CONFIRMED
        return NOT_UNDERSTOOD if reading in self._left else NOT_IN_FILE

    def _confirmation(self, prompt: AskConfirmation) -> str:
        if not prompt.doubt:
            return "yes"
        reading = prompt.finding.reading.id
        left = self._left.get(reading)
        if left and left[0].strip().lower() in ("yes", "no"):
            return left.pop(0)
        self._queried.add(reading)
        return "no"

    def _caution(self, prompt: AskCaution) -> str:
        if prompt.caution.id in self._answers.refuse:
            return "no"
        if prompt.seal:
            return "yes" if self._answers.acknowledges(prompt.caution.id) else "no"
        # Before the gate the file speaks of measurements already made; it may still refuse.
        return "yes"


def run_script(
    desk: Desk, script: Script, notes: tuple[str, ...] = ()
) -> tuple[tuple[str, str], ...]:
    """Say the whole script at `desk`, until the call ends or a text of it stops the call.

    Return the texts that did not count as they stand, each with the reading it was meant for: not
    understood, or asked about and not confirmed.
    """
    for note in notes:
        desk.say(f"note {note}")
    lost: list[tuple[str, str]] = []
    for _ in range(_MOST_TURNS):
        if desk.is_over:
            return tuple(lost)
        prompt = desk.prompt
        line = script.line(prompt)
        remarks = desk.say(line)
        if any(isinstance(remark, NotClear) for remark in remarks):
            reading = prompt.reading.id if isinstance(prompt, AskQuestion) else ""
            lost.append((reading, line))
        lost.extend(
            (remark.reading.id, remark.typed) for remark in remarks if isinstance(remark, NotTaken)
        )
    raise RuntimeError(f"the script did not end within {_MOST_TURNS} turns")
