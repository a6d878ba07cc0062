"""A call of the corpus told on a page a trade person reads, the same for the same call."""

from __future__ import annotations

import textwrap
from collections.abc import Iterator

from tests.corpus.calls import Taken, content, engine_of
from triage.console.telling import Telling, verdict_word
from triage.dialogue.events import Acknowledged, Answered, Asked, Declined, Refused, TreeChosen
from triage.dialogue.judge import finding_of
from triage.dialogue.view import Escalated, Recommended, Verdict, Withheld

WIDTH = 92


def page(taken: Taken) -> str:
    """Return story, readings with their verdicts, cautions and end of a call."""
    return "\n".join([*_head(taken), "", *_talk(taken), "", *_end(taken)]) + "\n"


def line(taken: Taken) -> str:
    """Return in one line where a call ends."""
    names = " and ".join(_causes(taken))
    if taken.recommended:
        return f"{taken.call.name}: RECOMMENDED at {taken.end.node}: {names}"
    kind = "WITHHELD" if isinstance(taken.end, Withheld) else "HANDED OVER"
    return f"{taken.call.name}: {kind} at {taken.end.node}: {taken.reason}"


def _head(taken: Taken) -> Iterator[str]:
    yield taken.call.name
    yield from textwrap.wrap(taken.call.story, WIDTH)


def _talk(taken: Taken) -> Iterator[str]:
    engine = engine_of(taken.case)
    telling = Telling(engine.content, taken.case)
    asked = ""
    for event in taken.events:
        match event:
            case Asked(node):
                asked = node
            case TreeChosen(tree):
                yield f"  goes on with: {engine.content.trees[tree].title}"
            case Answered():
                yield from _answered(telling, event, asked)
            case Declined(reading, typed):
                yield f'  not taken: "{typed}" for {engine.content.readings[reading].name}'
            case Acknowledged(caution, seal="") | Refused(caution, seal=""):
                word = "yes" if isinstance(event, Acknowledged) else "no"
                yield f"  caution: {engine.content.cautions[caution].title}: {word}"


def _answered(telling: Telling, event: Answered, asked: str) -> Iterator[str]:
    finding = finding_of(telling.content, telling.case, event.reading)
    if finding is None or telling.case.answers.get(event.reading) != event:
        yield f'  {event.reading}: "{event.typed}" (taken back)'
        return
    if finding.verdict is Verdict.UNKNOWN:
        said = f"unknown: {finding.reason}" if finding.reason else "unknown"
    else:
        said = telling.value(finding.reading, finding.value)
        if finding.verdict is not Verdict.NOTED:
            said += f", {verdict_word(finding)}"
    where = "" if asked.endswith(event.reading) or not asked else f"  [asked: {asked}]"
    text = f'{finding.reading.name}: "{event.typed}" = {said}{where}'
    yield from textwrap.wrap(text, WIDTH, initial_indent="  ", subsequent_indent="      ")


def _causes(taken: Taken) -> list[str]:
    causes = content().causes
    return [causes[key].name for key in taken.end.conclusion.causes]  # type: ignore[union-attr]


def _end(taken: Taken) -> Iterator[str]:
    end = taken.end
    agreement = end.conclusion.agreement.value  # type: ignore[union-attr]
    likely = end.conclusion.ranked[:3]  # type: ignore[union-attr]
    names = "; ".join(f"{content().causes[one.cause].name} {one.probability:.0%}" for one in likely)
    match end:
        case Recommended():
            yield f"RECOMMENDED at {end.node}: {' and '.join(_causes(taken))}"
            yield from _told("because", end.conclusion.ending.because)
            repair = end.recommendation
            yield from _told("replace together", "; ".join(repair.replace_together) or "nothing")
            yield from _told("who", " ".join(repair.who))
            cautions = "; ".join(caution.title for caution in end.cautions)
            yield from _told("after these cautions", cautions)
        case Withheld():
            yield f"WITHHELD at {end.node}: {' and '.join(_causes(taken))}"
            yield from _told("because", end.reason)
        case Escalated():
            yield f"HANDED OVER at {end.node}"
            yield from _told("because", end.reason)
            yield from _told("leave it", " ".join(end.machine_state))
            yield from _told("call", end.call_whom)
    yield from _told("all readings together", f"{names} ({agreement})")


def _told(word: str, text: str) -> Iterator[str]:
    yield from textwrap.wrap(
        f"{word}: {text}", WIDTH, initial_indent="  ", subsequent_indent="      "
    )
