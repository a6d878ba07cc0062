"""What a content folder becomes when it is read: typed, resolved, immutable."""

from __future__ import annotations

import dataclasses
from pathlib import Path

import pytest

from tests.tree.miniature import TREE, sound_draft
from triage.tree.content import Place, ReadingKind, Side, Stage
from triage.tree.errors import ContentErrors, ContentFolderMissing
from triage.tree.files import content_version
from triage.tree.load import load_content


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    for name, data in sound_draft().bytes().items():
        path = tmp_path / name
        path.parent.mkdir(exist_ok=True)
        path.write_bytes(data)
    return tmp_path


def test_a_reading_carries_what_its_file_says() -> None:
    reading = sound_draft().content().readings["freeze_suction_pressure_early"]
    assert reading.kind is ReadingKind.GAUGE_PRESSURE
    assert reading.spoken == ("suction", "low side")
    assert reading.is_licensed
    assert reading.is_banded
    assert reading.cautions == ("hot_lines", "gauges")
    assert reading.outcomes == ("below", "within", "above", "unknown")


def test_plausible_pressures_are_pascal_gauge() -> None:
    plausible = sound_draft().content().readings["freeze_suction_pressure_early"].plausible
    assert plausible is not None
    # 1 psi = 6894.757 Pa (NIST SP 811, appendix B.8)
    assert plausible == pytest.approx((-90_000.0, 580 * 6894.757), rel=1e-6)


def test_plausible_times_are_seconds_also_as_clock_time() -> None:
    assert sound_draft().content().readings["freeze_time"].plausible == (60.0, 5400.0)


def test_short_routes_become_a_total_table() -> None:
    draft = sound_draft()
    draft.ask("coil", "coil_voltage", "harvest", within="harvest", below__unknown="hand_on",
              else_="charge")  # fmt: skip
    assert draft.content().trees["sticks"].questions["coil"].routes == {
        "within": "harvest",
        "below": "hand_on",
        "unknown": "hand_on",
        "above": "charge",
    }


def test_a_rule_knows_all_of_and_any_of() -> None:
    (rule,) = sound_draft().content().trees["sticks"].junctions["is_freeze_sound"].rules
    assert rule.all_of["ice_pattern"] == {"even"}
    assert rule.all_of["freeze_time"] == {"within", "unknown"}
    assert set(rule.any_of) == {"freeze_suction_pressure_early", "freeze_suction_pressure_late"}
    assert rule.then == "coil"


def test_a_cause_carries_its_signs_and_parts() -> None:
    cause = sound_draft().content().causes["feed_failed"]
    assert cause.side is Side.HARVEST
    assert cause.signs == {"harvest_suction_pressure": {"below": 0.9}}
    assert cause.replace_together == ("feed regulator", "feed solenoid valve")


def test_a_machine_chart_is_in_si_with_gauge_pressures() -> None:
    (row,) = sound_draft().content().machines["fennel_200"].chart
    assert row.ambient_air_temperature_k == pytest.approx(294.15)
    assert row.water_inlet_temperature_k == pytest.approx(283.15)
    assert row.ranges["freeze_time"] == (660.0, 780.0)
    assert row.ranges["harvest_suction_pressure"] == pytest.approx((482_633, 620_528), rel=1e-5)


def test_places_point_at_the_name_of_each_thing() -> None:
    content = sound_draft().content()
    text = sound_draft().yaml().splitlines()
    place = content.trees["sticks"].questions["coil"].place
    assert text[place.line - 1] == "  coil:"
    assert place.column == 3
    assert content.machine_places["fennel_200"] == Place("machines/fennel_200.yaml", 2, 5)


def test_content_cannot_be_changed() -> None:
    content = sound_draft().content()
    with pytest.raises(TypeError):
        content.readings["x"] = content.readings["freeze_time"]  # type: ignore[index]
    with pytest.raises(TypeError):
        content.causes["feed_failed"].signs["freeze_time"] = {}  # type: ignore[index]
    with pytest.raises(TypeError):
        content.trees["sticks"].questions["coil"].routes["within"] = "x"  # type: ignore[index]
    with pytest.raises(dataclasses.FrozenInstanceError):
        content.version = ""  # type: ignore[misc]


def test_stages_are_read_by_name() -> None:
    assert sound_draft().content().trees["sticks"].questions["line"].stage is Stage.FREEZE


class TestFolder:
    def test_reading_from_disk_gives_what_reading_from_memory_gives(self, folder: Path) -> None:
        assert load_content(folder) == sound_draft().content()

    def test_the_version_changes_with_a_byte_and_with_a_name(self) -> None:
        files = sound_draft().bytes()
        version = content_version(files)
        assert version == content_version(dict(reversed(files.items())))
        assert version != content_version({**files, TREE: files[TREE] + b"\n"})
        renamed = {("other.yaml" if name == TREE else name): data for name, data in files.items()}
        assert version != content_version(renamed)

    def test_bytes_that_move_from_one_file_to_the_next_change_the_version(self) -> None:
        assert content_version({"a": b"12", "b": b"3"}) != content_version({"a": b"1", "b": b"23"})

    def test_other_files_in_the_folder_are_left_alone(self, folder: Path) -> None:
        (folder / "README.md").write_text("not content")
        (folder / "machines" / "notes.txt").write_text("not content")
        assert load_content(folder).version == sound_draft().content().version

    def test_a_missing_folder_is_told(self, tmp_path: Path) -> None:
        with pytest.raises(ContentFolderMissing, match=r"no content folder at .*nowhere"):
            load_content(tmp_path / "nowhere")

    def test_a_file_with_the_short_ending_is_told_instead_of_skipped(self, folder: Path) -> None:
        (folder / "causes.yml").write_text("format: 1\n")
        with pytest.raises(ContentErrors, match=r"causes\.yml:1:1 .* name it \.yaml"):
            load_content(folder)

    def test_an_empty_folder_is_told_file_by_file(self, tmp_path: Path) -> None:
        with pytest.raises(ContentErrors) as caught:
            load_content(tmp_path)
        assert [str(mistake) for mistake in caught.value.mistakes] == [
            f"{name}.yaml:1:1 the file is missing; add it to the content folder"
            for name in ("causes", "cautions", "readings")
        ]

    def test_an_oversized_file_is_told(self, folder: Path) -> None:
        (folder / "big.yaml").write_bytes(b"#" * 600_000)
        with pytest.raises(
            ContentErrors, match=r"big\.yaml:1:1 the file has .* kB; split|split it"
        ):
            load_content(folder)
