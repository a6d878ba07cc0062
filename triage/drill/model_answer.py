"""How the program itself takes a call: the yardstick a trainee's call is laid beside."""

from __future__ import annotations

from dataclasses import dataclass

from triage.dialogue.case import Case, fold
from triage.dialogue.engine import Engine
from triage.dialogue.view import (
    END_PROMPTS,
    AskConfirmation,
    AskQuestion,
    Escalated,
    Recommended,
    Withheld,
)
from triage.drill.simulated_caller import SimulatedCaller

_MOST_TURNS = 400
"""A call is a few dozen turns; more means that the engine goes round in a circle (judged)."""


@dataclass(frozen=True, slots=True)
class ModelAnswer:
    """A call taken by the engine to its end, every caution acknowledged.

    `asked` are the readings in the order asked, `confirmed` those whose words raised a doubt and
    were confirmed, `minutes` is the caller's time they took.
    """

    asked: tuple[str, ...]
    confirmed: frozenset[str]
    minutes: float
    end: Recommended | Withheld | Escalated

    @property
    def causes(self) -> tuple[str, ...]:
        """The causes concluded, none where the call was handed over."""
        return () if isinstance(self.end, Escalated) else self.end.conclusion.causes

    @property
    def ranked(self) -> tuple[str, ...]:
        """All causes, the likeliest by the readings first."""
        return tuple(item.cause for item in self.end.conclusion.ranked)


def model_answer(engine: Engine, caller: SimulatedCaller, case: Case) -> ModelAnswer:
    """Return how the engine takes the call of `caller` from `case` on."""
    asked: list[str] = []
    confirmed: set[str] = set()
    for _ in range(_MOST_TURNS):
        prompt = engine.prompt(case)
        if isinstance(prompt, END_PROMPTS):
            minutes = sum(engine.content.readings[key].minutes for key in asked)
            return ModelAnswer(tuple(asked), frozenset(confirmed), minutes, prompt)
        line = "yes"
        if isinstance(prompt, AskQuestion):
            asked.append(prompt.reading.id)
            line = caller.answer(prompt.reading.id)
        elif isinstance(prompt, AskConfirmation) and prompt.doubt:
            confirmed.add(prompt.finding.reading.id)
        case = fold(engine.turn(case, line).events, case)
    raise RuntimeError(f"the model answer did not end within {_MOST_TURNS} turns")
