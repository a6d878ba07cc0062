"""`triage tree schema` writes schemas that editors can use, and says how."""

from __future__ import annotations

import json
import re
import shlex
import shutil
from pathlib import Path

import pytest

from tests.command_line import ROOT
from tests.tree.schema.folder import sound_files
from triage.cli import main
from triage.tree.schema.kinds import Kind, kind_of

FIRST_LINE = re.compile(r"^  (\S+) +# yaml-language-server: \$schema=(\S+)$", re.MULTILINE)


@pytest.fixture
def trees(tmp_path: Path) -> Path:
    """A content folder of every kind of file."""
    folder = tmp_path / "my trees"
    for name, data in sound_files().items():
        path = folder / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(data)
    return folder


def run(*words: str | Path) -> int:
    return main(["tree", "schema", *map(str, words)])


@pytest.mark.parametrize("kind", ["", *Kind])
def test_one_kind_is_printed_a_tree_if_none_is_named(
    kind: str, trees: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert run(*([kind] if kind else []), "--trees", trees) == 0
    out, err = capsys.readouterr()
    assert json.loads(out)["title"] == f"{kind or 'tree'} of triage"
    assert err == ""


def test_it_offers_the_names_of_the_folder_it_is_given(
    trees: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    run("tree", "--trees", trees)
    mine = capsys.readouterr().out
    run("tree")
    shipped = capsys.readouterr().out
    assert '"thin_charge"' in mine
    assert '"thin_charge"' not in shipped


def test_written_schemas_lie_where_the_lines_to_put_into_files_say(
    trees: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    written = tmp_path / "of" / "schemas"
    assert run("--trees", trees, "--write", written) == 0
    out = capsys.readouterr().out
    assert {path.name for path in written.iterdir()} == {f"{kind}.schema.json" for kind in Kind}
    lines = FIRST_LINE.findall(out)
    told = {pattern: (trees / pattern).parent / line for pattern, line in lines}
    for path in trees.rglob("*.yaml"):
        name = path.relative_to(trees).as_posix()
        pattern = name if name in told else re.sub(r"[^/]+$", "*.yaml", name)
        schema = json.loads(told[pattern].resolve().read_text())
        assert schema["title"] == f"{kind_of(name)} of triage"


def test_the_settings_it_tells_give_each_file_the_schema_of_its_kind(
    trees: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    run("--trees", trees, "--write", tmp_path / "schemas")
    out = capsys.readouterr().out
    settings = json.loads(out[out.index("{\n") : out.rindex("}") + 1])["yaml.schemas"]
    for path in trees.rglob("*.yaml"):
        relative = path.relative_to(trees.parent)
        fitting = [
            json.loads(Path(schema).read_text())["title"]
            for schema, patterns in settings.items()
            if any(relative.match(each) for each in patterns)
            and not any(relative.match(each[1:]) for each in patterns if each.startswith("!"))
        ]
        kind = kind_of(path.relative_to(trees).as_posix())
        assert fitting == [f"{kind} of triage"], relative


def test_one_kind_may_be_written_alone_and_is_written_over(
    trees: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    stale = tmp_path / "part.schema.json"
    stale.write_text("stale")
    assert run("part", "--trees", trees, "--write", tmp_path) == 0
    assert json.loads(stale.read_text())["title"] == "part of triage"
    assert sorted(path.name for path in tmp_path.glob("*.json")) == [stale.name]
    assert capsys.readouterr().out.count("written: ") == 1


def test_a_folder_with_mistakes_still_gives_schemas_and_says_what_is_left_open(
    trees: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (trees / "causes.yaml").write_text("causes: [")
    readings = trees / "readings.yaml"
    readings.write_text(readings.read_text().replace("normal: [even]", "normal: [evn]"))
    assert run("--trees", trees) == 0
    out, err = capsys.readouterr()
    assert json.loads(out)["title"] == "tree of triage"
    assert err == (
        "triage: left open, as it could not be read: causes.yaml, ice_pattern; triage tree check "
        "says why\n"
    )


def test_an_unknown_kind_gets_the_nearest_one(capsys: pytest.CaptureFixture[str]) -> None:
    assert run("trees") == 2
    assert "did you mean tree?" in capsys.readouterr().err


def test_a_folder_that_cannot_be_written_is_told(
    trees: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    taken = tmp_path / "taken"
    taken.write_text("")
    assert run("--trees", trees, "--write", taken) == 2
    assert "taken: File exists" in capsys.readouterr().err


def test_the_example_of_its_help_works(
    trees: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    assert run("--help") == 0
    help_text = " ".join(capsys.readouterr().out.split())
    words = shlex.split(re.search(r"Example: triage (.*? --write \w+)", help_text)[1])
    shutil.copytree(ROOT / "trees", trees.parent / "my_trees")
    monkeypatch.chdir(trees.parent)
    assert main(words) == 0
    assert (trees.parent / "schemas" / "tree.schema.json").is_file()
