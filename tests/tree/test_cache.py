"""Content once found good is remembered, privately and whole; anything odd is read anew."""

from __future__ import annotations

import hashlib
import os
import stat
import subprocess
import sys
from pathlib import Path

import pytest

from tests.tree.miniature import TREE, sound_draft
from triage.tree import cache
from triage.tree.cache import checked_content, user_cache_folder
from triage.tree.errors import ContentErrors, ProofFailed

ROOT = Path(cache.__file__).resolve().parent.parent.parent


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    folder = tmp_path / "trees"
    write(folder, sound_draft().bytes())
    return folder


@pytest.fixture
def memory(tmp_path: Path) -> Path:
    return tmp_path / "cache" / "triage"


def write(folder: Path, files: dict[str, bytes]) -> None:
    for name, data in files.items():
        path = folder / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(data)


def remembered(memory: Path) -> Path:
    (path,) = memory.glob("content-*.json")
    return path


@pytest.fixture
def read_anew(monkeypatch: pytest.MonkeyPatch) -> list[str]:
    """Return a list that grows each time content is proved."""
    calls: list[str] = []
    from triage.tree import proofs

    real = proofs.check_content
    monkeypatch.setattr(
        proofs, "check_content", lambda content: calls.append(content.version) or real(content)
    )
    return calls


def test_what_is_remembered_equals_what_was_read(folder: Path, memory: Path) -> None:
    first = checked_content(folder, memory)
    assert checked_content(folder, memory) == first == sound_draft().content()


def test_a_second_call_proves_nothing_again(
    folder: Path, memory: Path, read_anew: list[str]
) -> None:
    checked_content(folder, memory)
    checked_content(folder, memory)
    assert len(read_anew) == 1


def test_a_second_call_loads_neither_yaml_nor_networkx(folder: Path, memory: Path) -> None:
    checked_content(folder, memory)
    program = (
        "import sys; from pathlib import Path; from triage.tree.cache import checked_content; "
        "from triage.tree.graph import plan_tree; "
        "content = checked_content(Path(sys.argv[1]), Path(sys.argv[2])); "
        "plan_tree(content, 'sticks'); "
        "print(sorted({'yaml', 'networkx', 'numpy', 'CoolProp'} & set(sys.modules)))"
    )
    done = subprocess.run(
        [sys.executable, "-c", program, folder, memory],
        capture_output=True, text=True, check=True, cwd=ROOT,
    )  # fmt: skip
    assert done.stdout.strip() == "[]"


def test_a_changed_file_is_read_anew(folder: Path, memory: Path) -> None:
    before = checked_content(folder, memory)
    draft = sound_draft()
    draft.most_questions = 20
    write(folder, draft.bytes())
    after = checked_content(folder, memory)
    assert after.version != before.version
    assert after.trees["sticks"].most_questions == 20


def test_another_program_version_reads_anew(
    folder: Path, memory: Path, read_anew: list[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    checked_content(folder, memory)
    monkeypatch.setattr("triage.__version__", "9.9.9")
    checked_content(folder, memory)
    assert len(read_anew) == 2


def test_changed_checks_read_anew(
    folder: Path, memory: Path, read_anew: list[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    checked_content(folder, memory)
    monkeypatch.setattr(cache, "_sources", lambda: iter([("tree/proofs.py", 1, 1)]))
    checked_content(folder, memory)
    assert len(read_anew) == 2


def test_the_file_and_its_folder_are_the_owners_alone(folder: Path, memory: Path) -> None:
    checked_content(folder, memory)
    assert stat.S_IMODE(remembered(memory).stat().st_mode) == 0o600
    assert stat.S_IMODE(memory.stat().st_mode) == 0o700


@pytest.mark.parametrize(
    "damage",
    [
        lambda data: b"",
        lambda data: data[:-20],
        lambda data: data.replace(b"Second line", b"Sekond line"),
        lambda data: b"not a digest\n" + data,
        lambda data: signed(b"[]"),
        lambda data: signed(b"{}"),
        lambda data: signed(b"[" * 100_000),
        lambda data: signed(b"\xff"),
        lambda data: signed(data.partition(b"\n")[2].replace(b'"freeze"', b'"freese"')),
        lambda data: signed(data.partition(b"\n")[2].replace(b"0.9", b'"0.9"')),
    ],
    ids=[
        "empty", "cut", "altered", "longer", "other list", "other shape", "deep", "binary",
        "unknown member", "wrong type",
    ],
)  # fmt: skip
def test_a_damaged_file_is_ignored_and_replaced(
    folder: Path, memory: Path, read_anew: list[str], damage: object
) -> None:
    first = checked_content(folder, memory)
    path = remembered(memory)
    good = path.read_bytes()
    assert callable(damage)
    path.write_bytes(damage(good))
    assert checked_content(folder, memory) == first
    assert len(read_anew) == 2
    assert path.read_bytes() == good


def signed(body: bytes) -> bytes:
    return hashlib.sha256(body).hexdigest().encode() + b"\n" + body


def test_content_of_another_version_under_this_name_is_ignored(
    folder: Path, memory: Path, read_anew: list[str]
) -> None:
    checked_content(folder, memory)
    path = remembered(memory)
    version = sound_draft().content().version.encode()
    body = path.read_bytes().partition(b"\n")[2].replace(version, b"0" * 64)
    path.write_bytes(signed(body))
    checked_content(folder, memory)
    assert len(read_anew) == 2


@pytest.mark.skipif(not hasattr(os, "getuid"), reason="no owners on this system")
def test_a_file_others_could_write_is_ignored(
    folder: Path, memory: Path, read_anew: list[str]
) -> None:
    checked_content(folder, memory)
    remembered(memory).chmod(0o666)
    checked_content(folder, memory)
    assert len(read_anew) == 2


@pytest.mark.skipif(not hasattr(os, "getuid"), reason="no owners on this system")
def test_a_file_of_somebody_else_is_ignored(
    folder: Path, memory: Path, read_anew: list[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    checked_content(folder, memory)
    stranger = os.getuid() + 1
    monkeypatch.setattr(cache.os, "getuid", lambda: stranger)
    checked_content(folder, memory)
    assert len(read_anew) == 2


@pytest.mark.skipif(not hasattr(os, "O_NOFOLLOW"), reason="no such links on this system")
def test_a_link_in_place_of_the_file_is_not_followed(
    folder: Path, memory: Path, read_anew: list[str], tmp_path: Path
) -> None:
    checked_content(folder, memory)
    path = remembered(memory)
    elsewhere = tmp_path / "elsewhere.json"
    path.rename(elsewhere)
    path.symlink_to(elsewhere)
    checked_content(folder, memory)
    assert len(read_anew) == 2


def test_a_cache_that_cannot_be_written_is_done_without(folder: Path, tmp_path: Path) -> None:
    blocked = tmp_path / "blocked"
    blocked.write_text("a file where a folder should be")
    assert checked_content(folder, blocked / "triage") == sound_draft().content()
    assert blocked.read_text() == "a file where a folder should be"


def test_nothing_unfinished_is_left_behind(
    folder: Path, memory: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def no_space(self: Path, target: Path) -> Path:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(Path, "replace", no_space)
    checked_content(folder, memory)
    assert list(memory.iterdir()) == []


def test_broken_content_is_refused_each_time_and_never_remembered(
    folder: Path, memory: Path
) -> None:
    (folder / TREE).write_bytes(sound_draft().bytes()[TREE].replace(b"format: 1", b"format: 7"))
    for _ in range(2):
        with pytest.raises(ContentErrors):
            checked_content(folder, memory)
    draft = sound_draft()
    draft.most_questions = 1
    write(folder, draft.bytes())
    for _ in range(2):
        with pytest.raises(ProofFailed):
            checked_content(folder, memory)
    assert not memory.exists()


def test_only_the_latest_few_are_kept(folder: Path, memory: Path) -> None:
    for most in range(14, 26):
        draft = sound_draft()
        draft.most_questions = most
        write(folder, draft.bytes())
        checked_content(folder, memory)
    assert len(list(memory.glob("content-*.json"))) == 8


@pytest.mark.skipif(sys.platform in ("win32", "darwin"), reason="other folders there")
def test_the_cache_folder_is_the_one_platformdirs_names(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    import platformdirs

    for value in ("", "relative/path", str(tmp_path)):
        monkeypatch.setenv("XDG_CACHE_HOME", value)
        if value != "relative/path":  # to be ignored (XDG Base Directory Specification)
            assert user_cache_folder() == platformdirs.user_cache_path("triage", appauthor=False)
    monkeypatch.setenv("XDG_CACHE_HOME", "relative/path")
    assert user_cache_folder() == Path.home() / ".cache" / "triage"
