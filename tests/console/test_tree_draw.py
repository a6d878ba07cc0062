"""`triage tree draw` through the door: forms, files, cuts, a stored call, and what it refuses."""

from __future__ import annotations

import json
import os
import re
import struct
from collections.abc import Callable
from html import unescape
from pathlib import Path
from xml.etree import ElementTree

import pytest

from tests.command_line import answers_file
from tests.console.conftest import Snapshot
from tests.conversation import FEED_FAILED, TREE, shipped_engine
from tests.tree.drawings import read_dot, read_mermaid
from tests.tree.miniature import Draft, sound_draft
from triage.cli import main
from triage.console import graphviz, tree_draw
from triage.tree.content import Stage

Captured = pytest.CaptureFixture[str]
Told = tuple[int, str, str]
Draw = Callable[..., Told]

pytestmark = pytest.mark.usefixtures("own_folders")


@pytest.fixture
def draw(capsys: Captured) -> Draw:
    """Return a function that draws and tells exit code, standard output and standard error."""

    def run(*arguments: str | Path) -> Told:
        code = main(["tree", "draw", *map(str, arguments)])
        told = capsys.readouterr()
        return code, told.out, told.err

    return run


def folder_of(draft: Draft, path: Path) -> Path:
    """Write the files of a draft into a new folder."""
    for name, data in draft.bytes().items():
        file = path / name
        file.parent.mkdir(parents=True, exist_ok=True)
        file.write_bytes(data)
    return path


@pytest.fixture
def sticks(tmp_path: Path) -> Path:
    """The miniature as a content folder."""
    return folder_of(sound_draft(), tmp_path / "sticks")


@pytest.fixture
def taken(tmp_path: Path, capsys: Captured) -> tuple[str, str]:
    """A stored call that came to a repair: its id and its store."""
    store = str(tmp_path / "calls.sqlite3")
    path = answers_file(tmp_path, FEED_FAILED, acknowledge="all")
    assert main(["call", "--answers", str(path), "--json", "--store", store]) == 0
    return json.loads(capsys.readouterr().out)["session_id"], store


# On the screen.


@pytest.mark.parametrize("width", [80, 120])
def test_on_the_screen_a_tree_is_told_stage_by_stage(
    draw: Draw, sticks: Path, snapshot: Snapshot, monkeypatch: pytest.MonkeyPatch, width: int
) -> None:
    monkeypatch.setenv("COLUMNS", str(width))
    code, out, _ = draw("--trees", sticks)
    assert code == 0
    assert max(map(len, out.splitlines())) <= width
    snapshot(f"tree_draw_{width}", out)


def test_plain_it_has_no_boxes(draw: Draw, sticks: Path, snapshot: Snapshot) -> None:
    _, out, _ = draw("--trees", sticks, "--plain", "--words")
    assert out.isascii()
    snapshot("tree_draw_plain", out)


def test_color_is_no_more_than_color(draw: Draw, sticks: Path) -> None:
    _, colored, _ = draw("--trees", sticks, "--color", "always")
    _, bare, _ = draw("--trees", sticks, "--color", "never")
    assert "\x1b[" in colored
    assert re.sub(r"\x1b\[[0-9;]*m", "", colored) == bare


def test_text_of_the_content_is_no_markup(draw: Draw, tmp_path: Path) -> None:
    draft = sound_draft()
    draft.endings["hand_on"] = draft.endings["hand_on"].replace(
        "Second line.", '"[bold red]Second[/] line."', 1
    )
    _, out, _ = draw("--trees", folder_of(draft, tmp_path / "t"))
    assert "[bold red]Second[/] line." in out


# Forms and files.


@pytest.mark.parametrize(
    ("name", "form"),
    [(f"t{end}", form) for form, ends in tree_draw.ENDINGS.items() for end in ends],
)
def test_the_form_follows_from_how_the_file_is_to_end(
    draw: Draw, sticks: Path, tmp_path: Path, name: str, form: str
) -> None:
    path = tmp_path / name
    code, out, err = draw("--trees", sticks, "--to", path)
    assert (code, out) == (0, "")
    assert err.split() == f"triage: drawn to {path}".split()
    data = path.read_bytes()
    match form:
        case "terminal":
            assert data.decode().startswith("Ice sticks (sticks)\n")
            assert b"\x1b" not in data
        case "mermaid":
            assert read_mermaid(data.decode()).title == "Ice sticks"
        case "dot":
            assert "pattern" in read_dot(data.decode()).nodes
        case "svg":
            assert ElementTree.fromstring(data).tag.endswith("svg")
        case "png":
            # The signature and the first chunk. Source: ISO/IEC 15948, clauses 5.2 and 11.2.2.
            assert data[:8] == b"\x89PNG\r\n\x1a\n"
            width, height = struct.unpack(">II", data[16:24])
            assert min(width, height) > 300
    assert [each.name for each in tmp_path.iterdir() if "unfinished" in each.name] == []


@pytest.mark.parametrize("form", ["mermaid", "dot", "svg"])
def test_without_a_file_a_text_goes_to_standard_output(
    draw: Draw, sticks: Path, tmp_path: Path, form: str
) -> None:
    _, out, err = draw("--trees", sticks, "--as", form)
    end = tree_draw.ENDINGS[form][0]
    draw("--trees", sticks, "--to", tmp_path / f"t{end}")
    assert out == (tmp_path / f"t{end}").read_text(encoding="utf-8")
    assert err == ""


def test_an_older_drawing_is_replaced(draw: Draw, sticks: Path, tmp_path: Path) -> None:
    path = tmp_path / "t.mmd"
    path.write_text("old", encoding="utf-8")
    assert draw("--trees", sticks, "--to", path)[0] == 0
    assert "flowchart" in path.read_text(encoding="utf-8")


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (("--to", "sticks.yaml"), "says no form; end it in one of .txt, .mmd"),
        (("--as", "svg", "--to", "t.png"), "a file of this form ends in .svg; name it so"),
        (("--to", "nowhere/t.svg"), "nowhere/t.svg.unfinished: No such file or directory"),
        (("--stage", "confirm"), "no question or fork in this cut"),
        (("--part", "freeze"), 'no part "freeze"'),
        (("stick",), 'no tree is called "stick"; did you mean "sticks"?'),
        (("--session", "2026"), 'no session "2026"'),
    ],
)
def test_what_cannot_be_drawn_is_refused_in_one_line_that_says_how_to_mend_it(
    draw: Draw, sticks: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch,
    arguments: tuple[str, ...], words: str,
) -> None:  # fmt: skip
    monkeypatch.chdir(tmp_path)
    before = {path: path.read_bytes() for path in sticks.rglob("*.yaml")}
    code, out, err = draw("--trees", sticks, *arguments)
    assert (code, out) == (2, "")
    assert words in err
    assert len(err.splitlines()) == 1
    assert {path: path.read_bytes() for path in sticks.rglob("*.yaml")} == before


def test_of_several_trees_one_has_to_be_named(draw: Draw) -> None:
    trees = shipped_engine().content.trees
    assert len(trees) > 1
    code, _, err = draw()
    assert code == 2
    assert all(f"{tree.id} ({tree.title})" in err for tree in trees.values())


# Graphviz.


def test_without_graphviz_it_says_what_to_install_or_to_do_instead(
    draw: Draw, sticks: Path, monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    (tmp_path / "empty").mkdir()
    monkeypatch.setenv("PATH", str(tmp_path / "empty"))
    code, out, err = draw("--trees", sticks, "--as", "svg")
    assert (code, out) == (2, "")
    assert err == (
        "triage: SVG needs Graphviz, and there is no program dot; install it (as in apt install "
        "graphviz), or use --as mermaid\n"
    )
    assert draw("--trees", sticks, "--as", "mermaid")[0] == 0


def stand_in(folder: Path, lines: str, monkeypatch: pytest.MonkeyPatch) -> None:
    """Put a program `dot` of our own in front of Graphviz's."""
    folder.mkdir()
    program = folder / "dot"
    program.write_text(f"#!/bin/sh\n{lines}\n", encoding="utf-8")
    program.chmod(0o755)
    monkeypatch.setenv("PATH", f"{folder}{os.pathsep}{os.environ['PATH']}")


@pytest.mark.parametrize(
    ("lines", "words"),
    [
        ("echo 'Error: \x1b[31mno fonts' >&2; exit 1", "Graphviz failed (Error: [31mno fonts); or"),
        ("exit 3", "Graphviz failed (3); or use --as mermaid"),
        ("cat >/dev/null", "Graphviz failed (0); or use --as mermaid"),
        ("exec sleep 30", "Graphviz was not done after 0.2 s; draw less with --stage or --part"),
    ],
    ids=["says why", "silent", "empty", "too slow"],
)
def test_graphviz_that_fails_is_told_in_one_line(
    draw: Draw, sticks: Path, monkeypatch: pytest.MonkeyPatch, tmp_path: Path,
    lines: str, words: str,
) -> None:  # fmt: skip
    monkeypatch.setattr(graphviz, "LONGEST_S", 0.2 if "sleep" in lines else 60.0)
    stand_in(tmp_path / "bin", lines, monkeypatch)
    code, out, err = draw("--trees", sticks, "--to", tmp_path / "t.svg")
    assert (code, out) == (2, "")
    assert words in err
    assert len(err.splitlines()) == 1
    assert not (tmp_path / "t.svg").exists()


def test_a_picture_scaled_down_for_png_is_told(
    draw: Draw, sticks: Path, monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    lines = "cat >/dev/null; echo PNG; echo 'dot: graph is too large for cairo-renderer' >&2"
    stand_in(tmp_path / "bin", lines, monkeypatch)
    code, _, err = draw("--trees", sticks, "--to", tmp_path / "t.png")
    assert code == 0
    assert "the picture was made smaller to fit a PNG; --as svg keeps its size" in err


# What is drawn.


def test_a_cut_by_stage_and_part_draws_only_that(draw: Draw) -> None:
    tree = shipped_engine().content.trees[TREE]
    space = next(iter(tree.parts))
    _, out, _ = draw(TREE, "--as", "mermaid", "--stage", "freeze")
    stages = [title for title in read_mermaid(out).subgraphs.values() if "STAGE" in title]
    assert [title.rpartition(" ")[2] for title in stages] == ["FREEZE"]
    _, out, _ = draw(TREE, "--as", "dot", "--part", space)
    drawn = {name for name in read_dot(out).nodes if name in {*tree.questions, *tree.junctions}}
    assert {name for name in drawn if name.startswith(f"{space}.")} == {
        name for name in (*tree.questions, *tree.junctions) if name.startswith(f"{space}.")
    }


def test_every_stage_can_be_named(draw: Draw) -> None:
    from triage.cli import build_parser

    for stage in Stage:
        assert build_parser().parse_args(["tree", "draw", "--stage", stage.value]).stage == stage


def test_each_ending_by_itself_says_why_it_is_reached(draw: Draw, sticks: Path) -> None:
    _, folded, _ = draw("--trees", sticks, "--as", "mermaid")
    _, spread, _ = draw("--trees", sticks, "--as", "mermaid", "--each-ending")
    assert "finish_charge" in read_mermaid(spread).nodes
    assert "finish_charge" not in read_mermaid(folded).nodes


def test_a_tree_that_fails_its_proofs_is_drawn_and_says_so(draw: Draw, tmp_path: Path) -> None:
    draft = sound_draft()
    draft.most_questions = 3
    code, out, err = draw("--trees", folder_of(draft, tmp_path / "t"))
    assert code == 0
    assert "NOT PROVED: this content breaks 1 promise; triage tree check says which." in out
    assert "NOT PROVED" in err


def test_content_that_cannot_be_read_is_refused(draw: Draw, tmp_path: Path) -> None:
    draft = sound_draft()
    draft.route("harvest", below="nowhere")
    code, out, err = draw("--trees", folder_of(draft, tmp_path / "t"))
    assert (code, out) == (3, "")
    assert "nowhere" in err


def test_a_text_longer_than_mermaid_reads_is_told(
    draw: Draw, sticks: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(tree_draw, "LONGEST_MERMAID", 1000)
    code, out, err = draw("--trees", sticks, "--as", "mermaid")
    assert code == 0
    assert read_mermaid(out).nodes
    assert "more than the 1,000 characters that Mermaid reads" in err


# A stored call.


@pytest.mark.parametrize("form", ["terminal", "mermaid", "dot", "svg"])
def test_the_way_of_a_stored_call_is_marked_in_every_form(
    draw: Draw, taken: tuple[str, str], form: str
) -> None:
    session, store = taken
    code, out, _ = draw("--session", session[-4:], "--store", store, "--as", form, "--plain")
    assert code == 0
    words = " ".join(re.sub(r"<[^>]*>|\n", " ", unescape(out)).split())
    assert f"Call {session}: " in words
    assert "the repair was told" in words
    assert re.search(r"Safety gate: (\d+) of \1 cautions acknowledged", words)
    assert words.count("TAKEN") > len(FEED_FAILED)


def test_a_call_is_drawn_in_the_tree_it_went_through_and_in_no_other(
    draw: Draw, taken: tuple[str, str], tmp_path: Path
) -> None:
    session, store = taken
    code, out, _ = draw("--session", session, "--store", store)
    assert code == 0
    assert f"({TREE})" in out.splitlines()[0]
    others = [name for name in shipped_engine().content.trees if name != TREE]
    code, _, err = draw(others[0], "--session", session, "--store", store)
    assert code == 2
    assert f"call {session} went through tree {TREE}" in err
