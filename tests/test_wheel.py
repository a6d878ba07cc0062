"""What is installed: the wheel carries its content, its demo calls and its tables."""

from __future__ import annotations

import subprocess
import sys
import zipfile
from pathlib import Path

import pytest

from tests.command_line import ROOT


@pytest.fixture(scope="module")
def installed(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Return a folder with the unpacked wheel, as an installation has it."""
    folder = tmp_path_factory.mktemp("wheel")
    subprocess.run(
        [
            sys.executable, "-m", "pip", "wheel", "--quiet", "--no-deps", "--no-build-isolation",
            "--no-index", "--wheel-dir", str(folder), str(ROOT),
        ],
        check=True, capture_output=True, text=True, timeout=120,
    )  # fmt: skip
    (wheel,) = folder.glob("triage-*.whl")
    unpacked = folder / "site"
    with zipfile.ZipFile(wheel) as archive:
        archive.extractall(unpacked)
    return unpacked


@pytest.mark.parametrize(
    ("source", "target", "pattern"),
    [
        ("trees", "triage/_trees", "*.yaml"),
        ("trees", "triage/_trees", "likelihoods.json"),
        ("trees/machines", "triage/_trees/machines", "*.yaml"),
        ("transcripts_demo", "triage/_transcripts_demo", "*"),
        ("triage/physics/data", "triage/physics/data", "*"),
        ("triage/review/export", "triage/review/export", "*"),
        ("triage", "triage", "*.py"),
        ("triage/dialogue", "triage/dialogue", "*.py"),
    ],
)
def test_the_wheel_carries_every_file_of_the_checkout(
    installed: Path, source: str, target: str, pattern: str
) -> None:
    ours = {path.name for path in (ROOT / source).glob(pattern) if path.is_file()}
    theirs = {path.name for path in (installed / target).glob(pattern) if path.is_file()}
    assert ours
    assert theirs == ours


def test_the_wheel_carries_no_tests_and_no_compiled_leftovers(installed: Path) -> None:
    tops = {path.name for path in installed.iterdir() if path.suffix != ".dist-info"}
    assert tops == {"triage"}
    assert not list(installed.rglob("__pycache__"))


def test_the_wheel_installs_the_command(installed: Path) -> None:
    (entry_points,) = installed.glob("*.dist-info/entry_points.txt")
    assert "triage = triage.cli:main" in entry_points.read_text(encoding="utf-8")


@pytest.mark.parametrize(
    "arguments",
    [["demo", "--list"], ["tree", "check"], ["gas", "R-290", "--pressure", "4 bar"], ["expect"]],
    ids=" ".join,
)
def test_the_installed_program_works_from_any_folder(
    installed: Path, tmp_path: Path, own_folders: dict[str, str], arguments: list[str]
) -> None:
    env = {**own_folders, "PYTHONPATH": str(installed)}
    code = "import triage; print(triage.__file__)"
    where = subprocess.run([sys.executable, "-P", "-c", code], env=env, cwd=tmp_path, check=True,
                           capture_output=True, text=True)  # fmt: skip
    assert where.stdout.startswith(str(installed))
    ended = subprocess.run(
        [sys.executable, "-m", "triage", *arguments],
        env=env, cwd=tmp_path, capture_output=True, text=True, check=False,
    )  # fmt: skip
    assert (ended.returncode, ended.stderr) == (0, "")
    assert ended.stdout.strip()
