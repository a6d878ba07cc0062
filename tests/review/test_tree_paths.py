"""`triage tree paths` at the command line: figures of trees, and what calls cover."""

from __future__ import annotations

import json
import re
from collections.abc import Iterator
from contextlib import contextmanager
from io import StringIO
from pathlib import Path
from typing import Any

import pytest

from tests.conversation import shipped_engine
from tests.review.sticks import CHARGE, EVEN, LICENSED, THIN, call, cautioned, folder_of, keep
from tests.tree.miniature import sound_draft
from triage.cli import main
from triage.console.demo import demo_calls, demo_folder
from triage.console.look import ChatConsole, Look
from triage.review import tree_figures, tree_paths
from triage.review.progress import Progress
from triage.review.tree_figures import Covers, figures_of
from triage.review.tree_paths_screen import paths_card
from triage.review.usual_answers import LICENSED_CALLER, OTHER_CALLER, usual_answers
from triage.tree.conversations import States, TooLarge, conversations
from triage.tree.graph import plan_tree
from triage.tree.paths import expected, talks

Captured = pytest.CaptureFixture[str]

pytestmark = pytest.mark.usefixtures("own_folders")


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    return folder_of(sound_draft(), tmp_path / "content")


def run(*arguments: str | Path) -> int:
    return main(["tree", "paths", *map(str, arguments)])


def told(capsys: Captured, *arguments: str | Path, code: int = 0) -> dict[str, Any]:
    assert run(*arguments, "--json") == code
    out, err = capsys.readouterr()
    assert err == ""
    found: dict[str, Any] = json.loads(out)
    return found


def test_json_has_what_is_counted_and_expected(folder: Path, capsys: Captured) -> None:
    content = sound_draft().content()
    states = States()
    start = conversations(content, plan_tree(content, "sticks"), states)
    (tree,) = told(capsys, "--trees", folder)["trees"]
    span = talks(states, start)
    assert tree["conversations"]["count"] == span.count
    assert tree["conversations"]["by_ending"] == dict(span.endings)
    assert tree["conversations"]["shortest"]["questions"] == 6
    assert tree["conversations"]["longest"]["ending"] == "feed"
    assert tree["graph_paths"]["count"] > span.count
    assert tree["met_by_no_caller"] == []
    for who in (LICENSED_CALLER, OTHER_CALLER):
        usual = usual_answers(content, "sticks", who)
        hoped = expected(states, start, usual.shares, usual.chances)
        assert tree["expected"][who]["questions"] == pytest.approx(hoped.questions)
    assert tree["expected"][LICENSED_CALLER]["questions"] > tree["expected"][OTHER_CALLER][
        "questions"
    ]  # fmt: skip


def test_recorded_calls_are_counted_where_they_went_and_the_rest_is_covered_by_none(
    folder: Path, tmp_path: Path, capsys: Captured
) -> None:
    licensed = call({**EVEN, **LICENSED}, *cautioned("hot_lines", "line"))
    calls = (call(THIN, CHARGE), call(EVEN), licensed, call(THIN, tree="gone"))
    store = keep(tmp_path / "calls.sqlite3", *calls)
    found = told(capsys, "sticks", "--trees", folder, "--store", store)
    assert found["recorded_calls"] == 3
    (not_walked,) = found["not_walked"]
    assert not_walked["calls"] == 1
    assert 'no tree is called "gone"' in not_walked["why"]
    (tree,) = found["trees"]
    counts = {(it["kind"], it["id"], it["rule"]): it["recorded_calls"] for it in tree["nodes"]}
    assert counts["question", "pattern", None] == 3
    assert counts["question", "leak", None] == 2
    assert counts["ending", "charge", None] == 1
    assert counts["ending", "hand_on", None] == 1
    assert counts["caution on the way", "hot_lines", None] == 1
    none = {(it["kind"], it["id"], it["rule"]) for it in tree["covered_by_none"]}
    assert none == {key for key, calls in counts.items() if not calls}
    assert ("question", "coil", None) in none
    (rule,) = [it for it in tree["covered_by_none"] if it["rule"] == 1]
    assert rule["says"].startswith("So it is")


def test_one_tree_shows_every_node_and_what_none_covers_in_80_columns(
    folder: Path, tmp_path: Path, capsys: Captured
) -> None:
    store = keep(tmp_path / "calls.sqlite3", call(THIN, CHARGE))
    assert run("sticks", "--trees", folder, "--store", store) == 0
    lines = capsys.readouterr().out.splitlines()
    assert max(map(len, lines)) <= 80
    assert lines[0] == "sticks: Ice sticks"
    assert "0     1      pattern" in lines
    assert "0     0      is_freeze_sound: where no rule holds" in lines
    rest = lines[lines.index("covered by none") :]
    assert any(line.startswith("- cautions on the way, ") and "mains" in line for line in rest)
    endings = next(line for line in rest if line.startswith("- endings, 2 of 3: "))
    assert "feed (" in endings
    assert "charge" not in endings
    assert "- rules of junctions, 2 of 2: is_freeze_sound 1, else" in rest
    assert "Walked: 0 demo calls and 1 recorded call." in rest


def test_the_longest_and_the_shortest_conversation_are_told_an_answer_a_line(
    folder: Path, capsys: Captured
) -> None:
    assert run("sticks", "--trees", folder) == 0
    lines = capsys.readouterr().out.splitlines()
    first = lines.index("- Shortest conversation: 6 questions, ends in charge:")
    assert lines[first + 6] == "    ice pattern: thin at the outlet"
    longest = next(place for place, line in enumerate(lines) if "Longest conversation" in line)
    told_ = lines[longest + 1 : longest + 15]
    assert all(line.startswith("    ") and ": " in line for line in told_)
    assert not lines[longest + 15].startswith("    ")


def test_own_nodes_come_before_those_of_parts_and_what_none_covers_is_told_part_by_part() -> None:
    content = shipped_engine().content
    figures = figures_of(content, "will_not_release")
    lines = Covers().lines(content, figures.plan)
    shown = StringIO()
    console = ChatConsole(Look(), shown, 80)
    console.print(paths_card(content, [figures], Covers(), is_each_wanted=True))
    out = shown.getvalue().splitlines()
    questions = out[next(i for i, line in enumerate(out) if line.endswith("  questions")) + 1 :]
    names = [line.split()[-1] for line in questions[: len(figures.tree.questions)]]
    assert set(names) == set(figures.tree.questions)
    own = [name for name in figures.tree.questions if "." not in name]
    assert own
    assert names[: len(own)] == own
    rest = out[out.index("covered by none") :]
    assert 2 * len(rest) < len(lines)
    heads = [line for line in rest if line.startswith("part ")]
    assert heads[0].startswith("part opening: ")
    assert len(heads) == len(figures.tree.parts)
    counts = [re.fullmatch(r".*: (\d+) of (\d+)", line) for line in rest]
    assert sum(int(found[2]) for found in counts if found) == len(lines)


@pytest.mark.parametrize("by", ["length", "order"])
def test_what_is_not_proved_is_told_and_counted_all_the_same(
    by: str, tmp_path: Path, capsys: Captured
) -> None:
    draft = sound_draft()
    if by == "length":
        draft.most_questions = 3
    else:
        draft.route("bridge", above="coil")
    folder = folder_of(draft, tmp_path / "content")
    store = keep(tmp_path / "calls.sqlite3", call(THIN, CHARGE))
    assert run("sticks", "--trees", folder, "--store", store) == 0
    out = capsys.readouterr().out
    assert out.startswith("NOT PROVED: this content breaks ")
    assert "- Longest conversation: 14 questions" in out
    assert "Walked: 0 demo calls and 1 recorded call." in out
    found = told(capsys, "--trees", folder)
    assert found["not_proved"]
    assert found["trees"][0]["conversations"]["count"] > 0


def test_a_path_that_comes_back_is_refused_for_it_has_no_end_to_count(
    tmp_path: Path, capsys: Captured
) -> None:
    draft = sound_draft()
    draft.route("flow", full="bridge")
    assert run("--trees", folder_of(draft, tmp_path / "content")) == 3
    err = " ".join(capsys.readouterr().err.split())
    assert "the paths cannot be counted: one comes back to where it was." in err
    assert "a call could go round in circles here" in err


def test_progress_is_shown_on_a_terminal_while_trees_and_calls_are_worked_at(
    folder: Path, capsys: Captured, monkeypatch: pytest.MonkeyPatch
) -> None:
    named: list[str] = []

    @contextmanager
    def bar(what: str) -> Iterator[Progress]:
        named.append(what)
        yield lambda done, whole: None

    monkeypatch.setattr(tree_paths, "progress_bar", bar)
    monkeypatch.setattr(tree_figures, "progress_bar", bar)
    assert run("--trees", folder) == 0
    assert named[:2] == ["trees counted", "demo calls played"]


def test_all_trees_are_told_in_short(folder: Path, capsys: Captured) -> None:
    assert run("--trees", folder) == 0
    out = capsys.readouterr().out
    assert "- Longest conversation: 14 questions, ends in feed.\n" in out
    assert "covered by none" not in out
    assert "triage tree paths TREE shows every node" in out


def test_plain_output_has_the_same_words(folder: Path, capsys: Captured) -> None:
    assert run("sticks", "--trees", folder, "--plain") == 0
    assert "covered by none" in capsys.readouterr().out


def test_names_in_the_record_are_shown_without_control_characters(
    folder: Path, tmp_path: Path, capsys: Captured
) -> None:
    store = keep(tmp_path / "calls.sqlite3", call(THIN, tree="\x1b[31m[bold]gone"))
    assert run("sticks", "--trees", folder, "--store", store) == 0
    out = capsys.readouterr().out
    assert "\x1b" not in out
    assert "[bold]gone" in out


def test_a_tree_too_entangled_to_count_is_said_to_be_so(
    folder: Path, capsys: Captured, monkeypatch: pytest.MonkeyPatch
) -> None:
    def refuse(*_: object) -> int:
        raise TooLarge

    monkeypatch.setattr(tree_figures, "conversations", refuse)
    assert run("--trees", folder) == 0
    out = " ".join(capsys.readouterr().out.split())
    assert "Too many answers hang together here" in out
    assert "Longest path: 14 questions" in out
    (tree,) = told(capsys, "--trees", folder)["trees"]
    assert tree["conversations"] is None
    assert tree["expected"] == {}


def test_a_tree_that_is_not_there_content_that_fails_and_a_record_that_is_not_there(
    folder: Path, tmp_path: Path, capsys: Captured
) -> None:
    assert run("stick", "--trees", folder) == 2
    assert 'did you mean "sticks"?' in capsys.readouterr().err
    assert run("--trees", folder, "--store", tmp_path / "none.sqlite3") == 4
    broken = sound_draft()
    broken.route("coil", below="nowhere")
    assert run("--trees", folder_of(broken, tmp_path / "broken")) == 3


def test_each_demo_call_covers_the_tree_its_complaint_leads_to() -> None:
    content = shipped_engine().content
    covers = Covers()
    covers.add_demo_calls(content)
    names = [path.stem for path in demo_calls(demo_folder())]
    assert covers.demo_calls == names
    assert not covers.not_walked
    lines = [
        line
        for tree in content.trees
        for line in covers.lines(content, plan_tree(content, tree))
        if line.mark.id.endswith("caller_qualification")
    ]
    assert sorted(name for line in lines for name in line.demo) == names
    assert all(line.recorded == 0 for line in lines)


def test_for_one_tree_only_its_own_demo_calls_are_played_and_cover_the_same() -> None:
    content = shipped_engine().content
    everything, own = Covers(), Covers()
    everything.add_demo_calls(content)
    own.add_demo_calls(content, "low_production")
    assert own.demo_calls == ["14_hot_kitchen_agent_us"]
    assert own.demo == {"low_production": everything.demo["low_production"]}
