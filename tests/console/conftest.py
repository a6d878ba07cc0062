"""Rendering to text, and snapshots of it.

Rewrite every snapshot with `REWRITE_SNAPSHOTS=1 python -m pytest tests/console`, then read the
difference as a reviewer would.
"""

from __future__ import annotations

import os
from collections.abc import Callable
from io import StringIO
from pathlib import Path

import pytest
from rich.console import RenderableType

from triage.console.look import ChatConsole, Look

SNAPSHOTS = Path(__file__).parent / "snapshots"
PLAIN_TEXT = Look()

Shown = Callable[..., str]
Snapshot = Callable[[str, str], None]


@pytest.fixture
def shown() -> Shown:
    """Return a function that renders things to text on a console of a given width and look."""

    def render(*things: RenderableType, width: int = 80, look: Look = PLAIN_TEXT) -> str:
        stream = StringIO()
        console = ChatConsole(look, stream, width)
        for thing in things:
            console.print(thing)
        return stream.getvalue()

    return render


@pytest.fixture
def snapshot() -> Snapshot:
    """Return a function that compares text with a stored file of that name."""

    def compare(name: str, text: str) -> None:
        path = SNAPSHOTS / f"{name}.txt"
        if os.environ.get("REWRITE_SNAPSHOTS"):
            path.parent.mkdir(exist_ok=True)
            path.write_text(text, encoding="utf-8")
        assert text == path.read_text(encoding="utf-8")

    return compare
