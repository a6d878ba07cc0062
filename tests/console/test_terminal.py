"""The conversation on a real pseudo-terminal, where pipes tell nothing."""

from __future__ import annotations

import os
import signal
import stat
import sys
import time
from collections.abc import Callable, Iterator, Sequence
from pathlib import Path

import pexpect
import pyte
import pytest

WAIT_S = 20.0
PROJECT = Path(__file__).parents[2]


_UNDER_A_SHELL = 'set -m; "$@"; test $? -gt 128 && echo SUSPENDED && fg'
"""Job control as at a person's shell: without one a process cannot be suspended."""


class Desk:
    """The child at its terminal, and the screen a person would see."""

    def __init__(
        self,
        report: Path,
        *options: str,
        program: Sequence[str] = ("tests.console.row_call",),
        width: int = 80,
        height: int = 24,
        **environ: str,
    ) -> None:
        self.report = report
        if program == ("tests.console.row_call",):
            options = (str(report), *options)
        self.screen = pyte.Screen(width, height)
        self._stream = pyte.ByteStream(self.screen)
        self.sent = bytearray()
        ours = {
            **{
                f"XDG_{kind}_HOME": str(report.parent / kind.lower())
                for kind in ("STATE", "CACHE", "DATA", "CONFIG")
            },
            "TERM": "xterm-256color",
            "PYTHONPATH": os.pathsep.join([str(PROJECT), os.environ.get("PYTHONPATH", "")]),
        }
        kept = {
            name: value
            for name, value in os.environ.items()
            if name not in ("NO_COLOR", "FORCE_COLOR", "COLUMNS", "LINES")
        }
        self.child = pexpect.spawn(
            "sh",
            ["-c", _UNDER_A_SHELL, "sh", sys.executable, "-m", *program, *options],
            cwd=str(PROJECT),
            env={**kept, **ours, **environ},
            dimensions=(height, width),
            timeout=WAIT_S,
        )
        # The line editor asks where the cursor is, and a terminal answers.
        self.screen.write_process_input = self.child.send  # type: ignore[method-assign]

    def see(self, words: str) -> None:
        """Wait until the words are on the screen."""
        self.wait(lambda: any(words in line for line in self.screen.display), words)

    def wait(self, condition: Callable[[], bool], what: str = "") -> None:
        deadline = time.monotonic() + WAIT_S
        while not condition():
            assert time.monotonic() < deadline, f"never saw {what!r} in\n{self.text}"
            self.take()

    def take(self) -> None:
        """Take what the child has written."""
        try:
            data = self.child.read_nonblocking(65536, timeout=0.05)
        except pexpect.TIMEOUT:
            return
        except pexpect.EOF:
            time.sleep(0.02)
            return
        self.sent += data
        self._stream.feed(data)

    def resize(self, width: int) -> None:
        self.screen.resize(24, width)
        self.child.setwinsize(24, width)

    @property
    def text(self) -> str:
        return "\n".join(line.rstrip() for line in self.screen.display).rstrip()

    @property
    def line(self) -> str:
        """The last line being typed on."""
        lines = [line for line in self.screen.display if line.startswith("caller >")]
        return lines[-1].rstrip() if lines else ""

    def said(self) -> list[str]:
        """Wait for the child to leave; return how it left and what was said."""
        self.wait(lambda: self.report.exists() and not self.child.isalive(), "the end")
        return self.report.read_text(encoding="utf-8").splitlines()


@pytest.fixture
def start(tmp_path: Path) -> Iterator[Callable[..., Desk]]:
    desks: list[Desk] = []

    def spawn(*options: str, **details: object) -> Desk:
        desks.append(Desk(tmp_path / "report.txt", *options, **details))  # type: ignore[arg-type]
        return desks[-1]

    yield spawn
    for desk in desks:
        desk.child.close(force=True)


def test_call_from_first_question_to_recommendation(start: Callable[..., Desk]) -> None:
    desk = start()
    desk.see("Are you licensed for this?")
    desk.see("k7 | caller | 0:0")
    desk.child.send("yes\r")
    desk.see("What does the ice look like?")
    desk.see("k7 | freeze")
    desk.child.send("even\r")
    desk.see("low-side gauge")
    desk.child.send("24\r")
    assert desk.said() == ["concluded", "yes", "even", "24"]
    assert "Session k7 is on record." in desk.text
    history = desk.report.with_suffix(".history")
    assert stat.S_IMODE(history.stat().st_mode) == 0o600


def test_warming_up_begins_once_the_first_prompt_is_drawn(start: Callable[..., Desk]) -> None:
    desk = start()
    desk.see("caller >")
    desk.wait(desk.report.with_suffix(".warm").exists, "the warm-up")


def test_elapsed_time_moves_on_by_itself(start: Callable[..., Desk]) -> None:
    desk = start()
    desk.see("| 0:01 |")
    desk.see("| 0:02 |")


def test_ctrl_c_gives_up_the_line_and_a_second_leaves_with_the_call_kept(
    start: Callable[..., Desk],
) -> None:
    desk = start()
    desk.see("caller >")
    desk.child.send("sixty-two")
    desk.see("caller > sixty-two")
    desk.child.send("\x03")
    desk.see("Line given up.")
    desk.wait(lambda: desk.line == "caller >", "a fresh line")
    desk.child.send("\x03")
    assert desk.said() == ["interrupted"]
    assert "Session k7 is kept; to go on later:\n       │ triage resume k7" in desk.text


def test_ctrl_d_leaves_on_an_empty_line_only(start: Callable[..., Desk]) -> None:
    desk = start()
    desk.see("caller >")
    desk.child.send("ye")
    desk.see("caller > ye")
    desk.child.send("\x04s")
    desk.see("caller > yes")
    desk.child.send("\r")
    desk.see("What does the ice look like?")
    desk.wait(lambda: desk.line == "caller >", "a fresh line")
    desk.child.send("\x04")
    assert desk.said() == ["stopped", "yes"]


def test_resized_terminal_keeps_the_line_and_the_toolbar(start: Callable[..., Desk]) -> None:
    desk = start()
    desk.see("caller >")
    desk.child.send("ye")
    desk.see("caller > ye")
    desk.resize(46)
    desk.child.send("s")
    desk.wait(lambda: desk.line == "caller > yes", "the line")
    desk.see("k7 | caller")
    desk.child.send("\r")
    desk.see("What does the ice look like?")


def test_suspended_call_goes_on_where_it_was(start: Callable[..., Desk]) -> None:
    desk = start()
    desk.see("caller >")
    desk.child.send("ye")
    desk.see("caller > ye")
    desk.child.send("\x1a")
    desk.see("SUSPENDED")
    desk.child.send("s\r")
    desk.see("What does the ice look like?")
    desk.wait(lambda: desk.line == "caller >", "a fresh line")
    desk.child.send("\x04")
    assert desk.said() == ["stopped", "yes"]


def test_no_color_sends_no_color_codes(start: Callable[..., Desk]) -> None:
    colored, bare = start(), None
    colored.see("caller >")
    assert b"\x1b[0;1;36m" in colored.sent or b";36" in colored.sent
    bare = start(NO_COLOR="1")
    bare.see("caller >")
    bare.see("F1 help")
    codes = {b"36", b"31", b"32", b"33", b"35"}
    assert not any(
        b"\x1b[" + code + b"m" in bare.sent or b";" + code in bare.sent for code in codes
    )


def test_plain_mode_draws_no_toolbar_and_moves_no_cursor(start: Callable[..., Desk]) -> None:
    desk = start("--plain", TERM="dumb")
    desk.see("caller:")
    desk.child.send("yes\r")
    desk.see("What does the ice look like?")
    assert b"\x1b[" not in desk.sent.replace(b"\x1b[?2004h", b"").replace(b"\x1b[?2004l", b"")
    assert "F1 help" not in desk.text
    desk.child.send("\x04")
    assert desk.said() == ["stopped", "yes"]


def test_killed_call_goes_on_at_the_same_question(
    start: Callable[..., Desk], tmp_path: Path
) -> None:
    store = ("--store", str(tmp_path / "calls.db"))
    desk = start(*store, program=("triage", "call", "--voice", "technician"))
    desk.see("Are you certified")
    session_id = next(
        line.split()[1] for line in desk.screen.display if line.startswith("Session ")
    )
    desk.see("   you >")
    desk.child.send("yes both\r")
    desk.see("do wrong?")
    children = Path(f"/proc/{desk.child.pid}/task/{desk.child.pid}/children")
    if not children.exists():
        pytest.skip("the program's process is found through /proc")
    os.kill(int(children.read_text(encoding="ascii").split()[0]), signal.SIGKILL)
    again = start(*store, program=("triage", "resume", session_id), height=40)
    again.see("Take it over? yes or no")
    again.child.send("yes\r")
    again.see("do wrong?")
    assert f"Session {session_id} resumed" in again.text
    assert "neither stopped nor parked it" in " ".join(again.text.split())
    assert "Nothing of the freeze or the harvest has been judged yet." in again.text
    again.see("| caller |")
