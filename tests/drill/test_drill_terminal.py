"""A drill on a real pseudo-terminal."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from tests.console.test_terminal import Desk

Trainee = Callable[..., Desk]


@pytest.fixture
def trainee(tmp_path: Path) -> Iterator[Trainee]:
    """Return a function that opens a drill about a weak compressor on a terminal."""
    desks: list[Desk] = []

    def start(*options: str, **more: str) -> Desk:
        desk = Desk(
            tmp_path / "report", "drill", "--seed", "1", "--level", "easy", "--machine",
            "gletsch_r500", "--cause", "compressor_weak", *options, program=("triage",), **more,
        )  # fmt: skip
        desks.append(desk)
        return desk

    yield start
    for desk in desks:
        desk.child.close(force=True)


def type_line(desk: Desk, text: str) -> None:
    desk.child.send(f"{text}\r")


def test_a_drill_is_held_at_a_terminal_to_its_debrief(trainee: Trainee) -> None:
    desk = trainee()
    desk.see("you >")
    type_line(desk, "fan")
    desk.see("Condenser fan in the freeze")
    desk.see("1 asked")
    type_line(desk, "propose compressor_weak")
    desk.see("The same call again")


def test_a_list_is_offered_at_tab(trainee: Trainee) -> None:
    desk = trainee()
    desk.see("you >")
    desk.child.send("ice p\t")
    desk.see("ice pattern over the plate")


def test_ctrl_d_and_two_ctrl_c_leave_without_the_answer(trainee: Trainee) -> None:
    desk = trainee()
    desk.see("you >")
    desk.child.sendeof()
    desk.see("It is kept as unfinished")
    assert "DEBRIEF" not in "\n".join(desk.screen.display)
    desk = trainee()
    desk.see("you >")
    desk.child.sendintr()
    desk.see("Line given up")
    desk.child.sendintr()
    desk.see("It is kept as unfinished")
    assert "DEBRIEF" not in "\n".join(desk.screen.display)


def test_a_terminal_without_cursor_codes_gets_plain_lines(trainee: Trainee) -> None:
    desk = trainee("--plain")
    desk.see("you:")
    type_line(desk, "fan")
    desk.see("caller: ")
    desk.see("Condenser fan in the freeze")
