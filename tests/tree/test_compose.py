"""Parts put into trees: names, exits, places, and what of it is refused."""

from __future__ import annotations

import pytest

from tests.tree.miniature import FOLDER, TREE, other_files, sound_draft
from triage.tree.content import Content, Tree
from triage.tree.errors import ContentErrors
from triage.tree.load import content_from_files
from triage.tree.proofs import prove

WORDS = "agent: Words., technician: Words., why: Words., how: Words., if_unknown: Go on."

PART = f"""\
format: 1
part: doorstep
title: Who is there
start: who
exits:
  known: it is known who is there
questions:
  who: {{reading: caller_qualification, stage: caller, {WORDS}, routes: {{else: room}}}}
  room: {{reading: ambient_air_temperature, stage: machine, {WORDS}, routes: {{else: exit.known}}}}
"""

OUTER = """\
format: 1
part: outer
title: A part of a part
start: inner
exits:
  on: onward
parts:
  inner: {part: doorstep, exits: {known: exit.on}}
"""


AFTER = sound_draft().questions["room"][2]["else"]
"""What the sound tree asks behind the questions of the part."""


def tree_with_part(space: str = "door", part: str = "doorstep", exit_name: str = "known") -> str:
    """Return the sound tree with its first two questions taken from a part."""
    draft = sound_draft()
    for name in ("who", "room"):
        del draft.questions[name]
    draft.start = space
    parts = f"parts:\n  {space}: {{part: {part}, exits: {{{exit_name}: {AFTER}}}}}\n"
    return draft.yaml().replace("questions:\n", f"{parts}questions:\n", 1)


def read(tree: str = "", **parts: str) -> Content:
    texts = {**other_files(), TREE: tree or tree_with_part()}
    texts |= {f"parts/{name}.yaml": text for name, text in parts.items()}
    return content_from_files(FOLDER, {name: text.encode() for name, text in texts.items()})


def refused(tree: str = "", **parts: str) -> str:
    with pytest.raises(ContentErrors) as caught:
        read(tree, **parts)
    return str(caught.value)


def the_tree(content: Content) -> Tree:
    return content.trees["sticks"]


def test_nodes_of_a_part_stand_under_its_namespace_and_lead_out_where_they_are_bound() -> None:
    tree = the_tree(read(doorstep=PART))
    assert tree.start == "door.who"
    assert tree.questions["door.who"].routes["licensed"] == "door.room"
    assert set(tree.questions["door.room"].routes.values()) == {AFTER}
    assert tree.parts == {"door": "doorstep"}


def test_a_node_of_a_part_says_where_in_the_part_it_was_written() -> None:
    place = the_tree(read(doorstep=PART)).questions["door.room"].place
    assert (place.file, place.line) == ("parts/doorstep.yaml", 9)


def test_parts_of_parts_stand_in_nested_namespaces() -> None:
    tree = the_tree(read(tree_with_part("out", "outer", "on"), doorstep=PART, outer=OUTER))
    assert tree.start == "out.inner.who"
    assert set(tree.questions["out.inner.room"].routes.values()) == {AFTER}
    assert tree.parts == {"out": "outer", "out.inner": "doorstep"}


def test_one_part_may_stand_in_a_tree_twice() -> None:
    tree = tree_with_part().replace(
        f"exits: {{known: {AFTER}}}}}\n",
        f"exits: {{known: again}}}}\n  again: {{part: doorstep, exits: {{known: {AFTER}}}}}\n",
    )
    names = set(the_tree(read(tree, doorstep=PART)).questions)
    assert {"door.who", "again.who"} <= names


def test_what_is_put_in_is_proved_in_its_place() -> None:
    assert prove(read(doorstep=PART), "sticks") == []
    late = PART.replace("stage: machine", "stage: harvest")
    findings = prove(read(doorstep=late), "sticks")
    assert any("door.room" in str(finding) for finding in findings)


@pytest.mark.parametrize(
    ("change", "said"),
    [
        (("part: doorstep,", "part: dorstep,"), 'no part "dorstep"; did you mean "doorstep"?'),
        ((f"{{known: {AFTER}}}", f"{{knwon: {AFTER}}}"), 'no exit "knwon"; did you mean "known"?'),
        ((f"{{known: {AFTER}}}", f"{{known: {AFTER}x}}"), f'did you mean "{AFTER}"?'),
        ((f", exits: {{known: {AFTER}}}", ""), 'leaves the exit "known" of part "doorstep" open'),
    ],
)
def test_a_use_that_does_not_fit_its_part_is_told(change: tuple[str, str], said: str) -> None:
    tree = tree_with_part()
    assert change[0] in tree
    message = refused(tree.replace(*change), doorstep=PART)
    assert said in message
    assert f"{TREE}:" in message


def test_an_exit_that_no_route_takes_is_told() -> None:
    part = PART.replace("exits:\n", "exits:\n  never: nothing leads here\n")
    both = f"{{known: {AFTER}, never: {AFTER}}}"
    tree = tree_with_part().replace(f"{{known: {AFTER}}}", both)
    assert 'never takes the exit "never"' in refused(tree, doorstep=part)


def test_a_part_that_comes_back_to_itself_is_told() -> None:
    circle = OUTER.replace("part: doorstep", "part: outer").replace("known: exit.on", "on: exit.on")
    message = refused(tree_with_part("out", "outer", "on"), outer=circle)
    assert 'part "outer" comes back to itself (outer -> outer)' in message


def test_a_part_nobody_uses_is_told() -> None:
    message = refused(sound_draft().yaml(), doorstep=PART)
    assert 'part "doorstep" is used nowhere' in message


def test_two_parts_of_one_name_are_refused() -> None:
    assert 'holds the part "doorstep"' in refused(doorstep=PART, twin=PART)


def test_what_stands_in_a_file_and_again_in_its_folder_is_told_with_both() -> None:
    texts = {**other_files(), TREE: sound_draft().yaml()}
    texts["cautions/more.yaml"] = texts["cautions.yaml"]
    with pytest.raises(ContentErrors, match=r"cautions\.yaml"):
        content_from_files(FOLDER, {name: text.encode() for name, text in texts.items()})


def test_a_folder_adds_to_its_file() -> None:
    files = sound_draft().bytes()
    more = "format: 1\nreadings:\n  altitude: {name: height, kind: length, volunteered: true}\n"
    files["readings/more.yaml"] = more.encode()
    content = content_from_files(FOLDER, files)
    assert content.readings["altitude"].place.file == "readings/more.yaml"
    assert "freeze_time" in content.readings
