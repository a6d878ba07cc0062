"""The corpus of invented recorded calls: what each says, where it goes, and how it is told.

`calls/TREE/` holds the calls of a tree, each an answers file. `calls/parts/PART/` holds calls about
a part that trees share; each of these is taken in every tree that uses the part, on the way in of
`calls/ways/TREE.yaml`, the answers that lead from the complaint to the shared parts. Where a part
wants another way in, `calls/ways/TREE.PART.yaml` stands for it.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from functools import cache
from pathlib import Path

from tests.conversation import CONTENT_FOLDER
from triage.console.answers_file import ALL, AnswersFile, load_answers
from triage.console.asked import altitude_m
from triage.console.demo import TREE
from triage.console.scripted import Script
from triage.dialogue.case import COMPLAINT, Case, fold
from triage.dialogue.engine import Engine
from triage.dialogue.events import Acknowledged, Asked, Event, Started
from triage.dialogue.view import (
    END_PROMPTS,
    AskCaution,
    AskQuestion,
    Escalated,
    Prompt,
    Recommended,
    Withheld,
)
from triage.dialogue.walk import walk
from triage.tree.content import Content
from triage.tree.load import load_content

FOLDER = Path(__file__).parent
CALLS, TOLD = FOLDER / "calls", FOLDER / "told"
PARTS, WAYS = CALLS / "parts", CALLS / "ways"


@dataclass(frozen=True, slots=True)
class Call:
    """One call of the corpus: `name` is its file, with the tree it was taken in for a part's."""

    tree: str
    name: str
    story: str
    answers: AnswersFile


@dataclass(frozen=True, slots=True)
class Taken:
    """A call that was taken: its events, where it stood at the end, and the nodes it saw."""

    call: Call
    events: tuple[Event, ...]
    case: Case
    end: Prompt
    nodes: frozenset[str]

    @property
    def recommended(self) -> str:
        """The ending whose recommendation was shown, "" if none was."""
        return self.end.node if isinstance(self.end, Recommended) else ""

    @property
    def reason(self) -> str:
        """Why nothing was recommended, "" where something was."""
        return self.end.reason if isinstance(self.end, Escalated | Withheld) else ""


@cache
def content() -> Content:
    """Return the shipped content."""
    return load_content(CONTENT_FOLDER)


def own_calls() -> Iterator[Call]:
    """Yield the calls of each tree, in order of tree and name."""
    for folder in sorted(CALLS.iterdir()):
        if folder.is_dir() and folder not in (PARTS, WAYS):
            for path in sorted(folder.glob("*.yaml")):
                yield Call(folder.name, path.stem, story_of(path), load_answers(path, content()))


def shared_calls() -> Iterator[Call]:
    """Yield the calls about shared parts, each in every tree that uses its part."""
    for tree in content().trees.values():
        for part in dict.fromkeys(tree.parts.values()):
            led = way_to(tree.id, part)
            for path in sorted((PARTS / part).glob("*.yaml")):
                found = load_answers(path, content())
                # What comes behind the complaint is what the caller makes of it later.
                complaint = (tree.id, *found.answers.get(COMPLAINT, ())[1:])
                said = {**led, **found.answers, COMPLAINT: complaint}
                answers = replace(found, answers=said)
                yield Call(tree.id, f"{part}/{path.stem}", story_of(path), answers)


def way_to(tree: str, part: str) -> Mapping[str, tuple[str, ...]]:
    """Return what is said in a tree on the way from the complaint to one of its parts."""
    for path in (WAYS / f"{tree}.{part}.yaml", WAYS / f"{tree}.yaml"):
        if path.is_file():
            return load_answers(path, content()).answers
    return {}


def story_of(path: Path) -> str:
    """Return the comment a call begins with, on one line."""
    lines = path.read_text(encoding="utf-8").splitlines()
    told = []
    for line in lines:
        if not line.startswith("#"):
            break
        told.append(line.lstrip("# ").strip())
    return " ".join(told)


def take(call: Call) -> Taken:
    """Return the call as the shipped content takes it."""
    events = tuple(_spoken(call.answers))
    case = fold(events)
    engine = engine_of(case)
    spot = walk(engine.graph, content(), case)
    end = engine.prompt(case)
    assert isinstance(end, END_PROMPTS), call
    return Taken(call, events, case, end, frozenset({*spot.path, *case.asked, end.node}))


def _spoken(answers: AnswersFile) -> Iterator[Event]:
    """Yield the events of a scripted call, as a desk would record them.

    The engine is asked without a desk, and a gate that is acknowledged as a whole is passed in one
    go: there are hundreds of calls, and they are here for where they end.
    """
    engine, script = _engine(), Script(answers)
    voice, units = answers.voice or "agent", answers.units or "us"
    said: list[Event] = [
        Started(TREE, content().version, voice, units, altitude_m(script.altitude))
    ]
    case = fold(said)
    yield from said
    while not isinstance(prompt := engine.prompt(case), END_PROMPTS):
        if isinstance(prompt, AskCaution) and prompt.seal and answers.acknowledge == ALL:
            said = [Acknowledged(caution, "yes", prompt.seal) for caution in content().cautions]
        else:
            said = [Asked(prompt.node)] if isinstance(prompt, AskCaution | AskQuestion) else []
            said += engine.turn(case, script.line(prompt)).events
        case = fold(said, case)
        yield from said


def engine_of(case: Case) -> Engine:
    """Return the engine of the tree a case is in."""
    return _engine().of(case)


@cache
def _engine() -> Engine:
    return Engine(content(), TREE)


@cache
def taken() -> tuple[Taken, ...]:
    """Return every call of the corpus, taken once."""
    return tuple(map(take, (*own_calls(), *shared_calls())))
