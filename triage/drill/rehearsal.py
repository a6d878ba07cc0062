"""What a line typed in a drill does: steps to fold, and remarks to show. Pure, like the engine."""

from __future__ import annotations

import re
from collections.abc import Mapping

from triage.dialogue.case import Case
from triage.dialogue.names import find_exact
from triage.dialogue.view import NotClear
from triage.dialogue.words import agreement, control_in, fold, plain_text, quoted
from triage.drill.call import PracticeCall
from triage.drill.coach import cautions_before, hint_for, slip_of
from triage.drill.hearing import (
    Meant,
    among,
    asked_words,
    cause_meant,
    cause_words,
    caution_meant,
    caution_words,
    is_cause_in_full,
    is_how_much,
    is_only_half_or_time,
    readings_meant,
)
from triage.drill.look_up import band_of, explained, finding_in
from triage.drill.practice import (
    AskedFor,
    GaveUp,
    Hinted,
    Kind,
    Left,
    LeftOpen,
    Named,
    Practice,
    Proposed,
    ReadOut,
    Step,
    fold_steps,
)
from triage.drill.remarks import (
    CaseShown,
    CautionsRead,
    Heard,
    HelpShown,
    Judged,
    LeftHere,
    PutOff,
    Remark,
    Response,
    WhichOne,
)
from triage.tree.content import Content

_BEHIND = r"\b\s*(?:for|of|about|before|to|is|that|it)?\b\s*[:,-]?\s*(.*)"
_COMMANDS: Mapping[str, re.Pattern[str]] = {
    name: re.compile(pattern, re.IGNORECASE)
    for name, pattern in {
        "propose": rf"(?:i |my )?(?:propose|proposal|guess|suspect|diagnosis|cause){_BEHIND}",
        "caution": rf"(?:read (?:out )?(?:the )?)?cautions?{_BEHIND}",
        "hint": r"(?:give me )?(?:a |another )?hints?(?: please)?()",
        "band": rf"(?:show )?(?:the )?bands?{_BEHIND}",
        "give up": r"(?:i )?(?:give|giving) up()",
        "readings": r"(?:list |show )?(?:the |all )?readings()",
        "causes": r"(?:list |show )?(?:the |all )?causes()",
    }.items()
}
_EXPLAINING = re.compile(
    r"(why|how)\b(?: (?:do|should|would|can) (?:i|we|you))?"
    r"(?: (?:is|ask(?: for)?|to)\b)?(?: (?:measure|take|read|check|get)\b)?\s*(.*)",
    re.IGNORECASE,
)
_NOT_HERE = {
    "back": "What was asked stays asked; the caller has told you.",
    "change": "What was asked stays asked; the caller has told you.",
    "note": "A drill keeps no notes.",
    "park": "A drill has one caller, who does not wait; stop leaves it.",
    "serial": "This machine is made up; it has no serial number.",
    "unknown": "Here the caller answers. Ask for a reading by its name.",
}
_NONE = frozenset({"cancel", "none", "none of them", "none of these", "never mind", "nevermind"})
"""Words that choose nothing from a list."""

_LONGEST_CHOICE = 40
"""Characters of a line that may choose from a short list."""


def respond(call: PracticeCall, practice: Practice, text: str) -> Response:
    """Return what `text`, typed by the trainee, leads to."""
    typed = plain_text(text)
    if not typed:
        return _unclear("Nothing was typed. Type help to see what you can say.")
    if practice.open is not None and len(typed) <= _LONGEST_CHOICE:
        chosen = _choice(call, practice, practice.open, typed)
        if chosen is not None:
            return chosen
    for name, pattern in _COMMANDS.items():
        if match := pattern.fullmatch(typed.rstrip("?!. ")):
            return _command(call, practice, name, match[1].strip())
    explaining = _EXPLAINING.fullmatch(typed.rstrip("?!. "))
    if explaining and not is_how_much(typed):
        return explained(call, practice, explaining[1].lower(), explaining[2].strip())
    control = None if is_how_much(typed) else control_in(typed)
    if control is not None:
        return _steered(call, practice, control[0])
    return _asking(call, practice, typed)


def left() -> tuple[Step, ...]:
    """Return the steps of leaving a drill without a word."""
    return (Left(),)


# Choosing from a list.


def _choice(call: PracticeCall, practice: Practice, offer: LeftOpen, typed: str) -> Response | None:
    """Return what choosing from a short list leads to, None if the line is about something else."""
    said = agreement(typed)
    if said is False or fold(typed) in _NONE:
        return Response((LeftOpen(offer.kind, ()),), (NotClear("All right, none of these."),))
    if not offer.options:
        return None
    number = typed.strip(" .)#")
    is_number = number.isascii() and number.isdigit()
    if len(offer.options) == 1:  # only a yes will do: a word of it may be meant otherwise
        chosen = offer.options[0] if said or number == "1" else None
    else:
        chosen = _chosen(call.engine.view, offer, typed)
    if chosen is None and is_number:  # the list stays open
        return Response((offer,), (NotClear(_no_such_number(offer)),))
    if chosen is None:
        return None
    is_sure = len(offer.options) == 1 or is_number
    match offer.kind:
        case Kind.READING:
            return _asked(call, practice, (chosen,))
        case Kind.CAUSE if not is_sure:  # a guess is not spent on a word
            return _which(call, Kind.CAUSE, (chosen,))
        case Kind.CAUSE:
            return _proposed(call, practice, chosen)
        case Kind.CAUTION:
            return _read(call, (chosen,))


def _no_such_number(offer: LeftOpen) -> str:
    count = len(offer.options)
    if count == 1:
        return "Type yes or no."
    return f"There is no such number. Type 1 to {count}, or cancel for none of them."


def _chosen(content: Content, offer: LeftOpen, typed: str) -> str | None:
    if offer.kind is Kind.READING and not is_only_half_or_time(typed):
        other = readings_meant(typed, content).ids
        if other and not set(other) <= set(offer.options):
            return None
    words = {Kind.READING: asked_words, Kind.CAUSE: cause_words, Kind.CAUTION: caution_words}
    return among(typed, {key: words[offer.kind](content, key) for key in offer.options})


def _which(call: PracticeCall, kind: Kind, options: tuple[str, ...]) -> Response:
    content = call.engine.view
    match kind:
        case Kind.READING:
            names = tuple(content.readings[key].name for key in options)
        case Kind.CAUSE:
            names = tuple(content.causes[key].name for key in options)
        case Kind.CAUTION:
            names = tuple(content.cautions[key].title for key in options)
    return Response((LeftOpen(kind, options),), (WhichOne(kind, names),))


# Commands.


def _command(call: PracticeCall, practice: Practice, name: str, argument: str) -> Response:
    match name:
        case "propose":
            return _propose(call, practice, argument)
        case "caution":
            return _caution(call, practice, argument)
        case "hint":
            hint = hint_for(call, practice)
            # What says nothing new does not count.
            return Response((Hinted(hint.said),) if hint.level else (), (hint,))
        case "band":
            return band_of(call, practice, argument)
        case "give up":
            return Response((GaveUp(),))
        case _:
            return Response((), (HelpShown(name),))


def _steered(call: PracticeCall, practice: Practice, command: str) -> Response:
    match command:
        case "case":
            minutes = minutes_taken(call, practice)
            findings = call.engine.findings(practice.case)
            return Response((), (CaseShown(findings, len(practice.asked), minutes),))
        case "stop":
            return Response(left(), (LeftHere(),))
        case "why" | "how":
            return explained(call, practice, command, "")
        case "help":
            return Response((), (HelpShown("help"),))
        case _:
            return _unclear(_NOT_HERE[command])


def _propose(call: PracticeCall, practice: Practice, argument: str) -> Response:
    if not argument:
        return _unclear("Type the cause behind the word, such as: propose weak compressor.")
    content = call.engine.view
    meant = cause_meant(argument, content)
    if meant.ids and is_cause_in_full(argument, content):
        return _proposed(call, practice, meant.ids[0])
    if options := meant.ids or meant.options:  # a guess is not spent on what may be meant otherwise
        if set(options) <= set(practice.proposals):
            return _proposed(call, practice, options[0])
        return _which(call, Kind.CAUSE, options)
    return _unclear(f"No cause is called {quoted(argument)}. Type causes to see them all.")


def _proposed(call: PracticeCall, practice: Practice, cause: str) -> Response:
    if cause in practice.proposals:
        return _unclear("You have proposed that already. It is not that.")
    after = fold_steps(call, (Proposed(cause),), practice)
    return Response(
        (Proposed(cause),), (Judged(cause, cause == call.cause, after.guesses_left),)
    )  # fmt: skip


def _caution(call: PracticeCall, practice: Practice, argument: str) -> Response:
    content = call.engine.view
    titles = {key: caution_words(content, key) for key in content.cautions}
    if not argument:
        if not practice.named:
            return Response((), (HelpShown("cautions"),))
        # What was skipped before comes with it: late is better than never.
        skipped = (item.reading for item in practice.asked)
        return _read_before(call, practice, (*skipped, practice.named))
    exact = find_exact(argument, titles).id
    if exact:
        return _read(call, (exact,))
    readings, caution = readings_meant(argument, content), caution_meant(argument, content)
    # "caution suction": the readings that may be meant have the same cautions, or all are wanted.
    before = readings.ids or (() if caution.ids else readings.options)
    if before or caution.ids:
        return _read_before(call, practice, before, caution.ids)
    if caution.options:
        return _which(call, Kind.CAUTION, caution.options)
    unknown = NotClear(f"No caution or reading is called {quoted(argument)}.")
    return Response((), (unknown, HelpShown("cautions")))


def _read_before(
    call: PracticeCall, practice: Practice, readings: tuple[str, ...], also: tuple[str, ...] = ()
) -> Response:
    known = call.engine.view.readings
    unread = dict.fromkeys(
        key
        for reading in readings
        for key in cautions_before(call.engine, practice.case, known[reading], practice.read_out)
    )
    named = (Named(readings[-1]),) if readings else ()
    cautions = tuple(dict.fromkeys((*also, *unread)))
    if cautions:
        response = _read(call, cautions)
        return Response((*response.steps, *named), response.remarks)
    return Response(named, (CautionsRead(()),))


def _read(call: PracticeCall, cautions: tuple[str, ...]) -> Response:
    read = tuple(call.engine.view.cautions[key] for key in cautions)
    return Response((ReadOut(cautions),), (CautionsRead(read),))


# Asking for readings.


def _asking(call: PracticeCall, practice: Practice, typed: str) -> Response:
    content = call.engine.view
    meant = readings_meant(typed, content)
    cause = cause_meant(typed, content)
    causes = cause.ids or cause.options
    offered = practice.open.options if _is_proposing(practice) and practice.open else ()
    if len(offered) > 1 and set(causes).intersection(offered):
        return _which(call, Kind.CAUSE, causes)
    if meant.ids:
        response = _asked(call, practice, meant.ids)
        return _with_open(call, response, meant) if meant.options else response
    titles = {key: caution_words(content, key) for key in content.cautions}
    title = find_exact(typed, titles).id
    if title:
        return _read(call, (title,))
    if cause.ids or (causes and _is_proposing(practice)):
        return _which(call, Kind.CAUSE, causes)
    if meant.options:
        return _with_open(call, Response(), meant)
    return _unclear(f"No reading is called {quoted(typed)}. Type readings to see them all.")


def _is_proposing(practice: Practice) -> bool:
    """Return whether the line before was about a cause to propose."""
    return practice.open is not None and practice.open.kind is Kind.CAUSE


def _with_open(call: PracticeCall, response: Response, meant: Meant) -> Response:
    question = _which(call, Kind.READING, meant.options)
    unheard = tuple(NotClear(f"Ask for {quoted(words)} by itself.") for words in meant.unheard)
    return Response(
        (*response.steps, *question.steps), (*response.remarks, *question.remarks, *unheard)
    )


def _asked(call: PracticeCall, practice: Practice, readings: tuple[str, ...]) -> Response:
    steps: list[Step] = []
    remarks: list[Remark] = []
    for reading_id in readings:
        step = AskedFor(reading_id)
        after = fold_steps(call, (step,), practice)
        asking = next(item for item in reversed(after.asked) if item.reading == reading_id)
        if not after.has_asked(reading_id):
            remarks.append(PutOff(asking, slip_of(call.engine, asking)))
            steps.append(step)
            practice = after
            continue
        finding = finding_in(call, after.case, reading_id)
        if finding is None:  # pragma: no cover - the engine knows every answer
            raise AssertionError(reading_id)
        remarks.append(
            Heard(
                asking,
                finding,
                slip_of(call.engine, asking),
                practice.has_asked(reading_id),
                _moved(call, practice.case, after.case),
            )
        )
        steps.append(step)
        practice = after
    return Response(tuple(steps), tuple(remarks))


def minutes_taken(call: PracticeCall, practice: Practice) -> float:
    """Return the caller's time that the readings took [min]; what was refused took none."""
    readings = call.engine.view.readings
    return sum(readings[item.reading].minutes for item in practice.asked if item.is_taken)


def _moved(call: PracticeCall, before: Case, after: Case) -> int:
    """Return how many readings that were known are judged otherwise now."""
    if before is after:
        return 0
    was = {item.reading.id: item.verdict for item in call.engine.findings(before)}
    now = {item.reading.id: item.verdict for item in call.engine.findings(after)}
    return sum(now[key] is not was[key] for key in before.answers if key in was and key in now)


def _unclear(message: str) -> Response:
    return Response((), (NotClear(message),))
