"""The way a call took, for a drawing of its tree: where it went, what it met, where it ended."""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise

import pytest

from tests.conversation import FEED_FAILED, TREE, ending, opened, say, shipped_engine, up_to
from triage.dialogue.case import Case, fold
from triage.dialogue.drawn import gates_of, trail_of
from triage.dialogue.engine import Engine
from triage.dialogue.events import Concluded
from triage.dialogue.gate import gate_cautions
from triage.dialogue.view import AskCaution, Escalated, Recommended, Withheld
from triage.tree.drawing.trail import Trail
from triage.tree.graph import NodeKind

ENGINE = shipped_engine()
LOW_PRESSURES = {
    **FEED_FAILED,
    "freeze_time": "19:30",
    "ice_pattern": "thin where the suction line leaves",
    "freeze_suction_pressure_early": "52 psi at 2 min",
    "freeze_suction_pressure_late": "22 psi",
    "freeze_discharge_pressure": "215 psi at 6 min",
    "liquid_subcooling": "0 F",
    "suction_superheat": "30 F",
}
"""The failed-feed caller with a machine that leaks instead: invented readings."""


def trail(case: Case) -> Trail:
    return trail_of(ENGINE, case, "20261125-0931-aaaa")


def at_gate(case: Case) -> AskCaution:
    prompt = ENGINE.prompt(case)
    assert isinstance(prompt, AskCaution)
    assert prompt.seal
    return prompt


def before_the_gate() -> Case:
    """Return the case in front of the first caution of its gate."""
    _, case = ending(FEED_FAILED)
    met = {(caution, seal) for caution, seal in case.acknowledged if seal}
    return replace(case, acknowledged=case.acknowledged - met)


def test_a_trail_is_a_path_of_the_graph_from_its_start_to_the_repair() -> None:
    prompt, case = ending(FEED_FAILED)
    assert isinstance(prompt, Recommended)
    path = trail(case).path
    graph = ENGINE.graph
    assert path[0] == graph.graph["start"]
    assert all(graph.has_edge(*step) for step in pairwise(path))
    assert [graph.nodes[name]["kind"] for name in path[-3:]] == [
        NodeKind.ENDING, NodeKind.GATE, NodeKind.RECOMMENDATION,
    ]  # fmt: skip
    assert path[-3] == prompt.node


def test_a_question_says_how_it_was_answered_and_a_fork_which_rule_held() -> None:
    _, case = ending(FEED_FAILED)
    found = trail(case)
    readings = {question.reading: name for name, question in ENGINE.tree.questions.items()
                if name in found.path}  # fmt: skip
    assert found.marks[readings["ice_released"]] == 'answered, "no, nothing dropped"'
    assert found.marks[readings["harvest_suction_pressure"]] == "answered, below"
    assert found.marks[readings["condenser_kind"]].startswith("worked out, ")
    for name in found.path:
        if ENGINE.graph.nodes[name]["kind"] is NodeKind.JUNCTION:
            following = found.path[found.path.index(name) + 1]
            rules = ENGINE.graph.nodes[name]["rules"]
            taken = ENGINE.graph.edges[name, following]["rules"]
            told = found.marks[name]
            assert told in {
                "no rule holds" if rule is None else f"rule ({rules.index(rule) + 1}) holds"
                for rule in taken
            }


def test_a_caution_says_what_was_answered_to_it_or_that_it_does_not_apply() -> None:
    _, case = ending(FEED_FAILED)
    found = trail(case)
    told = {found.marks[name] for name in found.path if name.startswith("caution:gauges")}
    assert told == {"acknowledged"}
    # R-410A does not burn.
    told = {found.marks[name] for name in found.path if name.startswith("caution:flammable")}
    assert told == {"does not apply"}


def test_a_refused_caution_says_so_and_its_reading_is_unknown() -> None:
    case = up_to("freeze_suction_pressure_early")
    met = case.acknowledged - {("gauges_under_pressure", "")}
    case = replace(case, acknowledged=met)
    assert isinstance(ENGINE.prompt(case), AskCaution)
    case, _ = say(case, "no")
    found = trail(case)
    refused = [name for name, mark in found.marks.items() if mark == "refused"]
    assert [name.partition("@")[0] for name in refused] == ["caution:gauges_under_pressure"]
    question = refused[0].partition("@")[2]
    assert found.marks[question].endswith("unknown")


def test_an_open_gate_lists_every_caution_as_acknowledged() -> None:
    prompt, case = ending(FEED_FAILED)
    assert isinstance(prompt, Recommended)
    found = trail(case)
    assert [(caution.title, caution.mark) for caution in found.gate] == [
        (caution.title, "acknowledged") for caution in prompt.cautions
    ]
    count = len(prompt.cautions)
    assert found.lines[1] == f"Safety gate: {count} of {count} cautions acknowledged."
    assert found.marks[prompt.node] == "ended here, the repair was told"


def test_a_call_at_its_gate_says_which_caution_waits() -> None:
    case = before_the_gate()
    first = at_gate(case)
    case, _ = say(case, "yes")
    second = at_gate(case)
    found = trail(case)
    assert [(caution.title, caution.mark) for caution in found.gate] == [
        (first.caution.title, "acknowledged"),
        (second.caution.title, "waits for an answer"),
    ]
    assert found.lines[1] == f"Safety gate: 1 of {second.of} cautions acknowledged."
    assert ENGINE.graph.nodes[found.path[-1]]["kind"] is NodeKind.ENDING
    assert found.marks[found.path[-1]] == "the call waits here, at the gate"


def test_a_refusal_at_the_gate_is_told_and_no_repair_is_on_the_path() -> None:
    case, _ = say(before_the_gate(), "yes", "no")
    prompt = ENGINE.prompt(case)
    assert isinstance(prompt, Withheld)
    found = trail(case)
    marks = [caution.mark for caution in found.gate]
    assert marks[:3] == ["acknowledged", "refused", "not asked"]
    assert found.marks[prompt.node].startswith("ended here, the repair was withheld.")
    kinds = {ENGINE.graph.nodes[name]["kind"] for name in found.path}
    assert not kinds & {NodeKind.GATE, NodeKind.RECOMMENDATION}


def test_an_unlicensed_caller_is_marked_as_not_asked_what_takes_a_license() -> None:
    prompt, case = ending({**FEED_FAILED, "caller_qualification": "no, I own the place"})
    assert isinstance(prompt, Escalated)
    found = trail(case)
    assert any(mark == "not asked of this caller, so unknown" for mark in found.marks.values())
    assert found.marks[prompt.node].startswith("ended here, handed over.")
    assert not found.gate


def test_an_open_call_stands_where_it_waits() -> None:
    case = up_to("ice_bridge_thickness")
    found = trail(case)
    prompt = ENGINE.prompt(case)
    assert found.path[-1] == prompt.node
    assert found.marks[prompt.node] == "the call waits here"
    assert found.lines[0].endswith(f"not ended; it waits at {prompt.node}.")


def test_a_call_not_begun_stands_at_the_first_question() -> None:
    assert trail(opened()).path == (ENGINE.graph.graph["start"],)


def test_where_all_readings_settle_it_the_end_is_no_step_of_the_path() -> None:
    prompt, case = ending(LOW_PRESSURES)
    assert isinstance(prompt, Recommended)
    found = trail(case)
    assert found.leap is not None
    assert found.leap.target == prompt.node
    assert not ENGINE.graph.has_edge(found.leap.source, prompt.node)
    boxes = [name for name in found.path if ENGINE.graph.nodes[name]["kind"] in
             (NodeKind.QUESTION, NodeKind.JUNCTION)]  # fmt: skip
    assert boxes[-1] == found.leap.source
    # No caution of a question that was never put is taken for passed.
    assert all(name.partition("@")[2] in found.path for name in found.path
               if name.startswith("caution:"))  # fmt: skip


def test_another_content_and_another_end_in_the_record_are_told() -> None:
    prompt, case = ending(FEED_FAILED)
    older = fold([Concluded("coil_open", "recommended", ("harvest_coil_open",))], case)
    lines = trail(replace(older, content_version="0" * 64)).lines
    assert "The call was held with other content; its answers are judged with this one." in lines
    assert "By its record it ended at coil_open." in lines
    same = trail(fold([Concluded(prompt.node, "recommended", ())], case)).lines
    assert not [line for line in same if "record" in line]


def test_a_call_that_ended_with_other_content_is_told_as_its_record_has_it() -> None:
    """Its seals open no gate today, but the repair was told and the cautions acknowledged."""
    prompt, case = ending(FEED_FAILED)
    assert isinstance(prompt, Recommended)
    case = fold([ENGINE.end_event(case)], case)
    changed = Engine(replace(ENGINE.content, version="0" * 64), TREE)
    assert isinstance(changed.prompt(case), AskCaution)
    found = trail_of(changed, case, "x")
    assert found.marks[prompt.node] == "ended here, the repair was told"
    assert [(caution.title, caution.mark) for caution in found.gate] == [
        (caution.title, "acknowledged") for caution in prompt.cautions
    ]
    assert ENGINE.graph.nodes[found.path[-1]]["kind"] is NodeKind.RECOMMENDATION


@pytest.mark.parametrize("tree_id", ENGINE.content.trees)
def test_a_gate_in_a_drawing_asks_for_what_the_gate_of_a_call_asks_for(tree_id: str) -> None:
    content = ENGINE.content
    tree = content.trees[tree_id]
    drawn = gates_of(content, tree)
    assert drawn.keys() == {each.id for each in tree.endings.values() if each.possible_causes}
    burning = {each.title for each in content.cautions.values() if each.id.startswith("flammable")}
    for ending_ in tree.endings.values():
        for cause in ending_.possible_causes:
            asked = gate_cautions(content, Case(), replace(ending_, causes=(cause,)))
            assert {each.title for each in asked} - burning <= set(drawn[ending_.id])
