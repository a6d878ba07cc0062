"""Ctrl-C held back where two things must not part."""

from __future__ import annotations

import signal
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from types import FrameType


@contextmanager
def interrupts_held() -> Iterator[None]:
    """Hold Ctrl-C back while a line is stored and folded, so that the two never part.

    One pressed meanwhile is let go afterwards: its line has been taken by then.
    """
    if threading.current_thread() is not threading.main_thread():
        yield
        return

    def let_pass(number: int, frame: FrameType | None) -> None:
        """Ignore the signal."""

    earlier = signal.signal(signal.SIGINT, let_pass)
    try:
        yield
    finally:
        signal.signal(signal.SIGINT, earlier)
