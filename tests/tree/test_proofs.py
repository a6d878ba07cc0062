"""Promises of a tree's shape, each broken once, and of the proofs as a whole.

A finding names the node; the call that shows it is told turn by turn.
"""

from __future__ import annotations

import dataclasses

import networkx as nx
import pytest

from tests.tree.broken_trees import (
    call_of,
    call_on,
    findings,
    skip,
    the_finding,
    the_finding_on,
)
from tests.tree.miniature import ESCALATION, FOLDER, sound_draft
from triage.tree.content import Content, Place
from triage.tree.errors import ProofFailed
from triage.tree.graph import build_graph
from triage.tree.load import content_from_files
from triage.tree.proofs import (
    MOST_OF_A_KIND,
    check_content,
    findings_of,
    prove,
    prove_content,
    prove_graph,
)

OPENING = [
    "-- sticks.yaml",
    "desk    Words. [who]",
    "caller  licensed technician [licensed]",
    "desk    Words. [room]",
    "caller  gives it [known]",
    "desk    Words. [which]",
    "caller  gives it [known]",
]
"""How every call of the miniature begins."""


@pytest.fixture
def content() -> Content:
    return sound_draft().content()


@pytest.fixture
def graph(content: Content) -> nx.DiGraph[str]:
    return build_graph(content, "sticks")


def test_the_miniature_holds_every_promise(content: Content) -> None:
    assert prove(content, "sticks") == []
    assert prove_content(content) == []
    check_content(content)


class TestShape:
    def test_a_cycle_is_found_with_the_call_that_goes_round(self) -> None:
        draft = sound_draft()
        draft.route("late", unknown="early")
        finding = the_finding(draft, "round in circles.* elsewhere: early, late$")
        assert finding.path[0] == "who"
        assert finding.path.count("late") == 1
        call = call_of(draft, finding)
        assert call[: len(OPENING)] == OPENING
        assert call[-3:] == [
            "desk    Words. [late]",
            "caller  could not be had [unknown]",
            "ends    never: the call goes round from here [early]",
        ]

    def test_the_shortest_way_round_is_told(self) -> None:
        draft = sound_draft()
        draft.route("late", unknown="bridge")
        draft.route("high", unknown="bridge")
        finding = the_finding(draft, "round in circles")
        assert "late" in finding.path
        assert "high" not in finding.path

    def test_a_question_that_leads_to_itself_is_found(self) -> None:
        draft = sound_draft()
        draft.route("bridge", unknown="bridge")
        finding = the_finding(draft, "round in circles.* elsewhere: bridge$")
        assert finding.path[-2:] == ("bridge", "bridge")

    def test_each_knot_is_told_by_itself(self) -> None:
        draft = sound_draft()
        draft.route("time", unknown="bridge")
        draft.route("late", unknown="early")
        found = [each.message for each in findings(draft) if "circles" in each.message]
        assert len(found) == 2

    def test_a_knot_that_no_call_reaches_is_told_without_one(self) -> None:
        draft = sound_draft()
        draft.ask("lost", "machine", "machine", known="strayed", unknown="hand_on")
        draft.ask("strayed", "machine", "machine", known="lost", unknown="hand_on")
        finding = the_finding(draft, "round in circles")
        assert finding.path == ()

    def test_an_unreachable_question_is_found(self) -> None:
        draft = sound_draft()
        draft.ask("lost", "machine", "machine", else_="bridge")
        finding = the_finding(draft, "question lost is never reached")
        assert finding.place == draft.content().trees["sticks"].questions["lost"].place

    def test_an_unreachable_ending_is_told_once_without_its_gate(self) -> None:
        draft = sound_draft()
        draft.endings["spare"] = "causes: [nothing_wrong]"
        assert [each.message for each in findings(draft)] == [
            "ending spare is never reached; lead a route to it or delete it"
        ]

    def test_a_dead_end_is_found(self, graph: nx.DiGraph[str], content: Content) -> None:
        graph.remove_edge("feed", "gate:feed")
        finding = the_finding_on(graph, content, "^ending feed leads nowhere; give it a way on$")
        call = call_on(graph, content, finding)
        assert call[: len(OPENING)] == OPENING
        assert call[-3:] == [
            "desk    Words. [harvest]",
            "caller  below its band [below]",
            "ends    concludes: receiver vapor feed failed [feed]",
        ]

    def test_an_outcome_without_a_way_is_found(
        self, graph: nx.DiGraph[str], content: Content
    ) -> None:
        graph.edges["harvest", "hand_on"]["outcomes"] = frozenset({"within", "above"})
        finding = the_finding_on(
            graph, content, '^question harvest has no way for "unknown"; give it exactly one$'
        )
        assert call_on(graph, content, finding)[-3:] == [
            "desk    Words. [coil]",
            "caller  within its band [within]",
            "desk    Words. [harvest]",
        ]

    def test_an_outcome_with_two_ways_is_found(
        self, graph: nx.DiGraph[str], content: Content
    ) -> None:
        graph.edges["harvest", "feed"]["outcomes"] = frozenset({"below", "above"})
        finding = the_finding_on(
            graph, content, '^question harvest has 2 ways for "above"; give it exactly one$'
        )
        assert call_on(graph, content, finding)[-1] == "desk    Words. [harvest]"

    def test_an_outcome_nothing_gives_is_found(
        self, graph: nx.DiGraph[str], content: Content
    ) -> None:
        graph.edges["harvest", "feed"]["outcomes"] = frozenset({"below", "even"})
        finding = the_finding_on(graph, content, '^question harvest has a way for "even"')
        assert call_on(graph, content, finding)[-1] == "desk    Words. [harvest]"

    def test_a_junction_without_otherwise_is_found(
        self, graph: nx.DiGraph[str], content: Content
    ) -> None:
        graph.remove_edge("is_freeze_sound", "hand_on")
        finding = the_finding_on(
            graph, content, "^junction is_freeze_sound needs exactly one way for when no rule holds"
        )
        assert call_on(graph, content, finding)[-3:-1] == [
            "desk    Words. [high]",
            "caller  within its band [within]",
        ]

    def test_a_call_longer_than_promised_is_found_with_its_path(self) -> None:
        draft = sound_draft()
        draft.most_questions = 13
        finding = the_finding(draft, "can take 14 questions, more than the 13 of most_questions")
        assert [node for node in finding.path if node in draft.questions] == list(draft.questions)
        call = call_of(draft, finding)
        assert len([line for line in call if line.startswith("desk")]) == 14
        assert call[-1] == "desk    Words. [harvest, question 14]"
        assert not [line for line in call[:-1] if ", question" in line]

    def test_a_stage_that_goes_back_is_found(self) -> None:
        draft = sound_draft()
        draft.ask("again", "machine", "machine", else_="time")
        draft.route("bridge", else_="again")
        draft.most_questions = 15
        finding = the_finding(draft, "bridge of stage freeze leads back to again of stage machine")
        assert finding.path == ("who", "room", "which", "bridge", "again")
        assert call_of(draft, finding) == [
            *OPENING,
            "desk    Words. [bridge]",
            "caller  within its band [within]",
            "desk    asks nothing here: machine was had before (known) [again]",
        ]

    def test_the_site_is_looked_at_between_machine_and_freeze(self) -> None:
        draft = sound_draft()
        skip(draft, "leak")
        draft.ask("puddle", "water_leaking_into_sump", "site", else_="bridge")
        draft.route("which", else_="puddle")
        assert findings(draft) == []
        draft.questions["bridge"] = ("ice_bridge_thickness", "machine", {"else": "time"})
        the_finding(draft, "puddle of stage site leads back to bridge of stage machine")
        draft.questions["bridge"] = ("ice_bridge_thickness", "site", {"else": "time"})
        draft.questions["puddle"] = ("water_leaking_into_sump", "freeze", {"else": "bridge"})
        the_finding(draft, "puddle of stage freeze leads back to bridge of stage site")


class TestAsAWhole:
    def test_broken_content_is_refused_with_every_finding_and_its_call(self) -> None:
        draft = sound_draft()
        draft.most_questions = 13
        draft.route("coil", unknown="harvest")
        with pytest.raises(ProofFailed) as caught:
            check_content(draft.content())
        assert len(caught.value.findings) == 2
        head, *lines = str(caught.value).splitlines()
        assert head == "the content breaks 2 promises:"
        assert lines[0].startswith("sticks.yaml:2:7 a call can take 14 questions, more than the 13")
        assert lines[1] == "    a call in sticks that shows it:"
        assert lines[2 : 2 + len(OPENING)] == [f"    {line}" for line in OPENING]
        second = next(number for number, line in enumerate(lines) if "good coil check" in line)
        assert lines[second].startswith("sticks.yaml:")
        assert lines[second + 1 :] == [
            "    a call in sticks that shows it:",
            "    … 30 lines as above …",
            "    -- sticks.yaml",
            "    caller  could not be had [unknown]",
            "    desk    Words. [harvest, question 14]",
            "    caller  below its band [below]",
            "    ends    concludes: receiver vapor feed failed [feed]",
        ]

    def test_every_tree_is_proved(self) -> None:
        content = sound_draft().content()
        twin = dataclasses.replace(content.trees["sticks"], id="twin", most_questions=1)
        both = dataclasses.replace(content, trees={**content.trees, "twin": twin})
        with pytest.raises(ProofFailed, match="breaks 1 promise:") as caught:
            check_content(both)
        assert "    a call in twin that shows it:" in str(caught.value)

    def test_what_a_part_breaks_in_two_trees_is_told_once(self) -> None:
        draft = sound_draft()
        draft.route("coil", unknown="harvest")
        content = draft.content()
        twin = dataclasses.replace(content.trees["sticks"], id="twin")
        both = dataclasses.replace(content, trees={**content.trees, "twin": twin})
        (finding,) = findings_of(both)
        assert finding.trees == ("sticks", "twin")
        with pytest.raises(ProofFailed) as caught:
            check_content(both)
        assert "    a call in sticks (also in twin) that shows it:" in str(caught.value)

    def test_a_part_that_is_never_entered_is_one_finding_at_its_use(self) -> None:
        files = sound_draft().bytes()
        questions = "".join(
            f"  look{number}: {{reading: ice_pattern, stage: freeze, agent: A., technician: A., "
            f"why: A., how: A., if_unknown: A., routes: {{else: {onward}}}}}\n"
            for number, onward in enumerate(["look1", "look2", "exit.done"])
        )
        files["parts/looks.yaml"] = (
            "format: 1\npart: looks\ntitle: Looks\nstart: look0\nexits: {done: looked}\n"
            f"questions:\n{questions}"
        ).encode()
        use = "parts:\n  looks: {part: looks, exits: {done: behind}}\n"
        behind = f"  behind: {{{ESCALATION}, because: So.}}\n"
        tree = files["sticks.yaml"].decode()
        files["sticks.yaml"] = tree.replace("questions:\n", use + "questions:\n", 1).encode()
        files["sticks.yaml"] += behind.encode()
        (finding,) = prove(content_from_files(FOLDER, files), "sticks")
        assert finding.message == (
            "part looks is never entered; lead a route to looks, or take it out of parts"
        )
        line = files["sticks.yaml"].decode().splitlines().index(use.splitlines()[1]) + 1
        assert finding.place == Place("sticks.yaml", line, 3)

    def test_a_composed_tree_is_proved_and_told_with_the_file_of_its_part(self) -> None:
        files = sound_draft().bytes()
        tree = files["sticks.yaml"].decode()
        coil = tree[tree.index("  coil:\n") : tree.index("  harvest:\n")]
        part = coil.replace('within": harvest', 'within|unknown": exit.good')
        files["parts/supply.yaml"] = (
            "format: 1\npart: supply\ntitle: Supply\nstart: coil\nexits: {good: it is good}\n"
            f"questions:\n{part}endings:\n  hand_on: {{{ESCALATION}, because: So.}}\n"
        ).encode()
        use = "parts: {power: {part: supply, exits: {good: harvest}}}\n"
        tree = tree.replace(coil, "").replace("then: coil", "then: power")
        files["sticks.yaml"] = tree.replace("questions:\n", use + "questions:\n", 1).encode()
        content = content_from_files(FOLDER, files)
        with pytest.raises(ProofFailed) as caught:
            check_content(content)
        text = str(caught.value)
        assert "feed_failed without a good coil check (coil_voltage: within)" in text
        assert (
            "    -- parts/supply.yaml, as power\n"
            "    caution Mains. Live parts. [mains]\n"
            "    desk    Words. [coil]\n"
            "    caller  could not be had [unknown]\n"
            "    -- sticks.yaml\n"
            "    desk    Words. [harvest]\n"
        ) in text

    def test_no_more_of_a_kind_are_told_than_anybody_mends_at_once(self) -> None:
        draft = sound_draft()
        for number in range(MOST_OF_A_KIND + 1):
            draft.ask(f"lost{number}", "machine", "machine", else_="bridge")
        found = findings(draft)
        assert len(found) == MOST_OF_A_KIND
        told_of_more = [each for each in found if "(and there are more like it)" in each.message]
        assert told_of_more == found[-1:]

    def test_a_graph_is_proved_as_it_is(self, graph: nx.DiGraph[str], content: Content) -> None:
        assert prove_graph(graph, content) == []
