"""What is looked up in a drill."""

import pytest

from tests.conversation import shipped_engine
from tests.drill.calls import (
    call_not_on_file,
    call_with,
    say,
    shown_after,
)
from triage.dialogue.heard import readings_heard
from triage.dialogue.view import Explained, NotClear
from triage.drill.call import Level
from triage.drill.remarks import (
    BandShown,
    CaseShown,
    Heard,
    Noted,
)

CALL = call_with("compressor_weak")
KNOWN = ("license", "machine, refrigerant, condenser, room, roof and water")


def test_how_a_licensed_reading_is_taken_waits_for_the_license() -> None:
    _, (explained,) = say(CALL, "how late suction")
    assert isinstance(explained, Explained)
    assert "Ask the caller first what they may do" in explained.text
    assert explained.cautions == ()
    question = shipped_engine().tree.questions["freeze.freeze_suction_pressure_late"]
    explained = say(CALL, "license", "how late suction")[1][0]
    assert isinstance(explained, Explained)
    assert explained.text == question.how


def test_the_hard_level_shows_no_verdict_and_the_band_on_request() -> None:
    call = call_not_on_file()
    known = ("license", "refrigerant, condenser, room, roof, water")
    said = shown_after(call, *known, "freeze time")
    assert not any(word in said for word in ("WITHIN", "ABOVE", "BELOW", "◆", "NOTED"))
    assert "healthy machine lies at" in shown_after(call, *known, "freeze time", "band")
    case = shown_after(call, *known, "freeze time", "case")
    assert not any(word in case for word in ("WITHIN", "ABOVE", "BELOW", "NORMAL"))


def test_the_hard_level_does_not_judge_a_winding_or_a_reading_without_a_band() -> None:
    call = call_with("harvest_coil_open", Level.HARD, 2)
    assert "winding" not in shown_after(call, "license", "rated voltage", "coil ohms")
    said = shown_after(call, "license", "freeze time")
    assert not any(word in said for word in ("UNKNOWN", "Why"))


def test_sea_level_is_told_as_a_height_not_in_inches() -> None:
    said = shown_after(CALL, "elevation")
    assert "0 ft (0 m)" in said
    assert " in (" not in said


def test_the_band_of_a_choice_lists_what_a_healthy_machine_answers() -> None:
    said = " ".join(shown_after(CALL, "license", "fan", "band fan").replace("│", " ").split())
    assert "on a healthy machine: runs steadily at full speed /" in said


def test_the_band_of_a_reading_not_asked_for_is_not_shown() -> None:
    _, (unclear,) = say(CALL, "band freeze time")
    assert isinstance(unclear, NotClear)
    _, (band,) = say(CALL, *KNOWN, "freeze time", "band freeze time")
    assert isinstance(band, BandShown)
    assert "even all over" in shown_after(CALL, "ice pattern", "band")


def test_what_is_learned_later_judges_earlier_readings_and_says_so() -> None:
    _, remarks = say(CALL, "license", "late suction", "machine")
    heard = remarks[-1]
    assert isinstance(heard, Heard)
    assert heard.judged_again == 1
    assert "1 earlier reading is judged" in shown_after(CALL, "license", "late suction", "machine")


def test_the_case_tells_what_is_known_and_what_it_took() -> None:
    _, (case,) = say(CALL, "license", "freeze time", "case")
    assert isinstance(case, CaseShown)
    readings = shipped_engine().content.readings
    assert (
        case.minutes == readings["freeze_time"].minutes + readings["caller_qualification"].minutes
    )
    assert "Nothing asked yet" in shown_after(CALL, "case")


def test_why_and_how_explain_a_reading_with_its_cautions() -> None:
    questions = shipped_engine().tree.questions
    for line in ("why freeze time", "why do we ask for the freeze time?"):
        _, (why,) = say(CALL, line)
        assert why == Explained("why", questions["freeze.freeze_time"].why)
    for line in ("how fan", "how do I check the fan?"):
        _, (how, noted) = say(CALL, line)
        assert isinstance(noted, Noted)
        assert "read them out" in noted.words
        assert isinstance(how, Explained)
        assert [caution.id for caution in how.cautions] == ["moving_parts"]
    practice, _ = say(CALL, "freeze time", "why")
    why = questions["freeze.freeze_time"].why
    assert say(CALL, "why", after=practice)[1] == (Explained("why", why),)


def test_how_much_asks_and_how_explains() -> None:
    practice, _ = say(CALL, "how long is the freeze?")
    assert practice.asked[-1].reading == "freeze_time"
    assert say(CALL, "how freeze time")[0].asked == ()


@pytest.mark.parametrize("line", ["help", "readings", "causes", "hint", "case", "caution", "help!"])
def test_looking_things_up_asks_the_caller_nothing(line: str) -> None:
    practice, remarks = say(CALL, line)
    assert remarks
    assert practice.asked == ()
    assert shown_after(CALL, line).strip()


def test_all_readings_and_causes_are_listed() -> None:
    readings = " ".join(shown_after(CALL, "readings").split())
    causes = " ".join(shown_after(CALL, "causes").split())
    content = shipped_engine().view
    assert all(reading.name in readings for reading in readings_heard(content))
    assert all(cause.name in causes for cause in content.causes.values())
