"""What the turns and cards of a call look like, as text."""

from __future__ import annotations

from dataclasses import replace

import pytest
from rich.text import Text

from tests.console import sample
from tests.console.conftest import Shown, Snapshot
from triage.console.chat import shown_next
from triage.console.look import Look
from triage.console.telling import sentence
from triage.console.turns import TypedLine, shown_prompt, shown_remark, typed_margin
from triage.dialogue.case import apply
from triage.dialogue.events import Acknowledged, Answered, Refused
from triage.dialogue.view import (
    Agreement,
    CaseSoFar,
    CautionAnswered,
    Echo,
    Explained,
    HelpWanted,
    NotClear,
    NoteKept,
    NotTaken,
    Prompt,
    RankedCause,
    StoppedHere,
    TookBack,
    Verdict,
)
from triage.tree.content import Caution

AGENT = sample.telling()
TECHNICIAN = sample.telling("technician", "si")
BLANK = Text("")

NASTY = "\x1b[31mred\x1b]0;title\x07 [bold]loud[/bold] \u202egnirts\u202c \x9b2J\r\nsecond"
CALM = "[31mred]0;title [bold]loud[/bold] gnirts 2J second"


def whole_call() -> list[object]:
    """Return one of everything, in the order of a call."""
    echoes = (
        sample.WARM_AIR,
        sample.LOW_SUCTION,
        sample.GOOD_DISCHARGE,
        sample.EVEN_ICE,
        sample.PATCHY_ICE,
    )
    return [
        shown_prompt(sample.ASK_QUALIFICATION, AGENT),
        TypedLine("caller", "yes"),
        BLANK,
        shown_prompt(sample.ASK_REFRIGERANT, AGENT),
        BLANK,
        shown_prompt(sample.ASK_SUCTION, AGENT),
        TypedLine("caller", "24"),
        *(shown_remark(Echo(finding), AGENT) for finding in echoes),
        shown_remark(Echo(sample.NO_VOLTAGE, "We go on without it."), AGENT),
        BLANK,
        shown_prompt(sample.ASK_PATTERN, AGENT),
        BLANK,
        shown_prompt(sample.ASK_SUCTION, TECHNICIAN),
        shown_remark(Echo(sample.LOW_SUCTION), TECHNICIAN),
        BLANK,
        shown_prompt(sample.CONFIRM, AGENT),
        shown_prompt(sample.DOUBT, AGENT),
        shown_remark(NotClear("That is no pressure. Type one such as 62 psi."), AGENT),
        shown_prompt(sample.ASK_SUCTION, AGENT, is_repeat=True),
        shown_remark(Explained("why", "It falls as the ice grows."), AGENT),
        shown_remark(
            Explained("how", "With the gauge set already on.", (sample.PRESSURE_CAUTION,)), AGENT
        ),
        shown_remark(TookBack(sample.AIR, "back"), AGENT),
        shown_remark(NotTaken(sample.AIR, "270 F"), AGENT),
        shown_remark(NoteKept("caller is on a ladder"), AGENT),
        shown_remark(
            CaseSoFar(
                (sample.WARM_AIR, sample.LOW_SUCTION, sample.EVEN_ICE, sample.NO_VOLTAGE),
                ("caller is on a ladder",),
            ),
            AGENT,
        ),
        shown_remark(HelpWanted(("even", "patchy")), AGENT),
        BLANK,
        shown_prompt(sample.CAUTION_ON_THE_WAY, AGENT),
        shown_prompt(sample.CAUTION_AT_THE_GATE, TECHNICIAN),
        shown_remark(CautionAnswered(sample.ICE_CAUTION, True), AGENT),
        shown_remark(CautionAnswered(sample.ICE_CAUTION, False), AGENT),
        shown_remark(StoppedHere(), AGENT),
        BLANK,
        shown_prompt(sample.RECOMMENDED, AGENT),
        shown_prompt(sample.WITHHELD, AGENT),
        shown_prompt(sample.ESCALATED, AGENT),
    ]


@pytest.mark.parametrize("width", [40, 80, 120])
def test_everything_on_the_screen(shown: Shown, snapshot: Snapshot, width: int) -> None:
    text = shown(*whole_call(), width=width)
    assert max(map(len, text.splitlines())) <= width
    snapshot(f"call_{width}", text)


def test_everything_in_plain_lines_for_a_screen_reader(shown: Shown, snapshot: Snapshot) -> None:
    text = shown(*whole_call(), look=Look(is_plain=True))
    assert not set(text) & set("│┃┏┗━◆·")
    snapshot("call_plain", text)


def test_styles_of_a_colored_screen(shown: Shown, snapshot: Snapshot) -> None:
    text = shown(
        shown_prompt(sample.ASK_SUCTION, AGENT),
        TypedLine("caller", "24"),
        shown_remark(Echo(sample.LOW_SUCTION), AGENT),
        shown_remark(Echo(sample.GOOD_DISCHARGE), AGENT),
        shown_prompt(sample.CAUTION_AT_THE_GATE, AGENT),
        look=Look(has_styles=True, has_color=True),
    )
    snapshot("call_colored", text)


def test_wide_and_foreign_characters_keep_their_margin(shown: Shown, snapshot: Snapshot) -> None:
    text = shown(
        TypedLine("caller", "製氷機の氷が落ちない、蒸発器が凍っている。" * 3),
        shown_remark(NoteKept("Лёд не отходит от пластины испарителя уже второй день"), AGENT),
        shown_remark(NoteKept("δεν πέφτει ο πάγος · ყინული · יש קרח"), AGENT),
        width=60,
    )
    snapshot("call_wide_characters", text)
    assert all(line[7] in "│>|" for line in text.splitlines() if line.strip())


@pytest.mark.parametrize("verdict", list(Verdict))
def test_every_verdict_is_said_in_a_word(shown: Shown, verdict: Verdict) -> None:
    finding = replace(sample.LOW_SUCTION, verdict=verdict)
    text = shown(shown_remark(Echo(finding), AGENT))
    words = {
        Verdict.BELOW: "BELOW 28 psig (band 28 to 42 psig)",
        Verdict.WITHIN: "WITHIN 28 to 42 psig",
        Verdict.ABOVE: "ABOVE 42 psig (band 28 to 42 psig)",
        Verdict.OUTSIDE: "NOT NORMAL",
        Verdict.NOTED: "24 psig",
        Verdict.UNKNOWN: "UNKNOWN",
    }
    assert words[verdict] in text


def test_verdict_reads_the_same_with_and_without_color(shown: Shown) -> None:
    remark = shown_remark(Echo(sample.LOW_SUCTION), AGENT)
    colored = shown(remark, look=Look(has_styles=True, has_color=True))
    assert Text.from_ansi(colored).plain.split() == shown(remark).split()


def test_suction_shows_its_dew_point_and_discharge_its_bubble_point(shown: Shown) -> None:
    assert "Dew point of R-404A there: " in shown(shown_remark(Echo(sample.LOW_SUCTION), AGENT))
    assert "Bubble point of R-404A" in shown(shown_remark(Echo(sample.GOOD_DISCHARGE), AGENT))
    assert "point of" not in shown(shown_remark(Echo(sample.WARM_AIR), AGENT))


def test_saturation_is_left_out_where_the_refrigerant_has_none(shown: Shown) -> None:
    finding = replace(sample.GOOD_DISCHARGE, value=sample.gauge_psi(2700.0), band=None)
    assert "point of" not in shown(shown_remark(Echo(finding), AGENT))


def test_a_minute_nobody_said_is_marked_as_assumed(shown: Shown) -> None:
    assumed = " ".join(shown(shown_remark(Echo(sample.LOW_SUCTION), AGENT)).split())
    assert ", taken as minute │ 12." in assumed
    said = shown(shown_remark(Echo(sample.GOOD_DISCHARGE), AGENT))
    assert "at minute 6." in said


def test_agent_reads_out_what_the_technician_is_told_directly(shown: Shown) -> None:
    read_out = shown(shown_prompt(sample.ASK_SUCTION, AGENT))
    told = shown(shown_prompt(sample.ASK_SUCTION, TECHNICIAN))
    assert "Read out:" in read_out
    assert sample.SUCTION_QUESTION.agent in read_out
    assert "Read out:" not in told
    assert sample.SUCTION_QUESTION.technician in told


def test_examples_come_in_the_callers_units_first(shown: Shown) -> None:
    assert "62 psi or 4.3 bar" in shown(shown_prompt(sample.ASK_SUCTION, AGENT))
    assert "4.3 bar gauge or 62 psi" in shown(shown_prompt(sample.ASK_SUCTION, TECHNICIAN))


def test_withheld_card_holds_nothing_of_the_repair(shown: Shown) -> None:
    text = " ".join(shown(shown_prompt(sample.WITHHELD, AGENT)).replace("┃", " ").split())
    assert "withheld" in text.lower()
    for secret in (
        *sample.RECOMMENDED.recommendation.repair,
        *sample.RECOMMENDED.recommendation.replace_together,
        *sample.RECOMMENDED.recommendation.verify,
    ):
        assert secret.lower() not in text.lower()
    assert sample.FEED_CAUSE.machine_state in text
    assert "Cautions acknowledged at the gate, 1 of 2: - Stored pressure" in text
    assert "Not reached: - Falling ice" in text
    assert "start a new call" not in text


@pytest.mark.parametrize("end", [sample.WITHHELD, sample.ESCALATED])
def test_a_call_handed_over_carries_its_readings_the_abnormal_first(
    shown: Shown, end: Prompt
) -> None:
    answers = {
        item.reading.id: Answered(item.reading.id, item.typed, item.value)
        for item in (sample.WARM_AIR, sample.PATCHY_ICE)
    }
    card = shown_prompt(end, replace(AGENT, case=replace(AGENT.case, answers=answers)))
    text = " ".join(shown(card).replace("┃", " ").split())
    assert "Read these out: - pattern of the ice: patchy, NOT NORMAL" in text
    assert "not judged: air temperature at the machine 70 °F" in text


def test_a_refused_caution_is_told_from_those_not_reached(shown: Shown) -> None:
    case = apply(AGENT.case, Refused(sample.ICE_CAUTION.id, "no", "5ea1"))
    end = replace(
        sample.WITHHELD, cautions=((sample.ICE_CAUTION, False), (sample.PRESSURE_CAUTION, False))
    )
    card = shown_prompt(end, replace(AGENT, case=case))
    text = " ".join(shown(card).replace("┃", " ").split())
    assert "Not acknowledged: - Falling ice Not reached: - Stored pressure" in text
    assert "When the caution can be kept, start a new call." in text


def test_a_caution_met_on_the_way_is_marked_when_it_comes_again_at_the_gate(shown: Shown) -> None:
    case = apply(AGENT.case, Acknowledged(sample.ICE_CAUTION.id, "yes", ""))
    card = shown_prompt(sample.CAUTION_AT_THE_GATE, replace(AGENT, case=case))
    assert "CAUTION 2 of 4: Once more: Falling ice" in shown(card)
    assert "Once more" not in shown(shown_prompt(sample.CAUTION_AT_THE_GATE, AGENT))


def test_the_agent_acknowledges_only_what_the_caller_says_will_be_kept_to(shown: Shown) -> None:
    text = shown(shown_prompt(sample.CAUTION_ON_THE_WAY, AGENT)).replace("┃", " ")
    assert (
        "Read this out. Type yes when the caller says it is understood and will be kept to."
        in " ".join(text.split())
    )
    at_gate = shown(shown_prompt(sample.CAUTION_AT_THE_GATE, AGENT))
    assert "Read out. Type yes if understood and kept to; no withholds the repair." in at_gate


def test_the_paths_own_cause_is_ranked_even_where_it_is_not_among_the_first(
    shown: Shown,
) -> None:
    others = tuple(RankedCause(sample.HOT_GAS_CAUSE.id, share) for share in (0.9, 0.05, 0.04))
    conclusion = replace(
        sample.CONCLUSION,
        agreement=Agreement.DISAGREE,
        ranked=(*others, RankedCause(sample.FEED_CAUSE.id, 0.004)),
    )
    card = shown_prompt(replace(sample.RECOMMENDED, conclusion=conclusion), AGENT)
    text = " ".join(shown(card).replace("┃", " ").split())
    assert "under 1 % receiver vapor feed failed (where the questions lead)" in text
    assert (
        'The questions lead to "receiver vapor feed failed"; all readings together put "hot gas '
        'valve does not open" first.'
    ) in text


def test_a_caution_asked_about_is_not_shown_twice(shown: Shown) -> None:
    prompt = sample.CAUTION_AT_THE_GATE
    remark = Explained("why", prompt.caution.text)
    text = shown(shown_remark(remark, AGENT), *shown_next((remark,), prompt, prompt, AGENT))
    assert "It stands above." in text
    assert "Type yes if understood" in text
    assert prompt.caution.text[:20] not in text
    assert "CAUTION" not in text


def test_the_case_so_far_tells_an_assumed_minute_from_one_that_was_said(shown: Shown) -> None:
    remark = CaseSoFar((sample.LOW_SUCTION, sample.GOOD_DISCHARGE), ())
    plain = shown(shown_remark(remark, AGENT), look=Look(is_plain=True))
    text = " ".join(plain.split())
    assert "24 psig (1.7 bar), minute 12 assumed, BELOW" in text
    assert "255 psig (17.6 bar), minute 6, WITHIN" in text


def test_disagreement_of_the_two_ways_is_said_aloud(shown: Shown) -> None:
    conclusion = replace(
        sample.CONCLUSION, agreement=Agreement.DISAGREE, settling_reading=sample.DISCHARGE
    )
    text = shown(shown_prompt(replace(sample.RECOMMENDED, conclusion=conclusion), AGENT))
    assert "do NOT agree" in text
    assert "the reading that would settle it: discharge pressure in the freeze" in text


@pytest.mark.parametrize("look", [Look(), Look(is_plain=True), Look(True, True)])
def test_hostile_text_is_shown_harmlessly_everywhere(shown: Shown, look: Look) -> None:
    reading = replace(sample.PATTERN, name=NASTY)
    finding = replace(sample.EVEN_ICE, reading=reading, reason=NASTY)
    caution = Caution("x", NASTY, NASTY, (), sample.HERE)
    question = replace(
        sample.ASK_PATTERN,
        reading=reading,
        question=replace(sample.ASK_PATTERN.question, agent=NASTY),
    )
    conclusion = replace(
        sample.CONCLUSION,
        ending=replace(sample.ENDING, because=NASTY),
        not_measured=(replace(sample.NO_VOLTAGE, reading=reading, reason=NASTY),),
        settling_reading=reading,
    )
    recommendation = replace(
        sample.RECOMMENDED.recommendation,
        repair=(NASTY,), replace_together=(NASTY,), machine_state=(NASTY,), verify=(NASTY,),
        who=(NASTY,),
    )  # fmt: skip
    text = shown(
        TypedLine("caller", NASTY),
        shown_prompt(question, AGENT),
        shown_prompt(replace(sample.CONFIRM, finding=finding, doubt=NASTY), AGENT),
        shown_prompt(replace(sample.CAUTION_AT_THE_GATE, caution=caution), AGENT),
        shown_remark(Echo(finding, NASTY), AGENT),
        shown_remark(Echo(replace(finding, value=None), NASTY), AGENT),
        shown_remark(Explained("how", NASTY, (caution,)), AGENT),
        shown_remark(NotClear(NASTY), AGENT),
        shown_remark(TookBack(reading, NASTY), AGENT),
        shown_remark(NotTaken(reading, NASTY), AGENT),
        shown_remark(NoteKept(NASTY), AGENT),
        shown_remark(CaseSoFar((finding,), (NASTY,)), AGENT),
        shown_remark(HelpWanted((NASTY,)), AGENT),
        shown_remark(CautionAnswered(caution, False), AGENT),
        shown_prompt(
            replace(
                sample.RECOMMENDED, conclusion=conclusion, recommendation=recommendation,
                cautions=(caution,),
            ),
            AGENT,
        ),
        shown_prompt(
            replace(
                sample.WITHHELD, conclusion=conclusion, reason=NASTY, machine_state=(NASTY,),
                call_whom=NASTY, cautions=((caution, True),),
            ),
            AGENT,
        ),
        shown_prompt(
            replace(
                sample.ESCALATED, conclusion=conclusion, reason=NASTY, machine_state=(NASTY,),
                call_whom=NASTY,
            ),
            AGENT,
        ),
        width=400,
        look=look,
    )  # fmt: skip
    assert text.count("[bold]loud[/bold]") >= 25
    ours = Text.from_ansi(text).plain
    assert all(sign.isprintable() or sign == "\n" for sign in ours)
    assert not set("\x07\x9b\r\u202e\u202c") & set(text)
    assert "\x1b]" not in text
    assert "\x1b[31mred" not in text


def test_hostile_line_keeps_what_can_be_read(shown: Shown) -> None:
    assert shown(TypedLine("you", NASTY), width=120) == f"   you > {CALM}\n"


def test_margin_of_the_line_being_typed_matches_that_of_lines_shown(shown: Shown) -> None:
    for speaker in ("caller", "you"):
        assert shown(TypedLine(speaker, "62")).startswith(typed_margin(speaker) + "62")
        plain = shown(TypedLine(speaker, "62"), look=Look(is_plain=True))
        assert plain.startswith(typed_margin(speaker, is_plain=True) + "62")


def test_nothing_answered_yet_is_said(shown: Shown) -> None:
    assert "Nothing answered yet." in shown(shown_remark(CaseSoFar((), ()), AGENT))


def test_words_are_closed_as_a_sentence() -> None:
    assert sentence("is it so?") == "Is it so?"
    assert sentence("  ") == ""
