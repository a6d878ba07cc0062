"""What a trainee looks up about a reading: why it is asked for, how it is taken, its band."""

from __future__ import annotations

from triage.dialogue.case import QUALIFICATION, Case
from triage.dialogue.view import Explained, Finding, NotClear
from triage.dialogue.words import quoted
from triage.drill.call import PracticeCall
from triage.drill.coach import cautions_before
from triage.drill.hearing import readings_meant
from triage.drill.practice import Named, Practice
from triage.drill.remarks import BandShown, Noted, Response
from triage.tree.content import Question, Reading

_FOR_LICENSED = "This measurement is for a licensed technician alone."
_ASK_FIRST = "Ask the caller first what they may do; how it is taken is told only after a yes."
_SHOWN_ONLY = "The cautions are shown to you alone. Type caution to read them out to the caller."


def band_of(call: PracticeCall, practice: Practice, argument: str) -> Response:
    """Return where a healthy machine lies for a reading that was taken."""
    reading = _one_reading(call, practice, argument)
    if isinstance(reading, NotClear):
        return Response((), (reading,))
    finding = (
        finding_in(call, practice.case, reading.id) if practice.has_asked(reading.id) else None
    )
    if finding is None:
        unclear = NotClear(f"Ask for {reading.name} first; then its band can be shown.")
        return Response((), (unclear,))
    return Response((Named(reading.id),), (BandShown(finding),))


def explained(call: PracticeCall, practice: Practice, topic: str, argument: str) -> Response:
    """Return why a reading is asked for, or how it is taken: topic why or how."""
    reading = _one_reading(call, practice, argument)
    if isinstance(reading, NotClear):
        return Response((), (reading,))
    question = _question_about(call, reading.id)
    if question is None:
        answer = Explained(topic, "Nothing hangs on it here.")
    elif topic == "how" and reading.is_licensed and not practice.case.is_licensed:
        is_asked = QUALIFICATION in practice.case.answers
        answer = Explained(topic, _FOR_LICENSED if is_asked else f"{_FOR_LICENSED} {_ASK_FIRST}")
    else:
        keys = cautions_before(call.engine, practice.case, reading) if topic == "how" else ()
        cautions = tuple(call.engine.view.cautions[key] for key in keys)
        answer = Explained(topic, question.why if topic == "why" else question.how, cautions)
        if not practice.read_out.issuperset(keys):
            return Response((Named(reading.id, keys),), (answer, Noted(_SHOWN_ONLY)))
    return Response((Named(reading.id),), (answer,))


def _one_reading(call: PracticeCall, practice: Practice, argument: str) -> Reading | NotClear:
    readings = call.engine.view.readings
    if not argument or (argument.lower() in ("that", "this", "it") and practice.named):
        if practice.named:
            return readings[practice.named]
        return NotClear("Type the reading behind the word, such as: why freeze time.")
    meant = readings_meant(argument, call.engine.view)
    if len(meant.ids) == 1:
        return readings[meant.ids[0]]
    if meant.options:
        listed = " or ".join(quoted(readings[key].name) for key in meant.options)
        return NotClear(f"{quoted(argument)} is not clear. Did you mean {listed}?")
    return NotClear(f"No reading is called {quoted(argument)}. Type readings to see them all.")


def finding_in(call: PracticeCall, case: Case, reading_id: str) -> Finding | None:
    """Return what a reading says in a case, None if it was not taken."""
    findings = call.engine.findings(case)
    return next((item for item in findings if item.reading.id == reading_id), None)


def _question_about(call: PracticeCall, reading_id: str) -> Question | None:
    questions = call.engine.tree.questions.values()
    return next((item for item in questions if item.reading == reading_id), None)
