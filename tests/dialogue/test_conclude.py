"""The path's conclusion beside the ranking: agreement, contradiction, and what settles it."""

from __future__ import annotations

from dataclasses import replace

import pytest

from tests.conversation import FEED_FAILED, SOUND_FREEZE, ending, shipped_engine, up_to
from triage.dialogue.case import Case, fold
from triage.dialogue.conclude import (
    LONGEST_SHORTLIST,
    agreement_of,
    conclude,
    recommend,
    shortlist,
)
from triage.dialogue.ends import NOT_LICENSED, end_of_call
from triage.dialogue.events import Acknowledged, Answered
from triage.dialogue.second_thoughts import PLAINLY_LESS, is_contradicted
from triage.dialogue.view import (
    Agreement,
    AskCaution,
    AskQuestion,
    Conclusion,
    Escalated,
    Finding,
    RankedCause,
    Recommended,
    Verdict,
    Withheld,
)
from triage.dialogue.walk import walk
from triage.tree.content import Ending, Stage

ENGINE = shipped_engine()
CONTENT = ENGINE.view
FEED, VALVE = "receiver_vapor_feed_failed", "hot_gas_valve_not_opening"
OUTCOME = "manifold_test_result"


def ending_of(cause: str) -> Ending:
    return next(item for item in ENGINE.tree.endings.values() if item.causes == (cause,))


def at_the_end() -> tuple[Case, dict[str, Finding]]:
    """Return the failed-feed case before its last question, and its findings."""
    case = up_to(OUTCOME)
    return case, dict(walk(ENGINE.graph, CONTENT, case).findings)


def ranked(*pairs: tuple[str, float]) -> tuple[RankedCause, ...]:
    return tuple(RankedCause(*pair) for pair in pairs)


def concluded(cause: str, order: tuple[RankedCause, ...]) -> Conclusion:
    """Return a conclusion of one cause beside a ranking made up for it."""
    _case, findings = at_the_end()
    made = conclude(CONTENT, ending_of(cause), findings)
    return replace(made, ranked=order, agreement=agreement_of(made.ending, order))


def test_the_two_ways_agree_when_the_likeliest_cause_is_the_paths() -> None:
    _case, findings = at_the_end()
    conclusion = conclude(CONTENT, ending_of(FEED), findings)
    assert conclusion.agreement is Agreement.AGREE
    assert conclusion.settling_reading is None
    assert not is_contradicted(conclusion)


def test_the_two_ways_disagree_when_it_is_another_and_a_reading_may_settle_it() -> None:
    _case, findings = at_the_end()
    conclusion = conclude(CONTENT, ending_of("expansion_valve_flooding"), findings)
    assert conclusion.agreement is Agreement.DISAGREE
    assert conclusion.settling_reading is not None


def test_an_escalation_leaves_the_agreement_open() -> None:
    escalation = next(item for item in ENGINE.tree.endings.values() if item.escalate)
    assert agreement_of(escalation, ranked((FEED, 1.0))) is Agreement.OPEN


@pytest.mark.parametrize(
    ("order", "is_against"),
    [
        (ranked((VALVE, 0.85), (FEED, 0.05)), True),
        (ranked((VALVE, 0.6), (FEED, 0.6 * PLAINLY_LESS - 0.001)), True),
        (ranked((VALVE, 0.6), (FEED, 0.6 * PLAINLY_LESS)), False),
        (ranked((VALVE, 0.49), (FEED, 0.47)), False),
        (ranked((FEED, 0.6), (VALVE, 0.4)), False),
    ],
)
def test_a_path_is_contradicted_by_a_cause_plainly_likelier_than_its_own(
    order: tuple[RankedCause, ...], is_against: bool
) -> None:
    assert is_contradicted(concluded(FEED, order)) is is_against


def test_a_contradicted_path_is_escalated_and_names_both_sides_and_what_settles_it() -> None:
    case, findings = at_the_end()
    wrong = ending_of("expansion_valve_flooding")
    conclusion = conclude(CONTENT, wrong, findings)
    assert is_contradicted(conclusion)
    end = end_of_call(CONTENT, ENGINE.tree, wrong, case, findings, Stage.CONFIRM)
    while isinstance(end, (AskQuestion, AskCaution)):  # what would settle it is asked for first
        if isinstance(end, AskCaution):
            case = fold([Acknowledged(end.caution.id, "yes")], case)
        else:
            case = fold([Answered(end.reading.id, "unknown", None, "not to be had")], case)
        end = end_of_call(CONTENT, ENGINE.tree, wrong, case, findings, Stage.CONFIRM)
    assert isinstance(end, Escalated)
    assert CONTENT.causes["expansion_valve_flooding"].name in end.reason
    assert CONTENT.causes[conclusion.ranked[0].cause].name in end.reason
    assert end.conclusion.settling_reading is not None
    assert end.conclusion.settling_reading.name in end.reason
    assert end.machine_state
    assert end.call_whom


def test_a_licensed_repair_is_withheld_from_anybody_else_and_says_whom_to_call() -> None:
    case, findings = at_the_end()
    held = replace(case, is_held_unlicensed=True)
    end = end_of_call(CONTENT, ENGINE.tree, ending_of(FEED), held, findings, Stage.CONFIRM)
    assert isinstance(end, Withheld)
    assert end.reason == NOT_LICENSED
    assert end.machine_state[0] == CONTENT.causes[FEED].machine_state
    assert end.call_whom == CONTENT.causes[FEED].who
    assert not any(is_yes for _, is_yes in end.cautions)


@pytest.mark.parametrize("cause", list(CONTENT.causes))
def test_every_cause_is_reached_by_an_ending_or_stands_on_a_shortlist(cause: str) -> None:
    endings = ENGINE.tree.endings.values()
    assert any(cause in item.causes or cause in item.shortlist for item in endings)


@pytest.mark.parametrize("name", [k for k, v in ENGINE.tree.endings.items() if v.escalate])
def test_an_escalation_blames_a_few_of_its_own_causes_and_says_the_safe_state(name: str) -> None:
    item = replace(ENGINE.tree.endings[name], settles=())
    order = ranked(*((cause, 0.05) for cause in CONTENT.causes))
    listed = shortlist(item, order)
    assert len(listed) == min(LONGEST_SHORTLIST, len(item.shortlist))
    assert set(listed) <= set(item.shortlist)
    case, findings = at_the_end()
    end = end_of_call(CONTENT, ENGINE.tree, item, case, findings, Stage.CONFIRM)
    assert isinstance(end, Escalated)
    assert end.reason == item.escalate
    assert "".join(end.machine_state)
    assert end.call_whom


@pytest.mark.parametrize("name", [k for k, v in ENGINE.tree.endings.items() if v.causes])
def test_a_recommendation_is_complete_for_every_concluding_ending(name: str) -> None:
    case, _ = at_the_end()
    made = recommend(CONTENT, case, ENGINE.tree.endings[name])
    assert made.repair
    assert made.machine_state
    assert made.verify
    assert made.who
    assert len(set(made.verify)) == len(made.verify)
    assert made.expected_after_repair


def test_without_machine_and_refrigerant_nothing_is_promised_for_after_the_repair() -> None:
    case, _ = at_the_end()
    unnamed = {key: item for key, item in case.answers.items()
               if key not in ("machine", "refrigerant")}  # fmt: skip
    made = recommend(CONTENT, replace(case, answers=unnamed), ending_of(FEED))
    assert made.expected_after_repair == ()
    assert made.repair


def test_what_was_not_measured_is_told_with_its_reason() -> None:
    end, _ = ending({**FEED_FAILED, "hot_gas_line_temperature": "unknown no clamp"})
    assert isinstance(end, (Recommended, Escalated))
    missing = {item.reading.id: item for item in end.conclusion.not_measured}
    assert missing["hot_gas_line_temperature"].reason == "no clamp"
    assert all(item.verdict is Verdict.UNKNOWN for item in missing.values())


def test_a_sound_freeze_is_no_evidence_against_a_harvest_fault() -> None:
    end, _ = ending(FEED_FAILED)
    assert isinstance(end, Recommended)
    against = {item.finding.reading.id for item in end.conclusion.evidence_against}
    assert not against & set(SOUND_FREEZE)
    speaking = {item.finding.reading.id for item in end.conclusion.evidence_for}
    assert {"harvest_suction_pressure", "harvest_discharge_pressure", OUTCOME} <= speaking
