"""Practice calls for tests: drawn once, and talked to line by line."""

from __future__ import annotations

from collections.abc import Sequence
from functools import cache
from io import StringIO

from rich.console import RenderableType

from tests.conversation import shipped_engine
from triage.console.drill_turns import shown
from triage.console.look import ChatConsole, Look
from triage.drill.call import Level, PracticeCall, draw_call
from triage.drill.practice import Practice, begin, fold_steps
from triage.drill.rehearsal import respond
from triage.drill.remarks import Remark


@cache
def call_with(
    cause: str | None,
    level: Level = Level.EASY,
    seed: int = 1,
    machine: str | None = "gletsch_r500",
) -> PracticeCall:
    """Return a call about a cause (None: one drawn by its seed) on a machine on file."""
    engine = shipped_engine()
    known = None if machine is None else engine.content.machines[machine]
    return draw_call(engine, level, seed, machine=known, cause=cause)


@cache
def unlicensed_call() -> PracticeCall:
    """Return a hard call whose caller may not measure."""
    for seed in range(1, 40):
        call = call_with("water_flow_poor", Level.HARD, seed)
        if not call.is_licensed:
            return call
    raise AssertionError("no seed gives a caller without license")


@cache
def call_not_on_file() -> PracticeCall:
    """Return a hard call about a machine that is not on file."""
    for seed in range(1, 40):
        call = call_with("water_flow_poor", Level.HARD, seed)
        if not call.place.is_on_file:
            return call
    raise AssertionError("no seed gives a machine that is not on file")


def say(
    call: PracticeCall, *lines: str, after: Practice | None = None
) -> tuple[Practice, tuple[Remark, ...]]:
    """Return the drill after `lines` and the remarks on the last of them."""
    practice, remarks = after or begin(call), ()
    for line in lines:
        response = respond(call, practice, line)
        practice, remarks = fold_steps(call, response.steps, practice), response.remarks
    return practice, remarks


def with_cautions(call: PracticeCall, readings: Sequence[str]) -> Practice:
    """Return the drill after readings were asked for in this order, each after its cautions."""
    practice = begin(call)
    for reading in readings:
        practice, _ = say(call, f"caution {reading}", reading, after=practice)
    return practice


def text_of(*parts: RenderableType, width: int = 80, look: Look | None = None) -> str:
    """Return what is shown as text."""
    stream = StringIO()
    console = ChatConsole(look or Look(), stream, width)
    for part in parts:
        console.print(part)
    return stream.getvalue()


def shown_after(call: PracticeCall, *lines: str, after: Practice | None = None) -> str:
    """Return what the screen shows in answer to the last of `lines`."""
    practice, remarks = say(call, *lines, after=after)
    return text_of(*(part for remark in remarks for part in shown(remark, call, practice)))
