"""The line a call is typed on, and what is shown beside it while nobody has typed yet."""

from __future__ import annotations

import threading
from collections.abc import Callable
from contextlib import suppress
from pathlib import Path

from triage.console.line import AsideLine, LineNeeds, PlainLine
from triage.console.look import Look
from triage.store.errors import StoreError


def line_for(
    needs: LineNeeds,
    look: Look,
    is_vi: bool,
    history_file: Callable[[], Path] | Path | None,
    on_first_drawn: Callable[[], None] | None,
) -> AsideLine:
    """Return the full line editor, or the bare line where nothing may be redrawn.

    on_first_drawn: called once the first prompt stands on the screen
    """
    if look.is_plain:
        return PlainLine(needs, on_first_drawn=on_first_drawn)
    # The line editor takes a tenth of a second to load; the first question is on screen by now.
    from triage.console.prompt_line import PromptLine, open_history

    return PromptLine(
        needs,
        look,
        history=open_history(history_file() if callable(history_file) else history_file),
        is_vi=is_vi,
        on_first_drawn=on_first_drawn,
    )


def in_background(*steps: Callable[[], None]) -> Callable[[], None]:
    """Return a function that does `steps`, one after the other, in a thread of its own.

    A store that cannot be had is not told from there: the first line typed meets the same error in
    the foreground, where it can be told properly.
    """

    def run() -> None:
        for step in steps:
            with suppress(StoreError):
                step()

    return lambda: threading.Thread(target=run, name="warm-up", daemon=True).start()
