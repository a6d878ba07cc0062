"""The demo calls played through a content, and what each passed."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from pathlib import Path

from triage.console.answers_file import NONE, AnswersError, AnswersFile, load_answers
from triage.console.demo import TREE, demo_calls, demo_folder, run_call
from triage.dialogue.case import COMPLAINT, QUALIFICATION, fold
from triage.dialogue.events import Event
from triage.review.progress import Progress
from triage.review.replay_many import each_item
from triage.review.tree_coverage import Coverage, Passed
from triage.tree.content import Content


@dataclass(frozen=True, slots=True)
class DemoCall:
    """A demo call by its file."""

    path: Path
    answers: AnswersFile

    @property
    def name(self) -> str:
        """What the call is known by."""
        return self.path.stem


class DemoCoverage:
    """Plays demo calls through one content and tells what they passed."""

    def __init__(self, content: Content) -> None:
        self._content = content
        self._coverage = Coverage(content)

    def __call__(self, call: DemoCall) -> Passed:
        """Return what a demo call passed."""
        return self._coverage(_events(self._content, call))


def readable_demo_calls(content: Content) -> Iterator[tuple[str, DemoCall | AnswersError]]:
    """Yield the name of each demo call, and the call or why this content cannot read it.

    There is none for a content without the tree they begin in.
    """
    if TREE not in content.trees:
        return
    for path in demo_calls(demo_folder()):
        try:
            yield path.stem, DemoCall(path, load_answers(path, content))
        except AnswersError as error:
            yield path.stem, error


def passed_by(
    content: Content, calls: list[DemoCall], progress: Progress
) -> Iterator[tuple[DemoCall, Passed]]:
    """Yield each demo call and what it passed.

    Nearly all of the time goes into the bands of the machines, each at an air and water of its own.
    """
    yield from zip(calls, each_item(DemoCoverage, content, calls, progress), strict=True)


def tree_of(content: Content, call: DemoCall) -> str:
    """Return the tree that the complaint of a demo call leads to.

    Found in a hundredth of the time of the call: where no machine is known, no band is.
    """
    answers = {
        reading: texts
        for reading, texts in call.answers.answers.items()
        if reading in (QUALIFICATION, COMPLAINT)
    }
    begun = replace(call, answers=replace(call.answers, answers=answers, acknowledge=NONE))
    return fold(_events(content, begun)).tree


def _events(content: Content, call: DemoCall) -> list[Event]:
    _, spoken = run_call(content, call.answers, call.name)
    return [event for _, _, event in spoken]
