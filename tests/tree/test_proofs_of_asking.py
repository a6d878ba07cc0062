"""Each reading is asked where it belongs, behind what it is judged by, and once."""

from __future__ import annotations

from dataclasses import replace
from types import MappingProxyType

import pytest

from tests.conversation import shipped_engine
from tests.tree.broken_trees import findings, the_finding
from tests.tree.miniature import READINGS, sound_draft
from triage.tree.content import Content, Question, Stage
from triage.tree.proofs import Finding, prove
from triage.tree.proofs_of_asking import ALSO_AT_THE_SITE, HARVEST_READINGS

CONTENT = shipped_engine().content
SHIPPED = [question for tree in CONTENT.trees.values() for question in tree.questions.values()]


def with_question(question: Question, tree_id: str = "will_not_release") -> Content:
    tree = CONTENT.trees[tree_id]
    questions = MappingProxyType({**tree.questions, question.id: question})
    return replace(CONTENT, trees={**CONTENT.trees, tree_id: replace(tree, questions=questions)})


def told(content: Content, pattern: str, tree_id: str = "will_not_release") -> list[Finding]:
    return [each for each in prove(content, tree_id) if pattern in each.message]


class TestHarvestReadings:
    @pytest.mark.parametrize("stage", ["machine", "site", "freeze"])
    def test_one_asked_under_another_stage_is_found(self, stage: str) -> None:
        draft = sound_draft()
        draft.questions["early_look"] = (
            "harvest_suction_pressure", stage, {"else": "bridge" if stage != "freeze" else "time"}
        )  # fmt: skip
        draft.route("bridge" if stage == "freeze" else "which", else_="early_look")
        finding = the_finding(draft, "question early_look asks for harvest_suction_pressure, which")
        assert f"in stage {stage}; write stage: harvest" in finding.message
        assert finding.path[-1] == "early_look"

    @pytest.mark.parametrize("reading", sorted(HARVEST_READINGS))
    def test_it_goes_by_the_reading(self, reading: str) -> None:
        (question, *_) = (each for each in SHIPPED if each.reading == reading)
        tree = next(each.id for each in CONTENT.trees.values() if question.id in each.questions)
        moved = replace(question, stage=Stage.FREEZE)
        assert told(with_question(moved, tree), f"{reading}, which belongs to the harvest", tree)

    @pytest.mark.parametrize("reading", sorted(ALSO_AT_THE_SITE))
    def test_the_exceptions_are_needed_by_a_tree(self, reading: str) -> None:
        assert any(each.reading == reading and each.stage is Stage.SITE for each in SHIPPED)


class TestRefrigerant:
    def test_a_gauge_before_the_refrigerant_is_found(self) -> None:
        draft = sound_draft()
        draft.files["readings.yaml"] = READINGS + "  gas: {name: gas, kind: refrigerant}\n"
        finding = the_finding(draft, "question early can be asked before gas, and then no gauge")
        assert finding.message.endswith("(and 3 more)")
        draft.ask("gas", "gas", "machine", else_="bridge")
        draft.route("which", else_="gas")
        draft.most_questions += 1
        assert findings(draft) == []

    def test_superheat_and_subcooling_are_gauge_readings(self) -> None:
        tree = CONTENT.trees["will_not_release"]
        gas = next(name for name, each in tree.questions.items() if each.reading == "refrigerant")
        asked = replace(tree.questions[gas], reading="condenser_kind")
        (finding,) = told(with_question(asked), "before refrigerant")
        gauges = [
            each
            for each in tree.questions.values()
            if each.reading in ("suction_superheat", "liquid_subcooling")
            or CONTENT.readings[each.reading].kind == "gauge_pressure"
        ]
        assert finding.message.endswith(f"(and {len(gauges) - 1} more)")


class TestAskedTwice:
    def test_a_question_that_comes_too_late_is_found(self) -> None:
        draft = sound_draft()
        draft.ask("again", "freeze_time", "freeze", else_="high")
        draft.route("late", else_="again")
        draft.most_questions += 1
        finding = the_finding(draft, "question again asks for freeze_time again: time asked for it")
        assert finding.path[-1] == "again"

    def test_one_on_another_way_is_not(self) -> None:
        draft = sound_draft()
        draft.ask("again", "freeze_time", "freeze", else_="pattern")
        draft.route("bridge", unknown="again")
        assert findings(draft) == []

    def test_neither_is_one_of_another_file(self) -> None:
        tree = CONTENT.trees["low_production"]
        files = {
            question.place.file
            for question in tree.questions.values()
            if question.reading == "batch_ice_mass"
        }
        assert len(files) > 1
        assert told(CONTENT, "again:", "low_production") == []
