"""`triage tree check` says what was proved, tree by tree, or shows the call that breaks it."""

from __future__ import annotations

import re
import sys
from pathlib import Path

import pytest

from tests.tree.miniature import Draft, sound_draft
from triage.cli import main
from triage.tree.proofs import CONTENT_PROPERTIES, PROPERTIES

Captured = pytest.CaptureFixture[str]


def write(folder: Path, draft: Draft) -> Path:
    """Write a drafted content folder."""
    for name, data in draft.bytes().items():
        path = folder / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(data)
    return folder


def test_what_was_proved_is_told_by_name_by_tree_and_in_all(
    tmp_path: Path, capsys: Captured
) -> None:
    assert main(["tree", "check", "--trees", str(write(tmp_path, sound_draft()))]) == 0
    lines = capsys.readouterr().out.splitlines()
    assert "  no path comes back" in lines
    assert "  parts are condemned on their check alone" in lines
    assert "  every text is plain" in lines
    assert len([line for line in lines if line.startswith("  ")]) == len(
        (*PROPERTIES, *CONTENT_PROPERTIES)
    )
    # 14 questions with 7 cautions, a junction, 3 endings, and two gates and recommendations.
    assert (
        f"sticks: 14 questions, 1 junction, 3 endings, 29 nodes; {len(PROPERTIES)} promises proved"
    ) in lines
    shared = next(line for line in lines if line.startswith("what they share: "))
    assert shared.startswith("what they share: 14 readings, 3 causes, 3 cautions, 1 machine, ")
    assert shared.endswith(f"; {len(CONTENT_PROPERTIES)} promises proved")
    total = len(PROPERTIES) + len(CONTENT_PROPERTIES)
    assert any(line.startswith(f"in all {total} promises proved; content ") for line in lines)


def test_a_broken_promise_is_told_with_the_call_that_shows_it(
    tmp_path: Path, capsys: Captured
) -> None:
    draft = sound_draft()
    draft.route("coil", below="harvest")
    assert main(["tree", "check", "--trees", str(write(tmp_path, draft))]) == 3
    told = capsys.readouterr()
    assert told.out == ""
    lines = told.err.splitlines()
    assert lines[0] == "triage: the content breaks 1 promise:"
    assert lines[1].startswith("sticks.yaml:")
    assert "feed_failed without a good coil check (coil_voltage: within)" in lines[1]
    assert lines[2:5] == [
        "    a call in sticks that shows it:",
        "    -- sticks.yaml",
        "    desk    Words. [who]",
    ]
    assert lines[-5:] == [
        "    desk    Words. [coil]",
        "    caller  below its band [below]",
        "    desk    Words. [harvest]",
        "    caller  below its band [below]",
        "    ends    concludes: receiver vapor feed failed [feed]",
    ]


def test_a_call_is_refused_on_such_content_with_the_same_words(
    tmp_path: Path, capsys: Captured, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path / "cache"))
    draft = sound_draft()
    draft.route("coil", below="harvest")
    trees = str(write(tmp_path / "trees", draft))
    answers = tmp_path / "answers.yaml"
    answers.write_text("caller_qualification: licensed\n", encoding="utf-8")
    assert main(["tree", "check", "--trees", trees]) == 3
    checked = capsys.readouterr().err
    assert main(["call", "--answers", str(answers), "--trees", trees]) == 3
    assert capsys.readouterr().err == checked


def test_color_shows_where_and_what_and_changes_no_word(tmp_path: Path, capsys: Captured) -> None:
    draft = sound_draft()
    draft.route("coil", below="harvest")
    trees = str(write(tmp_path, draft))
    assert main(["tree", "check", "--trees", trees, "--color", "never"]) == 3
    plain = capsys.readouterr().err
    assert "\x1b[" not in plain
    assert main(["tree", "check", "--trees", trees, "--color", "always"]) == 3
    colored = capsys.readouterr().err
    assert "\x1b[1;31mtriage: the content breaks 1 promise:" in colored
    assert re.sub(r"\x1b\[[0-9;]*m", "", colored) == plain


def test_mistakes_and_what_was_proved_have_color_too(tmp_path: Path, capsys: Captured) -> None:
    draft = sound_draft()
    trees = write(tmp_path, draft)
    assert main(["tree", "check", "--trees", str(trees), "--color", "always"]) == 0
    assert "\x1b[1;32min all " in capsys.readouterr().out
    (trees / "readings").mkdir()
    (trees / "readings" / "empty.yaml").write_text("")
    assert main(["tree", "check", "--trees", str(trees), "--color", "always"]) == 3
    assert "\x1b[1mreadings/empty.yaml:1:1\x1b[0m the file holds" in capsys.readouterr().err


@pytest.mark.parametrize(("columns", "has_all"), [(80, False), (140, True)])
def test_a_call_is_as_wide_as_the_screen(
    columns: int,
    has_all: bool,
    tmp_path: Path,
    capsys: Captured,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    draft = sound_draft()
    draft.route("coil", below="harvest")
    words = "Look at the ice near the end of a freeze. " * 6 + "How thick is it?"
    text = draft.yaml().replace("agent: Words.", f"agent: {words}", 1)
    draft.files["sticks.yaml"] = text
    trees = str(write(tmp_path, draft))
    monkeypatch.setenv("COLUMNS", str(columns))
    monkeypatch.setattr(sys.stderr, "isatty", lambda: True)
    assert main(["tree", "check", "--trees", trees]) == 3
    told = re.sub(r"\x1b\[[0-9;]*m", "", capsys.readouterr().err)
    lines = told.splitlines()
    assert max(map(len, lines)) <= columns
    assert any(line.endswith("How thick is it? [who]") for line in lines)
    is_cut = any(line.startswith("    desk    Look") and line.endswith("…") for line in lines)
    assert is_cut != has_all
