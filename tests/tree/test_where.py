"""Content is found in the installed package, in a checkout, or where a person says."""

from __future__ import annotations

from pathlib import Path

import pytest

from triage.tree import where
from triage.tree.errors import ContentFolderMissing
from triage.tree.where import content_folder


@pytest.fixture
def package(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    package = tmp_path / "site" / "triage"
    package.mkdir(parents=True)
    monkeypatch.setattr(where, "_PACKAGE", package)
    return package


def test_in_this_checkout_it_is_the_folder_beside_the_package() -> None:
    assert (content_folder() / "readings.yaml").is_file()


def test_an_installed_package_brings_its_own(package: Path) -> None:
    (package / "_trees").mkdir()
    (package.parent / "trees").mkdir()
    assert content_folder() == package / "_trees"


def test_a_checkout_has_it_beside_the_package(package: Path) -> None:
    (package.parent / "trees").mkdir()
    assert content_folder() == package.parent / "trees"


def test_an_explicit_folder_wins(package: Path, tmp_path: Path) -> None:
    (package / "_trees").mkdir()
    assert content_folder(tmp_path) == tmp_path


def test_an_explicit_folder_that_is_missing_is_told_and_not_replaced(
    package: Path, tmp_path: Path
) -> None:
    (package / "_trees").mkdir()
    with pytest.raises(ContentFolderMissing, match="elsewhere"):
        content_folder(tmp_path / "elsewhere")


def test_no_folder_at_all_is_told_with_how_to_mend(package: Path) -> None:
    with pytest.raises(
        ContentFolderMissing, match=r"name one that holds readings\.yaml, or install"
    ):
        content_folder()
