"""The turns of a drill on the screen: the caller's words, what was heard, cautions, hints."""

from __future__ import annotations

from collections.abc import Iterator

from rich.console import RenderableType
from rich.text import Text

from triage.console.cards import FindingsTable, Item
from triage.console.drill_words import COMMAND_WORDS, commands
from triage.console.look import Card, Margin, stack
from triage.console.telling import Telling, sentence
from triage.console.turns import EchoTurn, shown_remark
from triage.dialogue.heard import readings_heard
from triage.dialogue.view import Echo, Explained, Finding, NotClear
from triage.dialogue.words import plain_text
from triage.drill.call import PracticeCall
from triage.drill.coach import Hint, Slip, stage_of
from triage.drill.practice import Kind, Practice
from triage.drill.remarks import (
    BandShown,
    CaseShown,
    CautionsRead,
    Heard,
    HelpShown,
    Judged,
    LeftHere,
    Noted,
    PutOff,
    Remark,
    WhichOne,
)
from triage.drill.simulated_caller import UNKNOWN_WORDS
from triage.tree.content import Content, Stage

UNKNOWN_GAS = "gas not known: treated as flammable"
"""Why a caution about fire belongs before a reading."""

_STAGE_WORDS = {
    Stage.CALLER: "Who calls",
    Stage.MACHINE: "The machine and what surrounds it",
    Stage.FREEZE: "The freeze",
    Stage.HARVEST: "The harvest",
    Stage.CONFIRM: "To confirm",
    None: "Besides",
}


def greeting() -> RenderableType:
    """Return what the caller says first."""
    return Margin("caller", Text("Hello? I have an ice machine here that gives me trouble."))


def shown(remark: Remark, call: PracticeCall, practice: Practice) -> Iterator[RenderableType]:
    """Yield what to show for a remark; `practice` is the drill after its line."""
    telling = Telling(call.engine.content, practice.case)
    match remark:
        case Heard():
            yield from _heard(remark, call, telling)
        case PutOff():
            yield from _put_off(remark, call)
        case Noted(words):
            yield Margin("note", Text(words))
        case CautionsRead(cautions):
            for caution in cautions:
                title = plain_text(caution.title)
                yield Card(f"CAUTION: {title}", Text(plain_text(caution.text)), "triage.caution")
            said = "Understood." if cautions else ""
            if said:
                yield Margin("caller", Text(said))
            else:
                yield Margin("note", Text("Nothing more is to be read out there."))
        case WhichOne():
            yield Margin("which", _choices(remark))
        case CaseShown():
            yield Margin("case", _case(remark, call, telling))
        case BandShown(finding):
            yield Margin("band", _band(finding, telling))
        case HelpShown(topic):
            yield Margin("help", _help(topic, call.engine.content, call, practice))
        case Judged():
            yield _judged(remark, telling)
        case LeftHere():
            yield Margin("stop", Text("Left before the end. It is kept as unfinished."))
        case Hint():
            yield Margin("hint", _hint(remark, call, practice, telling))
        case Explained() | NotClear():
            yield shown_remark(remark, telling)


def _heard(remark: Heard, call: PracticeCall, telling: Telling) -> Iterator[RenderableType]:
    yield Margin("caller", Text(caller_words(remark.asking.words)))
    if call.terms.shows_verdicts or remark.finding.value is None:
        yield EchoTurn(Echo(remark.finding), telling)
    else:
        yield Margin("heard", _unjudged(remark.finding, telling))
    if remark.is_again:
        yield Margin("note", Text("You had asked that before; it took no time again."))
    if remark.judged_again and call.terms.shows_verdicts:
        are = "reading is" if remark.judged_again == 1 else "readings are"
        yield Margin(
            "note",
            Text(f"{remark.judged_again} earlier {are} judged otherwise by this; type case."),
        )
    if call.terms.tells_at_once and not remark.is_again:
        for words in slip_words(remark.slip, call.engine.content):
            yield Margin("noted", Text(words), "triage.outside")


def _put_off(remark: PutOff, call: PracticeCall) -> Iterator[RenderableType]:
    yield Margin("caller", Text(remark.asking.words))
    yield Margin("note", Text("Nothing was measured. Ask what the caller may do, then ask again."))
    if call.terms.tells_at_once:
        for words in slip_words(remark.slip, call.engine.content):
            yield Margin("noted", Text(words), "triage.outside")


def _unjudged(finding: Finding, telling: Telling) -> RenderableType:
    """Return a reading in both systems of units, the saturation that goes with it, no verdict."""
    saturation = telling.saturation(finding)
    return stack(
        Text(sentence(telling.finding(finding))),
        Text(sentence(saturation)) if saturation else None,
    )


def caller_words(words: str) -> str:
    """Return what a caller says, without the word that tells the program that it is not known.

    >>> caller_words("unknown plate not readable")
    'Plate not readable.'
    """
    if words == UNKNOWN_WORDS:
        return "Sorry, I cannot get that one."
    plain = plain_text(words)
    reason = plain.removeprefix("unknown ")
    return plain if reason == plain else sentence(reason)


def slip_words(slip: Slip, content: Content) -> Iterator[str]:
    """Yield in words what was wrong about asking for a reading."""
    if slip.is_unasked:
        yield "Not safe: ask first what this caller may do, before gauges, meters and panels."
    if slip.is_against:
        yield "Not safe: this caller is not licensed, and this is licensed work."
    if slip.cautions:
        titles = "; ".join(caution_title(slip, key, content) for key in slip.cautions)
        yield f"Not safe: cautions to read out before it: {titles}. Type caution to read them."
    if slip.shown:
        yield "They were shown to you; the caller hears them only when you read them out."
    if slip.is_too_early:
        yield "Too early: prove the freeze sound before the harvest is looked at."


def caution_title(slip: Slip, key: str, content: Content) -> str:
    """Return the title of a caution that was skipped, with why it belonged there if not plain."""
    title = plain_text(content.cautions[key].title)
    return f"{title} ({UNKNOWN_GAS})" if key in slip.by_unknown_gas else title


def _choices(remark: WhichOne) -> RenderableType:
    names = [plain_text(name) for name in remark.names]
    if len(names) == 1:
        lead = "Do you propose this" if remark.kind is Kind.CAUSE else "Did you mean this"
        return stack(Text(f"{lead}: {names[0]}?"), Text("yes or no", style="triage.hint"))
    return stack(
        Text("Which one?"),
        *(Item(name, f"{number}  ") for number, name in enumerate(names, start=1)),
        Text("type its number, or a word of it; cancel for none", style="triage.hint"),
    )


def _case(remark: CaseShown, call: PracticeCall, telling: Telling) -> RenderableType:
    if not remark.readings:
        return Text("Nothing asked yet.")
    return stack(
        FindingsTable(remark.findings, telling)
        if call.terms.shows_verdicts
        else stack(*(Item(telling.finding(item)) for item in remark.findings)),
        Text(
            f"{remark.readings} asked, {remark.minutes:g} minutes of the caller's time.",
            style="triage.hint",
        ),
    )


def _band(finding: Finding, telling: Telling) -> RenderableType:
    name = sentence(plain_text(finding.reading.name))[:-1]
    if finding.band is not None:
        limits = telling.band(finding.band, finding.reading)
        return stack(
            Text(f"{name}: a healthy machine lies at {limits}."),
            Text(sentence(telling.basis(finding.band, finding.reading.id)), style="triage.hint"),
        )
    labels = [
        plain_text(choice.label)
        for choice in finding.reading.choices
        if choice.id in finding.reading.normal
    ]
    if labels:
        return Text(f"{name}, on a healthy machine: {' / '.join(labels)}.")
    why = telling.reason(finding)
    return Text(sentence(f"{name} has no band here{f': {why}' if why else ''}"))


def _judged(remark: Judged, telling: Telling) -> RenderableType:
    name = telling.cause(remark.cause)
    if remark.is_right:
        return Margin("right", Text(f"{name}: that is it.", style="triage.good"))
    left = "One guess is left." if remark.guesses_left else "No guess is left."
    return Margin("wrong", Text(f"{name}: that is not it. {left}"), "triage.outside")


def _hint(remark: Hint, call: PracticeCall, practice: Practice, telling: Telling) -> RenderableType:
    parts: list[RenderableType] = [Text(remark.words)]
    if remark.reading is not None:
        parts = [Text(f"Ask next for: {plain_text(remark.reading.name)}.")]
        if any(caution not in practice.read_out for caution in remark.reading.cautions):
            parts.append(Text("Look first whether a caution belongs before it."))
        parts.append(Text(plain_text(remark.why)))
    parts.extend(Item(telling.cause(cause)) for cause in remark.causes)
    return stack(*parts)


def _help(topic: str, content: Content, call: PracticeCall, practice: Practice) -> RenderableType:
    match topic:
        case "readings":
            return stack(*_readings_by_stage(call))
        case "causes":
            return stack(*(Item(plain_text(cause.name)) for cause in content.causes.values()))
        case "cautions":
            keys = dict.fromkeys(
                key for reading in readings_heard(content) for key in reading.cautions
            )
            return stack(
                Text("Cautions that belong before readings; caution and a title reads one out:"),
                *(
                    Item(
                        plain_text(content.cautions[key].title)
                        + (" (read out)" if key in practice.read_out else "")
                    )
                    for key in keys
                ),
            )
    return stack(
        commands(COMMAND_WORDS),
        Text("Several readings at once: fan, water flow and ice pattern", style="triage.hint"),
    )


def _readings_by_stage(call: PracticeCall) -> Iterator[RenderableType]:
    names: dict[Stage | None, list[str]] = {stage: [] for stage in Stage}
    for reading in readings_heard(call.engine.view):
        stage = stage_of(call.engine, reading.id)
        names.setdefault(stage, []).append(plain_text(reading.name))
    for stage, own in names.items():
        if own:
            yield Text(f"{_STAGE_WORDS[stage]}:", style="triage.heading")
            yield from (Item(name) for name in own)
