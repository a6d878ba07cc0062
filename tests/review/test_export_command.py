"""`triage log export`: which calls, in which form, to where; and what is never written over."""

from __future__ import annotations

import csv
import io
import json
import os
import sqlite3
import stat
import subprocess
import sys
from collections.abc import Iterator, Mapping, Sequence
from datetime import timedelta
from pathlib import Path

import pytest

from tests.review.exports import ESCALATED, FULL, REFUSED, Spoken, spoken, told_all
from triage.cli import main
from triage.review.export import files
from triage.store import open_store

Captured = pytest.CaptureFixture[str]
FIRST, SECOND, THIRD = "20260105-0900-bbbb", "20260105-0900-cccc", "20260105-0900-dddd"

pytestmark = pytest.mark.usefixtures("own_folders")


_AT_ONCE = 25


def keep(store: Path, session_id: str, lines: Sequence[Spoken], hours: int) -> None:
    """Put a call on record, so many hours later; some events at once, for speed."""
    with open_store(store) as opened:
        for length in range(0, len(lines), _AT_ONCE):
            some = lines[length : length + _AT_ONCE]
            spoken_some = [(speaker, event) for _, speaker, event in some]
            at = some[0][0] + timedelta(hours=hours)
            opened.append(session_id, spoken_some, "c" * 64, at, length)


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """Return an empty folder."""
    path = tmp_path / "out"
    path.mkdir()
    return path


@pytest.fixture(scope="module")
def kept(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Return a record of three calls; nobody writes to it."""
    path = tmp_path_factory.mktemp("record") / "calls.sqlite3"
    lines = told_all(FULL, "hums at night", "Ana Berg", "GL-0042-771", "typed so")
    keep(path, FIRST, lines, 0)
    keep(path, SECOND, spoken(REFUSED), 1)
    keep(path, THIRD, spoken(ESCALATED), 2)
    return path


def run(*arguments: str | Path) -> int:
    return main(["log", "export", *map(str, arguments)])


def test_lines_of_json_come_one_a_call_the_latest_first(kept: Path, capsys: Captured) -> None:
    assert run("--as", "jsonl", "--store", kept) == 0
    out, err = capsys.readouterr()
    assert err == ""
    data = [json.loads(line) for line in out.splitlines()]
    assert [item["session_id"] for item in data] == [THIRD, SECOND, FIRST]
    assert {item["personal_data"] for item in data} == {"left out"}
    assert "Ana" not in out
    assert "hums" not in out


def test_named_sessions_come_in_their_order(kept: Path, capsys: Captured) -> None:
    assert run("cccc", "bbbb", "--as", "jsonl", "--store", kept, "--with-personal-data") == 0
    out = capsys.readouterr().out
    assert [json.loads(line)["session_id"] for line in out.splitlines()] == [SECOND, FIRST]
    assert "Ana Berg" in out


def test_filters_narrow_what_is_exported(kept: Path, capsys: Captured) -> None:
    assert run("--as", "csv", "--store", kept, "--withheld") == 0
    out = capsys.readouterr().out
    rows = list(csv.DictReader(io.StringIO(out, newline=""), strict=True))
    assert [row["session_id"] for row in rows] == [SECOND]


def test_units_asked_for_go_before_those_of_the_call(kept: Path, capsys: Captured) -> None:
    assert run(FIRST, "--as", "markdown", "--units", "si", "--store", kept) == 0
    assert "5.2 bar (76 psig), minute 1, BELOW (band 8 to 9.6 bar)" in capsys.readouterr().out


def test_several_tickets_stand_apart(kept: Path, capsys: Captured) -> None:
    assert run("--as", "markdown", "--store", kept) == 0
    out = capsys.readouterr().out
    assert out.count("\n---\n") == 2
    assert out.count("- **Call:**") == 3


def test_one_page_goes_to_standard_output_or_to_a_file_of_its_own(
    kept: Path, tmp_path: Path, capsys: Captured
) -> None:
    assert run(FIRST, "--as", "html", "--store", kept) == 0
    out = capsys.readouterr().out
    assert out.startswith("<!DOCTYPE html>")
    page = tmp_path / "call.html"
    assert run(FIRST, "--as", "html", "--store", kept, "--to", page) == 0
    assert page.read_text(encoding="utf-8") == out
    assert f"1 call written to {page}" in capsys.readouterr().err


def test_several_pages_want_a_folder(kept: Path, tmp_path: Path, capsys: Captured) -> None:
    for where in ([], ["--to", tmp_path / "all.html"]):
        assert run("--as", "html", "--store", kept, *where) == 2
        assert "name a folder with --to" in capsys.readouterr().err
    assert list(tmp_path.glob("*.html")) == []
    folder = tmp_path / "new" / "pages"
    assert run("--as", "html", "--store", kept, "--to", folder) == 0
    assert sorted(path.name for path in folder.iterdir()) == [
        f"{session_id}.html" for session_id in (FIRST, SECOND, THIRD)
    ]
    assert stat.S_IMODE(folder.stat().st_mode) == 0o700


@pytest.mark.parametrize("form", ["jsonl", "csv", "markdown", "html"])
def test_a_file_is_for_its_owner_alone_and_never_over_another(
    kept: Path, tmp_path: Path, capsys: Captured, form: str
) -> None:
    path = tmp_path / "out.html"
    old = os.umask(0)
    try:
        assert run(FIRST, "--as", form, "--store", kept, "--to", path) == 0
    finally:
        os.umask(old)
    assert stat.S_IMODE(path.stat().st_mode) == 0o600
    before = path.read_bytes()
    capsys.readouterr()
    assert run(SECOND, "--as", form, "--store", kept, "--to", path) == 2
    assert f"{path}: there is a file of that name" in capsys.readouterr().err.replace("\n", " ")
    assert path.read_bytes() == before
    assert [item.name for item in tmp_path.glob(".*")] == []


def test_a_page_in_the_folder_is_not_written_over(
    kept: Path, tmp_path: Path, capsys: Captured
) -> None:
    (tmp_path / f"{SECOND}.html").write_text("mine", encoding="utf-8")
    assert run(SECOND, "--as", "html", "--store", kept, "--to", tmp_path) == 2
    assert "there is a file of that name" in capsys.readouterr().err.replace("\n", " ")
    assert (tmp_path / f"{SECOND}.html").read_text(encoding="utf-8") == "mine"


def test_a_link_that_leads_nowhere_is_not_followed(
    kept: Path, tmp_path: Path, capsys: Captured
) -> None:
    link = tmp_path / "out.csv"
    link.symlink_to(tmp_path / "elsewhere.csv")
    assert run(FIRST, "--as", "csv", "--store", kept, "--to", link) == 2
    assert not (tmp_path / "elsewhere.csv").exists()


def test_a_file_that_cannot_be_finished_is_not_there(folder: Path) -> None:
    def pieces() -> Iterator[str]:
        yield "begun"
        raise OSError(28, "No space left on device")

    with pytest.raises(OSError, match="No space"):
        files.write_new(folder / "out.csv", pieces())
    assert list(folder.iterdir()) == []


def test_a_file_that_comes_up_meanwhile_is_left(folder: Path) -> None:
    path = folder / "out.csv"

    def pieces() -> Iterator[str]:
        yield "ours"
        path.write_text("theirs", encoding="utf-8")

    with pytest.raises(Exception, match="came up meanwhile"):
        files.write_new(path, pieces())
    assert path.read_text(encoding="utf-8") == "theirs"
    assert list(folder.iterdir()) == [path]


def test_where_no_second_name_can_be_made_a_file_is_moved(
    folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def refuse(*_: object, **__: object) -> None:
        raise PermissionError(1, "Operation not permitted")

    monkeypatch.setattr(os, "link", refuse)
    files.write_new(folder / "out.csv", ("a",))
    assert (folder / "out.csv").read_text(encoding="utf-8") == "a"
    assert len(list(folder.iterdir())) == 1


def test_a_damaged_call_is_named_and_the_others_are_written(
    kept: Path, tmp_path: Path, capsys: Captured
) -> None:
    store = tmp_path / "calls.sqlite3"
    for part in kept.parent.iterdir():
        (tmp_path / part.name).write_bytes(part.read_bytes())
    with sqlite3.connect(store) as database:
        triggers = database.execute("SELECT name FROM sqlite_master WHERE type = 'trigger'")
        for (name,) in triggers.fetchall():
            database.execute(f'DROP TRIGGER "{name}"')
        database.execute(
            "UPDATE triage_events SET speaker = 'x' WHERE session_id = ? AND sequence = 9",
            (SECOND,),
        )
    assert run("--as", "jsonl", "--store", store) == 4
    out, err = capsys.readouterr()
    told = {json.loads(line)["session_id"] for line in out.splitlines()}
    assert told == {FIRST, THIRD}
    assert f"not exported: {SECOND}" in err


def test_an_empty_choice_says_so_and_writes_no_page(
    kept: Path, tmp_path: Path, capsys: Captured
) -> None:
    page = tmp_path / "none.html"
    assert run("--as", "html", "--store", kept, "--until", "2020-01-01", "--to", page) == 0
    assert "0 calls written" in capsys.readouterr().err
    assert not page.exists()
    assert run("--as", "csv", "--store", kept, "--until", "2020-01-01") == 0
    assert capsys.readouterr().out.startswith("session_id,")


def test_without_any_record_there_is_nothing_to_export(capsys: Captured) -> None:
    assert run("--as", "jsonl") == 0
    assert capsys.readouterr().out == ""


def test_only_a_page_loads_what_pages_are_made_with(
    kept: Path, own_folders: Mapping[str, str], folder: Path
) -> None:
    heavy = {"matplotlib", "jinja2", "CoolProp", "prompt_toolkit"}
    code = f"""
import sys
from triage.cli import main
for form in ("jsonl", "csv", "markdown", "html"):
    main(["log", "export", "{FIRST}", "--as", form, "--store", {str(kept)!r},
          "--to", {str(folder)!r} + "/" + form + ".html"])
    print(form, *sorted({heavy!r} & set(sys.modules)))
"""
    ended = subprocess.run(
        [sys.executable, "-c", code], env=dict(own_folders), capture_output=True, text=True,
        check=True,
    )  # fmt: skip
    assert ended.stdout.splitlines() == ["jsonl", "csv", "markdown", "html jinja2 matplotlib"]
