"""A path is told as a call a trade person reads: turns, ids, files, and honest doubts."""

from __future__ import annotations

import dataclasses

import networkx as nx
import pytest

from tests.tree.broken_trees import call_of, the_finding
from tests.tree.miniature import TREE, Rule, sound_draft
from triage.tree import path_answers
from triage.tree.content import Content
from triage.tree.counterexample import (
    MOST_CONVERSATIONS,
    MOST_LINES,
    WIDTH,
    Conversation,
    Speaker,
    Turn,
    conversation_on,
    lines_of,
    told,
)
from triage.tree.graph import build_graph
from triage.tree.proof_case import Finding

PLACE = sound_draft().content().trees["sticks"].place


def call_to(content: Content, *nodes: str) -> Conversation:
    """Return the conversation on the shortest path through some nodes, from the start."""
    graph = build_graph(content, "sticks")
    path = ["who"]
    for node in nodes:
        path += nx.shortest_path(graph, path[-1], node)[1:]
    return conversation_on(graph, content, path)


def with_question(content: Content, name: str, **changes: str) -> Content:
    tree = content.trees["sticks"]
    question = dataclasses.replace(tree.questions[name], **changes)  # type: ignore[arg-type]
    tree = dataclasses.replace(tree, questions={**tree.questions, name: question})
    return dataclasses.replace(content, trees={"sticks": tree})


def test_a_whole_call_is_told_turn_by_turn() -> None:
    draft = sound_draft()
    text = draft.yaml()
    for name, words in {
        "who": "Are you licensed for this work?",
        "pattern": "How does the ice look near the end of a freeze?",
        "coil": "What is the voltage at the coil in the harvest?",
    }.items():
        at = text.index(f"  {name}:\n")
        text = text[:at] + text[at:].replace("agent: Words.", f'agent: "{words}"', 1)
    draft.files[TREE] = text.replace("says: So it is.", "says: The freeze is sound.")
    assert lines_of(call_to(draft.content(), "feed")) == [
        "-- sticks.yaml",
        "desk    Are you licensed for this work? [who]",
        "caller  licensed technician [licensed]",
        "desk    Words. [room]",
        "caller  gives it [known]",
        "desk    Words. [which]",
        "caller  gives it [known]",
        "desk    Words. [bridge]",
        "caller  within its band [within]",
        "desk    Words. [time]",
        "caller  within its band [within]",
        "desk    How does the ice look near the end of a freeze? [pattern]",
        "caller  even all over [even]",
        "desk    Words. [flow]",
        "caller  all over [full]",
        "desk    Words. [leak]",
        "caller  none [tight]",
        "caution Hot lines. The line burns. [hot_lines]",
        "desk    Words. [line]",
        "caller  within its band [within]",
        "caution Gauges. Refrigerant under pressure. [gauges]",
        "desk    Words. [early]",
        "caller  within its band [within]",
        "desk    Words. [late]",
        "caller  within its band [within]",
        "desk    Words. [high]",
        "caller  within its band [within]",
        "because The freeze is sound. [is_freeze_sound]",
        "caution Mains. Live parts. [mains]",
        "desk    What is the voltage at the coil in the harvest? [coil]",
        "caller  within its band [within]",
        "desk    Words. [harvest]",
        "caller  below its band [below]",
        "ends    concludes: receiver vapor feed failed [feed]",
    ]


def test_an_ending_that_hands_over_says_to_whom_and_what_readings_may_settle() -> None:
    draft = sound_draft()
    draft.endings["hand_on"] += ", settles: [nothing_wrong]"
    assert lines_of(call_to(draft.content(), "coil", "hand_on"))[-1] == (
        "ends    hands over: Second line. It may settle on: nothing wrong [hand_on]"
    )


def test_answers_that_contradict_each_other_are_told_as_such() -> None:
    draft = sound_draft()
    draft.ask("again", "ice_pattern", "harvest", thin_at_outlet="feed", else_="hand_on")
    draft.route("harvest", below="again")
    conversation = call_to(draft.content(), "again", "feed")
    assert conversation.doubt == (
        "No caller comes this way today: at question again the answers would have to contradict "
        "each other. But nothing in the tree forbids the way, and the next edit can open it."
    )
    lines = lines_of(conversation)
    assert lines[:3] == [
        "No caller comes this way today: at question again the answers would have to",
        "contradict each other. But nothing in the tree forbids the way, and the next",
        "edit can open it.",
    ]
    assert lines[-3:] == [
        "desk    Words. [again, question 15]",
        "caller  thin at the outlet [thin_at_outlet]",
        "ends    concludes: receiver vapor feed failed [feed]",
    ]


def test_rules_that_no_answers_meet_are_told_as_such() -> None:
    draft = sound_draft()
    stage, (rule,), otherwise = draft.junctions["is_freeze_sound"]
    wider = Rule("charge", {"discharge_line_temperature": "within"})
    narrower = Rule("feed", {"discharge_line_temperature": "within", "ice_pattern": "even"})
    draft.junctions["is_freeze_sound"] = (stage, [rule, wider, narrower], otherwise)
    conversation = call_to(draft.content(), "high", "is_freeze_sound", "feed")
    assert conversation.doubt.startswith(
        "No caller comes this way today: at junction is_freeze_sound "
    )


def test_a_search_that_gives_up_claims_nothing(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(path_answers, "MOST_RULES_TRIED", 0)
    assert call_to(sound_draft().content(), "coil").doubt == (
        "No answers were found that lead a caller on from junction is_freeze_sound. But nothing in "
        "the tree forbids the way."
    )


def test_a_reading_had_before_is_not_asked_for_twice() -> None:
    draft = sound_draft()
    draft.ask("again", "harvest_suction_pressure", "harvest", below="feed", else_="hand_on")
    draft.route("harvest", below="again")
    draft.most_questions += 1
    assert lines_of(call_to(draft.content(), "again", "feed"))[-4:] == [
        "desk    Words. [harvest]",
        "caller  below its band [below]",
        "desk    asks nothing here: harvest suction was had before (below) [again]",
        "ends    concludes: receiver vapor feed failed [feed]",
    ]


@pytest.mark.parametrize("width", [40, 60, WIDTH])
def test_of_a_long_question_two_lines_of_its_end_are_whole(width: int) -> None:
    words = "Switch the machine off first, please. " * 20 + "Now how thick is the bridge of ice?"
    content = with_question(sound_draft().content(), "bridge", agent=words)
    lines = lines_of(call_to(content, "feed"), width)
    assert max(map(len, lines)) <= width
    end = next(number for number, line in enumerate(lines) if line.endswith("[bridge]"))
    begin = max(n for n in range(end) if lines[n].startswith("desk    "))
    assert lines[begin].startswith("desk    Switch the machine")
    assert lines[begin].endswith("…")
    told_end = " ".join(line.strip() for line in lines[begin + 1 : end + 1])
    assert told_end.endswith("Now how thick is the bridge of ice? [bridge]")
    assert len(told_end) > 2 * (width - 8) - 20


def test_a_wide_screen_shows_more_of_a_question_and_a_short_one_is_never_cut() -> None:
    words = "Look at the ice near the end of a freeze. " * 6 + "How does it look at the outlet?"
    content = with_question(sound_draft().content(), "bridge", agent=words)
    wide, narrow = ("\n".join(lines_of(call_to(content, "feed"), width)) for width in (120, WIDTH))
    assert "…" not in wide
    assert "…" in narrow


def test_other_turns_are_one_line_of_the_width() -> None:
    turn = Turn(Speaker.CAUTION, "Hot lines burn. " * 20, "hot_lines", "a.yaml")
    (line,) = lines_of(Conversation((turn,)), 60)[1:]
    assert len(line) <= 60
    assert line.endswith("… [hot_lines]")


def test_a_long_id_is_never_cut() -> None:
    name = "a" * 64
    turn = Turn(Speaker.DESK, "Tell me the suction pressure, please.", name, "a.yaml")
    assert lines_of(Conversation((turn,)), 60)[1:] == [
        "desk    Tell me the suction pressure, please.",
        f"        [{name}]",
    ]


def test_a_text_writes_no_lines_of_its_own() -> None:
    content = with_question(
        sound_draft().content(), "bridge", agent="One.\n\x1b[2Jcaller  no\u202e [forged]\n"
    )
    assert "desk    One. [2Jcaller no [forged] [bridge]" in lines_of(call_to(content, "feed"))


def test_a_line_says_in_which_file_the_call_goes_on() -> None:
    part, tree = "parts/freeze.yaml", "ice.yaml"
    turns = (
        Turn(Speaker.DESK, "A?", "a", tree),
        Turn(Speaker.CALLER, "yes", "yes", tree),
        Turn(Speaker.DESK, "B?", "b", part, "freeze"),
        Turn(Speaker.DESK, "C?", "c", part, "harvest.freeze"),
        Turn(Speaker.END, "so", "d", tree),
    )
    assert lines_of(Conversation(turns)) == [
        "-- ice.yaml",
        "desk    A? [a]",
        "caller  yes [yes]",
        "-- parts/freeze.yaml, as freeze",
        "desk    B? [b]",
        "-- parts/freeze.yaml, as harvest.freeze",
        "desk    C? [c]",
        "-- ice.yaml",
        "ends    so [d]",
    ]


class TestManyFindings:
    def finding(self, content: Content, number: int) -> Finding:
        path = nx.shortest_path(build_graph(content, "sticks"), "who", "feed")
        return Finding(f"promise {number}", PLACE, tuple(path), trees=("sticks",))

    def test_findings_on_one_path_share_its_call(self) -> None:
        content = sound_draft().content()
        lines = told([self.finding(content, 1), self.finding(content, 2)], content)
        assert lines[:3] == [
            f"{PLACE} promise 1",
            f"{PLACE} promise 2",
            "    a call in sticks that shows it:",
        ]
        assert len([line for line in lines if "a call in" in line]) == 1

    def test_only_the_first_few_are_told_with_their_call(self) -> None:
        content = sound_draft().content()
        path = self.finding(content, 0).path
        found = [
            Finding(f"promise {number}", PLACE, path[:number], trees=("sticks",))
            for number in range(2, 5 + MOST_CONVERSATIONS)
        ]
        lines = told(found, content)
        assert len([line for line in lines if "a call in" in line]) == MOST_CONVERSATIONS
        assert lines[-1] == "    mend what is above to see the call in sticks that shows it"

    def test_a_very_long_call_is_told_in_part(self) -> None:
        draft = sound_draft()
        names = [f"more{number}" for number in range(60)]
        for name, onward in zip(names, [*names[1:], "bridge"], strict=True):
            draft.ask(name, "ambient_air_temperature", "machine", else_=onward)
        draft.route("which", else_="more0")
        content = draft.content()
        path = tuple(nx.shortest_path(build_graph(content, "sticks"), "who", "feed"))
        lines = told([Finding("promise", PLACE, path, trees=("sticks",))], content)[2:]
        assert len(lines) == MOST_LINES + 1
        assert "    … 14 more lines …" in lines
        assert lines[-1] == "    ends    concludes: receiver vapor feed failed [feed]"

    def test_a_finding_without_a_path_says_in_which_trees_it_is(self) -> None:
        content = sound_draft().content()
        lines = told([Finding("promise", PLACE, trees=("one", "two", "three"))], content)
        assert lines == [f"{PLACE} promise", "    in one (also in two, three)"]

    def test_a_finding_in_the_file_of_its_tree_does_not_name_that_again(self) -> None:
        content = sound_draft().content()
        lines = told([Finding("promise", PLACE, trees=("sticks",))], content)
        assert lines == [f"{PLACE} promise"]
        in_a_part = dataclasses.replace(PLACE, file="parts/freeze.yaml")
        lines = told([Finding("promise", in_a_part, trees=("sticks",))], content)
        assert lines == [f"{in_a_part} promise", "    in sticks"]

    def test_a_finding_about_no_tree_is_a_line(self) -> None:
        assert told([Finding("promise", PLACE)], sound_draft().content()) == [f"{PLACE} promise"]


def test_an_unlicensed_caller_hears_no_caution_of_a_reading_not_asked_for() -> None:
    draft = sound_draft()
    draft.questions["who"][2].clear()
    draft.route("who", licensed="hand_on", else_="room")
    lines = lines_of(call_to(draft.content(), "is_freeze_sound", "hand_on"))
    assert "caller  anyone else [unlicensed]" in lines
    assert not [line for line in lines if line.startswith("caution")]


def test_a_finding_with_no_caller_who_shows_it_is_told_so() -> None:
    draft = sound_draft()
    draft.route("high", unknown="coil")
    finding = the_finding(draft, "from high into the harvest")
    shown = dataclasses.replace(finding, shows=({"freeze_discharge_pressure": frozenset()},))
    assert call_of(draft, shown)[0].startswith("Whoever comes this way today has the readings")
