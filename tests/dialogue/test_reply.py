"""What one typed line means at a question, a confirmation, anywhere."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests.dialogue.spoken_readings import (
    ALTITUDE,
    BRIDGE,
    COIL_RESISTANCE,
    COIL_VOLTAGE,
    DISCHARGE_LINE,
    FAN,
    FREEZE_TIME,
    LICENSED,
    MACHINE,
    MACHINES,
    PATTERN,
    READINGS,
    REFRIGERANT,
    RELEASED,
    ROOM,
    SUCTION_EARLY,
)
from tests.strategies import FIXED, Typed, quantities_as_typed, typed_lines
from triage.dialogue.reply import (
    Control,
    Unclear,
    Unknown,
    Value,
    YesNo,
    read_confirmation,
    read_control,
    read_reply,
)
from triage.physics.quantity import Dimension, UnitSystem
from triage.tree.content import Reading, ReadingKind

US, SI = UnitSystem.US, UnitSystem.SI
PSI_62 = 528_800.0


def reply(text: str, reading: Reading, system: UnitSystem = US) -> object:
    return read_reply(text, reading, system=system, machines=MACHINES)


def value(text: str, reading: Reading, system: UnitSystem = US) -> Value:
    found = reply(text, reading, system)
    assert isinstance(found, Value), found
    return found


@pytest.mark.parametrize(
    "text",
    [
        "62",
        "62 psi",
        "suction 62",
        "suction is 62",
        "suction: 62",
        "suction=62",
        "suction = 62 psi",
        "suction - 62",
        "the suction is 62 psi",
        "suction pressure was 62 psi",
        "my suction gauge reads 62 psi",
        "it's 62 on the low side",
        "low side 62",
        "62 psi on the suction",
        "about 62, I think",
    ],
)
def test_words_that_name_the_reading_do_not_matter(text: str) -> None:
    assert value(text, SUCTION_EARLY).value == pytest.approx(PSI_62, abs=1.0)


@pytest.mark.parametrize(
    ("text", "reading", "minute_s"),
    [
        ("62 psi at 3 min", SUCTION_EARLY, 180),
        ("62 psi at 3 minutes", SUCTION_EARLY, 180),
        ("62 @ 3:00", SUCTION_EARLY, 180),
        ("62 @ 3 min", SUCTION_EARLY, 180),
        ("62 @3min", SUCTION_EARLY, 180),
        ("62 at 3 min 30", SUCTION_EARLY, None),
        ("62 at 3 min 30 s", SUCTION_EARLY, 210),
        ("62 psi at minute 3", SUCTION_EARLY, 180),
        ("62 psi at min 3", SUCTION_EARLY, 180),
        ("minute 3: 62 psi", SUCTION_EARLY, 180),
        ("minute 3 62", SUCTION_EARLY, 180),
        ("62 psi, 3 min in", SUCTION_EARLY, 180),
        ("62 psi 3 minutes into the freeze", SUCTION_EARLY, 180),
        ("62 psi three minutes into the freeze", SUCTION_EARLY, 180),
        ("3 minutes in, suction is 62", SUCTION_EARLY, 180),
        ("3 min: 62", SUCTION_EARLY, 180),
        ("62 psi (3 min)", SUCTION_EARLY, 180),
        ("62 psi after 2.5 min", SUCTION_EARLY, 150),
        ("62 after 2 1/2 minutes", SUCTION_EARLY, 150),
        ("62 after two and a half minutes", SUCTION_EARLY, 150),
        ("62 at 90 s", SUCTION_EARLY, 90),
        ("62 psi at about 3 min", SUCTION_EARLY, 180),
        ("155F after 6 minutes", DISCHARGE_LINE, 360),
        ("minute 6: 155 F", DISCHARGE_LINE, 360),
        ("at 6 min 155F", DISCHARGE_LINE, 360),
        ("6 min 155F", DISCHARGE_LINE, 360),
        ("155 degrees at the 6 minute mark", DISCHARGE_LINE, 360),
        ("155 at 6:00", DISCHARGE_LINE, 360),
        ("155 F", DISCHARGE_LINE, None),
    ],
)
def test_the_minute_it_was_taken_is_read(
    text: str, reading: Reading, minute_s: float | None
) -> None:
    found = reply(text, reading)
    if text == "62 at 3 min 30":
        # 30 what? It is no second value and no seconds: ask.
        assert isinstance(found, Unclear)
        return
    assert isinstance(found, Value), found
    assert found.minute_s == minute_s
    is_pressure = reading.kind is ReadingKind.GAUGE_PRESSURE
    assert found.value == pytest.approx(PSI_62 if is_pressure else 341.483, abs=1.0)
    assert found.typed == text


@pytest.mark.parametrize(
    "text", ["62 at 3", "62 psi @ 3", "62 psi at three", "62 psi 3 min", "62 psi three min"]
)
def test_a_bare_minute_counts_where_the_reading_has_a_moment(text: str) -> None:
    found = reply(text, SUCTION_EARLY)
    assert isinstance(found, Value), found
    assert (found.value, found.minute_s) == (pytest.approx(PSI_62, abs=1.0), 180.0)


def test_a_bare_number_too_great_for_a_minute_is_asked_back() -> None:
    found = reply("62 at 70", SUCTION_EARLY)
    assert isinstance(found, Unclear)
    assert 'type "at 70 min"' in found.message


def test_a_bare_number_after_at_is_no_minute_where_the_reading_has_no_moment() -> None:
    assert isinstance(reply("70 at 3", ROOM), Unclear)


def test_a_model_that_is_not_on_file_is_told_how_to_go_on() -> None:
    found = reply("Polarbjorn XX900", MACHINE)
    assert isinstance(found, Unclear)
    assert found.message.startswith('"Polarbjorn XX900" is not on file.')
    assert "unknown and I judge by a typical machine" in found.message


@pytest.mark.parametrize(
    ("text", "reading", "si_value"),
    [
        ("about 70 in the room", ROOM, 294.261),
        ("it is 70 degrees in here", ROOM, 294.261),
        ("70", ROOM, 294.261),
        ("room is 21 C", ROOM, 294.15),
        ("bridge 3/16", BRIDGE, 0.0047625),
        ("bridge is 3/16 in", BRIDGE, 0.0047625),
        ("3/16 in bridge", BRIDGE, 0.0047625),
        ("3/16 in the bridge", BRIDGE, 0.0047625),
        ("the bridge is an eighth of an inch", BRIDGE, 0.003175),
        ("freezes in 12 minutes", FREEZE_TIME, 720.0),
        ("it freezes in 12 minutes", FREEZE_TIME, 720.0),
        ("freeze time 12:30", FREEZE_TIME, 750.0),
        ("12 and a half", FREEZE_TIME, 750.0),
        ("5000", ALTITUDE, 1524.0),
        ("5,280", ALTITUDE, 1609.344),
        ("at 1,600 m", ALTITUDE, 1600.0),
        ("1600 m elevation", ALTITUDE, 1600.0),
        ("24.5 volts at the coil", COIL_VOLTAGE, 24.5),
        ("nothing", COIL_VOLTAGE, None),
        ("open", COIL_RESISTANCE, math.inf),
        ("12 ohms", COIL_RESISTANCE, 12.0),
    ],
)
def test_a_number_is_read_in_the_sense_of_its_question(
    text: str, reading: Reading, si_value: float | None
) -> None:
    found = reply(text, reading)
    if si_value is None:
        assert isinstance(found, Unclear)
    else:
        assert isinstance(found, Value), found
        assert found.value == pytest.approx(si_value, rel=1e-5)


def test_an_inch_stays_an_inch_for_a_caller_who_thinks_in_millimetres() -> None:
    assert value("3/16 in the bridge", BRIDGE, SI).value == pytest.approx(0.0047625)
    assert value("5", BRIDGE, SI).value == pytest.approx(0.005)
    assert value("1600", ALTITUDE, SI).value == pytest.approx(1600.0)


def test_a_pressure_counts_from_the_local_barometer() -> None:
    found = read_reply("62", SUCTION_EARLY, system=US, barometric_pressure_pa=84_000.0)
    assert isinstance(found, Value)
    assert found.value == pytest.approx(427_475 + 84_000, abs=1.0)


def test_a_unit_of_the_wrong_kind_is_told_in_one_sentence() -> None:
    assert reply("4.3 bar", ROOM) == Unclear(
        "bar is a pressure; this asks for a temperature (°F or °C)."
    )
    assert reply("suction 62 C", SUCTION_EARLY) == Unclear(
        "C is a temperature; this asks for a pressure (psig or bar)."
    )


UNKNOWN = {
    "unknown": "the caller does not know",
    "dunno": "the caller does not know",
    "I dunno": "the caller does not know",
    "don't know": "the caller does not know",
    "i dont know": "the caller does not know",
    "I do not know.": "the caller does not know",
    "no idea": "the caller does not know",
    "no clue": "the caller does not know",
    "not sure": "the caller does not know",
    "I'm not sure": "the caller does not know",
    "can't say": "the caller does not know",
    "idk": "the caller does not know",
    "?": "the caller does not know",
    "??": "the caller does not know",
    "beats me": "the caller does not know",
    "skip": "skipped by the caller",
    "pass": "skipped by the caller",
    "n/a": "said not to apply here",
    "N/A": "said not to apply here",
    "can't reach it": "can't reach it",
    "can’t reach it": "can’t reach it",
    "cannot read it": "cannot read it",
    "couldn't get to it": "couldn't get to it",
    "can't measure that": "can't measure that",
    "unable to connect": "unable to connect",
    "no gauge": "no gauge",
    "no gauges here": "no gauges here",
    "I have no gauges": "I have no gauges",
    "we don't have a thermometer": "we don't have a thermometer",
    "I don't have my meter": "I don't have my meter",
    "without a meter": "without a meter",
    "no thermometer with me": "no thermometer with me",
    "didn't look": "didn't look",
    "did not check": "did not check",
    "haven't measured it": "haven't measured it",
    "never timed it": "never timed it",
    "too hot to touch": "too hot to touch",
    "not measured": "not measured",
    "label is missing": "label is missing",
    "the data plate is faded": "the data plate is faded",
    "battery is dead": "battery is dead",
    "customer won't let me": "customer won't let me",
    "he doesn't know": "he doesn't know",
    "nope, can't reach it": "nope, can't reach it",
    "sorry, no gauges": "sorry, no gauges",
    "unknown no gauges here": "no gauges here",
    "unknown, no gauges here": "no gauges here",
    "unknown: 2 of us looked": "2 of us looked",
    "Unknown - roof is locked": "roof is locked",
    "dunno, roof is locked": "roof is locked",
    "not sure because the light is out": "the light is out",
}


@pytest.mark.parametrize(("text", "reason"), UNKNOWN.items())
def test_unknown_keeps_the_reason_as_typed(text: str, reason: str) -> None:
    expected = {"he doesn't know": "the caller does not know"}.get(text, reason)
    assert reply(text, SUCTION_EARLY) == Unknown(expected)
    assert reply(text, PATTERN) == Unknown(expected)


def test_a_guess_behind_not_sure_is_no_refusal() -> None:
    assert isinstance(reply("not sure, maybe 62", SUCTION_EARLY), Unclear)


CONTROLS = {
    "back": ("back", ""),
    "go back": ("back", ""),
    "Back!": ("back", ""),
    "previous": ("back", ""),
    "/back": ("back", ""),
    "change suction": ("change", "suction"),
    "change the suction pressure": ("change", "suction pressure"),
    "change": ("change", ""),
    "correct the head": ("change", "head"),
    "go back to the freeze time": ("change", "freeze time"),
    "why": ("why", ""),
    "why?": ("why", ""),
    "why do you ask": ("why", ""),
    "Why does that matter?": ("why", ""),
    "how": ("how", ""),
    "how do I measure that": ("how", ""),
    "How would I measure that?": ("how", ""),
    "where do I measure that?": ("how", ""),
    "note it rattles": ("note", "it rattles"),
    "note: It Rattles, 62 dB": ("note", "It Rattles, 62 dB"),
    "add a note: call back at 5": ("note", "call back at 5"),
    "note": ("note", ""),
    "case": ("case", ""),
    "the case so far": ("case", ""),
    "show me the case": ("case", ""),
    "stop": ("stop", ""),
    "quit": ("stop", ""),
    "help": ("help", ""),
    "HELP": ("help", ""),
    "what can I say?": ("help", ""),
}


@pytest.mark.parametrize(("text", "control"), CONTROLS.items())
def test_steering_words_work_at_any_question(text: str, control: tuple[str, str]) -> None:
    assert reply(text, SUCTION_EARLY) == Control(*control)
    assert reply(text, PATTERN) == Control(*control)
    assert read_confirmation(text) == Control(*control)


def test_unknown_is_a_steering_word_where_no_reading_is_asked() -> None:
    assert read_control("unknown, no gauges") == Control("unknown", "no gauges")
    assert read_control("62 psi") is None


@pytest.mark.parametrize("text", ["backwards", "notes", "stopped", "helpful", "cases", "however"])
def test_a_word_that_only_begins_like_a_steering_word_is_none(text: str) -> None:
    assert read_control(text) is None


def test_a_steering_word_that_is_an_answer_is_the_answer() -> None:
    assert value("stop", FAN).value == "stopped"
    assert value("case", FAN).value == "cycling"
    assert reply("back", FAN) == Control("back")


CHOICES = [
    ("even", PATTERN, "even"),
    ("EVEN", PATTERN, "even"),
    ("even all over", PATTERN, "even"),
    ("it looks even", PATTERN, "even"),
    ("ok", PATTERN, "even"),
    ("thin", PATTERN, "thin_all_over"),
    ("thin at the outlet", PATTERN, "thin_at_outlet"),
    ("thin at outlet", PATTERN, "thin_at_outlet"),
    ("thin_at_outlet", PATTERN, "thin_at_outlet"),
    ("it's thin at the outlet", PATTERN, "thin_at_outlet"),
    ("lopsided.", PATTERN, "thin_at_outlet"),
    ("lop", PATTERN, "thin_at_outlet"),
    ("patch", PATTERN, "patchy"),
    ("running", FAN, "running"),
    ("the fan is running", FAN, "running"),
    ("fan's on", FAN, None),
    ("not running", FAN, "stopped"),
    ("it is not running", FAN, "stopped"),
    ("stop and go", FAN, "cycling"),
    ("stop-and-go", FAN, "cycling"),
    ("yes", RELEASED, "yes"),
    ("y", RELEASED, "yes"),
    ("yep", RELEASED, "yes"),
    ("yeah", RELEASED, "yes"),
    ("yup it did", RELEASED, "yes"),
    ("it did", RELEASED, "yes"),
    ("sure", RELEASED, "yes"),
    ("affirmative", RELEASED, "yes"),
    ("all", RELEASED, "yes"),
    ("it dropped", RELEASED, "yes"),
    ("no", RELEASED, "no"),
    ("n", RELEASED, "no"),
    ("nope", RELEASED, "no"),
    ("nah", RELEASED, "no"),
    ("negative", RELEASED, "no"),
    ("no sir", RELEASED, "no"),
    ("no it didn't", RELEASED, "no"),
    ("it did not", RELEASED, "no"),
    ("did not drop", RELEASED, "no"),
    ("didn't", RELEASED, "no"),
    ("not at all", RELEASED, "no"),
    ("no, it's still hanging", RELEASED, "no"),
    ("nothing", RELEASED, "no"),
    ("some of it", RELEASED, "partly"),
    ("half", RELEASED, "partly"),
    ("tech", LICENSED, "licensed"),
    ("I'm a tech", LICENSED, "licensed"),
    ("yep", LICENSED, "licensed"),
    ("nope", LICENSED, "unlicensed"),
    ("I'm not licensed", LICENSED, "unlicensed"),
    ("I am not certified", LICENSED, "unlicensed"),
    ("I'm the owner", LICENSED, "unlicensed"),
]


@pytest.mark.parametrize(("text", "reading", "choice"), CHOICES)
def test_a_choice_is_known_by_its_names(text: str, reading: Reading, choice: str | None) -> None:
    found = reply(text, reading)
    if choice is None:
        assert isinstance(found, Unclear)
    else:
        assert isinstance(found, Value), found
        assert (found.value, found.typed) == (choice, text)


@pytest.mark.parametrize(
    ("text", "reading", "suggestion"),
    [
        ("evn", PATTERN, "even all over"),
        ("lopsidded", PATTERN, "thin at the outlet"),
        ("runing", FAN, "runs steadily"),
        ("certifed", LICENSED, "licensed for refrigeration work"),
        ("not a tech", LICENSED, "licensed for refrigeration work"),
        ("I was licensed", LICENSED, "licensed for refrigeration work"),
        ("I guess certified", LICENSED, "licensed for refrigeration work"),
        ("the owner is certified", LICENSED, "not licensed"),
        ("not all", RELEASED, "no, nothing"),
        ("yes but only half", RELEASED, "only some of it"),
    ],
)
def test_a_near_miss_is_offered_and_never_taken(
    text: str, reading: Reading, suggestion: str
) -> None:
    found = reply(text, reading)
    assert isinstance(found, Unclear)
    assert suggestion in found.suggestions
    assert "Did you mean" in found.message


@pytest.mark.parametrize(
    ("text", "reading"),
    [
        ("yes", PATTERN),
        ("yep", FAN),
        ("no", PATTERN),
        ("right", PATTERN),
        ("thi", PATTERN),
        ("banana", PATTERN),
        ("yes and no", RELEASED),
        ("yes, no", RELEASED),
        ("yes, but not all", RELEASED),
        ("no problem", RELEASED),
        ("no water", RELEASED),
        ("maybe", RELEASED),
        ("62", RELEASED),
        ("e", PATTERN),
        ("...", PATTERN),
        ("", PATTERN),
        ("   ", SUCTION_EARLY),
        ("yes", SUCTION_EARLY),
        ("fine", SUCTION_EARLY),
    ],
)
def test_what_could_only_be_guessed_is_unclear(text: str, reading: Reading) -> None:
    assert isinstance(reply(text, reading), Unclear)


@pytest.mark.parametrize(
    ("text", "machine"),
    [
        ("Fjordline 450", "fjordline_450"),
        ("fjordline450", "fjordline_450"),
        ("fjordline-450", "fjordline_450"),
        ("FJORDLINE  450", "fjordline_450"),
        ("fjord 450", "fjordline_450"),
        ("it's a Fjordline 450", "fjordline_450"),
        ("fjordline_700", "fjordline_700"),
        ("tarn r2", "tarn_r2"),
        ("the little tarn", "tarn_r2"),
        ("tarn", "tarn_r2"),
    ],
)
def test_a_machine_is_known_by_its_names(text: str, machine: str) -> None:
    assert value(text, MACHINE).value == machine


def test_a_machine_that_could_be_two_is_asked_back_with_both() -> None:
    found = reply("fjordline", MACHINE)
    assert isinstance(found, Unclear)
    assert found.suggestions == ("Fjordline 450", "Fjordline 700")


@pytest.mark.parametrize("text", ["not listed", "it's not on the list", "none of these", "other"])
def test_a_machine_that_is_not_listed_is_unknown(text: str) -> None:
    assert reply(text, MACHINE) == Unknown("the machine is not listed")


@pytest.mark.parametrize(
    ("text", "refrigerant"),
    [
        ("R-404A", "R-404A"),
        ("r404a", "R-404A"),
        ("404a", "R-404A"),
        ("404", "R-404A"),
        ("R 404 A", "R-404A"),
        ("r410", "R-410A"),
        ("it's R-448A", "R-448A"),
        ("plate says R-449A", "R-449A"),
        ("propane", "R-290"),
        ("R290", "R-290"),
        ("22", "R-22"),
    ],
)
def test_a_refrigerant_is_known_by_its_number_or_name(text: str, refrigerant: str) -> None:
    assert value(text, REFRIGERANT).value == refrigerant


def test_a_refrigerant_number_with_two_endings_is_asked_back() -> None:
    found = reply("454", REFRIGERANT)
    assert isinstance(found, Unclear)
    assert found.suggestions == ("R-454B", "R-454C")


@pytest.mark.parametrize("text", ["R-12", "r9999", "freon", "water"])
def test_no_other_refrigerant_is_put_in_the_callers_mouth(text: str) -> None:
    assert isinstance(reply(text, REFRIGERANT), Unclear)


@pytest.mark.parametrize(
    "text",
    ["y", "Y", "yes", "Yes.", "yep", "yeah", "yup", "sure", "right", "that's right", "correct",
     "ok", "okay", "OK!", "affirmative", "yes it is", "yes sir", "yes yes", "oh yes", "uh huh",
     "understood", "i agree", "yes, thanks"],
)  # fmt: skip
def test_a_plain_yes_confirms(text: str) -> None:
    assert read_confirmation(text) == YesNo(True)


@pytest.mark.parametrize(
    "text",
    ["n", "no", "No!", "nope", "nah", "negative", "wrong", "not right", "that's wrong",
     "no it isn't", "no sir", "no, thanks", "i refuse", "i do not", "no way"],
)  # fmt: skip
def test_a_plain_no_denies(text: str) -> None:
    assert read_confirmation(text) == YesNo(False)


@pytest.mark.parametrize(
    "text",
    ["yes but I am not licensed", "yes, if it is safe", "yes and no", "yes no", "maybe", "not sure",
     "yes I guess", "ok fine whatever", "no idea", "62", "", "yesterday", "know", "not yes",
     "I don't understand", "yes, don't", "right after lunch"],
)  # fmt: skip
def test_anything_more_than_yes_or_no_confirms_nothing(text: str) -> None:
    assert isinstance(read_confirmation(text), Unclear)


def test_a_very_long_line_is_no_answer_but_may_be_a_note() -> None:
    assert isinstance(reply("62 " * 200, SUCTION_EARLY), Unclear)
    note = reply("note " + "it rattles " * 100, SUCTION_EARLY)
    assert isinstance(note, Control)
    assert len(note.argument) > 1000


def test_invisible_characters_change_nothing() -> None:
    assert value("6\u200b2\u202e psi\x07", SUCTION_EARLY).value == pytest.approx(PSI_62, abs=1.0)
    assert read_confirmation("\ufeffye\u00ads\x00") == YesNo(True)


OF_KIND = {reading.kind.value: reading for reading in (SUCTION_EARLY, ROOM, FREEZE_TIME, BRIDGE,
                                                       COIL_VOLTAGE, COIL_RESISTANCE)}  # fmt: skip


@FIXED
@given(st.sampled_from(sorted(OF_KIND)).flatmap(lambda kind: quantities_as_typed(Dimension(kind))))
def test_any_typed_quantity_answers_a_question_of_its_kind(typed: Typed) -> None:
    found = reply(typed.text, OF_KIND[typed.dimension.value])
    assert isinstance(found, Value), found
    assert found.value == pytest.approx(typed.si, rel=1e-9, abs=1e-9)
    again = reply(found.typed, OF_KIND[typed.dimension.value])
    assert again == found


@FIXED
@given(st.one_of(st.text(max_size=60), typed_lines()), st.sampled_from(READINGS))
def test_any_text_has_some_meaning_at_any_question(text: str, reading: Reading) -> None:
    found = reply(text, reading)
    match found:
        case Value(value=answer):
            if reading.kind is ReadingKind.CHOICE:
                assert answer in {choice.id for choice in reading.choices}
            elif isinstance(answer, float):
                assert math.isfinite(answer) or reading is COIL_RESISTANCE
        case Unknown(reason=reason):
            assert reason.isprintable()
            assert reason
        case Unclear(message=message):
            assert message.isprintable()
        case _:
            assert isinstance(found, Control)
    assert isinstance(read_confirmation(text), YesNo | Control | Unclear)
