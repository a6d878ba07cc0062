"""The words every drawing uses, so that one can be read beside another."""

from __future__ import annotations

from collections.abc import Collection, Iterator, Sequence

from triage.tree.content import Reading
from triage.tree.drawing.sketch import Box, Caution, Finish, Kind, Sketch, Way

TAKEN = "TAKEN"
CAUTION = "CAUTION FIRST"
GATE = "SAFETY GATE"

ANY_ANSWER = "any answer"
ANYTHING_ELSE = "anything else"
OTHERWISE = "otherwise"

_LEAST_FOR_ELSE = 3
"""Outcomes from which the largest group is told as the rest of them (judged)."""


def one_line(text: str) -> str:
    r"""Return `text` on one line, without characters that do not print.

    >>> one_line("a\n  b\x1b[31m")
    'a b [31m'
    """
    return " ".join("".join(char if char.isprintable() else " " for char in text).split())


def spelled(name: str) -> str:
    """Return an id as words.

    >>> spelled("freeze.low_side_verdict")
    'low side verdict'
    """
    return one_line(name.rpartition(".")[2].replace("_", " "))


def outcome_words(reading: Reading, outcomes: Collection[str]) -> tuple[str, ...]:
    """Return the words for outcomes of a reading that lead the same way, in the reading's order.

    Verdicts are told as on the screen; a choice by its label. All outcomes together are any answer;
    a group of most of them is anything else.
    """
    known = reading.outcomes
    if set(known) <= set(outcomes):
        return (ANY_ANSWER,)
    if len(outcomes) >= _LEAST_FOR_ELSE and 2 * len(outcomes) > len(known):
        return (ANYTHING_ELSE,)
    labels = {choice.id: one_line(choice.label) for choice in reading.choices}
    # Where one label would run into the words around it, all of its question are set apart alike.
    if any("," in label or " or " in label for label in labels.values()):
        labels = {choice: f'"{label}"' for choice, label in labels.items()}
    return tuple(labels.get(each, each) for each in known if each in outcomes)


def licensed_words(box: Box) -> str:
    """Return for whom a box is if it is not for everybody, to follow what it is."""
    return " (licensed callers only)" if box.is_licensed else ""


def named(box: Box) -> str:
    """Return a box in words and by its id, which is all there is of a fork."""
    return f"{box.title or 'fork'} [{box.id}]"


def elsewhere_words(box: Box) -> str:
    """Return what stands for a box outside of what is drawn."""
    return f"{Kind.ELSEWHERE}, stage {box.stage.value}: {named(box)}"


def entrance_words(sources: Collection[Box]) -> str:
    """Return where a call comes from into what is drawn."""
    return f"comes from {'; '.join(map(named, sources))}"


def part_words(space: str, sketch: Sketch) -> str:
    """Return which part stands in a namespace."""
    part = sketch.parts.get(space, "")
    return f"part {space} ({part})" if part not in ("", space) else f"part {space}"


def caution_words(cautions: Collection[Caution]) -> str:
    """Return the cautions in front of a question on one line, with what a call did about each."""
    return f"{CAUTION}: {_by_mark(cautions)}"


def gate_words(finishes: Sequence[Finish], *, is_taken: bool = True) -> str:
    """Return the gate behind finishes in one line: how many cautions, or what a call said to them.

    is_taken: whether a call came this way. Empty where no gate stands behind any of them.
    """
    met = next((finish for finish in finishes if finish.is_gate_met), None)
    if met is not None and is_taken:
        return f"{GATE}: {_by_mark(met.gate)}"
    gated = [finish for finish in finishes if finish.gate]
    if not gated:
        return ""
    least, most = min(len(each.gate) for each in gated), max(len(each.gate) for each in gated)
    cautions = f"{most} caution{'' if most == 1 else 's'}, then the repair"
    if all(finish.kind is Kind.HANDED_OVER for finish in gated):
        return f"If all readings settle it, {GATE}: up to {cautions}"
    return f"{GATE}: {cautions}" if least == most else f"{GATE}: {least} to {cautions}"


def settle_words(finish: Finish) -> str:
    """Return what all readings together may still settle on at a finish; empty where nothing."""
    listed = "; ".join(finish.may_settle)
    return f"All readings together may still settle on: {listed}." if listed else ""


def mark_words(drawn: Box | Finish) -> str:
    """Return what a call did at a box or a finish; empty where it did nothing."""
    if not drawn.is_taken:
        return drawn.mark
    return f"{TAKEN}: {drawn.mark}" if drawn.mark else TAKEN


def when_lines(way: Way) -> tuple[str, ...]:
    """Return when a way is taken, an alternative a line."""
    first, *others = way.words
    lead = f"{TAKEN}: " if way.is_taken else ""
    return (f"{lead}{first}", *(f"or {words}" for words in others))


def legend(sketch: Sketch) -> Iterator[tuple[str, str]]:
    """Yield each word a drawing of this sketch uses, and what it means."""
    kinds = {box.kind for box in sketch.boxes} | {end.kind for end in sketch.finishes.values()}
    yield (
        Kind.QUESTION.value,
        "Asked of the caller. Below, within and above compare a reading with a healthy machine. "
        f"Where no words stand at the only way on, {ANY_ANSWER} takes it.",
    )
    if Kind.FORK in kinds:
        yield Kind.FORK.value, "Asks nothing. The first rule that holds, by its number, wins."
    if any(box.cautions for box in sketch.boxes):
        yield CAUTION, "Read out and acknowledged before the question it stands at."
    if Kind.CONCLUDED in kinds:
        yield Kind.CONCLUDED.value, "A cause is found. Its repair waits behind the safety gate."
    if Kind.HANDED_OVER in kinds:
        yield Kind.HANDED_OVER.value, "The questions leave it open. Somebody else goes on with it."
    if Kind.ELSEWHERE in kinds:
        yield Kind.ELSEWHERE.value, "Goes on outside of what is drawn."
    if sketch.call:
        yield TAKEN, "What the call went through; lines are thick there."
    if sketch.gate:
        listed = "; ".join(f"{title} ({count})" for title, count in sketch.gate)
        yield (
            GATE,
            "No repair is told before each caution that it brings is acknowledged by "
            "itself; a refrigerant that burns brings one more. At how many of the endings drawn: "
            f"{listed}.",
        )


def _by_mark(cautions: Collection[Caution]) -> str:
    """Return the titles of cautions, each group followed by what a call did about it."""
    titles: dict[str, list[str]] = {}
    for caution in cautions:
        titles.setdefault(caution.mark, []).append(caution.title)
    return ". ".join(
        "; ".join(held) + (f" [{mark}]" if mark else "") for mark, held in titles.items()
    )
