"""`triage drill --results`: how each trainee does."""

from __future__ import annotations

import argparse
from collections.abc import Iterator

from rich.console import RenderableType

from triage.console.aside import write_aside
from triage.console.asked import UsageError
from triage.console.cards import Item
from triage.console.look import Card, stack
from triage.console.screen import screen_of
from triage.dialogue.words import plain_text, quoted
from triage.drill.results import default_results_path, read_results
from triage.drill.standing import Standing, Tally, is_of, standings
from triage.exits import DONE
from triage.tree.cache import checked_content
from triage.tree.content import Content
from triage.tree.errors import nearest
from triage.tree.where import content_folder

_NAME_WIDTH = 18


def print_results(options: argparse.Namespace) -> int:
    """Print the results, of one trainee if one is named; return the exit code."""
    results, damaged = read_results(default_results_path())
    for line in damaged:
        write_aside(f"{line.place}: left out, {line.problem}; delete the line to be rid of this")
    if options.trainee:
        names = sorted({result.trainee for result in results})
        results = [result for result in results if is_of(result, options.trainee)]
        if not results:
            raise UsageError(
                f"no drill of {quoted(options.trainee)} is kept"
                f"{nearest(plain_text(options.trainee), names)}"
            )
    console = screen_of(options)
    if not results:
        console.print("No drill is kept yet; triage drill begins one.")
        return DONE
    content = checked_content(content_folder(options.trees))
    for standing in standings(results):
        console.print(standing_card(standing, content))
    return DONE


def standing_card(standing: Standing, content: Content) -> RenderableType:
    """Return one trainee's results in figures."""
    name = plain_text(standing.trainee) or "(no name)"
    return Card(f"{name}: {_drills(standing.drills)}", stack(*_lines(standing, content)))


def _lines(standing: Standing, content: Content) -> Iterator[RenderableType]:
    tally = standing.tally
    left = f", {standing.unfinished} left unfinished" if standing.unfinished else ""
    yield _line(
        "right", f"{tally.right} of {tally.finished} finished, {standing.right_first} of them at "
        f"the first guess{left}",
    )  # fmt: skip
    yield _line("right and safe", f"{tally.right_and_safe} of {tally.finished}")
    if standing.without_proof:
        yield _line("without proof", f"{standing.without_proof} of the right ones")
    if tally.minutes_over is not None:
        yield _line("caller's time", f"{_over(tally)} on average, where found with proof")
    yield _line("asked too early", f"{standing.too_early:.1f} a drill")
    yield _line("safety skipped", f"{standing.cautions_skipped:.1f} a drill")
    yield _line("hints", f"{standing.hints:.1f} a drill")
    levels = [f"{level} {_right(each)}" for level, each in standing.by_level.items()]
    if levels:
        yield _line("by level", ", ".join(map(plain_text, levels)))
    if standing.trend is not None:
        first, last = standing.trend
        yield _line("first half", _half(first))
        yield _line("last half", _half(last))
    for number, missed in enumerate(standing.most_missed):
        cause = content.causes.get(missed.cause)
        name = plain_text(cause.name if cause else missed.cause)
        yield _line("" if number else "most missed", f"{name}, {missed.missed} of {missed.of}")


def _line(word: str, words: str) -> Item:
    return Item(words, f"{word:<{_NAME_WIDTH}}")


def _right(tally: Tally) -> str:
    return f"{tally.right} of {tally.finished}"


def _half(tally: Tally) -> str:
    words = f"{_right(tally)} right, {tally.right_and_safe} of them safe"
    return words if tally.minutes_over is None else f"{words}, {_over(tally)}"


def _over(tally: Tally) -> str:
    minutes = round(tally.minutes_over or 0.0)
    if minutes == 0:
        return "as long as the model answer"
    return f"{abs(minutes)} min {'over' if minutes > 0 else 'under'} the model answer"


def _drills(count: int) -> str:
    return "1 drill" if count == 1 else f"{count} drills"
