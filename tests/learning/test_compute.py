"""Interrupted, cut or on other cores, computing the likelihoods gives the same file.

And the file tells when the virtual machine has changed since.
"""

from __future__ import annotations

import json
import os
import shutil
from collections.abc import Callable, Iterator
from dataclasses import replace
from itertools import pairwise
from pathlib import Path

import pytest

import triage
from tests.conversation import CONTENT_FOLDER
from triage.cli import main
from triage.dialogue.beliefs import beliefs_of
from triage.learning import compute as compute_module
from triage.learning import modes as modes_module
from triage.learning.compute import Plan, changed_since, compute_likelihoods
from triage.tree.content import LIKELIHOODS, Content
from triage.tree.errors import Mistakes
from triage.tree.likelihoods import (
    ON_FILE,
    TYPICAL,
    check_likelihoods,
    fitting_modes,
    foreseen,
    modelled_causes,
    staleness,
)
from triage.tree.load import load_content

PLAN = Plan(places=1, draws=1, seed=3)
BATCHES = 4
MACHINE = "klirr_u80"
"""An air-cooled machine without receiver and air pump: three causes cannot happen to it."""

Progress = list[tuple[int, int]]


@pytest.fixture(scope="module", autouse=True)
def _few_rounds() -> Iterator[None]:
    """Fit the modes in a hurry: how well they fit is not what is tested here."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(modes_module, "ROUNDS", 8)
        patch.setattr(modes_module, "STARTS", 1)
        yield


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Return a copy of the content with one machine and no likelihoods."""
    folder = tmp_path_factory.mktemp("content") / "trees"
    shutil.copytree(CONTENT_FOLDER, folder)
    (folder / LIKELIHOODS).unlink(missing_ok=True)
    for path in (folder / "machines").iterdir():
        if path.stem != MACHINE:
            path.unlink()
    return folder


@pytest.fixture(scope="module")
def content(folder: Path) -> Content:
    return load_content(folder)


@pytest.fixture(scope="module")
def first(
    folder: Path, content: Content, tmp_path_factory: pytest.TempPathFactory
) -> tuple[str, Path, Progress]:
    """Return the text of an undisturbed run, where its batches are kept, and what it told."""
    kept, told = tmp_path_factory.mktemp("kept"), Progress()
    text = compute_likelihoods(content, folder, PLAN, kept, _into(told))
    return text, kept, told


@pytest.fixture
def kept(first: tuple[str, Path, Progress], tmp_path: Path) -> Path:
    """Return a copy of the batches of the undisturbed run, to be meddled with."""
    shutil.copytree(first[1], tmp_path / "kept")
    return tmp_path / "kept"


@pytest.fixture
def again(folder: Path, content: Content) -> Callable[[Path], tuple[str, Progress]]:
    """Return what computes once more with the batches of a folder."""

    def run(kept: Path) -> tuple[str, Progress]:
        told = Progress()
        return compute_likelihoods(content, folder, PLAN, kept, _into(told)), told

    return run


def _into(told: Progress) -> Callable[[int, int], None]:
    return lambda done, whole: told.append((done, whole))


def batch_files(kept: Path) -> list[Path]:
    return sorted(kept.rglob("*.jsonl"))


Again = Callable[[Path], tuple[str, Progress]]
First = tuple[str, Path, Progress]


# The file.


def test_the_file_is_sound_covers_the_content_and_is_fresh(first: First, content: Content) -> None:
    mistakes = Mistakes()
    assert check_likelihoods(first[0].encode(), mistakes) == first[0]
    assert mistakes.found == []
    ranked = replace(content, likelihoods=first[0])
    assert staleness(ranked) == ""
    assert changed_since(ranked) == []
    for setting in (ON_FILE, TYPICAL):
        modes = fitting_modes(ranked, setting)
        assert modes is not None
        assert list(modes) == list(modelled_causes(content))
        assert not beliefs_of(ranked, setting).is_discounted


def test_the_file_says_how_it_came_about(first: First) -> None:
    found = json.loads(first[0])
    provenance = found["provenance"]
    assert provenance["command"] == "triage tree likelihoods --places 1 --draws 1 --seed 3"
    assert (provenance["places"], provenance["draws"], provenance["seed"]) == (1, 1, 3)
    drawn = [line for path in batch_files(first[1]) for line in path.read_text().splitlines()]
    assert provenance["made_up_calls"] >= 20
    assert provenance["made_up_calls"] <= len(drawn)
    machines = {machine for machine, _, _ in found["probes"]}
    assert machines == {MACHINE}


def test_only_readings_that_differ_between_calls_are_counted(
    first: First, content: Content
) -> None:
    found = json.loads(first[0])
    calls = [
        json.loads(line)[1]
        for path in batch_files(first[1])
        for line in path.read_text().splitlines()
        if line.startswith('["')
    ]
    for reading, outcomes in found["readings"].items():
        assert tuple(outcomes) == foreseen(content.readings[reading])
        assert len({call[reading] for call in calls if reading in call}) > 1
    # With one machine there is one kind of condenser, which tells nothing.
    assert "condenser_kind" not in found["readings"]


def test_a_change_of_one_mode_is_a_change_of_one_line(first: First) -> None:
    lines = first[0].splitlines()
    assert sum(line.strip().startswith('{"share"') for line in lines) == sum(
        len(modes)
        for causes in json.loads(first[0])["settings"].values()
        for modes in causes.values()
    )


def test_a_cause_that_never_happens_here_shows_as_it_is_judged_to(
    first: First, content: Content
) -> None:
    # Drawn from nothing it would fit whatever a call shows, and win where all else looks odd.
    modes = fitting_modes(replace(content, likelihoods=first[0]), ON_FILE)
    assert modes is not None
    for mode in modes["receiver_vapor_feed_failed"]:
        chances = mode.chances["harvest_suction_pressure"]
        below = chances["far_below"] + chances["just_below"]
        signs = content.causes["receiver_vapor_feed_failed"].signs["harvest_suction_pressure"]
        assert below == pytest.approx(signs["below"], abs=0.03)
        assert mode.chances["ice_pattern"]["even"] > 0.9


# Interrupted, cut, on other cores.


def test_an_interrupted_run_goes_on_and_gives_the_same_file(
    first: First, again: Again, folder: Path, content: Content, tmp_path: Path
) -> None:
    def stop_after_two(done: int, _: int) -> None:
        if done == 2:
            raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        compute_likelihoods(content, folder, PLAN, tmp_path, stop_after_two)
    assert 2 <= len(batch_files(tmp_path)) <= BATCHES
    text, told = again(tmp_path)
    assert text == first[0]
    assert told[0][0] >= 2


def test_what_is_all_kept_is_not_drawn_again(
    first: First, again: Again, kept: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(compute_module, "ProcessPoolExecutor", None)
    assert again(kept) == (first[0], [(BATCHES, BATCHES)])


@pytest.mark.parametrize("share", [0.0, 0.5, 0.999])
def test_a_kept_batch_cut_short_is_drawn_again(
    first: First, again: Again, kept: Path, share: float
) -> None:
    cut = batch_files(kept)[0]
    data = cut.read_bytes()
    cut.write_bytes(data[: int(share * len(data))])
    text, told = again(kept)
    assert text == first[0]
    assert told[0] == (BATCHES - 1, BATCHES)
    assert cut.read_bytes() == data


def test_a_kept_batch_cut_between_two_calls_is_drawn_again(
    first: First, again: Again, kept: Path
) -> None:
    cut = batch_files(kept)[0]
    data = cut.read_bytes()
    cut.write_bytes(b"".join(data.splitlines(keepends=True)[:-2]))
    assert again(kept)[0] == first[0]
    assert cut.read_bytes() == data


def test_a_kept_file_of_anything_else_is_drawn_again(
    first: First, again: Again, kept: Path
) -> None:
    one, other = batch_files(kept)[:2]
    one.write_bytes(b"\xff\xfe\x00")
    other.write_text('"a text"\n{"no": "list"}\n', encoding="utf-8")
    assert again(kept)[0] == first[0]


def begun_with(folder: Path, content: Content, plan: Plan, kept: Path) -> tuple[int, int]:
    """Return how many batches a run finds kept, and how many there are; it goes no further."""
    told = Progress()

    def stop(done: int, whole: int) -> None:
        told.append((done, whole))
        raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        compute_likelihoods(content, folder, plan, kept, stop)
    return told[0]


def test_what_another_version_of_the_program_drew_is_not_used(
    folder: Path, content: Content, kept: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    # Else a mended machine would give a file of the old one that calls itself fresh.
    assert begun_with(folder, content, PLAN, kept) == (BATCHES, BATCHES)
    monkeypatch.setattr(compute_module, "program_mark", lambda: "of another program")
    assert begun_with(folder, content, PLAN, kept) == (0, BATCHES)


def test_the_mark_of_the_program_is_the_same_until_a_source_changes(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    now = compute_module.program_mark()
    assert compute_module.program_mark() == now
    package = tmp_path / "triage"
    for room in ("physics", "tree", "dialogue", "drill", "learning"):
        shutil.copytree(Path(triage.__file__).parent / room, package / room)
    monkeypatch.setattr(triage, "__file__", str(package / "__init__.py"))
    assert compute_module.program_mark() == now
    with (package / "physics" / "faults.py").open("a", encoding="utf-8") as stream:
        stream.write("# changed\n")
    assert compute_module.program_mark() != now


def test_one_core_gives_the_file_that_two_give(
    first: First, again: Again, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    cores = 1 if (os.cpu_count() or 1) > 1 else 2
    monkeypatch.setattr(os, "cpu_count", lambda: cores)
    assert again(tmp_path)[0] == first[0]


@pytest.mark.parametrize("other", [replace(PLAN, seed=4), replace(PLAN, draws=2)], ids=str)
def test_another_plan_has_batches_of_its_own(
    folder: Path, content: Content, kept: Path, other: Plan
) -> None:
    assert begun_with(folder, content, other, kept) == (0, BATCHES)


def test_another_machine_has_batches_of_its_own(folder: Path, content: Content, kept: Path) -> None:
    machine = replace(content.machines[MACHINE], name="Neo Klirr")
    other = replace(content, machines={MACHINE: machine})
    assert begun_with(folder, other, PLAN, kept) == (0, BATCHES)


def test_progress_counts_from_what_is_kept_to_the_whole(first: First) -> None:
    told = first[2]
    assert told[0] == (0, BATCHES)
    assert told[-1] == (BATCHES, BATCHES)
    assert all(after[0] == before[0] + 1 for before, after in pairwise(told))


def test_a_folder_that_cannot_be_written_is_an_error_of_the_system(
    again: Again, tmp_path: Path
) -> None:
    (tmp_path / "in the way").write_text("", encoding="utf-8")
    with pytest.raises(OSError, match="in the way"):
        again(tmp_path / "in the way" / "kept")


# Freshness.


def test_what_shows_otherwise_now_is_told_in_words(first: First, content: Content) -> None:
    found = json.loads(first[0])
    machine, cause, shown = found["probes"][0]
    was = shown["freeze_time"]
    shown["freeze_time"] = "far_above" if was != "far_above" else "far_below"
    then = shown["freeze_time"]
    del found["probes"][-1]
    changes = changed_since(replace(content, likelihoods=json.dumps(found)))
    assert f"freeze_time of {cause} on {machine}: {then} then, {was} now" in changes
    assert any(": nothing then, " in change for change in changes)


def test_content_that_changed_or_has_no_file_is_not_fresh(first: First, content: Content) -> None:
    assert changed_since(content) == [staleness(content)] != [""]
    causes = {key: item for key, item in content.causes.items() if key != "healthy"}
    other = replace(content, causes=causes, likelihoods=first[0])
    assert changed_since(other) == [staleness(other)] != [""]


# The command.


def test_the_command_writes_the_file_and_says_whether_it_is_fresh(
    folder: Path, own_folders: dict[str, str], tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    trees = tmp_path / "trees"
    shutil.copytree(folder, trees)
    arguments = ["tree", "likelihoods", "--trees", str(trees)]
    assert main([*arguments, "--check"]) == 3
    assert "There are no computed likelihoods" in capsys.readouterr().out
    assert main([*arguments, "--places", "1", "--draws", "1", "--seed", "3"]) == 0
    out = capsys.readouterr()
    assert out.out.startswith(f"{trees / LIKELIHOODS}: written; ")
    assert out.err == ""
    assert load_content(trees).likelihoods
    assert list(trees.glob("*.unfinished")) == []
    assert main([*arguments, "--check"]) == 0
    assert "is fresh" in capsys.readouterr().out
    machine = trees / "machines" / f"{MACHINE}.yaml"
    text = machine.read_text(encoding="utf-8")
    assert "name: " in text
    machine.write_text(text.replace("name: ", "name: Neo ", 1), encoding="utf-8")
    assert main([*arguments, "--check"]) == 3
    assert "is not fresh; compute it anew with: triage tree" in capsys.readouterr().out
