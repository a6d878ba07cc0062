"""What readings may settle on at an escalation is read, checked and proved like a conclusion."""

from __future__ import annotations

import pytest

from tests.conversation import shipped_engine
from tests.tree.miniature import ESCALATION, FOLDER, TREE, Draft, Rule, broken, sound_draft
from tests.tree.test_proofs import findings, the_finding
from triage.tree.content import Side
from triage.tree.errors import ContentErrors
from triage.tree.graph import NodeKind, build_graph
from triage.tree.load import content_from_files

Case = tuple[str, str, str]


def open_on(draft: Draft, ending: str, *settles: str) -> None:
    """Make an ending an escalation whose readings may settle on these causes."""
    listed = ", ".join(dict.fromkeys((*settles, "nothing_wrong")))
    draft.endings[ending] = f"{ESCALATION}, shortlist: [{listed}], settles: [{', '.join(settles)}]"


# Reading.

MISTAKES: dict[str, Case] = {
    "a cause that is not in the shortlist is refused": (
        "shortlist: [nothing_wrong]", "shortlist: [nothing_wrong], settles: [»thin_charge]",
        'ending "hand_on" settles on "thin_charge", which is not in its shortlist; add it there',
    ),
    "an unknown cause gets the nearest valid one": (
        "shortlist: [nothing_wrong]", "shortlist: [nothing_wrong], settles: [»nothing_wong]",
        'ending "hand_on" names "nothing_wong", which is no cause; did you mean "nothing_wrong"?',
    ),
    "a conclusion settles nothing more": (
        "causes: [feed_failed]", "causes: [feed_failed], settles: »[feed_failed]",
        'ending "feed" concludes, and only an escalation has "settles"; drop it',
    ),
    "a text where a list belongs is refused": (
        "shortlist: [nothing_wrong]", "shortlist: [nothing_wrong], settles: »nothing_wrong",
        'ending "hand_on" wants a list under "settles", such as [one, two], not the text '
        '"nothing_wrong"',
    ),
}  # fmt: skip


@pytest.mark.parametrize("name", MISTAKES)
def test_a_mistake_is_told_with_its_place(name: str) -> None:
    old, new, message = MISTAKES[name]
    files, place = broken(TREE, old, new)
    with pytest.raises(ContentErrors) as caught:
        content_from_files(FOLDER, files)
    assert f"{place} {message}" in [str(mistake) for mistake in caught.value.mistakes]


def test_what_is_settled_on_is_read_in_its_order() -> None:
    draft = sound_draft()
    open_on(draft, "hand_on", "thin_charge", "nothing_wrong")
    endings = draft.content().trees["sticks"].endings
    assert endings["hand_on"].settles == ("thin_charge", "nothing_wrong")
    assert endings["hand_on"].possible_causes == ("thin_charge", "nothing_wrong")
    assert endings["feed"].settles == ()
    assert endings["feed"].possible_causes == endings["feed"].causes == ("feed_failed",)


# Proving.


def test_an_escalation_that_may_settle_has_a_gate_and_a_recommendation() -> None:
    draft = sound_draft()
    open_on(draft, "hand_on", "thin_charge")
    graph = build_graph(draft.content(), "sticks")
    assert findings(draft) == []
    assert graph.nodes["gate:hand_on"]["kind"] is NodeKind.GATE
    assert graph.nodes["recommendation:hand_on"]["kind"] is NodeKind.RECOMMENDATION
    plain = build_graph(sound_draft().content(), "sticks")
    assert "gate:hand_on" not in plain
    assert list(plain.successors("hand_on")) == []


def test_a_harvest_cause_settled_on_without_a_sound_freeze_is_found() -> None:
    draft = sound_draft()
    # Hand_on is where an unsound freeze leads, and where a bad coil does.
    open_on(draft, "hand_on", "feed_failed")
    finding = the_finding(draft, "ending hand_on concludes feed_failed on a freeze not known")
    assert finding.path[-1] == "hand_on"
    assert "is_freeze_sound" in finding.path


def test_a_harvest_cause_settled_on_inside_the_harvest_needs_no_more() -> None:
    draft = sound_draft()
    draft.endings["weak"] = ""
    open_on(draft, "weak", "feed_failed")
    draft.route("harvest", unknown="weak")
    assert findings(draft) == []


def test_a_valve_settled_on_without_the_coil_asked_is_found() -> None:
    draft = sound_draft()
    draft.endings["weak"] = ""
    open_on(draft, "weak", "feed_failed")
    draft.route("harvest", unknown="weak")
    del draft.questions["coil"]
    draft.junctions["is_freeze_sound"][1][0].then = "harvest"
    found = [each.message for each in findings(draft)]
    assert any(m.startswith("ending weak concludes feed_failed without a good coil") for m in found)


@pytest.mark.parametrize("outcome", ["below", "above", "unknown"])
def test_a_valve_settled_on_behind_a_coil_supply_not_good_is_found(outcome: str) -> None:
    draft = sound_draft()
    draft.endings["weak"] = ""
    open_on(draft, "weak", "feed_failed")
    draft.route("coil", **{outcome: "weak"})
    finding = the_finding(draft, "ending weak concludes feed_failed without a good coil check")
    assert finding.path[-2:] == ("coil", "weak")


def test_a_valve_beside_a_harmless_cause_is_found_all_the_same() -> None:
    draft = sound_draft()
    draft.endings["weak"] = ""
    open_on(draft, "weak", "nothing_wrong", "feed_failed")
    draft.route("coil", unknown="weak")
    assert "feed_failed" in the_finding(draft, "without a good coil check").message
    assert "nothing_wrong" not in the_finding(draft, "without a good coil check").message


def test_a_later_rule_that_demands_a_good_supply_is_enough() -> None:
    draft = sound_draft()
    draft.endings["weak"] = ""
    open_on(draft, "weak", "feed_failed")
    draft.questions["coil"] = ("coil_voltage", "harvest", {"else": "harvest"})
    draft.route("harvest", below="is_supply_good")
    rule = Rule("weak", {"coil_voltage": "within"})
    draft.junctions["is_supply_good"] = ("harvest", [rule], "feed")
    assert any("ending feed" in each.message for each in findings(draft))
    assert not any("ending weak" in each.message for each in findings(draft))


def test_a_settled_recommendation_with_a_way_round_its_gate_is_found() -> None:
    from triage.tree.proofs import prove_graph

    draft = sound_draft()
    open_on(draft, "hand_on", "thin_charge")
    content = draft.content()
    graph = build_graph(content, "sticks")
    graph.add_edge("hand_on", "recommendation:hand_on", outcomes=frozenset(), rules=())
    found = [each for each in prove_graph(graph, content) if "its gate" in each.message]
    assert found[0].path[-2:] == ("hand_on", "recommendation:hand_on")


# The shipped tree.


def test_no_shipped_escalation_of_the_freeze_settles_on_a_harvest_part() -> None:
    # By plain walking, beside the proof: endings some path reaches without a harvest question.
    engine = shipped_engine()
    graph, tree = engine.graph, engine.tree
    late = {
        name for name, item in tree.questions.items() if item.stage.value in ("harvest", "confirm")
    }
    reached, waiting = set(), [str(graph.graph["start"])]
    while waiting:
        node = waiting.pop()
        if node in reached or node in late:
            continue
        reached.add(node)
        waiting.extend(graph.successors(node))
    endings = [item for name, item in tree.endings.items() if name in reached]
    assert any(item.settles for item in endings)
    for item in endings:
        sides = {engine.content.causes[cause].side for cause in item.settles}
        assert Side.HARVEST not in sides, item.id


def test_every_cause_settled_on_is_one_the_escalation_lists() -> None:
    for ending in shipped_engine().tree.endings.values():
        assert set(ending.settles) <= set(ending.shortlist)
        assert len(set(ending.settles)) == len(ending.settles)
        assert not (ending.settles and ending.causes)
