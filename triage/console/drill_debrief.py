"""The debrief of a drill on the screen: figures, each step beside the best one, what showed."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass

from rich.console import Console, ConsoleOptions, RenderableType, RenderResult
from rich.table import Table
from rich.text import Text

from triage.console.cards import Item
from triage.console.drill_turns import UNKNOWN_GAS
from triage.console.look import Card, look_of, stack
from triage.console.telling import Telling, sentence
from triage.console.turns import VerdictLine
from triage.dialogue.view import Escalated, Finding, Withheld
from triage.dialogue.words import plain_text
from triage.drill.call import PracticeCall
from triage.drill.debrief import AskedStep, Debrief
from triage.drill.practice import Outcome
from triage.tree.content import HEALTHY

_TABLE_WIDTH = 64
"""Columns from which the steps are a table; below, one step under the other."""

_ALL_OR_NOTHING = frozenset({
    "harvest_coil_unpowered", "harvest_coil_open", "vacuum_break_failed", "fan_stopped", "stopped",
})  # fmt: skip
"""Causes, and ways of one, that are there or not: a share of the worst says nothing of them."""

_BADNESS = ((0.85, "severe"), (0.65, "plain"), (0.0, "mild"))
"""Severities from which a fault is called so (judged)."""


def debrief_card(looked_back: Debrief) -> Card:
    """Return everything there is to learn from a drill."""
    call = looked_back.call
    telling = Telling(call.engine.content, looked_back.case)
    style = "triage.good" if looked_back.outcome is Outcome.RIGHT else "triage.outside"
    return Card(
        f"DEBRIEF: {_outcome(looked_back)}",
        stack(
            _safety_line(looked_back),
            *_truth(looked_back, telling),
            *_figures(looked_back, telling),
            *_steps(looked_back),
            *_safety(looked_back),
            *_never_taken(looked_back),
            *_what_showed(looked_back, telling),
        ),
        style,
    )


def _outcome(looked_back: Debrief) -> str:
    match looked_back.outcome:
        case Outcome.RIGHT:
            guess = "first" if len(looked_back.proposals) == 1 else "second"
            proof = ", found without proof" if looked_back.is_without_proof else ""
            return f"right at the {guess} guess{proof}"
        case Outcome.WRONG:
            return "not found, both guesses were wrong"
        case Outcome.GIVEN_UP:
            return "given up"
        case Outcome.UNFINISHED:
            return "left unfinished"


def _safety_line(looked_back: Debrief) -> Text:
    if not looked_back.cautions_skipped:
        return Text("Safe throughout.", style="triage.good")
    count = looked_back.cautions_skipped
    slips = [step.slip for step in looked_back.steps]
    why = [
        words
        for words, is_there in (
            ("cautions not read out", any(slip.cautions for slip in slips)),
            (
                "licensed work before asking what the caller may do",
                any(slip.is_unasked for slip in slips),
            ),
            ("licensed work for a caller without license", any(slip.is_against for slip in slips)),
        )
        if is_there
    ]
    times = "Once" if count == 1 else f"{count} times"
    return Text(f"{times} somebody could have been hurt: {'; '.join(why)}.", style="triage.outside")


def _truth(looked_back: Debrief, telling: Telling) -> Iterator[RenderableType]:
    call = looked_back.call
    cause = call.engine.content.causes[call.cause]
    yield _heading("What was wrong")
    if call.cause == HEALTHY:
        yield Text("Nothing. The machine is sound.")
    else:
        yield Text(f"{plain_text(cause.name)}.{_how_bad(call)}")
        yield Text(sentence(plain_text(cause.explanation)))
    for proposal in looked_back.proposals:
        is_right = proposal == call.cause
        yield Text(f"You proposed: {telling.cause(proposal)}, {'right' if is_right else 'not it'}.")
    if looked_back.is_unproven_blame:
        yield Text(
            "You blamed the harvest before the freeze was proven sound. A weak freeze makes a weak "
            "harvest: a good part would have been replaced.",
            style="triage.outside",
        )


def _how_bad(call: PracticeCall) -> str:
    fault = call.caller.fault
    if _ALL_OR_NOTHING.intersection((fault.cause, fault.variant)):
        return ""
    word = next(word for least, word in _BADNESS if fault.severity >= least)
    return f" A {word} case: {100.0 * fault.severity:.0f} % of the worst."


def _figures(looked_back: Debrief, telling: Telling) -> Iterator[RenderableType]:
    model = looked_back.call.model
    asked = len(looked_back.steps)
    yield _heading("In figures")
    yield Item(f"readings asked: {asked}, model answer {len(model.asked)}")
    time = f"caller's time: {looked_back.minutes:g} min"
    if looked_back.is_compared:
        over = _signed(looked_back.minutes_over)
        time += f", model answer {model.minutes:g} min ({over})"
    yield Item(time)
    if looked_back.is_without_proof:
        yield Item(
            "found without proof: fewer than half as many readings taken as the model answer "
            "asked, so the time is not compared"
        )
    if asked:
        yield Item(f"asked what was best next: {looked_back.best_steps} of {asked}")
        yield Item(f"asked too early: {looked_back.too_early}")
        yield Item(f"asked without what safety wants first: {looked_back.cautions_skipped}")
    yield Item(f"hints: {looked_back.hints}")
    yield Item(f"the model answer {_model_end(looked_back, telling)}")


def _signed(minutes: float) -> str:
    if abs(minutes) < 0.05:
        return "the same"
    return f"{abs(minutes):g} min {'more' if minutes > 0.0 else 'less'}"


def _model_end(looked_back: Debrief, telling: Telling) -> str:
    end = looked_back.call.model.end
    names = "; ".join(telling.cause(cause) for cause in looked_back.call.model.causes)
    match end:
        case Escalated():
            return f"handed the call over: {sentence(plain_text(end.reason))}"
        case Withheld():
            return f"came to: {names}. Its repair was not told: {sentence(plain_text(end.reason))}"
        case _:
            return f"came to: {names}"


def _steps(looked_back: Debrief) -> Iterator[RenderableType]:
    if looked_back.steps:
        yield _heading("Step by step")
        yield StepTable(looked_back.steps)


@dataclass(frozen=True, slots=True)
class StepTable:
    """Each reading asked beside the best next one: a table where there is room, else lines."""

    steps: tuple[AskedStep, ...]

    def __rich_console__(self, console: Console, options: ConsoleOptions) -> RenderResult:
        """Yield the table or the lines."""
        rows = [
            (str(number), plain_text(step.reading.name), _best(step), ", ".join(_noted(step)))
            for number, step in enumerate(self.steps, start=1)
        ]
        if options.max_width < _TABLE_WIDTH or look_of(console).is_plain:
            for number, asked, best, noted in rows:
                yield Item(f"{asked}; best next: {best}{f'; {noted}' if noted else ''}",
                           f"{number}  ")  # fmt: skip
            return
        table = Table(box=None, padding=(0, 2, 0, 0), show_edge=False, header_style="triage.hint")
        table.add_column("", justify="right")
        for heading in ("asked", "best next was", "noted"):
            table.add_column(heading, overflow="fold")
        for number, asked, best, noted in rows:
            table.add_row(number, Text(asked), Text(best), Text(noted, style="triage.outside"))
        yield table


def _best(step: AskedStep) -> str:
    if step.is_best:
        return "this"
    return plain_text(step.best.name) if step.best else "to propose"


def _noted(step: AskedStep) -> Iterator[str]:
    if step.slip.is_too_early:
        yield "too early"
    if step.slip.is_unasked or step.slip.is_against:
        yield "license"
    if step.slip.cautions:
        yield "caution"


def _safety(looked_back: Debrief) -> Iterator[RenderableType]:
    content = looked_back.call.engine.content
    unread: dict[str, list[str]] = {}
    steps = looked_back.steps
    for number, step in enumerate(steps, start=1):
        for key in step.slip.cautions:
            unread.setdefault(key, []).append(str(number))
    lines = [
        f"{plain_text(content.cautions[key].title)}: before {_joined(numbers)}{_why(steps, key)}"
        for key, numbers in unread.items()
    ]
    yield from _listed("Cautions skipped, that should have been read out first", lines)
    unasked = [str(n) for n, step in enumerate(looked_back.steps, 1) if step.slip.is_unasked]
    against = [str(n) for n, step in enumerate(looked_back.steps, 1) if step.slip.is_against]
    lines = []
    if unasked:
        lines.append(f"what the caller may do was not asked before {_joined(unasked)}")
    if against:
        lines.append(f"asked of a caller who is not licensed: {_joined(against)}")
    yield from _listed("Licensed work", lines)


def _why(steps: tuple[AskedStep, ...], key: str) -> str:
    """Return in brackets why a caution belonged there, where nobody could see it."""
    is_by_unknown_gas = any(key in step.slip.by_unknown_gas for step in steps)
    return f" ({UNKNOWN_GAS})" if is_by_unknown_gas else ""


def _joined(numbers: list[str]) -> str:
    word = "step" if len(numbers) == 1 else "steps"
    return f"{word} {' and '.join(filter(None, (', '.join(numbers[:-1]), numbers[-1])))}"


def _never_taken(looked_back: Debrief) -> Iterator[RenderableType]:
    for heading, readings in (
        ("Never asked, and it would have shown something", looked_back.missed_odd),
        ("Never asked, and needed to prove the rest sound", looked_back.missed_proof),
    ):
        names = "; ".join(plain_text(reading.name) for reading in readings)
        yield from _listed(heading, [names] if names else [])


def _what_showed(looked_back: Debrief, telling: Telling) -> Iterator[RenderableType]:
    if not looked_back.telling:
        return
    yield _heading("What the machine shows, beside a healthy one")
    yield Text(
        "What is off, farthest first, also what could not be had in the call.", style="triage.hint"
    )
    for finding in looked_back.telling:
        yield from _shown(finding, telling)


def _shown(finding: Finding, telling: Telling) -> Iterator[RenderableType]:
    yield Item(telling.finding(finding))
    if finding.band is not None:
        yield VerdictLine(finding, telling)
        return
    normal = [
        plain_text(choice.label)
        for choice in finding.reading.choices
        if choice.id in finding.reading.normal
    ]
    yield Item(f"healthy: {' or '.join(normal)}", "  ")


def _heading(words: str) -> Text:
    return Text(f"{words}:", style="triage.heading")


def _listed(heading: str, lines: Iterable[str]) -> Iterator[RenderableType]:
    items = list(lines)
    if items:
        yield _heading(heading)
        yield from (Item(line) for line in items)
