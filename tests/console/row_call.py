"""A call at a row of prompts on a real terminal, for the tests that need one.

Run as `python -m tests.console.row_call`; what was said comes back in the file named by the first
argument once the call is left, with how it was left on its first line.
"""

from __future__ import annotations

import os
import sys
from datetime import UTC, datetime
from pathlib import Path

from tests.console import sample
from tests.console.desks import RowDesk
from triage.console.chat import chat
from triage.console.look import ChatConsole, ColorChoice, choose_look


def main() -> None:
    report = Path(sys.argv[1])
    warmed = report.with_suffix(".warm")
    desk = RowDesk(
        sample.ASK_QUALIFICATION, sample.ASK_PATTERN, sample.ASK_SUCTION, sample.RECOMMENDED
    )
    desk.started_at = datetime.now(UTC)
    look = choose_look(ColorChoice.AUTO, sys.stdout, os.environ, is_plain="--plain" in sys.argv[2:])
    end = chat(
        desk,
        ChatConsole(look, sys.stdout),
        lambda: datetime.now(UTC),
        history_file=report.with_suffix(".history"),
        after_first_question=lambda: warmed.write_text("warm", encoding="utf-8"),
    )
    report.write_text("\n".join([end.value, *desk.said]), encoding="utf-8")


if __name__ == "__main__":
    main()
