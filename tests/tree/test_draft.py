"""A draft stands in its folder as if it were there, and its folder stays as it is."""

from __future__ import annotations

from itertools import pairwise
from pathlib import Path

import pytest

from tests.tree.miniature import TREE, sound_draft
from tests.tree.schema.folder import sound_files
from triage.tree.content import Stage
from triage.tree.draft import Draft, broken_by, draft_in
from triage.tree.errors import ContentErrors

FOLDER = Path("folder")


def put_in(name: str, data: str | bytes, files: dict[str, bytes] | None = None) -> Draft:
    data = data.encode() if isinstance(data, str) else data
    return draft_in(FOLDER, sound_files() if files is None else files, name, data)


def sticks(*changes: tuple[str, str]) -> str:
    """Return the miniature's tree with words of it replaced, each by others."""
    text = sound_draft().yaml()
    for old, new in changes:
        assert old in text
        text = text.replace(old, new)
    return text


QUESTIONS = sound_draft().questions
EARLY = [
    f"before.{reading}"
    for reading, stage, _ in QUESTIONS.values()
    if stage in ("caller", "machine")
]
"""What the miniature asks of caller and machine, as it stands in front of a part."""


def test_a_tree_stands_in_for_the_one_of_its_id_whatever_its_file_is_called() -> None:
    files = sound_files()
    draft = put_in("tuesday.yaml", sticks(("title: Ice sticks", "title: Ice hangs")), files)
    assert (draft.tree, draft.file, draft.replaces, draft.part) == (
        "sticks", "tuesday.yaml", TREE, "",
    )  # fmt: skip
    assert draft.content.trees["sticks"].title == "Ice hangs"
    assert set(draft.content.trees) == {"sticks", "sticks_late"}
    assert files == sound_files()


def test_a_tree_of_a_new_id_stands_beside_the_others() -> None:
    draft = put_in("new.yaml", sticks(("tree: sticks", "tree: hangs")))
    assert (draft.replaces, set(draft.content.trees)) == (
        "", {"sticks", "sticks_late", "hangs"},
    )  # fmt: skip


def test_a_call_through_a_draft_has_no_other_tree_to_go_to_and_all_else() -> None:
    draft = put_in("new.yaml", sticks())
    assert set(draft.alone.trees) == {"sticks"}
    assert draft.alone.causes == draft.content.causes
    assert draft.alone.readings == draft.content.readings


@pytest.mark.parametrize("name", ["readings.yaml", "outcomes.json", "sticks_late.yaml"])
def test_a_name_another_file_has_is_changed(name: str) -> None:
    draft = put_in(name, sticks())
    assert draft.file == f"draft_{name}"
    whole = sound_draft()
    assert draft.own_nodes == (*whole.questions, *whole.junctions, *whole.endings)


def test_own_nodes_are_not_those_of_its_parts() -> None:
    draft = put_in("late.yaml", sound_files()["sticks_late.yaml"])
    assert draft.own_nodes == ("feed",)
    assert "coil.volts" in draft.content.trees["sticks_late"].questions


def test_mistakes_are_told_under_its_own_name() -> None:
    with pytest.raises(ContentErrors) as caught:
        put_in("tuesday.yaml", sticks(('"below": feed', '"below": fed')))
    (mistake,) = caught.value.mistakes
    assert str(mistake).startswith("tuesday.yaml:")
    assert 'did you mean "feed"?' in str(mistake)


@pytest.mark.parametrize(
    ("data", "message"),
    [
        ("format: 1\nquestions: {}\n", "x.yaml:1:1 the file is neither a tree nor a part; write"),
        ("format: 1\ntree: [\n", "x.yaml:3:1 this is no YAML"),
        ("format: 1\npart: P\n", '"P" is no name for a part'),
        ("format: 1\npart:\n", 'parts/x.yaml:2:6 the file has nothing under "part"'),
    ],
)
def test_what_is_no_draft_is_refused_with_the_way_to_mend_it(data: str, message: str) -> None:
    with pytest.raises(ContentErrors) as caught:
        put_in("x.yaml", data)
    assert message in str(caught.value)
    assert "try_" not in str(caught.value)


# What it breaks.


def test_a_sound_draft_breaks_nothing() -> None:
    assert broken_by(put_in(TREE, sticks())) == []


def test_a_draft_that_breaks_a_promise_still_stands_in_its_folder() -> None:
    count = len(QUESTIONS)
    too_few = sticks((f"most_questions: {count}", f"most_questions: {count - 1}"))
    (finding,) = broken_by(put_in("tuesday.yaml", too_few))
    assert str(finding).startswith("tuesday.yaml:")
    assert f"a call can take {count} questions, more than the {count - 1}" in str(finding)


def test_what_others_break_is_not_laid_at_its_door() -> None:
    # sticks_late condemns a part on no freeze at all; the draft is sticks.
    assert broken_by(put_in("late.yaml", sound_files()["sticks_late.yaml"]))
    assert not broken_by(put_in(TREE, sticks()))


# Parts.


def test_a_part_is_entered_at_its_start_and_ends_at_its_exits() -> None:
    draft = put_in("supply.yaml", sound_files()["parts/supply.yaml"])
    tree = draft.content.trees[draft.tree]
    assert (draft.part, draft.file, draft.replaces) == (
        "supply", "parts/supply.yaml", "parts/supply.yaml",
    )  # fmt: skip
    assert draft.users == ("sticks_late",)
    assert [draft.shown(node) for node in tree.endings] == [
        "hand_on", "exit.good", "exit.not_checked",
    ]  # fmt: skip
    assert tree.endings["good"].because == "the coil gets its voltage"
    assert draft.shown(tree.start) == "is_it_harvest"
    assert [draft.shown(node) for node in draft.own_nodes] == ["volts", "is_it_harvest", "hand_on"]


def test_before_a_part_stands_what_a_call_has_been_asked_by_then() -> None:
    files = sound_files()
    asking = sticks(
        (f"most_questions: {len(QUESTIONS)}", "most_questions: 90"),
        ("questions:\n", "parts: {look: {part: plate, exits: {looked: flow}}}\nquestions:\n"),
        ('"else": pattern', '"else": look'),
    )
    draft = put_in("plate.yaml", files["parts/plate.yaml"], {**files, TREE: asking.encode()})
    tree = draft.content.trees[draft.tree]
    assert "sticks" in draft.users
    assert list(tree.questions) == [*EARLY, "plate.pattern"]
    assert draft.shown(tree.start) == EARLY[0]
    for name, following in pairwise(tree.questions):
        assert set(tree.questions[name].routes.values()) == {following}
    assert {tree.questions[name].stage for name in EARLY} == {Stage.CALLER, Stage.MACHINE}


def test_before_a_part_that_no_tree_uses_stands_what_some_tree_asks_of_caller_and_machine() -> None:
    text = sound_files()["parts/plate.yaml"].replace(b"part: plate", b"part: slab")
    draft = put_in("slab.yaml", text)
    assert draft.users == ()
    assert list(draft.content.trees[draft.tree].questions) == [*EARLY, "slab.pattern"]


def test_before_a_part_that_begins_a_call_stands_nothing() -> None:
    text = (
        sound_files()["parts/plate.yaml"]
        .replace(b"part: plate", b"part: hello")
        .replace(b"reading: ice_pattern, stage: freeze", b"reading: machine, stage: machine")
    )
    draft = put_in("hello.yaml", text)
    assert list(draft.content.trees[draft.tree].questions) == ["hello.pattern"]


def test_a_part_may_have_an_exit_of_its_own_name() -> None:
    text = sound_files()["parts/plate.yaml"].replace(b"looked", b"plate")
    user = sound_files()["parts/supply.yaml"].replace(b"looked: volts", b"plate: volts")
    draft = put_in("plate.yaml", text, {**sound_files(), "parts/supply.yaml": user})
    tree = draft.content.trees[draft.tree]
    assert draft.shown("plate") == "exit.plate"
    assert draft.shown(f"{draft.space}.pattern") == "pattern"
    assert set(tree.questions[f"{draft.space}.pattern"].routes.values()) == {"plate"}


def test_a_part_is_proved_in_the_trees_that_use_it() -> None:
    found = broken_by(put_in("supply.yaml", sound_files()["parts/supply.yaml"]))
    assert found
    assert {finding.place.file for finding in found} == {"parts/supply.yaml"}
    assert {tree for finding in found for tree in finding.trees} == {"sticks_late"}


def test_an_exit_its_users_do_not_bind_is_told() -> None:
    text = sound_files()["parts/plate.yaml"].replace(
        b"{looked: it was looked at}", b"{looked: it was looked at, dark: too dark to see}"
    ).replace(b"{else: exit.looked}", b"{unknown: exit.dark, else: exit.looked}")  # fmt: skip
    with pytest.raises(ContentErrors) as caught:
        put_in("plate.yaml", text)
    (mistake,) = caught.value.mistakes
    assert str(mistake).startswith("parts/supply.yaml:")
    assert 'leaves the exit "dark" of part "plate" open' in str(mistake)
