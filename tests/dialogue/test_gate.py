"""The gate: whatever is said in whatever order, it opens only for each caution by itself."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import pytest
from hypothesis import settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, invariant, rule

from tests.conversation import FEED_FAILED, ending, opened, say, shipped_engine, up_to
from triage.dialogue import gate
from triage.dialogue.case import Case, fold
from triage.dialogue.events import Acknowledged, Answered, Event, Refused
from triage.dialogue.view import AskCaution, AskQuestion, Escalated, Recommended, Withheld
from triage.tree.content import Side


def at_the_gate() -> Case:
    """Return the failed-feed case at its first gate caution."""
    case = up_to("manifold_test_result")
    case, _ = say(case, FEED_FAILED["manifold_test_result"])
    prompt = shipped_engine().prompt(case)
    assert isinstance(prompt, AskCaution)
    assert prompt.seal
    return case


def acknowledge_all(case: Case) -> Case:
    """Return the case after yes to every caution that comes."""
    while isinstance(shipped_engine().prompt(case), AskCaution):
        case, _ = say(case, "yes")
    return case


def test_each_caution_is_acknowledged_by_itself() -> None:
    case = at_the_gate()
    first = shipped_engine().prompt(case)
    assert isinstance(first, AskCaution)
    for _ in range(first.of):
        prompt = shipped_engine().prompt(case)
        assert isinstance(prompt, AskCaution)
        case, _ = say(case, "yes")
    assert isinstance(shipped_engine().prompt(case), Recommended)


@pytest.mark.parametrize("words", ["maybe", "yes but I am in a hurry", "all", "skip", "62 psi", ""])
def test_nothing_but_a_plain_yes_or_no_answers_a_caution(words: str) -> None:
    case = at_the_gate()
    before = shipped_engine().prompt(case)
    case, _ = say(case, words)
    assert shipped_engine().prompt(case) == before


def test_a_no_ends_the_call_with_the_repair_withheld() -> None:
    case, _ = say(at_the_gate(), "yes", "no")
    assert isinstance(shipped_engine().prompt(case), Withheld)
    case, _ = say(case, "yes", "back", "change manifold")
    assert isinstance(shipped_engine().prompt(case), Withheld)


def test_going_back_shuts_the_gate_again() -> None:
    case, _ = say(at_the_gate(), "yes", "yes", "back", "unknown no port")
    prompt = shipped_engine().prompt(case)
    assert isinstance(prompt, AskCaution)
    assert prompt.number == 1


def test_acknowledgements_of_another_answer_do_not_fit() -> None:
    case = at_the_gate()
    prompt = shipped_engine().prompt(case)
    assert isinstance(prompt, AskCaution)
    cautions = shipped_engine().content.cautions
    forged = fold([Acknowledged(caution, "yes", "0" * 16) for caution in cautions], case)
    assert shipped_engine().prompt(forged) == prompt


def test_an_unlicensed_call_never_becomes_a_licensed_one() -> None:
    case, _ = say(opened(), "no", "will not drop", "change qualification", "yes both")
    assert not case.is_licensed
    slipped_in = fold([Answered("caller_qualification", "yes", "licensed")], case)
    assert not slipped_in.is_licensed


def test_a_slip_of_the_first_answer_can_be_mended_at_once() -> None:
    case, _ = say(opened(), "no", "back", "yes both")
    assert case.is_licensed


@pytest.mark.parametrize(
    ("refrigerant", "caution"),
    [("R-290", "flammable_a3"), ("R-454C", "flammable_a2l")],
)
def test_a_flammable_refrigerant_brings_its_caution(refrigerant: str, caution: str) -> None:
    case = fold([Answered("refrigerant", refrigerant, refrigerant)], at_the_gate())
    engine = shipped_engine()
    any_ending = next(item for item in engine.tree.endings.values() if item.causes)
    ids = {item.id for item in gate.gate_cautions(engine.content, case, any_ending)}
    assert caution in ids


def test_an_unnamed_refrigerant_counts_as_one_that_burns_where_the_repair_comes_near_it() -> None:
    content = shipped_engine().content
    near, far = "refrigerant_undercharge", "water_filter_spent"
    assert not gate.NEAR_THE_REFRIGERANT & set(content.causes[far].hazards)
    some = next(item for item in shipped_engine().tree.endings.values() if item.causes)

    def warned(cause: str, case: Case) -> bool:
        concluded = replace(some, causes=(cause,))
        return "flammable_a3" in {item.id for item in gate.gate_cautions(content, case, concluded)}

    assert warned(near, opened())
    assert not warned(far, opened()), "staff who change a filter have no gas detector"
    named = fold([Answered("refrigerant", "R-290", "R-290")], opened())
    assert warned(far, named)


def test_licensed_repairs_are_withheld_from_an_unlicensed_caller_and_others_are_not() -> None:
    sound = {**FEED_FAILED, "caller_qualification": "no"}
    end, _ = ending({**sound, "water_flow_over_plate": "none", "ice_pattern": "patchy"})
    assert isinstance(end, (Recommended, Withheld))
    if isinstance(end, Recommended):
        causes = [shipped_engine().content.causes[cause] for cause in end.conclusion.causes]
        assert not any(gate.LICENSED_WORK.intersection(cause.hazards) for cause in causes)


def test_a_gauge_reading_taken_back_is_not_asked_while_the_qualification_is_open() -> None:
    case = up_to("discharge_line_temperature")
    case, _ = say(case, "change qualification", "change early suction")
    prompt = shipped_engine().prompt(case)
    assert isinstance(prompt, AskQuestion)
    assert prompt.reading.id == "caller_qualification"
    case, _ = say(case, "yes both")
    prompt = shipped_engine().prompt(case)
    assert isinstance(prompt, AskQuestion)
    assert prompt.reading.id == "freeze_suction_pressure_early"


@pytest.mark.parametrize(
    "claim", ["yep, I'm the manager", "yes, the owner", "I was licensed", "technician", "62 psi"]
)
def test_a_license_is_never_read_out_of_a_vague_line(claim: str) -> None:
    case, _ = say(opened(), claim)
    assert not case.is_licensed


LINES: Sequence[str] = (
    "yes", "no", "back", "unknown", "change suction", "change early suction",
    "change qualification", "62 psi", "305 psi",
    "125 psi", "73 psi", "39 psi", "168 F", "14:20", "even", "running", "R-410A", "Gletsch R500",
    "70 F", "24 V", "15 ohm", "OL", "loose", "scaled", "will not drop", "1/8 in", "note hello",
    "suction 62, head 305", "R-290", "none", "why", "0 V", "cold", "no change", "nonsense",
)  # fmt: skip


class AnyOrder(RuleBasedStateMachine):
    """A caller who says anything at any time, with a lean toward useful answers."""

    def __init__(self) -> None:
        super().__init__()
        self.case = opened()
        self.events: list[Event] = []

    def _say(self, line: str) -> None:
        turn = shipped_engine().turn(self.case, line)
        self.events.extend(turn.events)
        self.case = fold(turn.events, self.case)

    @rule(line=st.sampled_from(LINES))
    def says_anything(self, line: str) -> None:
        """One line out of the lot."""
        self._say(line)

    @rule(count=st.integers(1, 25))
    def answers_sensibly(self, count: int) -> None:
        """What the failed-feed caller would say, for a while."""
        for _ in range(count):
            prompt = shipped_engine().prompt(self.case)
            reading = prompt.reading.id if isinstance(prompt, AskQuestion) else ""
            self._say(FEED_FAILED.get(reading, "yes"))

    @invariant()
    def the_gate_holds(self) -> None:
        """A recommendation stands on acknowledgements given after the last change."""
        prompt = shipped_engine().prompt(self.case)
        if not isinstance(prompt, Recommended):
            return
        ending_ = prompt.conclusion.ending
        seal = gate.seal_of(shipped_engine().content, self.case, ending_, prompt.cautions)
        given = {
            event.caution
            for event in self.events
            if isinstance(event, Acknowledged) and event.seal == seal
        }
        assert given >= {caution.id for caution in prompt.cautions}
        assert not any(isinstance(event, Refused) and event.seal == seal for event in self.events)
        if gate.needs_licensed_caller(shipped_engine().content, ending_):
            assert self.case.is_licensed

    @invariant()
    def harvest_parts_need_a_sound_freeze(self) -> None:
        """No harvest cause is concluded without a healthy freeze and its discharge line."""
        prompt = shipped_engine().prompt(self.case)
        if not isinstance(prompt, (Recommended, Withheld)):
            return
        content = shipped_engine().content
        if not any(content.causes[c].side is Side.HARVEST for c in prompt.conclusion.causes):
            return
        found = {item.reading.id: item for item in shipped_engine().findings(self.case)}
        assert found["discharge_line_temperature"].outcome == "within"
        assert found["ice_pattern"].outcome == "even"

    @invariant()
    def an_unlicensed_caller_is_not_asked_to_open_or_measure(self) -> None:
        """Licensed readings are never asked of anybody else."""
        prompt = shipped_engine().prompt(self.case)
        if isinstance(prompt, AskQuestion) and not self.case.is_licensed:
            assert not prompt.reading.is_licensed
        if isinstance(prompt, Escalated):
            assert prompt.machine_state
            assert prompt.call_whom


TestAnyOrder = AnyOrder.TestCase
TestAnyOrder.settings = settings(
    derandomize=True, max_examples=40, stateful_step_count=25, deadline=None
)
