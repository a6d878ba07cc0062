"""How the record is reached, told at the prompt and at the end of a call."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Protocol

from rich.text import Text

from triage.console.look import Margin
from triage.dialogue.words import counted, plain_text


class RecordWatch(Protocol):
    """What the chat shows of how the record is reached."""

    @property
    def waiting(self) -> int:
        """How many lines of this call wait on this computer for the record."""

    @property
    def has_moved(self) -> bool:
        """Whether another desk has gone on with this call, so that what waits has no place."""

    @property
    def is_back(self) -> bool:
        """Whether what waited has been written, and `news` has not told it yet."""

    def news(self) -> list[str]:
        """Return what there is to tell since the last time, in sentences."""

    def settle(self) -> None:
        """Try once more to write what waits, for a moment."""


def in_short(record: RecordWatch | None) -> str:
    """Return how the record is reached in a few words for the toolbar; "" where it simply is."""
    if record is None:
        return ""
    if record.has_moved:
        return "another desk has this call now"
    if record.waiting:
        return f"record out of reach: {counted(record.waiting, 'line')} waiting here"
    return "the record is back" if record.is_back else ""


def news(record: RecordWatch | None) -> Iterator[Margin]:
    """Yield what there is to tell since the last time."""
    for sentence in record.news() if record else ():
        yield Margin("record", Text(plain_text(sentence)), "triage.outside")


def at_the_end(record: RecordWatch | None) -> Iterator[Margin]:
    """Try once more to write what waits, and yield what came of it."""
    if record is None:
        return
    record.settle()
    yield from news(record)
    if record.waiting:
        words = (
            f"The record is still out of reach: {counted(record.waiting, 'line')} of this call "
            "waiting on this computer. The next triage command on this record writes them; nothing "
            "needs to be typed again."
        )
        yield Margin("record", Text(words), "triage.outside")
