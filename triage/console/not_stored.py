"""A record for calls that are nobody's: it is forgotten with the program."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime

from triage.dialogue.events import Event


class NotStored:
    """What a desk takes for its record; `spoken` holds when, who and what, in order."""

    def __init__(self) -> None:
        self.spoken: list[tuple[datetime, str, Event]] = []

    def append(
        self,
        session_id: str,
        events: Sequence[tuple[str, Event]],
        content_version: str,
        now: datetime,
        expected_length: int,
    ) -> None:
        """Keep `events` for the moment."""
        self.spoken.extend((now, speaker, event) for speaker, event in events)
