"""The file of likelihoods: read whole or refused with a place, and told when it no longer fits."""

from __future__ import annotations

import json
import math
from collections.abc import Callable, Mapping
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from tests.conversation import shipped_engine
from tests.tree.hand_made import GRADES, likelihoods, with_likelihoods
from tests.tree.miniature import FOLDER, sound_draft
from triage.dialogue.beliefs import beliefs_of
from triage.tree.cache import checked_content
from triage.tree.content import LIKELIHOODS, Content
from triage.tree.errors import ContentErrors, ContentMistake, Mistakes
from triage.tree.likelihoods import (
    GRADE_EDGES,
    ON_FILE,
    TYPICAL,
    check_likelihoods,
    fitting_modes,
    foreseen,
    is_modelled,
    modelled_causes,
)
from triage.tree.load import content_from_files, load_content

MINIATURE = sound_draft().content()
SHOWN = {
    "thin_charge": [
        (0.75, {"ice_pattern": {"thin_at_outlet": 0.9}, "freeze_time": {"high": 0.5}}),
        (0.25, {"ice_pattern": {"even": 0.6}}),
    ],
    "feed_failed": [(1.0, {"harvest_suction_pressure": {"far_below": 0.95}})],
}
"""Two modes of a cause and one of another, on the miniature."""


def text_of(file: Mapping[str, Any]) -> bytes:
    return json.dumps(file).encode()


def mistakes_of(data: bytes) -> list[ContentMistake]:
    mistakes = Mistakes()
    assert check_likelihoods(data, mistakes) == ""
    return mistakes.found


def with_file(data: bytes) -> Content:
    return content_from_files(FOLDER, {**sound_draft().bytes(), LIKELIHOODS: data})


# A sound file.


def test_a_folder_with_the_file_holds_it_and_one_without_holds_none() -> None:
    data = text_of(likelihoods(MINIATURE, SHOWN))
    assert with_file(data).likelihoods == data.decode()
    assert MINIATURE.likelihoods == ""


def test_a_sound_file_raises_no_mistake() -> None:
    data = text_of(likelihoods(MINIATURE, SHOWN))
    mistakes = Mistakes()
    assert check_likelihoods(data, mistakes) == data.decode()
    assert mistakes.found == []
    assert check_likelihoods(None, mistakes) == ""
    assert mistakes.found == []


def test_modes_come_out_as_they_were_written() -> None:
    modes = fitting_modes(with_likelihoods(MINIATURE, SHOWN), ON_FILE)
    assert modes is not None
    assert list(modes) == list(MINIATURE.causes)
    one, other = modes["thin_charge"]
    assert (one.share, other.share) == (0.75, 0.25)
    assert one.chances["ice_pattern"] == pytest.approx({"even": 0.1, "thin_at_outlet": 0.9})
    sixth = pytest.approx(0.5 / 6.0)
    assert one.chances["freeze_time"] == {grade: 0.5 if grade == "high" else sixth
                                          for grade in GRADES}  # fmt: skip
    assert other.chances["freeze_time"] == pytest.approx(dict.fromkeys(GRADES, 1.0 / 7.0))


def test_the_two_settings_are_kept_apart() -> None:
    typical = {"thin_charge": [(1.0, {"ice_pattern": {"even": 1.0}})]}
    content = with_likelihoods(MINIATURE, SHOWN, typical)
    on_file, apart = fitting_modes(content, ON_FILE), fitting_modes(content, TYPICAL)
    assert on_file is not None
    assert apart is not None
    assert (len(on_file["thin_charge"]), len(apart["thin_charge"])) == (2, 1)


def test_rounded_chances_come_out_summing_to_one() -> None:
    file = likelihoods(MINIATURE, SHOWN)
    (mode,) = file["settings"]["on_file"]["feed_failed"]
    mode["share"], mode["chances"]["freeze_time"] = 0.9996, [0.1429] * 7
    modes = fitting_modes(replace(MINIATURE, likelihoods=json.dumps(file)), ON_FILE)
    assert modes is not None
    (read,) = modes["feed_failed"]
    assert read.share == pytest.approx(1.0, abs=1e-12)
    assert math.fsum(read.chances["freeze_time"].values()) == pytest.approx(1.0, abs=1e-12)


def test_what_is_counted_of_a_reading_is_its_grades_or_its_choices() -> None:
    readings = MINIATURE.readings
    assert foreseen(readings["freeze_time"]) == GRADES
    assert foreseen(readings["ice_pattern"]) == ("even", "thin_at_outlet")
    assert foreseen(readings["machine"]) == foreseen(readings["ambient_air_temperature"]) == ()
    assert len(GRADE_EDGES) == len(GRADES) - 1
    # The edges of the band are edges of grades, so that a grade knows its verdict.
    assert {-1.0, 1.0} <= set(GRADE_EDGES)
    assert list(GRADE_EDGES) == sorted(GRADE_EDGES)


# Mistakes.


@pytest.mark.parametrize(
    ("data", "line", "column", "message"),
    [
        (b"", 1, 1, "the file is no JSON (Expecting value)"),
        (b'{\n "format": 1,\n oops\n}', 3, 2, "the file is no JSON (Expecting property name"),
        (b'{"format": 1', 1, 13, "the file is no JSON (Expecting ',' delimiter)"),
        (b'{\n "format": 1,\n\n "\xff": 2}', 4, 1, "the file is not UTF-8 text"),
        (b"\xef\xbb\xbf{}", 1, 1, "the file is no JSON (Unexpected UTF-8 BOM"),
        (b"[" * 100_000, 1, 1, "the file is no JSON"),
        (b'{"format": ' + b"1" * 5000 + b"}", 1, 1, "the file is no JSON"),
        (b"[]", 1, 1, "the file is not of format 1"),
        (b'{"format": 2}', 1, 1, "the file is not of format 1"),
        (b'{"format": 1}', 1, 1, "the file was computed with other grades"),
    ],
    ids=[
        "empty", "broken in the middle", "cut short", "not UTF-8", "a byte order mark",
        "nested without end", "a number without end", "no mapping", "another format",
        "no grades",
    ],
)  # fmt: skip
def test_a_file_that_cannot_be_read_is_told_with_its_place(
    data: bytes, line: int, column: int, message: str
) -> None:
    (mistake,) = mistakes_of(data)
    assert str(mistake).startswith(f"{LIKELIHOODS}:{line}:{column} {message}")
    assert mistake.message.endswith("; compute it anew with: triage tree likelihoods")


def _set(*keys: Any, to: Any) -> Callable[[dict[str, Any]], None]:
    """Return what sets one entry of the file, keys from the outside in."""

    def change(file: dict[str, Any]) -> None:
        place: Any = file
        for key in keys[:-1]:
            place = place[key]
        place[keys[-1]] = to

    return change


def _drop(*keys: Any) -> Callable[[dict[str, Any]], None]:
    def change(file: dict[str, Any]) -> None:
        place: Any = file
        for key in keys[:-1]:
            place = place[key]
        del place[keys[-1]]

    return change


CHARGE = ("settings", "on_file", "thin_charge")
PATTERN = (*CHARGE, 0, "chances", "ice_pattern")
NO_CHANCES = 'the chances of "ice_pattern" under "thin_charge" are no chances that sum to one'
NO_SHARES = 'the modes of "thin_charge" do not sum to one'
LACKS = "the file lacks a part or has one of another kind"
OTHER_READINGS = 'a mode of "thin_charge" has other readings than the file names'

MISTAKES: dict[str, tuple[Callable[[dict[str, Any]], None], str]] = {
    "other grades": (
        _set("grade_edges", to=[-1.0, 1.0]), "the file was computed with other grades",
    ),
    "no readings": (_drop("readings"), LACKS),
    "no settings": (_drop("settings"), LACKS),
    "a setting missing": (_drop("settings", "typical"), LACKS),
    "no provenance": (_drop("provenance"), LACKS),
    "no fingerprint": (_drop("provenance", "fingerprint"), LACKS),
    "no places to draw the probes from": (_drop("provenance", "places"), LACKS),
    "no probes": (_drop("probes"), LACKS),
    "probes of another kind": (_set("probes", to=[["fennel_200", "thin_charge"]]), LACKS),
    "a text for readings": (_set("readings", to="all of them"), LACKS),
    "a number for modes": (_set(*CHARGE, to=3), LACKS),
    "a text for a mode": (_set(*CHARGE, 0, to="mild"), LACKS),
    "no modes": (_set(*CHARGE, to=[]), NO_SHARES),
    "a text for a share": (_set(*CHARGE, 0, "share", to="most"), NO_SHARES),
    "shares that sum to less": (_set(*CHARGE, 0, "share", to=0.7), NO_SHARES),
    "shares that sum to more": (_set(*CHARGE, 0, "share", to=0.8), NO_SHARES),
    "a share that is no number": (_set(*CHARGE, 0, "share", to=math.nan), NO_SHARES),
    "a share without end": (_set(*CHARGE, 0, "share", to=10**400), NO_SHARES),
    "a reading missing": (_drop(*CHARGE, 0, "chances", "ice_pattern"), OTHER_READINGS),
    "a reading too many": (_set(*CHARGE, 0, "chances", "hum", to=[1.0]), OTHER_READINGS),
    "a chance missing": (_set(*PATTERN, to=[1.0]), NO_CHANCES),
    "a chance too many": (_set(*PATTERN, to=[0.5, 0.25, 0.25]), NO_CHANCES),
    "a negative chance": (_set(*PATTERN, to=[1.2, -0.2]), NO_CHANCES),
    "a chance that is no number": (_set(*PATTERN, to=[math.nan, 1.0]), NO_CHANCES),
    "a chance in words": (_set(*PATTERN, to=["half", 0.5]), NO_CHANCES),
    "chances that sum to less": (_set(*PATTERN, to=[0.5, 0.4]), NO_CHANCES),
    "chances that sum to more": (_set(*PATTERN, to=[0.6, 0.5]), NO_CHANCES),
    "a text for chances": (_set(*PATTERN, to="ab"), NO_CHANCES),
}  # fmt: skip


@pytest.mark.parametrize("name", MISTAKES)
def test_a_flaw_of_the_numbers_is_told(name: str) -> None:
    change, message = MISTAKES[name]
    file = likelihoods(MINIATURE, SHOWN)
    change(file)
    (mistake,) = mistakes_of(text_of(file))
    assert str(mistake) == (
        f"{LIKELIHOODS}:1:1 {message}; compute it anew with: triage tree likelihoods"
    )


def test_negative_shares_are_refused_though_they_sum_to_one() -> None:
    file = likelihoods(MINIATURE, SHOWN)
    one, other = file["settings"]["on_file"]["thin_charge"]
    one["share"], other["share"] = 1.5, -0.5
    (mistake,) = mistakes_of(text_of(file))
    assert mistake.message.startswith(NO_SHARES)


def test_a_flaw_of_the_second_setting_and_of_the_last_mode_is_found_too() -> None:
    file = likelihoods(MINIATURE, SHOWN)
    file["settings"]["typical"]["thin_charge"][-1]["chances"]["ice_pattern"] = [0.5, 0.4]
    (mistake,) = mistakes_of(text_of(file))
    assert mistake.message.startswith(NO_CHANCES)


def test_what_the_file_calls_things_is_shown_without_control_characters() -> None:
    file = likelihoods(MINIATURE, SHOWN)
    file["settings"]["on_file"]["\x1b[31m" + "long" * 100] = []
    (mistake,) = mistakes_of(text_of(file))
    assert mistake.message.isprintable()
    assert len(mistake.message) < 250


def test_a_mistake_of_the_file_is_told_with_those_of_the_others() -> None:
    files = {**sound_draft().bytes(), LIKELIHOODS: b"{"}
    files["cautions.yaml"] = files["cautions.yaml"].replace(b"Hot lines", b"''")
    with pytest.raises(ContentErrors) as caught:
        content_from_files(FOLDER, files)
    places = [mistake.place.file for mistake in caught.value.mistakes]
    assert places == ["cautions.yaml", LIKELIHOODS]


# The shipped file.


def test_the_shipped_file_covers_the_shipped_content() -> None:
    content = shipped_engine().view
    for setting in (ON_FILE, TYPICAL):
        modes = fitting_modes(content, setting)
        assert modes is not None
        assert all(modes[cause] for cause in modelled_causes(content))
    readings = [item for item in content.readings.values() if is_modelled(item.id)]
    counted = {item.id for item in readings if item.is_banded or item.normal}
    told = set(beliefs_of(content, ON_FILE).columns)
    # What no call made up can differ in, the warmth of the room, says nothing of causes.
    assert counted - told <= {"ambient_air_temperature"}


def test_no_mode_of_the_shipped_file_is_an_even_spread() -> None:
    # So it would look if a cause had never been drawn; such a mode fits anything a call shows.
    for setting in (ON_FILE, TYPICAL):
        modes = fitting_modes(shipped_engine().content, setting)
        assert modes is not None
        for cause, found in modes.items():
            for mode in found:
                chances = mode.chances["ice_pattern"]
                assert max(chances.values()) > 0.3, (setting, cause)


def test_the_file_is_read_from_the_folder_and_is_part_of_the_version(tmp_path: Path) -> None:
    for name, data in sound_draft().bytes().items():
        (tmp_path / name).parent.mkdir(exist_ok=True)
        (tmp_path / name).write_bytes(data)
    before = load_content(tmp_path)
    (tmp_path / LIKELIHOODS).write_bytes(text_of(likelihoods(MINIATURE, SHOWN)))
    after = load_content(tmp_path)
    assert after.likelihoods
    assert after.version != before.version
    assert replace(after, version="", likelihoods="") == replace(before, version="")


def test_what_is_remembered_of_a_folder_holds_the_file_and_the_stakes(tmp_path: Path) -> None:
    folder = tmp_path / "trees"
    files = {**sound_draft().bytes(), LIKELIHOODS: text_of(likelihoods(MINIATURE, SHOWN))}
    files["causes.yaml"] += b"stakes: {hand_over_minutes: 17}\n"
    for name, data in files.items():
        (folder / name).parent.mkdir(parents=True, exist_ok=True)
        (folder / name).write_bytes(data)
    first = checked_content(folder, tmp_path / "memory")
    assert checked_content(folder, tmp_path / "memory") == first
    assert first.likelihoods
    assert first.stakes.hand_over_minutes == 17.0
    (folder / LIKELIHOODS).write_bytes(text_of(likelihoods(MINIATURE, {})))
    assert checked_content(folder, tmp_path / "memory") != first
