"""Minutes and stakes: what questions, repairs and wrong words cost is read and checked."""

from __future__ import annotations

import pytest

from tests.conversation import shipped_engine
from tests.tree.miniature import FOLDER, broken, sound_draft
from triage.tree.content import Content, Stakes
from triage.tree.errors import ContentErrors
from triage.tree.load import content_from_files

Case = tuple[str, str, str, str]

MISTAKES: dict[str, Case] = {
    "an unknown stake gets the nearest valid one": (
        "causes.yaml", "causes:\n", "stakes: {»hand_over_minute: 60}\ncauses:\n",
        'stakes has no key "hand_over_minute"; did you mean "hand_over_minutes"?',
    ),
    "a negative stake is refused": (
        "causes.yaml", "causes:\n", "stakes: {call_back_minutes: »-1}\ncauses:\n",
        'stakes has -1 under "call_back_minutes"; it must lie from 0 to 10000',
    ),
    "a stake in words is refused": (
        "causes.yaml", "causes:\n", "stakes: {hand_over_minutes: »long}\ncauses:\n",
        'stakes wants a number under "hand_over_minutes", not "long", such as 12 or 0.5',
    ),
    "a list where the stakes belong is refused": (
        "causes.yaml", "causes:\n", "stakes: »[60, 120]\ncauses:\n",
        'the file wants a mapping (key: value lines) under "stakes", not a list',
    ),
    "a repair that takes no time is refused": (
        "causes.yaml", "    side: freeze\n", "    side: freeze\n    minutes: »0\n",
        'cause "thin_charge" has 0 under "minutes"; it must lie from 0.1 to 10000',
    ),
    "a repair that takes a quoted time is refused": (
        "causes.yaml", "    side: freeze\n", '    side: freeze\n    minutes: »"90"\n',
        'cause "thin_charge" wants a number under "minutes", not "90"; drop the quotes',
    ),
    "a reading that takes a week is refused": (
        "readings.yaml", "default_minute: 6\n", "default_minute: 6\n    minutes: »20000\n",
        'reading "discharge_line_temperature" has 20000 under "minutes"; it must lie from 0.1 to '
        "10000",
    ),
    "a misspelled minutes of a reading gets the nearest valid key": (
        "readings.yaml", "default_minute: 6\n", "default_minute: 6\n    »minute: 2\n",
        'reading "discharge_line_temperature" has no key "minute"; did you mean "minutes"?',
    ),
}  # fmt: skip


@pytest.mark.parametrize("name", MISTAKES)
def test_a_mistake_is_told_with_its_place(name: str) -> None:
    file, old, new, message = MISTAKES[name]
    files, place = broken(file, old, new)
    with pytest.raises(ContentErrors) as caught:
        content_from_files(FOLDER, files)
    told = [str(mistake) for mistake in caught.value.mistakes]
    assert [line for line in told if line.startswith(f"{place} {message}")], told


def read(file: str, old: str, new: str) -> Content:
    files = sound_draft().bytes()
    assert files[file].decode().count(old) == 1
    files[file] = files[file].replace(old.encode(), new.encode())
    return content_from_files(FOLDER, files)


def test_stakes_are_read_and_those_not_named_are_the_usual_ones() -> None:
    usual = sound_draft().content().stakes
    assert usual == Stakes()
    named = read("causes.yaml", "causes:\n", "stakes: {hand_over_minutes: 45.5}\ncauses:\n").stakes
    assert named == Stakes(45.5, usual.call_back_minutes, usual.priors_are_worth_calls)
    free = read("causes.yaml", "causes:\n", "stakes: {priors_are_worth_calls: 0}\ncauses:\n")
    assert free.stakes.priors_are_worth_calls == 0.0


def test_minutes_are_read_and_have_a_usual_value() -> None:
    content = read("causes.yaml", "    side: freeze\n", "    side: freeze\n    minutes: 15\n")
    assert content.causes["thin_charge"].minutes == 15.0
    assert content.causes["feed_failed"].minutes == 120.0
    content = read("readings.yaml", "default_minute: 6\n", "default_minute: 6\n    minutes: 2.5\n")
    assert content.readings["discharge_line_temperature"].minutes == 2.5
    assert content.readings["freeze_time"].minutes == 1.0


def test_every_shipped_repair_takes_its_own_time() -> None:
    content = shipped_engine().content
    # Common practice, no source: a part brazed into the circuit takes hours, a setting minutes.
    brazed = [item for item in content.causes.values() if "brazing" in item.hazards]
    assert brazed
    assert all(item.minutes >= 120.0 for item in brazed)
    assert content.causes["bridge_set_thin"].minutes < 60.0
    assert content.stakes.call_back_minutes >= content.stakes.hand_over_minutes > 0.0
